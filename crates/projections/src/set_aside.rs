//! What was set aside: written by a device that was copied, set back or taken off the crew, so that it counts for
//! nothing until somebody enters it again, or takes it on where it is a paper.
//!
//! It is what this device holds of it. Figures never depend on it.

use std::collections::{BTreeMap, BTreeSet};

use ledger::roster::{Lacking, Standing};
use ledger::{EntryRef, EventHash, Kind};

use crate::billing::paper_of;
use crate::book::{Book, History, Logged};

/// What an event is about, whoever wrote it and however often.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum About<'b> {
    /// An entry is the same under its id, wherever it is entered.
    Entry((EntryRef, Kind), &'b [EventHash]),
    /// A paper is that of the event that issued it, whoever takes it on.
    Paper(EventHash),
}

/// What is set aside and was neither entered again nor taken on, in the order in which it was written. What both branches
/// of a fork have is in it once.
#[must_use]
pub fn set_aside(book: &Book) -> Vec<&Logged> {
    let id = |logged: &Logged| (logged.act.entry_ref(), logged.body.kind());
    let aside: Vec<&Logged> = book.all().filter(|logged| is_set_aside(logged)).collect();
    if aside.is_empty() {
        return aside; // As nearly always: then nothing else is looked for.
    }
    let wanted: BTreeSet<_> = aside.iter().map(|logged| id(logged)).collect();
    let (mut standing, mut taken_on) = (BTreeSet::new(), BTreeSet::new());
    for logged in book.all().filter(|logged| !is_set_aside(logged)) {
        if wanted.contains(&id(logged)) {
            standing.insert(id(logged));
        }
        taken_on.extend(paper_of(logged).filter(|_| book.counts(logged)).map(|paper| paper.event));
    }
    let mut waiting: BTreeMap<About<'_>, &Logged> = BTreeMap::new();
    for logged in aside {
        let about = match paper_of(logged) {
            Some(paper) if taken_on.contains(&paper.event) => continue,
            Some(paper) => About::Paper(paper.event),
            None if standing.contains(&id(logged)) => continue,
            None => About::Entry(id(logged), &logged.act.replaces),
        };
        let known = waiting.entry(about).or_insert(logged);
        if logged.hash < known.hash {
            *known = logged;
        }
    }
    let mut waiting: Vec<&Logged> = waiting.into_values().collect();
    waiting.sort_by_key(|logged| (logged.made_at, logged.chain, logged.seq, logged.hash));
    waiting
}

/// The events that a fork has set aside. What was billed of them stands until people have said what becomes of it.
pub(crate) fn forked(book: &Book) -> BTreeSet<EventHash> {
    let forked = |logged: &&Logged| logged.standing == Standing::Without(Lacking::Forked);
    book.all().filter(forked).map(|logged| logged.hash).collect()
}

const fn is_set_aside(logged: &Logged) -> bool {
    matches!(logged.standing, Standing::Without(Lacking::Forked | Lacking::BeyondCut))
}

impl Book {
    /// Everything that was written, counted or not: entries, changes, rows of lists.
    pub(crate) fn all(&self) -> impl Iterator<Item = &Logged> {
        let rows = self.rows.values().flat_map(|versions| versions.values().map(|row| &**row));
        self.entries.values().flat_map(History::all).chain(rows)
    }
}
