//! Second thoughts: corrections, crossings-out, acceptances, and questions that were settled.
//!
//! Nothing here changes an earlier event; each names the entry that it is about.

use serde::{Deserialize, Serialize};
use trade::{Day, Moment, Quantity};

use super::{Amount, Bound, Place};
use crate::ids::{EntryRef, ItemId, JobId, StageId};

/// New content for the fields that it names. A field that is `None` stays as it was.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Changes {
    /// The day it was done.
    pub done_on: Option<Day>,
    /// The job.
    pub job: Option<JobId>,
    /// The stage; the inner `None` is "no stage".
    pub stage: Option<Option<StageId>>,
    /// The place.
    pub place: Option<Place>,
    /// What: the activity, the kind of test, the extra.
    pub what: Option<String>,
    /// The item.
    pub item: Option<ItemId>,
    /// How much of the item.
    pub amount: Option<Amount>,
    /// When work began.
    pub from: Option<Moment>,
    /// When work ended.
    pub to: Option<Moment>,
    /// The break in minutes.
    pub break_minutes: Option<u32>,
    /// The length in minutes, instead of clock times.
    pub minutes: Option<u32>,
    /// A test's value.
    pub value: Option<(Bound, Quantity)>,
    /// A test's unit.
    pub unit: Option<String>,
    /// The note.
    pub note: Option<String>,
}

/// An entry is changed. It may be corrected before it has arrived.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Corrected {
    /// Which entry.
    pub of: EntryRef,
    /// What changes. Kept apart, so that every other event stays small.
    pub changes: Box<Changes>,
}

/// An entry is crossed out. This beats any correction.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Struck {
    /// Which entry.
    pub of: EntryRef,
}

/// What a mate proposed is accepted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Accepted {
    /// Which entry.
    pub of: EntryRef,
}

/// A question was answered, and need not be asked again. The act's note is the answer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct QuestionSettled {
    /// The question's own key.
    pub question: String,
}
