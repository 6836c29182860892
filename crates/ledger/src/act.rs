//! What every event says before its own content: who, which entry, when, and in what words.

use serde::{Deserialize, Serialize};
use trade::{Day, Moment};

use crate::ids::{EntryId, EntryRef, EventHash, PersonId};

/// Longest note or spoken sentence, in bytes.
pub const MAX_WORDS: usize = 16 * 1024;
/// Longest key of an imported row, in bytes.
pub const MAX_ROW_KEY: usize = 200;
/// Most events that one event may replace.
pub const MAX_REPLACES: usize = 1_000;

/// Who did it, when it was done and when it was written down.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Act {
    /// The person who acted.
    pub person: PersonId,
    /// Who wrote it down: the same person, or a mate. The chain names the device that vouches for the author.
    pub author: PersonId,
    /// The entry's id, made by whoever logs; a form that is sent twice is one entry.
    pub entry: EntryId,
    /// The day it was done. Prices, weeks and tax dates follow this day.
    pub done_on: Day,
    /// Minutes past midnight when it was done, if that was said.
    pub done_at: Option<u16>,
    /// When it was written down, by the clock of the device it was typed into.
    pub logged_at: Moment,
    /// The key of the imported row, or empty.
    pub row_key: String,
    /// The sentence that was said or typed, or empty.
    pub said: String,
    /// A note, or empty.
    pub note: String,
    /// The events that this one replaces: ascending, none twice.
    pub replaces: Vec<EventHash>,
}

/// Why an [`Act`] may not be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum ActFault {
    /// The note or the sentence is too long.
    #[error("a note may have at most 16,384 bytes")]
    TooManyWords,
    /// The row key is too long.
    #[error("a row key may have at most 200 bytes")]
    RowKeyTooLong,
    /// The replaced events are not in ascending order, name one twice, or are too many.
    #[error("the replaced events must be at most 1,000, ascending, and none twice")]
    ReplacesNotCanonical,
    /// A time of day past 23:59.
    #[error("a time of day must be before 24:00")]
    NoSuchTime,
}

impl Act {
    /// Which entry this is.
    #[must_use]
    pub const fn entry_ref(&self) -> EntryRef {
        EntryRef { person: self.person, entry: self.entry }
    }

    /// Checks what the types can't say. Writers and readers both ask.
    ///
    /// # Errors
    /// The first [`ActFault`] found.
    pub fn check(&self) -> Result<(), ActFault> {
        if self.note.len() > MAX_WORDS || self.said.len() > MAX_WORDS {
            return Err(ActFault::TooManyWords);
        }
        if self.row_key.len() > MAX_ROW_KEY {
            return Err(ActFault::RowKeyTooLong);
        }
        if self.done_at.is_some_and(|minute| minute >= 24 * 60) {
            return Err(ActFault::NoSuchTime);
        }
        let ascending = self.replaces.windows(2).all(|pair| pair[0] < pair[1]);
        if !ascending || self.replaces.len() > MAX_REPLACES {
            return Err(ActFault::ReplacesNotCanonical);
        }
        Ok(())
    }
}
