//! Tests and values read off a dial.
//!
//! An entry keeps the value, the limit and who says so; it never says that the work is safe.

use serde::{Deserialize, Serialize};
use trade::Quantity;
pub use trade::measure::Bound;

use super::Site;
use crate::ids::PhotoHash;

/// A limit that a test is compared with.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Limit {
    /// At least (`Above`), at most (`Below`) or exactly the value.
    pub bound: Bound,
    /// The value, in the test's unit.
    pub value: Quantity,
    /// Who says so.
    pub source: String,
}

/// Somebody from outside the crew who checked.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct OutsideCheck {
    /// Who.
    pub name: String,
    /// Their registration, or empty.
    pub registration: String,
    /// The number of the certificate, or empty.
    pub certificate: String,
}

/// A test, or a value read off a dial.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Test {
    /// Where.
    pub site: Site,
    /// What was tested: pressure test, insulation resistance.
    pub what: String,
    /// Whether the value is exact or a bound.
    pub bound: Bound,
    /// The value.
    pub value: Quantity,
    /// Its unit: bar, megohm, ohm, °C.
    pub unit: String,
    /// How, or empty.
    pub method: String,
    /// With what, or empty.
    pub instrument: String,
    /// The limit that it is compared with, if one was set.
    pub limit: Option<Box<Limit>>,
    /// Whose check it was, if it was not the crew's.
    pub outside: Option<Box<OutsideCheck>>,
    /// Photos.
    pub photos: Vec<PhotoHash>,
}
