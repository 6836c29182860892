//! Tests and values off a dial: their units, the usual limits of each kind, and what a value says against
//! a limit.
//!
//! A judgement says "within the limit set" or "outside the limit set" and never more. It certifies nothing:
//! local code, the maker and the licensed person decide, and a limit that was set for the job goes first.

pub mod catalogue;
mod pressure;
pub mod resistance;
pub mod unit;
mod verdict;

use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};

use crate::number::{NumberError, Quantity};

pub use catalogue::{Case, Confidence, Sense, StatedLimit, TestKind, kind_of};
pub use unit::{UnitFault, convert};
pub use verdict::{Judgement, SetLimit, Verdict, compare, judge};

/// How a value is to be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Bound {
    /// The value itself.
    Exactly,
    /// More than the value: ">200".
    Above,
    /// Less than the value: "<0.1".
    Below,
}

/// A value off a dial, as it was logged.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Reading<'a> {
    /// What was tested.
    pub what: &'a str,
    /// How the value is to be read.
    pub bound: Bound,
    /// The value.
    pub value: Quantity,
    /// Its unit; of a fall, with the time: `bar fall in 60 min`.
    pub unit: &'a str,
    /// All that was said of how and where it was done.
    pub how: &'a str,
}

/// A value as people write it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Written {
    /// A number or a bound: `4.5`, `>200`, `<0.1`.
    Value(Bound, Quantity),
    /// `no fall in 60 min`.
    NoFall {
        /// The minutes.
        minutes: u32,
    },
}

/// Reads a value as people write it.
///
/// # Errors
/// What is wrong with the number.
pub fn read_value(text: &str) -> Result<Written, NumberError> {
    if let Some(minutes) = no_fall(text) {
        return Ok(Written::NoFall { minutes });
    }
    let (bound, number) = match text.split_at_checked(1) {
        Some((">", number)) => (Bound::Above, number),
        Some(("<", number)) => (Bound::Below, number),
        _ => (Bound::Exactly, text),
    };
    number.trim().parse().map(|value| Written::Value(bound, value))
}

/// The minutes of `no fall in 60 min`, `no drop in 1 h`.
fn no_fall(text: &str) -> Option<u32> {
    let words = pressure::words(text);
    match pressure::conditions(&words).falls.as_slice() {
        [(fall, minutes)] if fall.is_zero() && text.trim_start().to_lowercase().starts_with("no ") => {
            Some(*minutes)
        }
        _ => None,
    }
}

/// The unit of a fall over some minutes: `bar fall in 60 min`.
#[must_use]
pub fn unit_of_fall(unit: &str, minutes: u32) -> String {
    format!("{unit} fall in {minutes} min")
}

/// A unit and, of a fall, its minutes: `bar fall in 60 min` is a fall of bars over 60.
#[must_use]
pub fn split_unit(unit: &str) -> (&str, Option<u32>) {
    let Some((plain, rest)) = unit.split_once(" fall in ") else { return (unit.trim(), None) };
    let minutes = rest.trim().strip_suffix("min").and_then(|minutes| minutes.trim().parse().ok());
    minutes.map_or((unit.trim(), None), |minutes| (plain.trim(), Some(minutes)))
}

/// Checks the unit of a value before it is logged, and gives it as it is written on instruments. A kind of
/// test that is not in the catalogue may have any unit.
///
/// # Errors
/// [`UnitFault`]: which unit the kind is read in.
pub fn check_unit(what: &str, unit: &str) -> Result<String, UnitFault> {
    let (plain, minutes) = split_unit(unit);
    let Some(kind) = kind_of(what) else {
        if plain.is_empty() {
            return Err(UnitFault::Missing { usual: String::new() });
        }
        return Ok(unit.trim().to_owned());
    };
    let found = unit::known_unit(plain, kind.unit)?;
    Ok(minutes.map_or_else(|| found.to_owned(), |minutes| unit_of_fall(found, minutes)))
}

/// A number without noughts behind the point.
fn plain(value: Decimal) -> String {
    value.normalize().to_string()
}
