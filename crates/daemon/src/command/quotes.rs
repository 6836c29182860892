//! Quotes: versions that were given, the one that the customer accepted, and the points at which it is paid.
//!
//! The points of a quote come to its price with the agreed extras and less what was left out, to the penny;
//! points that don't are not saved. Nothing here bills a point.

use ledger::office::{PaymentPointSet, QuoteAgreed, QuoteGiven};
use ledger::site::{JobListed, SaidHow, Struck};
use ledger::{Audience, Body, EntryRef, JobId, Payload, PersonId, PointId, QuoteId};
use projections::quotes::{self, standing_quote, versions};
use projections::{Lists, agreed_extras};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use trade::{Day, Pence};

use super::{named, office};
use crate::error::NodeError;
use crate::node::{Node, Write};

/// What can be done with the quotes of a job.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "quote", rename_all = "snake_case")]
pub enum QuoteCommand {
    /// Notes a version as it was given to the customer.
    Give(QuoteWish),
    /// Notes that the customer accepted a version.
    Agree {
        /// The job.
        job: String,
        /// The version; the last without one.
        version: Option<u16>,
        /// Who said yes.
        by: String,
        /// How.
        how: SaidHow,
        /// When; today without one.
        on: Option<Day>,
    },
    /// Sets all payment points of the quote, in their order.
    Points {
        /// The job.
        job: String,
        /// The points.
        points: Vec<PointWish>,
    },
    /// The versions, the extras and the points of a job, and whether they come to the same.
    Show {
        /// The job.
        job: String,
    },
}

/// A version of a quote.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct QuoteWish {
    /// The job.
    pub job: String,
    /// The price without VAT.
    pub price: Pence,
    /// What is in it.
    pub included: String,
    /// What is not.
    pub excluded: String,
}

/// A payment point.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PointWish {
    /// What it says on the invoice.
    pub label: String,
    /// Without VAT.
    pub amount: Pence,
    /// It falls due when this stage is signed off.
    pub stage: Option<String>,
}

/// Does it, and shows the job's quotes as they stand then.
pub(super) fn run(node: &mut Node, author: PersonId, command: QuoteCommand) -> Result<Value, NodeError> {
    named::must_read_office(node)?;
    match command {
        QuoteCommand::Give(wish) => give(node, author, wish),
        QuoteCommand::Agree { job, version, by, how, on } => {
            agree(node, author, (&job, version), QuoteYes { by, how, on })
        }
        QuoteCommand::Points { job, points } => set_points(node, author, &job, &points),
        QuoteCommand::Show { job } => show(node, &job),
    }
}

struct QuoteYes {
    by: String,
    how: SaidHow,
    on: Option<Day>,
}

fn give(node: &mut Node, author: PersonId, wish: QuoteWish) -> Result<Value, NodeError> {
    if wish.price <= Pence::ZERO {
        return Err(NodeError::bad_input("a quote's price is more than nought"));
    }
    let (job, version) = {
        let lists = node.book().lists();
        let job = named::job(&lists, &wish.job)?.job;
        (job, versions(&lists, job).last().map_or(0, |quote| quote.version).saturating_add(1))
    };
    let QuoteWish { price, included, excluded, .. } = wish;
    let quote = QuoteId(node.machine().random()?);
    let body = Body::QuoteGiven(QuoteGiven { quote, job, version, price, included, excluded });
    let payload = Payload { act: node.act(author)?, body };
    node.append(&[Write { audience: Audience::Office, payload }])?;
    show(node, &wish.job)
}

fn agree(
    node: &mut Node,
    author: PersonId,
    (code, version): (&str, Option<u16>),
    yes: QuoteYes,
) -> Result<Value, NodeError> {
    let quote = {
        let lists = node.book().lists();
        let versions = versions(&lists, named::job(&lists, code)?.job);
        let meant = match version {
            Some(number) => versions.iter().find(|quote| quote.version == number),
            None => versions.last(),
        };
        meant.map(|quote| quote.quote).ok_or_else(|| {
            let there_are: Vec<String> = versions.iter().map(|quote| quote.version.to_string()).collect();
            NodeError::bad_input(if there_are.is_empty() {
                format!("no quote was given on {code} yet; note it with `fivebar quote give {code} PRICE`")
            } else {
                format!("there is no such version on {code}; there are: {}", there_are.join(", "))
            })
        })?
    };
    let replaces = named::heads(node, |body| matches!(body, Body::QuoteAgreed(held) if held.quote == quote));
    let body = Body::QuoteAgreed(QuoteAgreed { quote, said_by: yes.by, how: yes.how });
    office::write_since(node, author, yes.on, replaces, body)?;
    show(node, code)
}

/// What a job's payment points must come to; none without a quote.
#[must_use]
pub fn points_due(node: &Node, job: JobId) -> Option<Pence> {
    quotes::points_due(&node.book().lists(), &agreed_extras(node.book()), job)
}

fn set_points(
    node: &mut Node,
    author: PersonId,
    code: &str,
    wishes: &[PointWish],
) -> Result<Value, NodeError> {
    let (set, struck) = {
        let lists = node.book().lists();
        let job = named::job(&lists, code)?;
        let quote = standing_quote(&lists, job.job).ok_or_else(|| {
            NodeError::bad_input(format!(
                "no quote was given on {code}; note it with `fivebar quote give {code} PRICE`"
            ))
        })?;
        check_points(node, &lists, job, quote, wishes)?;
        // A point keeps what it is from one version of the quote to the next, so that what it billed stays
        // billed.
        let of_job = |quote| lists.quotes.get(&quote).is_some_and(|quote| quote.job == job.job);
        let held: Vec<_> = node
            .book()
            .list_heads()
            .filter_map(|logged| match &logged.body {
                Body::PaymentPointSet(set) if of_job(set.quote) => Some((logged, set)),
                _ => None,
            })
            .collect();
        let mut set = Vec::new();
        for (order, wish) in (1_u32..).zip(wishes) {
            let stage = match &wish.stage {
                Some(name) => Some(named::stage(&lists, job, name)?.stage),
                None => None,
            };
            let former: Vec<_> = held.iter().filter(|(_, point)| point.label == wish.label).collect();
            let point = former
                .first()
                .map_or_else(|| node.machine().random().map(PointId), |(_, point)| Ok(point.point))?;
            let mut replaces: Vec<_> = former.iter().map(|(logged, _)| logged.hash).collect();
            replaces.sort_unstable();
            let (label, amount, quote) = (wish.label.clone(), wish.amount, quote.quote);
            set.push((replaces, PaymentPointSet { point, quote, order, label, amount, stage }));
        }
        let gone = held.iter().filter(|(_, point)| !wishes.iter().any(|wish| wish.label == point.label));
        let struck: Vec<EntryRef> = gone.map(|(logged, _)| logged.act.entry_ref()).collect();
        (set, struck)
    };
    let mut writes = Vec::new();
    for (replaces, point) in set {
        let mut act = node.act(author)?;
        act.replaces = replaces;
        let payload = Payload { act, body: Body::PaymentPointSet(point) };
        writes.push(Write { audience: Audience::Office, payload });
    }
    for of in struck {
        let payload = Payload { act: node.act(author)?, body: Body::Struck(Struck { of }) };
        writes.push(Write { audience: Audience::Office, payload });
    }
    node.append(&writes)?;
    show(node, code)
}

fn check_points(
    node: &Node,
    lists: &Lists<'_>,
    job: &JobListed,
    quote: &QuoteGiven,
    wishes: &[PointWish],
) -> Result<(), NodeError> {
    let mut bad = Vec::new();
    for (at, wish) in wishes.iter().enumerate() {
        if wish.label.trim().is_empty() {
            bad.push(format!("point {}: say what it is called on the invoice", at + 1));
        }
        if wish.amount <= Pence::ZERO {
            bad.push(format!("{}: must be more than nought", wish.label));
        }
        if wishes.iter().take(at).any(|before| before.label == wish.label) {
            bad.push(format!("{}: is there twice; give each point a name of its own", wish.label));
        }
    }
    let extras = agreed_extras(node.book());
    let due = quotes::points_due(lists, &extras, job.job).unwrap_or(quote.price);
    let sum = wishes.iter().map(|wish| wish.amount).sum::<Pence>();
    if sum != due {
        let off =
            if sum < due { format!("{} too little", due - sum) } else { format!("{} too much", sum - due) };
        bad.push(format!(
            "the points come to {sum}, and version {} of the quote with its extras to {due}: {off}",
            quote.version
        ));
        let unpriced = extras.values().filter(|extra| extra.job == job.job);
        let unpriced = unpriced.filter(|extra| quotes::lacks_a_price(extra, lists));
        let unpriced: Vec<_> = unpriced.map(|extra| extra.what.clone()).collect();
        if !unpriced.is_empty() {
            bad.push(format!("no price is set yet for: {}", unpriced.join(", ")));
        }
    }
    if bad.is_empty() { Ok(()) } else { Err(NodeError::BadInput(bad)) }
}

fn show(node: &Node, code: &str) -> Result<Value, NodeError> {
    let lists = node.book().lists();
    let job = named::job(&lists, code)?.job;
    let versions: Vec<Value> = versions(&lists, job)
        .into_iter()
        .map(|quote| {
            let agreed = lists.agreed.get(&quote.quote);
            let agreed = agreed.map(|(on, yes)| json!({ "on": on, "by": yes.said_by, "how": yes.how }));
            json!({ "version": quote.version, "price": quote.price, "included": quote.included,
                "excluded": quote.excluded, "agreed": agreed })
        })
        .collect();
    let extras = agreed_extras(node.book());
    let points = quotes::points(&lists, job);
    let sum: Pence = points.iter().map(|point| point.amount).sum();
    let due = quotes::points_due(&lists, &extras, job);
    let off = due.filter(|_| !points.is_empty()).map(|due| sum - due);
    let rows: Vec<Value> = points
        .iter()
        .map(|point| {
            json!({ "label": point.label, "amount": point.amount,
                "stage": point.stage.map(|stage| lists.stage(Some(stage))),
                "due_on": lists.points_due.get(&point.point).map(|(day, _)| day) })
        })
        .collect();
    let extras: Vec<Value> = extras
        .values()
        .filter(|extra| extra.job == job)
        .map(|extra| {
            let amount = lists.extras.get(&extra.key).map(|priced| priced.amount);
            json!({ "entry": extra.key, "key": named::key_of(node, &extra.key), "what": extra.what,
                "terms": extra.terms, "amount": amount })
        })
        .collect();
    Ok(json!({ "job": code, "versions": versions, "extras": extras, "points": rows, "points_sum": sum,
        "due": due, "off": off }))
}
