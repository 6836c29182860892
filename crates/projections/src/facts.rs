//! A book read once: what every figure and every check looks at.
//!
//! An entry as it stands is worked out anew each time it is asked for. Whoever needs all of them
//! collects them here first, so that a long ledger is passed over once and not once for each figure.

use crate::book::Book;
use crate::entry::Entry;
use crate::lists::Lists;
use crate::time_on_job::{Spell, spells_of};

/// The entries and lists of a book as they stand, and the work that they tell of.
pub(crate) struct Facts<'book> {
    pub(crate) book: &'book Book,
    pub(crate) lists: Lists<'book>,
    /// In the order of person and entry.
    pub(crate) entries: Vec<Entry<'book>>,
    /// In the order of person and entry.
    pub(crate) spells: Vec<Spell>,
}

impl<'book> Facts<'book> {
    pub(crate) fn of(book: &'book Book) -> Self {
        let entries: Vec<_> = book.entries().collect();
        let spells = spells_of(&entries);
        Self { book, lists: book.lists(), entries, spells }
    }
}
