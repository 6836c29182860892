//! Hire and expenses, billed by the clock at what was paid with the job's mark-up (common practice, no
//! source). Without a sum they wait, as material without a price does. VAT that a crew which is not registered can't get
//! back is part of what they cost it (FRS 102, 13.6, from memory).

use std::collections::BTreeMap;

use ledger::office::{BillableUnit, PricePaid};
use ledger::site::ExpenseKind;
use ledger::{Body, JobId};
use rust_decimal::Decimal;
use trade::number::{MAX_SCALE, half_up};
use trade::{Day, Pence, Quantity, Rate, UnitCost};

use super::work::{ClockEntry, JobWork, MaterialCost, Measure};
use crate::entry::Entry;
use crate::lists::Lists;
use crate::pay::ended_hires;

/// What was hired and went back: billed by the clock like material, and off the sum that CIS is taken of,
/// as hire of plant from a third party is (HMRC CISR15060).
pub(super) fn add_hires(entries: &[Entry<'_>], lists: &Lists<'_>, works: &mut BTreeMap<JobId, JobWork>) {
    for hire in ended_hires(entries, lists) {
        let Some(work) = works.get_mut(&hire.site.job) else { continue };
        let stage = hire.site.stage;
        let at_rate = hire.paid.filter(|paid| hire.cost(paid.net, paid.minimum) > paid.minimum);
        // Below the minimum one minimum is billed, and otherwise the days or weeks at their rate.
        let (count, cost, unit) = match (hire.paid, at_rate) {
            (_, Some(paid)) => (hire.periods(), Some(paid.net), paid.per.clone()),
            (Some(paid), None) => (1, Some(hire.cost(paid.net, paid.minimum)), String::new()),
            (None, None) => (1, None, String::new()),
        };
        let (Ok(quantity), Some(one)) = (Quantity::new(count.into()), one()) else { continue };
        let cost = cost.and_then(rate_of);
        let costs = |pack_cost| MaterialCost { stage, done_on: hire.to, quantity, pack_cost, pack_size: one };
        let cost =
            cost.filter(|_| lists.gets_vat_back(hire.to)).or_else(|| Some(with_vat(cost?, hire.paid?)));
        work.material_costs.extend(cost.map(costs));
        if work.bills_by_the_clock(stage) {
            let (item, unit_cost) = (format!("hire of {}", hire.what), cost.map(UnitCost::of_unit));
            work.entries.push(ClockEntry {
                entry: hire.entry,
                unit: BillableUnit::Entry(hire.entry),
                revision: hire.revision,
                stage,
                done_on: hire.to,
                measure: Measure::Material { item, unit, quantity, packs: None, unit_cost },
            });
        }
    }
}

/// What was spent on skips, tips, parking and such: billed by the clock at what was paid with the mark-up.
/// It stays in the sum that CIS is taken of.
pub(super) fn add_expenses(entries: &[Entry<'_>], lists: &Lists<'_>, works: &mut BTreeMap<JobId, JobWork>) {
    for entry in entries {
        let Body::Expense(expense) = entry.body.as_ref() else { continue };
        let stage = expense.site.stage;
        let work = works.get_mut(&expense.site.job).filter(|work| work.bills_by_the_clock(stage));
        let (Some(work), Some(quantity)) = (work, one()) else { continue };
        let paid = lists.paid.get(&entry.entry_ref());
        let paid = paid.map(|paid| cost_of(lists, entry.act.done_on, paid.net, paid.vat)).and_then(rate_of);
        work.entries.push(ClockEntry {
            entry: entry.entry_ref(),
            unit: BillableUnit::Entry(entry.entry_ref()),
            revision: entry.revision(),
            stage,
            done_on: entry.act.done_on,
            measure: Measure::Material {
                item: words(expense.kind).to_owned(),
                unit: String::new(),
                quantity,
                packs: None,
                unit_cost: paid.map(UnitCost::of_unit),
            },
        });
    }
}

/// A rate of a hire with its VAT, in the proportion in which that was paid: what a crew that is not registered
/// for VAT bears.
/// What a sum that was paid on a day costs the crew.
pub(crate) fn cost_of(lists: &Lists<'_>, day: Day, net: Pence, vat: Pence) -> Pence {
    if lists.gets_vat_back(day) { net } else { net + vat }
}

fn with_vat(cost: Rate, paid: &PricePaid) -> Rate {
    let gross = cost.value().saturating_mul((paid.net + paid.vat).pounds()).checked_div(paid.net.pounds());
    gross.and_then(|gross| Rate::new(half_up(gross, MAX_SCALE).normalize()).ok()).unwrap_or(cost)
}

fn rate_of(sum: Pence) -> Option<Rate> {
    Rate::new(sum.pounds()).ok()
}

fn one() -> Option<Quantity> {
    Quantity::new(Decimal::ONE).ok()
}

const fn words(kind: ExpenseKind) -> &'static str {
    match kind {
        ExpenseKind::Skip => "skip",
        ExpenseKind::Tip => "tip",
        ExpenseKind::Parking => "parking",
        ExpenseKind::Permit => "permit",
        ExpenseKind::Delivery => "delivery",
        ExpenseKind::Sundries => "sundries",
        ExpenseKind::Other => "other expense",
    }
}
