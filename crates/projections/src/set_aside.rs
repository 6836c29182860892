//! What was set aside: written by a device that was copied, set back or taken off the crew, so that it counts for
//! nothing until somebody enters it again.
//!
//! It is what this device holds of it. Figures never depend on it.

use std::collections::{BTreeMap, BTreeSet};

use ledger::EventHash;
use ledger::roster::{Lacking, Standing};

use crate::book::{Book, History, Logged};

/// What is set aside and was not entered again, in the order in which it was written. What both branches of a fork
/// have is in it once.
#[must_use]
pub fn set_aside(book: &Book) -> Vec<&Logged> {
    let id = |logged: &Logged| (logged.act.entry_ref(), logged.body.kind());
    let aside: Vec<&Logged> = book.all().filter(|logged| is_set_aside(logged)).collect();
    if aside.is_empty() {
        return aside; // As nearly always: then nothing else is looked for.
    }
    let wanted: BTreeSet<_> = aside.iter().map(|logged| id(logged)).collect();
    let standing = book.all().filter(|logged| !is_set_aside(logged)).map(id);
    let standing: BTreeSet<_> = standing.filter(|id| wanted.contains(id)).collect();
    let mut waiting: BTreeMap<_, &Logged> = BTreeMap::new();
    for logged in aside.into_iter().filter(|logged| !standing.contains(&id(logged))) {
        let known = waiting.entry((id(logged), &logged.act.replaces)).or_insert(logged);
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
