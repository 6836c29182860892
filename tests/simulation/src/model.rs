//! The all-seeing model: every event that any device ever wrote, in one place, and what follows from all of them
//! by rules that are written down here a second time, plainly, without the ledger's and the projections' code.

use std::collections::{BTreeMap, BTreeSet};

use daemon::Node;
use ledger::site::Worked;
use ledger::{Body, ChainId, DeviceKey, EntryRef, EventHash, Payload};
use rust_decimal::Decimal;

use crate::device::tips;

/// What is broken: which rule, and how it showed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Broken {
    /// The rule, in a few words that stay the same.
    pub rule: &'static str,
    /// What was seen.
    pub seen: String,
}

impl Broken {
    /// A rule that does not hold.
    #[must_use]
    pub fn new(rule: &'static str, seen: impl Into<String>) -> Self {
        Self { rule, seen: seen.into() }
    }
}

impl std::fmt::Display for Broken {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(formatter, "{}: {}", self.rule, self.seen)
    }
}

/// No device may write two events in one place of a chain.
pub const FORKED: &str = "no honest device forks a chain";
/// All devices that hold a place of a chain hold the same there.
pub const SAME_CHAINS: &str = "a place in a chain holds one event everywhere";

/// What was just written can be read.
pub const READ_BACK: &str = "what was just written can be read";

/// A chain as it was written.
#[derive(Debug)]
struct Written {
    device: DeviceKey,
    hashes: Vec<EventHash>,
}

/// An event of the crew's that the model understands.
#[derive(Debug, Clone)]
pub struct Seen {
    /// Its hash.
    pub hash: EventHash,
    /// Its chain.
    pub chain: ChainId,
    /// Its place there.
    pub seq: u64,
    /// What it says.
    pub payload: Payload,
}

/// Everything that was ever written.
#[derive(Debug, Default)]
pub struct Model {
    chains: BTreeMap<ChainId, Written>,
    /// The events of each entry, with those that change it.
    entries: BTreeMap<EntryRef, Vec<Seen>>,
    /// For each retired device, how many events of each of its chains count at most; of a chain that is not
    /// named, none.
    cuts: BTreeMap<DeviceKey, BTreeMap<ChainId, u64>>,
}

impl Model {
    /// Takes note of what a device has written, and that it holds nothing that nobody wrote.
    ///
    /// # Errors
    /// [`FORKED`] or [`SAME_CHAINS`].
    pub fn observe(&mut self, node: &mut Node) -> Result<(), Broken> {
        let own = node.key();
        for (chain, (next_seq, hash)) in tips(node) {
            let known = self.chains.get(&chain).map_or(0, |written| written.hashes.len() as u64);
            let writer = node.ledger().chain(&chain).map(|held| held.start.device);
            if next_seq > known && writer == Some(own) {
                self.add(node, chain, own, known)?;
            }
            let written = self.chains.get(&chain);
            let at_tip = written.and_then(|written| {
                written.hashes.get(usize::try_from(next_seq).ok()?.checked_sub(1)?).copied()
            });
            if at_tip != Some(hash) {
                let rule = if writer == Some(own) { FORKED } else { SAME_CHAINS };
                let seen = format!("chain {}, {next_seq} events: {hash} is not {at_tip:?}", chain.short());
                return Err(Broken::new(rule, seen));
            }
        }
        Ok(())
    }

    fn add(&mut self, node: &mut Node, chain: ChainId, own: DeviceKey, known: u64) -> Result<(), Broken> {
        let unreadable = |why: String| Broken::new(READ_BACK, why);
        let start = node.ledger().chain(&chain).map(|held| held.start);
        let Some(start) = start else { return Err(unreadable(format!("chain {}", chain.short()))) };
        let first = node.ledger().first_tip(&start).hash;
        let written = self.chains.entry(chain).or_insert(Written { device: own, hashes: Vec::new() });
        let mut next_seq = known;
        loop {
            let run = node.read_run(chain, next_seq).map_err(|error| unreadable(error.to_string()))?;
            let Some(run) = run else { break };
            let before = written.hashes.last().copied().unwrap_or(first);
            for event in run.placed_events(before) {
                written.hashes.push(event.hash);
                let view = event.view;
                if let Ok(payload) = Payload::decode(view.kind, view.kind_version, view.payload) {
                    let seen = Seen { hash: event.hash, chain, seq: event.seq, payload };
                    Self::understand(&mut self.entries, &mut self.cuts, seen);
                }
            }
            next_seq = run.next_seq();
        }
        let held = node.ledger().chain(&chain).map_or(0, |held| held.tip.next_seq);
        if (written.hashes.len() as u64) < held {
            let there = written.hashes.len();
            return Err(unreadable(format!("chain {}: {there} of {held} events", chain.short())));
        }
        Ok(())
    }

    fn understand(
        entries: &mut BTreeMap<EntryRef, Vec<Seen>>,
        cuts: &mut BTreeMap<DeviceKey, BTreeMap<ChainId, u64>>,
        seen: Seen,
    ) {
        match &seen.payload.body {
            Body::Hours(_) | Body::Used(_) => {
                entries.entry(seen.payload.act.entry_ref()).or_default().push(seen);
            }
            Body::Corrected(changed) => entries.entry(changed.of).or_default().push(seen),
            Body::Struck(struck) => entries.entry(struck.of).or_default().push(seen),
            Body::Accepted(accepted) => entries.entry(accepted.of).or_default().push(seen),
            Body::DeviceRetired(retired) => {
                let named: BTreeMap<ChainId, u64> =
                    retired.cuts.iter().map(|cut| (cut.chain, cut.seq + 1)).collect();
                let counts = cuts.entry(retired.device).or_insert_with(|| named.clone());
                // Of several cuts the lowest counts, and a chain that one of them does not name counts nowhere.
                counts.retain(|chain, _| named.contains_key(chain));
                for (chain, count) in counts.iter_mut() {
                    *count = (*count).min(named.get(chain).copied().unwrap_or_default());
                }
            }
            _ => {}
        }
    }

    /// Whether an event stands beyond the cut of a retired device.
    #[must_use]
    pub fn is_beyond_cut(&self, chain: &ChainId, seq: u64) -> bool {
        let device = self.chains.get(chain).map(|written| written.device);
        let cuts = device.and_then(|device| self.cuts.get(&device));
        cuts.is_some_and(|cuts| cuts.get(chain).is_none_or(|count| seq >= *count))
    }

    /// How many events of a chain count at most, where its device was retired.
    #[must_use]
    pub fn counted(&self, chain: &ChainId, next_seq: u64) -> u64 {
        let device = self.chains.get(chain).map(|written| written.device);
        match device.and_then(|device| self.cuts.get(&device)) {
            Some(cuts) => next_seq.min(cuts.get(chain).copied().unwrap_or_default()),
            None => next_seq,
        }
    }

    /// The entries of time and materials that anybody logged.
    pub fn entries(&self) -> impl Iterator<Item = EntryRef> {
        self.entries.keys().copied()
    }

    /// What an entry can be worth, in minutes or units of its item: nothing where it is crossed out or does not
    /// count. It has more than one answer only where people corrected it apart from each other. `held` says which
    /// events are there, and `stands` whether an event's author might write it.
    #[must_use]
    pub fn worths(
        &self,
        entry: &EntryRef,
        held: impl Fn(&Seen) -> bool,
        stands: impl Fn(&Seen) -> Standing,
    ) -> BTreeSet<Decimal> {
        let of = |entry: &EntryRef| -> Vec<(&Seen, Standing)> {
            let all = self.entries.get(entry).into_iter().flatten();
            let inside = all.filter(|seen| held(seen) && !self.is_beyond_cut(&seen.chain, seen.seq));
            inside.map(|seen| (seen, stands(seen))).filter(|(_, stands)| *stands != Standing::Never).collect()
        };
        let is_accepted = |entry: &EntryRef| {
            of(entry).iter().any(|(seen, stands)| {
                matches!(seen.payload.body, Body::Accepted(_)) && *stands == Standing::Counts
            })
        };
        let counts = |(seen, stands): &(&Seen, Standing)| {
            *stands == Standing::Counts || is_accepted(&seen.payload.act.entry_ref())
        };
        let crossed_out = |change: &Seen| {
            let own = of(&change.payload.act.entry_ref());
            own.iter().any(|undoing| matches!(undoing.0.payload.body, Body::Struck(_)) && counts(undoing))
        };
        let all: Vec<&Seen> = of(entry).into_iter().filter(counts).map(|(seen, _)| seen).collect();
        let base = all.iter().filter_map(|seen| Some((seen.hash, amount(&seen.payload.body)?)));
        let Some((_, logged)) = base.min_by_key(|(hash, _)| *hash) else { return BTreeSet::new() };
        let struck = |seen: &&&Seen| matches!(seen.payload.body, Body::Struck(_)) && !crossed_out(seen);
        if all.iter().find(struck).is_some() {
            return BTreeSet::new();
        }
        let corrections: Vec<&&Seen> = all
            .iter()
            .filter(|seen| matches!(seen.payload.body, Body::Corrected(_)) && !crossed_out(seen))
            .collect();
        let replaced: BTreeSet<EventHash> =
            corrections.iter().flat_map(|seen| seen.payload.act.replaces.iter().copied()).collect();
        let last = corrections.iter().filter(|seen| !replaced.contains(&seen.hash));
        let said: BTreeSet<Decimal> = last.filter_map(|seen| corrected(&seen.payload.body)).collect();
        if said.is_empty() { BTreeSet::from([logged]) } else { said }
    }
}

/// Whether an event counts by itself, waits for a yes, or never counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Standing {
    /// It counts.
    Counts,
    /// It counts once somebody says yes.
    Waits,
    /// It does not count.
    Never,
}

/// How much was logged: minutes, or units.
fn amount(body: &Body) -> Option<Decimal> {
    match body {
        Body::Hours(hours) => match hours.worked {
            Worked::Length { minutes } => Some(minutes.into()),
            Worked::Span { from, to, break_minutes } => {
                Some(Decimal::from((to.utc_ms() - from.utc_ms()) / 60_000) - Decimal::from(break_minutes))
            }
        },
        Body::Used(used) => Some(used.amount.quantity.value()),
        _ => None,
    }
}

/// What a correction makes of it.
fn corrected(body: &Body) -> Option<Decimal> {
    let Body::Corrected(corrected) = body else { return None };
    let quantity = corrected.changes.amount.as_ref().map(|amount| amount.quantity.value());
    quantity.or(corrected.changes.minutes.map(Decimal::from))
}
