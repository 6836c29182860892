//! What this crew's words mean: its jobs, stages, items, people and places, and the aliases it taught.
//!
//! All of it is given by the caller. Nothing here ships a word of its own for an item or a stage.

use serde::{Deserialize, Serialize};
use trade::{Day, Quantity};

use crate::heard::Proposal;

/// Everything that a line may name.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Vocabulary {
    /// The jobs in hand.
    pub jobs: Vec<Job>,
    /// The code of the job that is chosen on this phone.
    pub current_job: String,
    /// The stages last logged on, newest first: the first answers to "which stage?".
    pub recent_stages: Vec<String>,
    /// The price book.
    pub items: Vec<Item>,
    /// The crew.
    pub people: Vec<String>,
    /// The one of them who speaks: who "me" is.
    pub me: String,
    /// Whether the one who speaks may sign a stage off.
    pub may_sign_off: bool,
    /// Places that were said before.
    pub places: Vec<String>,
    /// What this crew answered when it was asked what a phrase means.
    pub aliases: Vec<Alias>,
    /// When a day usually starts, in minutes past midnight.
    pub usual_start: Option<u16>,
    /// How long a half day is, in minutes, if the crew has said.
    pub half_day_minutes: Option<u32>,
    /// A timer of this person's is running.
    pub timer_running: bool,
    /// This person's own entries of the last days, as they stand.
    pub recent: Vec<Proposal>,
    /// The snags that are open on the current job.
    pub open_snags: Vec<String>,
    /// Limits that the crew has set for tests, with their words for what lies outside.
    pub limits: Vec<Limit>,
}

/// A job.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Job {
    /// The short name that everybody says, like `GARAGE`.
    pub code: String,
    /// Whose job it is.
    pub customer: String,
    /// Its stages.
    pub stages: Vec<Stage>,
}

/// A stage of a job.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(default)]
pub struct Stage {
    /// Its name.
    pub name: String,
    /// The trades that it belongs to.
    pub trades: Vec<String>,
    /// The tests that its sign-off needs.
    pub tests: Vec<String>,
    /// The items that it was priced with.
    pub items: Vec<String>,
}

/// An item of the price book.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Item {
    /// Its name, sizes included.
    pub name: String,
    /// The unit that it is counted in.
    pub unit: String,
    /// The packs that it comes in.
    pub packs: Vec<Pack>,
}

/// A pack that an item comes in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pack {
    /// What people call it: bag, box, coil.
    pub name: String,
    /// How many of the item's units it holds.
    pub size: Quantity,
}

/// A phrase that a crew uses for something on its lists.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Alias {
    /// The words, as they are said.
    pub phrase: String,
    /// What they mean.
    pub means: Meaning,
}

/// What a phrase can mean.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Meaning {
    /// The item of this name.
    Item(String),
    /// The stage of this name.
    Stage(String),
    /// The person of this name.
    Person(String),
    /// This place.
    Place(String),
}

/// What a crew has set as the limit of a test. The program compares; it never certifies.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Limit {
    /// The test.
    pub test: String,
    /// The least that is within the limit.
    pub least: Option<Quantity>,
    /// The most that is within the limit.
    pub most: Option<Quantity>,
    /// What to say when it is outside: one plain sentence.
    pub outside: String,
}

/// When the line was said. This crate has no clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Now {
    /// The day, by the clock on the wall.
    pub day: Day,
    /// Minutes past midnight.
    pub minute: u16,
}

impl Vocabulary {
    pub(crate) fn job(&self, code: &str) -> Option<&Job> {
        self.jobs.iter().find(|job| job.code == code)
    }

    pub(crate) fn item(&self, name: &str) -> Option<&Item> {
        self.items.iter().find(|item| item.name == name)
    }

    /// The stages of a job for which an item was priced.
    pub(crate) fn stages_with(&self, job: &str, item: &str) -> Vec<&str> {
        let stages = self.job(job).map(|job| job.stages.as_slice()).unwrap_or_default();
        let priced = stages.iter().filter(|stage| stage.items.iter().any(|name| name == item));
        priced.map(|stage| stage.name.as_str()).collect()
    }
}
