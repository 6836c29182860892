//! How figures are written on paper: no trailing noughts, hours with the clock's reading beside, packs in words.
//!
//! Nothing is reckoned or rounded here; a figure is written as it was frozen.

use ledger::office::{InvoiceLine, InvoiceLineKind};
use rust_decimal::Decimal;
use trade::money::{hours, hours_and_minutes};
use trade::{Quantity, Rate};

/// A number in plain digits, without noughts behind the point, as machines read it: `1.5`, `-3`.
pub(crate) fn plain(value: Decimal) -> String {
    value.normalize().to_string()
}

/// A number as people read it: `1.5`, `42.75`, `−3`.
pub(crate) fn number(value: Decimal) -> String {
    let plain = plain(value);
    plain.strip_prefix('-').map_or_else(|| plain.clone(), |digits| format!("−{digits}"))
}

/// Pounds for one unit, with at least two decimals: `13.05`, `5.589`.
pub(crate) fn price(rate: Rate) -> String {
    let places = rate.value().normalize().scale().max(2);
    let plain = rate.rounded(places).to_string();
    plain.strip_prefix('-').map_or_else(|| plain.clone(), |digits| format!("−{digits}"))
}

/// `20 %`, `5 %`, `12.5 %`, never over two lines.
pub(crate) fn percent(rate: Rate) -> String {
    format!("{}{TIE}%", number(rate.value()))
}

/// A space where no line may end. It is set as an ordinary one.
pub(crate) const TIE: char = '\u{a0}';

/// Words that may be parted.
pub(crate) fn words(text: &str) -> impl Iterator<Item = &str> {
    text.split(|letter: char| letter.is_whitespace() && letter != TIE).filter(|word| !word.is_empty())
}

/// Words as they are written: with ordinary spaces alone.
pub(crate) fn untied(text: &str) -> String {
    text.replace(TIE, " ")
}

/// How much a line bills, as people say it: `3.83 h (3 h 50)`, `1.5 bags`, `42.75 m²`. Empty for a whole
/// stage, extra or deposit, which has no measure.
pub(crate) fn quantity(line: &InvoiceLine) -> String {
    let much = number(line.quantity.value());
    match line.kind {
        InvoiceLineKind::Labour if is_hours(&line.unit) => match minutes(line) {
            Some(minutes) => format!("{much} h ({})", hours_and_minutes(minutes)),
            None => format!("{much} h"),
        },
        InvoiceLineKind::Price
        | InvoiceLineKind::Deposit
        | InvoiceLineKind::Retention
        | InvoiceLineKind::Uncertified
            if line.unit.is_empty() =>
        {
            String::new()
        }
        InvoiceLineKind::Labour
        | InvoiceLineKind::Material
        | InvoiceLineKind::Price
        | InvoiceLineKind::Deposit
        | InvoiceLineKind::Retention
        | InvoiceLineKind::Uncertified => amount_of(line.quantity, &line.unit),
    }
}

/// An amount in a unit, as people say it.
pub(crate) fn amount_of(quantity: Quantity, unit: &str) -> String {
    let much = number(quantity.value());
    match unit {
        "" | "each" => much,
        "m2" => format!("{much} m²"),
        "m3" => format!("{much} m³"),
        unit => format!("{much} {}", counted(unit, quantity)),
    }
}

pub(crate) fn is_hours(unit: &str) -> bool {
    matches!(unit, "hour" | "hours" | "h")
}

/// The minutes behind printed hours, if the line's claims are what it prints.
fn minutes(line: &InvoiceLine) -> Option<i64> {
    let claimed: Decimal = line.claims.iter().map(|claim| claim.quantity.value()).sum();
    let minutes = i64::try_from(claimed.normalize()).ok()?;
    // A credit note claims below nought and prints what is given back.
    [minutes, minutes.checked_neg()?].into_iter().find(|minutes| hours(*minutes) == line.quantity)
}

/// The word for a pack as it is said with a number: `1.5 bags`, `1 box`, `2 boxes`. Letters that stand for a
/// measure stay as they are.
fn counted(unit: &str, quantity: Quantity) -> String {
    const WORDS: [&str; 20] = [
        "bag", "box", "bucket", "bundle", "can", "carton", "coil", "day", "drum", "length", "pack", "pair",
        "pallet", "piece", "roll", "set", "sheet", "tin", "tub", "tube",
    ];
    let is_one = quantity.value() == Decimal::ONE;
    match unit {
        _ if is_one || !WORDS.contains(&unit) => unit.to_owned(),
        _ if unit.ends_with('x') => format!("{unit}es"),
        _ => format!("{unit}s"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn figures_are_written_as_people_write_them() {
        for (rate, written) in [("13.0500", "13.05"), ("5.5890", "5.589"), ("38", "38.00"), ("-2", "−2.00")]
        {
            assert_eq!(price(rate.parse().unwrap()), written);
        }
        assert_eq!(untied(&percent("12.50".parse().unwrap())), "12.5 %");
        assert_eq!(words(&format!("VAT {}", percent("20".parse().unwrap()))).count(), 2);
    }

    #[test]
    fn packs_are_counted_in_words_and_measures_are_not() {
        let one_and_a_half = "1.5".parse().unwrap();
        for (unit, written) in
            [("bag", "bags"), ("box", "boxes"), ("kg", "kg"), ("m", "m"), ("sheet", "sheets")]
        {
            assert_eq!(counted(unit, one_and_a_half), written);
        }
        assert_eq!(counted("bag", "1.0".parse().unwrap()), "bag");
    }
}
