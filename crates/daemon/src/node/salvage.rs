//! Taking in what another journal of the crew holds, as from a peer that can only give: signatures, admissions, cuts and
//! forks decide as they do of what a peer sends, and nothing is believed because it lay on a disk.

use std::collections::{BTreeMap, BTreeSet};

use ledger::fork::Comparison;
use ledger::frontier::Chain;
use ledger::roster::Cut;
use ledger::sabotage::Fault;
use ledger::{ChainId, ChainStart, DeviceKey, Payload, Refusal, Run};
use store::{ReadError, RecordKind, Store};

use super::{Node, joined_run};
use crate::error::NodeError;
use crate::node::forks::StoredBranch;

/// Of about so many events beyond a cut it is told what they say.
const TOLD: u64 = 256;
/// About how many bytes of runs are checked and made durable at once.
const BATCH_BYTES: usize = 1024 * 1024;

/// What came of another journal.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Salvaged {
    /// How many events were not here before.
    pub new: u64,
    /// How many were.
    pub held: u64,
    /// What was not taken in.
    pub left: Vec<Left>,
    /// The places that could not be read.
    pub damage: Vec<String>,
    /// How many records only a later program can read.
    pub of_later: u64,
}

/// Events of a device that were not taken in.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Left {
    /// The device; none where the damage took what says whose they are.
    pub device: Option<DeviceKey>,
    /// Why.
    pub why: WhyLeft,
    /// How many.
    pub events: u64,
    /// What the first of them say, where they were written beyond a cut: people may want to enter it again.
    pub said: Vec<Payload>,
}

/// Why events were not taken in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum WhyLeft {
    /// They are of another line than the one that counts up to the fork: they are set aside.
    Forked,
    /// A rule that they break.
    Refused(Refusal),
}

/// What was read of a chain.
#[derive(Debug, Default)]
struct Line {
    /// The number after the last event that was read, and how many were read: fewer, where some are damaged.
    reach: u64,
    read: u64,
    /// Why the first run was refused that was, and how many events are in such runs.
    refusal: Option<Refusal>,
    refused: u64,
    /// The first runs that were refused, where they go on beyond a cut.
    beyond: Vec<Run>,
    /// The last run, if as much of the chain was held before: whether it is the same line is not known by that.
    known: Option<Run>,
}

/// What was read of another journal, and is not stored yet.
#[derive(Default)]
struct Seen {
    starts: BTreeMap<ChainId, ChainStart>,
    /// The chains that are new here and may be taken in.
    begun: BTreeSet<ChainId>,
    lines: BTreeMap<ChainId, Line>,
    batch: Vec<Run>,
    batch_bytes: usize,
    branch: Option<StoredBranch>,
    unreadable: u64,
}

impl Node {
    /// Takes in what another journal of the crew holds and this one lacks. `say` is told how many bytes are read, of
    /// how many. Broken off anywhere and done again, it goes on.
    ///
    /// # Errors
    /// A journal of another crew, or the disk's. What was taken in before that stays.
    pub fn salvage(&mut self, old: &mut Store, say: &dyn Fn(u64, u64)) -> Result<Salvaged, NodeError> {
        if old.crew() != self.crew() {
            return Err(NodeError::bad_input(
                "that folder is another crew's; only what this crew's devices wrote can be taken in",
            ));
        }
        self.leave_chains_that_go_on_in(old);
        let tips = |node: &Self| node.ledger.chains().map(|chain| chain.tip.next_seq).sum::<u64>();
        let forks = |node: &Self| -> Vec<Cut> {
            let known = node.ledger.chains().filter_map(|chain| chain.fork.as_ref());
            known.map(|fork| fork.proof().base()).collect()
        };
        let held_before = tips(self);
        loop {
            let forks_before = forks(self);
            let mut salvaged = self.read_through(old, say)?;
            // Who was let in behind a fork is known by its proof, and what they wrote came before that was found.
            if forks(self) != forks_before {
                continue;
            }
            salvaged.new = tips(self) - held_before;
            let left: u64 = salvaged.left.iter().map(|left| left.events).sum();
            salvaged.held = salvaged.held.saturating_sub(salvaged.new + left);
            return Ok(salvaged);
        }
    }

    /// Reads another journal from its beginning to its end, and takes in what it can. All that was read is given as held.
    fn read_through(&mut self, old: &mut Store, say: &dyn Fn(u64, u64)) -> Result<Salvaged, NodeError> {
        let (mut seen, mut salvaged) = (Seen::default(), Salvaged::default());
        let (mut done, of) = (0, old.length()?);
        old.replay::<NodeError>(None, |_, record| {
            done += record.bytes.len() as u64;
            match record.kind {
                RecordKind::ChainDeclaration => {
                    if let Ok(start) = ChainStart::decode(record.bytes) {
                        seen.starts.entry(start.chain).or_insert(start);
                    }
                }
                RecordKind::Run => match Run::decode(record.bytes.to_vec()) {
                    Ok(run) => self.salvage_run(&mut seen, run)?,
                    Err(_) => seen.unreadable += 1,
                },
                RecordKind::Branch => self.salvage_branch(&mut seen, record.bytes)?,
                RecordKind::Lost => {}
                RecordKind::Unknown(_) => salvaged.of_later += 1,
            }
            if seen.batch_bytes >= BATCH_BYTES {
                self.store_batch(&mut seen)?;
                say(done.min(of), of);
            }
            Ok(())
        })?;
        if Fault::LeaveLastOfFolder.is_set() {
            seen.batch.pop();
        }
        self.store_batch(&mut seen)?;
        salvaged.damage = old.opening().damage.iter().map(ToString::to_string).collect();
        salvaged.held = seen.lines.values().map(|line| line.read).sum();
        for (chain, line) in std::mem::take(&mut seen.lines) {
            let (why, events) = self.settle_line(old, chain, &line)?;
            if events > 0 {
                let held = self.ledger.chain(&chain);
                let start = held.map(|held| held.start).or(seen.starts.get(&chain).copied());
                let said = held.map(|held| self.said_behind(held, line.beyond)).unwrap_or_default();
                salvaged.leave(Left { device: start.map(|start| start.device), why, events, said });
            }
        }
        if seen.unreadable > 0 {
            let (why, said) = (WhyLeft::Refused(Refusal::MalformedEnvelope), Vec::new());
            salvaged.leave(Left { device: None, why, events: seen.unreadable, said });
        }
        say(of, of);
        Ok(salvaged)
    }

    /// Takes a run along, unless it is of a chain that nothing lets in.
    fn salvage_run(&mut self, seen: &mut Seen, run: Run) -> Result<(), NodeError> {
        let chain = run.chain();
        if self.ledger.chain(&chain).is_none() && !seen.begun.contains(&chain) {
            // What lets it in may be among what was read just before.
            self.store_batch(seen)?;
            if let Err(refusal) = self.may_begin(seen, &run) {
                seen.note(run, 0, Err(refusal));
                return Ok(());
            }
            seen.begun.insert(chain);
        }
        seen.batch_bytes += run.bytes().len();
        seen.batch.push(run);
        Ok(())
    }

    /// Whether a run may be the first of a chain. A ledger that holds nothing begins with the founding, whoever
    /// gives it.
    fn may_begin(&self, seen: &Seen, run: &Run) -> Result<(), Refusal> {
        let start = seen.starts.get(&run.chain()).ok_or(Refusal::UnknownChain)?;
        let holds_nothing = self.ledger.chains().all(|chain| chain.tip.next_seq == 0);
        match run.first_seq() {
            0 if holds_nothing || self.ledger.admits(start, run) => Ok(()),
            0 => Err(Refusal::NotAdmitted),
            _ => Err(Refusal::OutOfOrder),
        }
    }

    /// Checks what was read, and makes durable what is new in it.
    fn store_batch(&mut self, seen: &mut Seen) -> Result<(), NodeError> {
        seen.batch_bytes = 0;
        let runs = std::mem::take(&mut seen.batch);
        let held = |run: &Run| self.ledger.chain(&run.chain()).map_or(0, |held| held.tip.next_seq);
        let held: Vec<u64> = runs.iter().map(held).collect();
        let starts = &seen.starts;
        let outcomes = self.store_runs(|chain| starts.get(chain).copied(), &runs)?;
        for ((run, held), outcome) in runs.into_iter().zip(held).zip(outcomes) {
            seen.note(run, held, outcome);
        }
        Ok(())
    }

    /// Takes in a fork that the other journal knows of, once both of its branches are read.
    fn salvage_branch(&mut self, seen: &mut Seen, bytes: &[u8]) -> Result<(), NodeError> {
        let Ok(branch) = StoredBranch::decode(bytes) else {
            seen.unreadable += 1;
            return Ok(());
        };
        let Some(first) = seen.branch.take() else {
            seen.branch = Some(branch);
            return Ok(());
        };
        self.store_batch(seen)?;
        if let Ok((proof, _)) = first.with(branch) {
            // One that does not fit what is held leaves another line, which is looked for when all is read.
            let _ = self.store_fork(proof)?;
        }
        Ok(())
    }

    /// Looks whether the line that was read of a chain is the one that is held here. Gives how many events of it were not
    /// taken in, and why.
    fn settle_line(
        &mut self,
        old: &mut Store,
        chain: ChainId,
        line: &Line,
    ) -> Result<(WhyLeft, u64), NodeError> {
        let parts = match &line.known {
            Some(run) => self.compare(run)? != Comparison::Same,
            None => false,
        };
        let is_refused = matches!(line.refusal, Some(Refusal::Forked | Refusal::BeyondCut));
        let mut parted_at = None;
        if parts || (is_refused && self.ledger.lacks_line(&chain)) {
            parted_at = self.find_fork(old, chain)?;
        }
        let held = self.ledger.chain(&chain);
        let tip = held.map_or(0, |held| held.tip.next_seq);
        let base = held.and_then(|held| held.fork.as_ref()).map(|fork| fork.proof().base().count);
        let is_behind_fork = parts || line.refusal == Some(Refusal::Forked);
        let refusal = line.refusal.unwrap_or(Refusal::Forked);
        let (why, from) = match (base.filter(|_| is_behind_fork), parted_at, &line.known) {
            (Some(base), ..) => (WhyLeft::Forked, base),
            // The lines part where nothing counts any more.
            (None, Some(base), _) => (WhyLeft::Refused(Refusal::BeyondCut), base),
            (None, None, Some(run)) if parts => (WhyLeft::Refused(refusal), run.first_seq()),
            // Where some are damaged, fewer were refused than are behind what is held.
            (None, None, _) => (WhyLeft::Refused(refusal), tip.max(line.reach.saturating_sub(line.refused))),
        };
        Ok((why, line.reach.saturating_sub(from)))
    }

    /// What runs say that go on behind what is held of a chain, as far as its device signed them and this one reads them.
    fn said_behind(&self, held: &Chain, runs: Vec<Run>) -> Vec<Payload> {
        let (mut tip, mut said) = (held.tip, Vec::new());
        for run in runs {
            let Some(run) = run.starting_at(tip.next_seq) else { continue };
            let Ok(after) = run.verify(&self.crew(), &held.start, &tip) else { break };
            let events = run.placed_events(tip.hash);
            said.extend(events.filter_map(|event| {
                Payload::open(held.start.chain, event.seq, &event.view, &self.keys).ok()
            }));
            tip = after;
        }
        said
    }

    /// Finds where the other journal's line of a chain leaves the one that is held here, keeps the proof, and gives the
    /// place. Behind it nothing continues what is held, and before it all is the same.
    fn find_fork(&mut self, old: &mut Store, chain: ChainId) -> Result<Option<u64>, NodeError> {
        let (mut same, mut other) = (0, self.ledger.chain(&chain).map_or(0, |held| held.tip.next_seq));
        while same < other {
            let from = same + (other - same) / 2;
            let shown = match joined_run(old.runs(chain, from), from, |_| true) {
                Err(NodeError::Read(ReadError::Damaged(_)) | NodeError::Refused(_)) => None,
                found => found?,
            };
            match shown.map(|run| self.compare(&run)).transpose()? {
                Some(Comparison::Same) => same = from + 1,
                Some(Comparison::Elsewhere) | None => other = from,
                // Shown from there on, the branches reach as far as they can.
                Some(Comparison::Forked(proof)) if proof.base().count > from => {
                    (same, other) = (proof.base().count, proof.base().count + 1);
                }
                Some(Comparison::Forked(proof)) => {
                    // Whether it says something new is the ledger's to know; what it refuses stays as it is.
                    let _ = self.store_fork(proof)?;
                    return Ok(Some(from));
                }
            }
        }
        Ok(None)
    }
}

impl Salvaged {
    /// Adds what was not taken in: of a device and for a reason once, however many chains it is of.
    fn leave(&mut self, left: Left) {
        match self.left.iter_mut().find(|other| (other.device, other.why) == (left.device, left.why)) {
            Some(other) => {
                other.events += left.events;
                other.said.extend(left.said);
            }
            None => self.left.push(left),
        }
    }
}

impl Seen {
    /// Notes what became of a run, of whose chain so many events were held before it was read.
    fn note(&mut self, run: Run, held: u64, outcome: Result<(), Refusal>) {
        let line = self.lines.entry(run.chain()).or_default();
        let events = run.next_seq().saturating_sub(run.first_seq().max(line.reach));
        line.read += events;
        line.reach = line.reach.max(run.next_seq());
        match outcome {
            Ok(()) => line.known = Some(run).filter(|run| run.next_seq() <= held),
            Err(refusal) => {
                line.refused += events;
                let first = *line.refusal.get_or_insert(refusal);
                if first == Refusal::BeyondCut && line.refused <= TOLD {
                    line.beyond.push(run);
                }
            }
        }
    }
}
