//! Forks: finding where two lines of a chain part, and passing on the proof.
//!
//! Whoever meets a run that does not continue what it holds asks the peer for runs from further and further
//! down until one does, and then closes in on the place where they part. The shell compares; what comes out is a proof
//! that both sides keep and send to whoever counts the chain otherwise.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use ledger::fork::{Comparison, MAX_BRANCH};
use ledger::run::MAX_RUN;
use ledger::{ChainId, ForkProof, Ledger, Refusal, Run};

use crate::message;
use crate::output::Output;
use crate::sending::Sending;
use crate::tips::{Tip, Tips};

/// Most runs that are asked for, or shown, in a session: to close in on a place among a million events takes 40.
const MAX_ASKED: usize = 128;
/// Within so many events the next run is asked for, not one in the middle.
const CLOSE_BY: u64 = 1024;
/// Most bytes of a proof.
const MAX_PROOF: usize = 2 * MAX_BRANCH + 64;

/// A frame whose content goes on in the next.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Part {
    /// Of a run that this side asked to see.
    Shown,
    /// Of a proof.
    Fork,
}

/// The search for the place where the peer's line of a chain leaves the one that is held here.
#[derive(Debug)]
struct Search {
    chain: ChainId,
    /// The run that is asked for.
    from_seq: u64,
    /// All before this is the same.
    same: Option<u64>,
    /// A run from here on did not continue what is held.
    other: u64,
    step: u64,
}

impl Search {
    /// Where to ask next; none when there is nowhere to look.
    fn next(&mut self, outcome: &Comparison, reached: u64) -> Option<u64> {
        match outcome {
            Comparison::Same => self.same = Some(reached),
            Comparison::Elsewhere if self.same == Some(self.from_seq) || self.from_seq == 0 => return None,
            Comparison::Elsewhere => self.other = self.from_seq,
            Comparison::Forked(_) => return None,
        }
        let from_seq = match self.same {
            None => {
                self.step = self.step.saturating_mul(2);
                self.from_seq.saturating_sub(self.step)
            }
            Some(same) if same >= self.other => return None,
            Some(same) if self.other - same <= CLOSE_BY => same,
            Some(same) => same + (self.other - same) / 2,
        };
        self.from_seq = from_seq;
        Some(from_seq)
    }
}

/// What a session knows of forks.
#[derive(Debug, Default)]
pub(crate) struct Forks {
    /// What the peer counts, as far as it has said so.
    announced: Tips,
    /// The bases of the proofs that were sent.
    sent: BTreeMap<ChainId, u64>,
    /// The parts so far of what is not whole yet.
    parts: Option<(Part, Vec<u8>)>,
    /// Proofs that wait until what came before them is durable.
    arrived: VecDeque<ForkProof>,
    /// Given to the shell, and not answered yet.
    storing: usize,
    search: Option<Search>,
    /// Chains that were searched, or wait for it.
    suspected: BTreeSet<ChainId>,
    to_search: VecDeque<ChainId>,
    /// The run that the shell is asked for, to show it.
    showing: Option<(ChainId, u64)>,
    asked: usize,
    shown: usize,
}

impl Forks {
    /// Notes how far the peer counts chains.
    pub(crate) fn note(&mut self, announced: Tips) {
        self.announced.extend(announced);
    }

    /// The chains of which both count as many events, and not the same.
    pub(crate) fn parted(&self, ledger: &Ledger) -> Vec<ChainId> {
        let parted = self.announced.iter().filter(|(chain, tip)| {
            let own = ledger.chain(chain).map(|own| Tip::from(ledger.counted_tip(own)));
            own.is_some_and(|own| own.next_seq == tip.next_seq && own != **tip)
        });
        parted.map(|(chain, _)| *chain).filter(|chain| !self.suspected.contains(chain)).collect()
    }

    pub(crate) const fn is_inside(&self) -> Option<Part> {
        match &self.parts {
            Some((part, _)) => Some(*part),
            None => None,
        }
    }

    /// A proof that waits holds up the frames behind it, so that no more than one does.
    pub(crate) fn wants_frames(&self) -> bool {
        self.arrived.is_empty()
    }

    pub(crate) fn is_idle(&self) -> bool {
        self.parts.is_none()
            && self.arrived.is_empty()
            && self.storing == 0
            && self.search.is_none()
            && self.to_search.is_empty()
            && self.showing.is_none()
    }

    /// Begins to look where the peer's line of a chain parts from the one held here, once a session.
    pub(crate) fn suspect(&mut self, chain: ChainId) {
        if self.suspected.insert(chain) {
            self.to_search.push_back(chain);
        }
    }

    /// Adds a part.
    ///
    /// # Errors
    /// [`Refusal::UnexpectedFrame`] for what was not asked for, and those of what is put together.
    pub(crate) fn add_part(
        &mut self,
        part: Part,
        last: bool,
        bytes: &[u8],
    ) -> Result<Option<Output>, Refusal> {
        if part == Part::Shown && self.search.is_none() {
            return Err(Refusal::UnexpectedFrame);
        }
        let (_, whole) = self.parts.get_or_insert_with(|| (part, Vec::new()));
        let limit = match part {
            Part::Shown => MAX_RUN,
            Part::Fork => MAX_PROOF,
        };
        if whole.len() + bytes.len() > limit {
            return Err(Refusal::TooLarge);
        }
        whole.extend_from_slice(bytes);
        if !last {
            return Ok(None);
        }
        let whole = self.parts.take().map(|(_, whole)| whole).unwrap_or_default();
        match part {
            Part::Fork => {
                self.arrived.push_back(ForkProof::decode(&whole)?);
                Ok(None)
            }
            // The peer can't show it: it is left at that.
            Part::Shown if whole.is_empty() => {
                self.search = None;
                Ok(None)
            }
            Part::Shown => {
                let run = Run::decode(whole)?;
                let expected = self
                    .search
                    .as_ref()
                    .is_some_and(|search| (search.chain, search.from_seq) == (run.chain(), run.first_seq()));
                if expected { Ok(Some(Output::Compare(run))) } else { Err(Refusal::UnexpectedFrame) }
            }
        }
    }

    /// Notes what became of a comparison, and goes on looking.
    pub(crate) fn handle_compared(&mut self, reached: u64, outcome: Comparison, sending: &mut Sending) {
        let Some(search) = &mut self.search else { return };
        let next = search.next(&outcome, reached).filter(|_| self.asked < MAX_ASKED);
        match next {
            Some(from_seq) => {
                self.asked += 1;
                sending.push(message::run_asked(&search.chain, from_seq));
            }
            None => self.search = None,
        }
        if let Comparison::Forked(proof) = outcome {
            self.arrived.push_back(proof);
        }
    }

    /// Answers the peer's asking for a run.
    ///
    /// # Errors
    /// [`Refusal::UnexpectedFrame`] before the last is answered, [`Refusal::TooMuchClaimed`].
    pub(crate) fn handle_asked(&mut self, chain: ChainId, from_seq: u64) -> Result<Output, Refusal> {
        if self.showing.is_some() {
            return Err(Refusal::UnexpectedFrame);
        }
        if self.shown >= MAX_ASKED {
            return Err(Refusal::TooMuchClaimed);
        }
        self.shown += 1;
        self.showing = Some((chain, from_seq));
        Ok(Output::Show { chain, from_seq })
    }

    pub(crate) fn handle_shown(&mut self, run: Option<Run>, sending: &mut Sending) {
        let Some((chain, from_seq)) = self.showing.take() else { return };
        let run = run.filter(|run| run.chain() == chain && run.first_seq() <= from_seq);
        let run = run.and_then(|run| run.starting_at(from_seq));
        message::shown_parts(run.as_ref().map_or(&[][..], Run::bytes)).for_each(|frame| sending.push(frame));
    }

    /// Notes that the shell is done with a proof. What lies further down is looked for.
    pub(crate) fn handle_stored(&mut self, chain: ChainId, outcome: Result<(), Refusal>) {
        self.storing = self.storing.saturating_sub(1);
        if outcome.is_err() {
            // The branches leave a line that is not the one held here.
            self.suspect(chain);
        }
    }

    /// The next thing to do. Proofs wait until all that came before them is durable.
    pub(crate) fn next(&mut self, is_idle: bool, ledger: &Ledger, sending: &mut Sending) -> Option<Output> {
        if is_idle && let Some(proof) = self.arrived.pop_front() {
            self.storing += 1;
            return Some(Output::StoreFork(proof));
        }
        while self.search.is_none() {
            let chain = self.to_search.pop_front()?;
            // The peer shows nothing of what it does not hold.
            let announced = self.announced.get(&chain).map_or(u64::MAX, |tip| tip.next_seq);
            let held = ledger.chain(&chain).map_or(0, |held| held.tip.next_seq.min(announced));
            let Some(from_seq) = held.checked_sub(1).filter(|_| self.asked < MAX_ASKED) else { continue };
            self.asked += 1;
            sending.push(message::run_asked(&chain, from_seq));
            self.search = Some(Search { chain, from_seq, same: None, other: held, step: 1 });
        }
        None
    }

    /// Sends the proofs of forks to a peer that counts their chains otherwise.
    pub(crate) fn send_proofs(&mut self, ledger: &Ledger, sending: &mut Sending) {
        for chain in ledger.chains() {
            let (id, Some(fork)) = (chain.start.chain, &chain.fork) else { continue };
            let base = fork.proof().base().count;
            let counted = Tip::from(ledger.counted_tip(chain));
            let counts_alike = match self.announced.get(&id) {
                Some(tip) => *tip == counted,
                None => counted.next_seq == 0,
            };
            if counts_alike || self.sent.get(&id) == Some(&base) {
                continue;
            }
            self.sent.insert(id, base);
            message::fork_parts(&fork.proof().encode()).for_each(|frame| sending.push(frame));
        }
    }
}
