//! A device in memory: its key, its ledger, and the runs that a store would hold.

use std::collections::BTreeMap;

use ledger::fork::Comparison;
use ledger::roster_events::{CrewFounded, DeviceAdmitted, DeviceRetired, PersonListed, Position, Role};
use ledger::{
    Act, Audience, Body, ChainId, ChainStart, CrewId, DeviceKey, DeviceSecret, EntryId, EventHash, ForkProof,
    Kind, Ledger, Payload, PersonId, Refusal, Run, RunBuilder, TakenIn,
};
use sync::CommonGround;
use trade::{Day, Moment};

/// A kind that no version knows: replication must store it and pass it on all the same.
pub(crate) const UNKNOWN_KIND: u16 = 60_000;

pub(crate) struct Device {
    pub(crate) secret: DeviceSecret,
    pub(crate) ledger: Ledger,
    pub(crate) runs: BTreeMap<ChainId, Vec<Run>>,
    /// The person whose device it is.
    pub(crate) person: PersonId,
    /// What it and each other device last knew both to hold.
    pub(crate) common: BTreeMap<DeviceKey, CommonGround>,
    /// What its clock says.
    pub(crate) now_ms: i64,
    entries: u8,
}

fn act(person: PersonId, entry: u8) -> Act {
    Act {
        person,
        author: person,
        entry: EntryId([entry; 16]),
        done_on: Day::from_number(20_700).expect("a day of 2026"),
        done_at: None,
        logged_at: Moment::new(1_788_500_000_000, 60).expect("a moment of 2026"),
        row_key: String::new(),
        said: String::new(),
        note: String::new(),
        replaces: Vec::new(),
    }
}

impl Device {
    /// The owner's device, which founds the crew.
    pub(crate) fn founding(seed: u8) -> Self {
        let secret = DeviceSecret::from_seed(&[seed; 32]);
        let founded = CrewFounded {
            crew: "Oake and crew".into(),
            founder: "Maren Oake".into(),
            device: "the laptop".into(),
            seed: [seed; 32],
            recovery_key: DeviceKey([0; 32]),
        };
        let payload = Payload { act: act(PersonId([0; 16]), 0), body: Body::CrewFounded(founded) };
        let payload = payload.encode().expect("a short payload");
        let chain = ChainId([seed; 16]);
        let (ledger, _, run) = Ledger::found(chain, &secret, 1_000, &payload).expect("a new crew");
        let person = PersonId::named(&ledger.crew(), "Maren Oake");
        Self {
            secret,
            ledger,
            runs: BTreeMap::from([(chain, vec![run])]),
            person,
            common: BTreeMap::new(),
            now_ms: 2_000,
            entries: 0,
        }
    }

    /// A device that was just paired.
    pub(crate) fn paired(seed: u8, crew: CrewId, person: PersonId) -> Self {
        let secret = DeviceSecret::from_seed(&[seed; 32]);
        Self {
            secret,
            ledger: Ledger::new(crew),
            runs: BTreeMap::new(),
            person,
            common: BTreeMap::new(),
            now_ms: 2_000,
            entries: 0,
        }
    }

    pub(crate) fn key(&self) -> DeviceKey {
        self.secret.public()
    }

    /// The chain of this audience. The tests give each device one of each.
    pub(crate) fn chain(&self, audience: Audience) -> ChainStart {
        let seed = self.secret.seed()[0];
        let chain = match audience {
            Audience::Crew => ChainId([seed; 16]),
            Audience::Office => ChainId([seed | 0x80; 16]),
        };
        ChainStart { chain, device: self.key(), audience }
    }

    /// Appends events of one kind as one run.
    pub(crate) fn append(&mut self, audience: Audience, kind: u16, payloads: &[Vec<u8>]) {
        let start = self.chain(audience);
        self.ledger.take_in_chain(start).expect("an admitted device");
        let tip = self.ledger.chain(&start.chain).expect("taken in").tip;
        let mut builder = RunBuilder::new(start, tip);
        for payload in payloads {
            builder.push(self.now_ms, kind, 1, payload).expect("room in the run");
        }
        let (run, _) = builder.finish(&self.ledger.crew(), &self.secret).expect("at least one event");
        self.store(&run).expect("an own run");
    }

    /// Appends entries that mean nothing to this version.
    pub(crate) fn log(&mut self, audience: Audience, count: usize, size: usize) {
        self.append(audience, UNKNOWN_KIND, &vec![vec![7; size]; count]);
    }

    fn append_body(&mut self, body: Body) {
        self.entries += 1;
        let kind = body.kind().number();
        let payload = Payload { act: act(self.person, self.entries), body };
        self.append(Audience::Crew, kind, &[payload.encode().expect("a short payload")]);
    }

    /// Lists a person and admits a device that is about to join.
    pub(crate) fn admit(&mut self, seed: u8, name: &str, role: Role, office: bool) -> Device {
        let person = PersonId::named(&self.ledger.crew(), name);
        if self.ledger.roster().person(&person).is_none() {
            self.append_body(Body::PersonListed(PersonListed { person, name: name.into(), role }));
        }
        let device = Device::paired(seed, self.ledger.crew(), person);
        self.append_body(Body::DeviceAdmitted(DeviceAdmitted {
            device: device.key(),
            name: format!("{name}'s phone"),
            person,
            shared: false,
            office,
        }));
        assert!(self.ledger.roster().device(&device.key()).is_some(), "the owner's admission counts");
        device
    }

    /// Retires a device, keeping the first `count` events of its crew chain.
    pub(crate) fn retire(&mut self, retired: &Device, count: u64) {
        let chain = retired.chain(Audience::Crew);
        let events = retired.runs[&chain.chain].iter();
        let mut tip = chain.tip(&self.ledger.crew());
        let mut hashes = Vec::new();
        for run in events {
            hashes.extend(run.placed_events(tip.hash).map(|event| event.hash));
            tip.hash = *hashes.last().expect("a run has an event");
        }
        let seq = count - 1;
        let hash = hashes[usize::try_from(seq).expect("a short chain")];
        self.append_body(Body::DeviceRetired(DeviceRetired {
            device: retired.key(),
            cuts: vec![Position { chain: chain.chain, seq, hash }],
            reason: "left on a bus".into(),
        }));
        assert!(self.ledger.roster().device(&retired.key()).is_some_and(|device| device.retired));
    }

    /// What a shell does with `Output::Store`. Says whether it was new.
    pub(crate) fn store(&mut self, run: &Run) -> Result<bool, Refusal> {
        match self.ledger.check_run(run)? {
            TakenIn::Known => Ok(false),
            TakenIn::New(checked) => {
                self.runs.entry(run.chain()).or_default().push(checked.run().clone());
                self.ledger.take_in(&checked);
                self.answer_unknown();
                Ok(true)
            }
        }
    }

    /// What a shell does with `Output::Read`.
    pub(crate) fn read(&self, chain: ChainId, from_seq: u64) -> Option<Run> {
        let mut runs = self.runs.get(&chain)?.iter().skip_while(|run| run.next_seq() <= from_seq);
        let first = runs.next()?.clone().starting_at(from_seq)?;
        Some(first.joined(&runs.cloned().collect::<Vec<_>>()))
    }

    /// What a shell does with `Output::Compare`.
    pub(crate) fn compare(&self, shown: &Run) -> Comparison {
        let (chain, from_seq) = (shown.chain(), shown.first_seq());
        let Some(start) = self.ledger.chain(&chain).map(|held| held.start) else {
            return Comparison::Elsewhere;
        };
        let before = match from_seq.checked_sub(1) {
            Some(seq) => self.hash_of(chain, seq),
            None => Some(self.ledger.first_tip(&start).hash),
        };
        let held = self.read(chain, from_seq);
        let found = before
            .zip(held)
            .map(|(before, held)| ForkProof::compare(&self.ledger.crew(), &start, before, &held, shown));
        found.unwrap_or(Comparison::Elsewhere)
    }

    /// What a shell does with `Output::StoreFork`.
    pub(crate) fn store_fork(&mut self, proof: ForkProof) -> Result<(), Refusal> {
        let (chain, base) = (proof.chain(), proof.base());
        let before = match base.count.checked_sub(1) {
            Some(seq) => self.hash_of(chain, seq),
            None => self.ledger.chain(&chain).map(|held| self.ledger.first_tip(&held.start).hash),
        };
        if self.ledger.check_fork(&proof, before)? {
            let behind = self.hash_of(chain, base.count);
            self.ledger.take_in_fork(proof, behind);
            self.answer_unknown();
        }
        Ok(())
    }

    /// What a shell does after every change of the roster.
    fn answer_unknown(&mut self) {
        let unknown: Vec<_> = self.ledger.unknown_at_cut().collect();
        for (chain, count) in unknown {
            let hash = self.hash_of(chain, count - 1).expect("it is held");
            self.ledger.note_at_cut(chain, count, hash);
        }
    }

    fn hash_of(&self, chain: ChainId, seq: u64) -> Option<EventHash> {
        let start = self.ledger.chain(&chain)?.start;
        let mut before = self.ledger.first_tip(&start).hash;
        for run in self.runs.get(&chain)? {
            for event in run.placed_events(before) {
                if event.seq == seq {
                    return Some(event.hash);
                }
                before = event.hash;
            }
        }
        None
    }

    /// The same device once more, as from a copy of its whole disk.
    pub(crate) fn copy(&self) -> Self {
        let secret = DeviceSecret::from_seed(&self.secret.seed());
        let (ledger, runs) = (self.ledger.clone(), self.runs.clone());
        Self { secret, ledger, runs, common: self.common.clone(), ..*self }
    }

    /// How many events are held.
    pub(crate) fn events(&self) -> u64 {
        self.ledger.chains().map(|chain| chain.tip.next_seq).sum()
    }

    pub(crate) fn holds_kind(&self, kind: Kind) -> bool {
        self.runs.values().flatten().any(|run| run.events().any(|event| event.kind == kind.number()))
    }
}
