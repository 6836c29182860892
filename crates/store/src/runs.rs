//! A walk along the stored runs of a chain.

use std::collections::{BTreeMap, VecDeque};

use ledger::ChainId;

use crate::Position;
use crate::error::ReadError;
use crate::index::{Entry, Key};
use crate::recovery::Damage;
use crate::store::{Store, StoredRun};
use crate::table::IndexLost;

/// So many entries are fetched from the index at once.
const PAGE_ENTRIES: usize = 64;

/// What orders the runs of a chain.
type Order = (u64, Position);

/// The stored runs of a chain, one by one. Made by [`Store::runs`].
pub struct Runs<'a> {
    store: &'a mut Store,
    chain: ChainId,
    from_seq: u64,
    /// The next entries of the index, and where to fetch more.
    page: VecDeque<Entry>,
    next: Option<Key>,
    /// Runs that were found and not yet given: extents may overlap, as branches of a chain do.
    waiting: BTreeMap<Order, Result<StoredRun, Damage>>,
    given: Option<Order>,
    rebuilt: bool,
}

impl<'a> Runs<'a> {
    pub(crate) fn new(store: &'a mut Store, chain: ChainId, from_seq: u64) -> Runs<'a> {
        let (page, waiting) = (VecDeque::new(), BTreeMap::new());
        let mut runs =
            Runs { store, chain, from_seq, page, next: None, waiting, given: None, rebuilt: false };
        runs.begin();
        runs
    }

    /// Begins with the first entry that can reach `from_seq`.
    fn begin(&mut self) {
        let reach = u64::from(self.store.index().longest_extent());
        self.next = Some(Key::lowest(self.chain, self.from_seq.saturating_sub(reach)));
        self.page.clear();
        self.waiting.clear();
    }

    /// Fetches entries, or finds the runs of the next one.
    fn find_more(&mut self) -> Result<(), ReadError> {
        if let Some(entry) = self.page.pop_front() {
            if entry.end_seq() <= self.from_seq {
                return Ok(());
            }
            return match self.store.read_extent(&entry)? {
                Some(extent) => {
                    for (span, place, bytes) in extent.into_runs() {
                        let order = (span.first_seq, place);
                        if span.last_seq() >= self.from_seq && self.given < Some(order) {
                            self.waiting.insert(order, bytes.map(|bytes| StoredRun { span, place, bytes }));
                        }
                    }
                    Ok(())
                }
                None => self.rebuild("it names runs that are not in the journal".to_owned()),
            };
        }
        let Some(first) = self.next.take() else { return Ok(()) };
        match self.store.index().extents_from(first, PAGE_ENTRIES) {
            Ok(page) => {
                self.next = page.last().map(|entry| entry.key.next());
                self.page = page.into();
                Ok(())
            }
            Err(IndexLost(reason)) => self.rebuild(reason),
        }
    }

    fn rebuild(&mut self, reason: String) -> Result<(), ReadError> {
        if std::mem::replace(&mut self.rebuilt, true) {
            return Err(ReadError::Index { reason });
        }
        self.store.rebuild_index(&reason)?;
        self.begin();
        Ok(())
    }
}

impl Iterator for Runs<'_> {
    type Item = Result<StoredRun, ReadError>;

    fn next(&mut self) -> Option<Self::Item> {
        loop {
            // An extent's runs don't begin before it does, so whatever is before the next one is in order.
            let unread = self.page.front().map(|entry| (entry.key.first_seq, entry.key.place));
            let exhausted = unread.is_none() && self.next.is_none();
            let first = self.waiting.first_entry();
            if let Some(first) =
                first.filter(|first| exhausted || unread.is_some_and(|unread| *first.key() < unread))
            {
                self.given = Some(*first.key());
                return Some(first.remove().map_err(ReadError::Damaged));
            }
            if exhausted {
                return None;
            }
            if let Err(error) = self.find_more() {
                // The walk ends here: what follows can't be known.
                (self.next, self.page, self.waiting) = (None, VecDeque::new(), BTreeMap::new());
                return Some(Err(error));
            }
        }
    }
}
