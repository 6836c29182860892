//! The long-running side: `fivebar run`, and joining a crew.

use std::net::{Ipv6Addr, SocketAddr};
use std::path::Path;
use std::sync::Arc;

use ledger::{CrewId, DeviceSecret};
use net::{Endpoint, Holder as _, Invite, PeerError, Power, Stay};

use crate::device::DeviceFile;
use crate::error::NodeError;
use crate::holding::Holding;
use crate::keeping::{keep_checkpoints, try_photos_again};
use crate::local::Door;
use crate::machine::random;
use crate::node::Node;
use crate::socket;

/// Any free port, for calls over IPv4 and IPv6.
pub(crate) const ANYWHERE: SocketAddr = SocketAddr::new(std::net::IpAddr::V6(Ipv6Addr::UNSPECIFIED), 0);

/// How a device that keeps its ledger open meets the others.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Meeting {
    /// Where it listens for them.
    pub listen: SocketAddr,
    /// Where others listen that it may not know yet, each a `host:port`.
    pub places: Vec<String>,
    /// What it lives on: whether it stays connected.
    pub power: Power,
    /// Whether it lets itself be found on the same network, and looks there for the others.
    pub nearby: bool,
}

/// A device that has just joined.
#[derive(Debug, Clone)]
pub struct Joined {
    /// The crew.
    pub crew: CrewId,
    /// What both screens show.
    pub check: String,
    /// How many events were fetched.
    pub events: u64,
}

/// How far a device has come that fetches a ledger.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Progress {
    /// Events that are verified and durable here.
    pub held: u64,
    /// Events that the inviter said it holds.
    pub announced: u64,
}

pub(crate) fn network(error: impl std::fmt::Display) -> NodeError {
    NodeError::Network(error.to_string())
}

pub(crate) fn runtime() -> Result<tokio::runtime::Runtime, NodeError> {
    tokio::runtime::Builder::new_multi_thread().enable_all().build().map_err(network)
}

/// Joins a crew by an invite's code, and fetches all that the inviter holds. Says how far it is whenever
/// more has become durable.
///
/// # Errors
/// A code that is mistyped, used or expired, an inviter that can't be reached, or the disk.
pub fn join(
    folder: &Path,
    code: &str,
    name: &str,
    mut say: impl FnMut(Progress),
) -> Result<Joined, NodeError> {
    if DeviceFile::read(folder)?.is_some() {
        return Err(NodeError::AlreadyFounded(folder.display().to_string()));
    }
    let invite = Invite::from_code(code).map_err(network)?;
    let secret = DeviceSecret::from_seed(&random()?);
    runtime()?.block_on(async {
        let endpoint = Endpoint::bind(&secret, ANYWHERE).map_err(network)?;
        let mut check = String::new();
        let admission =
            endpoint.join(&invite, name, |words| check = words.to_string()).await.map_err(network)?;
        let mut file = DeviceFile::new(&secret, admission.crew, name.to_owned(), admission.person);
        file.inviter = Some(invite.inviter);
        for address in invite.addresses.iter().rev() {
            file.remember(invite.inviter, *address);
        }
        let holding = Arc::new(Holding::new(Node::join(folder, file)?.for_fetching()));
        let mut changes = holding.changes();
        let met = {
            let kept = Arc::clone(&holding);
            let meeting = endpoint.sync_with(invite.inviter, &invite.addresses, kept, Stay::UntilSettled);
            tokio::pin!(meeting);
            loop {
                tokio::select! {
                    met = &mut meeting => break met,
                    Ok(()) = changes.changed() => {
                        let held = *changes.borrow_and_update();
                        say(Progress { held, announced: holding.announced() });
                    }
                }
            }
        };
        // To take leave takes a moment, in which what was verified is kept for the next start.
        let kept = Arc::clone(&holding);
        let keep = move || {
            if let Some(checkpoint) = kept.with(Node::due_checkpoint) {
                checkpoint.write_or_warn();
            }
        };
        let ((), keeping) = tokio::join!(endpoint.close(), tokio::task::spawn_blocking(keep));
        keeping.map_err(network)?;
        met.map_err(|error: PeerError| {
            network(format!(
                "joined, but the ledger is not here yet: {error}. `fivebar run` goes on fetching it"
            ))
        })?;
        let events = holding.with(|node| node.ledger().chains().map(|chain| chain.tip.next_seq).sum());
        Ok(Joined { crew: admission.crew, check, events })
    })
}

/// Keeps the ledger open and meets the other devices until the process is told to stop. `beside` opens
/// what else is served from the same ledger, and leaves it to tasks of its own.
///
/// # Errors
/// A ledger or a port that can't be opened, or what `beside` says.
pub fn run(
    folder: &Path,
    meeting: Meeting,
    say: impl Fn(String),
    beside: impl AsyncFnOnce(Arc<Holding>) -> Result<(), NodeError>,
) -> Result<(), NodeError> {
    let Meeting { listen, places, power, nearby } = meeting;
    let mut node = Node::open(folder)?;
    // The ledger is ours, so a door that still stands is of a daemon that was killed.
    Door::remove(folder);
    node.set_listening(listen)?;
    let secret = node.secret();
    let known = node.device().peers.clone();
    let name = node.device().name.clone();
    runtime()?.block_on(async {
        // Before anybody can know of it and tell it.
        let told_to_stop = told_to_stop().map_err(network)?;
        let endpoint = Endpoint::bind_on(&secret, listen, power).map_err(network)?;
        for peer in known {
            peer.addresses.iter().for_each(|address| endpoint.remember(peer.device, *address));
        }
        let holding = Holding::with_photos(node);
        holding.meets_by(endpoint.clone());
        let (listener, door) = socket::open(folder).await?;
        tokio::spawn(socket::serve(listener, door, Arc::clone(&holding)));
        tokio::spawn(keep_checkpoints(Arc::clone(&holding)));
        tokio::spawn(try_photos_again(holding.with(|node| Arc::clone(node.album()))));
        if let Err(error) = beside(Arc::clone(&holding)).await {
            Door::remove(folder);
            return Err(error);
        }
        let (calling, held) = (endpoint.clone(), Arc::clone(&holding));
        tokio::spawn(async move { calling.meet_crew(held, places).await });
        if nearby {
            let (found, held) = (endpoint.clone(), Arc::clone(&holding));
            tokio::spawn(async move { found.be_found(&secret, held).await });
        }
        say(format!("{name} listens on {listen} and meets the crew's other devices. Ctrl-C ends it."));
        tokio::select! {
            () = endpoint.listen(holding) => {}
            () = told_to_stop => {}
        }
        endpoint.close().await;
        Door::remove(folder);
        say(format!("{name} stopped; everything is saved."));
        Ok(())
    })
}

/// What is done when the process is told to stop. From this call on, not from the first wait, it is not simply ended.
#[cfg(unix)]
fn told_to_stop() -> std::io::Result<impl Future<Output = ()>> {
    use tokio::signal::unix::{SignalKind, signal};
    let (mut interrupt, mut terminate) = (signal(SignalKind::interrupt())?, signal(SignalKind::terminate())?);
    Ok(async move {
        tokio::select! {
            _ = interrupt.recv() => {}
            _ = terminate.recv() => {}
        }
    })
}

/// What is done when the process is told to stop.
#[cfg(not(unix))]
fn told_to_stop() -> std::io::Result<impl Future<Output = ()>> {
    let pressed = tokio::spawn(tokio::signal::ctrl_c());
    Ok(async move {
        let _ = pressed.await;
    })
}
