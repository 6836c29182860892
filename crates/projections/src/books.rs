//! What a bookkeeper takes in for a month: what was sold, what was bought with the photos of the tickets, and CIS on
//! both sides. A sale belongs to the month of its tax point, a purchase to the day it was made.
//!
//! No accounts are kept here and nothing is filed: this is what was logged, in one list.

use std::collections::BTreeSet;

use ledger::site::PaidBy;
use ledger::{Body, EntryRef, PhotoHash};
use serde::Serialize;
use trade::{Day, Pence, VatCategory};

use crate::billing::{self, JobWork};
use crate::book::Book;
use crate::facts::Facts;
use crate::pay;
use crate::words;

/// An invoice or credit note that was issued; the sums of a credit note are below nought.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Sale {
    /// The tax point.
    pub day: Day,
    /// The number as printed.
    pub number: String,
    /// The customer issued it in the crew's name.
    pub self_billed: bool,
    /// Who pays.
    pub customer: String,
    /// The job's code.
    pub job: String,
    /// What is due before VAT, after what is held back.
    pub net: Pence,
    /// The VAT that is charged.
    pub vat: Pence,
    /// The VAT that the customer accounts for under the reverse charge.
    pub reverse_charge_vat: Pence,
    /// What CIS is expected to be taken off.
    pub cis_expected: Pence,
}

/// A purchase, an expense, or a hire that went back.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Purchase {
    /// The day it was made.
    pub day: Day,
    /// The entry.
    pub entry: EntryRef,
    /// What it was, in words.
    pub what: String,
    /// From whom, or empty.
    pub supplier: String,
    /// The number of the ticket, or empty.
    pub ticket: String,
    /// How it was paid for.
    pub paid_by: PaidBy,
    /// Without VAT; none while nobody said.
    pub net: Option<Pence>,
    /// The VAT; none while nobody said.
    pub vat: Option<Pence>,
    /// Photos of the ticket.
    pub photos: Vec<PhotoHash>,
}

/// CIS that a customer took off what they paid.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CisTaken {
    /// The day of the payment.
    pub day: Day,
    /// The invoice's number, or empty.
    pub number: String,
    /// Who took it.
    pub customer: String,
    /// How much.
    pub taken: Pence,
}

/// CIS that the crew keeps back from somebody's pay, for the tax office.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CisKeptBack {
    /// From whom.
    pub person: String,
    /// What they earned by hours and miles; none while a rate is not known.
    pub earned: Option<Pence>,
    /// How much is kept back.
    pub kept_back: Pence,
}

/// A month for the bookkeeper.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Month {
    /// Its first day.
    pub from: Day,
    /// Its last day.
    pub to: Day,
    /// What was sold, by tax point and number.
    pub sales: Vec<Sale>,
    /// What was bought, by day.
    pub purchases: Vec<Purchase>,
    /// CIS taken off what customers paid, by day.
    pub cis_taken: Vec<CisTaken>,
    /// The tax month that begins in this month: from the 6th to the 5th (gov.uk, what you must do as a CIS
    /// contractor).
    pub cis_month: (Day, Day),
    /// CIS kept back in that tax month, by name.
    pub cis_kept_back: Vec<CisKeptBack>,
}

impl Month {
    /// What all sales come to before VAT, and their VAT.
    #[must_use]
    pub fn sold(&self) -> (Pence, Pence) {
        (self.sales.iter().map(|sale| sale.net).sum(), self.sales.iter().map(|sale| sale.vat).sum())
    }

    /// What all purchases come to before VAT, and their VAT, as far as anybody said.
    #[must_use]
    pub fn bought(&self) -> (Pence, Pence) {
        let net = self.purchases.iter().filter_map(|bought| bought.net).sum();
        (net, self.purchases.iter().filter_map(|bought| bought.vat).sum())
    }
}

/// The first and the last day of the month that a day is in.
#[must_use]
pub fn month_of(day: Day) -> (Day, Day) {
    let first = day.plus_days(1 - i32::from(day.date().day()));
    (first, first.plus_months(1).plus_days(-1))
}

/// Everything of all months, in no order, and the book it was read from, once.
struct All<'book> {
    facts: Facts<'book>,
    sales: Vec<Sale>,
    purchases: Vec<Purchase>,
    cis_taken: Vec<CisTaken>,
}

impl<'book> All<'book> {
    fn of(book: &'book Book) -> Self {
        let facts = Facts::of(book);
        let works = billing::job_works(book, &facts.lists);
        Self {
            sales: works.iter().flat_map(sales).collect(),
            purchases: purchases(&facts),
            cis_taken: cis_taken(&facts, &works),
            facts,
        }
    }

    fn month(&self, (from, to): (Day, Day)) -> Month {
        let is_within = |day: Day| day >= from && day <= to;
        let mut sales: Vec<_> = self.sales.iter().filter(|sale| is_within(sale.day)).cloned().collect();
        sales.sort_by(|one, other| (one.day, &one.number).cmp(&(other.day, &other.number)));
        let mut purchases: Vec<_> =
            self.purchases.iter().filter(|bought| is_within(bought.day)).cloned().collect();
        purchases.sort_by_key(|bought| (bought.day, bought.entry));
        let mut cis_taken: Vec<_> =
            self.cis_taken.iter().filter(|taken| is_within(taken.day)).cloned().collect();
        cis_taken.sort_by(|one, other| (one.day, &one.number).cmp(&(other.day, &other.number)));
        let cis_month = (from.plus_days(5), from.plus_months(1).plus_days(4));
        let people = pay::pay_list_of(&self.facts, cis_month.0, cis_month.1).people;
        let kept_back = people.into_iter().filter(|pay| pay.cis != Pence::ZERO).map(|pay| CisKeptBack {
            earned: pay.labour.map(|labour| labour + pay.mileage),
            person: pay.name,
            kept_back: pay.cis,
        });
        Month { from, to, sales, purchases, cis_taken, cis_month, cis_kept_back: kept_back.collect() }
    }
}

/// The month of a day. Only the office's book knows sums; the crew's has no sales.
#[must_use]
pub fn month(book: &Book, of: Day) -> Month {
    All::of(book).month(month_of(of))
}

/// Every month in which anything was sold, bought or taken off, the latest first.
#[must_use]
pub fn months(book: &Book) -> Vec<Month> {
    let all = All::of(book);
    let sold = all.sales.iter().map(|sale| sale.day);
    let bought = all.purchases.iter().map(|bought| bought.day);
    let taken = all.cis_taken.iter().map(|taken| taken.day);
    let months: BTreeSet<_> = sold.chain(bought).chain(taken).map(month_of).collect();
    months.into_iter().rev().map(|month| all.month(month)).collect()
}

/// The papers of a job that stand.
fn sales(work: &JobWork) -> Vec<Sale> {
    let papers = work.papers.iter().filter(|paper| !paper.voided);
    let sale = papers.map(|paper| {
        let (document, totals) = (&paper.document, paper.document.totals);
        let sign = |sum: Pence| if paper.credits.is_some() { -sum } else { sum };
        let reversed = document.vat.iter().filter(|share| share.category == VatCategory::ReverseCharge);
        Sale {
            day: document.tax_point,
            number: billing::printed_number(document),
            self_billed: !document.self_billed_as.is_empty(),
            customer: document.customer.name.clone(),
            job: work.code.clone(),
            net: sign(totals.taxable),
            vat: sign(totals.vat_charged),
            reverse_charge_vat: sign(reversed.map(|share| share.vat_stated).sum()),
            cis_expected: sign(totals.cis),
        }
    });
    sale.collect()
}

fn purchases(facts: &Facts<'_>) -> Vec<Purchase> {
    let lists = &facts.lists;
    let found = facts.entries.iter().filter_map(|entry| {
        let (paid_by, photos, supplier, ticket) = match entry.body.as_ref() {
            Body::Bought(bought) => (bought.paid_by, &bought.photos, &bought.supplier, &bought.ticket),
            Body::Expense(expense) => (expense.paid_by, &expense.photos, &expense.supplier, &expense.ticket),
            _ => return None,
        };
        let paid = lists.paid.get(&entry.entry_ref());
        Some(Purchase {
            day: entry.act.done_on,
            entry: entry.entry_ref(),
            what: words::with_note(&words::told(lists, facts.book, &entry.body), &entry.act.note),
            supplier: supplier.clone(),
            ticket: ticket.clone(),
            paid_by,
            net: paid.map(|paid| paid.net),
            vat: paid.map(|paid| paid.vat),
            photos: photos.clone(),
        })
    });
    found.chain(hires(facts)).collect()
}

/// What was hired and went back, on the day it did.
fn hires(facts: &Facts<'_>) -> Vec<Purchase> {
    let bought = pay::hires_of(facts).into_iter().map(|hire| Purchase {
        day: hire.to,
        entry: hire.entry,
        what: format!("hire of {}", hire.what),
        supplier: hire.supplier.clone(),
        ticket: String::new(),
        paid_by: PaidBy::Account,
        net: hire.paid.map(|paid| hire.cost(paid.net, paid.minimum)),
        vat: hire.paid.map(|paid| hire.vat(paid)),
        photos: Vec::new(),
    });
    bought.collect()
}

fn cis_taken(facts: &Facts<'_>, works: &[JobWork]) -> Vec<CisTaken> {
    let found = facts.entries.iter().filter_map(|entry| {
        let Body::PaymentReceived(paid) = entry.body.as_ref() else { return None };
        let work = works.iter().find(|work| work.job == paid.job);
        let paper = paid
            .invoice
            .and_then(|invoice| work?.papers.iter().find(|paper| paper.document.invoice == invoice));
        (paid.cis_taken != Pence::ZERO).then(|| CisTaken {
            day: entry.act.done_on,
            number: paper.map_or_else(String::new, |paper| billing::printed_number(&paper.document)),
            customer: work.map_or_else(String::new, |work| work.customer.clone()),
            taken: paid.cis_taken,
        })
    });
    found.collect()
}

/// How something was paid for, in words.
#[must_use]
pub const fn paid_by(paid_by: PaidBy) -> &'static str {
    match paid_by {
        PaidBy::Account => "on account",
        PaidBy::Card => "card",
        PaidBy::OwnPocket => "own pocket",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_month_is_as_long_as_it_is_and_its_tax_month_goes_from_the_6th_to_the_5th() {
        let day = |text: &str| text.parse::<Day>().unwrap();
        assert_eq!(month_of(day("2028-02-29")), (day("2028-02-01"), day("2028-02-29")));
        assert_eq!(month_of(day("2026-12-01")), (day("2026-12-01"), day("2026-12-31")));
        // gov.uk, what you must do as a CIS contractor: a payment on 20 May is of the month 6 May to 5 June.
        let book = Book::new(ledger::Audience::Office);
        let may = month(&book, day("2026-05-20"));
        assert_eq!(may.cis_month, (day("2026-05-06"), day("2026-06-05")));
    }
}
