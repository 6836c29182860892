//! Replication: what two devices of a crew say to each other until both hold the same events.
//!
//! A [`Session`] is the state of one connection. It is pure: frames and news of what became durable
//! go in, [`Output`]s come out. It has no clock, no I/O, no randomness, and keeps no events: the
//! shell around it owns the ledger, the store and the connection.
//!
//! **Who sees what, until payloads are sealed.** Chains that the crew reads go to every device.
//! Chains that the office reads go to a device only if the roster says that it is of the office, so
//! that money can't be read on a hand's phone. A device that is not of the office still hands its
//! *own* office chains (the prices it paid) to devices that are. What a session compares, announces
//! and sends is therefore: all crew chains; all office chains, if both sides are of the office; and
//! with one such side, the office chains that the other side wrote itself. Only the sender can keep
//! this rule, since what was sent is known. Once payloads are sealed, every chain goes to everybody.
//!
//! `proto/FORMAT.md` describes every byte that is sent.

mod frame;
mod message;
mod receiving;
mod sending;
mod session;
mod sight;

pub use frame::{FrameReader, MAX_FRAME, frame_length};
pub use message::FORMAT_MAJOR;
pub use session::{Output, Session};
