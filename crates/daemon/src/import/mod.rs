//! Reading a folder of CSV files into a plan of events to write.
//!
//! A plan is all or nothing: one bad row anywhere and there is no plan, only the list of every bad
//! row. Nothing is written here, no clock is read, and the same files against the same ledger give
//! the same plan. Ids follow from the crew and the row's own key, so devices that import the same
//! row apart from each other write the same entry, and importing twice changes nothing.

mod actions;
mod cells;
mod corrections;
mod entries;
mod files;
mod firm;
mod goods;
mod jobs;
mod kinds;
mod known;
mod lists;
mod measures;
mod named;
mod paid;
mod table;
#[cfg(test)]
mod tests;

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;

use ledger::roster_events::Role;
use ledger::site::{ItemListed, JobListed, LineListed, StageListed};
use ledger::{
    Audience, CrewId, EntryRef, EventHash, ItemId, JobId, Kind, LineId, Payload, PersonId, PhotoHash, StageId,
};
use trade::{Day, Moment};

pub use files::{FileName, Files, FilesError, MAX_FILE_BYTES};

/// What an import depends on, beside the files.
pub struct Context<'a> {
    /// The crew.
    pub crew: CrewId,
    /// The day of the import: changed prices and rates hold from it on.
    pub today: Day,
    /// The instant of the import, as the clock of this device shows it.
    pub now: Moment,
    /// Only the entries of these devices are written; `None` for all. Every row is checked all the same.
    pub devices: Option<&'a BTreeSet<String>>,
    /// What the ledger holds already.
    pub held: &'a dyn Held,
    /// Who imports; the crew's lists are written in this person's name.
    pub author: PersonId,
    /// The role of that person. Only an owner writes lists.
    pub role: Role,
    /// The rows of a list are all that there are, in their order, or more behind those that are held.
    pub lists: ListRows,
    /// Told of each so many rows that were read, out of how many.
    pub say: &'a dyn Fn(Rows),
}

/// How rows of stages and costing lines stand to those that the ledger holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ListRows {
    /// They come in the order that they are to have.
    Whole,
    /// A new one goes behind those of its job that are held; one that is held keeps its place.
    More,
}

/// How many rows of the files were read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rows {
    /// So many.
    pub read: u64,
    /// Of so many.
    pub of: u64,
}

/// What a version of a list row is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum ListSubject {
    /// An item of the price book.
    Item(ItemId),
    /// A job.
    Job(JobId),
    /// A stage.
    Stage(StageId),
    /// A costing line.
    Line(LineId),
    /// A person.
    Person(PersonId),
    /// The crew as a business.
    Firm,
    /// An entry that has a price.
    Entry(EntryRef),
}

/// A photo's file, as far as an entry names it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PhotoFile {
    /// The BLAKE3 hash of its bytes.
    pub hash: PhotoHash,
    /// How many bytes it has.
    pub bytes: u64,
}

/// What the ledger holds already, as far as an import asks.
pub trait Held {
    /// The event that counts for an entry, and its hash.
    fn event_of(&self, entry: &EntryRef) -> Option<(EventHash, Payload)>;
    /// The event by which an entry was corrected or struck, and its hash.
    fn change_of(&self, entry: &EntryRef, change: &EntryRef) -> Option<(EventHash, Payload)>;
    /// The versions of one kind about one subject that no other event replaces, in any order. Rates
    /// and prices don't replace each other, so all of theirs.
    fn list_versions(&self, kind: Kind, subject: ListSubject) -> Vec<(EventHash, Payload)>;
    /// The person of this name, and their role now.
    fn person(&self, name: &str) -> Option<(PersonId, Role)>;
    /// Everybody of the crew, past and present.
    fn people(&self) -> Vec<PersonId>;
    /// The job with this code.
    fn job(&self, code: &str) -> Option<JobListed>;
    /// The stage of this name in a job.
    fn stage(&self, job: JobId, name: &str) -> Option<StageId>;
    /// The price-book item of this name.
    fn item(&self, name: &str) -> Option<ItemListed>;
    /// The stages of a job.
    fn stages_of(&self, job: JobId) -> Vec<StageListed>;
    /// The costing lines of a job.
    fn lines_of(&self, job: JobId) -> Vec<LineListed>;
    /// The one entry whose id, in hex, begins so, and what kind of entry it is.
    fn entry_beginning(&self, beginning: &str) -> Option<(EntryRef, Kind)>;
    /// The file that a row names as a photo.
    ///
    /// # Errors
    /// Why it is none, in words that follow the column's name.
    fn photo(&self, name: &str) -> Result<PhotoFile, String>;
    /// Whether what only the office may read is held too.
    fn reads_office(&self) -> bool;
}

/// An event to write.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Planned {
    /// What it says. Its `act.replaces` names the list versions that it replaces.
    pub payload: Payload,
    /// Which chain it goes to.
    pub audience: Audience,
    /// For a correction or a striking out, the entry that it changes. When it is written,
    /// `act.replaces` gets the changes of that entry held by then that come before it by
    /// `(logged_at, row_key)`; their hashes are not known to a plan.
    pub supersedes: Vec<EntryRef>,
}

/// What an import is going to write.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plan {
    /// The events in the order in which to write them.
    pub writes: Vec<Planned>,
    /// How many events were not planned because the ledger says the same already.
    pub already_held: usize,
    /// What the person should know, in whole sentences.
    pub warnings: Vec<String>,
}

/// Something wrong in a file, and where.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
pub struct BadRow {
    /// The file's name.
    pub file: &'static str,
    /// The line on which the row begins, from 1.
    pub line: u64,
    /// The column's name, or empty where the whole row or file is meant.
    pub column: String,
    /// What is wrong and what to do.
    pub reason: String,
}

impl fmt::Display for BadRow {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} line {}", self.file, self.line)?;
        if !self.column.is_empty() {
            write!(f, ", column {}", self.column)?;
        }
        write!(f, ": {}", self.reason)
    }
}

impl std::error::Error for BadRow {}

/// Plans an import: reads and checks every row of every file against the others and the ledger.
///
/// # Errors
/// Every bad row of every file, in the order of files and lines. Then nothing may be written.
pub fn plan(files: &Files, context: &Context<'_>) -> Result<Plan, Vec<BadRow>> {
    let mut work = Work::new(context);
    let tables = table::Tables::read(files, &mut work);
    let known = known::Known::gather(&tables, context);
    work.rows.of = tables.rows();
    lists::plan_crew(&tables.crew, &mut work);
    work.rows_read(tables.crew.len());
    lists::plan_price_book(&tables.price_book, &known, &mut work);
    work.rows_read(tables.price_book.len());
    firm::plan_firm(&tables.firm, &mut work);
    work.rows_read(tables.firm.len());
    jobs::plan_jobs(&tables.jobs, &known, &mut work);
    work.rows_read(tables.jobs.len());
    jobs::plan_stages(&tables.stages, &known, &mut work);
    work.rows_read(tables.stages.len());
    jobs::plan_estimate(&tables.estimate, &known, &mut work);
    work.rows_read(tables.estimate.len());
    entries::plan_entries(&tables.entries, &known, &mut work);
    work.finish()
}

/// A plan in the making: what to write, and what is wrong so far.
struct Work<'a> {
    context: &'a Context<'a>,
    plan: Plan,
    bad: Vec<BadRow>,
    /// List rows that only an owner may write and that this import leaves out.
    lists_left_out: usize,
    rows: Rows,
    /// Cells that were filled in for nothing: kind of entry and column, first line and how many.
    idle_cells: BTreeMap<(&'static str, &'static str), (u64, usize)>,
}

impl<'a> Work<'a> {
    fn new(context: &'a Context<'a>) -> Self {
        let plan = Plan { writes: Vec::new(), already_held: 0, warnings: Vec::new() };
        let rows = Rows { read: 0, of: 0 };
        Self { context, plan, bad: Vec::new(), lists_left_out: 0, rows, idle_cells: BTreeMap::new() }
    }

    /// Counts rows, and says so now and then: as often as a person sees, never once a row.
    fn rows_read(&mut self, count: usize) {
        const STEP: u64 = 1_000;
        let before = self.rows.read;
        self.rows.read += u64::try_from(count).unwrap_or(u64::MAX);
        if self.rows.read / STEP != before / STEP || self.rows.read == self.rows.of {
            (self.context.say)(self.rows);
        }
    }

    fn warn(&mut self, warning: String) {
        self.plan.warnings.push(warning);
    }

    /// Adds an event, once it is sure that readers will take it.
    fn write(&mut self, row: &table::Row, planned: Planned) {
        match planned.payload.encode() {
            Ok(_) => self.plan.writes.push(planned),
            Err(fault) => self.bad.push(row.bad("", fault.to_string())),
        }
    }

    fn finish(mut self) -> Result<Plan, Vec<BadRow>> {
        if !self.bad.is_empty() {
            // Files in the order in which people fill them in, not in that of the alphabet.
            self.bad.sort_by_key(|bad| (Files::NAMES.iter().position(|name| *name == bad.file), bad.line));
            return Err(self.bad);
        }
        if self.lists_left_out > 0 {
            let count = self.lists_left_out;
            self.warn(format!(
                "Rows of the crew's lists that were left out: {count}. Lists come from a boss's device."
            ));
        }
        for ((kind, column), (line, count)) in std::mem::take(&mut self.idle_cells) {
            self.warn(format!(
                "entries.csv line {line}: {kind} has no use for column {column}; ignored (rows: {count})."
            ));
        }
        Ok(self.plan)
    }
}
