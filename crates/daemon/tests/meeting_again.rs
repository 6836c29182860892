//! What two devices last knew both to hold is remembered over a start.

use std::collections::BTreeMap;

use daemon::node::Write;
use daemon::{Holding, Node};
use ledger::roster_events::DeviceAdmitted;
use ledger::{Audience, Body, DeviceSecret, Payload};
use net::Holder as _;
use sync::CommonGround;

#[test]
fn common_ground_is_remembered_over_a_start() {
    let folder = tempfile::tempdir().expect("a folder");
    let (mut node, _) =
        Node::found(folder.path(), "Oake Rooms", "Maren Oake", "maren-laptop").expect("a crew");
    let [peer, stranger] = [4, 5].map(|seed| DeviceSecret::from_seed(&[seed; 32]).public());
    let person = node.device().person;
    let admitted =
        DeviceAdmitted { device: peer, name: "phone".to_owned(), person, shared: false, office: false };
    let payload = Payload { act: node.act(person).expect("an act"), body: Body::DeviceAdmitted(admitted) };
    node.append(&[Write { audience: Audience::Crew, payload }]).expect("the boss lets it in");
    let frontier = node.ledger().frontier(None);
    let holds = frontier.tips.iter().map(|(chain, (events, _))| (*chain, *events)).collect();
    let holding = Holding::new(node);
    assert_eq!(holding.common_ground(peer), CommonGround::default(), "never met");

    let common = CommonGround::of(&frontier);
    holding.note_peer(peer, &holds, Some(common.clone()));
    assert_eq!(holding.common_ground(peer), common);
    // What is noted later in the same meeting, while something is on its way, takes nothing back.
    holding.note_peer(peer, &BTreeMap::new(), None);
    // Somebody whom nobody let in leaves no trace, whatever it says.
    holding.note_peer(stranger, &holds, Some(common.clone()));
    holding.note_reached(stranger, "127.0.0.1:5105".parse().expect("an address"));
    holding.with(|_| ());
    drop(holding);
    let again = Holding::new(Node::open(folder.path()).expect("what was written"));
    assert_eq!(again.common_ground(peer), common);
    assert_eq!(again.common_ground(stranger), CommonGround::default());
    assert!(!again.vouched().contains(&stranger));
    let known = |node: &mut Node| node.device().peers.iter().map(|known| known.device).collect::<Vec<_>>();
    assert_eq!(again.with(known), [peer]);
}
