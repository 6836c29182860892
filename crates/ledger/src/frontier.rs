//! What a device holds: its chains with their tips, and the roster that says what counts.
//!
//! The events themselves are in the store. Taking in a run is in two steps, so that nothing can
//! fail half-way: [`Ledger::check_run`] looks at everything and changes nothing; once the run is
//! durable, [`Ledger::take_in`] records it and can't fail.

mod lines;

use std::borrow::Cow;
use std::collections::BTreeMap;
use std::sync::Arc;

use crate::chain::{Audience, ChainStart, DeviceSecret, Tip};
use crate::event::Payload;
use crate::fork::Fork;
use crate::hashed::HashedRun;
use crate::ids::{ChainId, CrewId, DeviceKey, EventHash};
use crate::kinds::{Body, Kind};
use crate::refusal::Refusal;
use crate::roster::{Cut, Line, Roster, RosterEvent};
use crate::roster_events::OfficeKeysGiven;
use crate::run::{PlacedEvent, Run, RunBuilder, Summary};
use crate::sabotage::Fault;

/// A chain that is held, in one line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Chain {
    /// Its start.
    pub start: ChainStart,
    /// How far it is held, whether that counts or not.
    pub tip: Tip,
    /// The lowest fork that is known of it.
    pub fork: Option<Arc<Fork>>,
    /// The last event that a retirement lets stand, as it is held here; none until that is known.
    at_cut: Option<Cut>,
}

/// How far each chain is held, in the order of the chain ids.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Frontier {
    /// For each chain the number of events and the hash of the last.
    pub tips: BTreeMap<ChainId, (u64, EventHash)>,
}

impl Frontier {
    /// 32 bytes that are the same exactly when the frontiers are.
    #[must_use]
    pub fn digest(&self) -> [u8; 32] {
        let mut hasher = blake3::Hasher::new_derive_key("fivebar frontier 1");
        for (chain, (next_seq, hash)) in &self.tips {
            hasher.update(&chain.0);
            hasher.update(&next_seq.to_le_bytes());
            hasher.update(&hash.0);
        }
        *hasher.finalize().as_bytes()
    }
}

/// What came of looking at a run. None of these is an error.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum TakenIn {
    /// All of it is held already.
    Known,
    /// This much of it is new, and verified.
    New(Checked),
}

/// A run that was checked against a chain's tip. Only [`Ledger::check_run`] and
/// [`Ledger::check_known_run`] make one.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Checked {
    run: Run,
    before: Tip,
    after: Tip,
    hashes: Arc<[EventHash]>,
    makes_roster: bool,
}

impl Checked {
    /// The run, beginning at the tip it was checked against.
    #[must_use]
    pub const fn run(&self) -> &Run {
        &self.run
    }

    /// The tip of the chain before it.
    #[must_use]
    pub const fn before(&self) -> &Tip {
        &self.before
    }

    /// The hashes of its events, in their order.
    #[must_use]
    pub const fn hashes(&self) -> &Arc<[EventHash]> {
        &self.hashes
    }

    /// Whether one of its events makes the roster.
    #[must_use]
    pub const fn makes_roster(&self) -> bool {
        self.makes_roster
    }

    /// Each event with its hash.
    pub fn events(&self) -> impl Iterator<Item = PlacedEvent<'_>> {
        let placed = (self.before.next_seq..).zip(&*self.hashes).zip(self.run.events());
        placed.map(|((seq, hash), view)| PlacedEvent { seq, hash: *hash, view })
    }
}

/// The chains of one crew, as far as this device holds them, and the roster they fold to.
#[derive(Debug, Clone)]
pub struct Ledger {
    crew: CrewId,
    chains: BTreeMap<ChainId, Chain>,
    founding_chain: Option<ChainId>,
    roster_events: BTreeMap<EventHash, RosterEvent>,
    roster: Roster,
}

impl Ledger {
    /// An empty ledger of a crew, for a device that is about to receive it.
    #[must_use]
    pub fn new(crew: CrewId) -> Self {
        let roster = Roster::fold(crew, &BTreeMap::new(), &BTreeMap::new());
        Self { crew, chains: BTreeMap::new(), founding_chain: None, roster_events: BTreeMap::new(), roster }
    }

    /// Founds a crew: the first run of the founding device's first chain. The crew id is its hash.
    ///
    /// # Errors
    /// [`Refusal::TooLarge`] for a name that no event can hold.
    pub fn found(
        chain: ChainId,
        secret: &DeviceSecret,
        now_ms: i64,
        payload: &[u8],
    ) -> Result<(Self, ChainStart, Run), Refusal> {
        let start = ChainStart { chain, device: secret.public(), audience: Audience::Crew };
        let mut builder = RunBuilder::new(start, start.tip(&CrewId([0; 32])));
        let kind = Kind::CrewFounded.number();
        let crew = CrewId(builder.push(now_ms, kind, crate::event::KIND_VERSION, payload)?.0);
        let (run, _) = builder.finish(&crew, secret).ok_or(Refusal::EmptyRun)?;
        let mut ledger = Self::new(crew);
        ledger.take_in_chain(start)?;
        if let TakenIn::New(checked) = ledger.check_run(&run)? {
            ledger.take_in(&checked);
        }
        Ok((ledger, start, run))
    }

    /// The crew.
    #[must_use]
    pub const fn crew(&self) -> CrewId {
        self.crew
    }

    /// The roster, folded from all the roster events held.
    #[must_use]
    pub const fn roster(&self) -> &Roster {
        &self.roster
    }

    /// The keys of the office that devices gave to others, each with who gave them, whether that counts or not.
    pub fn given_keys(&self) -> impl Iterator<Item = (&DeviceKey, &OfficeKeysGiven)> {
        self.roster_events.values().filter_map(|event| match &event.payload.body {
            Body::OfficeKeysGiven(given) => Some((&event.start.device, given)),
            _ => None,
        })
    }

    /// The chains held, in the order of their ids.
    pub fn chains(&self) -> impl Iterator<Item = &Chain> {
        self.chains.values()
    }

    /// One chain.
    #[must_use]
    pub fn chain(&self, chain: &ChainId) -> Option<&Chain> {
        self.chains.get(chain)
    }

    /// The tip of a chain before its first event. The founding chain's first event makes the crew id, so
    /// that chain alone is anchored without one.
    #[must_use]
    pub fn first_tip(&self, start: &ChainStart) -> Tip {
        start.tip(&if self.is_founding(start) { CrewId([0; 32]) } else { self.crew })
    }

    /// The tip that the next run of a chain continues. Before anything is held, the one run that is taken in is the
    /// founding.
    pub(crate) fn tip_to_continue(&self, chain: &ChainId) -> Option<Tip> {
        let chain = self.chains.get(chain)?;
        let is_founding = chain.tip.next_seq == 0 && self.roster_events.is_empty();
        Some(if is_founding { chain.start.tip(&CrewId([0; 32])) } else { chain.tip })
    }

    /// The counted tips of the chains of an audience or, with none, of all.
    #[must_use]
    pub fn frontier(&self, audience: Option<Audience>) -> Frontier {
        let within =
            self.chains.values().filter(|chain| audience.is_none_or(|wanted| chain.start.audience == wanted));
        let tips = within
            .map(|chain| (chain.start.chain, self.counted_tip(chain)))
            .filter(|(_, (next_seq, _))| *next_seq > 0)
            .collect();
        Frontier { tips }
    }

    /// Takes in a chain's start. Taking it in again changes nothing. Whether its device was admitted is asked
    /// with the first run, since the founding event and a certificate of the recovery words admit their own.
    ///
    /// # Errors
    /// [`Refusal::ChainChanged`].
    pub fn take_in_chain(&mut self, start: ChainStart) -> Result<(), Refusal> {
        if let Some(held) = self.chains.get(&start.chain) {
            return if held.start == start { Ok(()) } else { Err(Refusal::ChainChanged) };
        }
        let tip = start.tip(&self.crew);
        self.chains.insert(start.chain, Chain { start, tip, fork: None, at_cut: None });
        Ok(())
    }

    /// Checks a run against what is held. Changes nothing.
    ///
    /// # Errors
    /// A [`Refusal`] that names the rule.
    pub fn check_run(&self, run: &Run) -> Result<TakenIn, Refusal> {
        self.check(Cow::Borrowed(run), |run, start, before| {
            self.follow(run, start, before, run.read(before.hash))
        })
    }

    /// As [`Ledger::check_run`], of a run whose hashes were made out before.
    ///
    /// # Errors
    /// A [`Refusal`] that names the rule.
    pub fn check_hashed_run(&self, hashed: HashedRun) -> Result<TakenIn, Refusal> {
        let HashedRun { run, before: given, summary } = hashed;
        let first_seq = run.first_seq();
        self.check(Cow::Owned(run), |run, start, before| {
            let is_that = run.first_seq() == first_seq && before.hash == given && !summary.hashes.is_empty();
            let summary = if is_that { summary } else { run.read(before.hash) };
            self.follow(run, start, before, summary)
        })
    }

    /// Where the chain is after a run of this summary, whose head must be signed there.
    fn follow(
        &self,
        run: &Run,
        start: &ChainStart,
        before: &Tip,
        summary: Summary,
    ) -> Result<(Tip, Summary), Refusal> {
        let last = *summary.hashes.last().ok_or(Refusal::EmptyRun)?;
        let reached = Tip { next_seq: run.next_seq(), hash: last, made_at: before.made_at };
        // The head goes first: behind an event of another line than its own a run may seem to run back in time.
        match run.check_head(&self.crew, start, &reached) {
            // The head is honest or not; if it does not fit what is held, either way it is no continuation.
            Err(Refusal::BadSignature) if Fault::BelieveEveryHead.is_set() => {}
            Err(Refusal::BadSignature) if before.next_seq > 0 => return Err(Refusal::Forked),
            other => other?,
        }
        Ok((run.follow(start, before, &summary)?, summary))
    }

    /// Checks a run that this device once checked and took in at this place, and whose events had these
    /// hashes then. Neither hashes nor the head's signature are made out again: that is most of the work
    /// of a start. What was stored meanwhile is the store's to vouch for. Changes nothing.
    ///
    /// # Errors
    /// A [`Refusal`] that names the rule; the hashes then belong to something else.
    pub fn check_known_run(&self, run: Run, hashes: Arc<[EventHash]>) -> Result<TakenIn, Refusal> {
        self.check(Cow::Owned(run), |run, start, before| {
            let summary = run.read_known(hashes);
            Ok((run.follow(start, before, &summary)?, summary))
        })
    }

    /// Checks that a run's head is the signed head of what is held of its chain: by it the device
    /// vouches for every event below.
    ///
    /// # Errors
    /// [`Refusal::OutOfOrder`] unless the run ends where the chain does, or [`Refusal::BadSignature`].
    pub fn check_head(&self, run: &Run) -> Result<(), Refusal> {
        let chain = self.chains.get(&run.chain()).ok_or(Refusal::UnknownChain)?;
        if run.next_seq() != chain.tip.next_seq {
            return Err(Refusal::OutOfOrder);
        }
        run.check_head(&self.crew, &chain.start, &chain.tip)
    }

    /// Whether the first run of a chain may be taken in: an event that is held admits its device, or the run
    /// begins with a certificate of the recovery words that does.
    #[must_use]
    pub fn admits(&self, start: &ChainStart, run: &Run) -> bool {
        self.roster.is_admitted(&start.device) || self.begins_with_certificate(start, run)
    }

    fn begins_with_certificate(&self, start: &ChainStart, run: &Run) -> bool {
        let first =
            run.events().next().filter(|view| run.first_seq() == 0 && view.kind == Kind::Recovered.number());
        let first = first.and_then(|view| Payload::decode(view.kind, view.kind_version, view.payload).ok());
        first.is_some_and(|first| self.roster.is_certificate(start, &first))
    }

    /// Whether it is the chain that the crew was founded in.
    #[must_use]
    pub fn is_founding(&self, start: &ChainStart) -> bool {
        self.founding_chain == Some(start.chain)
    }

    fn check(
        &self,
        run: Cow<'_, Run>,
        follow: impl FnOnce(&Run, &ChainStart, &Tip) -> Result<(Tip, Summary), Refusal>,
    ) -> Result<TakenIn, Refusal> {
        let chain = self.chains.get(&run.chain()).ok_or(Refusal::UnknownChain)?;
        let held = chain.tip.next_seq;
        if run.first_seq() > held {
            return Err(Refusal::OutOfOrder);
        }
        if run.next_seq() <= held {
            return Ok(TakenIn::Known);
        }
        if held == 0 && !self.roster_events.is_empty() && !self.admits(&chain.start, &run) {
            return Err(Refusal::NotAdmitted);
        }
        let is_ended = self.roster.end(&chain.start).is_some_and(|end| held >= end.count);
        if is_ended && !self.begins_with_certificate(&chain.start, &run) {
            let is_cut = self.roster.is_retired(&chain.start.device);
            return Err(if is_cut { Refusal::BeyondCut } else { Refusal::Forked });
        }
        let new = run.into_owned().starting_at(held);
        let Some(run) = new else { return Ok(TakenIn::Known) };
        let before = if held == 0 && self.roster_events.is_empty() {
            self.founding_tip(&chain.start, &run)?
        } else {
            chain.tip
        };
        let (after, Summary { hashes, makes_roster, .. }) = follow(&run, &chain.start, &before)?;
        Ok(TakenIn::New(Checked { run, before, after, hashes, makes_roster }))
    }

    /// Records a run that is now durable.
    pub fn take_in(&mut self, checked: &Checked) {
        let Some(chain) = self.chains.get_mut(&checked.run.chain()) else { return };
        if chain.tip.next_seq != checked.run.first_seq() {
            return; // Taken in before: the same run, checked twice.
        }
        let mut changed = false;
        chain.tip = checked.after;
        let start = chain.start;
        let end = self.roster.end(&start).filter(|end| checked.run.next_seq() >= end.count);
        let at_end = end.and_then(|end| {
            let last = end.count.checked_sub(1)?.checked_sub(checked.before.next_seq)?;
            let hash = *checked.hashes.get(usize::try_from(last).ok()?)?;
            Some(Cut { count: end.count, hash })
        });
        if let Some(at_end) = at_end {
            chain.at_cut = Some(at_end);
            changed = chain.fork.is_some();
        }
        if self.roster_events.is_empty() {
            self.founding_chain = Some(start.chain); // Nothing else is let through before it.
        }
        changed |= checked.makes_roster && self.note_roster_events(start, checked.events());
        if changed {
            self.fold_roster();
        }
    }

    /// How far a chain counts: not beyond the cut of a retired device, nor beyond a fork. A run may reach further,
    /// where no head stands right there.
    #[must_use]
    pub fn counted_tip(&self, chain: &Chain) -> (u64, EventHash) {
        if !self.roster.is_admitted(&chain.start.device) {
            return (0, chain.start.anchor(&self.crew)); // What let it in is set aside by now.
        }
        let held = (chain.tip.next_seq, chain.tip.hash);
        match self.roster.cut(&chain.start) {
            // A branch in a fork's proof is held too.
            Some(cut) if chain.fork.is_some() && self.roster.reaches(&chain.start, &cut) => {
                (cut.count, cut.hash)
            }
            // Another event in that place: the two lines have yet to be told apart.
            Some(cut) if held.0 >= cut.count => {
                let at_cut = chain.at_cut.filter(|at_cut| at_cut.count == cut.count).unwrap_or(cut);
                (at_cut.count, at_cut.hash)
            }
            Some(_) | None => held,
        }
    }

    fn note_roster_events<'e>(
        &mut self,
        start: ChainStart,
        events: impl Iterator<Item = PlacedEvent<'e>>,
    ) -> bool {
        let mut changed = false;
        let is_roster = |kind: u16| Kind::from_number(kind).is_some_and(Kind::is_roster);
        for event in events.filter(|event| is_roster(event.view.kind)) {
            let view = event.view;
            if let Ok(payload) = Payload::decode(view.kind, view.kind_version, view.payload) {
                let place = RosterEvent { hash: event.hash, start, seq: event.seq, payload };
                changed |= self.roster_events.insert(event.hash, place).is_none();
            }
        }
        changed
    }

    fn fold_roster(&mut self) {
        let line =
            |chain: &Chain| Line { start: chain.start, fork: chain.fork.clone(), at_cut: chain.at_cut };
        let lines = self.chains.iter().map(|(id, chain)| (*id, line(chain))).collect();
        self.roster = Roster::fold(self.crew, &self.roster_events, &lines);
        // A retirement mostly cuts where a chain ends, and what is held there is known.
        let mut changed = false;
        for chain in self.chains.values_mut() {
            let tip = Cut { count: chain.tip.next_seq, hash: chain.tip.hash };
            let is_end = self.roster.end(&chain.start).is_some_and(|end| end.count == tip.count);
            if is_end && chain.at_cut != Some(tip) {
                chain.at_cut = Some(tip);
                changed |= chain.fork.is_some();
            }
        }
        if changed {
            self.fold_roster();
        }
    }

    /// Whether the first event of a chain makes the crew, or stands above it.
    fn is_anchored_by_hand(&self, start: &ChainStart) -> bool {
        self.is_founding(start) || self.roster.is_certified(&start.chain)
    }

    /// Before anything is held, the one run that is taken is the founding: its first event's hash is the crew id.
    fn founding_tip(&self, start: &ChainStart, run: &Run) -> Result<Tip, Refusal> {
        let tip = start.tip(&CrewId([0; 32]));
        let first = run.placed_events(tip.hash).next().ok_or(Refusal::EmptyRun)?;
        let founding = Payload::decode(first.view.kind, first.view.kind_version, first.view.payload);
        let is_founding = matches!(founding, Ok(Payload { body: Body::CrewFounded(_), .. }));
        if first.hash.0 == self.crew.0 && is_founding && start.audience == Audience::Crew {
            Ok(tip)
        } else {
            Err(Refusal::WrongCrew)
        }
    }
}
