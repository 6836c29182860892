//! The index: where runs lie in the journal, by chain and sequence number; an entry an extent of them.
//!
//! New entries wait in memory and move to the table on disk in batches, so that appending never waits
//! for sled. Without a table they simply stay in memory. The index may be wrong in any way; whoever
//! reads by it checks what lies there, and rebuilds it from the journal.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::time::Duration;

use ledger::ChainId;

use crate::Position;
use crate::extent::EXTENT_BYTES;
use crate::recovery::Mark;
use crate::span::RunSpan;
use crate::table::{Coverage, IndexLost, SledTable, Table, set_folder_aside};
use crate::twin::IndexTwin;

/// So many entries wait in memory before they move to the table.
const WAITING_ENTRIES: usize = 4096;

/// What orders the extents: chain, first event, and place, so that no branch of a forked chain hides
/// another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Key {
    pub(crate) chain: ChainId,
    pub(crate) first_seq: u64,
    pub(crate) place: Position,
}

impl Key {
    /// Not after any extent of the chain that begins with event `first_seq`.
    pub(crate) fn lowest(chain: ChainId, first_seq: u64) -> Key {
        Key { chain, first_seq, place: Position { segment: 0, offset: 0 } }
    }

    /// Not before any extent of the chain that begins with event `first_seq`.
    pub(crate) fn highest(chain: ChainId, first_seq: u64) -> Key {
        Key { chain, first_seq, place: Position { segment: u32::MAX, offset: u64::MAX } }
    }

    /// The key right behind this one.
    pub(crate) fn next(self) -> Key {
        Key { place: Position { offset: self.place.offset.saturating_add(1), ..self.place }, ..self }
    }
}

/// One extent's entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Entry {
    /// The chain, the first event, and where the first run's record begins.
    pub(crate) key: Key,
    /// The bytes from there to the end of the last run's record.
    pub(crate) length: u32,
    /// The events of all its runs.
    pub(crate) event_count: u32,
}

impl Entry {
    pub(crate) fn end_seq(&self) -> u64 {
        self.key.first_seq.saturating_add(u64::from(self.event_count))
    }

    /// The entry with the run that lies at `place` added; none if the run does not continue the extent.
    fn with(&self, span: RunSpan, place: Position, record_bytes: u32) -> Option<Entry> {
        let length = place.offset.checked_sub(self.key.place.offset)?.checked_add(u64::from(record_bytes))?;
        let follows = self.key.chain == span.chain
            && self.end_seq() == span.first_seq
            && self.key.place.segment == place.segment
            && length <= EXTENT_BYTES;
        let event_count = self.event_count.checked_add(span.event_count).filter(|_| follows)?;
        Some(Entry { length: u32::try_from(length).ok()?, event_count, ..*self })
    }
}

/// What became of the index at a start.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum IndexState {
    /// It was there, and the journal's tail was added.
    Kept,
    /// It was missing, old or wrong, and was made anew from the whole journal.
    Rebuilt,
    /// It is made in memory from the whole journal, for the reason given.
    InMemory {
        /// Why there is none on disk.
        reason: String,
    },
}

/// Where the index may keep its table.
#[derive(Debug, Clone)]
pub(crate) enum IndexPlace {
    Memory,
    Folder { folder: PathBuf, patience: Duration },
    Twin(IndexTwin),
}

impl IndexPlace {
    fn table(&self) -> Result<Option<Box<dyn Table>>, IndexLost> {
        Ok(match self {
            Self::Memory => None,
            Self::Folder { folder, patience } => Some(Box::new(SledTable::open(folder, *patience)?)),
            Self::Twin(twin) => Some(Box::new(twin.clone())),
        })
    }

    /// Puts out of the way what can't be opened.
    fn set_aside(&self) {
        match self {
            Self::Memory => {}
            Self::Folder { folder, .. } => set_folder_aside(folder),
            Self::Twin(twin) => Box::new(twin.clone()).set_aside(),
        }
    }
}

/// The index.
#[derive(Debug, Default)]
pub(crate) struct Index {
    waiting: BTreeMap<Key, (u32, u32)>,
    table: Option<Box<dyn Table>>,
    longest_extent: u32,
    /// Where the journal goes on behind damage: no extent reaches over that, since it could not be read.
    behind_damage: Option<Position>,
    lost: Option<IndexLost>,
}

impl Index {
    /// Opens the index, and says up to where it can be believed: nowhere if it begins empty.
    pub(crate) fn open(place: &IndexPlace) -> (Index, Option<Mark>, IndexState) {
        let opened = place.table().and_then(|table| {
            let Some(table) = table else { return Ok(None) };
            match table.coverage() {
                Ok(coverage) => Ok(Some((table, coverage))),
                Err(lost) => {
                    table.set_aside();
                    Err(lost)
                }
            }
        });
        match opened {
            Ok(None) => {
                let reason = "the store was opened without a folder for it".to_owned();
                (Index::default(), None, IndexState::InMemory { reason })
            }
            Ok(Some((table, coverage))) => {
                let longest_extent = coverage.map_or(0, |coverage| coverage.longest_extent);
                let index = Index { table: Some(table), longest_extent, ..Index::default() };
                let state = if coverage.is_some() { IndexState::Kept } else { IndexState::Rebuilt };
                (index, coverage.map(|coverage| coverage.mark), state)
            }
            Err(IndexLost(reason)) => {
                tracing::warn!(reason, "going on with an index in memory");
                place.set_aside();
                (Index::default(), None, IndexState::InMemory { reason })
            }
        }
    }

    /// Puts the table on disk aside and begins empty, in memory.
    pub(crate) fn begin_again(&mut self) {
        if let Some(table) = std::mem::take(self).table {
            table.set_aside();
        }
    }

    /// Whether part of it is believed from a table, and not from the journal.
    pub(crate) fn has_table(&self) -> bool {
        self.table.is_some()
    }

    /// The most events that any extent has.
    pub(crate) fn longest_extent(&self) -> u32 {
        self.longest_extent
    }

    /// Notes that there is damage right before this place.
    pub(crate) fn goes_on_behind_damage(&mut self, place: Position) {
        self.behind_damage = Some(place);
    }

    /// Adds one run, whose record begins at `place` and is `record_bytes` long with its header. Runs are
    /// added in the order in which they lie in the journal.
    pub(crate) fn insert(&mut self, span: RunSpan, place: Position, record_bytes: u32) {
        let key = Key { chain: span.chain, first_seq: span.first_seq, place };
        let before = self.waiting.range(..=Key::highest(span.chain, span.first_seq)).next_back();
        let before = before.map(|(key, value)| entry(key, value));
        let before = before.filter(|before| Some(before.key.place) >= self.behind_damage);
        let entry = before.and_then(|before| before.with(span, place, record_bytes)).unwrap_or(Entry {
            key,
            length: record_bytes,
            event_count: span.event_count,
        });
        self.waiting.insert(entry.key, (entry.length, entry.event_count));
        self.longest_extent = self.longest_extent.max(entry.event_count);
    }

    /// Every run before `mark` is added: a moment at which entries may move to the table.
    pub(crate) fn covers(&mut self, mark: Mark) {
        if self.waiting.len() >= WAITING_ENTRIES {
            self.write_out(mark);
        }
    }

    /// Moves all that waits to the table, and asks for it to be written, ahead of a checkpoint at `mark`.
    pub(crate) fn flush(&mut self, mark: Mark) {
        self.write_out(mark);
        if let Some(Err(lost)) = self.table.as_ref().map(|table| table.flush()) {
            self.lost = Some(lost);
        }
    }

    fn write_out(&mut self, mark: Mark) {
        let Some(table) = &self.table else { return };
        let mut entries = self.waiting.iter().map(|(key, value)| entry(key, value));
        match table.put(&mut entries, Coverage { mark, longest_extent: self.longest_extent }) {
            Ok(()) => self.waiting.clear(),
            // Whoever appends has no use for the index now; the next reader rebuilds it.
            Err(lost) => self.lost = Some(lost),
        }
    }

    /// The extents from `first` to the end of the chain, in order, `limit` at most.
    pub(crate) fn extents_from(&self, first: Key, limit: usize) -> Result<Vec<Entry>, IndexLost> {
        self.usable()?;
        let last = Key::highest(first.chain, u64::MAX);
        if first > last {
            return Ok(Vec::new());
        }
        let waiting = self.waiting.range(first..=last).take(limit).map(|(key, value)| entry(key, value));
        let mut extents: Vec<Entry> = waiting.collect();
        if let Some(table) = &self.table {
            extents.extend(table.entries(&first, &last, limit)?);
            // Where both have an extent, the one that waits is the longer: it was added to later. The
            // sort is stable, so it comes first.
            extents.sort_by_key(|entry| entry.key);
            extents.dedup_by_key(|entry| entry.key);
            extents.truncate(limit);
        }
        Ok(extents)
    }

    /// The extent that holds event `seq` of a chain; if several do, one of those that begin last.
    pub(crate) fn extent_holding(&self, chain: ChainId, seq: u64) -> Result<Option<Entry>, IndexLost> {
        self.usable()?;
        // No extent that begins earlier is long enough to reach `seq`.
        let first = Key::lowest(chain, seq.saturating_sub(u64::from(self.longest_extent)));
        let last = Key::highest(chain, seq);
        let holds = |entry: &Entry| entry.end_seq() > seq;
        let waiting =
            self.waiting.range(first..=last).rev().map(|(key, value)| entry(key, value)).find(holds);
        let table = self.table.as_ref().map(|table| table.last_entry(&first, &last, &holds)).transpose()?;
        Ok(waiting.into_iter().chain(table.flatten()).max_by_key(|entry| entry.key))
    }

    fn usable(&self) -> Result<(), IndexLost> {
        self.lost.clone().map_or(Ok(()), Err)
    }
}

fn entry(key: &Key, (length, event_count): &(u32, u32)) -> Entry {
    Entry { key: *key, length: *length, event_count: *event_count }
}

#[cfg(test)]
mod tests {
    use super::*;

    const CHAIN: ChainId = ChainId([1; 16]);

    fn insert(index: &mut Index, chain: ChainId, seq: u64, segment: u32, offset: u64) {
        let span = RunSpan { chain, first_seq: seq, event_count: 1 };
        index.insert(span, Position { segment, offset }, 400);
    }

    #[test]
    fn runs_that_follow_each_other_share_an_entry_of_64_kib() {
        let mut index = Index::default();
        for seq in 0..1000 {
            insert(&mut index, CHAIN, seq, 1, 52 + seq * 416);
        }
        let extents = index.extents_from(Key::lowest(CHAIN, 0), 100).unwrap();
        assert_eq!(extents.len(), 1000_usize.div_ceil(157), "157 records of 416 bytes are 64 KiB");
        assert!(extents.iter().all(|extent| u64::from(extent.length) <= EXTENT_BYTES));
        assert_eq!(extents.iter().map(|extent| extent.event_count).sum::<u32>(), 1000);
        assert_eq!(index.extent_holding(CHAIN, 999).unwrap(), extents.last().copied());
        assert_eq!(index.extent_holding(CHAIN, 1000).unwrap(), None);
    }

    #[test]
    fn a_gap_another_chain_and_another_segment_begin_an_entry() {
        let mut index = Index::default();
        insert(&mut index, CHAIN, 0, 1, 52);
        insert(&mut index, CHAIN, 2, 1, 500);
        insert(&mut index, ChainId([2; 16]), 3, 1, 1000);
        insert(&mut index, CHAIN, 3, 2, 52);
        let extents = index.extents_from(Key::lowest(CHAIN, 0), 100).unwrap();
        assert_eq!(extents.iter().map(|extent| extent.key.first_seq).collect::<Vec<_>>(), [0, 2, 3]);
    }
}
