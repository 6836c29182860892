//! Whether the ledger is whole, and how far each chain is held.

use documents::handing_over::crew_code;
use ledger::Audience;
use serde_json::{Value, json};

use crate::error::NodeError;
use crate::node::{Node, WholeRead};

/// Reads the whole ledger from disk and verifies it.
pub(super) fn verify(node: &mut Node) -> Result<Value, NodeError> {
    let WholeRead { report, verified, healed, missing } = node.verify()?;
    let damage: Vec<String> = report.damage.iter().map(ToString::to_string).collect();
    let moved: Vec<&str> =
        healed.iter().filter_map(|healed| Some(healed.cut.as_ref()?.file.as_str())).collect();
    Ok(json!({
        "runs": report.runs, "events": report.events, "events_verified": verified, "damage": damage,
        "put_right": healed.len() == damage.len(), "moved": moved, "missing": missing,
    }))
}

/// How far each chain is held, and how much of that the other devices are known to hold.
pub(super) fn status(node: &Node) -> Value {
    let roster = node.ledger().roster();
    let chains: Vec<Value> = node
        .ledger()
        .chains()
        .map(|chain| {
            let device = roster.device(&chain.start.device).map(|device| device.name.clone());
            let (counted, _) = node.ledger().counted_tip(chain);
            json!({ "chain": chain.start.chain, "device": device, "audience": chain.start.audience,
                "events": chain.tip.next_seq, "counted": counted, "head": chain.tip.hash,
                "forked": chain.fork.is_some() })
        })
        .collect();
    let others = roster.devices().filter(|device| !device.retired && device.key != node.key());
    let others: Vec<Value> = others
        .map(|device| {
            let reach = node.reach_of(device.key);
            json!({ "device": device.name, "met_ms": reach.met_ms, "missing": reach.missing })
        })
        .collect();
    let digest = hex::encode(node.ledger().frontier(Some(Audience::Crew)).digest());
    json!({ "crew": node.crew(), "crew_code": crew_code(&node.crew()), "device": node.device().name, "key": node.key(), "chains": chains, "others": others,
        "crew_frontier": digest })
}
