//! Hire, money spent on what is neither material nor hire, and miles driven.
//!
//! What was paid is never here; it is [`crate::office::PricePaid`].

use serde::{Deserialize, Serialize};
use trade::{Moment, Quantity};

use super::{PaidBy, Site};
use crate::ids::{EntryRef, PhotoHash};

/// Something was hired and is on hire until [`HireEnded`].
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct HireBegan {
    /// Where.
    pub site: Site,
    /// What.
    pub what: String,
    /// From whom.
    pub supplier: String,
    /// When it came.
    pub at: Moment,
}

/// Something on hire went back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct HireEnded {
    /// The hire.
    pub hire: EntryRef,
    /// When it went.
    pub at: Moment,
}

/// What an expense was for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ExpenseKind {
    /// A skip.
    Skip,
    /// The tip.
    Tip,
    /// Parking.
    Parking,
    /// A permit.
    Permit,
    /// Delivery.
    Delivery,
    /// Odds and ends.
    Sundries,
    /// Anything else; the note says what.
    Other,
}

/// Money was spent that is not material or hire. What was paid is [`crate::office::PricePaid`].
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Expense {
    /// Where.
    pub site: Site,
    /// What for.
    pub kind: ExpenseKind,
    /// To whom, or empty.
    pub supplier: String,
    /// The number of the ticket or waste note, or empty.
    pub ticket: String,
    /// How it was paid.
    pub paid_by: PaidBy,
    /// Photos of the ticket or waste note.
    pub photos: Vec<PhotoHash>,
}

/// Miles were driven for a job with a vehicle of whoever drove. What a mile is worth is
/// [`crate::office::TimeTermsSet`].
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Mileage {
    /// For which job; the stage, if it was for one.
    pub site: Site,
    /// How many miles, there and back.
    pub miles: Quantity,
}
