//! People, their roles, and devices: who belongs to the crew.
//!
//! Whether somebody may change it, the ledger's roster decides when the event is written.

use ledger::office::PersonRated;
use ledger::roster_events::{DeviceRetired, PersonListed, Position, Role, RoleChanged};
use ledger::{Audience, Body, DeviceKey, Payload, PersonId};
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
    let roster = node.ledger().roster();
    let matching = |key: &DeviceKey, name: &str| {
        name == wanted || (wanted.len() >= 8 && key.to_string().starts_with(wanted))
    };
    let found: Vec<DeviceKey> = roster
        .devices()
        .filter(|device| !device.retired && matching(&device.key, &device.name))
        .map(|device| device.key)
        .collect();
    let [device] = found[..] else {
        let why = if found.is_empty() { "no device" } else { "more than one device" };
        return Err(NodeError::bad_input(format!(
            "{why} in the crew is called {wanted:?}; `fivebar roster` shows names and keys"
        )));
    };
    let cuts = positions(node, |of| *of == device);
    let act = node.act(author)?;
    let body = Body::DeviceRetired(DeviceRetired { device, cuts, reason });
    node.append(&[Write { audience: Audience::Crew, payload: Payload { act, body } }])?;
    Ok(show(node))
}

/// The end of each chain of some devices, as far as it is held here.
fn positions(node: &Node, of: impl Fn(&DeviceKey) -> bool) -> Vec<Position> {
    let chains = node.ledger().chains().filter(|chain| of(&chain.start.device) && chain.tip.next_seq > 0);
    let end = |chain: &ledger::frontier::Chain| Position {
        chain: chain.start.chain,
        seq: chain.tip.next_seq - 1,
        hash: chain.tip.hash,
    };
    let mut ends: Vec<Position> = chains.map(end).collect();
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
