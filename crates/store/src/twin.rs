//! The twin of the index's table: a map in memory that outlives the store, and goes wrong on purpose; for tests.
//!
//! It may be lost, be an older one, fail, or say what is not so: as sled may, of which nothing is believed.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex};

use crate::disk::lock;
use crate::index::{Entry, Key};
use crate::table::{Coverage, IndexLost, Table};

/// So many states are remembered, to go back to one of them.
const REMEMBERED: usize = 8;

/// What may go wrong with it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum IndexTrouble {
    /// It is empty.
    Lost,
    /// It is as it was so many times before it was last written.
    Old {
        /// How often it was written since then.
        writes: u64,
    },
    /// The next call fails, and all after it.
    Fails,
    /// An entry is missing.
    Forgets {
        /// Which, counted from the first and round again.
        entry: u64,
    },
    /// An entry says that its runs lie elsewhere.
    Misplaces {
        /// Which, counted from the first and round again.
        entry: u64,
    },
}

/// A table in memory. A clone is a second handle to the same one.
#[derive(Debug, Clone, Default)]
pub struct IndexTwin {
    state: Arc<Mutex<State>>,
}

#[derive(Debug, Clone, Default)]
struct State {
    now: Content,
    /// What it was before each of the last writes, the oldest first.
    former: Vec<Content>,
    fails: bool,
}

#[derive(Debug, Clone, Default)]
struct Content {
    entries: BTreeMap<Key, (u32, u32)>,
    coverage: Option<Coverage>,
}

impl IndexTwin {
    /// Another table that holds the same.
    #[must_use]
    pub fn copied(&self) -> IndexTwin {
        IndexTwin { state: Arc::new(Mutex::new(lock(&self.state).clone())) }
    }

    /// Another table that holds what this one held so many writes ago.
    #[must_use]
    pub fn before(&self, writes: u64) -> IndexTwin {
        let copy = self.copied();
        copy.trouble(IndexTrouble::Old { writes });
        copy
    }

    /// Something goes wrong with it.
    pub fn trouble(&self, trouble: IndexTrouble) {
        let mut state = lock(&self.state);
        let nth = |state: &State, nth: u64| {
            let at = nth.checked_rem(state.now.entries.len() as u64)?;
            state.now.entries.keys().nth(usize::try_from(at).ok()?).copied()
        };
        match trouble {
            IndexTrouble::Lost => state.now = Content::default(),
            IndexTrouble::Old { writes } => {
                for _ in 0..writes {
                    state.now = state.former.pop().unwrap_or_default();
                }
            }
            IndexTrouble::Fails => state.fails = true,
            IndexTrouble::Forgets { entry } => {
                nth(&state, entry).and_then(|key| state.now.entries.remove(&key));
            }
            IndexTrouble::Misplaces { entry } => {
                let Some(mut key) = nth(&state, entry) else { return };
                if let Some(value) = state.now.entries.remove(&key) {
                    key.place.offset = key.place.offset.saturating_add(8);
                    state.now.entries.insert(key, value);
                }
            }
        }
    }

    fn content<T>(&self, look: impl FnOnce(&Content) -> T) -> Result<T, IndexLost> {
        let state = lock(&self.state);
        if state.fails {
            Err(IndexLost("the index failed on purpose".to_owned()))
        } else {
            Ok(look(&state.now))
        }
    }
}

fn entry((key, (length, event_count)): (&Key, &(u32, u32))) -> Entry {
    Entry { key: *key, length: *length, event_count: *event_count }
}

impl Table for IndexTwin {
    fn coverage(&self) -> Result<Option<Coverage>, IndexLost> {
        self.content(|content| content.coverage)
    }

    fn put(&self, entries: &mut dyn Iterator<Item = Entry>, coverage: Coverage) -> Result<(), IndexLost> {
        self.content(|_| ())?;
        let mut state = lock(&self.state);
        let before = state.now.clone();
        state.former.push(before);
        if state.former.len() > REMEMBERED {
            state.former.remove(0);
        }
        state.now.entries.extend(entries.map(|entry| (entry.key, (entry.length, entry.event_count))));
        state.now.coverage = Some(coverage);
        Ok(())
    }

    fn flush(&self) -> Result<(), IndexLost> {
        self.content(|_| ())
    }

    fn entries(&self, first: &Key, last: &Key, limit: usize) -> Result<Vec<Entry>, IndexLost> {
        self.content(|content| content.entries.range(*first..=*last).take(limit).map(entry).collect())
    }

    fn last_entry(
        &self,
        first: &Key,
        last: &Key,
        wanted: &dyn Fn(&Entry) -> bool,
    ) -> Result<Option<Entry>, IndexLost> {
        self.content(|content| {
            content.entries.range(*first..=*last).rev().map(entry).find(|entry| wanted(entry))
        })
    }

    fn set_aside(self: Box<Self>) {
        *lock(&self.state) = State::default();
    }
}
