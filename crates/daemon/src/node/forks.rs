//! Forks of chains, and what a retirement names: what the ledger can't know without the journal.

use std::collections::BTreeSet;

use ledger::fork::{Comparison, ForkProof};
use ledger::frontier::Chain;
use ledger::run::PlacedEvent;
use ledger::sabotage::Fault;
use ledger::{ChainId, EventHash, Refusal, Run};
use store::{Record, RecordKind};

use super::Node;
use crate::error::NodeError;
use crate::group::fold_events;
use crate::opening;

impl Node {
    /// Compares a peer's run with what is held of its chain from the same place on.
    ///
    /// # Errors
    /// [`NodeError::Read`].
    pub fn compare(&mut self, shown: &Run) -> Result<Comparison, NodeError> {
        let (chain, from_seq) = (shown.chain(), shown.first_seq());
        let Some(start) = self.ledger.chain(&chain).map(|held| held.start) else {
            return Ok(Comparison::Elsewhere);
        };
        let before = self.hash_before(chain, from_seq)?;
        let held = self.read_run(chain, from_seq)?;
        let found = before
            .zip(held)
            .map(|(before, held)| ForkProof::compare(&self.ledger.crew(), &start, before, &held, shown));
        Ok(found.unwrap_or(Comparison::Elsewhere))
    }

    /// Checks the proof of a fork and, if it says something new, makes it durable and takes it in.
    ///
    /// # Errors
    /// Why it was not appended; it is not in the ledger then.
    pub fn store_fork(&mut self, proof: ForkProof) -> Result<Result<(), Refusal>, NodeError> {
        if Fault::IgnoreForks.is_set() {
            return Ok(Ok(()));
        }
        let (chain, base) = (proof.chain(), proof.base());
        let before = self.hash_before(chain, base.count)?;
        match self.ledger.check_fork(&proof, before) {
            Ok(true) => {}
            Ok(false) => return Ok(Ok(())),
            Err(refusal) => return Ok(Err(refusal)),
        }
        let behind = self.hash_of(chain, base.count)?;
        let branches = proof.branches().each_ref().map(|run| branch_record(&base.hash, behind, run));
        self.store.append(&branches.each_ref().map(|bytes| Record { kind: RecordKind::Branch, bytes }))?;
        // Below this line nothing can fail but reading, so what is durable is also recorded.
        tracing::warn!(chain = %chain.short(), events = base.count, "a chain forked, and counts up to there");
        let events = proof.clone();
        self.ledger.take_in_fork(proof, behind);
        self.fill_in_at_cuts();
        if let Some(start) = self.ledger.chain(&chain).map(|held| held.start).filter(|_| !self.fetching) {
            fold_events(&mut self.book, &self.ledger, &self.keys, &start, events.events());
            opening::judge_again(&mut self.book, &self.ledger, None);
        }
        self.leave_chains_that_forked();
        Ok(Ok(()))
    }

    /// Gives every event of a chain that is held: first its line, then what a fork's branches have besides.
    ///
    /// # Errors
    /// The first of `visit`, or [`NodeError::Read`].
    pub(crate) fn visit_events(
        &mut self,
        chain: &Chain,
        mut visit: impl FnMut(&Self, PlacedEvent<'_>) -> Result<(), NodeError>,
    ) -> Result<(), NodeError> {
        let fork = chain.fork.as_ref().map(|fork| fork.proof());
        let base = fork.map_or(u64::MAX, |proof| proof.base().count);
        let mut behind_fork = BTreeSet::new();
        let (mut before, mut next_seq) = (self.ledger.first_tip(&chain.start).hash, 0);
        while let Some(run) = self.read_run(chain.start.chain, next_seq)? {
            for event in run.placed_events(before) {
                before = event.hash;
                if event.seq >= base {
                    behind_fork.insert(event.hash);
                }
                visit(self, event)?;
            }
            next_seq = run.next_seq();
        }
        let mut branches = fork.into_iter().flat_map(ForkProof::events);
        branches
            .try_for_each(|event| if behind_fork.insert(event.hash) { visit(self, event) } else { Ok(()) })
    }

    /// Tells the ledger which event is held where a retirement cuts a chain. Says whether it asked.
    pub(super) fn fill_in_at_cuts(&mut self) -> bool {
        let unknown: Vec<(ChainId, u64)> = self.ledger.unknown_at_cut().collect();
        for (chain, count) in &unknown {
            match self.hash_before(*chain, *count) {
                Ok(Some(hash)) => self.ledger.note_at_cut(*chain, *count, hash),
                // Until it can be read, it is taken for the one that the retirement names.
                Ok(None) => {}
                Err(error) => tracing::warn!(%error, "what stands at a cut can't be read"),
            }
        }
        !unknown.is_empty()
    }

    /// The hash of the last of so many events of a chain, or what the first one names as the one before.
    fn hash_before(&mut self, chain: ChainId, count: u64) -> Result<Option<EventHash>, NodeError> {
        match count.checked_sub(1) {
            Some(seq) => self.hash_of(chain, seq),
            None => Ok(self.ledger.chain(&chain).map(|held| self.ledger.first_tip(&held.start).hash)),
        }
    }

    /// The hash of an event that is held.
    fn hash_of(&mut self, chain: ChainId, seq: u64) -> Result<Option<EventHash>, NodeError> {
        let found = self.find_hash(chain, seq)?;
        if found.is_none() && self.holds(chain, seq) && self.store.distrust_index()? {
            return self.find_hash(chain, seq);
        }
        Ok(found)
    }

    fn find_hash(&mut self, chain: ChainId, seq: u64) -> Result<Option<EventHash>, NodeError> {
        for stored in self.store.runs(chain, seq) {
            let stored = stored?;
            if stored.span.first_seq > seq {
                break;
            }
            // What the ledger left aside is stored, too, and was not verified.
            if let Some(hash) = self.verified.hash_of(stored.place, seq) {
                return Ok(Some(hash));
            }
        }
        Ok(None)
    }
}

/// The record of a branch: whether it is the one held (1), the hash of the last event before it (32), the run.
fn branch_record(before: &EventHash, behind: Option<EventHash>, run: &Run) -> Vec<u8> {
    let first = run.placed_events(*before).next().map(|event| event.hash);
    let is_held = behind.is_some() && first == behind;
    [&[u8::from(is_held)][..], &before.0, run.bytes()].concat()
}

/// A branch as a record of the journal has it.
pub(crate) struct StoredBranch {
    before: EventHash,
    /// The branch's first event, if it is the branch that was held when this was written.
    behind: Option<EventHash>,
    run: Run,
}

impl StoredBranch {
    /// Reads a record.
    ///
    /// # Errors
    /// [`Refusal::MalformedEnvelope`], and those of [`Run::decode`].
    pub(crate) fn decode(bytes: &[u8]) -> Result<Self, Refusal> {
        let (is_held, rest) = bytes.split_first().ok_or(Refusal::MalformedEnvelope)?;
        let (before, run) = rest.split_first_chunk::<32>().ok_or(Refusal::MalformedEnvelope)?;
        let (before, run) = (EventHash(*before), Run::decode(run.to_vec())?);
        let first = run.placed_events(before).next().map(|event| event.hash);
        Ok(Self { before, behind: first.filter(|_| *is_held == 1), run })
    }

    /// The proof that this and the next record are of, and the event that was held behind the fork.
    ///
    /// # Errors
    /// [`Refusal::MalformedEnvelope`] if they are not two branches of one fork.
    pub(crate) fn with(self, other: Self) -> Result<(ForkProof, Option<EventHash>), Refusal> {
        let behind = self.behind.or(other.behind);
        let proof = ForkProof::new(self.before, self.run, other.run).filter(|_| self.before == other.before);
        Ok((proof.ok_or(Refusal::MalformedEnvelope)?, behind))
    }
}
