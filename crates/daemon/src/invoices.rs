//! Issuing invoices and deposits, crediting, voiding and adopting them.

use std::collections::{BTreeMap, BTreeSet};

use ledger::office::{BillableUnit, Document};
use ledger::sabotage::Fault;
use ledger::{Audience, Body, InvoiceId, Payload, PersonId, Unreadable, office};
use projections::billing::{self, IssuedPaper, JobWork, PaperDates, PaperNumber, PaperOf, Wish};
use serde_json::{Value, json};
use trade::{Day, Pence};

use crate::error::{NodeError, has_come};
use crate::node::{Node, Write};
use crate::series;

pub(crate) fn works(node: &Node) -> Vec<JobWork> {
    billing::job_works(node.book(), &node.book().lists())
}

/// What is to bill, job by job, and what is to give back. An extra that nobody said yes to is only in it
/// where it is named.
pub(crate) fn previews(
    node: &Node,
    until: Option<Day>,
    job: Option<&str>,
    with_extra: &[String],
    today: Day,
) -> Result<Value, NodeError> {
    let mut works = works(node);
    if let Some(code) = job {
        works.retain(|work| work.code == code);
        if works.is_empty() {
            return Err(no_job(code));
        }
    } else if !with_extra.is_empty() {
        return Err(NodeError::bad_input("--with-extra: say of which job by --job"));
    }
    let mut previews = Vec::new();
    for work in &works {
        let named = extras_called(work, with_extra)?;
        let wish = Wish { until, tax_point: Some(today), named, certified: None };
        previews.extend(billing::preview_of(work, &wish));
    }
    let prompts = works.iter().filter(|work| previews.iter().any(|preview| preview.job == work.code));
    let prompts = prompts.flat_map(|work| {
        let own = billing::prompts(work, today).into_iter();
        own.map(|text| json!({ "job": work.code, "text": text }))
    });
    let prompts: Vec<Value> = prompts.collect();
    Ok(json!({ "invoices": previews, "credits": credits(&works), "prompts": prompts }))
}

/// The extras by their names.
pub(crate) fn extras_called(work: &JobWork, names: &[String]) -> Result<BTreeSet<BillableUnit>, NodeError> {
    let called = |name: &String| billing::extra_called(work, name).map_err(NodeError::refused);
    names.iter().map(called).collect()
}

/// The credit notes that are proposed: something billed is worth less now.
fn credits(works: &[JobWork]) -> Vec<Value> {
    let of_job = |work: &JobWork| {
        let proposed = billing::proposed_credits(work).into_iter();
        proposed
            .map(|credit| {
                json!({ "job": work.code, "of_number": credit.of_number, "of_date": credit.of_date,
                    "lines": credit.lines, "totals": credit.totals })
            })
            .collect::<Vec<_>>()
    };
    works.iter().flat_map(of_job).collect()
}

/// Issues the invoice of a job: gives it the next number and fixes all that it prints.
pub(crate) fn issue(
    node: &mut Node,
    author: PersonId,
    code: &str,
    until: Option<Day>,
    with_extra: &[String],
    today: Day,
) -> Result<Value, NodeError> {
    update_first(node)?;
    let works = works(node);
    let work = work_of(&works, code)?;
    let until = until.unwrap_or(today);
    let tax_point = billing::tax_point(work, today, None);
    let named = extras_called(work, with_extra)?;
    let wish = Wish { until: Some(until), tax_point: Some(tax_point), named, certified: None };
    let preview = billing::preview_of(work, &wish).ok_or_else(|| {
        NodeError::bad_input(format!("nothing to bill on {code} up to {until}; no number was used"))
    })?;
    issue_as(node, author, (&works, work), &preview, PaperDates { today, issued_on: today, tax_point })
}

/// Gives a preview the next number, fixes all that it prints, and writes it.
pub(crate) fn issue_as(
    node: &mut Node,
    author: PersonId,
    (works, work): (&[JobWork], &JobWork),
    preview: &billing::Preview,
    dates: PaperDates,
) -> Result<Value, NodeError> {
    let document =
        billing::issue(work, preview, next_number(node, works)?, dates).map_err(NodeError::refused)?;
    let answer = json!({ "document": document });
    let document = Box::new(document);
    write(node, author, String::new(), Body::InvoiceIssued(office::InvoiceIssued { document }))?;
    Ok(answer)
}

/// Issues the invoice of the deposit that was asked for on a job.
pub(crate) fn issue_deposit(
    node: &mut Node,
    author: PersonId,
    code: &str,
    paid_on: Option<Day>,
    today: Day,
) -> Result<Value, NodeError> {
    update_first(node)?;
    has_come("--paid-on", paid_on, today)?;
    let works = works(node);
    let work = work_of(&works, code)?;
    let tax_point = paid_on.map_or(today, |paid_on| paid_on.min(today));
    let preview = billing::deposit_preview(work, tax_point).map_err(NodeError::refused)?;
    issue_as(node, author, (&works, work), &preview, PaperDates { today, issued_on: today, tax_point })
}

/// Refuses to bill while there is an event of a kind that only a newer program reads: it may change what
/// is to bill, and what is issued stays issued.
pub(crate) fn update_first(node: &Node) -> Result<(), NodeError> {
    let newer = node.book().unreadable().filter(|(_, event)| event.reason == Unreadable::UnknownKind).count();
    if newer == 0 || Fault::BillPastLaterEvents.is_set() {
        return Ok(());
    }
    Err(NodeError::bad_input(format!(
        "entries held here that a newer fivebar wrote: {newer}. They may change what is to bill. Update this \
         fivebar first; no number was used"
    )))
}

/// The invoices and credit notes, with what came in on each.
pub(crate) fn list(node: &Node) -> Value {
    let closed = closed(node);
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
                "number": billing::printed_number(document), "invoice": document.invoice,
                "key": billing::paper_key(document), "job": work.code,
                "issued_on": document.issued_on, "due_on": document.due_on, "total": sign(totals.total),
                "to_pay": sign(totals.to_pay), "paid": paid, "owed": due - paid, "voided": paper.voided,
                "credits": paper.credits, "self_billed": !document.self_billed_as.is_empty(),
            });
            ((document.self_billed_as.clone(), document.series.clone(), document.number), row)
        })
        .collect();
    rows.sort_by(|(one, _), (other, _)| one.cmp(other));
    json!({ "invoices": rows.into_iter().map(|(_, row)| row).collect::<Vec<_>>() })
}

/// The number of the next paper, in the series of this device's chain. Invoices and credit notes share one series, so
/// that no number is missing.
pub(crate) fn next_number(node: &mut Node, works: &[JobWork]) -> Result<PaperNumber, NodeError> {
    let series = series::own(node)?;
    let papers = || works.iter().flat_map(|work| &work.papers).map(|paper| &paper.document);
    let firm = works.iter().find_map(|work| work.firm.as_ref());
    let number = firm.map_or(1, |firm| billing::next_number(firm, &series, papers()));
    Ok(PaperNumber { invoice: InvoiceId(node.machine().random()?), series, number })
}

/// The paper with this number or key, with its job.
pub(crate) fn paper<'w>(
    works: &'w [JobWork],
    number: &str,
) -> Result<(&'w JobWork, &'w IssuedPaper), NodeError> {
    let found = billing::called(works, number);
    // A number that was made void may have been given or recorded anew.
    let standing: Vec<_> = found.iter().filter(|(_, paper)| !paper.voided).collect();
    match (&standing[..], found.first()) {
        ([one], _) => Ok(**one),
        ([], Some(void)) => Ok(*void),
        ([], None) => Err(NodeError::bad_input(format!(
            "there is no invoice {number}; `fivebar invoice list` shows those there are"
        ))),
        _ => {
            let papers: Vec<_> = standing.iter().map(|(_, paper)| (&paper.document, paper.credits)).collect();
            Err(which_one(number, &papers, "went out"))
        }
    }
}

/// What closes each invoice so far.
fn closed(node: &Node) -> BTreeMap<InvoiceId, Pence> {
    let mut closed: BTreeMap<InvoiceId, Pence> = BTreeMap::new();
    for entry in node.book().entries() {
        if let Body::PaymentReceived(paid) = &*entry.body
            && let Some(invoice) = paid.invoice
        {
            let sum = paid.received + paid.cis_taken + paid.discount + paid.contra;
            *closed.entry(invoice).or_default() += sum;
        }
    }
    closed
}

fn write(node: &mut Node, author: PersonId, note: String, body: Body) -> Result<(), NodeError> {
    let mut act = node.act(author)?;
    act.note = note;
    node.append(&[Write { audience: Audience::Office, payload: Payload { act, body } }])?;
    Ok(())
}

/// Issues the credit note that is proposed on an invoice, or one over all that is left of it.
pub(crate) fn credit(
    node: &mut Node,
    author: PersonId,
    number: &str,
    whole: bool,
    today: Day,
) -> Result<Value, NodeError> {
    update_first(node)?;
    let works = works(node);
    let (work, paper) = paper(&works, number)?;
    if !paper.document.self_billed_as.is_empty() {
        return Err(NodeError::bad_input(format!(
            "the customer issued {number}, so the credit note on it is theirs to issue too: ask them, and record it by \
             `fivebar invoice credit {number} --theirs NUMBER`"
        )));
    }
    let proposed = proposed_credit(work, paper, number, whole)?;
    let dates = PaperDates { today, issued_on: today, tax_point: today };
    let credited = billing::credit_note(work, &proposed, next_number(node, &works)?, dates)
        .map_err(NodeError::refused)?;
    let answer = json!({ "of_number": proposed.of_number, "of_date": proposed.of_date,
        "document": credited.document });
    write(node, author, String::new(), Body::InvoiceCredited(credited))?;
    Ok(answer)
}

/// What is to give back on an invoice: what is proposed, or all that is left of it.
pub(crate) fn proposed_credit(
    work: &JobWork,
    paper: &IssuedPaper,
    number: &str,
    whole: bool,
) -> Result<billing::ProposedCredit, NodeError> {
    let invoice = paper.document.invoice;
    if paper.credits.is_some() || paper.voided {
        return Err(NodeError::bad_input(format!(
            "{number} bills nothing: it is a credit note, or it was made void"
        )));
    }
    let proposed = if whole {
        billing::whole_credit(work, invoice)
    } else {
        billing::proposed_credits(work).into_iter().find(|credit| credit.of == invoice)
    };
    proposed.ok_or_else(|| {
        NodeError::bad_input(if whole {
            format!("nothing is left of invoice {number} to give back; no number was used")
        } else {
            format!(
                "nothing that invoice {number} bills is worth less now; no number was used. If the invoice was \
                 wrong as a whole, add --whole"
            )
        })
    })
}

/// Makes an issued number stand for nothing.
pub(crate) fn void(
    node: &mut Node,
    author: PersonId,
    number: &str,
    reason: String,
) -> Result<Value, NodeError> {
    if reason.trim().is_empty() {
        return Err(NodeError::bad_input("say why the number is made void; that stays beside it"));
    }
    let works = works(node);
    let (work, paper) = paper(&works, number)?;
    let invoice = paper.document.invoice;
    let refuse = |why: &str| Err(NodeError::bad_input(format!("{number} is not made void: {why}")));
    if paper.voided {
        return refuse("it is void already");
    }
    if work.papers.iter().any(|credit| credit.credits == Some(invoice) && !credit.voided) {
        return refuse("a credit note reduces it; `fivebar invoice credit --whole` gives back the rest");
    }
    if closed(node).get(&invoice).is_some_and(|sum| *sum != Pence::ZERO) {
        return refuse("something was paid on it; give it back by `fivebar invoice credit --whole`");
    }
    write(node, author, reason, Body::InvoiceVoided(office::InvoiceVoided { invoice }))?;
    Ok(list(node))
}

/// Takes a paper for the crew's own that a device issued beyond its cut, or behind a fork: it counts as the same paper.
pub(crate) fn adopt(node: &mut Node, author: PersonId, wanted: &str) -> Result<Value, NodeError> {
    if !node.is_office() {
        return Err(NodeError::bad_input("papers are kept on the office's devices, and this is none"));
    }
    let works = works(node);
    let waiting = projections::set_aside(node.book());
    let papers = waiting.iter().filter_map(|logged| billing::paper_of(logged));
    let found: Vec<PaperOf<'_>> =
        papers.filter(|paper| paper.is_own() && billing::is_called(paper.document, wanted)).collect();
    let paper = match found[..] {
        [paper] => paper,
        [] => return Err(NodeError::bad_input(nothing_to_adopt(&works, wanted))),
        _ => {
            let papers: Vec<_> = found.iter().map(|paper| (paper.document, paper.credits)).collect();
            return Err(which_one(wanted, &papers, "are set aside"));
        }
    };
    if let Some(obstacle) = billing::obstacle(&works, &waiting, &paper) {
        return Err(NodeError::bad_input(format!("{wanted} is not taken on: {obstacle}")));
    }
    let (event, document) = (paper.event, Box::new(paper.document.clone()));
    let body = match paper.credits {
        None => Body::InvoiceAdopted(office::InvoiceAdopted { invoice: document.invoice, event, document }),
        Some(of) => Body::CreditAdopted(office::CreditAdopted { of, event, document }),
    };
    write(node, author, String::new(), body)?;
    Ok(list(node))
}

fn nothing_to_adopt(works: &[JobWork], wanted: &str) -> String {
    if billing::called(works, wanted).iter().any(|(_, paper)| !paper.voided) {
        return format!("{wanted} is the crew's own already");
    }
    format!("no paper {wanted} is set aside: `fivebar set-aside` lists those that are")
}

/// Asks which of several papers is meant, by their keys.
fn which_one(wanted: &str, papers: &[(&Document, Option<InvoiceId>)], which: &str) -> NodeError {
    let named = papers.iter().map(|(document, credits)| {
        format!("{} for the {}", billing::paper_key(document), billing::in_words(document, *credits))
    });
    let named: Vec<_> = named.collect();
    let count = papers.len();
    NodeError::bad_input(format!(
        "{count} papers {wanted} {which}. Say which by its key: {}",
        named.join("; ")
    ))
}

/// Notes that a deposit was asked for.
pub(crate) fn ask_deposit(
    node: &mut Node,
    author: PersonId,
    code: &str,
    amount: Pence,
) -> Result<Value, NodeError> {
    if amount <= Pence::ZERO {
        return Err(NodeError::bad_input("a deposit is more than nought"));
    }
    let works = works(node);
    let work = work_of(&works, code)?;
    billing::may_ask_deposit(work).map_err(NodeError::refused)?;
    let job = work.job;
    write(node, author, String::new(), Body::DepositAsked(office::DepositAsked { job, amount }))?;
    Ok(json!({ "job": code, "amount": amount }))
}

/// The job of this code.
pub(crate) fn work_of<'w>(works: &'w [JobWork], code: &str) -> Result<&'w JobWork, NodeError> {
    works.iter().find(|work| work.code == code).ok_or_else(|| no_job(code))
}

pub(crate) fn no_job(code: &str) -> NodeError {
    NodeError::bad_input(format!(
        "no job {code:?} with terms on this device; bills are made on a device that reads the office's lists"
    ))
}
