//! What commands are made of beside names and numbers, and how far one has come.

use serde::{Deserialize, Serialize};

/// What a phrase can mean, by the names in the lists.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum WordMeaning {
    /// An item of the price book.
    Item(String),
    /// A stage of a job: the job's code and the stage.
    Stage(String, String),
    /// A person.
    Person(String),
    /// A place, in the crew's words.
    Place(String),
}

/// Whether a row of a list is new.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ListChange {
    /// It must not be there yet.
    Add,
    /// It must be there.
    Change,
    /// It may be there.
    Either,
}

/// How far a command has come that takes its time.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Progress {
    /// What is being counted.
    pub step: Step,
    /// So many are done.
    pub done: u64,
    /// Of so many.
    pub of: u64,
}

/// What is being counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Step {
    /// Rows are read and checked; nothing is written yet.
    RowsRead,
    /// Events are written and durable.
    EventsWritten,
    /// Bytes are copied, or are there already.
    BytesCopied,
    /// Bytes of another journal are read, and what is new in them is durable.
    BytesRead,
    /// Photos of another folder are looked at.
    PhotosTaken,
}
