//! The book: the state that every figure is read from.
//!
//! A book is a function of the *set* of events it took in, never of the order they came in or of
//! how often. Taking one in files it and works nothing out, so that rebuilding a book is as fast
//! as reading the ledger; what an entry, a list or a figure now says is worked out when it is
//! asked for. A book reads no clock.

use std::collections::BTreeMap;

use ledger::roster::{Lacking, Standing};
use ledger::{Act, Audience, Body, ChainId, EntryRef, EventHash, Payload, Unreadable};
use serde::Serialize;

use crate::authorship::Authorships;
use crate::filing::is_for_the_crew;
use crate::photos::{self, Namings};
use crate::row::{RowKey, Shelf};

/// An event on its way into a [`Book`].
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Taken {
    /// Its hash.
    pub hash: EventHash,
    /// The chain it stands in.
    pub chain: ChainId,
    /// Its place in the chain.
    pub seq: u64,
    /// Wall time of the device, milliseconds since 1970. For display only.
    pub made_at: i64,
    /// Whether it counts, by the roster.
    pub standing: Standing,
    /// What it says.
    pub payload: Payload,
}

/// An event as the book keeps it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Logged {
    /// Its hash.
    pub hash: EventHash,
    /// The chain it stands in.
    pub chain: ChainId,
    /// Its place in the chain.
    pub seq: u64,
    /// Wall time of the device, milliseconds since 1970. For display only.
    pub made_at: i64,
    /// Whether it counts, by the roster.
    #[serde(with = "StandingOnDisk")]
    pub standing: Standing,
    /// Who, which entry, when.
    pub act: Act,
    /// What.
    pub body: Body,
}

impl Logged {
    /// Whether both say the same. Which events they replace is no part of what they say.
    #[must_use]
    pub fn says_the_same(&self, other: &Self) -> bool {
        let (one, two) = (&self.act, &other.act);
        let words = |act: &Act| (act.person, act.entry, act.done_on, act.done_at, act.logged_at);
        words(one) == words(two)
            && one.row_key == two.row_key
            && one.said == two.said
            && one.note == two.note
            && self.body == other.body
    }
}

/// All events of one entry, and all that change it. A change may come before what it changes.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
pub(crate) struct History {
    /// The event with the lowest hash. Kept apart because an entry rarely has more.
    first: Option<Box<Logged>>,
    more: Option<Box<More>>,
}

/// What few entries have. Never empty.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize)]
struct More {
    /// Other events with the same person and id.
    others: BTreeMap<EventHash, Box<Logged>>,
    /// Corrections, strikes and acceptances of the entry.
    changes: BTreeMap<EventHash, Box<Logged>>,
}

/// What an entry without changes has of them.
static NO_CHANGES: BTreeMap<EventHash, Box<Logged>> = BTreeMap::new();

impl History {
    /// The entry's own events, lowest hash first.
    pub(crate) fn events(&self) -> impl Iterator<Item = &Logged> {
        let others = self.more.iter().flat_map(|more| more.others.values());
        self.first.iter().chain(others).map(|logged| &**logged)
    }

    /// Corrections, strikes and acceptances of the entry.
    pub(crate) fn changes(&self) -> &BTreeMap<EventHash, Box<Logged>> {
        self.more.as_ref().map_or(&NO_CHANGES, |more| &more.changes)
    }

    /// The entry's own events and their changes.
    pub(crate) fn all(&self) -> impl Iterator<Item = &Logged> {
        self.events().chain(self.changes().values().map(|change| &**change))
    }

    /// All of them, for judging anew.
    pub(crate) fn all_mut(&mut self) -> impl Iterator<Item = &mut Logged> {
        let more =
            self.more.iter_mut().flat_map(|more| more.others.values_mut().chain(more.changes.values_mut()));
        self.first.iter_mut().chain(more).map(|logged| &mut **logged)
    }

    /// Adds a change of the entry.
    pub(crate) fn change(&mut self, logged: Box<Logged>) {
        self.more.get_or_insert_default().changes.entry(logged.hash).or_insert(logged);
    }

    /// Adds an event of the entry itself.
    pub(crate) fn file(&mut self, logged: Box<Logged>) {
        match self.first.as_deref().map(|first| logged.hash.cmp(&first.hash)) {
            Some(std::cmp::Ordering::Equal) => {}
            Some(std::cmp::Ordering::Greater) => {
                self.more.get_or_insert_default().others.entry(logged.hash).or_insert(logged);
            }
            None | Some(std::cmp::Ordering::Less) => {
                if let Some(former) = self.first.replace(logged) {
                    self.more.get_or_insert_default().others.insert(former.hash, former);
                }
            }
        }
    }
}

/// An event that this program can't read. It counts for nothing and is asked about.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct NotRead {
    /// The chain it stands in.
    pub chain: ChainId,
    /// Its place in the chain.
    pub seq: u64,
    /// Why.
    #[serde(with = "UnreadableOnDisk")]
    pub reason: Unreadable,
}

/// The state of the crew's ledger, for one audience.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Book {
    audience: Audience,
    pub(crate) entries: BTreeMap<EntryRef, History>,
    pub(crate) rows: BTreeMap<RowKey, BTreeMap<EventHash, Box<Logged>>>,
    pub(crate) unreadable: BTreeMap<EventHash, NotRead>,
    /// Which of them name a photo.
    pub(crate) photos: Namings,
    /// Who wrote them.
    pub(crate) authorships: Authorships,
}

impl Book {
    /// An empty book. One for the crew holds nothing that only the office may read.
    #[must_use]
    pub const fn new(audience: Audience) -> Self {
        Self {
            audience,
            entries: BTreeMap::new(),
            rows: BTreeMap::new(),
            unreadable: BTreeMap::new(),
            photos: Namings::new(),
            authorships: Authorships::new(),
        }
    }

    /// Who may read it.
    #[must_use]
    pub const fn audience(&self) -> Audience {
        self.audience
    }

    /// Takes an event in. Taking the same one in again changes nothing.
    ///
    /// The standing that an event first came with stays. Where a change of the roster changes what
    /// counts, [`Book::judge_again`] says it of all.
    pub fn take_in(&mut self, taken: Taken) {
        let Taken { hash, chain, seq, made_at, standing, payload: Payload { act, body } } = taken;
        let logged = Box::new(Logged { hash, chain, seq, made_at, standing, act, body });
        if self.audience == Audience::Crew && !is_for_the_crew(&logged) {
            return;
        }
        photos::note(&mut self.photos, &logged);
        self.authorships.note(&logged);
        match Shelf::of(&logged) {
            Shelf::Row(key) => {
                self.rows.entry(key).or_default().entry(hash).or_insert(logged);
            }
            Shelf::Change(of) => self.entries.entry(of).or_default().change(logged),
            Shelf::Entry(own) => self.entries.entry(own).or_default().file(logged),
        }
    }

    /// Notes an event that can't be read. One sealed for the office is no matter for the crew's book.
    pub fn take_in_unreadable(&mut self, hash: EventHash, chain: ChainId, seq: u64, reason: Unreadable) {
        if self.audience == Audience::Crew && reason == Unreadable::Sealed {
            return;
        }
        self.unreadable.entry(hash).or_insert(NotRead { chain, seq, reason });
    }

    /// Every event that can be read, counted or not.
    pub fn events(&self) -> impl Iterator<Item = &Logged> {
        let rows = self.rows.values().flat_map(|versions| versions.values().map(|row| &**row));
        self.entries.values().flat_map(History::all).chain(rows)
    }

    /// The events that can't be read, by hash.
    pub fn unreadable(&self) -> impl Iterator<Item = (&EventHash, &NotRead)> {
        self.unreadable.iter()
    }
}

/// How a [`Standing`] is written when two books are compared byte for byte.
#[derive(Serialize)]
#[serde(remote = "Standing")]
enum StandingOnDisk {
    Counted,
    Proposed,
    Without(#[serde(with = "LackingOnDisk")] Lacking),
}

/// How a [`Lacking`] is written when two books are compared byte for byte.
#[derive(Serialize)]
#[serde(remote = "Lacking")]
enum LackingOnDisk {
    BeyondCut,
    Forked,
    Admission,
    Person,
    Vouching,
    Role,
    Audience,
}

/// How an [`Unreadable`] is written when two books are compared byte for byte.
#[derive(Serialize)]
#[serde(remote = "Unreadable")]
enum UnreadableOnDisk {
    UnknownKind,
    Sealed,
    Malformed,
}
