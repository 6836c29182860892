//! Snags: what was found wrong and has to be put right.

use std::collections::BTreeSet;

use ledger::{Body, EntryRef};

use crate::entry::Entry;

/// The snags among these entries that nobody cleared.
pub fn uncleared<'a, 'book>(entries: &'a [Entry<'book>]) -> impl Iterator<Item = &'a Entry<'book>> {
    let cleared: BTreeSet<EntryRef> = entries
        .iter()
        .filter_map(|entry| match entry.body.as_ref() {
            Body::SnagCleared(cleared) => Some(cleared.snag),
            _ => None,
        })
        .collect();
    entries.iter().filter(move |entry| {
        matches!(entry.body.as_ref(), Body::SnagRaised(_)) && !cleared.contains(&entry.entry_ref())
    })
}
