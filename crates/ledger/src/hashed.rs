//! Making out the hashes of events before their run is checked. It is most of the work of checking, and needs nothing
//! that is held, so that it can go on beside other work.

use std::collections::BTreeMap;

use crate::frontier::Ledger;
use crate::ids::{ChainId, EventHash};
use crate::run::{Run, Summary};

/// A run with the hashes of its events, given the hash before its first. Nothing else of it is checked: only
/// [`RunHasher`] and [`RunBuilder::finish_hashed`] make one.
///
/// [`RunBuilder::finish_hashed`]: crate::RunBuilder::finish_hashed
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct HashedRun {
    pub(crate) run: Run,
    pub(crate) before: EventHash,
    pub(crate) summary: Summary,
}

impl HashedRun {
    /// The run.
    #[must_use]
    pub const fn run(&self) -> &Run {
        &self.run
    }
}

/// Makes out the hashes of runs as they arrive, each given the one before it in its chain.
#[derive(Debug, Clone, Default)]
pub struct RunHasher {
    /// The number after the last event that was looked at, and its hash.
    reached: BTreeMap<ChainId, (u64, EventHash)>,
}

impl RunHasher {
    /// Takes from a ledger where a chain is continued from, unless the runs before have led there.
    pub fn begin_at(&mut self, chain: ChainId, ledger: &Ledger) {
        if let Some(tip) = ledger.tip_to_continue(&chain) {
            self.reached.entry(chain).or_insert((tip.next_seq, tip.hash));
        }
    }

    /// Makes out the hashes of a run. If it does not continue what is known of its chain, they are of no use, and are
    /// made out again when the run is checked.
    #[must_use]
    pub fn hash(&mut self, run: Run) -> HashedRun {
        let chain = run.chain();
        let (next_seq, before) = self.reached.get(&chain).copied().unwrap_or((0, EventHash([0; 32])));
        let continues = next_seq == run.first_seq();
        let summary = if continues { run.read(before) } else { Summary::default() };
        match summary.hashes.last() {
            Some(last) => self.reached.insert(chain, (run.next_seq(), *last)),
            None => self.reached.remove(&chain),
        };
        HashedRun { run, before, summary }
    }
}
