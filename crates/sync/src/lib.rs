//! Replication: what two devices of a crew say to each other until both hold the same events.
//!
//! A [`Session`] is the state of one connection. It is pure: frames and news of what became durable
//! go in, [`Output`]s come out. It has no clock, no I/O, no randomness, and keeps no events: the
//! shell around it owns the ledger, the store and the connection.
//!
//! Every chain goes to every device of the crew. What only the office reads is sealed in its payloads, so that
//! whoever passes it on can't read it.
//!
//! `proto/FORMAT.md` describes every byte that is sent.

mod forks;
mod frame;
mod message;
mod output;
pub mod photos;
mod receiving;
mod sending;
mod session;
mod sight;
mod tips;

pub use frame::{FrameReader, MAX_FRAME, push_frame};
pub use message::FORMAT_MAJOR;
pub use output::Output;
pub use session::Session;
pub use tips::CommonGround;
