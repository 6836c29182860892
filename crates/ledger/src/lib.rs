//! The ledger: what happened on site and in the office, as signed, append-only chains of events.
//!
//! Everything here is pure: no clock, no randomness, no I/O. Bytes come in and are checked, and
//! what counts follows from the set of events held, never from the order they arrived in.
//! `proto/FORMAT.md` describes every byte that this crate reads and writes.

pub mod act;
pub mod chain;
pub mod codec;
pub mod event;
pub mod excerpt;
pub mod fork;
pub mod frontier;
mod hashed;
pub mod ids;
pub mod kinds;
pub mod office;
pub mod older;
mod pair_key;
pub mod recovery;
pub mod refusal;
pub mod roster;
pub mod roster_events;
pub mod run;
pub mod sabotage;
pub mod sealing;
pub mod site;

pub use act::Act;
pub use chain::{Audience, ChainStart, DeviceSecret, Tip};
pub use event::{Event, Payload, Unreadable};
pub use excerpt::{Excerpt, FrontBuilder};
pub use fork::ForkProof;
pub use frontier::{Frontier, Ledger, TakenIn};
pub use hashed::{HashedRun, RunHasher};
pub use ids::{
    ChainId, CrewId, DeviceKey, EntryId, EntryRef, EventHash, InvoiceId, ItemId, JobId, LineId, OfficeKeyId,
    PersonId, PhotoHash, PointId, QuoteId, SessionId, StageId,
};
pub use kinds::{Body, Kind};
pub use pair_key::PairKey;
pub use recovery::RecoverySecret;
pub use refusal::Refusal;
pub use run::{Run, RunBuilder};
pub use sealing::{OfficeKey, OfficeKeys};
