//! The two checks that every formula of a take-off makes: that what it divides by is above nought, and that
//! the result can be kept. So no absurd number from outside ends in a panic.

use rust_decimal::Decimal;

use super::TakeoffError;

/// Refuses nought and less.
pub(super) fn above_nought(what: &str, value: Decimal, unit: &str) -> Result<(), TakeoffError> {
    if value > Decimal::ZERO {
        return Ok(());
    }
    Err(TakeoffError::OutOfRange {
        what: what.to_owned(),
        given: value.to_string(),
        least: "more than 0".to_owned(),
        most: "what the maker says".to_owned(),
        unit: unit.to_owned(),
    })
}

/// `dividend` ÷ `divisor`, or an error that says what is too large to work out.
pub(super) fn quotient(what: &str, dividend: Decimal, divisor: Decimal) -> Result<Decimal, TakeoffError> {
    dividend.checked_div(divisor).ok_or_else(|| TakeoffError::OutOfRange {
        what: what.to_owned(),
        given: format!("{dividend} / {divisor}"),
        least: "0".to_owned(),
        most: "what fits in 28 digits".to_owned(),
        unit: "of its unit".to_owned(),
    })
}
