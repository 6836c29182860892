//! A crew's whole history with real hashes and signatures, said event by event.

use std::collections::BTreeMap;

use ledger::chain::{Audience, ChainStart, DeviceSecret, Tip};
use ledger::ids::{EntryId, EntryRef, JobId, PersonId, SessionId};
use ledger::office::PricePaid;
use ledger::roster::{Line, Roster, RosterEvent, Standing};
use ledger::roster_events::{
    CrewFounded, DeviceAdmitted, DeviceRetired, PersonListed, Position, Role, RoleChanged, SessionOpened,
};
use ledger::site::{Hours, JobListed, Note, Place, SignedOff, Site, Worked};
use ledger::{Act, Body, ChainId, CrewId, DeviceKey, EventHash, Payload, RecoverySecret, Run, RunBuilder};
use trade::{Day, Moment, Pence};

/// Who acts, with which device (by its number), in its crew chain.
#[derive(Clone, Copy)]
pub(crate) struct Voice(pub(crate) PersonId, pub(crate) u8);

/// Everything that was said, by anyone, with real hashes.
pub(crate) struct World {
    pub(crate) crew: CrewId,
    pub(crate) events: BTreeMap<EventHash, RosterEvent>,
    pub(crate) chains: BTreeMap<ChainId, ChainStart>,
    /// The runs, one an event, in the order they were said.
    pub(crate) runs: Vec<(ChainStart, Run)>,
    tips: BTreeMap<ChainId, Tip>,
}

pub(crate) fn secret(device: u8) -> DeviceSecret {
    DeviceSecret::from_seed(&[device; 32])
}

pub(crate) fn key(device: u8) -> DeviceKey {
    secret(device).public()
}

pub(crate) fn start(device: u8, audience: Audience) -> ChainStart {
    let chain = match audience {
        Audience::Crew => ChainId([device; 16]),
        Audience::Office => ChainId([device + 100; 16]),
    };
    ChainStart { chain, device: key(device), audience }
}

/// What stands on the crew's paper.
pub(crate) fn words() -> RecoverySecret {
    RecoverySecret::from_entropy([99; 16])
}

pub(crate) fn lost(device: u8, cuts: Vec<Position>) -> DeviceRetired {
    DeviceRetired { device: key(device), cuts, reason: "lost".into() }
}

pub(crate) fn crew_chain(device: u8) -> ChainStart {
    start(device, Audience::Crew)
}

pub(crate) fn payload(person: PersonId, replaces: &[EventHash], body: Body) -> Payload {
    let mut replaces = replaces.to_vec();
    replaces.sort_unstable();
    let act = Act {
        person,
        author: person,
        entry: EntryId([1; 16]),
        done_on: Day::from_number(20_000).unwrap(),
        done_at: None,
        logged_at: Moment::new(0, 0).unwrap(),
        row_key: String::new(),
        said: String::new(),
        note: String::new(),
        replaces,
    };
    Payload { act, body }
}

impl World {
    /// Maren Oake founds the crew on device 1.
    pub(crate) fn new() -> Self {
        let mut world = Self {
            crew: CrewId([0; 32]),
            events: BTreeMap::new(),
            chains: BTreeMap::new(),
            runs: Vec::new(),
            tips: BTreeMap::new(),
        };
        let founded = CrewFounded {
            crew: "Oake and crew".into(),
            founder: "Maren Oake".into(),
            device: "laptop".into(),
            seed: [7; 32],
            recovery_key: words().public(),
        };
        // The founder's id follows from this event's hash, so the event itself can't name it.
        let nobody = Voice(PersonId([0; 16]), 1);
        let hash = world.say(nobody, &[], Body::CrewFounded(founded));
        world.crew = CrewId(hash.0);
        world
    }

    pub(crate) fn person(&self, name: &str) -> PersonId {
        PersonId::named(&self.crew, name)
    }

    pub(crate) fn maren(&self) -> Voice {
        Voice(self.person("Maren Oake"), 1)
    }

    pub(crate) fn say(&mut self, by: Voice, replaces: &[EventHash], body: Body) -> EventHash {
        self.say_in(crew_chain(by.1), by, replaces, body)
    }

    fn say_in(
        &mut self,
        start: ChainStart,
        Voice(person, device): Voice,
        replaces: &[EventHash],
        body: Body,
    ) -> EventHash {
        self.chains.insert(start.chain, start);
        let tip = self.tips.get(&start.chain).copied().unwrap_or_else(|| start.tip(&self.crew));
        let payload = payload(person, replaces, body);
        let mut builder = RunBuilder::new(start, tip);
        let hash = builder.push(0, payload.body.kind().number(), 1, &payload.encode().unwrap()).unwrap();
        // The first event of all makes the crew id that its head is signed with.
        let crew = if self.runs.is_empty() { CrewId(hash.0) } else { self.crew };
        let (run, after) = builder.finish(&crew, &secret(device)).unwrap();
        self.runs.push((start, run));
        self.tips.insert(start.chain, after);
        if payload.body.kind().is_roster() {
            self.events.insert(hash, RosterEvent { hash, start, seq: tip.next_seq, payload });
        }
        hash
    }

    pub(crate) fn list(&mut self, by: Voice, name: &str, role: Role) -> PersonId {
        let person = self.person(name);
        self.say(by, &[], Body::PersonListed(PersonListed { person, name: name.into(), role }));
        person
    }

    pub(crate) fn admit(&mut self, by: Voice, device: u8, person: PersonId) -> Voice {
        self.admit_as(by, device, person, false);
        Voice(person, device)
    }

    pub(crate) fn admit_as(&mut self, by: Voice, device: u8, person: PersonId, shared: bool) -> EventHash {
        let name = format!("device {device}");
        let admitted = DeviceAdmitted { device: key(device), name, person, shared, office: false };
        self.say(by, &[], Body::DeviceAdmitted(admitted))
    }

    pub(crate) fn retire(
        &mut self,
        by: Voice,
        device: u8,
        cuts: Vec<Position>,
        replaces: &[EventHash],
    ) -> EventHash {
        self.say(by, replaces, Body::DeviceRetired(lost(device, cuts)))
    }

    /// The recovery words sign for a device, in a chain of its own if it has said something before.
    pub(crate) fn certify(
        &mut self,
        by: Voice,
        retires: Vec<DeviceRetired>,
        replaces: &[EventHash],
    ) -> EventHash {
        let is_new = |start: &ChainStart| !self.tips.contains_key(&start.chain);
        let numbers = (200..=u8::MAX).map(|number| ChainId([number; 16]));
        let beside = numbers.map(|chain| ChainStart { chain, ..crew_chain(by.1) });
        let start = [crew_chain(by.1)].into_iter().chain(beside).find(is_new).unwrap();
        let mut replaces = replaces.to_vec();
        replaces.sort_unstable();
        let named = (format!("device {}", by.1), by.0);
        let recovered = words().certify(&self.crew, &start, &replaces, named, retires).unwrap();
        self.say_in(start, by, &replaces, Body::Recovered(recovered))
    }

    pub(crate) fn change(
        &mut self,
        by: Voice,
        person: PersonId,
        role: Role,
        positions: Vec<Position>,
        replaces: &[EventHash],
    ) -> EventHash {
        self.say(by, replaces, Body::RoleChanged(RoleChanged { person, role, positions }))
    }

    pub(crate) fn open_session(&mut self, by: Voice, person: PersonId) -> EventHash {
        let session = SessionId([by.1; 16]);
        self.say(by, &[], Body::SessionOpened(SessionOpened { session, person, name: "phone".into() }))
    }

    pub(crate) fn note(&mut self, by: Voice) -> Position {
        self.say(by, &[], note());
        self.position(by.1)
    }

    /// The last event of a device's crew chain.
    pub(crate) fn position(&self, device: u8) -> Position {
        let chain = crew_chain(device).chain;
        let tip = self.tips[&chain];
        Position { chain, seq: tip.next_seq - 1, hash: tip.hash }
    }

    pub(crate) fn lines(&self) -> BTreeMap<ChainId, Line> {
        self.chains.iter().map(|(id, start)| (*id, (*start).into())).collect()
    }

    pub(crate) fn roster(&self) -> Roster {
        Roster::fold(self.crew, &self.events, &self.lines())
    }

    pub(crate) fn standing(&self, device: u8, seq: u64, person: PersonId, body: Body) -> Standing {
        self.standing_by(device, seq, person, person, body)
    }

    /// The same, written down by somebody else.
    pub(crate) fn standing_by(
        &self,
        device: u8,
        seq: u64,
        author: PersonId,
        person: PersonId,
        body: Body,
    ) -> Standing {
        let mut payload = payload(person, &[], body);
        payload.act.author = author;
        self.roster().standing(&crew_chain(device), (seq, EventHash([0; 32])), &payload)
    }

    pub(crate) fn stands(&self, event: EventHash) -> Standing {
        let event = &self.events[&event];
        self.roster().standing(&event.start, (event.seq, event.hash), &event.payload)
    }
}

pub(crate) fn site() -> Site {
    Site { job: JobId([4; 16]), stage: None, place: Place::default() }
}

pub(crate) fn note() -> Body {
    Body::Note(Note { site: site(), photos: vec![] })
}

pub(crate) fn hours() -> Body {
    Body::Hours(Hours { site: site(), activity: "loading".into(), worked: Worked::Length { minutes: 30 } })
}

pub(crate) fn signed_off() -> Body {
    Body::SignedOff(SignedOff { site: site(), evidence: vec![] })
}

pub(crate) fn job_listed() -> Body {
    let (job, text) = (JobId([4; 16]), String::new());
    Body::JobListed(JobListed {
        job,
        code: "GARAGE".into(),
        title: text.clone(),
        customer: text.clone(),
        site_address: text,
        time_zone: "Europe/London".into(),
    })
}

pub(crate) fn price_paid() -> Body {
    let of = EntryRef { person: PersonId([1; 16]), entry: EntryId([1; 16]) };
    let none = Pence::default();
    Body::PricePaid(PricePaid { of, items: vec![], net: none, vat: none, per: String::new(), minimum: none })
}
