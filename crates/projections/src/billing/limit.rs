//! The limit of an extra on the clock: the customer said yes up to a sum, and no invoice bills more.
//!
//! What is over it stays to bill, minute by minute, until the customer says yes to more and the owner sets the
//! new limit. Nothing is lost, and nobody is billed for what they did not agree to.

use std::collections::BTreeSet;

use ledger::StageId;
use ledger::office::{BillableUnit, Claim, InvoiceLine, InvoiceLineKind};
use rust_decimal::Decimal;
use serde::Serialize;
use trade::money::line_amount;
use trade::{Pence, Quantity};

use super::claims::Claims;
use super::clock;
use super::vat::Vat;
use super::work::{JobWork, StageWork};

/// What a limit is warned of before it is reached, in per cent of it (common practice, no source).
const NEAR_PERCENT: i64 = 80;
/// A claim is cut at thousandths of its measure, as material is printed.
const PLACES: u32 = 3;

/// How an extra on the clock stands against its limit, without VAT.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LimitStand {
    /// Its stage.
    #[serde(skip)]
    pub stage: StageId,
    /// What it is called.
    pub extra: String,
    /// The limit.
    pub limit: Pence,
    /// What it comes to so far: billed and to bill.
    pub comes_to: Pence,
}

impl LimitStand {
    /// It comes to more than was agreed.
    #[must_use]
    pub fn is_over(&self) -> bool {
        self.comes_to > self.limit
    }

    /// It is not over, and near it.
    #[must_use]
    pub fn is_near(&self) -> bool {
        let share = self.comes_to.0.saturating_mul(100);
        !self.is_over() && share >= self.limit.0.saturating_mul(NEAR_PERCENT)
    }
}

/// How the extras with a limit stand, in the order of the stages.
#[must_use]
pub fn limits(job: &JobWork) -> Vec<LimitStand> {
    let claims = Claims::of(job);
    let lines = clock::lines(job, &claims, None, Vat::of(job, None)).lines;
    let stand = |work: &StageWork| {
        let to_bill: Pence =
            lines.iter().filter(|line| line.stage == work.name).map(|line| line.amount).sum();
        Some(LimitStand {
            stage: work.stage,
            extra: work.name.clone(),
            limit: work.limit?,
            comes_to: billed(job, &claims, work) + to_bill,
        })
    };
    job.stages.iter().filter_map(stand).collect()
}

/// What was billed of a stage on the clock, less what was credited.
fn billed(job: &JobWork, claims: &Claims<'_>, work: &StageWork) -> Pence {
    let own: BTreeSet<BillableUnit> =
        job.entries.iter().filter(|entry| entry.stage == Some(work.stage)).map(|entry| entry.unit).collect();
    let is_own = |line: &&InvoiceLine| {
        let on_the_clock = line.claims.iter().any(|claim| match claim.unit {
            BillableUnit::Entry(_) | BillableUnit::Overtime(_) | BillableUnit::CallOut { .. } => true,
            BillableUnit::Stage(_)
            | BillableUnit::Point(_)
            | BillableUnit::Extra(_)
            | BillableUnit::Retention(_)
            | BillableUnit::Deposit(_)
            | BillableUnit::Uncertified(_) => false,
        });
        on_the_clock && (line.stage == work.name || line.claims.iter().any(|claim| own.contains(&claim.unit)))
    };
    let papers = claims.papers.iter().map(|paper| {
        let sum: Pence = paper.document.lines.iter().filter(is_own).map(|line| line.amount).sum();
        if paper.credits.is_some() { -sum } else { sum }
    });
    papers.sum()
}

/// Takes off the lines of a stage what goes over its limit; none of it where there is no limit.
pub(super) fn take_out_over(
    job: &JobWork,
    claims: &Claims<'_>,
    work: &StageWork,
    lines: &mut Vec<InvoiceLine>,
) -> Vec<InvoiceLine> {
    let Some(limit) = work.limit else { return Vec::new() };
    let mut room = limit - billed(job, claims, work);
    let mut over = Vec::new();
    let mut kept = Vec::with_capacity(lines.len());
    for line in lines.drain(..) {
        if line.stage != work.name || line.amount <= room {
            room -= if line.stage == work.name { line.amount } else { Pence::ZERO };
            kept.push(line);
            continue;
        }
        let (inside, beyond) = split(line, room);
        if let Some(inside) = inside {
            room -= inside.amount;
            kept.push(inside);
        }
        over.extend(beyond);
    }
    *lines = kept;
    over
}

/// The largest part of a line that comes to no more than a sum, and the rest.
fn split(line: InvoiceLine, room: Pence) -> (Option<InvoiceLine>, Option<InvoiceLine>) {
    let all: Decimal = line.claims.iter().map(|claim| claim.quantity.value()).sum();
    // What takes off is never cut apart from what it takes off from, and a call-out is whole.
    let is_whole = line.claims.iter().any(|claim| claim.quantity.is_negative())
        || line.kind == InvoiceLineKind::Price && line.unit.is_empty();
    let step = match line.kind {
        InvoiceLineKind::Labour => Decimal::ONE,
        InvoiceLineKind::Material
        | InvoiceLineKind::Price
        | InvoiceLineKind::Deposit
        | InvoiceLineKind::Retention
        | InvoiceLineKind::Uncertified => Decimal::new(1, PLACES),
    };
    let steps = i64::try_from((all / step).floor()).unwrap_or_default();
    if is_whole || room <= Pence::ZERO || steps <= 0 {
        return (None, Some(line));
    }
    let measure = |steps: i64| Quantity::new((Decimal::from(steps) * step).normalize()).ok();
    let fits = |steps: i64| {
        let printed = measure(steps).map(|measure| clock::printed(&line, measure));
        printed.is_some_and(|printed| line_amount(printed, line.unit_price) <= room)
    };
    let (mut low, mut high) = (0_i64, steps);
    while low < high {
        let middle = high - (high - low) / 2;
        if fits(middle) { low = middle } else { high = middle - 1 }
    }
    let inside = measure(low).map_or(Decimal::ZERO, Quantity::value);
    let (first, rest) = cut(&line.claims, inside);
    let part = |claims: Vec<Claim>, much: Decimal| {
        let quantity = clock::printed(&line, Quantity::new(much).ok()?);
        let amount = line_amount(quantity, line.unit_price);
        (!quantity.is_zero()).then(|| InvoiceLine { quantity, amount, claims, ..line.clone() })
    };
    match part(first, inside) {
        Some(first) => (Some(first), part(rest, all - inside)),
        None => (None, Some(line)),
    }
}

/// Claims up to a sum of their measure, and the rest. One is cut in two where the sum is reached inside it.
fn cut(claims: &[Claim], upto: Decimal) -> (Vec<Claim>, Vec<Claim>) {
    let (mut first, mut rest) = (Vec::new(), Vec::new());
    let mut left = upto;
    for claim in claims {
        let own = claim.quantity.value().min(left);
        let parts = [(own, &mut first), (claim.quantity.value() - own, &mut rest)];
        for (much, into) in parts {
            let quantity = Quantity::new(much).ok().filter(|much| !much.is_zero());
            into.extend(quantity.map(|quantity| Claim { quantity, ..claim.clone() }));
        }
        left -= own;
    }
    (first, rest)
}
