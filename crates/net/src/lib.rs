//! The network shell: certificates, pairing, and QUIC connections that carry sync sessions.
//!
//! This crate moves bytes and proves keys. It decides nothing about the ledger: who belongs to the
//! crew, what is sent and what is taken in is asked of the crates below, and storing is done by the
//! holder of the ledger. It writes no file. `proto/FORMAT-pairing.md` describes the bytes of
//! pairing and of coming back by the recovery words; those of sync are the sync crate's.

mod announcing;
pub mod back_off;
pub mod certificate;
pub mod check_words;
pub mod config;
mod contacts;
mod driver;
pub mod endpoint;
pub mod error;
mod gate;
pub mod holder;
pub mod invite;
mod join;
mod listening;
mod local_addresses;
mod meeting;
mod nearby;
pub mod pairing;
mod photo_driver;
mod photo_holder;
mod power;
mod resets;
mod returning;
mod socket;
mod streams;
pub mod verifier;

pub use check_words::CheckWords;
pub use contacts::MAX_ADDRESSES;
pub use driver::Stay;
pub use endpoint::{BindError, Endpoint};
pub use error::PeerError;
pub use holder::{Fault, HoldError, Holder, Host, Joiner};
pub use invite::{CodeError, Invite, InviteId, InviteSecret};
pub use local_addresses::reachable_at;
pub use pairing::{Admission, Offer};
pub use photo_holder::PhotoHolder;
pub use power::Power;
pub use returning::Returned;
