//! What was set aside, because a device was copied, set back or taken off the crew: its list, and entering it again.
//!
//! An entry is entered again under its own id, so that it is one entry however many people do it, and also where what
//! was set aside comes to count after all. A paper is taken on ([`crate::invoices::adopt`]), if it went out.

use std::collections::BTreeMap;

use ledger::kinds::Carried;
use ledger::roster::{Lacking, Standing};
use ledger::{Audience, EventHash, Kind, Payload, PersonId};
use projections::{Logged, billing};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use crate::error::NodeError;
use crate::node::{Node, Write};

/// What to do about what was set aside.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SetAsideWish {
    /// Only list it.
    List,
    /// Enter again what has these keys, or ids that begin so.
    Again(Vec<String>),
    /// Enter all of it again.
    AllAgain,
}

/// Lists what is set aside, or enters it again first.
pub(super) fn run(node: &mut Node, author: PersonId, wish: &SetAsideWish) -> Result<Value, NodeError> {
    let waiting: Vec<Logged> = projections::set_aside(node.book()).into_iter().cloned().collect();
    let is_wanted = |logged: &Logged, wanted: &String| {
        !wanted.is_empty()
            && (key(logged) == *wanted || logged.act.entry.to_string().starts_with(wanted.as_str()))
    };
    let wanted: Vec<&Logged> = match wish {
        SetAsideWish::List => Vec::new(),
        SetAsideWish::AllAgain => {
            waiting.iter().filter(|logged| again_in(logged.body.kind()).is_some()).collect()
        }
        SetAsideWish::Again(keys) => {
            if let Some(unknown) =
                keys.iter().find(|key| !waiting.iter().any(|logged| is_wanted(logged, key)))
            {
                return Err(NodeError::bad_input(format!(
                    "nothing that is set aside has the key {unknown:?}; `fivebar set-aside` lists it"
                )));
            }
            waiting.iter().filter(|logged| keys.iter().any(|key| is_wanted(logged, key))).collect()
        }
    };
    let mut entered: BTreeMap<EventHash, EventHash> = BTreeMap::new();
    let mut refused = Vec::new();
    for logged in wanted {
        match enter_again(node, author, logged, &entered) {
            Ok(hash) => {
                entered.insert(logged.hash, hash);
            }
            Err(NodeError::NotAllowed { kind, lacking }) => {
                let why = NodeError::NotAllowed { kind, lacking }.to_string();
                refused.push(json!({ "key": key(logged), "why": why }));
            }
            Err(error) => return Err(error),
        }
    }
    let left = projections::set_aside(node.book());
    let rows: Vec<Value> = left.into_iter().map(|logged| row(node, logged)).collect();
    Ok(json!({ "entered": entered.len(), "refused": refused, "set_aside": rows }))
}

fn enter_again(
    node: &mut Node,
    author: PersonId,
    logged: &Logged,
    entered: &BTreeMap<EventHash, EventHash>,
) -> Result<EventHash, NodeError> {
    let Some(audience) = again_in(logged.body.kind()) else {
        return Err(NodeError::bad_input(format!(
            "{} can't be entered again like an entry: {}",
            key(logged),
            by_hand(logged)
        )));
    };
    let mut act = logged.act.clone();
    act.author = author;
    act.replaces.iter_mut().for_each(|hash| *hash = *entered.get(hash).unwrap_or(hash));
    act.replaces.sort_unstable();
    let payload = Payload { act, body: logged.body.clone() };
    let written = node.append(&[Write { audience, payload }])?;
    written.first().copied().ok_or_else(|| NodeError::bad_input("nothing was entered"))
}

fn row(node: &Node, logged: &Logged) -> Value {
    let lists = node.book().lists();
    let why = match logged.standing {
        Standing::Without(Lacking::Forked) => "its device was copied or set back",
        _ => "its device was taken off the crew before it came",
    };
    let kind = logged.body.kind();
    json!({
        "key": key(logged), "person": lists.person(logged.act.person), "day": logged.act.done_on,
        "what": projections::words::words(&lists, node.book(), &logged.act, &logged.body), "why": why,
        "again": again_in(kind).is_some(),
        "by_hand": again_in(kind).is_none().then(|| by_hand(logged)),
    })
}

/// For whom an event of this kind is entered again; none for what only its own command does.
const fn again_in(kind: Kind) -> Option<Audience> {
    if kind.is_roster() || is_paper(kind) {
        return None;
    }
    Some(match kind.carried() {
        Carried::Office => Audience::Office,
        Carried::Crew | Carried::Either => Audience::Crew,
    })
}

const fn is_paper(kind: Kind) -> bool {
    matches!(
        kind,
        Kind::InvoiceIssued
            | Kind::InvoiceCredited
            | Kind::InvoiceVoided
            | Kind::InvoiceAdopted
            | Kind::InvoiceSelfBilled
            | Kind::CreditAdopted
            | Kind::PaymentApplied
            | Kind::PaymentCertified
    )
}

/// What it is called by: a paper by its own key, which it keeps whoever takes it on.
fn key(logged: &Logged) -> String {
    billing::paper_of(logged).map_or_else(|| logged.key(), |paper| billing::paper_key(paper.document))
}

fn by_hand(logged: &Logged) -> String {
    let kind = logged.body.kind();
    match billing::paper_of(logged) {
        Some(paper) if paper.is_own() => {
            let key = billing::paper_key(paper.document);
            format!("if it went out, it is taken on (fivebar invoice adopt {key}); if not, it is made anew")
        }
        Some(_) => "what the customer issued is recorded anew".to_owned(),
        None if kind == Kind::InvoiceVoided => {
            "it is made void again (fivebar invoice void NUMBER WHY)".to_owned()
        }
        None if is_paper(kind) => "it is made anew".to_owned(),
        None => "who belongs to the crew is said anew (fivebar invite, fivebar person)".to_owned(),
    }
}
