//! Which VAT a line bears, who accounts for it, and the paper's shares by category and rate.
//!
//! The rounding, stated once: the lines of one category and rate are added up, what is held back of them
//! is taken off, and VAT on that sum is rounded half up to the penny. Never line by line.

use std::collections::BTreeMap;

use ledger::StageId;
use ledger::office::{CustomerKind, FirmListed, InvoiceLine, InvoiceLineKind, JobTerms};
use trade::{Day, Pence, Rate, ReverseChargeFacts, VatCategory, VatShare, VatTreatment};

use super::work::JobWork;
use crate::lists::Lists;

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

/// Whether the crew is registered for VAT: it has a number, or a first day of registration.
pub(super) fn is_registered(firm: &FirmListed) -> bool {
    !firm.vat_number.trim().is_empty() || firm.vat_from.is_some()
}

impl Lists<'_> {
    /// Whether the crew gets back the VAT on what it buys on a day. What a crew that is not registered pays of it is part
    /// of what things cost it (FRS 102, 13.6, from memory). Of a firm that nobody listed yet it is taken to be.
    #[must_use]
    pub fn gets_vat_back(&self, day: Day) -> bool {
        self.firm.is_none_or(|firm| is_registered(firm) && firm.vat_from.is_none_or(|from| from <= day))
    }
}

/// Whether what somebody said of the reverse charge is not what the facts of the job say.
pub(crate) fn says_otherwise_of_vat(terms: &JobTerms, firm: Option<&FirmListed>) -> bool {
    decide(terms, firm, terms.vat_percent).disagrees
}

fn decide(terms: &JobTerms, firm: Option<&FirmListed>, vat_percent: Rate) -> VatDecision {
    let registered = firm.is_none_or(is_registered);
    let by_facts = terms.customer_cis.map(|customer_cis_registered| {
        ReverseChargeFacts {
            // Work for a householder is never reported under CIS (Finance Act 2004 s.57 to s.59).
            within_cis: terms.customer_kind != CustomerKind::Householder,
            supplier_vat_registered: registered,
            customer_vat_registered: !terms.customer_vat_number.trim().is_empty(),
            customer_cis_registered,
            vat_percent,
            end_user_statement: terms.end_user_statement.unwrap_or(false),
        }
        .treatment()
    });
    let by_word = terms.reverse_charge;
    let reverse_charge = registered
        && !vat_percent.is_zero()
        && by_facts.map_or_else(|| by_word.unwrap_or(false), VatTreatment::is_reverse_charge);
    let disagrees = by_facts.is_some() && by_word.is_some_and(|said| said != reverse_charge);
    VatDecision { reverse_charge, by_facts, disagrees }
}

/// Works out who accounts for the VAT. The facts decide; without them, what somebody said.
#[must_use]
pub fn vat_decision(job: &JobWork) -> VatDecision {
    decide(&job.terms, job.firm.as_ref(), Vat::of(job, None).percent(None))
}

/// The VAT of a job's work on a tax point.
#[derive(Debug, Clone, Copy)]
pub(super) struct Vat<'w> {
    job: &'w JobWork,
    tax_point: Option<Day>,
}

impl<'w> Vat<'w> {
    /// On a tax point; without one, as on the last day of which anything is known.
    pub(super) fn of(job: &'w JobWork, tax_point: Option<Day>) -> Self {
        let worked = || job.entries.iter().map(|work| work.done_on);
        let stepped = || job.stages.iter().flat_map(|work| &work.steps).map(|step| step.done_on);
        let said = || job.deposits.iter().map(|deposit| deposit.asked_on);
        let tax_point = tax_point.or_else(|| worked().chain(stepped()).chain(said()).max());
        Self { job, tax_point }
    }

    /// The rate of a stage, or of what belongs to none, in per cent.
    pub(super) fn percent(&self, stage: Option<StageId>) -> Rate {
        let rates = &self.job.vat_rates;
        let set = stage.and_then(|stage| rates.get(&Some(stage))).or_else(|| rates.get(&None));
        let on = |set: &ledger::office::VatRateSet| set.rate.percent_on(self.tax_point?);
        set.and_then(on).unwrap_or(self.job.terms.vat_percent)
    }

    /// The category and rate of a line of a stage, or of none.
    pub(super) fn line(&self, stage: Option<StageId>) -> (VatCategory, Rate) {
        if self.job.firm.as_ref().is_some_and(|firm| !is_registered(firm)) {
            return (VatCategory::NotRegistered, Rate::ZERO);
        }
        let percent = self.percent(stage);
        let category = if percent.is_zero() {
            VatCategory::Zero
        } else if decide(&self.job.terms, self.job.firm.as_ref(), percent).reverse_charge {
            VatCategory::ReverseCharge
        } else {
            VatCategory::Standard
        };
        (category, percent)
    }
}

/// The tax point of an invoice that is issued on a day, and on which money came in on `paid_on` at the
/// earliest.
///
/// A job whose first invoice comes after its completion is paid by that one payment; every other is paid
/// in steps. See [`trade::tax::tax_point`].
#[must_use]
pub fn tax_point(job: &JobWork, issued_on: Day, paid_on: Option<Day>) -> Day {
    let is_first = job.papers.iter().all(|paper| paper.voided);
    let completed_on = job.completion.map(|completion| completion.on).filter(|_| is_first);
    trade::tax::tax_point(completed_on, issued_on, paid_on)
}

/// How VAT applies to the lines of a job that no stage says otherwise of.
#[must_use]
pub fn vat_category(job: &JobWork) -> VatCategory {
    Vat::of(job, None).line(None).0
}

/// The rate of VAT of what no stage says otherwise of, in per cent; none where stages say otherwise.
#[must_use]
pub fn one_vat_percent(job: &JobWork) -> Option<Rate> {
    let by_stage = job.vat_rates.keys().any(Option::is_some);
    (!by_stage).then(|| Vat::of(job, None).line(None).1)
}

/// Why no VAT is charged. The wording of the reverse charge is one that HMRC accepts (VATREVCON37100).
const fn reason(category: VatCategory) -> &'static str {
    match category {
        VatCategory::Standard | VatCategory::Zero => "",
        VatCategory::Exempt => "Exempt from VAT.",
        VatCategory::ReverseCharge => {
            "Reverse charge: VAT Act 1994 Section 55A applies. Customer to pay the VAT to HMRC."
        }
        VatCategory::NotRegistered => "Not registered for VAT: no VAT is charged.",
    }
}

/// Leaves the reverse charge aside where it would apply to a small part of the paper only; whether it did.
pub(super) fn disregard(lines: &mut [InvoiceLine], tax_point: Option<Day>) -> bool {
    let is_reverse = |line: &InvoiceLine| line.vat_category == VatCategory::ReverseCharge;
    let reverse: Pence = lines.iter().filter(|line| is_reverse(line)).map(|line| line.amount).sum();
    let whole: Pence = lines.iter().map(|line| line.amount).sum();
    let disregarded = tax_point.is_some_and(|day| trade::tax::is_disregarded(reverse, whole, day));
    for line in lines.iter_mut().filter(|line| disregarded && is_reverse(line)) {
        line.vat_category = VatCategory::Standard;
    }
    disregarded
}

/// What the customer may hold something back of: work, not a deposit, nor what was held back or not certified
/// before, of which something was held back then.
pub(super) const fn is_held_back(kind: InvoiceLineKind) -> bool {
    match kind {
        InvoiceLineKind::Labour | InvoiceLineKind::Material | InvoiceLineKind::Price => true,
        InvoiceLineKind::Deposit | InvoiceLineKind::Retention | InvoiceLineKind::Uncertified => false,
    }
}

/// Net, and what of it something may be held back of, by category and rate, in the order of the lines.
pub(super) fn nets(lines: &[InvoiceLine]) -> Vec<((VatCategory, Rate), Pence, Pence)> {
    let mut order: Vec<(VatCategory, Rate)> = Vec::new();
    let mut sums: BTreeMap<(VatCategory, Rate), (Pence, Pence)> = BTreeMap::new();
    for line in lines {
        let key = (line.vat_category, line.vat_percent);
        if !order.contains(&key) {
            order.push(key);
        }
        let sum = sums.entry(key).or_default();
        sum.0 += line.amount;
        if is_held_back(line.kind) {
            sum.1 += line.amount;
        }
    }
    let found = order.into_iter().filter_map(|key| sums.get(&key).map(|(net, work)| (key, *net, *work)));
    found.collect()
}

/// The shares of a paper with these lines.
pub(super) fn shares(lines: &[InvoiceLine], retention_percent: Rate) -> Vec<VatShare> {
    let share = |((category, percent), net, work): ((VatCategory, Rate), Pence, Pence)| {
        let held = trade::money::percentage(work, retention_percent).max(Pence::ZERO);
        share_of((category, percent), net, held)
    };
    nets(lines).into_iter().map(share).collect()
}

/// A share, of which so much is held back.
pub(super) fn share_of((category, percent): (VatCategory, Rate), net: Pence, retention: Pence) -> VatShare {
    let reason = reason(category).to_owned();
    VatShare { reason, ..VatShare::of(category, percent, net, retention) }
}
