//! Entries that a row names in its column `of`, by the key that was printed for each.
//!
//! A row of the same file is looked for first, then the ledger.

use ledger::{EntryId, EntryRef, Kind};

use super::cells::Cells;
use super::entries::{Keys, TABLE};
use super::known::Known;

/// The entry that `of` names, which must be of one of these kinds.
pub(super) fn named_entry(
    cells: &mut Cells<'_, '_>,
    keys: &Keys<'_, '_>,
    known: &Known<'_>,
    what: &str,
    kinds: &[Kind],
) -> Option<EntryRef> {
    let key = cells.text("of");
    let (entry, kind) = find(key, cells, keys, known)?;
    if !kinds.contains(&kind) {
        cells.complain("of", format!("{key} is not {what}"));
        return None;
    }
    Some(entry)
}

/// All entries that `of` names, with `;` between.
pub(super) fn named_entries(
    cells: &mut Cells<'_, '_>,
    keys: &Keys<'_, '_>,
    known: &Known<'_>,
) -> Option<Vec<EntryRef>> {
    let names = cells.list("of");
    let found: Vec<_> = names.iter().filter_map(|key| Some(find(key, cells, keys, known)?.0)).collect();
    (found.len() == names.len()).then_some(found)
}

fn find(
    key: &str,
    cells: &mut Cells<'_, '_>,
    keys: &Keys<'_, '_>,
    known: &Known<'_>,
) -> Option<(EntryRef, Kind)> {
    if let Some(entry) = keys.sound.get(key) {
        return Some((entry.reference, entry.kind.kind()));
    }
    if keys.all.contains(key) {
        return None; // That row is bad, which is complained about already.
    }
    let id = EntryId::of_row(&known.crew(), TABLE, key);
    let of_row =
        known.people().into_iter().find_map(|person| known.event_of(&EntryRef { person, entry: id }));
    let found = of_row.map(|(_, event)| (event.act.entry_ref(), event.body.kind()));
    let found = found.or_else(|| known.entry_beginning(key));
    if found.is_none() {
        cells.complain("of", format!("{key:?} is the key of no entry, or of more than one"));
    }
    found
}
