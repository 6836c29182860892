//! Runs of pipe and cable: their length, fittings and clips, and the volts that a cable loses.
//!
//! Volt drop is arithmetic for planning. Whether a circuit is right is for the registered electrician and the
//! edition of the wiring rules in force.

use rust_decimal::Decimal;

use super::TakeoffError;
use super::exact::{above_nought, quotient};
use super::length::{LONGEST_MM, check_length};

/// A run of pipe or cable: straight legs, one after the other.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Run {
    name: String,
    legs_mm: Vec<i64>,
}

impl Run {
    /// Checks the legs.
    ///
    /// # Errors
    /// [`TakeoffError::NoLength`] for a leg or a sum that is no length; [`TakeoffError::OutOfRange`] for none.
    pub fn new(name: &str, legs_mm: Vec<i64>) -> Result<Self, TakeoffError> {
        if legs_mm.is_empty() || legs_mm.len() > 1_000 {
            return Err(TakeoffError::OutOfRange {
                what: format!("{name}: legs"),
                given: legs_mm.len().to_string(),
                least: "1".to_owned(),
                most: "1000".to_owned(),
                unit: "legs".to_owned(),
            });
        }
        let mut sum_mm = 0;
        for leg_mm in &legs_mm {
            sum_mm += check_length(&format!("{name}: a leg"), *leg_mm)?;
        }
        if sum_mm > 10 * LONGEST_MM {
            return Err(TakeoffError::NoLength {
                what: format!("{name}: all legs"),
                given_mm: sum_mm,
                most_mm: 10 * LONGEST_MM,
            });
        }
        Ok(Self { name: name.to_owned(), legs_mm })
    }

    /// What it is called.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// All legs.
    #[must_use]
    pub fn length_mm(&self) -> i64 {
        self.legs_mm.iter().sum()
    }

    /// An elbow between each two legs.
    #[must_use]
    pub fn elbows(&self) -> usize {
        self.legs_mm.len().saturating_sub(1)
    }

    /// Clips: along each leg one at most `spacing_mm` after the other, and one at its end.
    ///
    /// # Errors
    /// [`TakeoffError::Centres`] for a spacing below 50 mm.
    pub fn clips(&self, spacing_mm: i64) -> Result<i64, TakeoffError> {
        if spacing_mm < 50 {
            return Err(TakeoffError::Centres {
                what: format!("{}: clips", self.name),
                given_mm: spacing_mm,
                least_mm: 50,
                most_mm: LONGEST_MM,
            });
        }
        Ok(self.legs_mm.iter().map(|leg_mm| (leg_mm + spacing_mm - 1) / spacing_mm).sum())
    }
}

/// Twin and earth cables by the area of their conductors, and the millivolts that each loses an ampere and
/// metre, 70 °C.
///
/// Voltage drop tables, seen at second hand: 1.0 and 1.5 ericpalmer.fsnet.co.uk/Table4D5.html, 2.5
/// voltdropcalc.com, 10 elektrika.cz; 4 and 6 a third-party page, weaker.
const MILLIVOLTS: [(&str, i64, u32); 6] =
    [("1.0", 44, 0), ("1.5", 29, 0), ("2.5", 18, 0), ("4", 11, 0), ("6", 73, 1), ("10", 44, 1)];

/// Millivolts that a twin and earth cable of this size in mm² loses an ampere and metre.
///
/// # Errors
/// [`TakeoffError::OutOfRange`] names the sizes that there are.
pub fn millivolts(size_mm2: Decimal) -> Result<Decimal, TakeoffError> {
    let row = MILLIVOLTS.iter().find(|(size, _, _)| size.parse() == Ok(size_mm2));
    row.map(|(_, mantissa, places)| Decimal::new(*mantissa, *places)).ok_or_else(|| {
        TakeoffError::OutOfRange {
            what: "size of the cable".to_owned(),
            given: size_mm2.to_string(),
            least: "1.0".to_owned(),
            most: "10 (1.0, 1.5, 2.5, 4, 6, 10)".to_owned(),
            unit: "mm2".to_owned(),
        }
    })
}

/// A loaded cable.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Load {
    /// Millivolts lost an ampere and metre.
    pub millivolts: Decimal,
    /// Amperes.
    pub amperes: Decimal,
    /// Volts at its beginning.
    pub supply_volts: Decimal,
    /// The part of those that may be lost, in per cent.
    pub limit_percent: Decimal,
}

/// The volts that a run loses.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct VoltDrop {
    /// Volts.
    pub volts: Decimal,
    /// Per cent of the supply.
    pub percent: Decimal,
    /// Whether it keeps to the limit; on it is within.
    pub is_within: bool,
    /// The longest run that would, in metres.
    pub longest_m: Decimal,
}

/// Volt drop: mV × I × L ÷ 1000; the longest run: limit × 1000 ÷ (mV × I).
///
/// # Errors
/// [`TakeoffError::OutOfRange`] for a load, length or supply of nought or less.
pub fn volt_drop(load: Load, length_m: Decimal) -> Result<VoltDrop, TakeoffError> {
    for (what, value, unit) in [
        ("volt drop of the cable", load.millivolts, "mV/A/m"),
        ("load", load.amperes, "A"),
        ("supply", load.supply_volts, "V"),
        ("volt drop allowed", load.limit_percent, "per cent"),
        ("length of the run", length_m, "m"),
    ] {
        above_nought(what, value, unit)?;
    }
    let limit_volts = load.supply_volts.saturating_mul(load.limit_percent) / Decimal::ONE_HUNDRED;
    let each_metre = load.millivolts.saturating_mul(load.amperes);
    let volts = each_metre.saturating_mul(length_m) / Decimal::ONE_THOUSAND;
    let percent = quotient("volt drop", volts.saturating_mul(Decimal::ONE_HUNDRED), load.supply_volts)?;
    let longest_m = quotient("longest run", limit_volts.saturating_mul(Decimal::ONE_THOUSAND), each_metre)?;
    Ok(VoltDrop { volts, percent, is_within: volts <= limit_volts, longest_m })
}

/// Litres of paint: area ÷ coverage × coats.
///
/// # Errors
/// [`TakeoffError::OutOfRange`] for a coverage of nought or less.
pub fn paint_litres(area_m2: Decimal, coverage_m2: Decimal, coats: u32) -> Result<Decimal, TakeoffError> {
    above_nought("paint's coverage", coverage_m2, "m2 a litre")?;
    let litres = quotient("paint", area_m2, coverage_m2)?;
    Ok(litres.saturating_mul(Decimal::from(coats)))
}
