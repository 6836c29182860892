//! From a take-off to costing lines: what is bought at the price book's prices and marked up, hours at the
//! crew's rates, contingency and sundries, each a line of its own.
//!
//! It knows only what it is handed: prices, rates and the mark-up are arguments. Nothing is agreed here.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::defaults::{Setting, Settings};
use super::measure::Measured;
use super::{Line, TakeoffError, whole_packs};
use crate::money::{UnitCost, line_amount};
use crate::number::{Pence, Quantity, Rate, half_up};
use crate::unit::Packing;

/// What sundries are called in costing and price book.
pub const SUNDRIES: &str = "sundries";

/// What the hours for the unforeseen are called.
pub const CONTINGENCY: &str = "contingency";

/// An item as the price book has it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BookItem {
    /// Its unit.
    pub unit: String,
    /// What it is bought in.
    pub pack: String,
    /// Units in a pack.
    pub pack_size: Quantity,
    /// Pounds a pack, if it has a price.
    pub pack_cost: Option<Rate>,
}

/// What work is costed at.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CostingRates {
    /// What an hour costs.
    pub hour_cost: Rate,
    /// What an hour is charged at.
    pub hour_charge: Rate,
    /// What is put on materials, in per cent.
    pub markup_percent: Rate,
}

/// What a costing line is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum CostedAs {
    /// Working time.
    Labour,
    /// What is bought.
    Material,
}

/// A costing line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CostingLine {
    /// The stage.
    pub stage: String,
    /// Labour or material.
    pub costed_as: CostedAs,
    /// The work, or the item.
    pub what: String,
    /// How much.
    pub quantity: Quantity,
    /// In this unit: hour, or the item's own.
    pub unit: String,
    /// Pounds a unit that we expect to pay.
    pub unit_cost: Rate,
    /// Pounds a unit that the customer pays.
    pub unit_price: Rate,
}

impl CostingLine {
    /// What it costs.
    #[must_use]
    pub fn cost(&self) -> Pence {
        line_amount(self.quantity, self.unit_cost)
    }

    /// What it is priced at.
    #[must_use]
    pub fn price(&self) -> Pence {
        line_amount(self.quantity, self.unit_price)
    }
}

/// A take-off that was costed.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Costing {
    /// The lines, stage by stage in the order of the work.
    pub lines: Vec<CostingLine>,
    /// Why things are left out: each in one sentence that says what to do.
    pub left_out: Vec<String>,
}

impl Costing {
    /// What all lines cost.
    #[must_use]
    pub fn cost(&self) -> Pence {
        self.lines.iter().map(CostingLine::cost).sum()
    }

    /// What all lines are priced at.
    #[must_use]
    pub fn price(&self) -> Pence {
        self.lines.iter().map(CostingLine::price).sum()
    }

    /// All of it under one stage: lines of the same thing at the same money are one line.
    #[must_use]
    pub fn under(self, stage: &str) -> Self {
        let mut lines: Vec<CostingLine> = Vec::new();
        for line in self.lines {
            let line = CostingLine { stage: stage.to_owned(), ..line };
            let alike =
                |known: &CostingLine| CostingLine { quantity: line.quantity, ..known.clone() } == line;
            let known = lines.iter_mut().find(|known| alike(known));
            let sum = known.as_ref().and_then(|known| {
                Quantity::new(known.quantity.value().checked_add(line.quantity.value())?).ok()
            });
            match known.zip(sum) {
                Some((known, sum)) => known.quantity = sum,
                None => lines.push(line),
            }
        }
        Self { lines, left_out: self.left_out }
    }
}

/// Costs a take-off.
///
/// What sets or is opened for a job (bags, boxes of tiles, tubs, tins) is costed by whole packs; what is
/// counted or measured off (screws, pipe, cable, tape) by what the work takes, because the rest goes to the
/// next job.
///
/// # Errors
/// [`TakeoffError::Number`] for a quantity too large to keep.
pub fn cost(
    measured: &Measured,
    book: &dyn Fn(&str) -> Option<BookItem>,
    rates: CostingRates,
    settings: &Settings,
) -> Result<Costing, TakeoffError> {
    let mut costing = Costing::default();
    let mut materials: BTreeMap<&str, Pence> = BTreeMap::new();
    for stage in stages(measured) {
        for hours in measured.hours.iter().filter(|hours| hours.work == stage) {
            let part = settings.value(Setting::Contingency).saturating_mul(hours.hours.value());
            let quarters = whole_packs(CONTINGENCY, part / Decimal::ONE_HUNDRED, Decimal::new(25, 2))?;
            let unforeseen = kept(CONTINGENCY, Decimal::from(quarters).saturating_mul(Decimal::new(25, 2)))?;
            let labour = format!("{stage} labour");
            for (what, quantity) in [(labour.as_str(), hours.hours), (CONTINGENCY, unforeseen)] {
                if !quantity.is_zero() {
                    costing.lines.push(CostingLine {
                        stage: stage.to_owned(),
                        costed_as: CostedAs::Labour,
                        what: what.to_owned(),
                        quantity,
                        unit: "hour".to_owned(),
                        unit_cost: rates.hour_cost,
                        unit_price: rates.hour_charge,
                    });
                }
            }
        }
        for line in measured.lines.iter().filter(|line| line.work == stage) {
            match material(line, book(&line.what), rates.markup_percent)? {
                Ok(costed) => {
                    *materials.entry(stage).or_default() += costed.cost();
                    costing.lines.push(costed);
                }
                Err(why) => costing.left_out.push(why),
            }
        }
        let spent = materials.get(stage).copied().unwrap_or_default();
        let sundries =
            settings.value(Setting::Sundries).saturating_mul(spent.pounds()) / Decimal::ONE_HUNDRED;
        let quantity = kept(SUNDRIES, half_up(sundries, 2))?;
        if !quantity.is_zero() {
            // A pound's worth of sundries costs a pound.
            let unit_cost = Rate::from_mantissa(100, 2);
            costing.lines.push(CostingLine {
                stage: stage.to_owned(),
                costed_as: CostedAs::Material,
                what: SUNDRIES.to_owned(),
                quantity,
                unit: "pound".to_owned(),
                unit_cost,
                unit_price: UnitCost::of_unit(unit_cost).marked_up(rates.markup_percent),
            });
        }
    }
    Ok(costing)
}

/// The stages in the order in which the take-off names them.
fn stages(measured: &Measured) -> Vec<&str> {
    let mut stages: Vec<&str> = Vec::new();
    let lines = measured.lines.iter().map(|line| line.work.as_str());
    for stage in lines.chain(measured.hours.iter().map(|hours| hours.work.as_str())) {
        if !stages.contains(&stage) {
            stages.push(stage);
        }
    }
    stages
}

fn kept(what: &str, value: Decimal) -> Result<Quantity, TakeoffError> {
    Quantity::new(value.normalize()).map_err(|reason| TakeoffError::Number { what: what.to_owned(), reason })
}

/// A material line at the price book's price, or why it can't be costed.
fn material(
    line: &Line,
    item: Option<BookItem>,
    markup_percent: Rate,
) -> Result<Result<CostingLine, String>, TakeoffError> {
    let what = &line.what;
    let Some(item) = item else {
        return Ok(Err(format!(
            "{what} is not in the price book; add it with `fivebar item add`, or say what yours is called with a \
             line like: item {what}: your name"
        )));
    };
    let Some(pack_cost) = item.pack_cost else {
        return Ok(Err(format!("{what} has no price; set it with `fivebar price`")));
    };
    let Ok(unit_cost) = UnitCost::of_pack(pack_cost, item.pack_size) else {
        return Ok(Err(format!("a pack of {what} holds nothing; change it with `fivebar item change`")));
    };
    let one = Quantity::from_mantissa(1, 0);
    let counted_alike =
        Packing::new(&item.unit, &item.unit, one).is_ok_and(|unit| unit.in_units(one, &line.unit).is_ok());
    let quantity = if counted_alike {
        let by_packs = matches!(line.unit.as_str(), "kg" | "m2" | "litre");
        if by_packs {
            let packs = whole_packs(what, line.quantity.value(), item.pack_size.value())?;
            kept(what, item.pack_size.value().saturating_mul(Decimal::from(packs)))?
        } else {
            line.quantity
        }
    } else if matches!(item.unit.as_str(), "each") {
        // A bead sold by the piece, a tin by the tin.
        kept(what, Decimal::from(line.packs.count))?
    } else {
        return Ok(Err(format!(
            "{what} is measured in {} and the price book counts it in {}; change the item or name another",
            line.unit, item.unit
        )));
    };
    Ok(Ok(CostingLine {
        stage: line.work.clone(),
        costed_as: CostedAs::Material,
        what: what.clone(),
        quantity,
        unit: item.unit,
        unit_cost: per_unit(unit_cost),
        unit_price: unit_cost.marked_up(markup_percent),
    }))
}

/// What one unit costs, to four decimals, as a costing line keeps it.
fn per_unit(cost: UnitCost) -> Rate {
    cost.marked_up(Rate::ZERO)
}
