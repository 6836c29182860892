//! What came in and is owed, what could be claimed for paying late, and what is to be paid out.

use ledger::office::{CustomerKind, PaymentReceived};
use ledger::{Audience, Body, Payload, PersonId};
use projections::billing::{self, JobWork, Owed};
use projections::pay::{self, PayList};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use trade::{Day, Pence, Rate};

use crate::error::{NodeError, has_come};
use crate::invoices::{list, paper, work_of, works};
use crate::node::{Node, Write};

/// What closes an invoice: what came in, and what was taken off.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Received {
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
    /// The day on which it came; today without one.
    #[serde(default)]
    pub on: Option<Day>,
    /// It is right that this is more than is owed.
    #[serde(default)]
    pub over: bool,
}

/// Records a payment on an invoice.
pub(crate) fn pay(
    node: &mut Node,
    author: PersonId,
    number: &str,
    paid: Received,
    today: Day,
) -> Result<Value, NodeError> {
    let works = works(node);
    let (work, owed) = invoice(node, &works, number, today)?;
    check(work, &owed, &paid)?;
    let Received { received, cis_taken, discount, contra, method, on, over: _ } = paid;
    has_come("--on", on, today)?;
    let (job, invoice) = (work.job, Some(owed.invoice));
    let body = PaymentReceived { job, invoice, received, cis_taken, discount, contra, method };
    let mut act = node.act(author)?;
    act.done_on = on.unwrap_or(act.done_on);
    let payload = Payload { act, body: Body::PaymentReceived(body) };
    node.append(&[Write { audience: Audience::Office, payload }])?;
    Ok(list(node))
}

/// What can't be a payment on this invoice is refused; nothing is written.
fn check(work: &JobWork, owed: &Owed, paid: &Received) -> Result<(), NodeError> {
    let sums = [paid.received, paid.cis_taken, paid.discount, paid.contra];
    let sum: Pence = sums.iter().copied().sum();
    if sums.iter().any(|sum| *sum < Pence::ZERO) || sum == Pence::ZERO {
        return Err(NodeError::bad_input(
            "a payment is more than nought, and no part of it below; cross a wrong one out by `fivebar undo`",
        ));
    }
    if work.terms.customer_kind == CustomerKind::Householder && paid.cis_taken != Pence::ZERO {
        return Err(NodeError::bad_input(format!(
            "{} is a householder, who never takes CIS off; leave --cis-taken out",
            owed.customer
        )));
    }
    if sum > owed.owed && !paid.over {
        return Err(NodeError::bad_input(format!(
            "invoice {} has {} still owed, and this comes to {sum}. If it was recorded before, it is there already \
             (`fivebar invoice list`); if they paid too much, add --over",
            owed.number, owed.owed
        )));
    }
    Ok(())
}

/// The invoice with this number or key that stands, with what is owed on it.
fn invoice<'w>(
    node: &Node,
    works: &'w [JobWork],
    number: &str,
    today: Day,
) -> Result<(&'w JobWork, Owed), NodeError> {
    let (work, paper) = paper(works, number)?;
    let mut rows = billing::owed(node.book(), works, today).into_iter();
    let owed = rows.find(|owed| owed.invoice == paper.document.invoice);
    owed.map(|owed| (work, owed)).ok_or_else(|| {
        NodeError::bad_input(format!(
            "there is no invoice {number} that stands; `fivebar invoice list` shows those there are"
        ))
    })
}

/// What is owed, invoice by invoice and by age; and apart from that what was applied for and no invoice bills yet.
pub(crate) fn owed(node: &Node, today: Day) -> Value {
    let works = &works(node);
    let rows = billing::owed(node.book(), works, today);
    let rows: Vec<Owed> = rows.into_iter().filter(|row| row.owed != Pence::ZERO).collect();
    let ages: Vec<Value> = billing::by_age(&rows)
        .into_iter()
        .map(|(age, sum)| json!({ "age": age, "words": age.words(), "owed": sum }))
        .collect();
    let sum: Pence = rows.iter().map(|row| row.owed).sum();
    let applied = billing::applied_for(works, today);
    let applied_sum: Pence = applied.iter().map(billing::ApplicationStand::open).sum();
    json!({ "today": today, "owed": rows, "by_age": ages, "sum": sum, "applied_for": applied,
        "applied_sum": applied_sum })
}

/// A job's account with its customer.
pub(crate) fn statement(node: &Node, code: &str, today: Day) -> Result<Value, NodeError> {
    let works = works(node);
    let work = work_of(&works, code)?;
    let lines = billing::statement(node.book(), work);
    let balance = lines.last().map_or(Pence::ZERO, |line| line.balance);
    Ok(json!({ "job": code, "customer": work.customer, "today": today, "lines": lines, "balance": balance,
        "held_back": billing::still_held(work) }))
}

/// What could be claimed for an invoice that a business pays late. Claims nothing.
pub(crate) fn late(
    node: &Node,
    number: &str,
    base_rate: Option<Rate>,
    today: Day,
) -> Result<Value, NodeError> {
    let works = works(node);
    let (work, owed) = invoice(node, &works, number, today)?;
    let claim = billing::late_claim(work, &owed, today, base_rate).map_err(NodeError::refused)?;
    Ok(json!({ "number": number, "customer": owed.customer, "owed": owed.owed, "due_on": owed.due_on,
        "days_late": claim.days_late, "percent": claim.percent, "interest": claim.interest,
        "fixed_sum": claim.fixed_sum, "sum": claim.interest + claim.fixed_sum }))
}

/// What is to be paid out for the week of a day.
pub(crate) fn pay_list(node: &Node, of: Day) -> Result<Value, NodeError> {
    Ok(json!(pay_list_of(node, of)?))
}

/// The same, for a paper.
pub(crate) fn pay_list_of(node: &Node, of: Day) -> Result<PayList, NodeError> {
    if !node.is_office() {
        return Err(NodeError::bad_input(
            "rates and sums are kept on the office's devices, and this is none",
        ));
    }
    let monday = of.plus_days(-i32::from(of.date().weekday().to_monday_zero_offset()));
    Ok(pay::pay_list(node.book(), monday, monday.plus_days(6)))
}
