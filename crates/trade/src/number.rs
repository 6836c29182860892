//! Exact numbers: quantities of stuff, pounds per unit, and whole pence.
//!
//! A decimal keeps the digits it was written with (`38.00` stays `38.00`), because what is printed
//! is what somebody wrote. Comparison and arithmetic go by value.

use std::fmt;
use std::iter::Sum;
use std::ops::{Add, AddAssign, Neg, Sub, SubAssign};
use std::str::FromStr;

use rust_decimal::{Decimal, RoundingStrategy};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error as _};

/// Most decimal places that a stored number may have.
pub const MAX_SCALE: u32 = 9;

/// Why a text or a value is not a number that fivebar can keep.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NumberError {
    /// The text is not a plain decimal number.
    #[error("not a number; write it like 12 or 4.5")]
    NotANumber,
    /// More than nine decimal places, or too many digits.
    #[error("too many digits; at most 18, of which 9 behind the point")]
    TooManyDigits,
    /// More than two decimal places where whole pence are wanted.
    #[error("not whole pence; write it like 48.75")]
    NotWholePence,
}

fn parse_decimal(text: &str) -> Result<Decimal, NumberError> {
    let digits = text.strip_prefix('-').unwrap_or(text);
    let plain = digits.bytes().all(|b| b.is_ascii_digit() || b == b'.')
        && digits.bytes().any(|b| b.is_ascii_digit())
        && digits.bytes().filter(|b| *b == b'.').count() <= 1
        && !digits.ends_with('.')
        && !digits.starts_with('.');
    if !plain {
        return Err(NumberError::NotANumber);
    }
    let value = Decimal::from_str_exact(text).map_err(|_| NumberError::TooManyDigits)?;
    check_decimal(value)
}

fn check_decimal(value: Decimal) -> Result<Decimal, NumberError> {
    if value.scale() > MAX_SCALE || i64::try_from(value.mantissa()).is_err() {
        return Err(NumberError::TooManyDigits);
    }
    Ok(value)
}

macro_rules! decimal_type {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
        pub struct $name(Decimal);

        impl $name {
            /// Nought.
            pub const ZERO: Self = Self(Decimal::ZERO);

            /// Takes an exact value.
            ///
            /// # Errors
            /// [`NumberError::TooManyDigits`] beyond 18 digits or nine decimal places.
            pub fn new(value: Decimal) -> Result<Self, NumberError> {
                check_decimal(value).map(Self)
            }

            /// The number `mantissa` ÷ 10^`places`. Nine places at most, so that it can be kept.
            pub(crate) fn from_mantissa(mantissa: i64, places: u32) -> Self {
                debug_assert!(places <= MAX_SCALE);
                Self(Decimal::new(mantissa, places))
            }

            /// The value, for arithmetic.
            #[must_use]
            pub const fn value(self) -> Decimal {
                self.0
            }

            /// True for nought, however many noughts it is written with.
            #[must_use]
            pub fn is_zero(self) -> bool {
                self.0.is_zero()
            }

            /// True below nought.
            #[must_use]
            pub fn is_negative(self) -> bool {
                self.0.is_sign_negative() && !self.0.is_zero()
            }
        }

        impl FromStr for $name {
            type Err = NumberError;
            fn from_str(text: &str) -> Result<Self, NumberError> {
                parse_decimal(text).map(Self)
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.fmt(f)
            }
        }

        /// People read a string; the ledger's bytes are an `i64` mantissa and a `u8` scale.
        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                if serializer.is_human_readable() {
                    serializer.collect_str(&self.0)
                } else {
                    let mantissa = i64::try_from(self.0.mantissa())
                        .map_err(|_| serde::ser::Error::custom(NumberError::TooManyDigits))?;
                    let scale = u8::try_from(self.0.scale())
                        .map_err(|_| serde::ser::Error::custom(NumberError::TooManyDigits))?;
                    (mantissa, scale).serialize(serializer)
                }
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                if deserializer.is_human_readable() {
                    let text = String::deserialize(deserializer)?;
                    text.parse().map_err(D::Error::custom)
                } else {
                    let (mantissa, scale) = <(i64, u8)>::deserialize(deserializer)?;
                    if u32::from(scale) > MAX_SCALE {
                        return Err(D::Error::custom(NumberError::TooManyDigits));
                    }
                    Ok(Self(Decimal::new(mantissa, u32::from(scale))))
                }
            }
        }
    };
}

decimal_type! {
    /// An amount of something in its own unit: 4.5 (bags), 42.75 (m²), 7.5 (hours).
    Quantity
}

decimal_type! {
    /// Pounds for one unit: 0.013 a screw, 38.00 an hour; or a percentage, where a name says so.
    Rate
}

impl Quantity {
    /// Half-up to `places` decimals, and written with exactly that many.
    #[must_use]
    pub fn rounded(self, places: u32) -> Self {
        Self(half_up(self.0, places))
    }
}

impl Rate {
    /// Half-up to `places` decimals, and written with exactly that many.
    #[must_use]
    pub fn rounded(self, places: u32) -> Self {
        Self(half_up(self.0, places))
    }
}

/// Rounds half away from nought to `places` decimals and keeps exactly that many digits.
#[must_use]
pub fn half_up(value: Decimal, places: u32) -> Decimal {
    let mut rounded = value.round_dp_with_strategy(places, RoundingStrategy::MidpointAwayFromZero);
    rounded.rescale(places);
    rounded
}

/// `first` × `second` ÷ `divisor`, rounded once, half away from nought, counted in 10^-`places`.
///
/// Whole-number arithmetic in 128 bits: for numbers that fivebar can keep no digit is lost before
/// the one rounding, as it would be in a product of more than 28 digits or in a quotient that does
/// not end. What does not fit in 64 bits saturates; division by nought counts as that.
pub(crate) fn ratio_half_up(first: Decimal, second: Decimal, divisor: Decimal, places: u32) -> i64 {
    let negative = first.is_sign_negative() ^ second.is_sign_negative() ^ divisor.is_sign_negative();
    let magnitude = ratio_magnitude(first, second, divisor, places).and_then(|n| i64::try_from(n).ok());
    match (magnitude, negative) {
        (Some(magnitude), false) => magnitude,
        (Some(magnitude), true) => -magnitude,
        (None, false) => i64::MAX,
        (None, true) => i64::MIN,
    }
}

fn ratio_magnitude(first: Decimal, second: Decimal, divisor: Decimal, places: u32) -> Option<u128> {
    let product = first.mantissa().unsigned_abs().checked_mul(second.mantissa().unsigned_abs())?;
    let (raised, lowered) = (places + divisor.scale(), first.scale() + second.scale());
    let scaling = 10_u128.checked_pow(raised.abs_diff(lowered))?;
    let divisor = divisor.mantissa().unsigned_abs();
    let (numerator, denominator) = if raised >= lowered {
        (product.checked_mul(scaling)?, divisor)
    } else {
        (product, divisor.checked_mul(scaling)?)
    };
    let whole = numerator.checked_div(denominator)?;
    let rest = numerator.checked_rem(denominator)?;
    Some(if rest >= denominator - rest { whole + 1 } else { whole })
}

/// Whole pence. Shown as pounds with two decimals.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Pence(pub i64);

impl Pence {
    /// Nothing.
    pub const ZERO: Self = Self(0);

    /// Pounds rounded half-up to the penny.
    ///
    /// Sums beyond what 64 bits of pence hold (92 quadrillion pounds) saturate.
    #[must_use]
    pub fn from_pounds_half_up(pounds: Decimal) -> Self {
        let pence = half_up(pounds, 2).mantissa();
        Self(i64::try_from(pence).unwrap_or(if pence < 0 { i64::MIN } else { i64::MAX }))
    }

    /// The sum in pounds, exactly.
    #[must_use]
    pub fn pounds(self) -> Decimal {
        Decimal::new(self.0, 2)
    }
}

impl fmt::Display for Pence {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.pounds().fmt(f)
    }
}

impl FromStr for Pence {
    type Err = NumberError;
    fn from_str(text: &str) -> Result<Self, NumberError> {
        let mut value = parse_decimal(text)?;
        if value.normalize().scale() > 2 {
            return Err(NumberError::NotWholePence);
        }
        value.rescale(2);
        i64::try_from(value.mantissa()).map(Self).map_err(|_| NumberError::TooManyDigits)
    }
}

/// People read pounds (`"48.75"`); the ledger's bytes are an `i64` of pence.
impl Serialize for Pence {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        if serializer.is_human_readable() {
            serializer.collect_str(self)
        } else {
            self.0.serialize(serializer)
        }
    }
}

impl<'de> Deserialize<'de> for Pence {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        if deserializer.is_human_readable() {
            let text = String::deserialize(deserializer)?;
            text.parse().map_err(D::Error::custom)
        } else {
            i64::deserialize(deserializer).map(Self)
        }
    }
}

impl Add for Pence {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        Self(self.0.saturating_add(other.0))
    }
}

impl Sub for Pence {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        Self(self.0.saturating_sub(other.0))
    }
}

impl Neg for Pence {
    type Output = Self;
    fn neg(self) -> Self {
        Self(self.0.saturating_neg())
    }
}

impl AddAssign for Pence {
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl SubAssign for Pence {
    fn sub_assign(&mut self, other: Self) {
        *self = *self - other;
    }
}

impl Sum for Pence {
    fn sum<I: Iterator<Item = Self>>(iter: I) -> Self {
        iter.fold(Self::ZERO, Add::add)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn digits_stay_as_written_and_compare_by_value() {
        let written: Quantity = "38.00".parse().unwrap();
        assert_eq!(written.to_string(), "38.00");
        assert_eq!(written, "38".parse().unwrap());
    }

    #[test]
    fn what_is_not_a_plain_decimal_is_refused() {
        for text in ["", ".", "1e3", "1,000", "+4", "4.", ".5", "£4", "--1", "1.2.3", "NaN", " 4"] {
            assert_eq!(text.parse::<Quantity>(), Err(NumberError::NotANumber), "{text:?}");
        }
        assert_eq!("1.0123456789".parse::<Rate>(), Err(NumberError::TooManyDigits));
        assert_eq!("99999999999999999999".parse::<Rate>(), Err(NumberError::TooManyDigits));
        assert_eq!("1.005".parse::<Pence>(), Err(NumberError::NotWholePence));
        assert_eq!("1.500".parse::<Pence>(), Ok(Pence(150)));
    }

    /// HMRC VATREC12030 for the rule (seen), the figure computed: half-up, where half-even would give 28.32.
    #[test]
    fn half_a_penny_goes_up() {
        let pounds = Decimal::new(25, 1) * Decimal::new(1133, 2);
        assert_eq!(Pence::from_pounds_half_up(pounds).to_string(), "28.33");
        assert_eq!(Pence::from_pounds_half_up(-pounds).to_string(), "-28.33");
        assert_eq!(half_up(Decimal::new(5, 0), 3).to_string(), "5.000");
    }
}
