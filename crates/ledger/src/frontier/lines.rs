//! Lines of a chain: what is held at the place of a cut, and forks.

use std::sync::Arc;

use crate::fork::{Fork, ForkProof};
use crate::ids::{ChainId, EventHash};
use crate::refusal::Refusal;
use crate::roster::Cut;

use super::Ledger;

impl Ledger {
    /// The chains that are held beyond their device's cut, and of which it is not known whether what is held in that
    /// place is what the cut names: the chain, and how many events the cut lets stand. Answer with
    /// [`Ledger::note_at_cut`].
    pub fn unknown_at_cut(&self) -> impl Iterator<Item = (ChainId, u64)> {
        self.chains.values().filter_map(|chain| {
            let end = self.roster.retired_at(&chain.start)?;
            let is_known = chain.at_cut.is_some_and(|at_cut| at_cut.count == end.count);
            let is_held = end.count > 0 && chain.tip.next_seq >= end.count;
            (is_held && !is_known).then_some((chain.start.chain, end.count))
        })
    }

    /// Notes the hash of the event up to which so many of a chain are held.
    pub fn note_at_cut(&mut self, chain: ChainId, count: u64, hash: EventHash) {
        let Some(held) = self.chains.get_mut(&chain) else { return };
        held.at_cut = Some(Cut { count, hash });
        if held.fork.is_some() {
            self.fold_roster();
        }
    }

    /// Looks at a fork. `before` is the hash of the event before the branches, as it is held here. True if it says
    /// something new. Changes nothing.
    ///
    /// # Errors
    /// A [`Refusal`]: [`Refusal::OutOfOrder`] where the chain is not held that far yet, [`Refusal::Forked`] if the branches
    /// do not leave what is held here: then there is a lower fork.
    pub fn check_fork(&self, proof: &ForkProof, before: Option<EventHash>) -> Result<bool, Refusal> {
        let chain = self.chains.get(&proof.chain()).ok_or(Refusal::UnknownChain)?;
        let base = proof.base();
        if chain.tip.next_seq < base.count || (base.count == 0 && self.is_anchored_by_hand(&chain.start)) {
            return Err(Refusal::OutOfOrder);
        }
        let fork = Fork::new(proof.clone(), &self.crew, &chain.start)?;
        if before != Some(base.hash) {
            return Err(Refusal::Forked);
        }
        let end = self.roster.retired_at(&chain.start);
        let known = chain.fork.as_ref().map(|known| known.proof().base().count);
        Ok(match end {
            // What a retirement names stands, whatever is found later.
            Some(end) if chain.at_cut == Some(end) || end.count <= base.count => false,
            Some(end) if fork.branch_to(&end).is_some() => !self.roster.reaches(&chain.start, &end),
            Some(_) | None => known.is_none_or(|known| base.count < known),
        })
    }

    /// Records a fork that is now durable, in place of one that lies higher. `behind` is the hash of the event that is
    /// held here behind the last that the branches share.
    pub fn take_in_fork(&mut self, proof: ForkProof, behind: Option<EventHash>) {
        let crew = self.crew;
        let Some(chain) = self.chains.get_mut(&proof.chain()) else { return };
        let start = chain.start;
        let Ok(fork) = Fork::new(proof, &crew, &start) else { return };
        let fork = Arc::new(fork.with_held(behind));
        chain.fork = Some(Arc::clone(&fork));
        self.note_roster_events(start, fork.proof().events());
        self.fold_roster();
    }

    /// Whether a line of this chain is to be looked for when a peer's does not continue the one held here: no fork is
    /// known that tells why, or a retirement names a line that is not held.
    #[must_use]
    pub fn lacks_line(&self, chain: &ChainId) -> bool {
        self.chains.get(chain).is_some_and(|chain| match self.roster.retired_at(&chain.start) {
            Some(end) => chain.at_cut != Some(end) && !self.roster.reaches(&chain.start, &end),
            None => chain.fork.is_none(),
        })
    }

    /// Whether a chain is held as far as a retirement lets it stand, and in another line than the one that counts.
    #[must_use]
    pub fn holds_another_line(&self, chain: &ChainId) -> bool {
        self.chains.get(chain).is_some_and(|chain| {
            let end = self.roster.retired_at(&chain.start).filter(|end| chain.tip.next_seq >= end.count);
            end.is_some_and(|end| chain.at_cut != Some(end) && !self.roster.reaches(&chain.start, &end))
        })
    }
}
