//! What things cost and what is billed for them: line amounts, hours, labour, unit costs, mark-up,
//! variances and retention.
//!
//! Every function rounds once, at its end, half away from nought, and says to what. Nothing here
//! knows about tax, dates or who pays.

use std::iter::Sum;
use std::ops::{Add, AddAssign, Sub};

use rust_decimal::Decimal;

use crate::number::{Pence, Quantity, Rate, ratio_half_up};

/// Decimal places of hours on paper: 3 h 50 min is 3.83 hours.
pub const HOUR_PLACES: u32 = 2;

/// Decimal places of a marked-up price: 4.86 a stud plus 15 % is 5.5890.
pub const MARKED_UP_PLACES: u32 = 4;

/// Why money can't be worked out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum MoneyError {
    /// The cost of one unit can't be told from a pack that holds nothing.
    #[error("a pack must hold more than nothing; give what is in it, like 25 (kg) for a bag")]
    PackHoldsNothing,
}

/// What a printed line comes to: printed quantity × printed price, half-up to the penny.
///
/// Hand over the numbers *as printed* (hours to two decimals, a marked-up price to four), so that
/// the customer's calculator gives the printed figure.
#[must_use]
pub fn line_amount(quantity: Quantity, unit_price: Rate) -> Pence {
    Pence(ratio_half_up(quantity.value(), unit_price.value(), Decimal::ONE, 2))
}

/// Minutes as hours with two decimals, half-up: 230 minutes are 3.83 hours.
#[must_use]
pub fn hours(minutes: i64) -> Quantity {
    let hundredths = ratio_half_up(Decimal::from(minutes), Decimal::ONE, sixty(), HOUR_PLACES);
    Quantity::from_mantissa(hundredths, HOUR_PLACES)
}

/// Minutes as a clock would count them: 230 minutes are `3 h 50`.
#[must_use]
pub fn hours_and_minutes(minutes: i64) -> String {
    let sign = if minutes < 0 { "-" } else { "" };
    let length = minutes.unsigned_abs();
    format!("{sign}{} h {:02}", length / 60, length % 60)
}

/// What worked time costs: minutes ÷ 60 × the pounds an hour, half-up to the penny, once.
///
/// This is the crew's own cost. A *billed* hour goes through [`hours`] and [`line_amount`] instead.
#[must_use]
pub fn labour_cost(minutes: i64, hourly_rate: Rate) -> Pence {
    Pence(ratio_half_up(Decimal::from(minutes), hourly_rate.value(), sixty(), 2))
}

/// A part of a sum, half-up to the penny; `percent` is 5 for five per cent.
#[must_use]
pub fn percentage(sum: Pence, percent: Rate) -> Pence {
    Pence(ratio_half_up(sum.pounds(), percent.value(), Decimal::ONE_HUNDRED, 2))
}

fn sixty() -> Decimal {
    Decimal::from(60)
}

/// Pounds that are not yet rounded, so that a sum of costs is rounded once at its end.
///
/// Exact to 28 digits. Sums beyond that saturate.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub struct Pounds(Decimal);

impl Pounds {
    /// Nothing.
    pub const ZERO: Self = Self(Decimal::ZERO);

    /// The value in pounds.
    #[must_use]
    pub const fn value(self) -> Decimal {
        self.0
    }

    /// Half-up to the penny.
    #[must_use]
    pub fn to_pence(self) -> Pence {
        Pence(ratio_half_up(self.0, Decimal::ONE, Decimal::ONE, 2))
    }
}

impl From<Pence> for Pounds {
    fn from(pence: Pence) -> Self {
        Self(pence.pounds())
    }
}

impl Add for Pounds {
    type Output = Self;
    fn add(self, other: Self) -> Self {
        // Two numbers only outgrow the type together, so either one's sign is the sum's.
        Self(self.0.checked_add(other.0).unwrap_or_else(|| largest(self.0.is_sign_negative())))
    }
}

impl Sub for Pounds {
    type Output = Self;
    fn sub(self, other: Self) -> Self {
        self + Self(-other.0)
    }
}

impl AddAssign for Pounds {
    fn add_assign(&mut self, other: Self) {
        *self = *self + other;
    }
}

impl Sum for Pounds {
    fn sum<I: Iterator<Item = Self>>(costs: I) -> Self {
        costs.fold(Self::ZERO, Add::add)
    }
}

fn largest(negative: bool) -> Decimal {
    if negative { Decimal::MIN } else { Decimal::MAX }
}

/// What one unit of an item costs, kept as the pack's cost and the pack's size.
///
/// A 90 m roll at 3.90 costs 0.04333… a metre, which no decimal holds. So the division is put off
/// to the end: 4.5 m of it cost exactly 0.195, which is 0.20, where 4.5 × 0.0433…3 would fall short
/// of the half penny.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct UnitCost {
    pack_cost: Rate,
    pack_size: Quantity,
}

impl UnitCost {
    /// Pounds for a whole pack, and how many units are in it.
    ///
    /// # Errors
    /// [`MoneyError::PackHoldsNothing`] for a pack size of nought or below.
    pub fn of_pack(pack_cost: Rate, pack_size: Quantity) -> Result<Self, MoneyError> {
        if pack_size.is_zero() || pack_size.is_negative() {
            return Err(MoneyError::PackHoldsNothing);
        }
        Ok(Self { pack_cost, pack_size })
    }

    /// Pounds for one unit, as priced by the unit.
    #[must_use]
    pub fn of_unit(unit_cost: Rate) -> Self {
        Self { pack_cost: unit_cost, pack_size: Quantity::from_mantissa(1, 0) }
    }

    /// Pounds for one unit, to 28 digits: for showing, not for multiplying.
    #[must_use]
    pub fn pounds(self) -> Pounds {
        self.times(Decimal::ONE)
    }

    /// What this much costs, not yet rounded.
    #[must_use]
    pub fn cost_of(self, quantity: Quantity) -> Pounds {
        self.times(quantity.value())
    }

    /// Pounds for one unit plus a mark-up in per cent, half-up to four decimals.
    #[must_use]
    pub fn marked_up(self, percent: Rate) -> Rate {
        let factor = (Decimal::ONE_HUNDRED + percent.value()) * Decimal::new(1, 2);
        let (cost, size) = (self.pack_cost.value(), self.pack_size.value());
        Rate::from_mantissa(ratio_half_up(cost, factor, size, MARKED_UP_PLACES), MARKED_UP_PLACES)
    }

    fn times(self, quantity: Decimal) -> Pounds {
        let cost = self.pack_cost.value();
        let exact = quantity.checked_mul(cost).and_then(|sum| sum.checked_div(self.pack_size.value()));
        Pounds(exact.unwrap_or_else(|| largest(quantity.is_sign_negative() ^ cost.is_sign_negative())))
    }
}

/// How much more was paid than priced: (actual − estimated unit cost) × what was used.
///
/// `actual_cost` is what all that was used did cost, at one price or at several; it is not rounded
/// before. Positive is over. Half-up to the penny.
#[must_use]
pub fn price_variance(actual_cost: Pounds, estimated: UnitCost, used: Quantity) -> Pence {
    (actual_cost - estimated.cost_of(used)).to_pence()
}

/// What using more than priced came to: (used − estimated quantity) × estimated unit cost.
///
/// Positive is over. Half-up to the penny.
#[must_use]
pub fn usage_variance(used: Quantity, estimated_quantity: Quantity, estimated: UnitCost) -> Pence {
    estimated.times(used.value() - estimated_quantity.value()).to_pence()
}

/// Held-back money in the two parts in which it is usually released.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct RetentionHalves {
    /// Released at practical completion: half, half-up to the penny.
    pub at_completion: Pence,
    /// Released at the end of the defects period: all the rest.
    pub at_end_of_defects: Pence,
}

impl RetentionHalves {
    /// Splits what is held. The halves always add up to it; the odd penny comes first.
    #[must_use]
    pub fn of(held: Pence) -> Self {
        let at_completion = Pence(ratio_half_up(held.pounds(), Decimal::ONE, Decimal::TWO, 2));
        Self { at_completion, at_end_of_defects: held - at_completion }
    }
}
