//! Lengths: reading them as people write them, and the areas they make.
//!
//! A length is a whole number of millimetres, kept as `i64` under a name that ends in `_mm`. Areas are
//! whole square millimetres until the end, and then exact square metres.

use rust_decimal::Decimal;

use super::TakeoffError;

/// The longest length that is taken: a hundred metres. Areas and sums of many rooms then fit in 64 bits.
pub const LONGEST_MM: i64 = 100_000;

/// Reads `2400`, `2400mm`, `240 cm` or `2.4m`. A bare number is millimetres.
///
/// # Errors
/// [`TakeoffError::NotALength`], [`TakeoffError::UnknownUnit`], [`TakeoffError::NotWholeMillimetres`],
/// and [`TakeoffError::NoLength`] for nought, less, or more than [`LONGEST_MM`].
pub fn read_length(text: &str) -> Result<i64, TakeoffError> {
    let said = text.trim();
    let digits_end = said
        .find(|letter: char| !letter.is_ascii_digit() && !matches!(letter, '.' | '-'))
        .unwrap_or(said.len());
    let (number, unit) = said.split_at(digits_end);
    let not_a_length = || TakeoffError::NotALength { said: said.to_owned() };
    let number: crate::Quantity = number.parse().map_err(|_| not_a_length())?;
    let in_mm = match unit.trim() {
        "" | "mm" => Decimal::ONE,
        "cm" => Decimal::TEN,
        "m" => Decimal::ONE_THOUSAND,
        other => {
            return Err(TakeoffError::UnknownUnit { said: said.to_owned(), unit: other.to_owned() });
        }
    };
    let length = number.value().checked_mul(in_mm).ok_or_else(not_a_length)?.normalize();
    if length.scale() > 0 {
        return Err(TakeoffError::NotWholeMillimetres { said: said.to_owned() });
    }
    let length_mm = i64::try_from(length.mantissa()).map_err(|_| not_a_length())?;
    check_length(&format!("{said:?}"), length_mm)
}

/// Hands a length back if it is one.
///
/// # Errors
/// [`TakeoffError::NoLength`] for nought, less, or more than [`LONGEST_MM`].
pub fn check_length(what: &str, length_mm: i64) -> Result<i64, TakeoffError> {
    if (1..=LONGEST_MM).contains(&length_mm) {
        Ok(length_mm)
    } else {
        Err(TakeoffError::NoLength { what: what.to_owned(), given_mm: length_mm, most_mm: LONGEST_MM })
    }
}

/// Square millimetres as exact square metres.
#[must_use]
pub fn square_metres(area_mm2: i64) -> Decimal {
    Decimal::new(area_mm2, 6).normalize()
}

/// Millimetres as exact metres.
#[must_use]
pub fn metres(length_mm: i64) -> Decimal {
    Decimal::new(length_mm, 3).normalize()
}
