//! The network shell: certificates, pairing, and QUIC connections that carry sync sessions.
//!
//! This crate moves bytes and proves keys. It decides nothing about the ledger: who belongs to the
//! crew, what is sent and what is taken in is asked of the crates below, and storing is done by the
//! holder of the ledger. It writes no file. `proto/FORMAT-pairing.md` describes the bytes of
//! pairing; those of sync are the sync crate's.

pub mod certificate;
pub mod check_words;
pub mod config;
pub mod invite;
pub mod pairing;
pub mod verifier;
