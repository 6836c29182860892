//! Entries as they stand now: the event that counts, with its corrections applied.
//!
//! A strike beats any correction. A correction or a strike that is itself crossed out does not
//! hold; crossing out goes no deeper than that. Documents with a number are credited or voided,
//! never corrected or crossed out.

use std::collections::BTreeSet;
use std::ops::Deref;

use ledger::roster::Standing;
use ledger::sabotage::Fault;
use ledger::{Act, Body, EntryRef, EventHash, site::Site};
use trade::Moment;

use crate::book::{Book, History, Logged};
use crate::change::{apply, site_of};

/// A part of an entry: as it was logged, or a changed copy. Unlike a `Cow` it is as small as two
/// references, because every figure passes over every entry.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Part<'book, T> {
    /// As it was logged.
    Logged(&'book T),
    /// With corrections applied.
    Changed(Box<T>),
}

impl<T> Deref for Part<'_, T> {
    type Target = T;
    fn deref(&self) -> &T {
        match self {
            Self::Logged(logged) => logged,
            Self::Changed(changed) => changed,
        }
    }
}

impl<T> AsRef<T> for Part<'_, T> {
    fn as_ref(&self) -> &T {
        self
    }
}

/// An entry that counts, as it stands now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry<'book> {
    /// The event that was logged first, as it was logged.
    pub logged: &'book Logged,
    /// Who, which entry, when: corrected.
    pub act: Part<'book, Act>,
    /// What: corrected.
    pub body: Part<'book, Body>,
    /// The corrections that were applied, in their order.
    pub changed_by: Vec<EventHash>,
    /// The events that a further change replaces: ascending.
    pub heads: Vec<EventHash>,
}

impl Entry<'_> {
    /// Which entry it is.
    #[must_use]
    pub fn entry_ref(&self) -> EntryRef {
        self.logged.act.entry_ref()
    }

    /// Where it belongs, if it says.
    #[must_use]
    pub fn site(&self) -> Option<&Site> {
        site_of(&self.body)
    }

    /// The event that last said what it is worth: the last correction, or the entry itself.
    #[must_use]
    pub fn revision(&self) -> EventHash {
        self.changed_by.last().copied().unwrap_or(self.logged.hash)
    }

    /// Every event that made it: the entry itself, then its corrections.
    pub fn hashes(&self) -> impl Iterator<Item = EventHash> {
        std::iter::once(self.logged.hash).chain(self.changed_by.iter().copied())
    }
}

/// The order of things that were written apart: when, which row, and the hash to settle ties.
pub(crate) fn written_order(logged: &Logged) -> (Moment, &str, EventHash) {
    (logged.act.logged_at, &logged.act.row_key, logged.hash)
}

/// Of several changes, those that no other one of them replaces.
pub(crate) fn heads_of<'a>(changes: &[&'a Logged]) -> Vec<&'a Logged> {
    let replaced: BTreeSet<_> = changes.iter().flat_map(|change| &change.act.replaces).collect();
    changes.iter().filter(|change| !replaced.contains(&change.hash)).copied().collect()
}

impl Book {
    /// Every entry that counts and is not crossed out, as it stands now, in the order of its person
    /// and id.
    pub fn entries(&self) -> impl Iterator<Item = Entry<'_>> {
        self.entries.values().filter_map(|history| self.resolve(history))
    }

    /// One entry as it stands now; none where it is unknown, crossed out or does not count.
    #[must_use]
    pub fn entry(&self, entry: &EntryRef) -> Option<Entry<'_>> {
        self.entries.get(entry).and_then(|history| self.resolve(history))
    }

    /// Everything that was ever said of an entry, counted or not: its own events by hash, then its
    /// changes as they were written.
    #[must_use]
    pub fn history(&self, entry: &EntryRef) -> Vec<&Logged> {
        let Some(history) = self.entries.get(entry) else { return Vec::new() };
        let mut changes: Vec<_> = history.changes().values().map(|change| &**change).collect();
        changes.sort_by_key(|change| written_order(change));
        history.events().chain(changes).collect()
    }

    fn resolve<'a>(&'a self, history: &'a History) -> Option<Entry<'a>> {
        let logged = history.events().find(|event| self.counts(event))?;
        let mut entry = Entry {
            logged,
            act: Part::Logged(&logged.act),
            body: Part::Logged(&logged.body),
            changed_by: Vec::new(),
            heads: vec![logged.hash],
        };
        if history.changes().is_empty() || has_a_number(&logged.body) {
            return Some(entry);
        }
        if self.strikes(history).next().is_some() {
            return None;
        }
        let corrections = self.corrections(history);
        if !corrections.is_empty() {
            let (mut act, mut body) = (Box::new(logged.act.clone()), Box::new(logged.body.clone()));
            for correction in in_order(&corrections) {
                if let Body::Corrected(corrected) = &correction.body {
                    apply(&corrected.changes, &mut act, &mut body);
                    entry.changed_by.push(correction.hash);
                }
            }
            (entry.act, entry.body) = (Part::Changed(act), Part::Changed(body));
            entry.heads = heads_of(&corrections).iter().map(|head| head.hash).collect();
            entry.heads.sort_unstable();
        }
        Some(entry)
    }

    /// Whether an event counts: by the roster, or because what was proposed was accepted.
    pub(crate) fn counts(&self, logged: &Logged) -> bool {
        match logged.standing {
            Standing::Counted => true,
            Standing::Proposed => self.is_accepted(&logged.act.entry_ref()),
            Standing::Without(_) => false,
        }
    }

    fn is_accepted(&self, entry: &EntryRef) -> bool {
        self.entries.get(entry).is_some_and(|history| {
            history.changes().values().any(|change| {
                matches!(change.body, Body::Accepted(_)) && change.standing == Standing::Counted
            })
        })
    }

    /// Whether an entry or a row is crossed out.
    pub(crate) fn is_struck(&self, entry: &EntryRef) -> bool {
        self.entries.get(entry).is_some_and(|history| self.strikes(history).next().is_some())
    }

    /// The strikes of an entry that hold.
    pub(crate) fn strikes<'a>(&'a self, history: &'a History) -> impl Iterator<Item = &'a Logged> {
        let strikes = history.changes().values().filter(|change| matches!(change.body, Body::Struck(_)));
        let strikes = strikes.filter(|_| !Fault::DropStrikes.is_set());
        strikes.map(|change| &**change).filter(|change| self.counts(change) && !self.is_undone(change))
    }

    /// The corrections of an entry that hold, lowest hash first, each change once.
    pub(crate) fn corrections<'a>(&'a self, history: &'a History) -> Vec<&'a Logged> {
        let mut known = BTreeSet::new();
        let corrections =
            history.changes().values().filter(|change| matches!(change.body, Body::Corrected(_)));
        corrections
            .map(|change| &**change)
            .filter(|change| self.counts(change) && !self.is_undone(change))
            .filter(|change| known.insert(change.act.entry_ref()))
            .collect()
    }

    /// Whether a change is crossed out. Strikes of it count as they stand, so that no chain of
    /// strikes can run in a circle.
    fn is_undone(&self, change: &Logged) -> bool {
        self.entries.get(&change.act.entry_ref()).is_some_and(|history| {
            history
                .changes()
                .values()
                .any(|undoing| matches!(undoing.body, Body::Struck(_)) && self.counts(undoing))
        })
    }
}

/// An issued document's number stands for ever.
const fn has_a_number(body: &Body) -> bool {
    matches!(
        body,
        Body::InvoiceIssued(_)
            | Body::InvoiceCredited(_)
            | Body::InvoiceVoided(_)
            | Body::InvoiceAdopted(_)
            | Body::CreditAdopted(_)
    )
}

/// Corrections in the order in which they apply: after those that they replace, and otherwise as
/// they were written.
fn in_order<'a>(corrections: &[&'a Logged]) -> Vec<&'a Logged> {
    if corrections.len() < 2 {
        return corrections.to_vec();
    }
    let by_hash: std::collections::BTreeMap<_, _> =
        corrections.iter().map(|&correction| (correction.hash, correction)).collect();
    let mut waits_for = std::collections::BTreeMap::new();
    let mut followers = std::collections::BTreeMap::<_, Vec<_>>::new();
    let mut ready = BTreeSet::new();
    for &correction in corrections {
        let known = correction.act.replaces.iter().filter(|hash| by_hash.contains_key(*hash));
        let count = known.map(|hash| followers.entry(*hash).or_default().push(correction)).count();
        if count == 0 {
            ready.insert(written_order(correction));
        }
        waits_for.insert(correction.hash, count);
    }
    let mut ordered = Vec::with_capacity(corrections.len());
    while let Some((_, _, hash)) = ready.pop_first() {
        ordered.extend(by_hash.get(&hash).copied());
        for follower in followers.remove(&hash).unwrap_or_default() {
            if let Some(count) = waits_for.get_mut(&follower.hash) {
                *count -= 1;
                if *count == 0 {
                    ready.insert(written_order(follower));
                }
            }
        }
    }
    ordered
}
