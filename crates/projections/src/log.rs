//! The log: everything that people logged, as it stands, and what was said of it since.
//!
//! What was crossed out stays in it, marked so; so does what waits for a yes and what does not
//! count. The lists, and who belongs to the crew, are no part of it: they have pages of their own.

use ledger::kinds::Chapter;
use ledger::roster::Standing;
use ledger::site::StockPlace;
use ledger::{Body, EntryId, EntryRef, EventHash, JobId, PersonId, StageId};
use serde::Serialize;
use trade::{Day, Moment};

use crate::book::{Book, History, Logged};
use crate::change::{apply, site_of};
use crate::entry::written_order;
use crate::lists::Lists;
use crate::words::{kind_words, words};

/// How something that was logged stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub enum State {
    /// As it was logged.
    #[serde(rename = "as logged")]
    AsLogged,
    /// Somebody changed it.
    #[serde(rename = "changed")]
    Changed,
    /// Somebody crossed it out.
    #[serde(rename = "crossed out")]
    CrossedOut,
    /// A mate logged it, and nobody with the right to has said yes.
    #[serde(rename = "waits for a yes")]
    Waits,
    /// Whoever wrote it had no right to.
    #[serde(rename = "does not count")]
    DoesNotCount,
}

/// Something that was logged.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LogLine {
    /// The day it was done.
    pub done_on: Day,
    /// Who did it.
    pub person: String,
    /// What a person may call it by: the key of its imported row, or the beginning of its id.
    pub key: String,
    /// The job's code; empty where it is about no job.
    pub job: String,
    /// The stage's name, "no stage", or empty where it is about no job.
    pub stage: String,
    /// What it says, and how that stands where it is not as it was logged.
    pub text: String,
    /// The entry.
    pub entry: EntryRef,
    /// How it stands.
    pub state: State,
    /// What was said of it, as it was written; empty where nothing was said after it was logged.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub history: Vec<Said>,
}

/// One thing that was said of an entry.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Said {
    /// When it was written down.
    pub logged_at: Moment,
    /// Who wrote it down.
    pub by: String,
    /// What it said.
    pub text: String,
    /// The event.
    pub event: EventHash,
}

/// Everything that was logged, of one job or of all, of one day or of all, by day.
#[must_use]
pub fn log(book: &Book, job: Option<JobId>, on: Option<Day>) -> Vec<LogLine> {
    let lists = book.lists();
    let mut lines = Vec::new();
    for (entry, history) in &book.entries {
        let Some(first) =
            history.events().find(|event| book.counts(event)).or_else(|| history.events().next())
        else {
            continue; // Only its changes have come so far.
        };
        if !is_logged(&first.body) {
            continue;
        }
        let now = book.entry(entry);
        let (act, body) = now.as_ref().map_or((&first.act, &first.body), |now| (&now.act, &now.body));
        let place = place_of(book, body);
        if on.is_some_and(|on| on != act.done_on) || job.is_some() && place.map(|(job, _)| job) != job {
            continue;
        }
        let state = if book.is_struck(entry) {
            State::CrossedOut
        } else if now.is_some() && book.corrections(history).is_empty() {
            State::AsLogged
        } else if now.is_some() {
            State::Changed
        } else {
            match first.standing {
                Standing::Counted | Standing::Proposed => State::Waits,
                Standing::Without(_) => State::DoesNotCount,
            }
        };
        let said = words(&lists, book, act, body);
        lines.push(LogLine {
            done_on: act.done_on,
            person: lists.person(entry.person),
            key: first.key(),
            job: place.map(|(job, _)| lists.job(job)).unwrap_or_default(),
            stage: place.map(|(_, stage)| lists.stage(stage)).unwrap_or_default(),
            text: match state {
                State::AsLogged => said,
                State::Changed => {
                    format!("{said}; changed, was {}", words(&lists, book, &first.act, &first.body))
                }
                State::CrossedOut => format!("crossed out: {said}"),
                State::Waits => format!("waits for a yes: {said}"),
                State::DoesNotCount => format!("does not count: {said}"),
            },
            entry: *entry,
            state,
            history: said_of(book, &lists, first, history),
        });
    }
    lines.sort_by(|a, b| (a.done_on, &a.key, a.entry).cmp(&(b.done_on, &b.key, b.entry)));
    lines
}

/// What was said of an entry, as it was written.
fn said_of(book: &Book, lists: &Lists<'_>, first: &Logged, history: &History) -> Vec<Said> {
    if history.changes().is_empty() {
        return Vec::new();
    }
    let holding: Vec<EventHash> = {
        let corrections = book.corrections(history).into_iter().chain(book.strikes(history));
        corrections.map(|change| change.hash).collect()
    };
    let said = |logged: &Logged, text: String| Said {
        logged_at: logged.act.logged_at,
        by: lists.person(logged.act.author),
        text,
        event: logged.hash,
    };
    let mut found = vec![said(first, words(lists, book, &first.act, &first.body))];
    let (mut act, mut body) = (first.act.clone(), first.body.clone());
    let mut changes: Vec<&Logged> = history.changes().values().map(|change| &**change).collect();
    changes.sort_by_key(|change| written_order(change));
    for change in changes {
        let mut text = kind_words(change.body.kind()).to_owned();
        let holds = match &change.body {
            Body::Corrected(corrected) if holding.contains(&change.hash) => {
                apply(&corrected.changes, &mut act, &mut body);
                text += &format!(": {}", words(lists, book, &act, &body));
                true
            }
            Body::Accepted(_) => change.standing == Standing::Counted,
            _ => holding.contains(&change.hash),
        };
        if !change.act.note.is_empty() {
            text += &format!(" ({})", change.act.note);
        }
        if !holds {
            text += "; does not hold";
        }
        found.push(said(change, text));
    }
    found
}

/// Whether something of this kind is logged; otherwise it is of the lists or of the roster.
const fn is_logged(body: &Body) -> bool {
    match body.kind().chapter() {
        Chapter::Site | Chapter::Changes | Chapter::Papers => true,
        Chapter::Roster | Chapter::Lists | Chapter::OfficeLists => false,
    }
}

/// The job and stage that something is about: its own, or those of the entry that it ends.
fn place_of(book: &Book, body: &Body) -> Option<(JobId, Option<StageId>)> {
    if let Some(site) = site_of(body) {
        return Some((site.job, site.stage));
    }
    let begun = |entry: &EntryRef| {
        let entry = book.entry(entry)?;
        entry.site().map(|site| (site.job, site.stage))
    };
    let at = |place: StockPlace| match place {
        StockPlace::Job(job) => Some((job, None)),
        StockPlace::Merchant | StockPlace::Van | StockPlace::Customer | StockPlace::Skip => None,
    };
    match body {
        Body::WorkStopped(stopped) => begun(&stopped.running),
        Body::HireEnded(ended) => begun(&ended.hire),
        Body::SnagCleared(cleared) => begun(&cleared.snag),
        Body::Bought(bought) => at(bought.to),
        Body::Moved(moved) => at(moved.to).or_else(|| at(moved.from)),
        Body::InvoiceIssued(issued) => Some((issued.document.job, None)),
        Body::InvoiceCredited(credited) => Some((credited.document.job, None)),
        Body::InvoiceAdopted(adopted) => Some((adopted.document.job, None)),
        Body::DepositAsked(deposit) => Some((deposit.job, None)),
        Body::PaymentReceived(paid) => Some((paid.job, None)),
        Body::PaymentApplied(applied) => Some((applied.application.job, None)),
        Body::InvoiceSelfBilled(billed) => Some((billed.document.job, None)),
        Body::CreditAdopted(adopted) => Some((adopted.document.job, None)),
        Body::PaymentCertified(certified) => {
            let entry = book.entry(&certified.application)?;
            if let Body::PaymentApplied(applied) = &*entry.body {
                Some((applied.application.job, None))
            } else {
                None
            }
        }
        _ => None,
    }
}

impl Logged {
    /// What a person may call it by: the key of its imported row, or the beginning of its id.
    #[must_use]
    pub fn key(&self) -> String {
        if self.act.row_key.is_empty() { self.act.entry.short() } else { self.act.row_key.clone() }
    }
}

impl Book {
    /// The event that a person wrote under an id, counted or not: an entry, a change, or a row of a list. A press
    /// of a button gives its event an id, so this tells whether the press came before.
    #[must_use]
    pub fn written_by(&self, author: PersonId, entry: EntryId) -> Option<&Logged> {
        self.all().find(|logged| logged.act.entry == entry && logged.act.author == author)
    }

    /// Everything that a mate wrote down and nobody with the right to has accepted or crossed out:
    /// entries, changes of entries, and rows of the lists. Whether somebody answered the question
    /// about it makes no difference.
    pub fn proposed(&self) -> impl Iterator<Item = &Logged> {
        self.all().filter(|logged| {
            logged.standing == Standing::Proposed
                && !self.counts(logged)
                && !self.is_struck(&logged.act.entry_ref())
        })
    }
}
