//! What happens on site and in the crew's lists: the events that every device of the crew reads.
//!
//! No event here holds what something costs or sells for; that is in [`crate::office`].

mod changes;
mod checks;
mod expenses;
mod extras;
mod hours;
mod lists;
mod material;
mod notes;
mod plans;
mod progress;
mod survey;

use serde::{Deserialize, Serialize};

use crate::ids::{JobId, StageId};

pub use changes::{Accepted, Changes, Corrected, QuestionSettled, Struck};
pub use checks::{Bound, Limit, OutsideCheck, Test};
pub use expenses::{Expense, ExpenseKind, HireBegan, HireEnded, Mileage};
pub use extras::{ExtraAgreed, ExtraAsked, ExtraDeclined, ExtraTerms, SaidHow};
pub use hours::{Away, Hours, WorkStarted, WorkStopped, WorkSwitched, Worked};
pub use lists::{AliasMeaning, AliasTaught, ItemListed, JobListed, LineKind, LineListed, StageListed};
pub use material::{Amount, Bought, Delivered, Moved, Packs, Returned, StockPlace, Used, WasteCount, Wasted};
pub use notes::{Note, Photo, SnagCleared, SnagRaised};
pub use plans::{FillInListed, FillInState, LimitSet, NeedKind, NeedListed, NeedState, Reach, RoomMeasured};
pub use progress::{CalledBack, LeftOff, PartDone, ReadyForChecking, Reopened, Seen, SignOffTold, SignedOff};
pub use survey::{SurveyPoint, Surveyed};

/// Where an entry belongs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Site {
    /// The job.
    pub job: JobId,
    /// The stage, or none: setting up, loading, the merchant's, waiting.
    pub stage: Option<StageId>,
    /// Where exactly, if it was said.
    pub place: Place,
}

/// Where on the job. Empty when it was not said.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Place {
    /// The room, or empty.
    pub room: String,
    /// Which surface of it.
    pub surface: Option<Surface>,
    /// In the words that were said ("long wall", "behind the basin"), or empty.
    pub words: String,
}

/// A surface of a room.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Surface {
    /// A wall.
    Wall,
    /// The ceiling.
    Ceiling,
    /// The floor.
    Floor,
}

/// Whose a thing is, or who bears its cost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Whose {
    /// The crew's.
    Ours,
    /// The customer's own: counted, costs nothing, is never billed.
    Customers,
    /// A maker's or supplier's.
    Makers,
}

/// How something was paid for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum PaidBy {
    /// On the crew's account at the merchant's.
    Account,
    /// By the crew's card.
    Card,
    /// By the person who logged it, who is owed it.
    OwnPocket,
}
