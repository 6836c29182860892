//! What counts, by what devices that are there hold: a chain counts up to where the lines part that its device wrote
//! after it was set back, and up to where a retirement cuts it. What is behind is set aside, and kept; and so is all of a
//! device that nothing lets in which counts itself.
//!
//! Retirements are the laptop's alone, which is the root of the crew, so that no cut decides about another.

use std::collections::{BTreeMap, BTreeSet};

use daemon::Node;
use ledger::{ChainId, DeviceKey, EventHash};

use crate::model::Model;

/// How many events of a chain, and the last of them.
pub(crate) type End = (u64, EventHash);

/// The last events of the lines of each chain that somebody holds.
pub type Lines = BTreeMap<ChainId, BTreeSet<EventHash>>;

/// A retirement as it was written.
#[derive(Debug)]
pub(crate) struct Retirement {
    /// The event.
    pub(crate) event: EventHash,
    /// Whose chains end.
    pub(crate) device: DeviceKey,
    /// Where; a chain that is not named counts for nothing.
    pub(crate) cuts: BTreeMap<ChainId, End>,
}

/// What is held, and what of it counts.
#[derive(Debug, Default)]
pub struct Counted {
    /// Where each chain ends, of those that count at all.
    pub(crate) ends: BTreeMap<ChainId, End>,
    /// Where the lines part of chains that have more than one.
    pub(crate) forks: BTreeMap<ChainId, u64>,
    events: BTreeSet<EventHash>,
    held: BTreeSet<EventHash>,
}

impl Counted {
    /// Whether an event has a place that counts.
    #[must_use]
    pub fn counts(&self, hash: &EventHash) -> bool {
        self.events.contains(hash)
    }

    /// Whether somebody holds an event.
    #[must_use]
    pub fn holds(&self, hash: &EventHash) -> bool {
        self.held.contains(hash)
    }

    fn end_at(&mut self, chain: ChainId, line: &[EventHash], count: u64) {
        let counted = line.get(..usize::try_from(count).unwrap_or(usize::MAX)).unwrap_or(line);
        self.events.extend(counted);
        if let Some(last) = counted.last() {
            self.ends.insert(chain, (counted.len() as u64, *last));
        }
    }
}

/// The lines that a node holds: those of its journal, and the branches of the forks that it can prove.
pub fn lines_of(node: &Node) -> Lines {
    let mut lines = Lines::new();
    for chain in node.ledger().chains().filter(|chain| chain.tip.next_seq > 0) {
        let own = lines.entry(chain.start.chain).or_default();
        own.insert(chain.tip.hash);
        let Some(proof) = chain.fork.as_ref().map(|fork| fork.proof()) else { continue };
        own.extend(proof.branches().iter().filter_map(|run| {
            let last = run.placed_events(proof.base().hash).last();
            last.map(|event| event.hash)
        }));
    }
    lines
}

impl Model {
    /// What counts where these lines are held.
    #[must_use]
    pub fn counted(&self, lines: &Lines) -> Counted {
        let mut counted = Counted::default();
        let lines: BTreeMap<ChainId, Vec<Vec<EventHash>>> = lines
            .iter()
            .map(|(chain, ends)| (*chain, ends.iter().map(|end| self.line_to(*end)).collect()))
            .collect();
        for (chain, lines) in &lines {
            counted.held.extend(lines.iter().flatten());
            let longest = lines.iter().max_by_key(|line| line.len()).map(Vec::as_slice).unwrap_or_default();
            let shared = shared_by_all(lines, longest);
            if shared < longest.len() {
                counted.forks.insert(*chain, shared as u64);
            }
            counted.end_at(*chain, longest, shared as u64);
        }
        let retirements = self.retirements().iter().filter(|retired| counted.events.contains(&retired.event));
        let retirements: Vec<&Retirement> = retirements.collect();
        for (chain, lines) in &lines {
            let own = retirements.iter().filter(|retired| self.writer(chain) == Some(retired.device));
            // Of several cuts the lowest counts.
            let Some(cut) = own.map(|retired| retired.cuts.get(chain).copied()).min() else { continue };
            let shared = counted.forks.get(chain).copied();
            for hash in lines.iter().flatten() {
                counted.events.remove(hash);
            }
            counted.ends.remove(chain);
            let Some((count, hash)) = cut else { continue };
            let named = lines.iter().find(|line| line.contains(&hash));
            let Some(line) = named.or(lines.first()) else { continue };
            let longest = lines.iter().max_by_key(|line| line.len()).unwrap_or(line);
            match (named, shared) {
                // A retirement that names one of the lines says which counts.
                (Some(named), _) => counted.end_at(*chain, named, count),
                (None, Some(shared)) => counted.end_at(*chain, longest, shared.min(count)),
                (None, None) => counted.end_at(*chain, longest, count),
            }
        }
        self.leave_out_strangers(&mut counted);
        counted
    }

    /// Leaves out the chains of devices that nothing lets in which counts.
    fn leave_out_strangers(&self, counted: &mut Counted) {
        let mut known: BTreeSet<DeviceKey> = self.founder().into_iter().collect();
        loop {
            let is_heard = |hash: &EventHash| {
                let writer = self.placed(hash).and_then(|placed| self.writer(&placed.chain));
                counted.events.contains(hash) && writer.is_some_and(|writer| known.contains(&writer))
            };
            let let_in = self.admissions().iter().filter(|(event, _)| is_heard(event));
            let let_in: BTreeSet<DeviceKey> = let_in.map(|(_, device)| *device).collect();
            if let_in.is_subset(&known) {
                break;
            }
            known.extend(let_in);
        }
        let is_known = |chain: &ChainId| self.writer(chain).is_some_and(|writer| known.contains(&writer));
        counted.ends.retain(|chain, _| is_known(chain));
        let of_known = |hash: &EventHash| self.placed(hash).is_some_and(|placed| is_known(&placed.chain));
        counted.events.retain(of_known);
    }

    /// A line from its first event to this one.
    fn line_to(&self, end: EventHash) -> Vec<EventHash> {
        let mut line = Vec::new();
        let mut at = Some(end);
        while let Some(hash) = at {
            let Some(placed) = self.placed(&hash) else { break };
            line.push(hash);
            at = (placed.seq > 0).then_some(placed.before);
        }
        line.reverse();
        line
    }
}

/// How many events the longest line has until another leaves it.
fn shared_by_all(lines: &[Vec<EventHash>], longest: &[EventHash]) -> usize {
    let until = |line: &Vec<EventHash>| {
        let alike = line.iter().zip(longest).take_while(|(one, other)| one == other).count();
        // One that ends there goes no other way.
        if alike == line.len() { longest.len() } else { alike }
    };
    lines.iter().map(until).min().unwrap_or_default()
}
