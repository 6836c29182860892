//! The crew's lists: items, jobs, stages and costing lines, as everybody may read them.
//!
//! No line here holds a price; prices stay in [`crate::office`].

use serde::{Deserialize, Serialize};
use trade::Quantity;

use crate::ids::{ItemId, JobId, LineId, PersonId, StageId};

/// An item of the price book, or a change to one. Its cost is [`crate::office::ItemPriced`].
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ItemListed {
    /// The item.
    pub item: ItemId,
    /// What it is called.
    pub name: String,
    /// The unit it is counted in: each, m, m2, kg.
    pub unit: String,
    /// What it is bought in: bag, box, coil; the unit itself where it has no pack.
    pub pack: String,
    /// Units in a pack.
    pub pack_size: Quantity,
}

/// A job, or a change to one. Its terms are [`crate::office::JobTerms`].
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct JobListed {
    /// The job.
    pub job: JobId,
    /// The short code people call it by.
    pub code: String,
    /// What is being done.
    pub title: String,
    /// The customer's name.
    pub customer: String,
    /// Where the work is.
    pub site_address: String,
    /// The time zone of the site: "Europe/London".
    pub time_zone: String,
}

/// A stage of a job, or a change to one.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct StageListed {
    /// The stage.
    pub stage: StageId,
    /// The job it belongs to.
    pub job: JobId,
    /// What it is called.
    pub name: String,
    /// Its place among the job's stages, for display.
    pub order: u32,
    /// The trades it needs.
    pub trades: Vec<String>,
    /// The stages that it follows.
    pub after: Vec<StageId>,
    /// Minutes to wait after those.
    pub wait_minutes: u32,
    /// The stages that it covers up.
    pub covers: Vec<StageId>,
    /// The tests that its sign-off needs.
    pub needs_tests: Vec<String>,
    /// Whether its sign-off needs a photo.
    pub needs_photo: bool,
}

/// What a costing line counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LineKind {
    /// Hours.
    Labour,
    /// An item.
    Material,
}

/// A line of a job's costing, or a change to one. Its money is [`crate::office::LinePriced`].
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LineListed {
    /// The line.
    pub line: LineId,
    /// The job.
    pub job: JobId,
    /// The stage.
    pub stage: StageId,
    /// Its place among the job's lines.
    pub order: u32,
    /// Labour or material.
    pub kind: LineKind,
    /// What it says.
    pub what: String,
    /// The item, for material.
    pub item: Option<ItemId>,
    /// How much is expected, in the unit.
    pub quantity: Quantity,
    /// The unit: hour, or the item's own.
    pub unit: String,
    /// The stage is billed by time and materials, not at the quote.
    pub on_the_clock: bool,
}

/// What a phrase means to this crew, as somebody answered when a sentence was not understood.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct AliasTaught {
    /// The words, as they were said.
    pub phrase: String,
    /// What they mean; none takes an alias back.
    pub means: Option<AliasMeaning>,
}

/// What an alias can stand for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AliasMeaning {
    /// An item of the price book.
    Item(ItemId),
    /// A stage.
    Stage(StageId),
    /// A person.
    Person(PersonId),
    /// A place, in the crew's words.
    Place(String),
}
