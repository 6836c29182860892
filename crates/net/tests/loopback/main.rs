//! Devices that meet on the loopback interface, each with its ledger in memory.

mod authentication;
mod meeting;
mod node;
mod pairing;
mod photos;
mod syncing;
