//! Papers that are set aside: issued beyond the cut of their device, or behind a fork.
//!
//! One that went out is taken on: it counts as the same paper under the same number. Where something speaks against
//! that, it is not guessed what the customer holds: a person is told what it is.

use std::collections::BTreeSet;
use std::fmt;

use ledger::office::{BillableUnit, ClaimRef, Document};
use ledger::sabotage::Fault;
use ledger::{Body, EventHash, InvoiceId};

use super::claims::Claims;
use super::credit::gives_back_more_than_is_left;
use super::issue::printed_number;
use super::names::paper_key;
use super::work::JobWork;
use crate::book::Logged;

/// A paper, as the event says that issued it or took it on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PaperOf<'b> {
    /// The event that issued it.
    pub event: EventHash,
    /// All that it prints.
    pub document: &'b Document,
    /// For a credit note: the invoice that it reduces.
    pub credits: Option<InvoiceId>,
}

/// The paper that an event issues, records or takes on.
#[must_use]
pub fn paper_of(logged: &Logged) -> Option<PaperOf<'_>> {
    let (event, document, credits) = match &logged.body {
        Body::InvoiceIssued(issued) => (logged.hash, &issued.document, None),
        Body::InvoiceCredited(credited) => (logged.hash, &credited.document, Some(credited.of)),
        Body::InvoiceSelfBilled(billed) => (logged.hash, &billed.document, None),
        Body::InvoiceAdopted(adopted) => (adopted.event, &adopted.document, None),
        Body::CreditAdopted(adopted) => (adopted.event, &adopted.document, Some(adopted.of)),
        _ => return None,
    };
    let event = if Fault::AdoptAsAnother.is_set() { logged.hash } else { event };
    Some(PaperOf { event, document, credits })
}

impl PaperOf<'_> {
    /// Whether it can be taken on at all. What a customer issued is recorded anew.
    #[must_use]
    pub fn is_own(&self) -> bool {
        self.document.self_billed_as.is_empty()
    }
}

/// What speaks against taking a paper on. It says what to do about it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Obstacle {
    /// Another paper has its number.
    NumberTaken,
    /// Its invoice is set aside as well, and has this key.
    InvoiceSetAside(String),
    /// Its invoice was made void.
    InvoiceVoid,
    /// Its invoice is not held.
    InvoiceNotHere,
    /// Credit notes with these numbers gave back the same.
    GivenBack(Vec<String>),
    /// Less than it gives back is left of its invoice.
    MoreThanIsLeft,
}

impl fmt::Display for Obstacle {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NumberTaken => f.write_str(
                "another paper with its number counts already, and one number stands on one paper. Issue it anew, and \
                 tell the customer that the new one takes its place",
            ),
            Self::InvoiceSetAside(key) => write!(
                f,
                "its invoice is set aside, too. If that one went out, take it on first: `fivebar invoice adopt {key}`"
            ),
            Self::InvoiceVoid => f.write_str(
                "its invoice was made void, so there is nothing to give back. Tell the customer that neither of the two \
                 counts",
            ),
            Self::InvoiceNotHere => f.write_str(
                "its invoice is not on this device. Let this device meet the others first",
            ),
            Self::GivenBack(numbers) => write!(
                f,
                "{} gave back the same. Tell the customer which of them takes its place; or make that one void if it \
                 never went out (`fivebar invoice void {} WHY`), and take this one on",
                numbers.join(" and "),
                numbers.first().map_or("NUMBER", String::as_str)
            ),
            Self::MoreThanIsLeft => f.write_str(
                "less than it gives back is left of its invoice. Agree with the customer which of the credit notes on it \
                 hold, and make void what does not (`fivebar invoice void NUMBER WHY`)",
            ),
        }
    }
}

/// The invoice with this id, if it is among what is set aside.
#[must_use]
pub fn invoice_aside<'b>(waiting: &[&'b Logged], invoice: InvoiceId) -> Option<PaperOf<'b>> {
    let mut papers = waiting.iter().filter_map(|logged| paper_of(logged));
    papers.find(|paper| paper.credits.is_none() && paper.document.invoice == invoice)
}

/// What speaks against taking a paper on, where these events wait, set aside.
#[must_use]
pub fn obstacle(works: &[JobWork], waiting: &[&Logged], paper: &PaperOf<'_>) -> Option<Obstacle> {
    let number = printed_number(paper.document);
    // A number that was made void stands on a paper that never went out.
    let mut others = works.iter().flat_map(|work| &work.papers).filter(|other| !other.voided);
    if others.any(|other| other.event != paper.event && printed_number(&other.document) == number) {
        return Some(Obstacle::NumberTaken);
    }
    let of = paper.credits?;
    let work = works.iter().find(|work| work.job == paper.document.job);
    let known = work.and_then(|work| {
        let invoice =
            work.papers.iter().find(|other| other.credits.is_none() && other.document.invoice == of)?;
        Some((work, invoice.voided))
    });
    match known {
        None => {
            let invoice = invoice_aside(waiting, of);
            Some(invoice.map_or(Obstacle::InvoiceNotHere, |invoice| {
                Obstacle::InvoiceSetAside(paper_key(invoice.document))
            }))
        }
        Some((_, true)) => Some(Obstacle::InvoiceVoid),
        Some((work, false)) => credited_otherwise(work, of, paper.document),
    }
}

/// Whether what a credit note gives back was given back by others, or can't be any more.
fn credited_otherwise(work: &JobWork, of: InvoiceId, document: &Document) -> Option<Obstacle> {
    let claims = Claims::of(work);
    let follows = |document: &Document| -> BTreeSet<(BillableUnit, Option<ClaimRef>)> {
        let made = document.lines.iter().flat_map(|line| &line.claims);
        made.map(|claim| (claim.unit, claim.follows)).collect()
    };
    let own = follows(document);
    let rivals = claims.papers.iter().filter(|paper| paper.credits.is_some());
    let rivals = rivals.filter(|paper| !follows(&paper.document).is_disjoint(&own));
    let numbers: Vec<String> = rivals.map(|paper| printed_number(&paper.document)).collect();
    if !numbers.is_empty() {
        return Some(Obstacle::GivenBack(numbers));
    }
    gives_back_more_than_is_left(&claims, of, document).then_some(Obstacle::MoreThanIsLeft)
}
