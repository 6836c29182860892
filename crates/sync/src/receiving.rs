//! What comes in: runs put together from their parts, and held back until what admits their device
//! is durable.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use ledger::run::MAX_RUN;
use ledger::{ChainId, ChainStart, Ledger, Refusal, Run};

use crate::output::Output;

/// Most chains that a peer may announce in one session. A crew of six that changes its devices
/// every month for twenty years has fewer.
pub(crate) const MAX_CHAINS: usize = 4096;

/// How many bytes of runs may wait to be made durable before no more frames are wanted: while one group
/// of the journal is written, the next gathers.
const MAX_WAITING: usize = 8 * 1024 * 1024;

/// Whether a chain can be taken in.
enum Verdict {
    /// The ledger will take it.
    Take,
    /// What admits its device may still become durable.
    Wait,
    /// Nothing that is held or under way admits its device.
    NotAdmitted,
}

/// The receiving side of a session.
#[derive(Debug, Default)]
pub(crate) struct Receiving {
    /// The parts so far of a run that is not whole yet.
    parts: Vec<u8>,
    /// Whole runs that are held back.
    arrived: VecDeque<Run>,
    arrived_bytes: usize,
    /// Runs that were given to the shell and are not durable yet.
    unstored: VecDeque<(ChainId, usize)>,
    unstored_bytes: usize,
    /// The chains that were announced in this session.
    starts: BTreeMap<ChainId, ChainStart>,
    /// Those of them that were given to the shell.
    taken: BTreeSet<ChainId>,
    /// The chains that are left out of this session.
    set_aside: BTreeSet<ChainId>,
}

impl Receiving {
    pub(crate) fn wants_frames(&self) -> bool {
        self.arrived_bytes + self.unstored_bytes < MAX_WAITING
    }

    pub(crate) fn is_idle(&self) -> bool {
        self.parts.is_empty() && self.arrived.is_empty() && self.unstored.is_empty()
    }

    pub(crate) fn is_inside_run(&self) -> bool {
        !self.parts.is_empty()
    }

    pub(crate) fn is_set_aside(&self, chain: &ChainId) -> bool {
        self.set_aside.contains(chain)
    }

    /// Leaves a chain out from now on. Gives what the shell is told, once.
    pub(crate) fn set_aside(&mut self, chain: ChainId, refusal: Refusal) -> Option<Output> {
        self.set_aside.insert(chain).then_some(Output::SetAside { chain, refusal })
    }

    /// Adds the part of a run. If the run is whole, gives its chain and the number after its last event.
    ///
    /// # Errors
    /// Those of [`Run::decode`].
    pub(crate) fn add_part(&mut self, last: bool, bytes: &[u8]) -> Result<Option<(ChainId, u64)>, Refusal> {
        if self.parts.len() + bytes.len() > MAX_RUN {
            return Err(Refusal::TooLarge);
        }
        if self.parts.is_empty() && !last {
            self.parts.reserve_exact(MAX_RUN); // There is more to come, and growing copies it again and again.
        }
        self.parts.extend_from_slice(bytes);
        if !last {
            return Ok(None);
        }
        let run = Run::decode(std::mem::take(&mut self.parts))?;
        let reached = (run.chain(), run.next_seq());
        self.arrived_bytes += run.bytes().len();
        self.arrived.push_back(run);
        Ok(Some(reached))
    }

    /// Adds a chain's start. It goes to the shell with the chain's first run, so that a peer can't
    /// fill the ledger with empty chains.
    ///
    /// # Errors
    /// [`Refusal::ChainChanged`], [`Refusal::TooMuchClaimed`], and [`Refusal::UnexpectedFrame`] the
    /// second time in a session.
    pub(crate) fn add_start(&mut self, start: ChainStart, ledger: &Ledger) -> Result<(), Refusal> {
        let held = ledger.chain(&start.chain).map(|held| held.start);
        if held.is_some_and(|held| held != start) {
            return Err(Refusal::ChainChanged);
        }
        match self.starts.get(&start.chain) {
            Some(before) if *before != start => return Err(Refusal::ChainChanged),
            Some(_) => return Err(Refusal::UnexpectedFrame),
            None if self.starts.len() >= MAX_CHAINS => return Err(Refusal::TooMuchClaimed),
            None => {}
        }
        self.starts.insert(start.chain, start);
        Ok(())
    }

    /// Notes that the shell is done with the oldest run of a chain.
    pub(crate) fn done(&mut self, chain: &ChainId) {
        if let Some(at) = self.unstored.iter().position(|(unstored, _)| unstored == chain)
            && let Some((_, bytes)) = self.unstored.remove(at)
        {
            self.unstored_bytes -= bytes;
        }
    }

    /// The next thing for the shell, if it can be done by now.
    ///
    /// # Errors
    /// A refusal of the peer.
    pub(crate) fn next(&mut self, ledger: &Ledger) -> Result<Option<Output>, Refusal> {
        while let Some(run) = self.arrived.front() {
            let chain = run.chain();
            if self.is_set_aside(&chain) {
                self.pop();
                continue;
            }
            if ledger.chain(&chain).is_some() || self.taken.contains(&chain) {
                return Ok(self.pop().map(|run| {
                    self.unstored.push_back((chain, run.bytes().len()));
                    self.unstored_bytes += run.bytes().len();
                    Output::Store(run)
                }));
            }
            let start = *self.starts.get(&chain).ok_or(Refusal::UnknownChain)?;
            return Ok(match self.judge(&start, run, ledger) {
                Verdict::Take => {
                    self.taken.insert(chain);
                    Some(Output::TakeInChain(start))
                }
                Verdict::Wait => None,
                Verdict::NotAdmitted => self.set_aside(chain, Refusal::NotAdmitted),
            });
        }
        Ok(None)
    }

    fn pop(&mut self) -> Option<Run> {
        let run = self.arrived.pop_front()?;
        self.arrived_bytes -= run.bytes().len();
        Some(run)
    }

    fn judge(&self, start: &ChainStart, run: &Run, ledger: &Ledger) -> Verdict {
        // The very first chain that a new device takes in is the founding one, and nothing admits its
        // device but its own first event. The ledger takes no other event then.
        // Chains may be known of which a damaged disk has lost every event.
        let holds_nothing = ledger.chains().all(|chain| chain.tip.next_seq == 0);
        let founding = holds_nothing && self.taken.is_empty();
        if founding || ledger.admits(start, run) {
            Verdict::Take
        } else if self.unstored.is_empty() {
            Verdict::NotAdmitted
        } else {
            Verdict::Wait
        }
    }
}
