//! What only the office reads: pay, prices, terms, invoices and payments.

mod applications;
mod papers;

use serde::{Deserialize, Serialize};
use trade::{Day, Pence, Rate, TimeTerms, VatRate};

use crate::ids::{EntryRef, ItemId, JobId, LineId, PersonId, PointId, QuoteId, StageId};
use crate::site::{SaidHow, Whose};

pub use applications::{Application, AppliedLine, PaymentApplied, PaymentCertified};
pub use papers::{
    BillableUnit, Claim, ClaimRef, CreditAdopted, DepositAsked, Document, EarlierPaper, InvoiceAdopted,
    InvoiceCredited, InvoiceIssued, InvoiceLine, InvoiceLineKind, InvoiceSelfBilled, InvoiceVoided, Party,
    PaymentAccount, PaymentReceived, Work,
};

// ---- the firm, people and prices ---------------------------------------------------------------

/// The crew as a business, or a change to it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FirmListed {
    /// The legal name.
    pub name: String,
    /// The trading name, or empty.
    pub trading_as: String,
    /// The address.
    pub address: String,
    /// The VAT number with its country prefix, or empty when not registered.
    pub vat_number: String,
    /// Registered for VAT from this day.
    pub vat_from: Option<Day>,
    /// The tax reference, or empty.
    pub tax_reference: String,
    /// The bank, or empty.
    pub bank: String,
    /// The sort code, or empty.
    pub sort_code: String,
    /// The account number, or empty.
    pub account_number: String,
    /// Days to pay, where the job does not say.
    pub terms_days: u16,
    /// The number of the next invoice when fivebar began to count.
    pub next_invoice_number: u64,
}

/// What a person costs and is charged at from the act's day on. The nearest wins: job, trade, person.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PersonRated {
    /// The person.
    pub person: PersonId,
    /// On this job only.
    pub job: Option<JobId>,
    /// For this trade only; empty for all.
    pub trade: String,
    /// What an hour costs the crew, in pounds.
    pub cost_rate: Rate,
    /// What an hour is charged at, in pounds.
    pub charge_rate: Rate,
}

/// What a pack of an item costs from the act's day on, without VAT.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ItemPriced {
    /// The item.
    pub item: ItemId,
    /// Pounds a pack.
    pub pack_cost: Rate,
}

/// What was paid for a purchase, a hire or an expense.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PricePaid {
    /// For what.
    pub of: EntryRef,
    /// Without VAT, one sum for each item of a purchase, in its order; empty where only the total is known.
    pub items: Vec<Pence>,
    /// The total without VAT.
    pub net: Pence,
    /// The VAT.
    pub vat: Pence,
    /// For a hire: the sum is for each of these ("day", "week"). Otherwise empty.
    pub per: String,
    /// For a hire: the least that is charged.
    pub minimum: Pence,
}

// ---- jobs and quotes ---------------------------------------------------------------------------

/// What kind of customer it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CustomerKind {
    /// A private person, at home.
    Householder,
    /// A contractor.
    Contractor,
    /// Any other business.
    Business,
}

/// How a job is paid for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Basis {
    /// At a quote.
    Fixed,
    /// By time and materials.
    Daywork,
    /// At a quote, and billed by how much of each stage is done.
    Valuation,
}

/// On what terms a job is done, or a change to them.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct JobTerms {
    /// The job.
    pub job: JobId,
    /// What kind of customer.
    pub customer_kind: CustomerKind,
    /// How it is paid for.
    pub basis: Basis,
    /// VAT in per cent.
    pub vat_percent: Rate,
    /// What somebody said of the reverse charge. It is a check: what the facts say counts.
    pub reverse_charge: Option<bool>,
    /// The share that a contractor takes for CIS, in per cent; nought for none.
    pub cis_percent: Rate,
    /// The share that is held back, in per cent.
    pub retention_percent: Rate,
    /// The mark-up on materials on the clock, in per cent.
    pub markup_percent: Rate,
    /// Where the invoice goes.
    pub billing_address: String,
    /// The customer's VAT number, or empty.
    pub customer_vat_number: String,
    /// Whether the customer is registered for CIS.
    pub customer_cis: Option<bool>,
    /// Whether the customer gave written notice of being an end user or intermediary.
    pub end_user_statement: Option<bool>,
    /// Days to pay.
    pub terms_days: Option<u16>,
    /// The number of the customer's order, which their bookkeeper looks for on the invoice; or empty.
    pub order_number: String,
    /// The country of the billing address, by its two letters of ISO 3166-1; empty for GB.
    pub customer_country: String,
}

/// What a costing line is expected to cost and sells for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LinePriced {
    /// The line.
    pub line: LineId,
    /// Pounds a unit that we expect to pay.
    pub unit_cost: Rate,
    /// Pounds a unit that the customer pays.
    pub unit_price: Rate,
}

/// A version of a quote, as it was given to the customer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct QuoteGiven {
    /// The quote.
    pub quote: QuoteId,
    /// The job.
    pub job: JobId,
    /// 1, 2, 3…
    pub version: u16,
    /// The price without VAT.
    pub price: Pence,
    /// What is in it.
    pub included: String,
    /// What is not.
    pub excluded: String,
}

/// The customer accepted a version of a quote.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct QuoteAgreed {
    /// The quote.
    pub quote: QuoteId,
    /// Who said yes.
    pub said_by: String,
    /// How.
    pub how: SaidHow,
}

/// A part of a quote's price falls due at a point of the work.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PaymentPointSet {
    /// The point.
    pub point: PointId,
    /// The quote it belongs to.
    pub quote: QuoteId,
    /// Its place among the points.
    pub order: u32,
    /// What it says on the invoice.
    pub label: String,
    /// Without VAT.
    pub amount: Pence,
    /// It falls due when this stage is signed off; otherwise when the owner says so.
    pub stage: Option<StageId>,
}

/// What an extra sells for, or its limit on the clock, without VAT.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExtraPriced {
    /// The extra.
    pub extra: EntryRef,
    /// The price, or the limit.
    pub amount: Pence,
}

/// A payment point without a stage fell due, on the act's day, because the owner said so.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct PointDue {
    /// The point.
    pub point: PointId,
}

/// A job is practically complete since the act's day. Half of what was held back is then released, and
/// the rest when the defects period ends.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct JobCompleted {
    /// The job.
    pub job: JobId,
    /// The last day of the defects period.
    pub defects_until: Day,
}

/// Which rate of VAT the work of a job, or of one stage of it, is at. Kept with what proves it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct VatRateSet {
    /// The job.
    pub job: JobId,
    /// The stage, or all of the job that no other row names.
    pub stage: Option<StageId>,
    /// The rate. What it comes to in per cent follows from the tax point.
    pub rate: VatRate,
    /// What proves it: who said what, and where the paper is. May be empty for the standard rate.
    pub evidence: String,
}

/// The customer of a job issues its invoices in the crew's name, from the act's day to the last day that was
/// agreed. The crew issues none of its own meanwhile.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SelfBillingAgreed {
    /// The job.
    pub job: JobId,
    /// The last day.
    pub until: Day,
    /// Where the written agreement is.
    pub evidence: String,
}

/// How a person works for the crew.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Engagement {
    /// Owns the business.
    Owner,
    /// On the books. Wages are worked out elsewhere.
    OnTheBooks,
    /// Self-employed: the crew is their contractor, and takes CIS off what it pays them.
    SelfEmployed,
}

/// How a person works for the crew from the act's day on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PersonEngaged {
    /// The person.
    pub person: PersonId,
    /// How.
    pub engagement: Engagement,
    /// For the self-employed: the share that is taken off for CIS, in per cent.
    pub cis_percent: Rate,
    /// For the self-employed: the day on which the tax office confirmed that share.
    pub verified_on: Option<Day>,
    /// For the self-employed: the VAT number, or empty.
    pub vat_number: String,
}

/// What a way of counting time is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TimeSide {
    /// What the customer is charged, counted on each job by itself.
    Charged,
    /// What a person is paid, counted over all jobs.
    Paid,
}

/// How time is counted from the act's day on, where not every hour is at one rate. The nearest row wins as a
/// whole: the job and the person, the job, the person, everybody.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct TimeTermsSet {
    /// What it is for.
    pub side: TimeSide,
    /// On this job only; never of what a person is paid.
    pub job: Option<JobId>,
    /// Of this person only.
    pub person: Option<PersonId>,
    /// How time is counted. Kept apart, so that every other event stays small.
    pub terms: Box<TimeTerms>,
}

/// Who bears the cost of a waste or a call-back, as the owner says.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CostBorneBy {
    /// The entry.
    pub of: EntryRef,
    /// Who.
    pub whose: Whose,
}
