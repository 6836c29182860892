//! The daemon's side of the local socket: one line of JSON in, and lines out, of which the last is the end.

use std::net::Ipv4Addr;
use std::path::Path;
use std::sync::Arc;

use tokio::io::{AsyncBufReadExt as _, AsyncReadExt as _, AsyncWrite, AsyncWriteExt as _, BufReader};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::mpsc;

use crate::command;
use crate::error::NodeError;
use crate::holding::Holding;
use crate::local::{Answer, Call, Door};
use crate::machine::random;

/// Longest call in bytes.
const MAX_CALL: u64 = 1024 * 1024;

/// Opens the door: binds a port of loopback and writes down where it is.
pub(crate) async fn open(folder: &Path) -> Result<(TcpListener, Door), NodeError> {
    let lost = |error: std::io::Error| NodeError::Network(format!("no local socket: {error}"));
    let listener = TcpListener::bind((Ipv4Addr::LOCALHOST, 0)).await.map_err(lost)?;
    let port = listener.local_addr().map_err(lost)?.port();
    let token = hex::encode(random::<32>()?);
    let door = Door { port, token };
    door.write(folder)?;
    Ok((listener, door))
}

/// Answers callers until the task is dropped.
pub(crate) async fn serve(listener: TcpListener, door: Door, holding: Arc<Holding>) {
    loop {
        match listener.accept().await {
            Ok((stream, _)) => {
                let (token, holding) = (door.token.clone(), Arc::clone(&holding));
                tokio::spawn(async move {
                    if let Err(error) = answer(stream, token, holding).await {
                        tracing::debug!(%error, "a caller went away");
                    }
                });
            }
            Err(error) => {
                tracing::warn!(%error, "no caller could be let in");
                tokio::time::sleep(std::time::Duration::from_millis(100)).await;
            }
        }
    }
}

async fn answer(mut stream: TcpStream, token: String, holding: Arc<Holding>) -> std::io::Result<()> {
    let mut line = Vec::new();
    let (reader, mut writer) = stream.split();
    BufReader::new(reader.take(MAX_CALL)).read_until(b'\n', &mut line).await?;
    let answer = match serde_json::from_slice::<Call>(&line) {
        Ok(call) if same(&call.token, &token) => {
            // Whoever is told how far it is may be slow or gone; the command never waits for that.
            let (say, mut said) = mpsc::unbounded_channel();
            let done = tokio::task::spawn_blocking(move || {
                let say = |progress| {
                    let _ = say.send(progress);
                };
                // What takes its time and needs no node is done while others have it.
                let begun = holding.with(|node| command::begin(node, call.command, &say));
                begun.and_then(|begun| begun.finish(&say))
            });
            while let Some(progress) = said.recv().await {
                send(&mut writer, &Answer::Progress(progress)).await?;
            }
            match done.await {
                Ok(Ok(value)) => Answer::Done(value),
                Ok(Err(error)) => Answer::Failed(error.to_string()),
                Err(_) => {
                    Answer::Failed("the command stopped half-way; nothing unfinished was saved".to_owned())
                }
            }
        }
        Ok(_) => Answer::Failed("the daemon was started anew; try again".to_owned()),
        Err(error) => Answer::Failed(format!("the daemon is of another version: {error}")),
    };
    send(&mut writer, &answer).await?;
    writer.shutdown().await
}

async fn send(writer: &mut (impl AsyncWrite + Unpin), answer: &Answer) -> std::io::Result<()> {
    let mut line = serde_json::to_vec(answer)?;
    line.push(b'\n');
    writer.write_all(&line).await
}

/// Compares without telling by the time it takes where the first difference is.
fn same(one: &str, other: &str) -> bool {
    let difference = one.bytes().zip(other.bytes()).fold(0, |sum, (one, other)| sum | (one ^ other));
    one.len() == other.len() && difference == 0
}
