//! How a node comes to be: a crew is founded, a crew is joined, or the ledger that is there is opened. Each on this
//! machine's folder, or on any machine.

use std::path::Path;
use std::sync::Arc;

use ledger::{Body, ChainId, DeviceSecret, EntryId, Ledger, Payload, PersonId, RecoverySecret};
use store::{Record, RecordKind, Store};

use super::{Node, act_at};
use crate::device::DeviceFile;
use crate::error::NodeError;
use crate::machine::{Machine, ThisMachine};
use crate::moving::moved_away;

impl Node {
    /// Founds a crew in a folder that holds no ledger. The recovery words are given out here and kept nowhere.
    ///
    /// # Errors
    /// [`NodeError::AlreadyFounded`], or whatever the disk says.
    pub fn found(
        folder: &Path,
        crew: &str,
        founder: &str,
        device: &str,
    ) -> Result<(Self, RecoverySecret), NodeError> {
        Self::found_on(Arc::new(ThisMachine::new(folder)), crew, founder, device)
    }

    /// As [`Node::found`], on any machine.
    ///
    /// # Errors
    /// As [`Node::found`].
    pub fn found_on(
        machine: Arc<dyn Machine>,
        crew: &str,
        founder: &str,
        device: &str,
    ) -> Result<(Self, RecoverySecret), NodeError> {
        if DeviceFile::read_on(&*machine)?.is_some() {
            return Err(NodeError::AlreadyFounded(machine.folder().display().to_string()));
        }
        not_moved_away(&*machine)?;
        if crew.trim().is_empty() || founder.trim().is_empty() {
            return Err(NodeError::bad_input("a crew and its founder need a name"));
        }
        let secret = DeviceSecret::from_seed(&machine.random()?);
        let words = RecoverySecret::from_entropy(machine.random()?);
        let content = ledger::roster_events::CrewFounded {
            crew: crew.to_owned(),
            founder: founder.to_owned(),
            device: device.to_owned(),
            seed: machine.random()?,
            recovery_key: words.public(),
        };
        let now = machine.now_ms();
        // The founder's id follows from the crew id, which is the hash of this very event.
        let act = act_at(now, PersonId([0; 16]), EntryId(machine.random()?))?;
        let payload = Payload { act, body: Body::CrewFounded(content) };
        let chain = ChainId(machine.random()?);
        let (ledger, start, run) = Ledger::found(chain, &secret, now, &payload.encode()?)?;
        let person = PersonId::named(&ledger.crew(), founder);
        let mut file = DeviceFile::new(&secret, ledger.crew(), device.to_owned(), person);
        file.crew_chain = Some(chain);
        machine.put_unfinished_aside()?;
        let mut store = Store::create(machine.journal()?, ledger.crew())?;
        let start_bytes = start.encode();
        store.append(&[
            Record { kind: RecordKind::ChainDeclaration, bytes: &start_bytes },
            Record { kind: RecordKind::Run, bytes: run.bytes() },
        ])?;
        file.write_on(&*machine)?;
        Ok((Self::with_store(machine, file, store)?, words))
    }

    /// Makes the folder of a device that was admitted to a crew and holds nothing yet.
    ///
    /// # Errors
    /// [`NodeError::AlreadyFounded`], or whatever the disk says.
    pub fn join(folder: &Path, file: DeviceFile) -> Result<Self, NodeError> {
        Self::join_on(Arc::new(ThisMachine::new(folder)), file)
    }

    /// As [`Node::join`], on any machine.
    ///
    /// # Errors
    /// As [`Node::join`].
    pub fn join_on(machine: Arc<dyn Machine>, file: DeviceFile) -> Result<Self, NodeError> {
        if DeviceFile::read_on(&*machine)?.is_some() {
            return Err(NodeError::AlreadyFounded(machine.folder().display().to_string()));
        }
        not_moved_away(&*machine)?;
        machine.put_unfinished_aside()?;
        let store = Store::create(machine.journal()?, file.crew)?;
        file.write_on(&*machine)?;
        Self::with_store(machine, file, store)
    }

    /// Opens the ledger in a folder.
    ///
    /// # Errors
    /// [`NodeError::NoLedger`], [`NodeError::DeviceMissing`], or why the store can't be opened.
    pub fn open(folder: &Path) -> Result<Self, NodeError> {
        Self::open_on(Arc::new(ThisMachine::new(folder)))
    }

    /// As [`Node::open`], on any machine.
    ///
    /// # Errors
    /// As [`Node::open`].
    pub fn open_on(machine: Arc<dyn Machine>) -> Result<Self, NodeError> {
        let Some(device) = DeviceFile::read_on(&*machine)? else {
            not_moved_away(&*machine)?;
            if machine.has_journal()? {
                let file = machine.folder().join(DeviceFile::NAME);
                return Err(NodeError::DeviceMissing(file.display().to_string()));
            }
            return Err(NodeError::NoLedger(machine.folder().display().to_string()));
        };
        let store = match Store::open(machine.journal()?) {
            // Joined, and stopped before the first run came.
            Err(store::OpenError::Empty) => Store::create(machine.journal()?, device.crew)?,
            other => other?,
        };
        if store.crew() != device.crew {
            return Err(NodeError::OtherCrew(machine.folder().join(DeviceFile::NAME).display().to_string()));
        }
        Self::with_store(machine, device, store)
    }
}

/// Refuses a folder whose device is in another one.
fn not_moved_away(machine: &dyn Machine) -> Result<(), NodeError> {
    match moved_away(machine)? {
        Some(away) => Err(NodeError::Moved(away.to.display().to_string())),
        None => Ok(()),
    }
}
