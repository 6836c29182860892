//! What two rosters may judge otherwise, so that a change of one does not make everything be judged again.

use std::collections::{BTreeMap, BTreeSet};

use crate::act::Act;
use crate::chain::ChainStart;
use crate::ids::{DeviceKey, PersonId};
use crate::kinds::Kind;

use super::Roster;

/// The devices and people of which two rosters do not say the same.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Difference {
    /// What bears on everything is not the same.
    of_all: bool,
    devices: BTreeSet<DeviceKey>,
    people: BTreeSet<PersonId>,
}

impl Difference {
    /// Whether an event may be judged otherwise. False only if both rosters judge it alike.
    #[must_use]
    pub fn may_touch(&self, start: &ChainStart, act: &Act, kind: Kind) -> bool {
        // Of events that make the roster themselves, which ones count is a question of its own.
        kind.is_roster() || self.may_touch_authorship(start, act.person, act.author)
    }

    /// Whether any other event of this person, written down by this author on this chain, may be.
    #[must_use]
    pub fn may_touch_authorship(&self, start: &ChainStart, person: PersonId, author: PersonId) -> bool {
        self.of_all
            || self.devices.contains(&start.device)
            || self.people.contains(&person)
            || self.people.contains(&author)
    }
}

impl Roster {
    /// What may be judged otherwise than by another roster of the same crew.
    #[must_use]
    pub fn difference(&self, other: &Self) -> Difference {
        let people: BTreeSet<PersonId> = self.roles.differing(&other.roles).copied().collect();
        let of_people = self.devices.values().chain(other.devices.values());
        let of_people = of_people.filter(|device| people.contains(&device.person)).map(|device| device.key);
        let forked = differing(&self.forked, &other.forked);
        let forked = forked.filter_map(|chain| self.forked.get(chain).or_else(|| other.forked.get(chain)));
        let devices = differing(&self.devices, &other.devices)
            .chain(differing(&self.retirements, &other.retirements))
            .chain(differing(&self.sessions, &other.sessions))
            .copied()
            .chain(forked.map(|line| line.start.device))
            .chain(of_people)
            .collect();
        let of_all = self.crew != other.crew
            || self.founding != other.founding
            || self.certificates != other.certificates;
        Difference { of_all, devices, people }
    }
}

/// The keys whose values are not the same in both.
pub(super) fn differing<'a, K: Ord, V: PartialEq>(
    one: &'a BTreeMap<K, V>,
    other: &'a BTreeMap<K, V>,
) -> impl Iterator<Item = &'a K> {
    let here = one.iter().filter(|(key, value)| other.get(key) != Some(value)).map(|(key, _)| key);
    here.chain(other.keys().filter(|key| !one.contains_key(key)))
}
