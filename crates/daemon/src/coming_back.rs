//! Coming back by the recovery words: a new device fetches the ledger from any device of the crew, says by
//! the words whose it is, and takes the lost ones off.
//!
//! Nothing here asks to be done in one go. What was fetched stays, and whoever calls again goes on from there.

use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;

use ledger::recovery::WordFault;
use ledger::roster_events::{DeviceRetired, Role};
use ledger::{CrewId, DeviceKey, DeviceSecret, PersonId, RecoverySecret, Refusal};
use net::{Endpoint, Holder as _, PeerError};

use crate::command::roster::positions;
use crate::device::DeviceFile;
use crate::error::NodeError;
use crate::holding::Holding;
use crate::machine::random;
use crate::node::Node;
use crate::serve::{ANYWHERE, Progress, network, runtime};

/// Why a device that comes back takes others off.
const REASON: &str = "lost; taken off by the recovery words";

/// A boss who is back.
#[derive(Debug, Clone)]
pub struct Back {
    /// The crew.
    pub crew: CrewId,
    /// What it calls itself.
    pub crew_name: String,
    /// Who is back.
    pub person: String,
    /// The names of the devices that were taken off.
    pub retired: Vec<String>,
    /// How many events are held here now.
    pub events: u64,
}

/// What somebody says who comes back.
pub struct Return<'a> {
    /// The recovery words.
    pub words: &'a RecoverySecret,
    /// What this device is to be called.
    pub name: &'a str,
    /// Who it is; whoever founded the crew without it.
    pub person: Option<&'a str>,
    /// Where devices of the crew listen; the first that answers is asked.
    pub at: &'a [SocketAddr],
}

/// Brings a boss back on this device. `lost` is asked which of the boss's devices are lost, by their names;
/// `say` is told how far it is.
///
/// # Errors
/// Words that are another crew's, no device that answers, or the disk. What was fetched stays.
pub fn come_back(
    folder: &Path,
    wish: &Return<'_>,
    lost: impl FnOnce(&[String]) -> Result<Vec<String>, NodeError>,
    mut say: impl FnMut(Progress),
) -> Result<Back, NodeError> {
    let kept = DeviceFile::read(folder)?;
    let secret = match &kept {
        Some(file) => file.secret()?,
        None => DeviceSecret::from_seed(&random()?),
    };
    let mut node = kept.map(|_| Node::open(folder).map(Node::for_fetching)).transpose()?;
    if let Some(node) = &node {
        check_unfinished(folder, node, wish.words)?;
    }
    runtime()?.block_on(async {
        let endpoint = Endpoint::bind(&secret, ANYWHERE).map_err(network)?;
        let (called, first) = call(&endpoint, wish).await?;
        let node = match node.take() {
            Some(node) => node,
            None => {
                // Who it is, the ledger says, once it is here.
                let nobody = PersonId([0; 16]);
                let mut file = DeviceFile::new(&secret, first.crew, wish.name.to_owned(), nobody);
                file.inviter = Some(first.peer);
                file.remember(first.peer, called);
                Node::join(folder, file)?.for_fetching()
            }
        };
        let holding = Arc::new(Holding::new(node));
        let mut changes = holding.changes();
        {
            let fetching = first.sync(Arc::clone(&holding));
            tokio::pin!(fetching);
            loop {
                tokio::select! {
                    met = &mut fetching => break met.map_err(explain)?,
                    Ok(()) = changes.changed() => {
                        let held = *changes.borrow_and_update();
                        say(Progress { held, announced: holding.announced() });
                    }
                }
            }
        }
        let mut back = holding.with(|node| be_back(node, wish, lost))?;
        // The crew hears of it from this device, which the roster of the one that is called does not know yet.
        let (_, second) = call(&endpoint, wish).await?;
        let told = second.sync(Arc::clone(&holding)).await;
        endpoint.close().await;
        told.map_err(|error| {
            network(format!(
                "you are back on this device, and no other knows it yet: {error}. Do the same once more"
            ))
        })?;
        back.events = holding.with(|node| node.ledger().chains().map(|chain| chain.tip.next_seq).sum());
        Ok(back)
    })
}

/// A folder that holds a ledger may be one in which this was begun before, and nothing else.
fn check_unfinished(folder: &Path, node: &Node, words: &RecoverySecret) -> Result<(), NodeError> {
    let roster = node.ledger().roster();
    let is_ours = roster.founding().is_none_or(|founding| founding.recovery_key == words.public());
    let was_let_in = roster.device(&node.key()).is_some_and(|device| device.recovered_at.is_none());
    if is_ours && !was_let_in { Ok(()) } else { Err(NodeError::AlreadyFounded(folder.display().to_string())) }
}

async fn call(endpoint: &Endpoint, wish: &Return<'_>) -> Result<(SocketAddr, net::Returned), NodeError> {
    let mut failure =
        network("say where a device of the crew listens, with --at, like --at 192.168.1.20:5105");
    for address in wish.at {
        match endpoint.come_back(*address, &wish.words.key_pair()).await {
            Ok(returned) => return Ok((*address, returned)),
            Err(PeerError::Dismissed(Refusal::WrongWords)) => {
                return Err(WordFault::AnotherCrew { place: None }.into());
            }
            Err(error) => failure = network(format!("{address}: {error}")),
        }
    }
    Err(failure)
}

fn explain(error: PeerError) -> NodeError {
    network(format!("the ledger is not whole here yet: {error}. Do the same once more"))
}

/// Writes the certificate, unless an earlier call did.
fn be_back(
    node: &mut Node,
    wish: &Return<'_>,
    lost: impl FnOnce(&[String]) -> Result<Vec<String>, NodeError>,
) -> Result<Back, NodeError> {
    let roster = node.ledger().roster();
    let founding = *roster.founding().ok_or_else(|| network("the crew's first entry did not come"))?;
    if founding.recovery_key != wish.words.public() {
        return Err(WordFault::AnotherCrew { place: None }.into());
    }
    let owners = || roster.people().filter(|person| person.role == Role::Owner);
    let person = match wish.person {
        Some(name) => owners().find(|person| person.name == name),
        None => owners().find(|person| person.person == founding.founder),
    };
    let Some(person) = person.cloned() else {
        let names: Vec<&str> = owners().map(|person| person.name.as_str()).collect();
        return Err(NodeError::bad_input(format!(
            "say who you are with --person; the bosses of this crew are: {}",
            names.join(", ")
        )));
    };
    let crew_name = roster.crew_name().to_owned();
    let theirs = roster
        .devices()
        .filter(|device| device.person == person.person && !device.retired && device.key != node.key());
    let theirs: Vec<(DeviceKey, String)> = theirs.map(|device| (device.key, device.name.clone())).collect();
    let mut back = Back { crew: node.crew(), crew_name, person: person.name, retired: Vec::new(), events: 0 };
    if roster.device(&node.key()).is_some() {
        node.take_over_keys(wish.words)?;
        return Ok(back);
    }
    let names: Vec<String> = theirs.iter().map(|(_, name)| name.clone()).collect();
    let wanted = if names.is_empty() { Vec::new() } else { lost(&names)? };
    let mut retires = Vec::with_capacity(wanted.len());
    for name in wanted {
        let device = theirs.iter().find(|(_, theirs)| *theirs == name);
        let (device, _) = device.ok_or_else(|| {
            NodeError::bad_input(format!("{name:?} is none of your devices; they are: {}", names.join(", ")))
        })?;
        let cuts = positions(node, |of| of == device);
        retires.push(DeviceRetired { device: *device, cuts, reason: REASON.to_owned() });
        back.retired.push(name);
    }
    node.change_device(|file| file.person = person.person)?;
    node.certify(wish.words, person.person, retires)?;
    node.take_over_keys(wish.words)?;
    Ok(back)
}
