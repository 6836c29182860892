//! The daemon: one writer for a device's ledger, with commands in and figures out.

pub mod command;
pub mod device;
pub mod error;
pub mod export;
mod group;
mod held;
mod holding;
pub mod import;
pub mod invites;
mod invoices;
pub mod local;
pub mod node;
pub mod page;
mod said_more;
pub mod serve;
mod socket;
mod timers;

pub use command::Command;
pub use error::NodeError;
pub use holding::Holding;
pub use ledger::roster_events::Role;
pub use node::Node;
