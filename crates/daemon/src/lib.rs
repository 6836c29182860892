//! The daemon: one writer for a device's ledger, with commands in and figures out.

mod coming_back;
pub mod command;
pub mod device;
mod entries;
pub mod error;
pub mod export;
mod group;
pub mod handing_over;
mod held;
mod holding;
pub mod import;
pub mod invites;
mod invoices;
mod keeping;
pub mod local;
mod mark;
pub mod node;
mod opening;
pub mod page;
pub mod papers;
mod payments;
mod peers;
pub mod photos;
pub mod press;
pub mod serve;
mod socket;
mod timers;
mod verified;

pub use coming_back::{Back, Return, come_back};
pub use command::{Command, Progress};
pub use error::NodeError;
pub use holding::Holding;
pub use ledger::RecoverySecret;
pub use ledger::recovery::WORDS as RECOVERY_WORDS;
pub use ledger::roster_events::Role;
pub use node::Node;
