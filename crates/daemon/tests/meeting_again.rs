//! What two devices last knew both to hold is remembered over a start.

use std::collections::BTreeMap;

use daemon::{Holding, Node};
use ledger::DeviceSecret;
use net::Holder as _;
use sync::CommonGround;

#[test]
fn common_ground_is_remembered_over_a_start() {
    let folder = tempfile::tempdir().expect("a folder");
    let (node, _) = Node::found(folder.path(), "Oake Rooms", "Maren Oake", "maren-laptop").expect("a crew");
    let frontier = node.ledger().frontier(None);
    let holds = frontier.tips.iter().map(|(chain, (events, _))| (*chain, *events)).collect();
    let peer = DeviceSecret::from_seed(&[4; 32]).public();
    let holding = Holding::new(node);
    assert_eq!(holding.common_ground(peer), CommonGround::default(), "never met");

    let common = CommonGround::of(&frontier);
    holding.note_peer(peer, &holds, Some(common.clone()));
    assert_eq!(holding.common_ground(peer), common);
    // What is noted later in the same meeting, while something is on its way, takes nothing back.
    holding.note_peer(peer, &BTreeMap::new(), None);
    holding.with(|_| ());
    drop(holding);
    let again = Holding::new(Node::open(folder.path()).expect("what was written"));
    assert_eq!(again.common_ground(peer), common);
    assert_eq!(again.common_ground(DeviceSecret::from_seed(&[5; 32]).public()), CommonGround::default());
}
