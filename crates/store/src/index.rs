//! The index: where each run lies in the journal, by chain and sequence number.
//!
//! New entries wait in memory and move to the table on disk in batches, so that appending never waits
//! for sled. Without a table they simply stay in memory. The index may be wrong in any way; whoever
//! reads by it checks what lies there, and rebuilds it from the journal.

use std::collections::BTreeMap;
use std::path::PathBuf;
use std::time::Duration;

use ledger::ChainId;

use crate::Position;
use crate::recovery::Mark;
use crate::span::RunSpan;
use crate::table::{Coverage, IndexLost, Table, set_folder_aside};

/// So many entries wait in memory before they move to the table.
const WAITING_ENTRIES: usize = 4096;

/// What orders the runs: chain, first event, and place, so that no branch of a forked chain hides another.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) struct Key {
    pub(crate) chain: ChainId,
    pub(crate) first_seq: u64,
    pub(crate) place: Position,
}

impl Key {
    /// Not after any run of the chain that begins with event `first_seq`.
    pub(crate) fn lowest(chain: ChainId, first_seq: u64) -> Key {
        Key { chain, first_seq, place: Position { segment: 0, offset: 0 } }
    }

    /// Not before any run of the chain that begins with event `first_seq`.
    pub(crate) fn highest(chain: ChainId, first_seq: u64) -> Key {
        Key { chain, first_seq, place: Position { segment: u32::MAX, offset: u64::MAX } }
    }

    /// The key right behind this one.
    pub(crate) fn next(self) -> Key {
        Key { place: Position { offset: self.place.offset.saturating_add(1), ..self.place }, ..self }
    }
}

/// One run's entry.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Entry {
    pub(crate) key: Key,
    /// The run's length in bytes.
    pub(crate) length: u32,
    pub(crate) event_count: u32,
}

impl Entry {
    pub(crate) fn span(&self) -> RunSpan {
        RunSpan { chain: self.key.chain, first_seq: self.key.first_seq, event_count: self.event_count }
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
}

/// The index.
#[derive(Debug, Default)]
pub(crate) struct Index {
    waiting: BTreeMap<Key, (u32, u32)>,
    table: Option<Table>,
    longest_run: u32,
    lost: Option<IndexLost>,
}

impl Index {
    /// Opens the index, and says up to where it can be believed: nowhere if it begins empty.
    pub(crate) fn open(place: &IndexPlace) -> (Index, Option<Mark>, IndexState) {
        let IndexPlace::Folder { folder, patience } = place else {
            let reason = "the store was opened without a folder for it".to_owned();
            return (Index::default(), None, IndexState::InMemory { reason });
        };
        let opened = Table::open(folder, *patience);
        let opened = opened.and_then(|table| match table.coverage() {
            Ok(coverage) => Ok((table, coverage)),
            Err(lost) => {
                table.set_aside();
                Err(lost)
            }
        });
        match opened {
            Ok((table, coverage)) => {
                let longest_run = coverage.map_or(0, |coverage| coverage.longest_run);
                let index = Index { table: Some(table), longest_run, ..Index::default() };
                let state = if coverage.is_some() { IndexState::Kept } else { IndexState::Rebuilt };
                (index, coverage.map(|coverage| coverage.mark), state)
            }
            Err(IndexLost(reason)) => {
                tracing::warn!(reason, "going on with an index in memory");
                set_folder_aside(folder);
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

    /// The most events that any run has.
    pub(crate) fn longest_run(&self) -> u32 {
        self.longest_run
    }

    /// Adds one run.
    pub(crate) fn insert(&mut self, span: RunSpan, place: Position, length: u32) {
        let key = Key { chain: span.chain, first_seq: span.first_seq, place };
        self.waiting.insert(key, (length, span.event_count));
        self.longest_run = self.longest_run.max(span.event_count);
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
        if let Some(Err(lost)) = self.table.as_ref().map(Table::flush) {
            self.lost = Some(lost);
        }
    }

    fn write_out(&mut self, mark: Mark) {
        let Some(table) = &self.table else { return };
        let entries = self.waiting.iter().map(|(key, value)| entry(key, value));
        match table.put(entries, Coverage { mark, longest_run: self.longest_run }) {
            Ok(()) => self.waiting.clear(),
            // Whoever appends has no use for the index now; the next reader rebuilds it.
            Err(lost) => self.lost = Some(lost),
        }
    }

    /// The runs from `first` to the end of the chain, in order, `limit` at most.
    pub(crate) fn runs_from(&self, first: Key, limit: usize) -> Result<Vec<Entry>, IndexLost> {
        self.usable()?;
        let last = Key::highest(first.chain, u64::MAX);
        if first > last {
            return Ok(Vec::new());
        }
        let waiting = self.waiting.range(first..=last).take(limit).map(|(key, value)| entry(key, value));
        let mut runs: Vec<Entry> = waiting.collect();
        if let Some(table) = &self.table {
            runs.extend(table.entries(&first, &last, limit)?);
            runs.sort_unstable_by_key(|entry| entry.key);
            runs.dedup_by_key(|entry| entry.key);
            runs.truncate(limit);
        }
        Ok(runs)
    }

    /// The run that holds event `seq` of a chain. If several do, the one that begins last, and of those
    /// that begin alike the one that lies last in the journal.
    pub(crate) fn run_holding(&self, chain: ChainId, seq: u64) -> Result<Option<Entry>, IndexLost> {
        self.usable()?;
        // No run that begins earlier is long enough to reach `seq`.
        let first = Key::lowest(chain, seq.saturating_sub(u64::from(self.longest_run)));
        let last = Key::highest(chain, seq);
        let holds = |entry: &Entry| entry.span().last_seq() >= seq;
        let waiting =
            self.waiting.range(first..=last).rev().map(|(key, value)| entry(key, value)).find(holds);
        let table = self.table.as_ref().map(|table| table.last_entry(&first, &last, holds)).transpose()?;
        Ok(waiting.into_iter().chain(table.flatten()).max_by_key(|entry| entry.key))
    }

    /// The number of runs, counted one by one, with all that waits written out first.
    pub(crate) fn count_runs(&mut self, mark: Mark) -> Result<u64, IndexLost> {
        self.usable()?;
        self.write_out(mark);
        self.usable()?;
        self.table.as_ref().map_or(Ok(self.waiting.len() as u64), Table::count_runs)
    }

    fn usable(&self) -> Result<(), IndexLost> {
        self.lost.clone().map_or(Ok(()), Err)
    }
}

fn entry(key: &Key, (length, event_count): &(u32, u32)) -> Entry {
    Entry { key: *key, length: *length, event_count: *event_count }
}
