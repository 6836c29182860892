//! The photos that came first and are not sorted yet: to a job, a stage and a place.

use ledger::Body;
use projections::{Entry, words};

use crate::look::Look;
use crate::screens::left::key_of;

/// Most photos that are shown at once; each press makes room for the next.
const MOST_SHOWN: usize = 6;

/// A photo that belongs nowhere yet.
#[derive(Debug, Clone)]
pub(crate) struct Unsorted {
    /// What a form names its entry by.
    pub(crate) key: String,
    /// Its hash.
    pub(crate) photo: String,
    /// Who took it, and when.
    pub(crate) taken: String,
    pub(crate) note: String,
}

/// The first photos that are not sorted yet, and how many there are.
#[derive(Debug, Clone, Default)]
pub(crate) struct ToSort {
    pub(crate) photos: Vec<Unsorted>,
    pub(crate) all: usize,
}

/// The viewer's own, and for whoever leads everybody's; the oldest first.
pub(crate) fn to_sort(look: &Look<'_>) -> ToSort {
    let may = |entry: &Entry<'_>| entry.act.person == look.viewer.person || look.viewer.leads();
    let is_unsorted =
        |entry: &Entry<'_>| matches!(entry.body.as_ref(), Body::Photo(photo) if photo.site.is_none());
    let mut found: Vec<Entry<'_>> =
        look.book.entries().filter(|entry| is_unsorted(entry) && may(entry)).collect();
    found.sort_by_key(|entry| entry.act.logged_at);
    let all = found.len();
    let shown = found.iter().take(MOST_SHOWN).filter_map(|entry| {
        let Body::Photo(photo) = entry.body.as_ref() else { return None };
        let when = words::when(entry.act.logged_at, look.today);
        Some(Unsorted {
            key: key_of(entry),
            photo: photo.photo.to_string(),
            taken: format!("{}, {when}", look.lists.person(entry.act.person)),
            note: entry.act.note.clone(),
        })
    });
    ToSort { photos: shown.collect(), all }
}
