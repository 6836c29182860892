//! Who belongs to the crew, with which device, and what counts: a fold of the roster events.

use std::collections::BTreeMap;

use crate::chain::ChainStart;
use crate::event::Payload;
use crate::ids::{ChainId, CrewId, DeviceKey, EventHash, PersonId};
use crate::roster_events::Role;

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
    /// The device that admitted it; none for the founding device.
    pub admitted_by: Option<DeviceKey>,
    /// Writes no more.
    pub retired: bool,
}

/// Where a chain ends for good.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Cut {
    /// How many events count.
    pub count: u64,
    /// The hash of the last of them; the chain's own word for nothing when there is none.
    pub hash: EventHash,
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

/// The roster.
#[derive(Debug, Clone)]
pub struct Roster {}

impl Roster {
    /// Folds the roster from the root. The order of arrival does not matter.
    #[must_use]
    pub fn fold(
        _crew: CrewId,
        _events: &BTreeMap<EventHash, RosterEvent>,
        _chains: &BTreeMap<ChainId, ChainStart>,
    ) -> Self {
        Self {}
    }

    /// The crew's name.
    #[must_use]
    pub fn crew_name(&self) -> &str {
        ""
    }

    /// The people, in the order of their ids.
    pub fn people(&self) -> impl Iterator<Item = &Person> {
        std::iter::empty()
    }

    /// One person.
    #[must_use]
    pub fn person(&self, _person: &PersonId) -> Option<&Person> {
        None
    }

    /// The devices, in the order of their keys.
    pub fn devices(&self) -> impl Iterator<Item = &Device> {
        std::iter::empty()
    }

    /// One device whose admission counts.
    #[must_use]
    pub fn device(&self, _device: &DeviceKey) -> Option<&Device> {
        None
    }

    /// Whether any held event admits the device, counted or not. This only grows, so nodes agree.
    #[must_use]
    pub fn is_admitted(&self, _device: &DeviceKey) -> bool {
        false
    }

    /// Where a chain ends, if its device is retired.
    #[must_use]
    pub fn cut(&self, _start: &ChainStart) -> Option<Cut> {
        None
    }

    /// Whether an event counts, by where it stands and what it says.
    #[must_use]
    pub fn standing(&self, _start: &ChainStart, _seq: u64, _payload: &Payload) -> Standing {
        Standing::Counted
    }
}
