//! A line of a take-off: how much of what, in how many packs, and how it was worked out.

use rust_decimal::{Decimal, RoundingStrategy};

use super::TakeoffError;
use crate::number::{Quantity, half_up};

/// What a line is bought in: bags of 25 kg, boxes of 1000.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Packs {
    /// The pack's word.
    pub pack: String,
    /// Units in a pack.
    pub size: Quantity,
    /// How many, rounded up.
    pub count: u64,
}

/// How much of one thing a room takes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// The work that it is for: stud walls, boarding, skim.
    pub work: String,
    /// What it is, as the price book names it.
    pub what: String,
    /// How much the work takes, waste in it, in `unit`. Two decimals where it doesn't come out whole.
    pub quantity: Quantity,
    /// The unit: each, m, m2, kg, litre.
    pub unit: String,
    /// How it is bought.
    pub packs: Packs,
    /// The part of `quantity` that ends as waste, in per cent, as far as it was allowed for or counted.
    pub waste_percent: Quantity,
    /// How it was worked out, in one sentence.
    pub working: String,
}

impl Line {
    /// A line. `exact` is what the work takes, waste in it; `pack_size` is in the same unit.
    ///
    /// # Errors
    /// [`TakeoffError::OutOfRange`] for a pack that holds nothing, [`TakeoffError::Number`] for what is
    /// too large to keep.
    pub fn new(
        (work, what, unit): (&str, &str, &str),
        exact: Decimal,
        (pack, pack_size): (&str, Decimal),
        waste_percent: Decimal,
        working: String,
    ) -> Result<Self, TakeoffError> {
        let count = whole_packs(what, exact, pack_size)?;
        let kept = |value: Decimal| {
            let tidy = if value.normalize().scale() > 2 { half_up(value, 2) } else { value.normalize() };
            Quantity::new(tidy).map_err(|reason| TakeoffError::Number { what: what.to_owned(), reason })
        };
        Ok(Self {
            work: work.to_owned(),
            what: what.to_owned(),
            quantity: kept(exact)?,
            unit: unit.to_owned(),
            packs: Packs { pack: pack.to_owned(), size: kept(pack_size)?, count },
            waste_percent: kept(half_up(waste_percent, 1))?,
            working,
        })
    }

    /// What is bought, in the line's unit: whole packs.
    #[must_use]
    pub fn bought(&self) -> Decimal {
        self.packs.size.value().saturating_mul(Decimal::from(self.packs.count))
    }
}

/// How many packs hold so much, rounded up from the exact quantity: 3.5 boards are 4.
///
/// # Errors
/// [`TakeoffError::OutOfRange`] for a pack that holds nothing, a quantity below nought, or one too large.
pub fn whole_packs(what: &str, quantity: Decimal, pack_size: Decimal) -> Result<u64, TakeoffError> {
    let out_of_range = |given: Decimal, least: &str| TakeoffError::OutOfRange {
        what: what.to_owned(),
        given: given.to_string(),
        least: least.to_owned(),
        most: "1000000000".to_owned(),
        unit: "of its unit".to_owned(),
    };
    if pack_size <= Decimal::ZERO {
        return Err(out_of_range(pack_size, "more than 0"));
    }
    if quantity.is_sign_negative() && !quantity.is_zero() {
        return Err(out_of_range(quantity, "0"));
    }
    let packs = quantity.checked_div(pack_size).ok_or_else(|| out_of_range(quantity, "0"))?;
    let up = packs.round_dp_with_strategy(0, RoundingStrategy::AwayFromZero);
    u64::try_from(up).ok().filter(|count| *count <= 1_000_000_000).ok_or_else(|| out_of_range(quantity, "0"))
}

/// `quantity` with `waste_percent` on top: 3.5 boards and 10 % are 3.85.
#[must_use]
pub(crate) fn with_waste(quantity: Decimal, waste_percent: Decimal) -> Decimal {
    quantity.saturating_mul(Decimal::ONE_HUNDRED.saturating_add(waste_percent)) / Decimal::ONE_HUNDRED
}

/// The share of `whole` that `waste` is, in per cent; nought of nothing.
#[must_use]
pub(crate) fn share_percent(waste: Decimal, whole: Decimal) -> Decimal {
    waste.saturating_mul(Decimal::ONE_HUNDRED).checked_div(whole).unwrap_or(Decimal::ZERO)
}
