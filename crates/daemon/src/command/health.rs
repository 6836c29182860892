//! Whether the ledger is whole, and how far each chain is held.

use documents::handing_over::crew_code;
use ledger::Audience;
use serde_json::{Value, json};

use crate::error::NodeError;
use crate::node::Node;

/// Reads the whole ledger from disk and verifies it.
pub(super) fn verify(node: &mut Node) -> Result<Value, NodeError> {
    let (report, events) = node.verify()?;
    let damage: Vec<String> =
        report.damage.iter().map(|damage| format!("{}: {} bytes", damage.place, damage.length)).collect();
    Ok(json!({ "runs": report.runs, "events": report.events, "events_verified": events, "damage": damage }))
}

/// How far each chain is held.
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
    let digest: String = node
        .ledger()
        .frontier(Some(Audience::Crew))
        .digest()
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    json!({ "crew": node.crew(), "crew_code": crew_code(&node.crew()), "device": node.device().name, "key": node.key(), "chains": chains,
        "crew_frontier": digest })
}
