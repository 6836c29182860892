//! Who logged for whom, and on which chain: as much as a change of the roster can touch, known without a look at every
//! event. A crew of six with a year's phones has a few dozen of these and a million events.

use std::collections::BTreeSet;

use ledger::{ChainId, EntryRef, PersonId};
use serde::Serialize;

use crate::book::Logged;
use crate::row::Shelf;

/// One person's writing for another, or for themselves, on one chain.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Authorship {
    /// The chain, and so the device.
    pub chain: ChainId,
    /// Whose act it was.
    pub person: PersonId,
    /// Who wrote it down.
    pub author: PersonId,
}

/// Those of a book's events.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub(crate) struct Authorships {
    all: BTreeSet<Authorship>,
    /// The entries that make the roster: any change of it bears on these.
    of_roster: BTreeSet<EntryRef>,
}

impl Authorships {
    pub(crate) const fn new() -> Self {
        Self { all: BTreeSet::new(), of_roster: BTreeSet::new() }
    }

    pub(crate) fn note(&mut self, logged: &Logged) {
        let (person, author) = (logged.act.person, logged.act.author);
        self.all.insert(Authorship { chain: logged.chain, person, author });
        if logged.body.kind().is_roster()
            && let Shelf::Entry(entry) | Shelf::Change(entry) = Shelf::of(logged)
        {
            self.of_roster.insert(entry);
        }
    }

    pub(crate) fn extend(&mut self, other: Self) {
        self.all.extend(other.all);
        self.of_roster.extend(other.of_roster);
    }

    pub(crate) fn any(&self, is: impl FnMut(&Authorship) -> bool) -> bool {
        self.all.iter().any(is)
    }

    pub(crate) fn of_roster(&self) -> impl Iterator<Item = &EntryRef> {
        self.of_roster.iter()
    }
}
