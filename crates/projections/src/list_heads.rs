//! The list events that hold: what a change of a list has to name as replaced.

use crate::book::{Book, Logged};
use crate::entry::heads_of;

impl Book {
    /// The versions of list rows that count and that no other replaces. Of rates and prices, which
    /// hold from their day on and don't replace each other, all.
    pub fn list_heads(&self) -> impl Iterator<Item = &Logged> {
        self.rows.iter().flat_map(|(key, versions)| {
            let versions = versions.values().map(|row| &**row);
            let counted: Vec<&Logged> =
                versions.filter(|row| self.counts(row) && !self.is_struck(&row.act.entry_ref())).collect();
            if key.is_dated() { counted } else { heads_of(&counted) }
        })
    }
}
