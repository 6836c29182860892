//! The node as the daemon's tasks share it: one at a time, and with a bell that rings when it grows.
//!
//! The network looks at a copy of the ledger, so that it never waits for a disk.

use std::collections::{BTreeMap, BTreeSet};
use std::net::SocketAddr;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, OnceLock, PoisonError, RwLock, Weak};

use ledger::fork::Comparison;
use ledger::roster_events::DeviceAdmitted;
use ledger::{
    Audience, Body, ChainId, ChainStart, CrewId, DeviceKey, ForkProof, HashedRun, Ledger, Payload, Refusal,
    Run,
};
use net::{Endpoint, Fault, HoldError, Holder, Host, InviteId, Joiner, Offer, PhotoHolder};
use sync::CommonGround;
use tokio::sync::watch;

use crate::device::Met;
use crate::error::NodeError;
use crate::machine::Machine;
use crate::node::{Node, Write};
use crate::photos::Keeper;

/// A node that several tasks use.
pub struct Holding {
    machine: Arc<dyn Machine>,
    node: Mutex<Node>,
    ledger: RwLock<Ledger>,
    /// Who let this device in, and whom it has met.
    vouched: RwLock<BTreeSet<DeviceKey>>,
    changed: watch::Sender<u64>,
    announced: AtomicU64,
    /// What this device and each of those last knew both to hold.
    common: RwLock<BTreeMap<DeviceKey, CommonGround>>,
    /// What peers told that the device's file does not know yet: noting it must not wait for a disk.
    met: Mutex<BTreeMap<DeviceKey, Met>>,
    /// Gives and takes photos, where they are carried.
    photos: Option<Arc<dyn PhotoHolder>>,
    /// The endpoint by which others are met, where there is one.
    endpoint: OnceLock<Endpoint>,
}

// A task that panicked while it held a lock wrote durably or not at all, and what it shares is changed
// only after that: so the others go on, and a poisoned lock is taken all the same.
impl Holding {
    /// Shares a node.
    #[must_use]
    pub fn new(mut node: Node) -> Self {
        // A full disk may have kept it from whoever was let in last.
        node.hand_over_keys();
        let ledger = RwLock::new(node.ledger().clone());
        let known = node.device().peers.iter().map(|peer| peer.device);
        let vouched = RwLock::new(known.chain(node.device().inviter).collect());
        let common = RwLock::new(node.device().common_grounds());
        let (changed, announced) = (watch::Sender::new(news(node.ledger())), AtomicU64::new(0));
        let machine = node.shared_machine();
        Self {
            machine,
            node: Mutex::new(node),
            ledger,
            vouched,
            common,
            changed,
            announced,
            met: Mutex::default(),
            photos: None,
            endpoint: OnceLock::new(),
        }
    }

    /// Shares a node that also gives photos to other devices, and takes those that it keeps.
    #[must_use]
    pub fn with_photos(node: Node) -> Arc<Self> {
        let album = Arc::clone(node.album());
        Arc::new_cyclic(|holding| {
            let keeper: Arc<dyn PhotoHolder> = Arc::new(Keeper::new(Weak::clone(holding), album));
            Self { photos: Some(keeper), ..Self::new(node) }
        })
    }

    /// Says by which endpoint others are met. The first that is said stays.
    pub(crate) fn meets_by(&self, endpoint: Endpoint) {
        let _ = self.endpoint.set(endpoint);
    }

    /// How many devices are connected now.
    pub(crate) fn connected(&self) -> usize {
        self.endpoint.get().map_or(0, |endpoint| endpoint.connected().len())
    }

    /// The most events that a peer has said to hold.
    pub(crate) fn announced(&self) -> u64 {
        self.announced.load(Ordering::Relaxed)
    }

    /// Uses the node, and rings the bell if there is more than before.
    pub fn with<R>(&self, work: impl FnOnce(&mut Node) -> R) -> R {
        let mut node = self.node.lock().unwrap_or_else(PoisonError::into_inner);
        let met = std::mem::take(&mut *self.met.lock().unwrap_or_else(PoisonError::into_inner));
        node.note_met(met);
        let before = news(node.ledger());
        let result = work(&mut node);
        let after = news(node.ledger());
        if after != before {
            self.publish(node.ledger());
            node.album().ring();
            drop(node);
            self.changed.send_replace(after);
        }
        result
    }

    /// Looks at what the network sees, without waiting for whoever has the node.
    pub fn look<R>(&self, look: impl FnOnce(&Ledger) -> R) -> R {
        look(&self.ledger.read().unwrap_or_else(PoisonError::into_inner))
    }

    /// Whether the roster lists a device, retired or not.
    fn lists(&self, device: &DeviceKey) -> bool {
        self.look(|ledger| ledger.roster().device(device).is_some())
    }

    /// The bell: its number grows with what is held.
    pub fn bell(&self) -> watch::Receiver<u64> {
        self.changed.subscribe()
    }

    /// Shows the network what is durable now, and keeps the chains it announced that have no run yet.
    fn publish(&self, durable: &Ledger) {
        let mut shown = self.ledger.write().unwrap_or_else(PoisonError::into_inner);
        let mut next = durable.clone();
        for chain in shown.chains() {
            // One that no longer fits was announced by a device that never belonged; it is forgotten.
            let _ = next.take_in_chain(chain.start);
        }
        *shown = next;
    }
}

/// A fork is news, too, whatever it leaves to count.
fn news(ledger: &Ledger) -> u64 {
    ledger.chains().map(|chain| chain.tip.next_seq + u64::from(chain.fork.is_some())).sum()
}

fn fault(error: &NodeError) -> Fault {
    Fault(error.to_string())
}

impl Holder for Holding {
    fn with_ledger<R>(&self, look: impl FnOnce(&Ledger) -> R) -> R {
        self.look(look)
    }

    fn take_in_chain(&self, start: ChainStart) -> Result<(), Refusal> {
        self.ledger.write().unwrap_or_else(PoisonError::into_inner).take_in_chain(start)
    }

    fn store(&self, runs: Vec<HashedRun>) -> Result<Vec<Result<(), Refusal>>, Fault> {
        let start = |chain: &ChainId| self.with_ledger(|ledger| ledger.chain(chain).map(|chain| chain.start));
        self.with(|node| node.store_hashed_runs(start, runs)).map_err(|error| fault(&error))
    }

    fn read(&self, chain: ChainId, from_seq: u64) -> Option<Run> {
        let run = self.with(|node| node.read_run(chain, from_seq));
        run.inspect_err(|error| tracing::warn!(%error, "a run can't be read for a peer")).ok().flatten()
    }

    fn compare(&self, shown: &Run) -> Result<Comparison, Fault> {
        self.with(|node| node.compare(shown)).map_err(|error| fault(&error))
    }

    fn store_fork(&self, proof: ForkProof) -> Result<Result<(), Refusal>, Fault> {
        self.with(|node| node.store_fork(proof)).map_err(|error| fault(&error))
    }

    fn changes(&self) -> watch::Receiver<u64> {
        self.bell()
    }

    fn vouched(&self) -> BTreeSet<DeviceKey> {
        self.vouched.read().unwrap_or_else(PoisonError::into_inner).clone()
    }

    fn photos(&self) -> Option<Arc<dyn PhotoHolder>> {
        self.photos.clone()
    }

    fn common_ground(&self, peer: DeviceKey) -> CommonGround {
        self.common.read().unwrap_or_else(PoisonError::into_inner).get(&peer).cloned().unwrap_or_default()
    }

    fn note_peer(&self, peer: DeviceKey, holds: &BTreeMap<ChainId, u64>, common: Option<CommonGround>) {
        if !self.lists(&peer) {
            return; // Whoever knocks leaves no trace.
        }
        let events: u64 = holds.values().sum();
        self.announced.fetch_max(events, Ordering::Relaxed);
        tracing::info!(peer = %peer.short(), events, "what a peer holds");
        if let Some(common) = &common {
            let mut grounds = self.common.write().unwrap_or_else(PoisonError::into_inner);
            grounds.insert(peer, common.clone());
        }
        let mut met = self.met.lock().unwrap_or_else(PoisonError::into_inner);
        let now = met.entry(peer).or_default();
        now.at_ms = self.machine.now_ms();
        now.holds.clone_from(holds);
        now.common = common.or_else(|| now.common.take());
        drop(met);
        // Whoever looks at the page wants to see that an entry is safe now.
        self.changed.send_modify(|_| {});
    }

    fn note_reached(&self, peer: DeviceKey, address: SocketAddr) {
        if !self.lists(&peer) {
            return;
        }
        let mut met = self.met.lock().unwrap_or_else(PoisonError::into_inner);
        let now = met.entry(peer).or_default();
        now.at_ms = self.machine.now_ms();
        now.reached = Some(address);
    }
}

impl Host for Holding {
    fn offer(&self, id: &InviteId) -> Option<Offer> {
        // Pairing is rare; the runtime is told that this thread may wait for the node.
        tokio::task::block_in_place(|| self.with(|node| node.device().offer(id)))
    }

    fn use_up(&self, id: &InviteId) -> Result<(), HoldError> {
        self.with(|node| node.use_up_invite(id))
    }

    async fn admit(&self, joiner: Joiner) -> Result<CrewId, HoldError> {
        // Giving out the code was the owner's yes; the words on both screens let it be taken back.
        tracing::warn!(name = joiner.name, words = %joiner.words, "a device joins; compare the check words");
        tokio::task::block_in_place(|| {
            self.with(|node| {
                let act = node.act(node.device().person).map_err(|error| fault(&error))?;
                let body = Body::DeviceAdmitted(DeviceAdmitted {
                    device: joiner.device,
                    name: joiner.name,
                    person: joiner.offer.person,
                    shared: joiner.offer.shared,
                    office: joiner.offer.office,
                });
                let write = Write { audience: Audience::Crew, payload: Payload { act, body } };
                match node.append(&[write]) {
                    Ok(_) => Ok(node.crew()),
                    Err(NodeError::NotAllowed { .. }) => Err(HoldError::Refused(Refusal::Declined)),
                    Err(error) => Err(HoldError::Fault(fault(&error))),
                }
            })
        })
    }
}
