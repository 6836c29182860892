//! The photos that the ledger names, and whose eyes each is for: whoever may see an entry that names it.
//!
//! A ticket shows prices, so it is for the boss, the foreman and whoever took it; so is a photo that nobody sorted
//! yet, for it may be of a ticket. Where a photo's file lies is no matter of this module.

use std::collections::{BTreeMap, BTreeSet};

use ledger::roster::Standing;
use ledger::{Body, ChainId, EntryRef, PersonId, PhotoHash};
use serde::Serialize;

use crate::book::{Book, Logged};
use crate::entry::Entry;
use crate::row::Shelf;

/// Who looks at a photo, or is to carry it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Eyes {
    /// The person.
    pub person: PersonId,
    /// Whether this is the boss or the foreman.
    pub leads: bool,
}

/// An event that names a photo. Ordered by when it was made, so that the newest photos can go first.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub struct Naming {
    /// Wall time of the device, milliseconds since 1970.
    pub made_at: i64,
    /// The chain of the event, and so the device that had the photo when it was logged.
    pub chain: ChainId,
    /// The entry; none for an answer of a survey.
    entry: Option<EntryRef>,
}

/// The events that name each photo.
pub(crate) type Namings = BTreeMap<PhotoHash, BTreeSet<Naming>>;

/// The photos that an event names.
#[must_use]
pub fn photos_of(body: &Body) -> &[PhotoHash] {
    match body {
        Body::Photo(photo) => std::slice::from_ref(&photo.photo),
        Body::Test(test) => &test.photos,
        Body::Note(note) => &note.photos,
        Body::LeftOff(left) => &left.photos,
        Body::Surveyed(surveyed) => &surveyed.photos,
        Body::Bought(bought) => &bought.photos,
        Body::Expense(expense) => &expense.photos,
        _ => &[],
    }
}

/// Whether only who leads and who took it may see an entry's photos.
const fn is_private(body: &Body) -> bool {
    match body {
        Body::Bought(_) | Body::Expense(_) => true,
        Body::Photo(photo) => photo.site.is_none(),
        _ => false,
    }
}

impl Eyes {
    fn see_those_of(self, logged: &Logged, body: &Body) -> bool {
        let is_own = [logged.act.person, logged.act.author].contains(&self.person);
        is_own || self.leads || !is_private(body)
    }

    /// Whether the photos of an entry are for these eyes.
    #[must_use]
    pub fn see(self, entry: &Entry<'_>) -> bool {
        self.see_those_of(entry.logged, &entry.body)
    }
}

/// Notes the photos that an event names.
pub(crate) fn note(namings: &mut Namings, logged: &Logged) {
    for photo in photos_of(&logged.body) {
        let entry = match Shelf::of(logged) {
            Shelf::Entry(own) => Some(own),
            Shelf::Row(_) | Shelf::Change(_) => None,
        };
        let naming = Naming { made_at: logged.made_at, chain: logged.chain, entry };
        namings.entry(*photo).or_default().insert(naming);
    }
}

impl Book {
    /// Every photo that an event names, counted or not, with those events.
    pub fn photos(&self) -> impl Iterator<Item = (PhotoHash, &BTreeSet<Naming>)> {
        self.photos.iter().map(|(photo, namings)| (*photo, namings))
    }

    /// The events that name a photo; none for one that no event names.
    #[must_use]
    pub fn namings(&self, photo: &PhotoHash) -> Option<&BTreeSet<Naming>> {
        self.photos.get(photo)
    }

    /// Whether an entry, or a proposed one, or an answer of a survey names this photo and is for these eyes.
    #[must_use]
    pub fn shows_photo(&self, photo: &PhotoHash, eyes: Eyes) -> bool {
        self.photos.get(photo).is_some_and(|namings| {
            namings.iter().any(|naming| match &naming.entry {
                Some(entry) => self.entry_shows(entry, photo, eyes),
                None => true, // An answer of a survey is for everybody.
            })
        })
    }

    fn entry_shows(&self, entry: &EntryRef, photo: &PhotoHash, eyes: Eyes) -> bool {
        let shows =
            |logged: &Logged, body: &Body| photos_of(body).contains(photo) && eyes.see_those_of(logged, body);
        let as_it_stands = self.entry(entry);
        as_it_stands.is_some_and(|entry| shows(entry.logged, &entry.body))
            || self.entries.get(entry).is_some_and(|history| {
                let is_proposed = |logged: &&Logged| {
                    logged.standing == Standing::Proposed && !self.counts(logged) && !self.is_struck(entry)
                };
                history.events().filter(is_proposed).any(|logged| shows(logged, &logged.body))
            })
    }

    /// Whether a device of such a person carries this photo. One of the boss or the foreman carries whatever an event
    /// names, also what was crossed out since; one of a hand what it may show.
    #[must_use]
    pub fn carries_photo(&self, photo: &PhotoHash, eyes: Eyes) -> bool {
        if eyes.leads { self.photos.contains_key(photo) } else { self.shows_photo(photo, eyes) }
    }
}
