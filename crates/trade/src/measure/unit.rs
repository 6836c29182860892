//! The units that tests are read in, and exact conversion between those of one kind.
//!
//! Factors are whole ratios, so that nothing is lost before the one named rounding: half up at nine places.

use rust_decimal::Decimal;

use crate::number::{MAX_SCALE, Quantity, half_up};

/// What a unit measures.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Dimension {
    /// Pressure.
    Pressure,
    /// Electrical resistance.
    Resistance,
    /// Time.
    Time,
    /// Temperature.
    Temperature,
    /// Volume in a time.
    Flow,
    /// Length in a time.
    Velocity,
    /// Length.
    Length,
    /// A rise over a length.
    Slope,
    /// A share of a mass or of a whole.
    Share,
    /// Relative humidity of air.
    Humidity,
    /// Current.
    Current,
    /// Voltage.
    Voltage,
}

impl Dimension {
    /// What it is called.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Pressure => "a pressure",
            Self::Resistance => "a resistance",
            Self::Time => "a time",
            Self::Temperature => "a temperature",
            Self::Flow => "a flow",
            Self::Velocity => "a velocity",
            Self::Length => "a length",
            Self::Slope => "a fall over a length",
            Self::Share => "a share",
            Self::Humidity => "a relative humidity",
            Self::Current => "a current",
            Self::Voltage => "a voltage",
        }
    }
}

/// A unit: `value × over / under + plus` is the value in the first unit of its kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Unit {
    /// As it is kept and shown.
    pub symbol: &'static str,
    /// What it measures.
    pub dimension: Dimension,
    names: &'static [&'static str],
    over: i64,
    under: i64,
    /// Added before the ratio: what lies between the noughts of two scales, in hundredths.
    before: i64,
}

const fn unit(
    symbol: &'static str,
    dimension: Dimension,
    names: &'static [&'static str],
    over: i64,
    under: i64,
) -> Unit {
    Unit { symbol, dimension, names, over, under, before: 0 }
}

use Dimension::{
    Current, Flow, Humidity, Length, Pressure, Resistance, Share, Slope, Temperature, Time, Velocity, Voltage,
};

/// Every unit; of each kind the first is the one that ratios lead to.
pub const UNITS: &[Unit] = &[
    unit("bar", Pressure, &["bars"], 1, 1),
    unit("mbar", Pressure, &["millibar"], 1, 1_000),
    unit("Pa", Pressure, &["pascal"], 1, 100_000),
    unit("kPa", Pressure, &["kilopascal"], 1, 100),
    unit("MPa", Pressure, &["megapascal"], 10, 1),
    // A pound-force on a square inch: 4.4482216152605 N on 645.16 mm2, exact by definition.
    unit("psi", Pressure, &["lb/in2", "lbs/in2"], 44_482_216_152_605, 645_160_000_000_000),
    unit("ohm", Resistance, &["ohms", "Ω"], 1, 1),
    unit("milliohm", Resistance, &["milliohms", "mΩ"], 1, 1_000),
    unit("kilohm", Resistance, &["kilohms", "kΩ", "kohm"], 1_000, 1),
    unit("megohm", Resistance, &["megohms", "MΩ", "meg"], 1_000_000, 1),
    unit("gigohm", Resistance, &["gigohms", "GΩ", "gohm"], 1_000_000_000, 1),
    unit("ms", Time, &["millisecond", "milliseconds"], 1, 1),
    unit("s", Time, &["sec", "second", "seconds"], 1_000, 1),
    unit("min", Time, &["mins", "minute", "minutes"], 60_000, 1),
    unit("h", Time, &["hr", "hour", "hours"], 3_600_000, 1),
    unit("°C", Temperature, &["C", "degC", "deg C", "degrees", "celsius"], 1, 1),
    Unit { before: -3_200, ..unit("°F", Temperature, &["F", "degF", "fahrenheit"], 5, 9) },
    Unit { before: -27_315, ..unit("K", Temperature, &["kelvin"], 1, 1) },
    unit("L/min", Flow, &["l/m", "lpm", "litres a minute", "litres per minute"], 1, 1),
    unit("L/s", Flow, &["litres a second", "litres per second"], 60, 1),
    unit("m3/h", Flow, &["m³/h"], 1_000, 60),
    unit("m/s", Velocity, &["metres a second"], 1, 1),
    unit("mm", Length, &["millimetre", "millimetres"], 1, 1),
    unit("cm", Length, &["centimetre", "centimetres"], 10, 1),
    unit("m", Length, &["metre", "metres"], 1_000, 1),
    unit("in", Length, &["inch", "inches"], 254, 10),
    unit("mm/m", Slope, &["mm per m", "mm a metre"], 1, 1),
    unit("%", Share, &["per cent", "percent", "% mc", "% wme"], 1, 1),
    unit("% RH", Humidity, &["%RH", "RH"], 1, 1),
    unit("A", Current, &["amp", "amps", "ampere"], 1, 1),
    unit("mA", Current, &["milliamp", "milliamps"], 1, 1_000),
    unit("V", Voltage, &["volt", "volts"], 1, 1),
];

/// What is wrong with a unit.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum UnitFault {
    /// There is none.
    #[error("a value needs its unit{}", read_in(.usual))]
    Missing {
        /// The unit that the kind of test is read in, or empty.
        usual: String,
    },
    /// It is none that is known.
    #[error("{said:?} is no unit that is known here; this test is read in {allowed}")]
    Unknown {
        /// As it came.
        said: String,
        /// What may stand there.
        allowed: String,
    },
    /// It measures something else.
    #[error("{said} is {measures}; this test is read in {allowed}")]
    OtherKind {
        /// As it came.
        said: String,
        /// What it measures.
        measures: &'static str,
        /// What may stand there.
        allowed: String,
    },
    /// The number has too many digits in the other unit.
    #[error("{value} {from} has too many digits in {to}")]
    TooManyDigits {
        /// The value.
        value: Quantity,
        /// Its unit.
        from: String,
        /// The other unit.
        to: String,
    },
}

fn read_in(usual: &str) -> String {
    if usual.is_empty() {
        "; say what it is counted in".to_owned()
    } else {
        format!("; this test is read in {usual}")
    }
}

/// The unit of this name. Case matters only where it tells two apart: mΩ and MΩ.
#[must_use]
pub fn unit_named(name: &str) -> Option<&'static Unit> {
    let name = name.trim().replace('\u{2126}', "\u{3a9}");
    let exact = UNITS.iter().find(|unit| unit.symbol == name || unit.names.contains(&name.as_str()));
    exact.or_else(|| {
        let is = |known: &&str| known.to_lowercase() == name.to_lowercase();
        UNITS.iter().find(|unit| is(&unit.symbol) || unit.names.iter().any(is))
    })
}

/// The symbol of a unit of the same kind as the usual one.
pub(super) fn known_unit(said: &str, usual: &str) -> Result<&'static str, UnitFault> {
    if said.trim().is_empty() {
        return Err(UnitFault::Missing { usual: usual.to_owned() });
    }
    let dimension = unit_named(usual).map(|unit| unit.dimension);
    let of_kind = || {
        let symbols = UNITS.iter().filter(|unit| Some(unit.dimension) == dimension).map(|unit| unit.symbol);
        let others = symbols.filter(|symbol| *symbol != usual);
        let others = others.collect::<Vec<_>>().join(", ");
        if others.is_empty() { usual.to_owned() } else { format!("{usual} (or {others})") }
    };
    let said = said.trim().to_owned();
    match unit_named(&said) {
        None => Err(UnitFault::Unknown { said, allowed: of_kind() }),
        Some(unit) if Some(unit.dimension) != dimension => {
            Err(UnitFault::OtherKind { said, measures: unit.dimension.word(), allowed: of_kind() })
        }
        Some(unit) => Ok(unit.symbol),
    }
}

/// A value in another unit of the same kind, rounded half up at nine places.
///
/// # Errors
/// [`UnitFault`].
pub fn convert(value: Quantity, from: &str, to: &str) -> Result<Quantity, UnitFault> {
    known_unit(from, to)?;
    let (Some(one), Some(other)) = (unit_named(from), unit_named(to)) else {
        return Err(UnitFault::Unknown { said: from.to_owned(), allowed: to.to_owned() });
    };
    if one.symbol == other.symbol {
        return Ok(value);
    }
    let too_many = || UnitFault::TooManyDigits { value, from: from.to_owned(), to: to.to_owned() };
    let converted = || {
        let shifted = value.value().checked_add(Decimal::new(one.before, 2))?;
        let over = Decimal::from(one.over).checked_mul(Decimal::from(other.under))?;
        let under = Decimal::from(one.under).checked_mul(Decimal::from(other.over))?;
        let ratio = shifted.checked_mul(over)?.checked_div(under)?;
        let converted = half_up(ratio.checked_sub(Decimal::new(other.before, 2))?, MAX_SCALE);
        // Noughts behind the point would count as digits.
        Quantity::new(converted.normalize()).ok()
    };
    converted().ok_or_else(too_many)
}
