//! Filing many events at once: a book made of all of them costs a sort, where taking them in one by
//! one costs a search among all that came before for each.
//!
//! The book is the same as if each event had been taken in by itself. Parts may be filed apart, in
//! any order, and put together; nothing here starts a thread.

use std::cmp::Ordering;

use itertools::Itertools as _;
use ledger::kinds::Carried;
use ledger::roster::{Lacking, Standing};
use ledger::{Audience, ChainId, EntryRef, EventHash, Payload, Unreadable};

use crate::authorship::{Authorship, Authorships};
use crate::book::{Book, History, Logged, NotRead};
use crate::photos;
use crate::row::{RowKey, Shelf};

/// Events on their way into a book, in no order and not judged yet.
#[derive(Debug, Default)]
pub struct Filing {
    entries: Vec<OfEntry>,
    changes: Vec<OfEntry>,
    rows: Vec<(RowKey, Box<Logged>)>,
    unreadable: Vec<(EventHash, NotRead)>,
    authorships: Authorships,
}

/// Events that were judged for an audience and put in order.
#[derive(Debug)]
pub struct Filed(Filing);

impl Filing {
    /// Adds an event.
    pub fn add(&mut self, hash: EventHash, chain: ChainId, seq: u64, made_at: i64, payload: Payload) {
        let Payload { act, body } = payload;
        // What an event lacks is known once the whole roster is: [`Self::judged`] says it.
        let standing = Standing::Without(Lacking::Admission);
        let logged = Box::new(Logged { hash, chain, seq, made_at, standing, act, body });
        match Shelf::of(&logged) {
            Shelf::Entry(own) => self.entries.push((own, logged)),
            Shelf::Change(of) => self.changes.push((of, logged)),
            Shelf::Row(key) => self.rows.push((key, logged)),
        }
    }

    /// Adds an event that can't be read.
    pub fn add_unreadable(&mut self, hash: EventHash, chain: ChainId, seq: u64, reason: Unreadable) {
        self.unreadable.push((hash, NotRead { chain, seq, reason }));
    }

    /// Says of each event whether it counts, leaves out what the audience may not read, and sorts.
    pub fn judged(mut self, audience: Audience, mut standing: impl FnMut(&Logged) -> Standing) -> Filed {
        if audience == Audience::Crew {
            self.entries.retain(|(_, logged)| is_for_the_crew(logged));
            self.changes.retain(|(_, logged)| is_for_the_crew(logged));
            self.rows.retain(|(_, logged)| is_for_the_crew(logged));
            self.unreadable.retain(|(_, not_read)| not_read.reason != Unreadable::Sealed);
        }
        // In the order of arrival, in which the memory was written.
        let entries_and_changes = self.entries.iter_mut().chain(&mut self.changes);
        let rows = self.rows.iter_mut().map(|(_, logged)| logged);
        for logged in entries_and_changes.map(|(_, logged)| logged).chain(rows) {
            logged.standing = standing(logged);
            self.authorships.note(logged);
        }
        self.entries.sort_unstable_by(by_entry);
        self.changes.sort_unstable_by(by_entry);
        Filed(self)
    }
}

impl Book {
    /// The book of all of these, which were judged for its audience.
    #[must_use]
    pub fn of(audience: Audience, filed: impl IntoIterator<Item = Filed>) -> Self {
        let mut book = Self::new(audience);
        let (mut entries, mut changes) = (Vec::new(), Vec::new());
        for Filed(part) in filed {
            let rows = part.rows.iter().map(|(_, logged)| logged);
            for logged in part.entries.iter().map(|(_, logged)| logged).chain(rows) {
                photos::note(&mut book.photos, logged);
            }
            entries.push(part.entries);
            changes.push(part.changes);
            for (key, logged) in part.rows {
                book.rows.entry(key).or_default().entry(logged.hash).or_insert(logged);
            }
            book.unreadable.extend(part.unreadable);
            book.authorships.extend(part.authorships);
        }
        let mut histories: Vec<(EntryRef, History)> = Vec::with_capacity(entries.iter().map(Vec::len).sum());
        let mut changes = merged(changes).peekable();
        for (entry, logged) in merged(entries) {
            while let Some((of, change)) = changes.next_if(|(of, _)| *of <= entry) {
                history_of(&mut histories, of).change(change);
            }
            history_of(&mut histories, entry).file(logged);
        }
        for (of, change) in changes {
            history_of(&mut histories, of).change(change);
        }
        book.entries = histories.into_iter().collect();
        book
    }

    /// Judges anew, after a change of the roster, what that may touch: what makes the roster itself, the lists, and the
    /// rest only if `touched` says so of any authorship. Of an event that it does not touch `standing` must give what
    /// it had.
    pub fn judge_again(
        &mut self,
        touched: impl FnMut(&Authorship) -> bool,
        mut standing: impl FnMut(&Logged) -> Standing,
    ) {
        let mut judge = |logged: &mut Logged| logged.standing = standing(logged);
        if self.authorships.any(touched) {
            self.entries.values_mut().flat_map(History::all_mut).for_each(&mut judge);
        } else {
            for entry in self.authorships.of_roster() {
                self.entries.get_mut(entry).into_iter().flat_map(History::all_mut).for_each(&mut judge);
            }
        }
        self.rows.values_mut().flat_map(|versions| versions.values_mut()).for_each(|row| judge(row));
    }
}

/// Whether the crew's book may hold it.
pub(crate) fn is_for_the_crew(logged: &Logged) -> bool {
    logged.body.kind().carried() != Carried::Office
}

/// An event and the entry that it is of.
type OfEntry = (EntryRef, Box<Logged>);

fn by_entry(one: &OfEntry, other: &OfEntry) -> Ordering {
    one.0.cmp(&other.0).then_with(|| one.1.hash.cmp(&other.1.hash))
}

/// The events of sorted parts, in order. Nothing is copied into one row first: that takes longer than the merge.
fn merged(parts: Vec<Vec<OfEntry>>) -> impl Iterator<Item = OfEntry> {
    parts.into_iter().kmerge_by(|one, other| by_entry(one, other).is_lt())
}

/// The history of an entry that is the last one or comes behind it.
fn history_of(histories: &mut Vec<(EntryRef, History)>, entry: EntryRef) -> &mut History {
    if histories.last().is_none_or(|(last, _)| *last != entry) {
        histories.push((entry, History::default()));
    }
    let last = histories.len() - 1;
    &mut histories[last].1
}
