//! What is listed so that a day can be planned: what a stage needs beside material, small tasks for
//! the time in which something sets, and the limits that tests on a job are compared with.
//!
//! Each row is said anew as a whole; the last word stands. Nothing here says when work is done.

use serde::{Deserialize, Serialize};

use super::Limit;
use crate::ids::{JobId, StageId};

/// What a stage can need before it is ready, beside material.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum NeedKind {
    /// Hands. [`NeedListed::count`] says how many.
    People,
    /// Something hired. It is there while a hire of the same name runs on the job.
    HiredGear,
    /// Something that the customer has to choose.
    CustomersChoice,
    /// Somebody from outside who has to look first.
    Inspector,
}

/// Whether a need is still one.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum NeedState {
    /// It is.
    Open,
    /// It was met, and how: what was chosen, who looked.
    Met(String),
    /// It is no need any more.
    Dropped,
}

/// Something that a stage needs before it is ready, or a change to one. Of each kind and name a stage has
/// one; of people only one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct NeedListed {
    /// The job.
    pub job: JobId,
    /// The stage.
    pub stage: StageId,
    /// What sort of thing.
    pub kind: NeedKind,
    /// What: "tile saw", "which grout", "building control". Empty for people.
    pub what: String,
    /// How many people; nought for anything else.
    pub count: u32,
    /// Whether it is still needed.
    pub state: NeedState,
}

/// How far a task takes somebody from what is setting.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Reach {
    /// It is done in the same room.
    SameRoom,
    /// Whoever does it hears a call.
    WithinEarshot,
    /// Whoever does it hears nothing.
    OutOfEarshot,
}

/// Whether a fill-in task is still to do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FillInState {
    /// It is.
    Open,
    /// It was done.
    Done,
    /// Nobody needs it any more.
    Dropped,
}

/// A small task for the time in which something sets, or a change to one. A job has one of each name.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FillInListed {
    /// The job.
    pub job: JobId,
    /// What is to do.
    pub what: String,
    /// The stage that its hours go to, or none.
    pub stage: Option<StageId>,
    /// Where, or empty.
    pub room: String,
    /// How long it takes.
    pub minutes: u32,
    /// It can be left in the middle.
    pub can_be_dropped: bool,
    /// It makes dust.
    pub dusty: bool,
    /// How far away it is from what is setting.
    pub reach: Reach,
    /// Whether it is still to do.
    pub state: FillInState,
}

/// The limit that tests of one kind are compared with on a job, in place of the usual one; the maker's, as
/// a rule.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LimitSet {
    /// The job.
    pub job: JobId,
    /// The kind of test.
    pub what: String,
    /// The limit's unit.
    pub unit: String,
    /// The limit and who sets it; none takes it back.
    pub limit: Option<Limit>,
}

/// A room as it was measured on the job, or measured anew. A job has one of each name.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RoomMeasured {
    /// The job.
    pub job: JobId,
    /// The room.
    pub room: String,
    /// Its walls, openings, ceiling and runs, one a line, as they were written down; empty takes it back.
    pub text: String,
}
