//! Amounts as a thumb says them, in packs or by what is left, into the columns of an entry.

use std::collections::BTreeMap;

use daemon::{Node, NodeError};
use ledger::site::ItemListed;
use trade::{NumberError, Packing, Quantity};

/// Puts `packs`, or `left` of so many `opened`, into `quantity` and `unit`.
///
/// # Errors
/// An item that is not listed, or an amount that can't be.
pub(crate) fn settle(node: &Node, row: &mut BTreeMap<String, String>) -> Result<(), NodeError> {
    let said = |column: &str| row.get(column).map(|cell| cell.trim()).filter(|cell| !cell.is_empty());
    let (quantity, unit) = if let Some(packs) = said("packs") {
        let item = listed(node, said("what"))?;
        let pack = if item.pack.is_empty() { &item.unit } else { &item.pack };
        (number("packs", packs)?, pack.clone())
    } else if let Some(left) = said("left") {
        let item = listed(node, said("what"))?;
        let opened = number("opened", said("opened").unwrap_or("1"))?;
        let packing = Packing::new(&item.unit, &item.pack, item.pack_size);
        let left = number("left", left)?;
        let used = packing.and_then(|packing| packing.used_from_left(opened, left, &item.unit));
        (used.map_err(|error| wrong("left", &error))?, item.unit.clone())
    } else {
        return Ok(());
    };
    row.retain(|column, _| !matches!(column.as_str(), "packs" | "left" | "opened"));
    row.insert("quantity".to_owned(), quantity.to_string());
    row.insert("unit".to_owned(), unit);
    Ok(())
}

fn listed<'book>(node: &'book Node, name: Option<&str>) -> Result<&'book ItemListed, NodeError> {
    let name = name.unwrap_or_default();
    let found = node.book().lists().items.into_values().find(|item| item.name == name);
    found.ok_or_else(|| wrong("what", &format!("there is no item {name:?} in the price book")))
}

fn number(column: &str, said: &str) -> Result<Quantity, NodeError> {
    said.parse().map_err(|error: NumberError| wrong(column, &error))
}

fn wrong(column: &str, why: &dyn std::fmt::Display) -> NodeError {
    NodeError::BadInput(vec![format!("{column}: {why}")])
}
