//! Deposits: each is billed by an invoice of its own, and comes off the next one at the same rate of VAT.

use ledger::office::{BillableUnit, Claim, EarlierPaper, InvoiceLine, InvoiceLineKind};
use rust_decimal::Decimal;
use trade::{Pence, Quantity, Rate};

use super::claims::{Claims, Standing};
use super::issue::named;
use super::vat::Vat;
use super::work::{DepositWork, JobWork};

/// A deposit that an invoice billed and that has not come off another yet.
struct Standed<'w> {
    claim: Standing<'w>,
    paper: EarlierPaper,
}

/// The deposits that were billed and have not come off yet, in the order of their invoices.
fn to_come_off<'w>(claims: &Claims<'w>) -> Vec<Standed<'w>> {
    let mut open = Vec::new();
    for paper in claims.papers.iter().filter(|paper| paper.credits.is_none()) {
        for line in &paper.document.lines {
            for made in &line.claims {
                let BillableUnit::Deposit(_) = made.unit else { continue };
                let is_bill = |claim: &&Standing<'_>| claim.quantity > Decimal::ZERO && !claim.by_credit_note;
                let bills = claims.on(made.unit).iter().rev().find(is_bill);
                let Some(claim) = bills.filter(|claim| claim.at.event == paper.event) else { continue };
                if claims.billed(made.unit) == Decimal::ONE && made.quantity.value() == Decimal::ONE {
                    open.push(Standed { claim: *claim, paper: named(&paper.document) });
                }
            }
        }
    }
    open
}

/// The lines by which deposits come off the next invoice: each with the number and date of its own
/// invoice, at the same rate of VAT.
pub(super) fn lines(claims: &Claims<'_>) -> Vec<InvoiceLine> {
    let lines = to_come_off(claims).into_iter().filter_map(|Standed { claim, paper }| {
        let unit = claim.line.claims.first()?.unit;
        let claim_back = Claim {
            unit,
            revision: claims.revision(unit)?,
            quantity: Quantity::new(-Decimal::ONE).ok()?,
            follows: claims.newest(unit),
        };
        Some(InvoiceLine {
            what: format!("less deposit, invoice {} of {}", paper.number, paper.issued_on),
            quantity: Quantity::new(-Decimal::ONE).ok()?,
            amount: -claim.line.amount,
            earlier: Some(paper),
            claims: vec![claim_back],
            ..claim.line.clone()
        })
    });
    lines.collect()
}

/// Why a deposit is not asked for, or not billed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoDeposit {
    /// Another one is open.
    #[error(
        "{job} has a deposit of {amount} already that has not come off an invoice: two at once would overlap. Bill \
         that one and the work it is for first, or cross it out"
    )]
    Overlaps {
        /// The job's code.
        job: String,
        /// The other one.
        amount: Pence,
    },
    /// None was asked for.
    #[error(
        "no deposit was asked for on {0}, or all that were are billed; ask by `fivebar invoice deposit {0} POUNDS`"
    )]
    NoneAsked(String),
}

/// The deposits that were asked for and not billed, or billed and not taken off yet.
fn open<'w>(job: &'w JobWork, claims: &Claims<'_>) -> Vec<&'w DepositWork> {
    let is_open = |deposit: &&DepositWork| {
        let unit = BillableUnit::Deposit(deposit.entry);
        claims.on(unit).is_empty() || claims.billed(unit) == Decimal::ONE || !came_off(claims, unit)
    };
    job.deposits.iter().filter(is_open).collect()
}

fn came_off(claims: &Claims<'_>, unit: BillableUnit) -> bool {
    claims.on(unit).iter().any(|claim| claim.quantity.is_sign_negative() && !claim.by_credit_note)
}

/// Checks that another deposit may be asked for.
///
/// # Errors
/// [`NoDeposit::Overlaps`] names the one that is open.
pub fn may_ask_deposit(job: &JobWork) -> Result<(), NoDeposit> {
    match open(job, &Claims::of(job)).first() {
        Some(deposit) => Err(NoDeposit::Overlaps { job: job.code.clone(), amount: deposit.amount }),
        None => Ok(()),
    }
}

/// The line of the invoice that bills the deposit which was asked for.
///
/// # Errors
/// [`NoDeposit`]: none waits to be billed, or two overlap.
pub(super) fn own_line(job: &JobWork, claims: &Claims<'_>, vat: Vat<'_>) -> Result<InvoiceLine, NoDeposit> {
    let open = open(job, claims);
    let to_bill = |deposit: &&&DepositWork| claims.billed(BillableUnit::Deposit(deposit.entry)).is_zero();
    let Some(deposit) = open.iter().find(to_bill) else { return Err(NoDeposit::NoneAsked(job.code.clone())) };
    if let Some(other) = open.iter().find(|other| other.entry != deposit.entry) {
        return Err(NoDeposit::Overlaps { job: job.code.clone(), amount: other.amount });
    }
    let unit = BillableUnit::Deposit(deposit.entry);
    let (vat_category, vat_percent) = vat.line(None);
    let line = || {
        let claim = Claim {
            unit,
            revision: deposit.revision,
            quantity: Quantity::new(Decimal::ONE).ok()?,
            follows: claims.newest(unit),
        };
        Some(InvoiceLine {
            kind: InvoiceLineKind::Deposit,
            stage: String::new(),
            what: "deposit".to_owned(),
            quantity: claim.quantity,
            unit: String::new(),
            unit_price: Rate::new(deposit.amount.pounds()).ok()?,
            amount: deposit.amount,
            vat_category,
            vat_percent,
            earlier: None,
            claims: vec![claim],
        })
    };
    line().ok_or_else(|| NoDeposit::NoneAsked(job.code.clone()))
}
