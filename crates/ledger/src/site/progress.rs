//! How a stage stands: left off, ready, signed off, part done, opened again, called back.
//!
//! Whether somebody may sign off is not decided here.

use serde::{Deserialize, Serialize};
use trade::{Moment, Quantity};

use super::{Site, Whose};
use crate::ids::{EntryRef, PersonId, PhotoHash};

/// Knocking off: what is left like what. The act's note says it in one line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LeftOff {
    /// Where.
    pub site: Site,
    /// What is off or live, or empty.
    pub off_or_live: String,
    /// What is wet, until when.
    pub wet_until: Option<Moment>,
    /// Who carries on.
    pub carries_on: Option<PersonId>,
    /// Photos.
    pub photos: Vec<PhotoHash>,
}

/// Somebody saw what others left for them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Seen {
    /// What.
    pub entries: Vec<EntryRef>,
}

/// A stage is ready for checking.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReadyForChecking {
    /// The stage.
    pub site: Site,
}

/// A lead or owner signed a stage off.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SignedOff {
    /// The stage.
    pub site: Site,
    /// The tests and photos that were looked at.
    pub evidence: Vec<EntryRef>,
}

/// A stage is part done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PartDone {
    /// The stage.
    pub site: Site,
    /// How much, in per cent.
    pub percent: Quantity,
}

/// A signed-off stage is open again.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reopened {
    /// The stage.
    pub site: Site,
}

/// The crew was called back. The act's note says what is wrong.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CalledBack {
    /// Where.
    pub site: Site,
    /// The cause that was found, or empty.
    pub cause: String,
    /// Whose fault it is.
    pub whose: Whose,
}

/// Somebody was told that a stage is signed off, before the sign-off itself was heard of here. The sign-off
/// takes its place when it comes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SignOffTold {
    /// The stage.
    pub site: Site,
    /// Who said so.
    pub by: PersonId,
}
