//! A device of the crew: an invented machine, and the node on it while it is switched on.

use std::collections::BTreeMap;
use std::sync::Arc;

use daemon::device::DeviceFile;
use daemon::{Holding, Node, NodeError};
use ledger::{ChainId, DeviceKey, EventHash, Kind, older};
use store::{FaultyDisk, IndexTwin, Survival};

use crate::dice::Dice;
use crate::machine::InventedMachine;

/// Where a device keeps what it knows of itself.
pub(crate) const DEVICE_FILE: &str = "small/device.json";

/// What a device has promised: so many events of each chain, with the hash of the last.
pub type Promises = BTreeMap<ChainId, (u64, EventHash)>;

/// The whole disk of a device as it once was, and what follows from it.
pub struct Image {
    /// The disk.
    pub disk: FaultyDisk,
    /// The index beside it.
    pub index: IndexTwin,
    /// What the device held.
    pub promised: Promises,
    /// The chains that it had chosen to write, also those that it had not begun.
    pub chosen: Vec<ChainId>,
    /// What its program did not know.
    pub lacks: Option<Kind>,
}

/// A device.
pub struct Device {
    /// What it is called.
    pub name: String,
    /// Whose it is.
    pub person: &'static str,
    /// Its key.
    pub key: DeviceKey,
    /// The machine.
    pub machine: Arc<InventedMachine>,
    /// The node; none while it is switched off.
    pub holding: Option<Holding>,
    /// What it has said to hold durably, to people or to peers.
    pub promised: Promises,
    /// Its disk lost bits that were durable, so its promises are the others' to keep.
    pub scarred: bool,
    /// It is gone for good.
    pub destroyed: bool,
    /// A backup of its folder, with what it held then.
    pub backup: Option<(FaultyDisk, Promises)>,
    /// An image of its whole disk.
    pub image: Option<Image>,
    /// A checkpoint that it had.
    pub checkpoint: Option<Vec<u8>>,
    /// The kind of event that its program is too old to know.
    pub lacks: Option<Kind>,
}

impl Device {
    /// A device that is switched off, and has promised nothing yet.
    #[must_use]
    pub fn new(name: &str, person: &'static str, key: DeviceKey, machine: Arc<InventedMachine>) -> Self {
        Self {
            name: name.to_owned(),
            person,
            key,
            machine,
            holding: None,
            promised: BTreeMap::new(),
            scarred: false,
            destroyed: false,
            backup: None,
            image: None,
            checkpoint: None,
            lacks: None,
        }
    }

    /// The same with its node, which holds what it promises.
    #[must_use]
    pub fn switched_on(mut self, node: Node) -> Self {
        self.holding = Some(Holding::new(node));
        self.note_promises();
        self
    }

    /// Uses the node; none while it is switched off.
    pub fn with<R>(&self, work: impl FnOnce(&mut Node) -> R) -> Option<R> {
        self.holding.as_ref().map(|holding| self.as_program(|| holding.with(work)))
    }

    /// Does something as the program does it that the device has.
    pub fn as_program<R>(&self, work: impl FnOnce() -> R) -> R {
        older::lacking(self.lacks, work)
    }

    /// Its whole disk as it is now.
    #[must_use]
    pub fn imaged(&self) -> Image {
        let disk = self.machine.disk().crash(Survival::Everything);
        let file = disk.contents(DEVICE_FILE).unwrap_or_default();
        // Behind it stands its hash.
        let file = serde_json::Deserializer::from_slice(&file).into_iter::<DeviceFile>().next();
        let file = file.and_then(Result::ok);
        let chosen = file.map(|file| file.crew_chain.into_iter().chain(file.office_chain).collect());
        Image {
            disk,
            index: self.machine.index().copied(),
            promised: self.promised.clone(),
            chosen: chosen.unwrap_or_default(),
            lacks: self.lacks,
        }
    }

    /// Whether it is switched on.
    #[must_use]
    pub const fn is_on(&self) -> bool {
        self.holding.is_some()
    }

    /// Takes note of all that it holds as promised.
    pub fn note_promises(&mut self) {
        if let Some(tips) = self.with(|node| tips(node)) {
            self.promised = tips;
        }
    }

    /// The power goes: what the disk then holds is for `survival` to say.
    pub fn lose_power(&mut self, survival: Survival, dice: Dice) {
        let machine = self.machine.switched_on_again(survival, dice);
        // What the node still writes while it is taken down goes to the disk that was.
        self.holding = None;
        self.machine = Arc::new(machine);
    }

    /// Switches it off in order.
    pub fn switch_off(&mut self, dice: Dice) {
        self.holding = None;
        self.machine = Arc::new(self.machine.switched_on_again(Survival::Everything, dice));
    }

    /// Switches it on. What it held is not looked at yet.
    ///
    /// # Errors
    /// Why the node does not open.
    pub fn switch_on(&mut self) -> Result<(), NodeError> {
        let opened = self.as_program(|| Node::open_on(self.machine.clone()));
        self.holding = Some(Holding::new(opened?));
        Ok(())
    }
}

/// How far a node holds each chain.
#[must_use]
pub fn tips(node: &Node) -> Promises {
    let held = node.ledger().chains().filter(|chain| chain.tip.next_seq > 0);
    held.map(|chain| (chain.start.chain, (chain.tip.next_seq, chain.tip.hash))).collect()
}
