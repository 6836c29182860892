//! What a paper is called: its number, and where two have one number, its key.
//!
//! Every number is given once, and yet two papers may have one: a device that was set back gave it again, and both
//! went out. A paper must have a number that it alone has (VAT Regulations 1995, SI 1995/2518, reg. 14(1)(a)), so a person
//! is asked which of them is made anew.

use std::collections::BTreeMap;

use ledger::InvoiceId;
use ledger::office::Document;
use ledger::sabotage::Fault;

use super::credit::whole_credit;
use super::issue::printed_number;
use super::work::{IssuedPaper, JobWork};

/// So much of a paper's id at least names it, so that no number is taken for one.
const SHORTEST_KEY: usize = 8;

/// What tells a paper from every other, whatever its number: the beginning of its id.
#[must_use]
pub fn paper_key(document: &Document) -> String {
    document.invoice.short()
}

/// Whether a paper is meant by its number, or by its id from the beginning.
#[must_use]
pub fn is_called(document: &Document, wanted: &str) -> bool {
    printed_number(document) == wanted || is_key_of(document.invoice, wanted)
}

fn is_key_of(paper: InvoiceId, wanted: &str) -> bool {
    wanted.len() >= SHORTEST_KEY && paper.to_string().starts_with(wanted)
}

/// The papers that are meant. Where some have the number, no other is meant by it.
#[must_use]
pub fn called<'w>(works: &'w [JobWork], wanted: &str) -> Vec<(&'w JobWork, &'w IssuedPaper)> {
    let all = || works.iter().flat_map(|work| work.papers.iter().map(move |paper| (work, paper)));
    let by_number: Vec<_> = all().filter(|(_, paper)| printed_number(&paper.document) == wanted).collect();
    if by_number.is_empty() {
        return all().filter(|(_, paper)| is_key_of(paper.document.invoice, wanted)).collect();
    }
    by_number
}

/// What a paper is to be called so that no other is meant: its number, or where another has that, too, its key.
#[must_use]
pub fn unmistakable(works: &[JobWork], paper: InvoiceId, number: &str) -> String {
    let standing = called(works, number).into_iter().filter(|(_, other)| !other.voided).count();
    if standing > 1 { paper.short() } else { number.to_owned() }
}

/// A paper in a few words: "invoice 43 of 2026-07-08 over 244.80 to J. Marrable".
#[must_use]
pub fn in_words(document: &Document, credits: Option<InvoiceId>) -> String {
    let kind = if credits.is_some() { "credit note" } else { "invoice" };
    format!(
        "{kind} {} of {} over {} to {}",
        printed_number(document),
        document.issued_on,
        document.totals.total,
        document.customer.name
    )
}

/// The numbers of the crew's own that more than one paper has, each with those papers. One that stands for nothing is
/// none of them: it was made void, or all of it was given back.
#[must_use]
pub fn numbers_twice(works: &[JobWork]) -> Vec<(String, Vec<(&JobWork, &IssuedPaper)>)> {
    let mut by_number: BTreeMap<String, Vec<(&JobWork, &IssuedPaper)>> = BTreeMap::new();
    for work in works {
        let own =
            work.papers.iter().filter(|paper| !paper.voided && paper.document.self_billed_as.is_empty());
        for paper in own {
            by_number.entry(printed_number(&paper.document)).or_default().push((work, paper));
        }
    }
    by_number.retain(|_, papers| papers.len() > 1 && !Fault::HideSharedNumbers.is_set());
    for papers in by_number.values_mut() {
        papers.retain(|(work, paper)| {
            paper.credits.is_some() || whole_credit(work, paper.document.invoice).is_some()
        });
        papers.sort_by_key(|(_, paper)| (paper.document.issued_on, paper.event));
    }
    by_number.into_iter().filter(|(_, papers)| papers.len() > 1).collect()
}
