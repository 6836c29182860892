//! How a command reaches the node: straight, or by a socket on this machine when a daemon has it open.
//!
//! The socket listens on loopback only, and being on this machine gives no right: a caller must know
//! the token in the data folder's `daemon.json`, which only the folder's owner may read.

use std::io::{BufRead, BufReader, Write as _};
use std::net::{Ipv4Addr, SocketAddr, TcpStream};
use std::path::Path;
use std::time::{Duration, Instant};

use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::command::{self, Command, Progress};
use crate::device::write_private;
use crate::error::NodeError;
use crate::node::Node;

/// Where a running daemon is found.
const FILE: &str = Door::FILE;
/// How long a command waits for a ledger that another process has open.
const BUSY_PATIENCE: Duration = Duration::from_secs(3);
/// How long a caller waits for an answer.
const PATIENCE: Duration = Duration::from_secs(600);

/// Where a daemon listens, and the word that lets a caller in.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct Door {
    /// The port on 127.0.0.1.
    pub port: u16,
    /// 32 random bytes in hex.
    pub token: String,
}

impl Door {
    /// The file in the data folder.
    pub(crate) const FILE: &str = "daemon.json";

    /// Writes the file that callers read.
    pub(crate) fn write(&self, folder: &Path) -> Result<(), NodeError> {
        let text = serde_json::to_vec(self).map_err(|error| NodeError::folder(folder, &error))?;
        write_private(&folder.join(FILE), &text)
    }

    /// Takes the file away again.
    pub(crate) fn remove(folder: &Path) {
        // A file that stays behind is harmless: nothing listens there, and the next start replaces it.
        let _ = std::fs::remove_file(folder.join(FILE));
    }

    fn knock(&self) -> std::io::Result<TcpStream> {
        TcpStream::connect_timeout(
            &SocketAddr::from((Ipv4Addr::LOCALHOST, self.port)),
            Duration::from_secs(5),
        )
    }

    fn read(folder: &Path) -> Option<Self> {
        serde_json::from_slice(&std::fs::read(folder.join(FILE)).ok()?).ok()
    }
}

/// What a caller sends: one line of JSON.
#[derive(Debug, Serialize, Deserialize)]
pub(crate) struct Call {
    pub(crate) token: String,
    pub(crate) command: Command,
}

/// What comes back, a line of JSON each: how far it is, as often as there is something to say, and then
/// the end.
#[derive(Debug, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub(crate) enum Answer {
    Progress(Progress),
    Done(Value),
    Failed(String),
}

/// Runs a command on the ledger in a folder, through the daemon if one has it open.
///
/// # Errors
/// What the command failed with, in a person's words.
pub fn call(folder: &Path, command: Command) -> Result<Value, NodeError> {
    call_saying(folder, command, &|_| ())
}

/// As [`call`], and says how far it is where that takes its time.
///
/// # Errors
/// As [`call`].
pub fn call_saying(folder: &Path, command: Command, say: &dyn Fn(Progress)) -> Result<Value, NodeError> {
    let give_up = Instant::now() + BUSY_PATIENCE;
    loop {
        let busy = match Node::open(folder) {
            Ok(mut node) => {
                let begun = command::begin(&mut node, command, say);
                node.leave();
                return begun?.finish(say);
            }
            Err(NodeError::Open(store::OpenError::Lock(busy))) => {
                NodeError::Open(store::OpenError::Lock(busy))
            }
            Err(error) => return Err(error),
        };
        // Another command has the ledger for a moment, or a daemon is about to open its door.
        if let Some(door) = Door::read(folder)
            && let Ok(stream) = door.knock()
        {
            return call_daemon(stream, &door, command, say);
        }
        if Instant::now() >= give_up {
            return Err(busy);
        }
        std::thread::sleep(Duration::from_millis(50));
    }
}

fn call_daemon(
    mut stream: TcpStream,
    door: &Door,
    command: Command,
    say: &dyn Fn(Progress),
) -> Result<Value, NodeError> {
    let lost = |error: std::io::Error| NodeError::Network(format!("the daemon does not answer: {error}"));
    stream.set_read_timeout(Some(PATIENCE)).map_err(lost)?;
    let call = Call { token: door.token.clone(), command };
    let mut line = serde_json::to_vec(&call).map_err(|error| NodeError::Network(error.to_string()))?;
    line.push(b'\n');
    stream.write_all(&line).map_err(lost)?;
    for line in BufReader::new(stream).lines() {
        match serde_json::from_str(&line.map_err(lost)?) {
            Ok(Answer::Progress(progress)) => say(progress),
            Ok(Answer::Done(value)) => return Ok(value),
            Ok(Answer::Failed(why)) => return Err(NodeError::Network(why)),
            Err(_) => break,
        }
    }
    Err(NodeError::Network("the daemon hung up; it may have been stopped. Try again".to_owned()))
}
