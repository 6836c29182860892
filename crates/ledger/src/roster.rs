//! Who belongs to the crew, with which device, and what counts: a fold of the roster events.
//!
//! # How it is folded
//!
//! Admissions form a tree under the founding device. Only owners change the roster, so the fold
//! asks one question again and again: whose word as an owner can now be decided for good? It goes
//! in rounds, from the root down.
//!
//! 1. The founding event gives the first person, who is an owner, and the first device.
//! 2. A round takes every *voice* that is ready and was not heard before. A voice is a device and
//!    a person it vouches for; it is ready once the device is admitted and its own person and the
//!    one who acts have both been made owners, whatever became of that later.
//! 3. The cut of a device is settled when its first voice is heard. Of the voice's events those
//!    count that stand before the cut, at places where both people are owners.
//! 4. All events of a round are taken together. Admissions, listings and role changes take effect
//!    for the next rounds; nothing changes what was decided in an earlier one.
//!
//! A device is admitted by a voice of an earlier round, so every device above it was heard before
//! it. Only devices above an owner's device may cut it or demote its person, so all that can ever
//! bear on a voice is known before it is heard. That is why the fold needs no clock, why no two
//! owners can remove each other, and why a word is never undone by its own consequences. Each voice
//! is heard once, so it ends. Within a round, ties go to the lowest hash, so the order of arrival
//! does not matter.
//!
//! A change of the role of somebody who was an owner before the round, or whom the change itself
//! shows to be known as one (it replaces the raise, or follows it in its own chain), needs a device
//! above all devices of that person. So does the retirement of an owner's device: one whose person
//! is an owner at the cut. A person who acts through the page of a shared device has an owner's
//! rights there but not the device's place in the tree; only the device's own person has.
//!
//! # The recovery words
//!
//! A [`Recovered`](crate::roster_events::Recovered) is a certificate: the recovery key, which the founding
//! event names, has signed it, so that it needs no voice to be heard. Certificates are taken before the
//! first round. Each gives its device a place at the top of the tree, beside the founding device, and its
//! retirements count against any device; only a certificate that names them replaces them. Each is the first
//! event of its chain, and a chain is never cut before it, so that whatever decides is passed on.
//!
//! Heads are not checked here; whoever takes in a run does that.

mod authority;
mod difference;
mod fold;
mod roles;

pub use authority::least_role;
pub use difference::Difference;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use trade::Moment;

use crate::chain::{Audience, ChainStart};
use crate::event::Payload;
use crate::fork::Fork;
use crate::ids::{ChainId, CrewId, DeviceKey, EventHash, PersonId};
use crate::recovery;
use crate::roster_events::{DeviceRetired, Role};
use crate::sabotage::Fault;

use roles::RoleHistory;

/// A roster event with its place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RosterEvent {
    /// Its hash.
    pub hash: EventHash,
    /// The chain it stands in.
    pub start: ChainStart,
    /// Its sequence number.
    pub seq: u64,
    /// What it says.
    pub payload: Payload,
}

/// A person of the crew.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Person {
    /// The person's id.
    pub person: PersonId,
    /// The name.
    pub name: String,
    /// The role after every change that counts.
    pub role: Role,
}

/// A device of the crew.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Device {
    /// Its key.
    pub key: DeviceKey,
    /// What it is called.
    pub name: String,
    /// Whose it is.
    pub person: PersonId,
    /// Vouches for the people whose page session it opened.
    pub shared: bool,
    /// Reads the office's chains: admitted so, or its person is an owner.
    pub office: bool,
    /// The device that admitted it; none at the top of the tree, for the founding device and those that the
    /// recovery words let in.
    pub admitted_by: Option<DeviceKey>,
    /// When the recovery words let it in, if they did, as that was written down.
    pub recovered_at: Option<Moment>,
    /// Writes no more.
    pub retired: bool,
}

/// What the founding event says, beside the names.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Founding {
    /// The public half of the key that the recovery words derive.
    pub recovery_key: DeviceKey,
    /// Who founded the crew.
    pub founder: PersonId,
    /// On which device.
    pub device: DeviceKey,
    /// When, as that was written down.
    pub at: Moment,
}

/// Where a chain ends for good.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cut {
    /// How many events count.
    pub count: u64,
    /// The hash of the last of them; the chain's own word for nothing when there is none.
    pub hash: EventHash,
}

/// A chain as the fold looks at it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// Its start.
    pub start: ChainStart,
    /// The lowest fork that is known of it.
    pub fork: Option<Arc<Fork>>,
    /// The event that is held at the place of a cut, once that is known.
    pub at_cut: Option<Cut>,
}

impl From<ChainStart> for Line {
    fn from(start: ChainStart) -> Self {
        Self { start, fork: None, at_cut: None }
    }
}

/// Whether an event counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Standing {
    /// It counts.
    Counted,
    /// It was logged for a mate, and counts once the mate, a lead or an owner accepts it.
    Proposed,
    /// It is kept and shown, and does not count.
    Without(Lacking),
}

/// What an event lacks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Lacking {
    /// It is beyond the cut of a retired device.
    BeyondCut,
    /// It is set aside: its device signed another event for the same place, or for one before.
    Forked,
    /// No counted event admits its device.
    Admission,
    /// The person is not of the crew.
    Person,
    /// The device does not vouch for this person.
    Vouching,
    /// The role does not allow it.
    Role,
    /// The kind does not belong in a chain of this audience.
    Audience,
}

/// A page session of a shared device, by its place in the crew chain it stands in.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Session {
    person: PersonId,
    chain: ChainId,
    hash: EventHash,
    opened: u64,
    closed: Option<u64>,
}

impl Session {
    /// Whether the session speaks for an event at this place. The opening and the closing are within it.
    fn covers(&self, start: &ChainStart, seq: u64) -> bool {
        match start.audience {
            Audience::Crew => {
                self.chain == start.chain
                    && seq >= self.opened
                    && self.closed.is_none_or(|closed| seq <= closed)
            }
            // Office and crew chains have no order between them.
            Audience::Office => true,
        }
    }
}

/// The roster.
#[derive(Debug, Clone)]
pub struct Roster {
    crew: CrewId,
    crew_name: String,
    founding: Option<Founding>,
    people: BTreeMap<PersonId, Person>,
    devices: BTreeMap<DeviceKey, Device>,
    /// Whose chains are taken in.
    admitted: BTreeSet<DeviceKey>,
    roles: RoleHistory,
    /// The retirements of each retired device that count and are not superseded.
    retirements: BTreeMap<DeviceKey, Vec<DeviceRetired>>,
    /// The certificates that chains begin with; these chains are not cut before them.
    certificates: BTreeMap<ChainId, EventHash>,
    sessions: BTreeMap<DeviceKey, Vec<Session>>,
    /// The chains that forked.
    forked: BTreeMap<ChainId, Line>,
    /// Where the roster events stand that the fold counted; sessions are judged by their place.
    counted: BTreeSet<(ChainId, u64)>,
}

impl Roster {
    /// Folds the roster from the root. The order of arrival does not matter. Events in chains that
    /// are not among `chains` are left out.
    #[must_use]
    pub fn fold(
        crew: CrewId,
        events: &BTreeMap<EventHash, RosterEvent>,
        chains: &BTreeMap<ChainId, Line>,
    ) -> Self {
        fold::fold(crew, events, chains)
    }

    /// The crew's name; empty until the founding event is held.
    #[must_use]
    pub fn crew_name(&self) -> &str {
        &self.crew_name
    }

    /// How the crew was founded; none until that is held.
    #[must_use]
    pub const fn founding(&self) -> Option<&Founding> {
        self.founding.as_ref()
    }

    /// Whether the first event of a chain is a certificate of the recovery words.
    #[must_use]
    pub fn is_certificate(&self, start: &ChainStart, first: &Payload) -> bool {
        let key = self.founding.map(|founding| founding.recovery_key);
        key.is_some_and(|key| recovery::is_certificate(&self.crew, &key, start, first))
    }

    /// The people, in the order of their ids.
    pub fn people(&self) -> impl Iterator<Item = &Person> {
        self.people.values()
    }

    /// One person.
    #[must_use]
    pub fn person(&self, person: &PersonId) -> Option<&Person> {
        self.people.get(person)
    }

    /// The devices, in the order of their keys.
    pub fn devices(&self) -> impl Iterator<Item = &Device> {
        self.devices.values()
    }

    /// One device whose admission counts.
    #[must_use]
    pub fn device(&self, device: &DeviceKey) -> Option<&Device> {
        self.devices.get(device)
    }

    /// Whether an event admits the device that has a place which counts, with the right to do so or without: all nodes
    /// hold those, so they agree. Chains of other devices are not taken in, and count for nothing where they are held.
    #[must_use]
    pub fn is_admitted(&self, device: &DeviceKey) -> bool {
        self.admitted.contains(device)
    }

    /// How far a chain counts, if not as far as it is held: up to where its device was retired or, where that names none
    /// of the branches that are held, up to its fork.
    #[must_use]
    pub fn cut(&self, start: &ChainStart) -> Option<Cut> {
        let base = self.base(start);
        match (self.retired_at(start), base) {
            (Some(cut), Some(base)) if cut.count > base.count && !self.reaches(start, &cut) => Some(base),
            (Some(cut), _) => Some(cut),
            (None, base) => base,
        }
    }

    /// Up to where events of a chain are taken in, if there is an end: where its device was retired, or its fork.
    #[must_use]
    pub(crate) fn end(&self, start: &ChainStart) -> Option<Cut> {
        self.retired_at(start).or_else(|| self.base(start))
    }

    /// Whether a forked chain is held up to this event, in its line or in a branch of the proof.
    pub(crate) fn reaches(&self, start: &ChainStart, cut: &Cut) -> bool {
        self.forked.get(&start.chain).is_some_and(|line| {
            line.at_cut.as_ref() == Some(cut)
                || line.fork.as_ref().is_some_and(|fork| fork.branch_to(cut).is_some())
        })
    }

    /// Whether a device is retired.
    pub(crate) fn is_retired(&self, device: &DeviceKey) -> bool {
        self.retirements.contains_key(device)
    }

    /// Whether the chain begins with a certificate of the recovery words.
    pub(crate) fn is_certified(&self, chain: &ChainId) -> bool {
        self.certificates.contains_key(chain)
    }

    /// The last event before a chain's fork.
    fn base(&self, start: &ChainStart) -> Option<Cut> {
        let line = self.forked.get(&start.chain)?;
        line.fork.as_ref().map(|fork| fork.proof().base())
    }

    /// What an event lacks by its place: nothing unless it is beyond a cut or set aside by a fork.
    #[must_use]
    pub fn lacks_by_place(&self, start: &ChainStart, seq: u64, hash: &EventHash) -> Option<Lacking> {
        let cut = self.cut(start)?;
        let fork = self.forked.get(&start.chain).and_then(|line| line.fork.as_ref());
        let fork = fork.filter(|fork| seq >= fork.proof().base().count);
        if fork.is_some() && Fault::CountBehindFork.is_set() {
            return None;
        }
        if seq >= cut.count {
            return Some(if fork.is_some() { Lacking::Forked } else { Lacking::BeyondCut });
        }
        // Behind the fork, and before a cut that names one of the branches.
        let is_of_line = fork.is_none_or(|fork| match fork.branch_to(&cut) {
            Some(branch) => branch.contains(hash),
            None => fork.may_be_held(hash),
        });
        (!is_of_line).then_some(Lacking::Forked)
    }

    fn is_beyond(&self, start: &ChainStart, seq: u64, hash: &EventHash) -> bool {
        self.lacks_by_place(start, seq, hash).is_some()
    }

    /// Where the retirement of its device cuts a chain.
    pub(crate) fn retired_at(&self, start: &ChainStart) -> Option<Cut> {
        let retirements = self.retirements.get(&start.device)?;
        let nothing = Cut { count: 0, hash: start.anchor(&self.crew) };
        let lowest = retirements
            .iter()
            .map(|retired| cut_by(retired, start.chain).unwrap_or(nothing))
            .min_by_key(lowest_first);
        let certificate = self.certificates.get(&start.chain).map(|hash| Cut { count: 1, hash: *hash });
        lowest.map(|cut| certificate.filter(|_| cut.count == 0).unwrap_or(cut))
    }

    /// Whether an event counts, by where it stands (its number in the chain and its hash) and what it says.
    ///
    /// Roster events are judged as the fold judged them, so one that is not among the folded events
    /// does not count.
    #[must_use]
    pub fn standing(&self, start: &ChainStart, place: (u64, EventHash), payload: &Payload) -> Standing {
        self.judge(start, place, &payload.act, &payload.body)
    }

    /// Whether the device speaks for the person at this place.
    fn vouches(&self, device: &Device, start: &ChainStart, seq: u64, person: PersonId) -> bool {
        if device.person == person {
            return true;
        }
        let counted = |session: &Session| {
            let home = ChainStart { chain: session.chain, device: device.key, audience: Audience::Crew };
            !self.is_beyond(&home, session.opened, &session.hash)
        };
        device.shared
            && self
                .sessions
                .get(&device.key)
                .into_iter()
                .flatten()
                .any(|session| session.person == person && session.covers(start, seq) && counted(session))
    }
}

/// The cut that a retirement names for a chain. Cuts without a hash of their own are the caller's.
fn cut_by(retired: &DeviceRetired, chain: ChainId) -> Option<Cut> {
    let named = retired.cuts.iter().filter(|position| position.chain == chain);
    named
        .map(|position| Cut { count: position.seq.saturating_add(1), hash: position.hash })
        .min_by_key(lowest_first)
}

/// The lowest count wins; of two words for the same place the lowest hash.
fn lowest_first(cut: &Cut) -> (u64, EventHash) {
    (cut.count, cut.hash)
}
