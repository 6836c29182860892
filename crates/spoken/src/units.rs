//! The units that people say, and the amounts they make: "six metres ten", "three quarters of a box".
//!
//! A pack's word means what the item's own pack holds; this module only knows which words are units.

use rust_decimal::Decimal;

use crate::numbers::{and_a_fraction, whole_at};
use crate::vocabulary::{Item, Vocabulary};
use crate::words::{Stop, Word, phrase_at, text_at};

/// The units that are measures, however they are said.
const MEASURES: &[(&str, &str)] = &[
    ("square metres", "m2"),
    ("square metre", "m2"),
    ("square meters", "m2"),
    ("metres square", "m2"),
    ("metres squared", "m2"),
    ("square", "m2"),
    ("squares", "m2"),
    ("sq m", "m2"),
    ("m2", "m2"),
    ("metre", "m"),
    ("metres", "m"),
    ("meter", "m"),
    ("meters", "m"),
    ("m", "m"),
    ("mil", "mm"),
    ("mils", "mm"),
    ("mm", "mm"),
    ("millimetre", "mm"),
    ("millimetres", "mm"),
    ("millimeters", "mm"),
    ("mill", "mm"),
    ("kg", "kg"),
    ("kgs", "kg"),
    ("kilo", "kg"),
    ("kilos", "kg"),
    ("kilogram", "kg"),
    ("kilograms", "kg"),
    ("litre", "l"),
    ("litres", "l"),
    ("liters", "l"),
    ("l", "l"),
    ("bar", "bar"),
    ("bars", "bar"),
    ("megohm", "megohm"),
    ("megohms", "megohm"),
    ("megs", "megohm"),
    ("ohm", "ohm"),
    ("ohms", "ohm"),
    ("degrees", "C"),
    ("percent", "%"),
    ("per cent", "%"),
    ("%", "%"),
];

/// Words for packs and pieces that a crew may say though no item of theirs comes so.
const PACKS: &[&str] = &[
    "bag",
    "box",
    "roll",
    "coil",
    "drum",
    "pack",
    "packet",
    "tub",
    "length",
    "sheet",
    "tin",
    "tube",
    "bucket",
    "carton",
    "bundle",
    "pallet",
    "pair",
    "bottle",
    "can",
    "cartridge",
    "set",
    "reel",
];

/// One, in the singular, for the few plurals that English makes regularly.
pub(crate) fn singular(word: &str) -> &str {
    let hisses = |stem: &str| ["s", "x", "z", "ch", "sh"].iter().any(|end| stem.ends_with(end));
    match word.strip_suffix("es") {
        Some(stem) if hisses(stem) => stem,
        _ => match word.strip_suffix('s') {
            Some(stem) if !stem.ends_with('s') && stem.len() > 2 => stem,
            _ => word,
        },
    }
}

/// The unit that begins here, by its own name, and how many words it took.
pub(crate) fn unit_at(words: &[Word], at: usize, vocabulary: &Vocabulary) -> Option<(String, usize)> {
    let measure =
        MEASURES.iter().filter_map(|(said, unit)| phrase_at(words, at, said).map(|len| (*unit, len)));
    if let Some((unit, len)) = measure.max_by_key(|(_, len)| *len) {
        return Some((unit.to_owned(), len));
    }
    let one = singular(text_at(words, at));
    let of_item = |item: &Item| item.unit == one || item.packs.iter().any(|pack| pack.name == one);
    let known = PACKS.contains(&one) || vocabulary.items.iter().any(of_item);
    (known && !one.is_empty()).then(|| (one.to_owned(), 1))
}

/// An amount so far, when its unit is read: what follows the unit may still belong to it.
///
/// "Six metres ten" is 6.10 m; "two metres five" is 2.05 or 2.5, so it is no amount but two.
pub(crate) fn after_unit(
    words: &[Word],
    at: usize,
    unit: &str,
    counts: &dyn Fn(usize) -> bool,
) -> Option<(Tail, usize)> {
    if let Some(more) = and_a_fraction(words, at).filter(|more| !counts(at + more.len)) {
        return Some((Tail::Exactly(more.value), more.len));
    }
    if unit != "m" || words.get(at)?.stop != Stop::None {
        return None;
    }
    let (value, len) = whole_at(words, at, 999)?;
    if counts(at + len) {
        return None;
    }
    let value = i64::from(value);
    let tail = match value {
        1..=9 => Tail::TenthsOrHundredths(Decimal::new(value, 1), Decimal::new(value, 2)),
        10..=99 => Tail::Exactly(Decimal::new(value, 2)),
        100..=999 => Tail::Exactly(Decimal::new(value, 3)),
        _ => return None,
    };
    Some((tail, len))
}

/// What is said after a unit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Tail {
    Exactly(Decimal),
    TenthsOrHundredths(Decimal, Decimal),
}
