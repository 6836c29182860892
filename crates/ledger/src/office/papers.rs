//! Invoices, credit notes, deposits and payments: what is billed, and all that a paper prints.

use serde::{Deserialize, Serialize};
use trade::{Day, InvoiceTotals, Pence, Quantity, Rate, VatCategory, VatShare};

use crate::ids::{EntryRef, EventHash, InvoiceId, JobId, PersonId, PointId, StageId};
use crate::site::LineKind;

/// What can be billed once.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum BillableUnit {
    /// An entry on the clock. Counted in minutes, in the item's unit, or in miles.
    Entry(EntryRef),
    /// A stage of a quote. Counted as a share, 1 for the whole.
    Stage(StageId),
    /// A payment point of a quote. Counted as a share.
    Point(PointId),
    /// An extra at a price. Counted as a share.
    Extra(EntryRef),
    /// What was held back on a job. Counted in pounds.
    Retention(JobId),
    /// A deposit. Counted as a share: 1 on its own invoice, and -1 where it comes off the next.
    Deposit(EntryRef),
    /// The part of an entry's hours that is overtime. Counted in minutes.
    Overtime(EntryRef),
    /// The fixed sum for coming out. Counted as a share.
    CallOut {
        /// Who came out.
        person: PersonId,
        /// On which day.
        day: Day,
    },
    /// What a customer certified or billed less, or more, than was asked for on a job. Counted in pounds: below
    /// nought on the paper that bills less, and above where it is asked for again. In the end it is nought.
    Uncertified(JobId),
}

/// A claim made earlier: the document's event, the line in it, and the claim in that line.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct ClaimRef {
    /// The event of the invoice or credit note.
    pub event: EventHash,
    /// The line, counted from nought.
    pub line: u16,
    /// The claim in the line, counted from nought.
    pub claim: u16,
}

/// How much of a billable unit a line bills. Negative on a credit note.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Claim {
    /// What.
    pub unit: BillableUnit,
    /// The event that said what the unit is worth, as far as the writer knew.
    pub revision: EventHash,
    /// How much, in the unit's own measure.
    pub quantity: Quantity,
    /// The claim on the same unit that this one follows, if there is one.
    pub follows: Option<ClaimRef>,
}

/// What a line is made of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum InvoiceLineKind {
    /// Hours.
    Labour,
    /// Material.
    Material,
    /// A stage, a payment point, an extra, a call-out or miles at their price.
    Price,
    /// A deposit, or its return as a negative line.
    Deposit,
    /// What was held back and is now due.
    Retention,
    /// What was certified less, or more, than was asked for; and where that is asked for again.
    Uncertified,
}

impl From<LineKind> for InvoiceLineKind {
    fn from(kind: LineKind) -> Self {
        match kind {
            LineKind::Labour => Self::Labour,
            LineKind::Material => Self::Material,
        }
    }
}

/// An earlier paper, as another names it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct EarlierPaper {
    /// Its number as printed.
    pub number: String,
    /// The day it was issued.
    pub issued_on: Day,
}

/// A line as it is printed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct InvoiceLine {
    /// Labour, material, price or deposit.
    pub kind: InvoiceLineKind,
    /// The stage's name, or empty.
    pub stage: String,
    /// What it says.
    pub what: String,
    /// The printed quantity.
    pub quantity: Quantity,
    /// Its unit.
    pub unit: String,
    /// The printed price in pounds a unit.
    pub unit_price: Rate,
    /// Printed quantity times printed price, half-up.
    pub amount: Pence,
    /// How VAT applies to it. With the rate it says which of the document's shares it belongs to.
    pub vat_category: VatCategory,
    /// The VAT rate in per cent; under the reverse charge, the rate at which the customer accounts.
    pub vat_percent: Rate,
    /// The invoice that this line adds to, or, for a deposit that comes off, the one that asked for it.
    pub earlier: Option<EarlierPaper>,
    /// What it bills.
    pub claims: Vec<Claim>,
}

/// A party as it is printed.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Party {
    /// The name.
    pub name: String,
    /// The trading name, or empty.
    pub trading_as: String,
    /// The address.
    pub address: String,
    /// The country of the address, by its two letters of ISO 3166-1: GB.
    pub country: String,
    /// The VAT number with its country prefix, or empty.
    pub vat_number: String,
    /// The tax reference, or empty.
    pub tax_reference: String,
}

/// Where to pay, as it is printed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PaymentAccount {
    /// Whose account it is.
    pub holder: String,
    /// The bank, or empty.
    pub bank: String,
    /// The sort code.
    pub sort_code: String,
    /// The account number.
    pub account_number: String,
}

/// The job as a paper names it.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Work {
    /// The job's short code.
    pub code: String,
    /// What was done.
    pub title: String,
    /// Where it was done.
    pub site_address: String,
}

/// Everything that a document prints. Later changes of names or prices never alter it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Document {
    /// The document's id.
    pub invoice: InvoiceId,
    /// The job.
    pub job: JobId,
    /// The job as it is printed.
    pub work: Work,
    /// For a credit note, the invoice that it reduces.
    pub reduces: Option<EarlierPaper>,
    /// The series that the number belongs to, or empty for the first.
    pub series: String,
    /// The number in the series.
    pub number: u64,
    /// Where the customer issued it in the crew's name: the number that they gave it. Otherwise empty.
    pub self_billed_as: String,
    /// The number of the customer's order, or empty.
    pub order_number: String,
    /// The application for payment that it bills, by its number.
    pub application: Option<u32>,
    /// The day of issue.
    pub issued_on: Day,
    /// The tax point.
    pub tax_point: Day,
    /// What was done up to this day is on it.
    pub until: Day,
    /// The last day to pay.
    pub due_on: Day,
    /// Who bills.
    pub seller: Party,
    /// Who pays.
    pub customer: Party,
    /// Where to pay, if that is known.
    pub pay_to: Option<PaymentAccount>,
    /// The lines in printed order.
    pub lines: Vec<InvoiceLine>,
    /// The share that is held back, in per cent.
    pub retention_percent: Rate,
    /// The share that the customer takes for CIS, in per cent; none for a customer outside CIS.
    pub cis_percent: Option<Rate>,
    /// What each VAT category and rate comes to. They add up to the sums.
    pub vat: Vec<VatShare>,
    /// The sums.
    pub totals: InvoiceTotals,
    /// What else is printed below: prompts, terms.
    pub notes: Vec<String>,
}

/// An invoice was issued.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct InvoiceIssued {
    /// All that it prints. Kept apart, so that every other event stays small.
    pub document: Box<Document>,
}

/// A credit note was issued. Its quantities and amounts are what is given back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct InvoiceCredited {
    /// The invoice that it reduces. The document names it as it is printed.
    pub of: InvoiceId,
    /// All that it prints. Kept apart, so that every other event stays small.
    pub document: Box<Document>,
}

/// The customer issued an invoice in the crew's name, by an agreement on self-billing. It takes no number of the crew's.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct InvoiceSelfBilled {
    /// What it says, with the customer's own number. Kept apart, so that every other event stays small.
    pub document: Box<Document>,
}

/// An issued number stands, but bills nothing. The act's note says why.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct InvoiceVoided {
    /// The invoice.
    pub invoice: InvoiceId,
}

/// An invoice found beyond a device's cut or behind a fork is the crew's own after all.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct InvoiceAdopted {
    /// The invoice.
    pub invoice: InvoiceId,
    /// The event that issued it.
    pub event: EventHash,
    /// All that it prints. Kept apart, so that every other event stays small.
    pub document: Box<Document>,
}

/// A credit note found beyond a device's cut or behind a fork is the crew's own after all.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CreditAdopted {
    /// The invoice that it reduces.
    pub of: InvoiceId,
    /// The event that issued it.
    pub event: EventHash,
    /// All that it prints. Kept apart, so that every other event stays small.
    pub document: Box<Document>,
}

/// A deposit is to be paid before the work.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct DepositAsked {
    /// The job.
    pub job: JobId,
    /// Without VAT.
    pub amount: Pence,
}

/// Money came in, or was taken off. The sums together are what the customer no longer owes.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PaymentReceived {
    /// The job.
    pub job: JobId,
    /// For which invoice, if that is known.
    pub invoice: Option<InvoiceId>,
    /// What arrived.
    pub received: Pence,
    /// What was taken for CIS.
    pub cis_taken: Pence,
    /// What was taken as discount.
    pub discount: Pence,
    /// What was set against something that we owe.
    pub contra: Pence,
    /// How: bank, cash, card.
    pub method: String,
}
