//! A device of the crew: an invented machine, and the node on it while it is switched on.

use std::collections::BTreeMap;
use std::sync::Arc;

use daemon::{Holding, Node, NodeError};
use ledger::{ChainId, DeviceKey, EventHash};
use store::{FaultyDisk, Survival};

use crate::dice::Dice;
use crate::machine::InventedMachine;

/// What a device has promised: so many events of each chain, with the hash of the last.
pub type Promises = BTreeMap<ChainId, (u64, EventHash)>;

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
}

impl Device {
    /// A device that is switched on.
    #[must_use]
    pub fn new(name: &str, person: &'static str, machine: Arc<InventedMachine>, node: Node) -> Self {
        let mut device = Self {
            name: name.to_owned(),
            person,
            key: node.key(),
            machine,
            holding: Some(Holding::new(node)),
            promised: BTreeMap::new(),
            scarred: false,
            destroyed: false,
            backup: None,
        };
        device.note_promises();
        device
    }

    /// Uses the node; none while it is switched off.
    pub fn with<R>(&self, work: impl FnOnce(&mut Node) -> R) -> Option<R> {
        self.holding.as_ref().map(|holding| holding.with(work))
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
        self.holding = Some(Holding::new(Node::open_on(self.machine.clone())?));
        Ok(())
    }
}

/// How far a node holds each chain.
#[must_use]
pub fn tips(node: &Node) -> Promises {
    let held = node.ledger().chains().filter(|chain| chain.tip.next_seq > 0);
    held.map(|chain| (chain.start.chain, (chain.tip.next_seq, chain.tip.hash))).collect()
}
