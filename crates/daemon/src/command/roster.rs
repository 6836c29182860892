//! People, their roles, and devices: who belongs to the crew.
//!
//! Whether somebody may change it, the ledger's roster decides when the event is written.

use ledger::office::PersonRated;
use ledger::roster::Lacking;
use ledger::roster_events::{DeviceRetired, PersonListed, Position, Role, RoleChanged};
use ledger::{Audience, Body, DeviceKey, Payload, PersonId, RecoverySecret};
use serde_json::{Value, json};
use trade::Rate;

use super::named;
use crate::error::NodeError;
use crate::node::{Node, Write};

/// People and devices.
pub(crate) fn show(node: &Node) -> Value {
    let roster = node.ledger().roster();
    let people: Vec<Value> =
        roster.people().map(|person| json!({ "name": person.name, "role": person.role })).collect();
    let devices: Vec<Value> = roster
        .devices()
        .map(|device| {
            let person = roster.person(&device.person).map(|person| person.name.clone());
            json!({ "name": device.name, "key": device.key, "person": person, "retired": device.retired,
                "office": device.office, "shared": device.shared, "this": device.key == node.key() })
        })
        .collect();
    json!({ "crew": roster.crew_name(), "people": people, "devices": devices })
}

/// Takes a device off the crew.
pub(crate) fn retire(
    node: &mut Node,
    author: PersonId,
    wanted: &str,
    reason: String,
) -> Result<Value, NodeError> {
    let device = device_called(node, wanted)?;
    let cuts = positions(node, |of| *of == device);
    let act = node.act(author)?;
    let body = Body::DeviceRetired(DeviceRetired { device, cuts, reason });
    let retired = node.append(&[Write { audience: Audience::Crew, payload: Payload { act, body } }]);
    match retired {
        Err(NodeError::NotAllowed { lacking: Lacking::Role, .. }) if is_owners(node, &device) => {
            Err(NodeError::bad_input(
                "it is a boss's, and this device does not stand above it: it did not bring it into the crew. \
                 The recovery words can do it: fivebar retire NAME --words",
            ))
        }
        other => other.map(|_| show(node)),
    }
}

/// Takes a device off the crew by the recovery words, which stand above every device.
pub(crate) fn retire_by_words(
    node: &mut Node,
    author: PersonId,
    wanted: &str,
    reason: String,
    words: &str,
) -> Result<Value, NodeError> {
    let words = words_of_crew(node, words)?;
    let device = device_called(node, wanted)?;
    if device == node.key() {
        return Err(NodeError::bad_input("that is this very device; do it on another one of yours"));
    }
    let is_boss = node.ledger().roster().person(&author).is_some_and(|person| person.role == Role::Owner);
    if !is_boss {
        return Err(NodeError::bad_input("the words take a device off on a boss's device; do it there"));
    }
    let cuts = positions(node, |of| *of == device);
    node.certify(&words, author, vec![DeviceRetired { device, cuts, reason }])?;
    Ok(show(node))
}

/// The recovery words of this crew, as somebody types them.
fn words_of_crew(node: &Node, words: &str) -> Result<RecoverySecret, NodeError> {
    let founding = node.ledger().roster().founding();
    let founding = founding.ok_or_else(|| NodeError::bad_input("the crew's first entry is not here yet"))?;
    Ok(RecoverySecret::of_crew(words, &founding.recovery_key)?)
}

/// When the recovery words were printed, and whether these are they.
pub(crate) fn words(node: &Node, typed: Option<&str>) -> Result<Value, NodeError> {
    if let Some(typed) = typed {
        words_of_crew(node, typed)?;
    }
    let roster = node.ledger().roster();
    let founding = roster.founding();
    let founder = founding.and_then(|founding| roster.person(&founding.founder));
    let device = founding.and_then(|founding| roster.device(&founding.device));
    Ok(json!({ "printed": founding.map(|founding| founding.at.day()), "right": typed.map(|_| true),
        "by": founder.map(|founder| &founder.name), "on": device.map(|device| &device.name) }))
}

fn is_owners(node: &Node, device: &DeviceKey) -> bool {
    let roster = node.ledger().roster();
    let person = roster.device(device).and_then(|device| roster.person(&device.person));
    person.is_some_and(|person| person.role == Role::Owner)
}

/// The one device of the crew with this name, or whose key begins so.
pub(crate) fn device_called(node: &Node, wanted: &str) -> Result<DeviceKey, NodeError> {
    let matching = |key: &DeviceKey, name: &str| {
        name == wanted || (wanted.len() >= 8 && key.to_string().starts_with(wanted))
    };
    let devices = node.ledger().roster().devices();
    let found: Vec<DeviceKey> = devices
        .filter(|device| !device.retired && matching(&device.key, &device.name))
        .map(|device| device.key)
        .collect();
    let [device] = found[..] else {
        let why = if found.is_empty() { "no device" } else { "more than one device" };
        return Err(NodeError::bad_input(format!(
            "{why} in the crew is called {wanted:?}; `fivebar roster` shows names and keys"
        )));
    };
    Ok(device)
}

/// The end of each chain of some devices, as far as it is held here and counts.
pub(crate) fn positions(node: &Node, of: impl Fn(&DeviceKey) -> bool) -> Vec<Position> {
    let chains = node.ledger().chains().filter(|chain| of(&chain.start.device));
    let ends = chains.filter_map(|chain| {
        let (count, hash) = node.ledger().counted_tip(chain);
        Some(Position { chain: chain.start.chain, seq: count.checked_sub(1)?, hash })
    });
    let mut ends: Vec<Position> = ends.collect();
    ends.sort_unstable();
    ends
}

/// Lists a person. Their rates hold from the beginning, so that work done before is priced too.
pub(crate) fn add_person(
    node: &mut Node,
    author: PersonId,
    name: &str,
    role: Role,
    rates: Option<(Rate, Rate)>,
) -> Result<Value, NodeError> {
    let name = name.trim();
    if name.is_empty() {
        return Err(NodeError::bad_input("a person needs a name"));
    }
    if node.ledger().roster().people().any(|person| person.name == name) {
        return Err(NodeError::bad_input(format!(
            "{name} is of the crew already; `fivebar role` changes what they may do, `fivebar rate` what they cost"
        )));
    }
    let person = PersonId::named(&node.crew(), name);
    let body = Body::PersonListed(PersonListed { person, name: name.to_owned(), role });
    let payload = Payload { act: node.act(author)?, body };
    let mut writes = vec![Write { audience: Audience::Crew, payload }];
    if let Some((cost_rate, charge_rate)) = rates {
        named::not_below_nought(&[cost_rate, charge_rate])?;
        let trade = String::new();
        let body = Body::PersonRated(PersonRated { person, job: None, trade, cost_rate, charge_rate });
        let mut act = node.act(author)?;
        act.done_on = trade::Day::from_number(0).unwrap_or(act.done_on);
        writes.push(Write { audience: Audience::Office, payload: Payload { act, body } });
    }
    node.append(&writes)?;
    Ok(show(node))
}

/// Changes a role from what each of the person's devices has written up to now.
pub(crate) fn set_role(
    node: &mut Node,
    author: PersonId,
    name: &str,
    role: Role,
) -> Result<Value, NodeError> {
    let roster = node.ledger().roster();
    let person = named::person(node, name)?;
    let held = roster.person(&person).map(|person| person.role);
    if held == Some(role) {
        return Ok(show(node));
    }
    let others = roster.people().any(|other| other.role == Role::Owner && other.person != person);
    if held == Some(Role::Owner) && !others {
        return Err(NodeError::bad_input(format!(
            "{name} is the only boss; make somebody else one first, or nobody could change anything any more"
        )));
    }
    let positions =
        positions(node, |device| roster.device(device).is_some_and(|device| device.person == person));
    let body = Body::RoleChanged(RoleChanged { person, role, positions });
    let payload = Payload { act: node.act(author)?, body };
    node.append(&[Write { audience: Audience::Crew, payload }])?;
    Ok(show(node))
}
