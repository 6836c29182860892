//! The sums at the foot of a paper, and the job's CIS account.

use std::collections::{BTreeMap, BTreeSet};

use ledger::StageId;
use ledger::office::{BillableUnit, CustomerKind, InvoiceLine};
use rust_decimal::Decimal;
use trade::{CisSoFar, Day, InvoiceTotals, Pence, Pounds, Quantity, Rate, UnitCost, VatShare};

use super::claims::Claims;
use super::work::JobWork;

/// The share that the customer takes for CIS, in per cent; none for one who takes nothing. A householder
/// never does (Finance Act 2004 s.57 to s.59).
pub(super) fn cis_percent(job: &JobWork) -> Option<Rate> {
    let terms = &job.terms;
    let takes = match terms.customer_kind {
        CustomerKind::Householder => false,
        CustomerKind::Contractor | CustomerKind::Business => terms.customer_cis.unwrap_or(true),
    };
    Some(terms.cis_percent).filter(|percent| takes && !percent.is_zero())
}

/// The sums of a paper with these shares.
pub(super) fn totals(
    job: &JobWork,
    shares: &[VatShare],
    materials: Pence,
    so_far: CisSoFar,
) -> InvoiceTotals {
    InvoiceTotals::of_shares(shares, materials, cis_percent(job), so_far)
}

/// What has been due, and expected to be taken, on all papers that hold.
pub(super) fn cis_so_far(claims: &Claims<'_>) -> CisSoFar {
    claims.papers.iter().fold(CisSoFar::default(), |so_far, paper| {
        let InvoiceTotals { taxable, cis_materials, cis, .. } = paper.document.totals;
        match paper.credits {
            None => CisSoFar {
                due: so_far.due + taxable,
                materials: so_far.materials + cis_materials,
                expected: so_far.expected + cis,
            },
            Some(_) => CisSoFar {
                due: so_far.due - taxable,
                materials: so_far.materials - cis_materials,
                expected: so_far.expected - cis,
            },
        }
    })
}

/// What the material on all stages billed so far, and on these lines, cost the crew.
///
/// Taking the whole each time, less what earlier papers took off, lets each entry come off once
/// and carries a late or corrected one into the next paper.
pub(super) fn material_cost(
    job: &JobWork,
    claims: &Claims<'_>,
    lines: &[InvoiceLine],
    until: Option<Day>,
) -> Pence {
    let stage_of: BTreeMap<BillableUnit, Option<StageId>> =
        job.entries.iter().map(|work| (work.unit, work.stage)).collect();
    let stage_of = |unit| match unit {
        BillableUnit::Stage(stage) => Some(Some(stage)),
        BillableUnit::Entry(_) | BillableUnit::Overtime(_) | BillableUnit::CallOut { .. } => {
            stage_of.get(&unit).copied()
        }
        BillableUnit::Extra(extra) => {
            job.extras.iter().find(|known| known.extra == extra).map(|known| known.stage)
        }
        BillableUnit::Point(_)
        | BillableUnit::Retention(_)
        | BillableUnit::Deposit(_)
        | BillableUnit::Uncertified(_) => None,
    };
    let before = claims.units().filter(|unit| !claims.billed(*unit).is_zero());
    let now = lines.iter().flat_map(|line| &line.claims).map(|claim| claim.unit);
    let units: BTreeSet<_> = before.chain(now).collect();
    // A payment point bills work of any stage.
    let is_point = |unit: &BillableUnit| matches!(unit, BillableUnit::Point(_));
    let of_all = units.iter().any(is_point);
    let billed: BTreeSet<_> = units.into_iter().filter_map(stage_of).collect();
    let counted = |cost: &&super::work::MaterialCost| {
        (of_all || billed.contains(&cost.stage)) && until.is_none_or(|until| cost.done_on <= until)
    };
    // Equal prices are added up before they are multiplied, so that no third of a penny is lost.
    let mut at_cost: BTreeMap<(Rate, Quantity), Decimal> = BTreeMap::new();
    for cost in job.material_costs.iter().filter(counted) {
        let sum = at_cost.entry((cost.pack_cost, cost.pack_size)).or_default();
        *sum = sum.saturating_add(cost.quantity.value());
    }
    let cost_of =
        |((cost, size), sum)| Some(UnitCost::of_pack(cost, size).ok()?.cost_of(Quantity::new(sum).ok()?));
    at_cost.into_iter().filter_map(cost_of).sum::<Pounds>().to_pence()
}
