//! What customers owe: each invoice with what closed it, by age, and a customer's statement.
//!
//! What came in, CIS that was taken, discount and contra close an invoice, and so do credit notes on it.
//! What is held back is not in its total, and is owed when it is released. What day it is, is an argument.

use std::collections::BTreeMap;

use ledger::office::CustomerKind;
use ledger::{Body, EventHash, InvoiceId};
use serde::Serialize;
use trade::{Day, LateClaim, LateError, Pence, Rate};

use super::issue::printed_number;
use super::work::{IssuedPaper, JobWork};
use crate::book::Book;

/// What closed an invoice so far.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize)]
pub struct Closed {
    /// What arrived.
    pub received: Pence,
    /// What was taken for CIS.
    pub cis_taken: Pence,
    /// What was taken as discount.
    pub discount: Pence,
    /// What was set against something that we owe.
    pub contra: Pence,
    /// What credit notes gave back.
    pub credited: Pence,
}

impl Closed {
    /// All of it.
    #[must_use]
    pub fn sum(&self) -> Pence {
        self.received + self.cis_taken + self.discount + self.contra + self.credited
    }
}

/// How long something is owed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Age {
    /// The last day to pay has not passed.
    NotDue,
    /// 1 to 30 days late.
    To30,
    /// 31 to 60 days late.
    To60,
    /// 61 to 90 days late.
    To90,
    /// More than 90 days late.
    Over90,
}

impl Age {
    /// Every age, the youngest first.
    pub const ALL: [Self; 5] = [Self::NotDue, Self::To30, Self::To60, Self::To90, Self::Over90];

    /// The age of what is so many days late.
    #[must_use]
    pub const fn of(days_late: i32) -> Self {
        match days_late {
            ..=0 => Self::NotDue,
            1..=30 => Self::To30,
            31..=60 => Self::To60,
            61..=90 => Self::To90,
            91.. => Self::Over90,
        }
    }

    /// As people say it.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::NotDue => "not due yet",
            Self::To30 => "1 to 30 days late",
            Self::To60 => "31 to 60 days late",
            Self::To90 => "61 to 90 days late",
            Self::Over90 => "over 90 days late",
        }
    }
}

/// An invoice that stands, with what is owed on it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Owed {
    /// The invoice.
    pub invoice: InvoiceId,
    /// Its number as printed.
    pub number: String,
    /// The job's code.
    pub job: String,
    /// Who owes.
    pub customer: String,
    /// The day of issue.
    pub issued_on: Day,
    /// The last day to pay.
    pub due_on: Day,
    /// What it says in all.
    pub total: Pence,
    /// What CIS we expect to be taken of that, less what credit notes took back.
    pub cis_expected: Pence,
    /// What closed it so far.
    pub closed: Closed,
    /// What is left; below nought where too much came in.
    pub owed: Pence,
    /// Days after the last day to pay; nought or below while it is not late.
    pub days_late: i32,
    /// The age of that.
    pub age: Age,
}

/// What closed each invoice, by payments and credit notes.
fn closed(book: &Book, works: &[JobWork]) -> BTreeMap<InvoiceId, Closed> {
    let mut closed: BTreeMap<InvoiceId, Closed> = BTreeMap::new();
    for entry in book.entries() {
        let Body::PaymentReceived(paid) = &*entry.body else { continue };
        let Some(invoice) = paid.invoice else { continue };
        let sums = closed.entry(invoice).or_default();
        sums.received += paid.received;
        sums.cis_taken += paid.cis_taken;
        sums.discount += paid.discount;
        sums.contra += paid.contra;
    }
    for credit in works.iter().flat_map(|work| &work.papers).filter(|paper| !paper.voided) {
        if let Some(of) = credit.credits {
            closed.entry(of).or_default().credited += credit.document.totals.total;
        }
    }
    closed
}

/// Every invoice that stands, with what is owed on it, by the last day to pay and number.
#[must_use]
pub fn owed(book: &Book, works: &[JobWork], today: Day) -> Vec<Owed> {
    let closed = closed(book, works);
    let row = |work: &JobWork, paper: &IssuedPaper| {
        let document = &paper.document;
        let closed = closed.get(&document.invoice).copied().unwrap_or_default();
        let credits = work.papers.iter().filter(|credit| credit.credits == Some(document.invoice));
        let taken_back: Pence = credits.filter(|credit| !credit.voided).map(|c| c.document.totals.cis).sum();
        let days_late = today.number() - document.due_on.number();
        Owed {
            invoice: document.invoice,
            number: printed_number(document),
            job: work.code.clone(),
            customer: document.customer.name.clone(),
            issued_on: document.issued_on,
            due_on: document.due_on,
            total: document.totals.total,
            cis_expected: document.totals.cis - taken_back,
            owed: document.totals.total - closed.sum(),
            closed,
            days_late,
            age: Age::of(days_late),
        }
    };
    let stands = |paper: &&IssuedPaper| paper.credits.is_none() && !paper.voided;
    let mut rows: Vec<_> = works
        .iter()
        .flat_map(|work| work.papers.iter().filter(stands).map(move |paper| (work, paper)))
        .map(|(work, paper)| row(work, paper))
        .collect();
    rows.sort_by(|one, other| (one.due_on, &one.number).cmp(&(other.due_on, &other.number)));
    rows
}

/// What is owed in all, by age.
#[must_use]
pub fn by_age(rows: &[Owed]) -> Vec<(Age, Pence)> {
    let sum = |age| rows.iter().filter(|row| row.age == age).map(|row| row.owed).sum();
    Age::ALL.into_iter().map(|age| (age, sum(age))).collect()
}

/// What happened on a customer's account.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum AccountMove {
    /// An invoice.
    Invoice,
    /// A credit note.
    CreditNote,
    /// Money came in, or was taken off.
    Payment,
}

/// A line of a customer's statement.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct StatementLine {
    /// The day.
    pub day: Day,
    /// What happened.
    pub what: AccountMove,
    /// The paper's number as printed; of a payment, that of the invoice it is for, or empty.
    pub number: String,
    /// What it adds to what is owed; below nought for what it takes off.
    pub amount: Pence,
    /// What is owed after it.
    pub balance: Pence,
}

/// A job's account with its customer, day by day.
#[must_use]
pub fn statement(book: &Book, work: &JobWork) -> Vec<StatementLine> {
    let mut moves: Vec<(Day, AccountMove, String, EventHash, Pence)> = Vec::new();
    let numbers: BTreeMap<InvoiceId, String> =
        work.papers.iter().map(|paper| (paper.document.invoice, printed_number(&paper.document))).collect();
    for paper in work.papers.iter().filter(|paper| !paper.voided) {
        let (what, amount) = match paper.credits {
            None => (AccountMove::Invoice, paper.document.totals.total),
            Some(_) => (AccountMove::CreditNote, -paper.document.totals.total),
        };
        moves.push((paper.document.issued_on, what, printed_number(&paper.document), paper.event, amount));
    }
    for entry in book.entries() {
        let Body::PaymentReceived(paid) = &*entry.body else { continue };
        if paid.job == work.job {
            let number = paid.invoice.and_then(|invoice| numbers.get(&invoice).cloned()).unwrap_or_default();
            let sum = paid.received + paid.cis_taken + paid.discount + paid.contra;
            moves.push((entry.act.done_on, AccountMove::Payment, number, entry.revision(), -sum));
        }
    }
    moves.sort();
    let mut balance = Pence::ZERO;
    let lines = moves.into_iter().map(|(day, what, number, _, amount)| {
        balance += amount;
        StatementLine { day, what, number, amount, balance }
    });
    lines.collect()
}

/// Why no claim for late payment is worked out.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoLateClaim {
    /// The customer is a consumer.
    #[error(
        "{0} is a householder: the law on late payment gives interest and a fixed sum against businesses only (Late \
         Payment of Commercial Debts (Interest) Act 1998)"
    )]
    Consumer(String),
    /// It is not late, or no base rate is known.
    #[error(transparent)]
    Late(#[from] LateError),
}

/// What could be claimed for an invoice that a business pays late. It is for the owner to claim it or not.
///
/// # Errors
/// [`NoLateClaim`]: a householder, not late, or no base rate is known.
pub fn late_claim(
    work: &JobWork,
    owed: &Owed,
    today: Day,
    base_rate: Option<Rate>,
) -> Result<LateClaim, NoLateClaim> {
    match work.terms.customer_kind {
        CustomerKind::Householder => Err(NoLateClaim::Consumer(owed.customer.clone())),
        CustomerKind::Contractor | CustomerKind::Business => {
            // CIS that is expected to be taken is no money that comes late.
            let debt = owed.owed - (owed.cis_expected - owed.closed.cis_taken).max(Pence::ZERO);
            Ok(trade::late::late_claim(debt, owed.due_on, today, base_rate)?)
        }
    }
}
