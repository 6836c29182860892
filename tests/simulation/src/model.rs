//! The all-seeing model: every event that any device ever wrote, in one place, and what follows from all of them
//! by rules that are written down here and in [`crate::counted`] a second time, plainly, without the ledger's and the
//! projections' code.

use std::collections::{BTreeMap, BTreeSet};

use daemon::Node;
use ledger::site::Worked;
use ledger::{Body, ChainId, DeviceKey, EntryRef, EventHash, Payload, older};
use rust_decimal::Decimal;

use crate::counted::{Counted, Retirement};
use crate::device::{Promises, tips};

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

/// No device may write two events in one place of a chain, unless its whole disk was set back.
pub const FORKED: &str = "no honest device forks a chain";
/// All devices that hold a place of a chain hold the same there, or what its device wrote there after it was set back.
pub const SAME_CHAINS: &str = "a place in a chain holds one event everywhere";

/// What was just written can be read.
pub const READ_BACK: &str = "what was just written can be read";

/// A chain as it was written.
#[derive(Debug)]
struct Written {
    device: DeviceKey,
    /// The events in each place: more than one where its device was set back and wrote on.
    places: Vec<Vec<EventHash>>,
    /// Where its device, once set back, may begin another line.
    may_fork_from: Option<u64>,
}

impl Written {
    fn has(&self, next_seq: u64, hash: &EventHash) -> bool {
        let last = next_seq.checked_sub(1).and_then(|last| usize::try_from(last).ok());
        last.and_then(|last| self.places.get(last)).is_some_and(|events| events.contains(hash))
    }
}

/// Where an event stands.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Placed {
    /// Its chain.
    pub(crate) chain: ChainId,
    /// Its place there.
    pub(crate) seq: u64,
    /// The event before it in its line.
    pub(crate) before: EventHash,
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
    events: BTreeMap<EventHash, Placed>,
    /// The events of each entry, with those that change it.
    entries: BTreeMap<EntryRef, Vec<Seen>>,
    retirements: Vec<Retirement>,
    /// Who was let in, by which event.
    admissions: Vec<(EventHash, DeviceKey)>,
    founder: Option<DeviceKey>,
    /// The devices whose disks lost bits.
    scarred: BTreeSet<DeviceKey>,
}

impl Model {
    /// Takes note of what a device has written since it held `promised`, and that it holds nothing that nobody wrote.
    ///
    /// # Errors
    /// [`FORKED`], [`SAME_CHAINS`] or [`READ_BACK`].
    pub fn observe(&mut self, node: &mut Node, promised: &Promises) -> Result<(), Broken> {
        let own = node.key();
        self.founder.get_or_insert(own);
        for (chain, (next_seq, hash)) in tips(node) {
            if self.chains.get(&chain).is_some_and(|written| written.has(next_seq, &hash)) {
                continue;
            }
            let writer = node.ledger().chain(&chain).map(|held| held.start.device);
            let is_own = writer == Some(own);
            if is_own || writer.is_some_and(|writer| self.scarred.contains(&writer)) {
                // An old program has written only what it knows, and the model knows all.
                let added = older::lacking(None, || self.add(node, chain, promised));
                match added {
                    // It is found out at the next start, and then comes from others or is lost.
                    Err(broken) if broken.rule == READ_BACK && self.scarred.contains(&own) => continue,
                    added => added?,
                }
            }
            let written = self.chains.get(&chain);
            if !written.is_some_and(|written| written.has(next_seq, &hash)) {
                let rule = if is_own { FORKED } else { SAME_CHAINS };
                let seen = format!("chain {}, {next_seq} events: nobody wrote {hash}", chain.short());
                return Err(Broken::new(rule, seen));
            }
        }
        let mut proofs = node.ledger().chains().filter_map(|chain| chain.fork.as_ref());
        let invented = proofs.find_map(|fork| {
            let mut events = fork.proof().events().map(|event| event.hash);
            events.find(|hash| !self.events.contains_key(hash))
        });
        match invented {
            Some(hash) => Err(Broken::new(SAME_CHAINS, format!("nobody wrote {hash} of a fork's proof"))),
            None => Ok(()),
        }
    }

    /// The whole disk of a device was set back to when it held `promised`, and nothing tells it. It may write another
    /// line from there on, and one from the beginning of chains that it had only `chosen`.
    pub fn set_back(&mut self, device: &DeviceKey, promised: &Promises, chosen: &[ChainId]) {
        for (chain, written) in self.chains.iter_mut().filter(|(_, written)| written.device == *device) {
            let held = promised.get(chain).map_or(0, |tip| tip.0);
            written.may_fork_from = Some(written.may_fork_from.map_or(held, |before| before.min(held)));
        }
        for chain in chosen {
            let fresh = || Written { device: *device, places: Vec::new(), may_fork_from: Some(0) };
            self.chains.entry(*chain).or_insert_with(fresh);
        }
    }

    /// A device's disk lost bits that were durable: of its chains others may come to hold what lies in its journal behind
    /// the damage, and what it does not hold itself.
    pub fn scar(&mut self, device: DeviceKey) {
        self.scarred.insert(device);
    }

    /// Adds what a device has written in a chain.
    fn add(&mut self, node: &mut Node, chain: ChainId, promised: &Promises) -> Result<(), Broken> {
        let unreadable = |why: String| Broken::new(READ_BACK, why);
        let held = node.ledger().chain(&chain).map(|held| (held.start, held.tip.next_seq));
        let Some((start, held)) = held else { return Err(unreadable(format!("chain {}", chain.short()))) };
        let first = node.ledger().first_tip(&start).hash;
        let fresh = Written { device: start.device, places: Vec::new(), may_fork_from: None };
        let written = self.chains.entry(chain).or_insert(fresh);
        // Where there is one line, it goes on at its end; a device that was set back goes on from where it was.
        let (mut next_seq, mut before) = match (written.may_fork_from, promised.get(&chain)) {
            (Some(_), Some(known)) => *known,
            (Some(_), None) => (0, first),
            (None, _) => {
                let last = written.places.last().and_then(|events| events.first());
                (written.places.len() as u64, last.copied().unwrap_or(first))
            }
        };
        let mut understood = Vec::new();
        while next_seq < held {
            let run = node.read_run(chain, next_seq).map_err(|error| unreadable(error.to_string()))?;
            let Some(run) = run else {
                return Err(unreadable(format!("chain {}: {next_seq} of {held} events", chain.short())));
            };
            for event in run.placed_events(before) {
                let placed = Placed { chain, seq: event.seq, before };
                (next_seq, before) = (event.seq + 1, event.hash);
                if self.events.contains_key(&event.hash) {
                    continue;
                }
                let at = usize::try_from(event.seq).unwrap_or_default();
                match written.places.get_mut(at) {
                    None => written.places.push(vec![event.hash]),
                    Some(others) if written.may_fork_from.is_some_and(|from| event.seq >= from) => {
                        others.push(event.hash);
                    }
                    Some(_) => {
                        let seen = format!("chain {} has two events {}", chain.short(), event.seq);
                        return Err(Broken::new(FORKED, seen));
                    }
                }
                self.events.insert(event.hash, placed);
                let view = event.view;
                if let Ok(payload) = Payload::decode(view.kind, view.kind_version, view.payload) {
                    let seen = Seen { hash: event.hash, chain, seq: event.seq, payload };
                    understood.push(seen);
                }
            }
        }
        understood.into_iter().for_each(|seen| self.understand(seen));
        Ok(())
    }

    fn understand(&mut self, seen: Seen) {
        let entries = &mut self.entries;
        match &seen.payload.body {
            Body::Hours(_) | Body::Used(_) => {
                entries.entry(seen.payload.act.entry_ref()).or_default().push(seen);
            }
            Body::Corrected(changed) => entries.entry(changed.of).or_default().push(seen),
            Body::Struck(struck) => entries.entry(struck.of).or_default().push(seen),
            Body::Accepted(accepted) => entries.entry(accepted.of).or_default().push(seen),
            Body::DeviceRetired(retired) => {
                let cuts = retired.cuts.iter().map(|cut| (cut.chain, (cut.seq + 1, cut.hash))).collect();
                self.retirements.push(Retirement { event: seen.hash, device: retired.device, cuts });
            }
            Body::DeviceAdmitted(admitted) => self.admissions.push((seen.hash, admitted.device)),
            _ => {}
        }
    }

    /// Where an event stands.
    pub(crate) fn placed(&self, hash: &EventHash) -> Option<Placed> {
        self.events.get(hash).copied()
    }

    /// Who writes a chain.
    pub(crate) fn writer(&self, chain: &ChainId) -> Option<DeviceKey> {
        self.chains.get(chain).map(|written| written.device)
    }

    /// Who founded the crew: the first that anybody saw writing.
    pub(crate) const fn founder(&self) -> Option<DeviceKey> {
        self.founder
    }

    /// Who was ever let in, by which event.
    pub(crate) fn admissions(&self) -> &[(EventHash, DeviceKey)] {
        &self.admissions
    }

    /// Every retirement that was ever written.
    pub(crate) fn retirements(&self) -> &[Retirement] {
        &self.retirements
    }

    /// The entries of time and materials that anybody logged.
    pub fn entries(&self) -> impl Iterator<Item = EntryRef> {
        self.entries.keys().copied()
    }

    /// Whether something of an entry is held and does not count, because a fork or a cut set it aside.
    #[must_use]
    pub fn is_set_aside(&self, entry: &EntryRef, counted: &Counted) -> bool {
        let mut all = self.entries.get(entry).into_iter().flatten();
        all.any(|seen| counted.holds(&seen.hash) && !counted.counts(&seen.hash))
    }

    /// What an entry can be worth, in minutes or units of its item: nothing where it is crossed out or does not
    /// count. It has more than one answer only where people corrected it apart from each other. `counted` says which
    /// events have a place that counts, and `stands` whether an event's author might write it.
    #[must_use]
    pub fn worths(
        &self,
        entry: &EntryRef,
        counted: &Counted,
        stands: impl Fn(&Seen) -> Standing,
    ) -> BTreeSet<Decimal> {
        let of = |entry: &EntryRef| -> Vec<(&Seen, Standing)> {
            let all = self.entries.get(entry).into_iter().flatten();
            let inside = all.filter(|seen| counted.counts(&seen.hash));
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
