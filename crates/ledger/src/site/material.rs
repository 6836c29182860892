//! Material: what was bought, delivered, used, wasted, returned and moved.
//!
//! An amount keeps the packs it was said in beside the unit it is counted in. What was paid is never here.

use serde::{Deserialize, Serialize};
use trade::Quantity;

use super::{PaidBy, Site, Whose};
use crate::ids::{EntryRef, ItemId, JobId, PhotoHash};

/// How much of an item.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Amount {
    /// In the item's own unit.
    pub quantity: Quantity,
    /// As it was said, where that was in packs.
    pub said: Option<Packs>,
}

/// A number of packs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Packs {
    /// How many; halves and quarters are usual.
    pub count: Quantity,
    /// Of what: bag, box, coil.
    pub pack: String,
}

/// Where material can be.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum StockPlace {
    /// At the merchant's.
    Merchant,
    /// On the van.
    Van,
    /// On a job.
    Job(JobId),
    /// With the customer.
    Customer,
    /// In the skip.
    Skip,
}

/// Material was bought. What was paid is [`crate::office::PricePaid`].
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Bought {
    /// For which job, or for the van.
    pub to: StockPlace,
    /// From whom, or empty.
    pub supplier: String,
    /// The number of the ticket, or empty.
    pub ticket: String,
    /// What, as far as it was said.
    pub items: Vec<(ItemId, Amount)>,
    /// How it was paid for.
    pub paid_by: PaidBy,
    /// Photos of the ticket.
    pub photos: Vec<PhotoHash>,
}

/// Material arrived on the job.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Delivered {
    /// Where.
    pub site: Site,
    /// What.
    pub item: ItemId,
    /// How much.
    pub amount: Amount,
    /// From whom, or empty.
    pub supplier: String,
    /// The number of the delivery note, or empty.
    pub ticket: String,
}

/// Material was used.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Used {
    /// Where.
    pub site: Site,
    /// What.
    pub item: ItemId,
    /// How much.
    pub amount: Amount,
    /// Ours, or the customer's own.
    pub whose: Whose,
    /// The purchase it came from, where that is known.
    pub bought: Option<EntryRef>,
}

/// How waste stands to what was used.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum WasteCount {
    /// Part of what was logged as used.
    OutOfUsed,
    /// Beyond what was logged as used.
    OnTop,
}

/// Material was wasted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Wasted {
    /// Where.
    pub site: Site,
    /// What.
    pub item: ItemId,
    /// How much.
    pub amount: Amount,
    /// Out of what was used, or on top of it.
    pub counts: WasteCount,
    /// Who bears the cost.
    pub cost_to: Whose,
}

/// Material went back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Returned {
    /// From where.
    pub site: Site,
    /// What.
    pub item: ItemId,
    /// How much.
    pub amount: Amount,
    /// To the van, or to the merchant's (then a credit is awaited).
    pub to: StockPlace,
}

/// Material went from one place to another.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Moved {
    /// What.
    pub item: ItemId,
    /// How much.
    pub amount: Amount,
    /// From.
    pub from: StockPlace,
    /// To.
    pub to: StockPlace,
}
