//! How much of which item: a count, a unit and a name, put together and checked against the price book.
//!
//! An item is counted in its unit or its packs and in nothing else. What fits two items is asked.

use rust_decimal::Decimal;
use trade::{Packing, Quantity};

use crate::clauses::Clause;
use crate::draft::{Draft, Scene, choice};
use crate::heard::{Choice, Column};
use crate::names::ItemsFound;
use crate::pieces::{Piece, What};
use crate::signs::Sign;
use crate::vocabulary::Item;

/// How many items are buttons where a phrase is on no list; others are typed.
const OFFERED: usize = 5;

/// How many.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Count {
    Exactly(Decimal),
    /// "Two metres five".
    Either(Decimal, Decimal),
    /// Heard from a word that sounds like it.
    Sounds(Decimal),
    /// "A handful".
    Vague,
    /// "The other half" of what was said before.
    Other,
    Missing,
}

/// Which item.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Named {
    /// Of the price book, and the words that name it, from here to there.
    Items(ItemsFound, usize, usize),
    /// On no list: the words from here to there.
    Unknown(usize, usize),
    /// The one before.
    Before,
}

/// An amount of something, as a clause says it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Amount {
    pub(crate) count: Count,
    pub(crate) unit: Option<String>,
    pub(crate) named: Named,
    /// Numbers of its pieces in the clause.
    pub(crate) pieces: Vec<usize>,
}

/// The amounts of a clause. `counted_only` leaves out items without a number, as where hours are said.
pub(crate) fn amounts(clause: &Clause, counted_only: bool) -> Vec<Amount> {
    let mut found = Vec::new();
    let mut at = 0;
    let names_first = names_come_first(clause);
    while at < clause.pieces.len() {
        match amount_at(clause, at, counted_only, names_first) {
            Some(amount) => {
                at = amount.pieces.last().map_or(at, |last| *last) + 1;
                found.push(amount);
            }
            None => at += 1,
        }
    }
    found
}

fn skip_fillers(clause: &Clause, mut at: usize, pieces: &mut Vec<usize>) -> usize {
    while clause
        .pieces
        .get(at)
        .is_some_and(|piece| piece.carries_nothing() || piece.is_sign(Sign::CustomersOwn))
    {
        pieces.push(at);
        at += 1;
    }
    at
}

/// "Plasterboard six, moisture board four": each number is of the name before it.
fn names_come_first(clause: &Clause) -> bool {
    let is_name = |piece: &&Piece| matches!(piece.what, What::Name(Some(_), _));
    let mut told = clause.pieces.iter().filter(|piece| is_name(piece) || piece.is_count());
    let first = told.next();
    first.is_some_and(|first| is_name(&first)) && told.next_back().is_some_and(Piece::is_count)
}

fn amount_at(clause: &Clause, start: usize, counted_only: bool, names_first: bool) -> Option<Amount> {
    let what = |at: usize| clause.pieces.get(at).map(|piece| &piece.what);
    let mut pieces = vec![start];
    let (count, mut unit) = match what(start)? {
        What::Number(value) => (Count::Exactly(*value), None),
        What::Measure(value, unit) => (Count::Exactly(*value), Some(unit.clone())),
        What::EitherMeasure(one, other, unit) => (Count::Either(*one, *other), Some(unit.clone())),
        What::Sounds(value) => (Count::Sounds(*value), None),
        What::Sign(Sign::Vague) => (Count::Vague, None),
        What::Sign(Sign::OtherHalf) => (Count::Other, None),
        // "Roll of scrim": one.
        What::Unit(unit) if matches!(what(start + 1), Some(What::Filler)) => {
            (Count::Exactly(Decimal::ONE), Some(unit.clone()))
        }
        What::Units(unit) => (Count::Missing, Some(unit.clone())),
        What::Name(Some(found), stages) => {
            let is_item = stages.is_none() || !counted_only;
            return item_first(clause, start, found, counted_only, names_first).filter(|_| is_item);
        }
        _ => return None,
    };
    // Bar and ohms are read off a dial; nothing is counted in them.
    let is_dial = |unit: &str| matches!(unit, "bar" | "megohm" | "ohm" | "C" | "%");
    if unit.as_deref().is_some_and(is_dial)
        || matches!(what(start + 1), Some(What::Unit(unit)) if is_dial(unit))
    {
        return None;
    }
    let is_bare_unit = matches!(what(start), Some(What::Unit(_) | What::Units(_)));
    let mut at = start + 1;
    if let Some(What::Unit(said) | What::Units(said)) = what(at).filter(|_| unit.is_none()) {
        unit = Some(said.clone());
        pieces.push(at);
        at += 1;
    }
    let mut between = Vec::new();
    let next = skip_fillers(clause, at, &mut between);
    let named = match what(next) {
        Some(What::Name(Some(found), _)) => {
            pieces.append(&mut between);
            pieces.push(next);
            let words = clause.pieces.get(next).map_or((0, 0), |piece| (piece.start, piece.end));
            Named::Items(found.clone(), words.0, words.1)
        }
        _ if is_bare_unit => return None,
        _ if matches!(count, Count::Other) => Named::Before,
        Some(What::Unknown | What::Number(_) | What::Sign(Sign::Wasted | Sign::Ruined | Sign::Spoilt))
        | None
        | Some(_) => match unknown_run(clause, at, unit.is_some()) {
            Some(end) => {
                pieces.extend(at..end);
                let first =
                    (at..end).find(|at| clause.pieces.get(*at).is_some_and(|piece| !piece.carries_nothing()));
                let from = first.and_then(|at| clause.pieces.get(at)).map_or(0, |piece| piece.start);
                Named::Unknown(from, clause.pieces.get(end - 1).map_or(from, |piece| piece.end))
            }
            None => Named::Before,
        },
    };
    Some(Amount { count, unit, named, pieces })
}

/// "Finish plaster, two bags"; "isolators fitted", whose number is missing.
fn item_first(
    clause: &Clause,
    start: usize,
    found: &ItemsFound,
    counted_only: bool,
    names_first: bool,
) -> Option<Amount> {
    let what = |at: usize| clause.pieces.get(at).map(|piece| &piece.what);
    let mut pieces = vec![start];
    let words = clause.pieces.get(start).map_or((0, 0), |piece| (piece.start, piece.end));
    let named = Named::Items(found.clone(), words.0, words.1);
    let next = skip_fillers(clause, start + 1, &mut pieces);
    let (count, mut unit) = match what(next) {
        Some(What::Number(value)) => (Count::Exactly(*value), None),
        Some(What::Measure(value, unit)) => (Count::Exactly(*value), Some(unit.clone())),
        Some(What::EitherMeasure(one, other, unit)) => (Count::Either(*one, *other), Some(unit.clone())),
        _ if counted_only && found.size.is_none_or(|size| !size.may_be_count) => return None,
        _ => return Some(Amount { count: Count::Missing, unit: None, named, pieces }),
    };
    // The number belongs to the next thing, where one follows it.
    let after = (next + 1..clause.pieces.len()).find(|at| {
        !clause
            .pieces
            .get(*at)
            .is_none_or(|piece| piece.carries_nothing() || matches!(piece.what, What::Unit(_)))
    });
    if !names_first && after.is_some_and(|at| matches!(what(at), Some(What::Name(Some(_), _)))) {
        return Some(Amount { count: Count::Missing, unit: None, named, pieces });
    }
    pieces.push(next);
    if let Some(What::Unit(said)) = what(next + 1).filter(|_| unit.is_none()) {
        unit = Some(said.clone());
        pieces.push(next + 1);
    }
    Some(Amount { count, unit, named, pieces })
}

fn is_other_size(piece: &Piece) -> bool {
    matches!(piece.what, What::OtherSize)
}

/// Words on no list right after a number: with a unit, or in the plural, they are a thing.
fn unknown_run(clause: &Clause, at: usize, has_unit: bool) -> Option<usize> {
    let mut end = at;
    let mut last_known = None;
    while let Some(piece) = clause.pieces.get(end) {
        let is_part = match &piece.what {
            What::Unknown | What::OtherSize => true,
            // "200x400 tiles".
            What::Name(Some(_), _) => end > at && clause.pieces.get(end - 1).is_some_and(is_other_size),
            What::Number(_) | What::Unit(_) => has_unit || end > at,
            What::Filler => true,
            _ => false,
        };
        if !is_part {
            break;
        }
        end += 1;
        if !piece.carries_nothing() {
            last_known = Some(end);
        }
    }
    let end = last_known?;
    let has_word =
        clause.pieces.get(at..end)?.iter().any(|piece| matches!(piece.what, What::Unknown | What::OtherSize));
    let begins_so =
        clause.pieces.get(at).is_some_and(|piece| matches!(piece.what, What::Unknown | What::OtherSize));
    let sized =
        has_unit && clause.pieces.get(at..end)?.iter().any(|piece| matches!(piece.what, What::Number(_)));
    ((has_unit && has_word) || sized || begins_so).then_some(end)
}

fn packing<'i>(item: &'i Item, unit: &str) -> Result<Packing<'i>, trade::UnitError> {
    let own = || Packing::new(&item.unit, &item.unit, Quantity::new(Decimal::ONE).unwrap_or_default());
    for pack in &item.packs {
        let packing = Packing::new(&item.unit, &pack.name, pack.size)?;
        if packing.in_units(pack.size, unit).is_ok() {
            return Ok(packing);
        }
    }
    match item.packs.first() {
        Some(pack) => Packing::new(&item.unit, &pack.name, pack.size),
        None => own(),
    }
}

/// The unit and number in which the item takes what was said: millimetres become metres exactly, a
/// length of what is counted singly is one.
fn in_own_words(item: &Item, value: Decimal, unit: &str) -> (Decimal, String) {
    match (unit, item.unit.as_str()) {
        ("mm", "m") => ((value / Decimal::ONE_THOUSAND).normalize(), "m".to_owned()),
        ("length" | "sheet" | "piece" | "pair", "each")
            if item.packs.iter().all(|pack| pack.name != unit) =>
        {
            let each = if unit == "pair" { value * Decimal::TWO } else { value };
            (each, "each".to_owned())
        }
        _ => (value, unit.to_owned()),
    }
}

fn takes(item: &Item, unit: &str) -> bool {
    let (value, unit) = in_own_words(item, Decimal::ONE, unit);
    let Ok(one) = Quantity::new(value) else { return false };
    packing(item, &unit).is_ok_and(|packing| packing.in_units(one, &unit).is_ok())
}

/// A number without noughts behind the point.
pub(crate) fn plain(value: Decimal) -> String {
    value.normalize().to_string()
}

/// Fills what, quantity and unit, or asks. The item, where it is settled.
pub(crate) fn write<'v>(
    scene: &Scene<'v>,
    amount: &Amount,
    before: Option<&str>,
    draft: &mut Draft,
) -> Option<&'v Item> {
    let vocabulary = scene.vocabulary();
    let candidates: Vec<&Item> = match &amount.named {
        Named::Items(found, ..) => {
            found.items.iter().filter_map(|index| vocabulary.items.get(*index)).collect()
        }
        Named::Before => before.and_then(|name| vocabulary.item(name)).into_iter().collect(),
        Named::Unknown(from, to) => {
            let phrase = scene.line.said(*from, *to);
            let unit = amount.unit.clone().unwrap_or_else(|| "each".to_owned());
            let fitting = vocabulary
                .items
                .iter()
                .filter(|item| amount.unit.as_deref().is_some_and(|unit| takes(item, unit)));
            let said = crate::numbers::number_at(scene.words().get(*from..*to).unwrap_or_default(), 0);
            let sized = said.map(|number| plain(number.value)).unwrap_or_default();
            let has_size = |item: &&Item| item.name.split(' ').any(|word| word == sized);
            let (mut fitting, others): (Vec<&Item>, Vec<&Item>) = fitting.partition(has_size);
            if fitting.is_empty() {
                fitting = others;
            }
            let known = fitting
                .into_iter()
                .map(|item| choice(item.name.clone(), [(Column::What, item.name.clone())]));
            let mut choices: Vec<Choice> = known.take(OFFERED).collect();
            choices.push(choice(
                "a new item",
                [
                    (Column::Kind, "note".to_owned()),
                    (Column::Note, format!("not in the price book: {phrase}")),
                ],
            ));
            write_count(&amount.count, &unit, draft);
            // A size alone is not to be learnt: "two and a half" is said of bags too.
            let is_number = said.is_some_and(|number| from + number.len == *to);
            let learnt = if is_number { "" } else { phrase.as_str() };
            draft.ask_about(
                learnt,
                format!("\"{phrase}\" is not in the price book: a new item, or which one?"),
                choices,
                Some(Column::What),
            );
            return None;
        }
    };
    let fitting: Vec<&Item> = match &amount.unit {
        Some(unit) => candidates.iter().filter(|item| takes(item, unit)).copied().collect(),
        None => candidates.clone(),
    };
    let item = match (fitting.as_slice(), candidates.as_slice()) {
        ([one], _) => *one,
        ([], [one]) => {
            draft.set(Column::What, one.name.clone());
            let packs: Vec<&str> =
                one.packs.iter().map(|pack| pack.name.as_str()).filter(|pack| *pack != one.unit).collect();
            let ways = [&[one.unit.as_str()], packs.as_slice()].concat().join(" or ");
            draft.refuse(format!("{} goes by {ways}", one.name));
            return None;
        }
        (several, all) => {
            let offered = if several.is_empty() { all } else { several };
            let unit = amount.unit.clone();
            let choices = offered.iter().map(|item| {
                let unit = unit
                    .clone()
                    .or_else(|| (item.unit == "each").then(|| "each".to_owned()))
                    .unwrap_or_default();
                choice(item.name.clone(), [(Column::What, item.name.clone()), (Column::Unit, unit)])
            });
            write_count(&amount.count, amount.unit.as_deref().unwrap_or(""), draft);
            let phrase = phrase_of(scene, amount);
            // Not to be learnt: what fits two items today fits them tomorrow.
            draft.ask(format!("which is \"{phrase}\"?"), choices.collect(), Some(Column::What));
            return None;
        }
    };
    draft.set(Column::What, item.name.clone());
    if let Named::Items(found, ..) = &amount.named {
        draft.show_near(found.fit, &phrase_of(scene, amount), &item.name);
        if let Some(size) = found.size.filter(|size| size.may_be_count && amount.count == Count::Missing) {
            let value = plain(size.value);
            let sets = [(Column::Quantity, value.clone()), (Column::Unit, item.unit.clone())];
            draft.ask(
                format!("{value} of them, or the {value} size: how many?"),
                vec![choice(value, sets)],
                Some(Column::Quantity),
            );
            draft.set(Column::Unit, item.unit.clone());
            return Some(item);
        }
    }
    write_amount(item, amount, draft);
    Some(item)
}

/// The words that name the item.
fn phrase_of(scene: &Scene<'_>, amount: &Amount) -> String {
    match &amount.named {
        Named::Items(_, from, to) | Named::Unknown(from, to) => scene.line.said(*from, *to),
        Named::Before => String::new(),
    }
}

fn write_count(count: &Count, unit: &str, draft: &mut Draft) {
    draft.set(Column::Unit, unit);
    match count {
        Count::Exactly(value) => draft.set(Column::Quantity, plain(*value)),
        Count::Sounds(value) => {
            draft.set(Column::Quantity, plain(*value));
            let value = plain(*value);
            draft.ask(
                format!("was that {value}?"),
                vec![choice(value.clone(), [(Column::Quantity, value)])],
                Some(Column::Quantity),
            );
        }
        Count::Either(one, other) => {
            let choices =
                [one, other].map(|value| choice(plain(*value), [(Column::Quantity, plain(*value))]));
            draft.ask("how much?", choices.into_iter().collect(), Some(Column::Quantity));
        }
        Count::Vague | Count::Missing | Count::Other => {
            let sundries = choice("leave it to sundries", [(Column::Kind, "note".to_owned())]);
            draft.ask("a number?", vec![sundries], Some(Column::Quantity));
        }
    }
}

fn write_amount(item: &Item, amount: &Amount, draft: &mut Draft) {
    let unit = match &amount.unit {
        Some(unit) => unit.clone(),
        None if item.unit == "each" => "each".to_owned(),
        None => {
            ask_unit(item, &amount.count, draft);
            return;
        }
    };
    let convert = |value: Decimal| in_own_words(item, value, &unit);
    let (count, unit) = match amount.count {
        Count::Exactly(value) => {
            let (value, unit) = convert(value);
            (Count::Exactly(value), unit)
        }
        Count::Sounds(value) => (Count::Sounds(value), unit.clone()),
        Count::Either(one, other) => (Count::Either(convert(one).0, convert(other).0), convert(one).1),
        Count::Vague | Count::Missing | Count::Other => (amount.count.clone(), unit.clone()),
    };
    write_count(&count, &unit, draft);
    if let Count::Exactly(value) = count {
        if value.is_zero() {
            draft.refuse("nought is nothing to log");
        }
        show_in_units(item, value, &unit, draft);
    }
}

/// 0.5 bag = 12.5 kg.
fn show_in_units(item: &Item, value: Decimal, unit: &str, draft: &mut Draft) {
    let Ok(said) = Quantity::new(value) else { return };
    match packing(item, unit).and_then(|packing| packing.in_units(said, unit)) {
        Ok(own) if own != said => {
            draft.comes_to = format!("{} {unit} = {} {}", plain(value), plain(own.value()), item.unit);
        }
        Ok(_) => {}
        Err(error) => draft.refuse(error.to_string()),
    }
}

/// A bare number of what is not counted singly: packs, or the area of so many pieces, but asked.
fn ask_unit(item: &Item, count: &Count, draft: &mut Draft) {
    let Count::Exactly(value) = count else {
        write_count(count, &item.unit, draft);
        return;
    };
    draft.set(Column::Quantity, plain(*value));
    let mut choices = Vec::new();
    if let Some(area) = area_of(item, *value) {
        let sets = [(Column::Quantity, plain(area)), (Column::Unit, "m2".to_owned())];
        let pieces = if *value == Decimal::ONE { "piece" } else { "pieces" };
        choices.push(choice(format!("{} {pieces} = {} m2", plain(*value), plain(area)), sets));
    }
    let units = item
        .packs
        .iter()
        .map(|pack| pack.name.as_str())
        .filter(|pack| *pack != item.unit)
        .chain([item.unit.as_str()]);
    choices.extend(units.map(|unit| choice(unit, [(Column::Unit, unit.to_owned())])));
    let first = choices.first().map_or_else(String::new, |choice| choice.label.clone());
    draft.ask(format!("{} what: {first}?", plain(*value)), choices, Some(Column::Unit));
}

/// The area of some pieces of an item in m² whose name has its size in millimetres, exactly.
pub(crate) fn area_of(item: &Item, pieces: Decimal) -> Option<Decimal> {
    if item.unit != "m2" {
        return None;
    }
    let size = item.name.split(' ').find_map(|word| {
        let (width, height) = word.split_once('x')?;
        Some((Decimal::from_str_exact(width).ok()?, Decimal::from_str_exact(height).ok()?))
    });
    let (width, height) = size?;
    let area = width.checked_mul(height)?.checked_mul(pieces)?;
    Some((area / Decimal::from(1_000_000)).normalize())
}

/// What was used, from what is left of what was opened.
pub(crate) fn used_from_left(
    item: &Item,
    packs: Decimal,
    pack: &str,
    left: Decimal,
    unit: &str,
) -> Result<Quantity, String> {
    let quantity = |value| Quantity::new(value).map_err(|error| error.to_string());
    let packing = packing(item, pack).map_err(|error| error.to_string())?;
    packing.used_from_left(quantity(packs)?, quantity(left)?, unit).map_err(|error| error.to_string())
}
