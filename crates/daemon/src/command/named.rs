//! What the words of a command mean: people, jobs, stages, items and entries by the names people use.
//!
//! A name that means nothing, or more than one thing, is answered with what there is.

use ledger::site::{JobListed, StageListed};
use ledger::{Act, Body, EntryRef, EventHash, ItemId, Kind, PersonId};
use projections::Lists;
use projections::words::kind_words;
use serde_json::{Value, json};
use trade::Rate;

use crate::error::NodeError;
use crate::held::SHORTEST_BEGINNING;
use crate::node::Node;

/// Refuses what only a device with the office's lists can know.
pub(crate) fn must_read_office(node: &Node) -> Result<(), NodeError> {
    if node.is_office() {
        return Ok(());
    }
    Err(NodeError::bad_input(
        "prices, quotes and invoices are kept on the office's devices, and this is none; do it on one that is, \
         or invite this one anew with --office",
    ))
}

/// Refuses money below nought.
pub(super) fn not_below_nought(rates: &[Rate]) -> Result<(), NodeError> {
    match rates.iter().find(|rate| rate.is_negative()) {
        Some(rate) => {
            Err(NodeError::bad_input(format!("{rate} is below nought; give pounds, nought or more")))
        }
        None => Ok(()),
    }
}

/// The person of this name.
pub(super) fn person(node: &Node, name: &str) -> Result<PersonId, NodeError> {
    let roster = node.ledger().roster();
    let found = roster.people().find(|person| person.name == name);
    found.map(|person| person.person).ok_or_else(|| {
        let names: Vec<&str> = roster.people().map(|person| person.name.as_str()).collect();
        not_listed(&format!("there is nobody called {name:?} in the crew"), &names)
    })
}

/// The job with this code.
pub(crate) fn job<'book>(lists: &Lists<'book>, code: &str) -> Result<&'book JobListed, NodeError> {
    lists.jobs.values().copied().find(|job| job.code == code).ok_or_else(|| {
        let mut codes: Vec<&str> = lists.jobs.values().map(|job| job.code.as_str()).collect();
        codes.sort_unstable();
        not_listed(&format!("there is no job {code:?}"), &codes)
    })
}

/// The stage of this name in a job.
pub(crate) fn stage<'book>(
    lists: &Lists<'book>,
    job: &JobListed,
    name: &str,
) -> Result<&'book StageListed, NodeError> {
    let of_job = || lists.stages.values().copied().filter(|stage| stage.job == job.job);
    of_job().find(|stage| stage.name == name).ok_or_else(|| {
        let mut stages: Vec<_> = of_job().map(|stage| (stage.order, stage.name.as_str())).collect();
        stages.sort_unstable();
        let names: Vec<&str> = stages.into_iter().map(|(_, name)| name).collect();
        not_listed(&format!("{} has no stage {name:?}", job.code), &names)
    })
}

/// The price-book item of this name.
pub(super) fn item(lists: &Lists<'_>, name: &str) -> Result<ItemId, NodeError> {
    let found = lists.items.values().find(|item| item.name == name);
    found.map(|item| item.item).ok_or_else(|| {
        let mut names: Vec<&str> = lists.items.values().map(|item| item.name.as_str()).collect();
        names.sort_unstable();
        not_listed(&format!("there is no item {name:?} in the price book"), &names)
    })
}

fn not_listed(what: &str, names: &[&str]) -> NodeError {
    let there_are = if names.is_empty() { "none yet".to_owned() } else { names.join(", ") };
    NodeError::bad_input(format!("{what}; there are: {there_are}"))
}

/// The entry that stands and has this key or beginning of its id, and is of one of these kinds.
pub(super) fn entry(node: &Node, key: &str, what: &str, kinds: &[Kind]) -> Result<EntryRef, NodeError> {
    let begins =
        |entry: &EntryRef| key.len() >= SHORTEST_BEGINNING && entry.entry.to_string().starts_with(key);
    let mut met = node
        .book()
        .entries()
        .filter(|entry| !key.is_empty() && (entry.act.row_key == key || begins(&entry.entry_ref())));
    let (Some(entry), None) = (met.next(), met.next()) else {
        return Err(NodeError::bad_input(format!(
            "{key:?} is the key of no entry, or of more than one; `fivebar entries` shows them"
        )));
    };
    if !kinds.contains(&entry.body.kind()) {
        let is = kind_words(entry.body.kind());
        return Err(NodeError::bad_input(format!("{key} is not {what}; it is: {is}")));
    }
    Ok(entry.entry_ref())
}

/// The versions of a list row that a new one replaces: ascending.
pub(crate) fn heads(node: &Node, is_row: impl Fn(&Body) -> bool) -> Vec<EventHash> {
    let mut heads: Vec<_> =
        node.book().list_heads().filter(|logged| is_row(&logged.body)).map(|logged| logged.hash).collect();
    heads.sort_unstable();
    heads
}

/// All that was said of an entry, which a change of all of it replaces: ascending.
pub(super) fn said_of(node: &Node, entry: &EntryRef) -> Vec<EventHash> {
    let mut said: Vec<_> = node.book().history(entry).iter().map(|logged| logged.hash).collect();
    said.sort_unstable();
    said
}

/// What people call an entry by.
pub(super) fn key_of(node: &Node, entry: &EntryRef) -> String {
    let history = node.book().history(entry);
    let own = history.into_iter().find(|logged| logged.act.entry_ref() == *entry);
    own.map_or_else(|| entry.entry.short(), |logged| logged.key())
}

/// What an entry says now, for a person who wants to know which one is meant.
pub(super) fn described(node: &Node, entry: &EntryRef) -> Value {
    let history = node.book().history(entry);
    let own = history.into_iter().find(|logged| logged.act.entry_ref() == *entry);
    own.map_or(Value::Null, |logged| shown(node, &logged.act, &logged.body))
}

/// What an event says, in words where it is an entry's, and whole.
pub(super) fn shown(node: &Node, act: &Act, body: &Body) -> Value {
    let entry = act.entry_ref();
    let mut lines = projections::log(node.book(), None, None).into_iter();
    let said = lines.find(|line| line.entry == entry).map(|line| line.text);
    let key = if act.row_key.is_empty() { act.entry.short() } else { act.row_key.clone() };
    let text = said.unwrap_or_else(|| {
        let kind = kind_words(body.kind());
        if act.note.is_empty() { kind.to_owned() } else { format!("{kind}: {}", act.note) }
    });
    json!({ "key": key, "entry": entry, "person": node.book().lists().person(act.person),
        "done_on": act.done_on, "kind": body.kind(), "text": text, "note": act.note, "content": body })
}
