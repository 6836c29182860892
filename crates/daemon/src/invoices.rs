//! Issuing invoices, recording what was paid on them, and saying what is still owed.

use std::collections::BTreeMap;

use ledger::{Audience, Body, InvoiceId, Payload, PersonId, Unreadable, office};
use projections::billing::{self, JobWork, PaperDates, PaperNumber};
use serde_json::{Value, json};
use trade::{Day, Pence};

use crate::error::NodeError;
use crate::node::{Node, Write, random};

fn works(node: &Node) -> Vec<JobWork> {
    billing::job_works(node.book(), &node.book().lists())
}

/// What is to bill, job by job.
pub(crate) fn previews(node: &Node, until: Option<Day>, job: Option<&str>) -> Result<Value, NodeError> {
    let mut works = works(node);
    if let Some(code) = job {
        works.retain(|work| work.code == code);
        if works.is_empty() {
            return Err(no_job(code));
        }
    }
    Ok(json!({ "invoices": billing::previews(&works, until) }))
}

/// Issues the invoice of a job: gives it the next number and fixes all that it prints.
pub(crate) fn issue(
    node: &mut Node,
    author: PersonId,
    code: &str,
    until: Option<Day>,
    today: Day,
) -> Result<Value, NodeError> {
    update_first(node)?;
    let works = works(node);
    let work = works.iter().find(|work| work.code == code).ok_or_else(|| no_job(code))?;
    let until = until.unwrap_or(today);
    let preview = billing::preview(work, Some(until)).ok_or_else(|| {
        NodeError::bad_input(format!("nothing to bill on {code} up to {until}; no number was used"))
    })?;
    let papers = || works.iter().flat_map(|work| &work.papers).map(|paper| &paper.document);
    let number = work.firm.as_ref().map_or(1, |firm| billing::next_number(firm, "", papers()));
    let number = PaperNumber { invoice: InvoiceId(random()?), series: String::new(), number };
    let dates = PaperDates { today, issued_on: today, tax_point: today };
    let document = billing::issue(work, &preview, number, dates)
        .map_err(|refusal| NodeError::bad_input(refusal.to_string()))?;
    let answer = json!({ "document": document });
    let act = node.act(author)?;
    let body = Body::InvoiceIssued(office::InvoiceIssued { document: Box::new(document) });
    node.append(&[Write { audience: Audience::Office, payload: Payload { act, body } }])?;
    Ok(answer)
}

/// Refuses to bill while there is an event of a kind that only a newer program reads: it may change what
/// is to bill, and what is issued stays issued.
fn update_first(node: &Node) -> Result<(), NodeError> {
    let newer = node.book().unreadable().filter(|(_, event)| event.reason == Unreadable::UnknownKind).count();
    if newer == 0 {
        return Ok(());
    }
    Err(NodeError::bad_input(format!(
        "entries held here that a newer fivebar wrote: {newer}. They may change what is to bill. Update this \
         fivebar first; no number was used"
    )))
}

/// The invoices and credit notes, with what came in on each.
pub(crate) fn list(node: &Node) -> Value {
    let mut closed: BTreeMap<InvoiceId, Pence> = BTreeMap::new();
    for entry in node.book().entries() {
        if let Body::PaymentReceived(paid) = &*entry.body
            && let Some(invoice) = paid.invoice
        {
            let sum = paid.received + paid.cis_taken + paid.discount + paid.contra;
            *closed.entry(invoice).or_default() += sum;
        }
    }
    let works = works(node);
    let mut rows: Vec<_> = works
        .iter()
        .flat_map(|work| work.papers.iter().map(move |paper| (work, paper)))
        .map(|(work, paper)| {
            let (document, totals) = (&paper.document, paper.document.totals);
            let sign = |sum: Pence| if paper.credits.is_some() { -sum } else { sum };
            let due = if paper.voided { Pence::ZERO } else { sign(totals.total) };
            let paid = closed.get(&document.invoice).copied().unwrap_or_default();
            let row = json!({
                "number": billing::printed_number(document), "invoice": document.invoice, "job": work.code,
                "issued_on": document.issued_on, "due_on": document.due_on, "total": sign(totals.total),
                "to_pay": sign(totals.to_pay), "paid": paid, "owed": due - paid, "voided": paper.voided,
                "credits": paper.credits,
            });
            ((document.series.clone(), document.number), row)
        })
        .collect();
    rows.sort_by(|(one, _), (other, _)| one.cmp(other));
    json!({ "invoices": rows.into_iter().map(|(_, row)| row).collect::<Vec<_>>() })
}

/// What a payment was made of.
pub(crate) struct Paid {
    pub(crate) received: Pence,
    pub(crate) cis_taken: Pence,
    pub(crate) method: String,
}

/// Records a payment on an invoice.
pub(crate) fn pay(node: &mut Node, author: PersonId, number: &str, paid: Paid) -> Result<Value, NodeError> {
    let works = works(node);
    let mut papers = works.iter().flat_map(|work| &work.papers);
    let paper = papers.find(|paper| billing::printed_number(&paper.document) == number).ok_or_else(|| {
        NodeError::bad_input(format!(
            "there is no invoice {number}; `fivebar invoice list` shows those there are"
        ))
    })?;
    let Paid { received, cis_taken, method } = paid;
    let body = Body::PaymentReceived(office::PaymentReceived {
        job: paper.document.job,
        invoice: Some(paper.document.invoice),
        received,
        cis_taken,
        discount: Pence::ZERO,
        contra: Pence::ZERO,
        method,
    });
    let act = node.act(author)?;
    node.append(&[Write { audience: Audience::Office, payload: Payload { act, body } }])?;
    Ok(list(node))
}

fn no_job(code: &str) -> NodeError {
    NodeError::bad_input(format!(
        "no job {code:?} with terms on this device; bills are made on a device that reads the office's lists"
    ))
}
