//! Hours, amounts, values off a dial and places, out of the cells of an entry's row.

use ledger::site::{Amount, Bound, Packs, Place, Surface, Worked};
use trade::measure::{self, Written};
use trade::{Moment, Packing, Quantity, UnitError};

use super::cells::Cells;
use super::known::{Known, KnownItem};

/// Longest stretch of work, in minutes: a day. Longer is a slip of the pen.
pub(super) const MAX_WORK_MINUTES: u32 = 24 * 60;

const SURFACES: [(&str, Option<Surface>); 4] = [
    ("wall", Some(Surface::Wall)),
    ("ceiling", Some(Surface::Ceiling)),
    ("floor", Some(Surface::Floor)),
    ("", None),
];

pub(super) fn read_place(cells: &mut Cells<'_, '_>) -> Option<Place> {
    let surface = cells.word("surface", &SURFACES)?;
    let text = |column| cells.text(column).to_owned();
    Some(Place { room: text("room"), surface, words: text("where") })
}

pub(super) fn read_item(cells: &mut Cells<'_, '_>, known: &Known<'_>) -> Option<KnownItem> {
    let name = cells.required("what")?;
    let item = known.item(name);
    if item.is_none() {
        cells.complain("what", format!("there is no item {name:?} in price-book.csv or in the ledger"));
    }
    item
}

/// A quantity in the item's unit, with the packs kept in which it was said.
pub(super) fn read_amount(
    cells: &mut Cells<'_, '_>,
    item: &KnownItem,
    said: Quantity,
    unit: &str,
) -> Option<Amount> {
    // A packing that can't be is complained about in the item's own row.
    let packing = item.packing()?.ok()?;
    match packing.in_units(said, unit) {
        Ok(quantity) => {
            let one = "1".parse().ok()?;
            let own = Packing::new(&item.unit, &item.unit, one).ok()?;
            let in_packs = own.in_units(said, unit).is_err();
            let said = in_packs.then(|| Packs { count: said, pack: item.pack.clone() });
            Some(Amount { quantity, said })
        }
        Err(error) => {
            let column = if matches!(error, UnitError::Number(_)) { "quantity" } else { "unit" };
            cells.complain(column, error.to_string());
            None
        }
    }
}

/// A value off a dial: "4.5", ">200", "<0.1". A limit is written the same way.
pub(super) fn read_value(cells: &mut Cells<'_, '_>, column: &str, text: &str) -> Option<(Bound, Quantity)> {
    match measure::read_value(text) {
        Ok(Written::Value(bound, value)) => Some((bound, value)),
        Ok(Written::NoFall { .. }) => {
            cells.complain(column, format!("{text:?} is no number; write 4.5, >200 or <0.1"));
            None
        }
        // The reader of numbers says what is wrong with one.
        Err(_) => {
            let number = text.trim_start_matches(['>', '<']).trim();
            cells.parse_number::<Quantity>(column, number).map(|value| (Bound::Exactly, value))
        }
    }
}

/// The value of a test and its unit, which has to be one that the kind of test is read in.
/// "No fall in 60 min" is a value, too: nought of the unit over that time.
pub(super) fn read_test_value(
    cells: &mut Cells<'_, '_>,
    what: &str,
    text: Option<&str>,
    said_unit: &str,
) -> Option<(Bound, Quantity, String)> {
    let usual = measure::kind_of(what).map_or("", |kind| kind.unit);
    let no_fall = text.and_then(|text| match measure::read_value(text) {
        Ok(Written::NoFall { minutes }) => Some(minutes),
        Ok(Written::Value(..)) | Err(_) => None,
    });
    let unit = match no_fall {
        Some(_) if said_unit.is_empty() => usual,
        // What is corrected may have been a fall already.
        Some(_) => measure::split_unit(said_unit).0,
        None => said_unit,
    };
    let unit = read_test_unit(cells, what, unit);
    match no_fall {
        Some(minutes) => {
            unit.map(|unit| (Bound::Exactly, Quantity::ZERO, measure::unit_of_fall(&unit, minutes)))
        }
        None => {
            let (bound, value) = read_value(cells, "quantity", text?)?;
            unit.map(|unit| (bound, value, unit))
        }
    }
}

/// The unit of a test, which has to be one that its kind is read in.
pub(super) fn read_test_unit(cells: &mut Cells<'_, '_>, what: &str, unit: &str) -> Option<String> {
    measure::check_unit(what, unit).map_err(|fault| cells.complain("unit", fault.to_string())).ok()
}

pub(super) fn read_worked(cells: &mut Cells<'_, '_>, zone: &str) -> Option<Worked> {
    let from = cells.moment("from", zone);
    let to = cells.moment("to", zone);
    let break_minutes = cells.whole("break_min", 0, MAX_WORK_MINUTES);
    let minutes = cells.whole("minutes", 1, MAX_WORK_MINUTES);
    match (from?, to?, minutes?) {
        (Some(from), Some(to), None) => check_span(cells, from, to, break_minutes?.unwrap_or(0)),
        (None, None, Some(minutes)) => check_length(cells, minutes, break_minutes?),
        (Some(_), Some(_), Some(_)) => {
            cells.complain("minutes", "give from and to, or minutes, not both");
            None
        }
        (None, None, None) => {
            cells.complain("from", "give from and to, or the length in minutes");
            None
        }
        (Some(_), None, _) => {
            cells.complain("to", "must not be empty where from is given");
            None
        }
        (None, Some(_), _) => {
            cells.complain("from", "must not be empty where to is given");
            None
        }
    }
}

/// A stretch of work that can have been.
pub(super) fn check_span(
    cells: &mut Cells<'_, '_>,
    from: Moment,
    to: Moment,
    break_minutes: u32,
) -> Option<Worked> {
    let length = to.minutes_since(from);
    if length <= 0 {
        cells.complain("to", format!("work ends at {to}, not after it began at {from}"));
        return None;
    }
    if length > i64::from(MAX_WORK_MINUTES) {
        cells.complain("to", format!("from {from} to {to} is longer than 24 hours; log each day by itself"));
        return None;
    }
    if i64::from(break_minutes) > length {
        let reason =
            format!("a break of {break_minutes} minutes is longer than the {length} minutes of work");
        cells.complain("break_min", reason);
        return None;
    }
    Some(Worked::Span { from, to, break_minutes })
}

/// A length is what was worked, so a break has no place beside it.
pub(super) fn check_length(
    cells: &mut Cells<'_, '_>,
    minutes: u32,
    break_minutes: Option<u32>,
) -> Option<Worked> {
    if break_minutes.is_some_and(|minutes| minutes > 0) {
        cells.complain(
            "break_min",
            "a length in minutes is without breaks; take the break off and leave this empty",
        );
        return None;
    }
    Some(Worked::Length { minutes })
}
