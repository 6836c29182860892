//! Amounts as a form says them, in packs or by what is left, into the columns of an entry. The form does
//! not ask for a unit that the item already has.

use std::collections::BTreeMap;

use daemon::{Node, NodeError};
use ledger::site::ItemListed;
use trade::{Packing, Quantity};

fn wrong(column: &str, why: &dyn std::fmt::Display) -> NodeError {
    NodeError::BadInput(vec![format!("{column}: {why}")])
}

fn read(row: &BTreeMap<String, String>, column: &str) -> Result<Option<Quantity>, NodeError> {
    let cell = row.get(column).map(|cell| cell.trim()).filter(|cell| !cell.is_empty());
    cell.map(|cell| cell.parse().map_err(|error| wrong(column, &error))).transpose()
}

fn item(node: &Node, row: &BTreeMap<String, String>) -> Result<ItemListed, NodeError> {
    let name = row.get("what").map_or("", String::as_str);
    let lists = node.book().lists();
    let found = lists.items.values().find(|item| item.name == name);
    found.map(|item| (*item).clone()).ok_or_else(|| wrong("what", &format!("there is no item {name:?}")))
}

/// Settles `packs`, or `left` of what was `opened`, into `quantity` and `unit`.
///
/// # Errors
/// An item that is not listed, or an amount that can't be.
pub(crate) fn settle(node: &Node, row: &mut BTreeMap<String, String>) -> Result<(), NodeError> {
    let settled = if let Some(count) = read(row, "packs")? {
        let item = item(node, row)?;
        (count, if item.pack.is_empty() { item.unit } else { item.pack })
    } else if let Some(left) = read(row, "left")? {
        let item = item(node, row)?;
        let opened = read(row, "opened")?.ok_or_else(|| wrong("opened", &"how many packs were opened?"))?;
        let packing = Packing::new(&item.unit, &item.pack, item.pack_size);
        let used = packing.and_then(|packing| packing.used_from_left(opened, left, &item.unit));
        (used.map_err(|error| wrong("left", &error))?, item.unit.clone())
    } else {
        return Ok(());
    };
    ["packs", "left", "opened"].into_iter().for_each(|column| drop(row.remove(column)));
    row.insert("quantity".to_owned(), settled.0.to_string());
    row.insert("unit".to_owned(), settled.1);
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::screens::trial::Trial;

    fn settled(row: &[(&str, &str)]) -> Result<BTreeMap<String, String>, NodeError> {
        let trial = Trial::with_the_week();
        let cells = row.iter().map(|(column, cell)| ((*column).to_owned(), (*cell).to_owned()));
        let mut row = cells.collect();
        settle(&trial.node, &mut row).map(|()| row)
    }

    #[test]
    fn an_amount_may_be_said_in_packs_or_by_what_is_left() {
        let row = settled(&[("what", "finish plaster"), ("packs", "2.5")]).unwrap();
        assert_eq!((row["quantity"].as_str(), row["unit"].as_str()), ("2.5", "bag"));
        // Twelve metres left of a coil of 50.
        let row = settled(&[("what", "pipe 15 plastic"), ("opened", "1"), ("left", "12")]).unwrap();
        assert_eq!((row["quantity"].as_str(), row["unit"].as_str()), ("38", "m"));
        let row = settled(&[("what", "anything"), ("quantity", "3")]).unwrap();
        assert_eq!(row["quantity"], "3");
        let why = settled(&[("what", "pipe 15 plastic"), ("opened", "1"), ("left", "60")]).unwrap_err();
        assert!(why.to_string().contains("left"), "{why}");
        assert!(settled(&[("what", "wotsit"), ("packs", "1")]).is_err());
    }
}
