//! What this crate asks of the owner of the ledger, the store and the invites.

use std::collections::{BTreeMap, BTreeSet};
use std::future::Future;
use std::net::SocketAddr;
use std::sync::Arc;

use ledger::fork::Comparison;
use ledger::{ChainId, ChainStart, CrewId, DeviceKey, ForkProof, Ledger, Refusal, Run};
use sync::CommonGround;
use tokio::sync::watch;

use crate::check_words::CheckWords;
use crate::invite::InviteId;
use crate::pairing::Offer;
use crate::photo_holder::PhotoHolder;

/// Something went wrong on this side that is nobody's fault on the other: a full disk, an I/O error.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0}")]
pub struct Fault(pub String);

/// Why something was not done.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum HoldError {
    /// A rule forbids it.
    #[error(transparent)]
    Refused(#[from] Refusal),
    /// It could not be done.
    #[error(transparent)]
    Fault(#[from] Fault),
}

/// The owner of a ledger and of the store behind it.
pub trait Holder: Send + Sync + 'static {
    /// Lets the ledger be looked at. Called often and from async tasks: it must not wait for a disk.
    fn with_ledger<R>(&self, look: impl FnOnce(&Ledger) -> R) -> R;

    /// Takes a chain's start into the ledger. Its start becomes durable with or before its first run.
    /// Must not wait for a disk.
    ///
    /// # Errors
    /// What [`Ledger::take_in_chain`] says.
    fn take_in_chain(&self, start: ChainStart) -> Result<(), Refusal>;

    /// Checks the runs in order, makes those that pass durable together, and takes them into the
    /// ledger. Gives one outcome for each run, in order; a run that was known is well. Once it
    /// returns, [`Holder::changes`] has moved on. May wait for a disk: it is called where that is allowed.
    ///
    /// # Errors
    /// [`Fault`] if they could not be made durable. None of them is in the ledger then.
    fn store(&self, runs: Vec<Run>) -> Result<Vec<Result<(), Refusal>>, Fault>;

    /// A run of the chain that begins at or covers `from_seq`: as many joined as fit in 1 MiB. None
    /// if the store can't give it. May wait for a disk: it is called where that is allowed.
    fn read(&self, chain: ChainId, from_seq: u64) -> Option<Run>;

    /// Compares a peer's run with what is held from the same place on. May wait for a disk, as above.
    ///
    /// # Errors
    /// [`Fault`] if what is held can't be read.
    fn compare(&self, shown: &Run) -> Result<Comparison, Fault>;

    /// Checks the proof of a fork, makes it durable if it says something new, and takes it into the ledger. Once it
    /// returns, [`Holder::changes`] has moved on. May wait for a disk, as above.
    ///
    /// # Errors
    /// [`Fault`] if it could not be made durable. It is not in the ledger then.
    fn store_fork(&self, proof: ForkProof) -> Result<Result<(), Refusal>, Fault>;

    /// Moves on whenever something became durable, wherever it came from. Its number grows with what is held, and is
    /// lower only where something was lost.
    fn changes(&self) -> watch::Receiver<u64>;

    /// Devices that are taken for ones of the crew where the ledger has not heard of them: the one that paired this one,
    /// and those met before. What lists them may have been lost from the disk, and comes back from them.
    fn vouched(&self) -> BTreeSet<DeviceKey>;

    /// The keeper of the photos, if there is one. Photos go beside the events and never before them.
    fn photos(&self) -> Option<Arc<dyn PhotoHolder>> {
        None
    }

    /// What this device and a peer last knew both to hold, as [`Holder::note_peer`] was told it; nothing if they never
    /// met. Must not wait for a disk.
    fn common_ground(&self, peer: DeviceKey) -> CommonGround;

    /// Notes what a peer is known to hold durably: events of each chain, and what both hold if it is the same.
    /// Called once it has said so, when all that it announced was received, when it has acknowledged all, and when its
    /// session ends. Must not wait for a disk.
    fn note_peer(&self, peer: DeviceKey, holds: &BTreeMap<ChainId, u64>, common: Option<CommonGround>);

    /// Notes where a peer was reached, to look there first on another day. Must not wait for a disk.
    fn note_reached(&self, _peer: DeviceKey, _address: SocketAddr) {}
}

/// A device that proved to have an invite, for the owner to look at.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Joiner {
    /// Its key, proven by the connection.
    pub device: DeviceKey,
    /// What it calls itself.
    pub name: String,
    /// What both screens show.
    pub words: CheckWords,
    /// The invite that it used, and what that promised.
    pub offer: Offer,
}

/// The keeper of the invites that this device gave out.
pub trait Host: Send + Sync + 'static {
    /// The invite with this id, if this device gave it out. Used and expired ones are given too, so
    /// that the joiner can be told. Must not wait for a disk.
    fn offer(&self, id: &InviteId) -> Option<Offer>;

    /// Uses up an invite, durably. Of two calls one succeeds. May wait for a disk: it is called
    /// where that is allowed.
    ///
    /// # Errors
    /// [`Refusal::UsedInvite`], [`Refusal::WrongInvite`] if there is none, or a [`Fault`].
    fn use_up(&self, id: &InviteId) -> Result<(), HoldError>;

    /// Admits the joiner, after asking the owner if that is wanted: appends the event, durably, and
    /// gives the crew. It is awaited to the end, also if the joiner goes away meanwhile.
    ///
    /// # Errors
    /// [`Refusal::Declined`], another [`Refusal`], or a [`Fault`].
    fn admit(&self, joiner: Joiner) -> impl Future<Output = Result<CrewId, HoldError>> + Send;
}
