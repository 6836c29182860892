//! What a node can be asked to do, and doing it. Every command is data, so that it runs the same
//! straight and through the daemon's socket.

mod dispatch;
mod extra_costing;
mod folders;
mod health;
mod importing;
mod judging;
mod measuring;
pub(crate) mod named;
pub(crate) mod office;
mod parts;
mod plan;
mod quotes;
mod rooms;
pub(crate) mod roster;
mod said;
mod set_aside;
mod settling;
mod spells;
mod survey;
mod terms;
#[cfg(test)]
mod tests;
mod time_terms;
mod undo;

use std::collections::BTreeMap;
use std::path::PathBuf;

use documents::Form;
use ledger::PhotoHash;
use ledger::roster_events::Role;
use serde::{Deserialize, Serialize};
use trade::{Day, Pence, Rate};

pub use crate::applications::{ApplicationCommand, SelfBilledWish};
pub use crate::payments::Received;
pub(crate) use dispatch::begin;
pub use dispatch::{run, run_for, run_saying};
pub use folders::FolderCommand;
pub use judging::TestCommand;
pub use ledger::office::{Engagement, TimeSide};
pub use ledger::site::{Bound, FillInState, NeedKind, NeedState, Reach, SaidHow, SurveyPoint, Whose};
pub use measuring::{CostedRoom, MeasuredRoom, figures, measure_up, own_figures};
pub use office::{Paid, PersonRate};
pub use parts::{ListChange, Progress, Step, WordMeaning};
pub use plan::{FillInWish, LimitWish, NeedWish, PlanCommand};
pub use projections::billing::Stand;
pub use projections::quotes::standing_quote;
pub use quotes::{PointWish, QuoteCommand, QuoteWish, points_due};
pub use rooms::RoomCommand;
pub use said::{Answer, Pressed, Said};
pub use set_aside::SetAsideWish;
pub use spells::{SpellChange, SpellSplit};
pub use terms::TermsCommand;
pub use time_terms::TimeWish;

use crate::handing_over::HandOverWish;
use crate::import::FileName;
use crate::invites::InviteWish;
use crate::papers::PaperWish;
use crate::photos;

/// A command. Names of people, jobs, stages and items are those in the lists.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "command", rename_all = "snake_case")]
pub enum Command {
    /// Imports the CSV files of a folder; with devices, only the entries of those.
    Import {
        /// The folder.
        dir: PathBuf,
        /// The devices, as the file names them; empty for all.
        devices: Vec<String>,
    },
    /// Checks the CSV files of a folder as an import would, and tells what it would take in. Writes nothing.
    CheckImport {
        /// The folder.
        dir: PathBuf,
    },
    /// Logs one entry, by the columns of `entries.csv`.
    Log {
        /// Column and value.
        row: BTreeMap<String, String>,
    },
    /// What a line that was said or typed means to this crew. Logs nothing.
    Hear(Said),
    /// Logs what was heard in a line, and keeps the words that its answers taught.
    LogSaid {
        /// The line and the answers.
        said: Said,
        /// The numbers of the proposals; all of them when empty.
        only: Vec<usize>,
        /// What the entries' ids are made from, so that a form sent twice is one.
        key: Option<String>,
    },
    /// Keeps what a phrase means to this crew.
    Teach {
        /// The phrase.
        phrase: String,
        /// What it means; none takes it back.
        means: Option<WordMeaning>,
    },
    /// Answers a question of a job's survey; without an answer, shows what was answered.
    Survey {
        /// The job.
        job: String,
        /// The question and the answer.
        answer: Option<(SurveyPoint, String)>,
        /// Photos of what was found, kept on this device already.
        #[serde(default)]
        photos: Vec<PhotoHash>,
    },
    /// Adds a row to a list, or changes one, by its file's columns. What a change does not name stays.
    List {
        /// The list.
        list: FileName,
        /// Whether it is new.
        change: ListChange,
        /// Column and value.
        row: BTreeMap<String, String>,
    },
    /// Crosses out the last thing that this person logged on this device, or takes the last
    /// crossing-out back.
    Undo {
        /// Takes a crossing-out back.
        back: bool,
    },
    /// Starts this person's timer.
    Start {
        /// The job.
        job: String,
        /// The stage, or none.
        stage: Option<String>,
    },
    /// Ends this person's timer and goes on elsewhere.
    Switch {
        /// The job.
        job: String,
        /// The stage, or none.
        stage: Option<String>,
        /// Minutes of break in the part that ends.
        break_minutes: u32,
    },
    /// Stops this person's timer.
    Stop {
        /// Minutes of break in the part that ends.
        break_minutes: u32,
        /// When, if not now: a clock time, or a day and a clock time.
        at: Option<String>,
    },
    /// Puts a timer's stretch of work right.
    ChangeSpell(SpellChange),
    /// Splits a stretch of work in two that add up to it.
    SplitSpell(SpellSplit),
    /// Crosses a stretch of work out.
    StrikeSpell {
        /// The key or id of the hours, or of the timer's beginning.
        entry: String,
    },
    /// Says yes to what somebody logged for a person.
    Accept {
        /// The entry's row key, or the beginning of its id.
        entry: String,
    },
    /// The entries as they stand.
    Entries {
        /// One job only.
        job: Option<String>,
        /// One day only.
        on: Option<Day>,
    },
    /// Time on job, hours and materials against the costing.
    Reconcile,
    /// What is to bill.
    PreviewInvoice {
        /// What was done up to this day; everything without one.
        until: Option<Day>,
        /// One job only.
        job: Option<String>,
        /// The names of extras to bill although nobody logged the customer's yes.
        with_extra: Vec<String>,
    },
    /// Issues the invoice of a job.
    IssueInvoice {
        /// The job.
        job: String,
        /// What was done up to this day.
        until: Option<Day>,
        /// The names of extras to bill although nobody logged the customer's yes.
        with_extra: Vec<String>,
    },
    /// Issues the invoice of the deposit that was asked for on a job.
    IssueDeposit {
        /// The job.
        job: String,
        /// The day on which it was paid, if it was paid before.
        paid_on: Option<Day>,
    },
    /// The invoices issued, with what was paid on them.
    Invoices,
    /// Writes a paper to files.
    PrintPaper {
        /// Which.
        paper: PaperWish,
        /// In which forms.
        forms: Vec<Form>,
        /// Into which folder.
        dir: PathBuf,
    },
    /// Writes the handover of a job to a file.
    HandOver(HandOverWish),
    /// Issues the credit note that is proposed on an invoice, or one over all that is left of it.
    CreditInvoice {
        /// The invoice's number.
        number: String,
        /// All that is left of it.
        whole: bool,
    },
    /// Makes an issued number stand for nothing.
    VoidInvoice {
        /// The invoice's number.
        number: String,
        /// Why.
        reason: String,
    },
    /// Takes an invoice or credit note for the crew's own that a device issued beyond its cut, or behind a fork.
    AdoptInvoice {
        /// Its number, or its key where more than one has that number.
        number: String,
    },
    /// Notes that a deposit was asked for.
    AskDeposit {
        /// The job.
        job: String,
        /// Without VAT.
        amount: Pence,
    },
    /// Records a payment.
    Pay {
        /// The invoice's number.
        number: String,
        /// What came in and was taken off.
        received: Received,
    },
    /// Applications for payment, and the invoices that customers issue in the crew's name.
    Applications(ApplicationCommand),
    /// What customers owe, by age.
    Owed,
    /// A job's account with its customer.
    Statement {
        /// The job.
        job: String,
    },
    /// What could be claimed for an invoice that a business pays late.
    LateClaim {
        /// The invoice's number.
        number: String,
        /// The base rate, in per cent, where none is known here.
        base_rate: Option<Rate>,
    },
    /// What is to be paid out for a week.
    PayList {
        /// A day of the week; today without one.
        of: Option<Day>,
    },
    /// What a pack of an item costs from a day on.
    Price {
        /// The item.
        item: String,
        /// Pounds a pack, without VAT.
        pack_cost: Rate,
        /// From this day; today without one.
        from: Option<Day>,
    },
    /// What a person costs and is charged at from a day on.
    Rate(PersonRate),
    /// What was paid for a purchase, a hire or an expense.
    Paid(Paid),
    /// Who bears the cost of a waste or a call-back.
    BearCost {
        /// The entry's key.
        entry: String,
        /// Who.
        whose: Whose,
    },
    /// What an extra sells for, or its limit on the clock.
    PriceExtra {
        /// The key of the entry in which it was asked for or agreed.
        entry: String,
        /// Without VAT.
        amount: Pence,
    },
    /// The rooms of a job, as they were measured, and what they cost.
    Measure(RoomCommand),
    /// Quotes and their payment points.
    Quote(QuoteCommand),
    /// When and how a job is billed, and how people work for the crew.
    Terms(TermsCommand),
    /// What is to sort out.
    SortOut,
    /// Answers a question.
    Settle {
        /// The question's key.
        question: String,
        /// The answer.
        answer: String,
    },
    /// The stages of all jobs and how they stand.
    Stages,
    /// What a day is planned by.
    Plan(PlanCommand),
    /// Kinds of tests and their limits, and a job's tests over time.
    Tests(TestCommand),
    /// The entries that made a figure.
    Why {
        /// The job.
        job: String,
        /// The stage, or all.
        stage: Option<String>,
        /// A person or an item, or all.
        what: Option<String>,
    },
    /// Gives out a code to bring a device into the crew.
    Invite(InviteWish),
    /// Lists a person, with their rates if those are known.
    AddPerson {
        /// The name.
        name: String,
        /// What they may do.
        role: Role,
        /// What an hour of theirs costs and is charged at, in pounds.
        rates: Option<(Rate, Rate)>,
    },
    /// Gives a person another role from now on.
    SetRole {
        /// The name.
        person: String,
        /// What they may do from now on.
        role: Role,
    },
    /// Makes a link by which one browser joins the page.
    PageLink {
        /// Whose phone it will be; listed now if nobody of that name is.
        person: String,
        /// The role of a person who is listed now.
        role: Role,
    },
    /// People and devices.
    Roster,
    /// Takes a device off the crew: nothing beyond what is held here of its chains counts.
    Retire {
        /// Its name or the beginning of its key.
        device: String,
        /// Why.
        reason: String,
        /// The recovery words as they were typed, which stand above every device.
        #[serde(default)]
        words: Option<String>,
    },
    /// When the recovery words were printed; with words, whether these are they.
    Words {
        /// The words, as they were typed.
        typed: Option<String>,
    },
    /// Writes everything into a folder: for other programs, or as a backup.
    Folder(FolderCommand),
    /// Shows which photos are here and which are elsewhere, and changes how many of them this device keeps.
    Photos {
        /// How many from now on; none leaves it.
        keep: Option<photos::KeepPhotos>,
    },
    /// Reads and checks the whole ledger.
    Verify,
    /// What was set aside, and entering it again.
    SetAside(SetAsideWish),
    /// How far each chain is held.
    Status,
}
