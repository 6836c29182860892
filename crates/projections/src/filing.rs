//! Filing many events at once: a book made of all of them costs a sort, where taking them in one by
//! one costs a search among all that came before for each.
//!
//! The book is the same as if each event had been taken in by itself. Parts may be filed apart, in
//! any order, and put together; nothing here starts a thread.

use ledger::kinds::Carried;
use ledger::roster::{Lacking, Standing};
use ledger::{Audience, ChainId, EntryRef, EventHash, Payload, Unreadable};

use crate::book::{Book, History, Logged, NotRead};
use crate::row::{RowKey, Shelf};

/// Events on their way into a book, in no order and not judged yet.
#[derive(Debug, Default)]
pub struct Filing {
    entries: Vec<(EntryRef, Box<Logged>)>,
    changes: Vec<(EntryRef, Box<Logged>)>,
    rows: Vec<(RowKey, Box<Logged>)>,
    unreadable: Vec<(EventHash, NotRead)>,
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
        let mut all = Filing::default();
        for Filed(part) in filed {
            append(&mut all.entries, part.entries);
            append(&mut all.changes, part.changes);
            append(&mut all.rows, part.rows);
            append(&mut all.unreadable, part.unreadable);
        }
        // Sorts that find long sorted stretches, of which each part is one, and merge them.
        all.entries.sort_by(by_entry);
        all.changes.sort_by(by_entry);
        let mut histories: Vec<(EntryRef, History)> = Vec::with_capacity(all.entries.len());
        let mut changes = all.changes.into_iter().peekable();
        for (entry, logged) in all.entries {
            while let Some((of, change)) = changes.next_if(|(of, _)| *of <= entry) {
                history_of(&mut histories, of).change(change);
            }
            history_of(&mut histories, entry).file(logged);
        }
        for (of, change) in changes {
            history_of(&mut histories, of).change(change);
        }
        let mut book = Self::new(audience);
        book.entries = histories.into_iter().collect();
        for (key, logged) in all.rows {
            book.rows.entry(key).or_default().entry(logged.hash).or_insert(logged);
        }
        for (hash, not_read) in all.unreadable {
            book.unreadable.entry(hash).or_insert(not_read);
        }
        book
    }

    /// Judges every event anew, after a change of the roster.
    pub fn judge_again(&mut self, mut standing: impl FnMut(&Logged) -> Standing) {
        let rows = self.rows.values_mut().flat_map(|versions| versions.values_mut().map(|row| &mut **row));
        for logged in self.entries.values_mut().flat_map(History::all_mut).chain(rows) {
            logged.standing = standing(logged);
        }
    }
}

/// Whether the crew's book may hold it.
pub(crate) fn is_for_the_crew(logged: &Logged) -> bool {
    logged.body.kind().carried() != Carried::Office
}

fn by_entry(one: &(EntryRef, Box<Logged>), other: &(EntryRef, Box<Logged>)) -> std::cmp::Ordering {
    one.0.cmp(&other.0).then_with(|| one.1.hash.cmp(&other.1.hash))
}

/// The history of an entry that is the last one or comes behind it.
fn history_of(histories: &mut Vec<(EntryRef, History)>, entry: EntryRef) -> &mut History {
    if histories.last().is_none_or(|(last, _)| *last != entry) {
        histories.push((entry, History::default()));
    }
    let last = histories.len() - 1;
    &mut histories[last].1
}

/// Appends, without copying where there is nothing yet.
fn append<T>(all: &mut Vec<T>, mut part: Vec<T>) {
    if all.is_empty() {
        *all = part;
    } else {
        all.append(&mut part);
    }
}
