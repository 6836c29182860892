//! Hours, timers, and who is away.
//!
//! Nothing here adds hours up or rounds them: an entry keeps what was said.

use serde::{Deserialize, Serialize};
use trade::{Day, Moment};

use super::Site;
use crate::ids::EntryRef;

/// How long somebody worked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Worked {
    /// From one clock time to another, less a break.
    Span {
        /// When work began.
        from: Moment,
        /// When it ended.
        to: Moment,
        /// Minutes of break in between.
        break_minutes: u32,
    },
    /// A length, without clock times.
    Length {
        /// Minutes.
        minutes: u32,
    },
}

/// Hours on a stage, or on none.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Hours {
    /// Where.
    pub site: Site,
    /// What was done, where there is no stage: loading, waiting, merchant's. Otherwise empty.
    pub activity: String,
    /// How long.
    pub worked: Worked,
}

/// A timer was started.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct WorkStarted {
    /// Where.
    pub site: Site,
    /// What, where there is no stage.
    pub activity: String,
    /// From when.
    pub at: Moment,
}

/// A running timer went over to another stage in one press.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct WorkSwitched {
    /// The timer that ends here: a start, or an earlier switch.
    pub running: EntryRef,
    /// Where work goes on.
    pub site: Site,
    /// What, where there is no stage.
    pub activity: String,
    /// When.
    pub at: Moment,
    /// Minutes of break in the part that ends.
    pub break_minutes: u32,
}

/// A running timer was stopped.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct WorkStopped {
    /// The timer: a start, or a switch.
    pub running: EntryRef,
    /// When.
    pub at: Moment,
    /// Minutes of break in the part that ends.
    pub break_minutes: u32,
}

/// Somebody is away from the entry's day on; nobody asks for their hours.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Away {
    /// The last day away.
    pub until: Day,
}
