//! Which role a person has at which place of a chain.

use std::collections::BTreeMap;

use crate::ids::{ChainId, EventHash, PersonId};
use crate::roster_events::{Role, RoleChanged};

use super::difference::differing;

/// A place in a chain.
pub(super) type Place = (ChainId, u64);

/// A change of a role that counts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct CountedChange {
    /// Its event.
    pub(super) hash: EventHash,
    /// Where it stands.
    pub(super) place: Place,
    /// What it says.
    pub(super) changed: RoleChanged,
    /// The events it replaces.
    pub(super) replaces: Vec<EventHash>,
}

impl CountedChange {
    /// Whether the place is after the change. A chain that it does not name changes from its first event.
    fn covers(&self, (chain, seq): Place) -> bool {
        let mut named = self.changed.positions.iter().filter(|position| position.chain == chain);
        named.all(|position| seq > position.seq)
    }
}

/// The roles people start with and every change that counts.
#[derive(Debug, Clone, Default)]
pub(super) struct RoleHistory {
    first: BTreeMap<PersonId, Role>,
    changes: BTreeMap<PersonId, Vec<CountedChange>>,
}

impl RoleHistory {
    /// Sets the role a person starts with, unless an earlier round did.
    pub(super) fn begin(&mut self, person: PersonId, role: Role) {
        self.first.entry(person).or_insert(role);
    }

    /// The role a person starts with.
    pub(super) fn first(&self, person: PersonId) -> Option<Role> {
        self.first.get(&person).copied()
    }

    /// The people whose roles are not the same everywhere in both.
    pub(super) fn differing<'a>(&'a self, other: &'a Self) -> impl Iterator<Item = &'a PersonId> {
        differing(&self.first, &other.first).chain(differing(&self.changes, &other.changes))
    }

    /// Adds a change.
    pub(super) fn change(&mut self, change: CountedChange) {
        self.changes.entry(change.changed.person).or_default().push(change);
    }

    /// The role at a place. None for somebody who was never listed.
    pub(super) fn at(&self, person: PersonId, place: Place) -> Option<Role> {
        self.among(person, |change| change.covers(place))
    }

    /// The role at a place, as it is without what the same chain said later.
    pub(super) fn at_as_said_before(
        &self,
        person: PersonId,
        place: Place,
        (chain, seq): Place,
    ) -> Option<Role> {
        let said_later = |change: &CountedChange| change.place.0 == chain && change.place.1 > seq;
        self.among(person, |change| change.covers(place) && !said_later(change))
    }

    /// The role after every change.
    pub(super) fn last(&self, person: PersonId) -> Option<Role> {
        self.among(person, |_| true)
    }

    /// The lowest of the changes that are in force and not superseded, or else the first role.
    ///
    /// A change that replaces one to another role follows it: before its own position the former
    /// stands. One that replaces a change to the same role moves it: the former is gone everywhere.
    fn among(&self, person: PersonId, in_force: impl Fn(&CountedChange) -> bool) -> Option<Role> {
        let first = *self.first.get(&person)?;
        let changes = self.changes.get(&person).map(Vec::as_slice).unwrap_or_default();
        let superseded = |former: &CountedChange| {
            changes.iter().any(|later| {
                later.hash != former.hash
                    && later.replaces.binary_search(&former.hash).is_ok()
                    && (in_force(later) || later.changed.role == former.changed.role)
            })
        };
        let standing = changes.iter().filter(|change| in_force(change) && !superseded(change));
        Some(standing.map(|change| change.changed.role).min().unwrap_or(first))
    }
}
