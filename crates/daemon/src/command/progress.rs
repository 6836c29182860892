//! How far a command is that takes its time, for whoever waits for it.

use serde::{Deserialize, Serialize};

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

/// What an import is at.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Step {
    /// Rows are read and checked; nothing is written yet.
    RowsRead,
    /// Events are written and durable.
    EventsWritten,
}
