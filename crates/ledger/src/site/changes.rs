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
    #[serde(with = "option_of_option")]
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

/// JSON has one `null` for both kinds of none. There the outer one is `null`, and the inner one an
/// empty list beside the list of one. The bytes tell them apart as they are.
mod option_of_option {
    use serde::de::Error;
    use serde::{Deserialize, Deserializer, Serialize, Serializer};

    use crate::ids::StageId;

    #[expect(clippy::option_option, reason = "a stage may stay, become none, or become another")]
    pub(super) fn serialize<S: Serializer>(
        stage: &Option<Option<StageId>>,
        serializer: S,
    ) -> Result<S::Ok, S::Error> {
        if !serializer.is_human_readable() {
            return stage.serialize(serializer);
        }
        stage.as_ref().map(|stage| stage.iter().collect::<Vec<_>>()).serialize(serializer)
    }

    #[expect(clippy::option_option, reason = "a stage may stay, become none, or become another")]
    pub(super) fn deserialize<'de, D: Deserializer<'de>>(
        deserializer: D,
    ) -> Result<Option<Option<StageId>>, D::Error> {
        if !deserializer.is_human_readable() {
            return Option::deserialize(deserializer);
        }
        let stages: Option<Vec<StageId>> = Option::deserialize(deserializer)?;
        match stages.as_deref() {
            None => Ok(None),
            Some([]) => Ok(Some(None)),
            Some([stage]) => Ok(Some(Some(*stage))),
            Some([_, _, ..]) => Err(D::Error::custom("an entry has at most one stage")),
        }
    }
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
