//! The fold itself: rounds of voices, from the root down. The module above says why it ends.

use std::collections::{BTreeMap, BTreeSet};

use crate::chain::Audience;
use crate::event::Payload;
use crate::ids::{ChainId, CrewId, DeviceKey, EventHash, PersonId};
use crate::kinds::Body;
use crate::roster_events::{DeviceAdmitted, DeviceRetired, PersonListed, Role};

use super::roles::{CountedChange, RoleHistory};
use super::{Device, Founding, Line, Person, Roster, RosterEvent, Session, cut_by};

/// A device and a person that it vouches for.
type Voice = (DeviceKey, PersonId);

/// A retirement by an owner, whose word counts or not for the device that it retires, or by the recovery words.
struct RetirementClaim<'a> {
    event: &'a RosterEvent,
    retired: &'a DeviceRetired,
    by_words: bool,
}

impl RetirementClaim<'_> {
    /// Whether the claim takes the place of a former one. What the words said only the words replace.
    fn supersedes(&self, former: &Self) -> bool {
        self.event.hash != former.event.hash
            && names(&self.event.payload, &former.event.hash)
            && (self.by_words || !former.by_words)
    }
}

/// A listing by an owner.
struct Listing<'a> {
    event: &'a RosterEvent,
    name: &'a str,
}

struct Fold<'a> {
    roster: Roster,
    /// Everybody who was made an owner, whatever became of it.
    ever_owners: BTreeSet<PersonId>,
    heard: BTreeSet<Voice>,
    listings: BTreeMap<PersonId, Vec<Listing<'a>>>,
    claims: BTreeMap<DeviceKey, Vec<RetirementClaim<'a>>>,
    /// Events of crew chains by device.
    said: BTreeMap<DeviceKey, Vec<&'a RosterEvent>>,
    /// Every admission, with the device that it admits.
    admissions: Vec<(&'a RosterEvent, DeviceKey)>,
}

pub(super) fn fold(
    crew: CrewId,
    events: &BTreeMap<EventHash, RosterEvent>,
    chains: &BTreeMap<ChainId, Line>,
) -> Roster {
    let mut said: BTreeMap<_, Vec<_>> = BTreeMap::new();
    let mut admissions = Vec::new();
    for event in events.values() {
        if let Body::DeviceAdmitted(admitted) = &event.payload.body {
            admissions.push((event, admitted.device));
        }
        let is_of_crew = event.start.audience == Audience::Crew;
        if is_of_crew && chains.get(&event.start.chain).is_some_and(|line| line.start == event.start) {
            said.entry(event.start.device).or_default().push(event);
        }
    }
    let sessions = said.iter().map(|(device, events)| (*device, sessions_of(events))).collect();
    let forked = chains.iter().filter(|(_, line)| line.fork.is_some());
    let forked = forked.map(|(chain, line)| (*chain, line.clone())).collect();
    let roster = Roster {
        crew,
        crew_name: String::new(),
        founding: None,
        people: BTreeMap::new(),
        devices: BTreeMap::new(),
        admitted: BTreeSet::new(),
        roles: RoleHistory::default(),
        retirements: BTreeMap::new(),
        certificates: BTreeMap::new(),
        sessions,
        forked,
        counted: BTreeSet::new(),
    };
    let mut fold = Fold {
        roster,
        ever_owners: BTreeSet::new(),
        heard: BTreeSet::new(),
        listings: BTreeMap::new(),
        claims: BTreeMap::new(),
        said,
        admissions,
    };
    if let Some(founding) = events.get(&EventHash(crew.0)) {
        fold.found(founding);
        fold.take_certificates();
    }
    while fold.hear_round() {}
    fold.finish()
}

/// The page sessions of a device. A session is closed only in the chain it was opened in.
fn sessions_of(events: &[&RosterEvent]) -> Vec<Session> {
    let opened = events.iter().filter_map(|event| match &event.payload.body {
        Body::SessionOpened(opened) => Some((event, opened)),
        _ => None,
    });
    opened
        .map(|(event, opened)| {
            let chain = event.start.chain;
            let later = events.iter().filter(|later| later.start.chain == chain && later.seq > event.seq);
            let closed = later.filter(|later| {
                matches!(&later.payload.body, Body::SessionClosed(closed) if closed.session == opened.session)
            });
            let closed = closed.map(|closed| closed.seq).min();
            Session { person: opened.person, chain, hash: event.hash, opened: event.seq, closed }
        })
        .collect()
}

/// A device at the top of the tree: one that stays at home, whose page the crew's phones use until there
/// are others.
const fn top_device(key: DeviceKey, name: String, person: PersonId) -> Device {
    let (admitted_by, recovered_at) = (None, None);
    Device { key, name, person, shared: true, office: true, admitted_by, recovered_at, retired: false }
}

fn names(payload: &Payload, former: &EventHash) -> bool {
    payload.act.replaces.binary_search(former).is_ok()
}

/// Whether one event stands before another in the same chain.
fn said_before(former: &RosterEvent, event: &RosterEvent) -> bool {
    former.start.chain == event.start.chain && former.seq < event.seq
}

/// Of events about the same thing the one with the lowest hash that no other of them replaces.
fn unsuperseded<'e>(events: &[&'e RosterEvent]) -> Option<&'e RosterEvent> {
    let replaced = |event: &RosterEvent| {
        events.iter().any(|other| other.hash != event.hash && names(&other.payload, &event.hash))
    };
    let standing = events.iter().filter(|event| !replaced(event));
    standing.min_by_key(|event| event.hash).copied()
}

impl<'a> Fold<'a> {
    fn found(&mut self, founding: &'a RosterEvent) {
        let Body::CrewFounded(founded) = &founding.payload.body else { return };
        if founding.start.audience != Audience::Crew {
            return;
        }
        let person = PersonId::named(&self.roster.crew, &founded.founder);
        let key = founding.start.device;
        self.roster.crew_name.clone_from(&founded.crew);
        let (recovery_key, at) = (founded.recovery_key, founding.payload.act.logged_at);
        self.roster.founding = Some(Founding { recovery_key, founder: person, device: key, at });
        self.roster.roles.begin(person, Role::Owner);
        self.ever_owners.insert(person);
        self.listings.entry(person).or_default().push(Listing { event: founding, name: &founded.founder });
        self.roster.admitted.insert(key);
        self.roster.counted.insert((founding.start.chain, founding.seq));
        let name = founded.device.clone();
        let device = top_device(key, name, person);
        self.roster.devices.insert(key, device);
    }

    /// Takes what the recovery words signed. It depends on the founding event and nothing else.
    fn take_certificates(&mut self) {
        let firsts = self.said.values().flatten().copied().filter(|event| event.seq == 0);
        let certificates: Vec<&'a RosterEvent> =
            firsts.filter(|event| self.roster.is_certificate(&event.start, &event.payload)).collect();
        let mut of_device: BTreeMap<DeviceKey, Vec<&'a RosterEvent>> = BTreeMap::new();
        for event in certificates {
            let Body::Recovered(recovered) = &event.payload.body else { continue };
            self.mark_counted(event);
            self.roster.admitted.insert(recovered.device);
            self.roster.certificates.insert(event.start.chain, event.hash);
            of_device.entry(recovered.device).or_default().push(event);
            for retired in recovered.retires.iter().filter(|retired| retired.device != recovered.device) {
                let claim = RetirementClaim { event, retired, by_words: true };
                self.claims.entry(retired.device).or_default().push(claim);
            }
        }
        for (key, events) in of_device {
            let Some(event) = unsuperseded(&events) else { continue };
            let Body::Recovered(recovered) = &event.payload.body else { continue };
            // Whoever has the words and the founding device says of it nothing new.
            self.roster.devices.entry(key).or_insert_with(|| Device {
                recovered_at: Some(event.payload.act.logged_at),
                ..top_device(key, recovered.name.clone(), recovered.person)
            });
        }
    }

    /// Hears every voice that is ready. False when there is none.
    fn hear_round(&mut self) -> bool {
        let ready = self.ready_voices();
        for (device, _) in &ready {
            self.settle_retirements(*device);
        }
        let counted: Vec<&RosterEvent> = ready.iter().flat_map(|voice| self.counted_events(voice)).collect();
        self.heard.extend(&ready);
        let owners_before = self.ever_owners.clone();
        self.take_admissions(&counted);
        self.take_listings(&counted);
        self.take_role_changes(&counted, &owners_before);
        for event in counted {
            if let Body::DeviceRetired(retired) = &event.payload.body {
                let claim = RetirementClaim { event, retired, by_words: false };
                self.claims.entry(retired.device).or_default().push(claim);
            }
        }
        !ready.is_empty()
    }

    fn ready_voices(&self) -> Vec<Voice> {
        let owned = self.roster.devices.values().filter(|device| self.ever_owners.contains(&device.person));
        let voices = owned.flat_map(|device| {
            let sessions = self.roster.sessions.get(&device.key).into_iter().flatten();
            let sessions = sessions.filter(|_| device.shared).map(|session| session.person);
            let people: BTreeSet<PersonId> = sessions.chain([device.person]).collect();
            people.into_iter().map(|person| (device.key, person))
        });
        voices.filter(|voice| self.ever_owners.contains(&voice.1) && !self.heard.contains(voice)).collect()
    }

    /// The events of a voice at places where it is an owner's, before the cut.
    fn counted_events(&self, (key, person): &Voice) -> Vec<&'a RosterEvent> {
        let Some(device) = self.roster.devices.get(key) else { return Vec::new() };
        let is_owner_at = |person, event: &RosterEvent| {
            self.roster.roles.at(person, (event.start.chain, event.seq)) == Some(Role::Owner)
        };
        let counts = |event: &RosterEvent| {
            event.payload.act.person == *person
                && event.payload.act.author == *person
                && !self.roster.is_beyond(&event.start, event.seq, &event.hash)
                && is_owner_at(*person, event)
                && is_owner_at(device.person, event)
                && self.roster.vouches(device, &event.start, event.seq, *person)
        };
        let said = self.said.get(key).into_iter().flatten().copied();
        said.filter(|event| counts(event)).collect()
    }

    fn mark_counted(&mut self, event: &RosterEvent) {
        self.roster.counted.insert((event.start.chain, event.seq));
    }

    fn take_admissions(&mut self, counted: &[&'a RosterEvent]) {
        let mut admissions: BTreeMap<DeviceKey, Vec<&'a RosterEvent>> = BTreeMap::new();
        for event in counted {
            if let Body::DeviceAdmitted(admitted) = &event.payload.body {
                // An admission of an earlier round stands: what the device said may be decided already.
                if !self.roster.devices.contains_key(&admitted.device) {
                    admissions.entry(admitted.device).or_default().push(event);
                }
            }
        }
        for (key, events) in admissions {
            let Some(event) = unsuperseded(&events) else { continue };
            let Body::DeviceAdmitted(DeviceAdmitted { name, person, shared, office, .. }) =
                &event.payload.body
            else {
                continue;
            };
            let (name, admitted_by) = (name.clone(), Some(event.start.device));
            let (person, shared, office) = (*person, *shared, *office);
            let (recovered_at, retired) = (None, false);
            let device = Device { key, name, person, shared, office, admitted_by, recovered_at, retired };
            self.roster.devices.insert(key, device);
            for event in events {
                self.mark_counted(event);
            }
        }
    }

    fn take_listings(&mut self, counted: &[&'a RosterEvent]) {
        let mut firsts: BTreeMap<PersonId, Vec<(bool, EventHash, Role)>> = BTreeMap::new();
        let listed: Vec<(&'a RosterEvent, &'a PersonListed)> = counted
            .iter()
            .filter_map(|event| match &event.payload.body {
                Body::PersonListed(listed) => Some((*event, listed)),
                _ => None,
            })
            .collect();
        for (event, PersonListed { person, name, role }) in &listed {
            let follows = listed.iter().any(|(other, former)| {
                former.person == *person && (names(&event.payload, &other.hash) || said_before(other, event))
            });
            firsts.entry(*person).or_default().push((follows, event.hash, *role));
            self.listings.entry(*person).or_default().push(Listing { event, name });
            self.mark_counted(event);
        }
        for (person, mut listings) in firsts {
            listings.sort_unstable();
            if let (Some((_, _, role)), None) = (listings.first(), self.roster.roles.first(person)) {
                self.roster.roles.begin(person, *role);
                if *role == Role::Owner {
                    self.ever_owners.insert(person);
                }
            }
        }
    }

    fn take_role_changes(&mut self, counted: &[&'a RosterEvent], owners_before: &BTreeSet<PersonId>) {
        for event in counted {
            let Body::RoleChanged(changed) = &event.payload.body else { continue };
            let person = changed.person;
            let shown_an_owner = counted.iter().any(|other| {
                let known = said_before(other, event) || names(&event.payload, &other.hash);
                known && makes_owner(other, person)
            });
            let devices = self.roster.devices.values().filter(|device| device.person == person);
            let mut devices = devices.map(|device| device.key);
            let is_owner = owners_before.contains(&person) || shown_an_owner;
            if is_owner && !devices.all(|device| self.speaks_from_above(event, device)) {
                continue;
            }
            if changed.role == Role::Owner {
                self.ever_owners.insert(person);
            }
            self.mark_counted(event);
            self.roster.roles.change(CountedChange {
                hash: event.hash,
                place: (event.start.chain, event.seq),
                changed: changed.clone(),
                replaces: event.payload.act.replaces.clone(),
            });
        }
    }

    /// Whether the event was said by the own person of a device above this one.
    fn speaks_from_above(&self, event: &RosterEvent, device: DeviceKey) -> bool {
        let device_of = |key: &DeviceKey| self.roster.devices.get(key);
        let speaker = event.start.device;
        if device_of(&speaker).is_none_or(|device| device.person != event.payload.act.person) {
            return false;
        }
        let parent = |key: &DeviceKey| device_of(key).and_then(|device| device.admitted_by);
        std::iter::successors(parent(&device), parent).any(|above| above == speaker)
    }

    /// Settles which of the retirements so far count for a device, unless that was settled before.
    fn settle_retirements(&mut self, key: DeviceKey) {
        let Some(device) = self.roster.devices.get(&key) else { return };
        if self.heard.iter().any(|(heard, _)| *heard == key) {
            return;
        }
        let claims = self.claims.get(&key).map(Vec::as_slice).unwrap_or_default();
        let from_beside = |claim: &RetirementClaim<'_>| !self.is_owners_at_cut(device.person, claim);
        let counted: Vec<_> = claims
            .iter()
            .filter(|claim| claim.by_words || self.speaks_from_above(claim.event, key) || from_beside(claim))
            .collect();
        let superseded = |former: &RetirementClaim<'_>| counted.iter().any(|later| later.supersedes(former));
        let standing = counted.iter().filter(|claim| !superseded(claim));
        let standing: Vec<DeviceRetired> = standing.map(|claim| claim.retired.clone()).collect();
        let places: Vec<_> = counted.iter().map(|claim| (claim.event.start.chain, claim.event.seq)).collect();
        self.roster.counted.extend(places);
        if !standing.is_empty() {
            self.roster.retirements.insert(key, standing);
        }
    }

    /// Whether the person is an owner at the last event that a retirement lets stand, in any chain
    /// it names; with none named, at the first event of a chain that nobody names.
    fn is_owners_at_cut(&self, person: PersonId, claim: &RetirementClaim<'_>) -> bool {
        let said_at = (claim.event.start.chain, claim.event.seq);
        let is_owner_at =
            |place| self.roster.roles.at_as_said_before(person, place, said_at) == Some(Role::Owner);
        let cuts = &claim.retired.cuts;
        let named =
            cuts.iter().filter_map(|position| cut_by(claim.retired, position.chain).zip(Some(position)));
        let mut named = named.map(|(cut, position)| (position.chain, cut.count.saturating_sub(1)));
        if cuts.is_empty() { is_owner_at((ChainId([0; 16]), 0)) } else { named.any(is_owner_at) }
    }

    /// Settles whose chains are taken in: what is set aside admits nobody, since not everybody holds it, and neither does
    /// what stands in the chains of a device that is not admitted itself.
    fn settle_admitted(&mut self) {
        let mut waiting = std::mem::take(&mut self.admissions);
        waiting.retain(|(event, _)| !self.roster.is_beyond(&event.start, event.seq, &event.hash));
        loop {
            let is_heard = |event: &RosterEvent| self.roster.admitted.contains(&event.start.device);
            let (heard, left): (Vec<_>, Vec<_>) = waiting.into_iter().partition(|(event, _)| is_heard(event));
            if heard.is_empty() {
                return;
            }
            self.roster.admitted.extend(heard.into_iter().map(|(_, device)| device));
            waiting = left;
        }
    }

    /// Settles what nobody's rights hang on: retirements of the others' devices, names, last roles.
    fn finish(mut self) -> Roster {
        let keys: Vec<DeviceKey> = self.roster.devices.keys().copied().collect();
        for key in keys {
            self.settle_retirements(key);
        }
        self.settle_admitted();
        for (person, listings) in &self.listings {
            let Some(role) = self.roster.roles.last(*person) else { continue };
            let events: Vec<&RosterEvent> = listings.iter().map(|listing| listing.event).collect();
            let current = unsuperseded(&events).map(|event| event.hash);
            let current = listings.iter().find(|listing| Some(listing.event.hash) == current);
            let name = current.map(|listing| listing.name.to_owned()).unwrap_or_default();
            self.roster.people.insert(*person, Person { person: *person, name, role });
        }
        let Roster { devices, people, retirements, .. } = &mut self.roster;
        for device in devices.values_mut() {
            let is_owners = people.get(&device.person).is_some_and(|person| person.role == Role::Owner);
            device.office |= is_owners;
            device.retired = retirements.contains_key(&device.key);
        }
        self.roster
    }
}

/// Whether an event makes a person an owner.
fn makes_owner(event: &RosterEvent, person: PersonId) -> bool {
    if let Body::RoleChanged(changed) = &event.payload.body {
        changed.person == person && changed.role == Role::Owner
    } else if let Body::PersonListed(listed) = &event.payload.body {
        listed.person == person && listed.role == Role::Owner
    } else {
        false
    }
}
