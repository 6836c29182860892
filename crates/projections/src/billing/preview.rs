//! What an invoice would say today.
//!
//! A preview shows the working: each costing line of a stage, each person, each item. The paper
//! that the customer gets says a stage at its price in one line; [`Preview::printed`] has that.

use std::collections::{BTreeMap, BTreeSet};

use ledger::office::{BillableUnit, Claim, CustomerKind, InvoiceLine, InvoiceLineKind};
use ledger::site::LineKind;
use ledger::{EntryRef, StageId};
use rust_decimal::Decimal;
use serde::ser::SerializeStruct;
use serde::{Serialize, Serializer};
use trade::money::line_amount;
use trade::{
    CisSoFar, Day, InvoiceTerms, InvoiceTotals, Pence, Pounds, Quantity, Rate, ReverseChargeFacts, UnitCost,
    VatCategory, VatTreatment,
};

use super::claims::{Claims, DoubleClaim, bills_stages, worths};
use super::clock;
use super::work::{CostingLine, JobWork, StageWork};
use crate::extras::Answer;

/// An invoice that could be issued.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Preview {
    /// The job's code.
    pub job: String,
    /// The last day that it bills; none for all that was done.
    pub until: Option<Day>,
    /// The working, line by line.
    pub lines: Vec<WorkingLine>,
    /// What the customer's paper prints, with what each line claims.
    pub printed: Vec<InvoiceLine>,
    /// The sums, of either.
    pub totals: InvoiceTotals,
    /// Who accounts for the VAT.
    pub vat: VatDecision,
    /// Entries that are not on it because no rate or price was set for their day.
    pub without_a_price: Vec<EntryRef>,
    /// Units that are not on it because two papers contradict each other.
    pub double: Vec<DoubleClaim>,
    /// Extras by the clock that are not on it because the customer's yes was not logged.
    pub waiting: Vec<WaitingExtra>,
}

/// An extra by the clock that is only billed if the owner names it: nobody logged the customer's yes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct WaitingExtra {
    /// Its stage's name.
    pub extra: String,
    /// How it stands with the customer, in words.
    pub why: &'static str,
    /// What there would be to bill.
    pub lines: Vec<WorkingLine>,
    /// The sum of that, without VAT.
    pub net: Pence,
}

/// A name that is no extra by the clock.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{job} has no extra on the clock called {name:?}; there are: {}", or_none(.there_are))]
pub struct NoSuchExtra {
    /// The job's code.
    pub job: String,
    /// What was asked for.
    pub name: String,
    /// The extras there are.
    pub there_are: Vec<String>,
}

fn or_none(names: &[String]) -> String {
    if names.is_empty() { "none".to_owned() } else { names.join(", ") }
}

/// A line of the working.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct WorkingLine {
    /// Printed quantity × printed price, half-up.
    pub amount: Pence,
    /// Labour or material.
    pub kind: LineKind,
    /// In hours, or the item's unit.
    pub quantity: Quantity,
    /// The stage's name.
    pub stage: String,
    /// Pounds a unit.
    pub unit_price: Rate,
    /// The costing line's words, the person or the item.
    pub what: String,
}

/// Who accounts for the VAT, and whether what was said of it agrees.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct VatDecision {
    /// The customer accounts for it.
    pub reverse_charge: bool,
    /// What the facts say; none while nobody said whether the customer is registered for CIS.
    pub by_facts: Option<VatTreatment>,
    /// What somebody said of the reverse charge is not what the facts say. A person must look.
    pub disagrees: bool,
}

/// One flat record with the sums beside the lines, every number in its written digits.
impl Serialize for Preview {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let InvoiceTotals {
            net,
            retention,
            taxable,
            vat_stated,
            vat_charged,
            total,
            cis_materials,
            cis,
            to_pay,
        } = &self.totals;
        let waits = !self.waiting.is_empty();
        let mut record = serializer.serialize_struct("Preview", 11 + usize::from(waits))?;
        record.serialize_field("cis", cis)?;
        record.serialize_field("cis_materials", cis_materials)?;
        record.serialize_field("job", &self.job)?;
        record.serialize_field("lines", &self.lines)?;
        record.serialize_field("net", net)?;
        record.serialize_field("retention", retention)?;
        record.serialize_field("taxable", taxable)?;
        record.serialize_field("to_pay", to_pay)?;
        record.serialize_field("total", total)?;
        record.serialize_field("vat_charged", vat_charged)?;
        record.serialize_field("vat_stated", vat_stated)?;
        if waits {
            record.serialize_field("waiting", &self.waiting)?;
        }
        record.end()
    }
}

/// Works out who accounts for the VAT. The facts decide; without them, what somebody said.
#[must_use]
pub fn vat_decision(job: &JobWork) -> VatDecision {
    let terms = &job.terms;
    let by_facts = terms.customer_cis.map(|customer_cis_registered| {
        ReverseChargeFacts {
            // Work for a householder is never reported under CIS (Finance Act 2004 s.57 to s.59).
            within_cis: terms.customer_kind != CustomerKind::Householder,
            // A crew that charges VAT without a number is stopped when the invoice is issued.
            supplier_vat_registered: true,
            customer_vat_registered: !terms.customer_vat_number.trim().is_empty(),
            customer_cis_registered,
            vat_percent: terms.vat_percent,
            end_user_statement: terms.end_user_statement.unwrap_or(false),
        }
        .treatment()
    });
    let by_word = terms.reverse_charge;
    let reverse_charge = by_facts.map_or_else(|| by_word.unwrap_or(false), VatTreatment::is_reverse_charge);
    let disagrees = by_facts.is_some() && by_word.is_some_and(|said| said != reverse_charge);
    VatDecision { reverse_charge, by_facts, disagrees }
}

/// How VAT applies to the lines of a job. A crew without a VAT number that charges none is not registered.
#[must_use]
pub fn vat_category(job: &JobWork) -> VatCategory {
    let has_number = job.firm.as_ref().is_some_and(|firm| !firm.vat_number.trim().is_empty());
    if !job.terms.vat_percent.is_zero() {
        let reverse_charge = vat_decision(job).reverse_charge;
        if reverse_charge { VatCategory::ReverseCharge } else { VatCategory::Standard }
    } else if has_number {
        VatCategory::Zero
    } else {
        VatCategory::NotRegistered
    }
}

/// What each job could bill of what was done on `until` or before, or of all that was done.
///
/// A job with nothing to bill gives no preview. The order is that of the jobs.
#[must_use]
pub fn previews(jobs: &[JobWork], until: Option<Day>) -> Vec<Preview> {
    jobs.iter().filter_map(|job| preview(job, until)).collect()
}

/// What one job could bill; nothing when there is nothing to bill.
#[must_use]
pub fn preview(job: &JobWork, until: Option<Day>) -> Option<Preview> {
    preview_with(job, until, &BTreeSet::new())
}

/// The extra by the clock with this name, to bill it by name.
///
/// # Errors
/// [`NoSuchExtra`] says which there are.
pub fn extra_called(job: &JobWork, name: &str) -> Result<StageId, NoSuchExtra> {
    job.extras().find(|work| work.name == name).map(|work| work.stage).ok_or_else(|| NoSuchExtra {
        job: job.code.clone(),
        name: name.to_owned(),
        there_are: job.extras().map(|work| work.name.clone()).collect(),
    })
}

/// The same, with extras that the owner bills although the customer's yes was not logged.
#[must_use]
pub fn preview_with(job: &JobWork, until: Option<Day>, extras: &BTreeSet<StageId>) -> Option<Preview> {
    let claims = Claims::of(job);
    let stages = stages_to_bill(job, &claims, until);
    let mut clock = clock::lines(job, &claims, until);
    let waiting = take_out_waiting(job, &mut clock.lines, extras);
    let mut working: Vec<_> = stages.iter().flat_map(|stage| stage.working.iter().cloned()).collect();
    // Costing lines may alternate between stages; the working keeps the order of the costing.
    working.sort_by_key(|(order, _)| *order);
    let mut lines: Vec<_> = working.into_iter().map(|(_, line)| line).collect();
    lines.extend(clock.lines.iter().filter_map(working_line));
    let mut printed: Vec<_> = stages.into_iter().map(|stage| stage.printed).collect();
    printed.extend(clock.lines);
    if printed.is_empty() && waiting.is_empty() {
        return None;
    }
    let worths = worths(job);
    let double = worths.iter().filter_map(|(unit, worth)| claims.double(*unit, *worth)).collect();
    let vat = vat_decision(job);
    let so_far = cis_so_far(&claims);
    let materials = material_cost(job, &claims, &printed, until) - so_far.materials;
    let totals = totals(job, &printed, materials, vat, so_far);
    let without_a_price = clock.without_a_price;
    let job = job.code.clone();
    Some(Preview { job, until, lines, printed, totals, vat, without_a_price, double, waiting })
}

/// Takes the lines of extras out that the customer said no yes to and the owner did not name.
fn take_out_waiting(
    job: &JobWork,
    lines: &mut Vec<InvoiceLine>,
    named: &BTreeSet<StageId>,
) -> Vec<WaitingExtra> {
    let mut waiting = Vec::new();
    for extra in job.extras().filter(|extra| !named.contains(&extra.stage)) {
        let why = match extra.answer {
            Some(Answer::Yes) => continue,
            Some(Answer::ForNothing) => "agreed for nothing",
            Some(Answer::No) => "the customer said no",
            None => "waiting for a yes",
        };
        let own: Vec<_> = lines.extract_if(.., |line| line.stage == extra.name).collect();
        if !own.is_empty() {
            let net = own.iter().map(|line| line.amount).sum();
            let lines = own.iter().filter_map(working_line).collect();
            waiting.push(WaitingExtra { extra: extra.name.clone(), why, lines, net });
        }
    }
    waiting
}

/// Entries that can't be billed because no charge rate or price was set for their day.
#[must_use]
pub fn entries_without_a_price(job: &JobWork) -> Vec<EntryRef> {
    clock::lines(job, &Claims::of(job), None).without_a_price
}

/// Signed-off stages that can't be billed because a costing line has no price yet.
#[must_use]
pub fn stages_without_a_price(job: &JobWork) -> Vec<StageId> {
    let unpriced: BTreeSet<_> =
        job.lines.iter().filter(|line| line.unit_price.is_none()).map(|line| line.stage).collect();
    let worths = worths(job);
    unpriced.into_iter().filter(|stage| worths.contains_key(&BillableUnit::Stage(*stage))).collect()
}

struct StageBill {
    printed: InvoiceLine,
    /// With each line's place in the costing.
    working: Vec<(usize, WorkingLine)>,
}

/// The stages that are signed off and not billed, in the order of their first costing lines.
fn stages_to_bill(job: &JobWork, claims: &Claims<'_>, until: Option<Day>) -> Vec<StageBill> {
    if !bills_stages(job) {
        return Vec::new();
    }
    let mut bills: Vec<_> = job
        .stages
        .iter()
        .filter_map(|work| {
            let unit = BillableUnit::Stage(work.stage);
            let signed = work.sign_off(until).filter(|_| !job.is_on_the_clock(work.stage))?;
            let worth = Decimal::ONE;
            // A stage is billed whole; between nought and one there is nothing.
            if worth - claims.billed(unit) != Decimal::ONE || claims.double(unit, worth).is_some() {
                return None;
            }
            let quantity = Quantity::new(Decimal::ONE).ok()?;
            let claim = Claim { unit, revision: signed.revision, quantity, follows: claims.newest(unit) };
            stage_bill(job, work, claim)
        })
        .collect();
    bills.sort_by_key(|bill| bill.working.first().map(|(order, _)| *order));
    bills
}

/// A stage at its price: the sum of its costing lines, each rounded as if it were printed.
fn stage_bill(job: &JobWork, work: &StageWork, claim: Claim) -> Option<StageBill> {
    let own = job.lines.iter().enumerate().filter(|(_, line)| line.stage == work.stage);
    let working: Option<Vec<_>> =
        own.map(|(order, line)| Some((order, costing_line(&work.name, line, line.unit_price?)))).collect();
    let working = working?;
    let price: Pence = working.iter().map(|(_, line)| line.amount).sum();
    if price == Pence::ZERO {
        return None;
    }
    let printed = InvoiceLine {
        kind: InvoiceLineKind::Price,
        stage: work.name.clone(),
        what: work.name.clone(),
        quantity: claim.quantity,
        unit: String::new(),
        unit_price: Rate::new(price.pounds()).ok()?,
        amount: price,
        vat_category: vat_category(job),
        vat_percent: job.terms.vat_percent,
        earlier: None,
        claims: vec![claim],
    };
    Some(StageBill { printed, working })
}

fn costing_line(stage: &str, line: &CostingLine, unit_price: Rate) -> WorkingLine {
    WorkingLine {
        amount: line_amount(line.quantity, unit_price),
        kind: line.kind,
        quantity: line.quantity,
        stage: stage.to_owned(),
        unit_price,
        what: line.what.clone(),
    }
}

fn working_line(line: &InvoiceLine) -> Option<WorkingLine> {
    let kind = match line.kind {
        InvoiceLineKind::Labour => LineKind::Labour,
        InvoiceLineKind::Material => LineKind::Material,
        InvoiceLineKind::Price | InvoiceLineKind::Deposit => return None,
    };
    Some(WorkingLine {
        amount: line.amount,
        kind,
        quantity: line.quantity,
        stage: line.stage.clone(),
        unit_price: line.unit_price,
        what: line.what.clone(),
    })
}

fn totals(
    job: &JobWork,
    lines: &[InvoiceLine],
    materials: Pence,
    vat: VatDecision,
    so_far: CisSoFar,
) -> InvoiceTotals {
    let net = lines.iter().map(|line| line.amount).sum();
    let cis_percent = job.terms.cis_percent;
    let terms = InvoiceTerms {
        retention_percent: job.terms.retention_percent,
        vat_percent: job.terms.vat_percent,
        reverse_charge: vat.reverse_charge,
        cis_percent: (!cis_percent.is_zero()).then_some(cis_percent),
    };
    InvoiceTotals::of(net, materials, terms, so_far)
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
    let stage_of: BTreeMap<EntryRef, Option<StageId>> =
        job.entries.iter().map(|work| (work.entry, work.stage)).collect();
    let stage_of = |unit| match unit {
        BillableUnit::Stage(stage) => Some(Some(stage)),
        BillableUnit::Entry(entry) => stage_of.get(&entry).copied(),
        BillableUnit::Point(_)
        | BillableUnit::Extra(_)
        | BillableUnit::Valuation(_)
        | BillableUnit::Deposit(_) => None,
    };
    let before = claims.units().filter(|unit| !claims.billed(*unit).is_zero());
    let now = lines.iter().flat_map(|line| &line.claims).map(|claim| claim.unit);
    let billed: BTreeSet<_> = before.chain(now).filter_map(stage_of).collect();
    let counted = |cost: &&super::work::MaterialCost| {
        billed.contains(&cost.stage) && until.is_none_or(|until| cost.done_on <= until)
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
