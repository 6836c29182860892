//! What a circuit's conductors come to by the table, to compare a continuity test with.
//!
//! A value from here is an expectation at 20 °C, never a limit: the design sets that.

use rust_decimal::Decimal;

use crate::number::Quantity;

/// Milliohms a metre of copper at 20 °C by cross-section in mm2, in hundredths. IEC 60228 values.
const PER_METRE: [(&str, i64); 6] =
    [("1", 1_810), ("1.5", 1_210), ("2.5", 741), ("4", 461), ("6", 308), ("10", 183)];

fn per_metre(size: &str) -> Option<Decimal> {
    let size = size.trim().strip_suffix(".0").unwrap_or(size.trim());
    PER_METRE.iter().find(|(known, _)| *known == size).map(|(_, hundredths)| Decimal::new(*hundredths, 2))
}

/// Ohms of a line and its protective conductor over some metres, R1 + R2, at 20 °C. Sizes in mm2: `2.5`
/// and `1.5`. None for sizes that are not in the table.
#[must_use]
pub fn line_and_earth(line: &str, earth: &str, metres: Quantity) -> Option<Quantity> {
    let sum = per_metre(line)?.checked_add(per_metre(earth)?)?;
    let ohms = sum.checked_mul(metres.value())?.checked_div(Decimal::ONE_THOUSAND)?;
    Some(Quantity::new(ohms).ok()?.rounded(3))
}

/// Ohms of a ring with the line and the protective conductor cross-connected, (r1 + r2) / 4, at 20 °C.
#[must_use]
pub fn ring(line: &str, earth: &str, metres: Quantity) -> Option<Quantity> {
    let sum = per_metre(line)?.checked_add(per_metre(earth)?)?;
    let ohms = sum.checked_mul(metres.value())?.checked_div(Decimal::from(4_000))?;
    Some(Quantity::new(ohms).ok()?.rounded(3))
}

/// What a continuity test should come to, where its words say the length and the sizes: `22 m of 2.5/1.5`.
#[must_use]
pub fn expected(how: &str) -> Option<Quantity> {
    let words: Vec<&str> = how.split([' ', ',', ';', ':']).filter(|word| !word.is_empty()).collect();
    let sizes = words.iter().find_map(|word| {
        let (line, earth) = word.split_once('/')?;
        per_metre(line).and(per_metre(earth)).map(|_| (line, earth))
    });
    let metres = words.iter().enumerate().find_map(|(at, word)| {
        let number = word.strip_suffix('m').unwrap_or(word).parse::<Quantity>().ok()?;
        let is_length =
            word.ends_with('m') || words.get(at + 1).is_some_and(|next| matches!(*next, "m" | "metres"));
        (is_length && !number.is_negative()).then_some(number)
    })?;
    let (line, earth) = sizes?;
    if how.to_lowercase().contains("ring") {
        ring(line, earth, metres)
    } else {
        line_and_earth(line, earth, metres)
    }
}
