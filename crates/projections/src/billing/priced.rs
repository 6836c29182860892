//! What is billed at a price: payment points, signed-off stages, extras and what was left out.
//!
//! One printed line a point, a stage or an extra; the working behind it stays ours. What is part done is
//! billed as the price of what is done so far, less what was billed before, so that the steps add up to
//! the price whatever each of them rounds to.

use std::collections::{BTreeMap, BTreeSet};

use ledger::office::{Basis, BillableUnit, Claim, InvoiceLine, InvoiceLineKind};
use ledger::{EventHash, StageId};
use rust_decimal::Decimal;
use trade::money::{line_amount, percentage};
use trade::{Day, Pence, Quantity, Rate};

use super::claims::Claims;
use super::preview::WorkingLine;
use super::vat::Vat;
use super::work::{CostingLine, ExtraWork, JobWork, PointWork, StageWork};

/// Something at a price that is due, whole or in part.
#[derive(Debug, Clone)]
pub(super) struct Due {
    pub(super) unit: BillableUnit,
    /// The event that made it due.
    revision: EventHash,
    pub(super) stage: Option<StageId>,
    pub(super) what: String,
    /// 1 for the whole, less for a part, -1 for what was left out.
    pub(super) share: Decimal,
    /// Without VAT, of the whole; none while no price is set.
    pub(super) price: Option<Pence>,
    /// It has no stage whose sign-off would make it due, so it is billed when the owner names it.
    pub(super) by_name: bool,
}

/// What is due of what was done on `until` or before, or of all: points, or stages and extras, in their
/// order; then what was left out.
pub(super) fn due(job: &JobWork, until: Option<Day>) -> Vec<Due> {
    match job.terms.basis {
        Basis::Daywork => return Vec::new(),
        Basis::Fixed | Basis::Valuation => {}
    }
    if !job.points.is_empty() {
        return job.points.iter().filter_map(|point| point_due(job, point, until)).collect();
    }
    let mut stages: Vec<_> = job.stages.iter().filter_map(|work| stage_due(job, work, until)).collect();
    let first = |stage: Option<StageId>| job.lines.iter().position(|line| Some(line.stage) == stage);
    stages.sort_by_key(|due| first(due.stage));
    let extras = job.extras.iter().filter_map(|extra| extra_due(job, extra, until));
    let (added, left_out): (Vec<_>, Vec<_>) = extras.partition(|due| !due.share.is_sign_negative());
    stages.into_iter().chain(added).chain(left_out).collect()
}

fn point_due(job: &JobWork, point: &PointWork, until: Option<Day>) -> Option<Due> {
    let said = point.said_due.filter(|(day, _)| until.is_none_or(|until| *day <= until));
    let stage = job.stages.iter().find(|work| Some(work.stage) == point.stage);
    let signed = stage.and_then(|work| work.sign_off(until)).map(|step| step.revision);
    Some(Due {
        unit: BillableUnit::Point(point.point),
        revision: signed.or(said.map(|(_, event)| event))?,
        stage: point.stage,
        what: point.label.clone(),
        share: Decimal::ONE,
        price: Some(point.amount),
        by_name: false,
    })
}

fn stage_due(job: &JobWork, work: &StageWork, until: Option<Day>) -> Option<Due> {
    let on_its_own = job.is_on_the_clock(work.stage) || job.is_an_extra(work.stage);
    let (step, share) = match job.terms.basis {
        Basis::Valuation => work.done(until)?,
        Basis::Fixed | Basis::Daywork => (work.sign_off(until)?, Decimal::ONE),
    };
    let due = Due {
        unit: BillableUnit::Stage(work.stage),
        revision: step.revision,
        stage: Some(work.stage),
        what: work.name.clone(),
        share,
        price: stage_price(job, work.stage),
        by_name: false,
    };
    (!on_its_own).then_some(due)
}

fn extra_due(job: &JobWork, extra: &ExtraWork, until: Option<Day>) -> Option<Due> {
    let agreed = until.is_none_or(|until| extra.agreed_on <= until);
    let own = job.stages.iter().find(|work| Some(work.stage) == extra.stage);
    let signed = own.map(|work| work.sign_off(until));
    let revision = match signed {
        _ if extra.left_out => extra.revision,
        Some(sign_off) => sign_off?.revision,
        None => extra.revision,
    };
    let due = Due {
        unit: BillableUnit::Extra(extra.extra),
        revision,
        stage: extra.stage,
        what: if extra.left_out { format!("left out: {}", extra.what) } else { extra.what.clone() },
        share: if extra.left_out { -Decimal::ONE } else { Decimal::ONE },
        price: extra.amount,
        by_name: !extra.left_out && own.is_none(),
    };
    agreed.then_some(due)
}

/// A stage's price: the sum of its costing lines, each rounded as if it were printed. None while one of
/// them has no price.
fn stage_price(job: &JobWork, stage: StageId) -> Option<Pence> {
    let own = job.lines.iter().filter(|line| line.stage == stage);
    own.map(|line| Some(line_amount(line.quantity, line.unit_price?))).sum()
}

/// Something at a price, ready to be billed.
#[derive(Debug)]
pub(super) struct PricedLine {
    pub(super) printed: InvoiceLine,
    /// With each line's place in the costing.
    pub(super) working: Vec<(usize, WorkingLine)>,
    /// It waits until the owner names it.
    pub(super) waits: bool,
}

/// What is worth more than was billed. What was left out of a stage that is billed is no line but a
/// credit note, see [`left_out_of_billed`].
pub(super) fn lines(
    job: &JobWork,
    claims: &Claims<'_>,
    until: Option<Day>,
    vat: Vat<'_>,
    named: &BTreeSet<BillableUnit>,
) -> Vec<PricedLine> {
    let dues = due(job, until);
    let mut found = back_in(job, claims, vat);
    for due in &dues {
        if claims.double(due.unit, due.share).is_some() || is_credited_instead(job, claims, due) {
            continue;
        }
        found.extend(priced_line(job, claims, due, vat).map(|(printed, working)| PricedLine {
            printed,
            working,
            waits: due.by_name && !named.contains(&due.unit),
        }));
    }
    found
}

fn priced_line(
    job: &JobWork,
    claims: &Claims<'_>,
    due: &Due,
    vat: Vat<'_>,
) -> Option<(InvoiceLine, Vec<(usize, WorkingLine)>)> {
    let billed = claims.billed(due.unit);
    let open = due.share - billed;
    if open.is_zero() || open.is_sign_negative() != due.share.is_sign_negative() {
        return None;
    }
    let price = due.price?;
    let before = claims.billed_amount(due.unit);
    let whole = billed.is_zero() && due.share.abs() == Decimal::ONE;
    let amount = if whole { price } else { part(price, due.share) - before };
    if amount <= Pence::ZERO {
        return None;
    }
    let what = if whole || due.share.is_sign_negative() {
        due.what.clone()
    } else {
        let done = if due.share == Decimal::ONE {
            "done".to_owned()
        } else {
            format!("{} % done", (due.share * Decimal::ONE_HUNDRED).normalize())
        };
        let less =
            if before == Pence::ZERO { String::new() } else { format!(", less {before} billed before") };
        format!("{}, {done}{less}", due.what)
    };
    let claim = Claim {
        unit: due.unit,
        revision: due.revision,
        quantity: Quantity::new(open).ok()?,
        follows: claims.newest(due.unit),
    };
    let printed = price_line(job, due.stage, what, (amount, due.share.is_sign_negative()), vat, claim)?;
    let working = match due.unit {
        BillableUnit::Stage(stage) if whole => costing(job, stage),
        BillableUnit::Stage(_)
        | BillableUnit::Entry(_)
        | BillableUnit::Overtime(_)
        | BillableUnit::CallOut { .. }
        | BillableUnit::Point(_)
        | BillableUnit::Extra(_)
        | BillableUnit::Retention(_)
        | BillableUnit::Deposit(_)
        | BillableUnit::Uncertified(_) => vec![(usize::MAX, WorkingLine::of(&printed))],
    };
    Some((printed, working))
}

/// What so much of the whole comes to, half up to the penny.
fn part(price: Pence, share: Decimal) -> Pence {
    Rate::new((share * Decimal::ONE_HUNDRED).normalize()).map_or(price, |percent| percentage(price, percent))
}

/// One line at a price. What takes off is printed as a quantity below nought, never as a price below it.
pub(super) fn price_line(
    job: &JobWork,
    stage: Option<StageId>,
    what: String,
    (amount, takes_off): (Pence, bool),
    vat: Vat<'_>,
    claim: Claim,
) -> Option<InvoiceLine> {
    let one = if takes_off { -Decimal::ONE } else { Decimal::ONE };
    let (vat_category, vat_percent) = vat.line(stage);
    Some(InvoiceLine {
        kind: InvoiceLineKind::Price,
        stage: stage.map_or_else(String::new, |stage| job.stage_name(Some(stage)).to_owned()),
        what,
        quantity: Quantity::new(one).ok()?,
        unit: String::new(),
        unit_price: Rate::new(amount.pounds()).ok()?,
        amount: if takes_off { -amount } else { amount },
        vat_category,
        vat_percent,
        earlier: None,
        claims: vec![claim],
    })
}

fn costing(job: &JobWork, stage: StageId) -> Vec<(usize, WorkingLine)> {
    let own = job.lines.iter().enumerate().filter(|(_, line)| line.stage == stage);
    let name = job.stage_name(Some(stage));
    own.filter_map(|(order, line)| Some((order, costing_line(name, line, line.unit_price?)))).collect()
}

fn costing_line(stage: &str, line: &CostingLine, unit_price: Rate) -> WorkingLine {
    WorkingLine {
        amount: line_amount(line.quantity, unit_price),
        kind: line.kind.into(),
        quantity: line.quantity,
        stage: stage.to_owned(),
        unit_price,
        what: line.what.clone(),
    }
}

/// What was left out once and is not any more, or at a lower price: it is billed again as it came off, and
/// comes off at the lower price.
fn back_in(job: &JobWork, claims: &Claims<'_>, vat: Vat<'_>) -> Vec<PricedLine> {
    let dues: BTreeMap<_, _> = due(job, None).into_iter().map(|due| (due.unit, due)).collect();
    let mut found = Vec::new();
    for unit in claims.units() {
        let BillableUnit::Extra(extra) = unit else { continue };
        let (billed, taken_off) = (claims.billed(unit), -claims.billed_amount(unit));
        if !billed.is_sign_negative() || billed.is_zero() || claims.double(unit, -Decimal::ONE).is_some() {
            continue;
        }
        let still = dues.get(&unit).filter(|due| due.share.is_sign_negative());
        if still.is_some_and(|due| due.price.is_none_or(|price| price >= taken_off)) {
            continue;
        }
        let stage = job.extras.iter().find(|known| known.extra == extra).and_then(|known| known.stage);
        let (Some(newest), Some(revision)) = (claims.on(unit).last(), claims.revision(unit)) else {
            continue;
        };
        let mut add = |what: String, amount, share: Decimal| {
            let follows = claims.newest(unit);
            let claim = Quantity::new(share).ok().map(|quantity| Claim { unit, revision, quantity, follows });
            let sum = (amount, share.is_sign_negative());
            let printed = claim.and_then(|claim| price_line(job, stage, what, sum, vat, claim));
            found.extend(printed.map(|printed| PricedLine {
                working: vec![(usize::MAX, WorkingLine::of(&printed))],
                printed,
                waits: false,
            }));
        };
        add(format!("back in, {}", newest.line.what), taken_off, -billed);
        if let Some((due, price)) = still.and_then(|due| Some((due, due.price?))) {
            add(due.what.clone(), price, due.share);
        }
    }
    found
}

/// What was left out at a lower price than now, with what came off: the rest is given back at once.
pub(super) fn left_out_for_more(job: &JobWork, claims: &Claims<'_>) -> Vec<(BillableUnit, InvoiceLine)> {
    let vat = Vat::of(job, None);
    let more = due(job, None).into_iter().filter_map(|due| {
        let (unit, price) = (due.unit, due.price?);
        let takes_off = due.share.is_sign_negative() && claims.billed(unit) == due.share;
        if !takes_off || price <= -claims.billed_amount(unit) {
            return None;
        }
        let quantity = Quantity::new(due.share).ok()?;
        let claim = Claim { unit, revision: claims.revision(unit)?, quantity, follows: claims.newest(unit) };
        let line = price_line(job, due.stage, due.what.clone(), (price, true), vat, claim)?;
        Some((unit, given_back(line)?))
    });
    more.collect()
}

/// A line that takes off, as a credit note prints it: without a sign. The claim keeps its own.
fn given_back(line: InvoiceLine) -> Option<InvoiceLine> {
    let quantity = Quantity::new(Decimal::ONE).ok()?;
    Some(InvoiceLine { quantity, amount: -line.amount, ..line })
}

/// Whether something was left out of a stage that an invoice bills already.
fn is_credited_instead(job: &JobWork, claims: &Claims<'_>, due: &Due) -> bool {
    let stage_billed =
        due.stage.is_some_and(|stage| claims.billed(BillableUnit::Stage(stage)) > Decimal::ZERO);
    due.share.is_sign_negative() && job.points.is_empty() && stage_billed
}

/// What was left out of a stage that is billed already: to be given back at once, as a line of a credit
/// note on the newest invoice that bills the stage.
pub(super) fn left_out_of_billed(job: &JobWork, claims: &Claims<'_>) -> Vec<(StageId, InvoiceLine)> {
    let vat = Vat::of(job, None);
    let lines = due(job, None).into_iter().filter_map(|due| {
        let stage = due.stage.filter(|_| is_credited_instead(job, claims, &due))?;
        if claims.double(due.unit, due.share).is_some() {
            return None;
        }
        let (printed, _) = priced_line(job, claims, &due, vat)?;
        Some((stage, given_back(printed)?))
    });
    lines.collect()
}
