//! What happens on site and in the crew's lists: the events that every device of the crew reads.
//!
//! No event here holds what something costs or sells for; that is in [`crate::office`].

use serde::{Deserialize, Serialize};
use trade::{Day, Moment, Quantity};

use crate::ids::{EntryRef, ItemId, JobId, LineId, PersonId, PhotoHash, StageId};

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

// ---- the crew's lists --------------------------------------------------------------------------

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

// ---- hours -------------------------------------------------------------------------------------

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

// ---- material ----------------------------------------------------------------------------------

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

/// Something was hired and is on hire until [`HireEnded`].
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct HireBegan {
    /// Where.
    pub site: Site,
    /// What.
    pub what: String,
    /// From whom.
    pub supplier: String,
    /// When it came.
    pub at: Moment,
}

/// Something on hire went back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct HireEnded {
    /// The hire.
    pub hire: EntryRef,
    /// When it went.
    pub at: Moment,
}

/// What an expense was for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ExpenseKind {
    /// A skip.
    Skip,
    /// The tip.
    Tip,
    /// Parking.
    Parking,
    /// A permit.
    Permit,
    /// Delivery.
    Delivery,
    /// Odds and ends.
    Sundries,
    /// Anything else; the note says what.
    Other,
}

/// Money was spent that is not material or hire. What was paid is [`crate::office::PricePaid`].
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Expense {
    /// Where.
    pub site: Site,
    /// What for.
    pub kind: ExpenseKind,
    /// To whom, or empty.
    pub supplier: String,
    /// The number of the ticket or waste note, or empty.
    pub ticket: String,
    /// How it was paid.
    pub paid_by: PaidBy,
    /// Photos of the ticket or waste note.
    pub photos: Vec<PhotoHash>,
}

// ---- tests, photos, notes ----------------------------------------------------------------------

/// How a value is to be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Bound {
    /// The value itself.
    Exactly,
    /// More than the value: ">200".
    Above,
    /// Less than the value: "<0.1".
    Below,
}

/// A limit that a test is compared with.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Limit {
    /// At least (`Above`), at most (`Below`) or exactly the value.
    pub bound: Bound,
    /// The value, in the test's unit.
    pub value: Quantity,
    /// Who says so.
    pub source: String,
}

/// Somebody from outside the crew who checked.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct OutsideCheck {
    /// Who.
    pub name: String,
    /// Their registration, or empty.
    pub registration: String,
    /// The number of the certificate, or empty.
    pub certificate: String,
}

/// A test, or a value read off a dial.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Test {
    /// Where.
    pub site: Site,
    /// What was tested: pressure test, insulation resistance.
    pub what: String,
    /// Whether the value is exact or a bound.
    pub bound: Bound,
    /// The value.
    pub value: Quantity,
    /// Its unit: bar, megohm, ohm, °C.
    pub unit: String,
    /// How, or empty.
    pub method: String,
    /// With what, or empty.
    pub instrument: String,
    /// The limit that it is compared with, if one was set.
    pub limit: Option<Limit>,
    /// Whose check it was, if it was not the crew's.
    pub outside: Option<OutsideCheck>,
    /// Photos.
    pub photos: Vec<PhotoHash>,
}

/// A photo was taken.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Photo {
    /// Where; none until it is sorted.
    pub site: Option<Site>,
    /// The file.
    pub photo: PhotoHash,
    /// The size of the file in bytes.
    pub size: u64,
    /// It shows what will be closed up.
    pub behind: bool,
}

/// A note. Its text is the act's note.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Note {
    /// Where.
    pub site: Site,
    /// Photos.
    pub photos: Vec<PhotoHash>,
}

/// Something small is wrong and must be put right. The act's note says what.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SnagRaised {
    /// Where.
    pub site: Site,
    /// Photos.
    pub photos: Vec<PhotoHash>,
}

/// A snag was put right.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SnagCleared {
    /// The snag.
    pub snag: EntryRef,
}

// ---- extras ------------------------------------------------------------------------------------

/// The customer asked for something that is not in the quote.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExtraAsked {
    /// Where; the stage is the extra's own, once it has one.
    pub site: Site,
    /// What.
    pub what: String,
    /// Who asked, or empty.
    pub asked_by: String,
}

/// How somebody said yes or no.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SaidHow {
    /// By word of mouth.
    Word,
    /// By message.
    Message,
    /// By signature.
    Signature,
}

/// How an extra is paid for. A price or a limit is [`crate::office::ExtraPriced`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ExtraTerms {
    /// At a price.
    AtAPrice,
    /// By the hour.
    OnTheClock,
    /// For nothing.
    Free,
    /// Something is left out, and its price credited.
    LeftOut,
}

/// The customer said yes to an extra.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExtraAgreed {
    /// Where; the stage is the extra's own.
    pub site: Site,
    /// What was asked for, where that was logged.
    pub extra: Option<EntryRef>,
    /// Who said yes, or empty.
    pub said_by: String,
    /// How.
    pub how: SaidHow,
    /// On what terms.
    pub terms: ExtraTerms,
    /// The stages that it opens again.
    pub reopens: Vec<StageId>,
}

/// The customer said no to an extra.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExtraDeclined {
    /// Where.
    pub site: Site,
    /// What was asked for, where that was logged.
    pub extra: Option<EntryRef>,
    /// Who said no, or empty.
    pub said_by: String,
}

// ---- how the job stands ------------------------------------------------------------------------

/// Knocking off: what is left like what. The act's note says it in one line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LeftOff {
    /// Where.
    pub site: Site,
    /// What is off or live, or empty.
    pub off_or_live: String,
    /// What is wet, until when.
    pub wet_until: Option<Moment>,
    /// Who carries on.
    pub carries_on: Option<PersonId>,
    /// Photos.
    pub photos: Vec<PhotoHash>,
}

/// Somebody saw what others left for them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Seen {
    /// What.
    pub entries: Vec<EntryRef>,
}

/// A stage is ready for checking.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ReadyForChecking {
    /// The stage.
    pub site: Site,
}

/// A lead or owner signed a stage off.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SignedOff {
    /// The stage.
    pub site: Site,
    /// The tests and photos that were looked at.
    pub evidence: Vec<EntryRef>,
}

/// A stage is part done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PartDone {
    /// The stage.
    pub site: Site,
    /// How much, in per cent.
    pub percent: Quantity,
}

/// A signed-off stage is open again.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reopened {
    /// The stage.
    pub site: Site,
}

/// The crew was called back. The act's note says what is wrong.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CalledBack {
    /// Where.
    pub site: Site,
    /// The cause that was found, or empty.
    pub cause: String,
    /// Whose fault it is.
    pub whose: Whose,
}

// ---- changes -----------------------------------------------------------------------------------

/// New content for the fields that it names. A field that is `None` stays as it was.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Changes {
    /// The day it was done.
    pub done_on: Option<Day>,
    /// The job.
    pub job: Option<JobId>,
    /// The stage; the inner `None` is "no stage".
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

/// An entry is changed. It may be corrected before it has arrived.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Corrected {
    /// Which entry.
    pub of: EntryRef,
    /// What changes.
    pub changes: Changes,
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
