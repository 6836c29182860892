//! Who is sent what, and what becomes of a device that is retired.

use ledger::{Audience, Kind, Refusal, RunBuilder};
use sync::{CommonGround, Output, Session};

use crate::crew;
use crate::device::UNKNOWN_KIND;

#[test]
fn the_office_chains_go_to_every_device_and_on_from_there() {
    let mut world = crew();
    world.devices[0].log(Audience::Office, 3, 100);
    world.devices[3].log(Audience::Office, 2, 100);
    let owners = world.devices[0].chain(Audience::Office).chain;
    let hands = world.devices[3].chain(Audience::Office).chain;
    // The laptop meets the hand alone, and the owner's phone only the lead: what is sealed passes by them.
    let links = [(0, 3), (3, 2), (2, 1)].map(|(a, b)| {
        let link = world.connect(a, b, 1);
        world.settle();
        link
    });
    for device in 0..4 {
        let ledger = &world.devices[device].ledger;
        assert!(ledger.chain(&hands).is_some() && ledger.chain(&owners).is_some(), "device {device}");
    }
    assert!(links.iter().all(|link| world.is_settled(*link)));
}

#[test]
fn a_device_retired_while_connected_hears_of_it_and_is_dismissed() {
    let mut world = crew();
    world.devices[3].log(Audience::Crew, 4, 100);
    let link = world.connect(0, 3, 4);
    world.settle();
    let hand = world.devices.remove(3);
    world.devices[0].retire(&hand, 4);
    world.devices.push(hand);
    world.appended(0);
    world.settle();
    assert!(world.devices[3].holds_kind(Kind::DeviceRetired));
    assert_eq!(world.end(link, 0).ended, Some(Output::Close(Refusal::Retired)));
    assert_eq!(world.end(link, 1).ended, Some(Output::Dismissed(Some(Refusal::Retired))));
    // From now on it is turned away at the door.
    let link = world.connect(0, 3, 1);
    world.settle();
    assert_eq!(world.end(link, 0).ended, Some(Output::Close(Refusal::Retired)));
    assert_eq!(world.end(link, 0).sent_frames, [vec![6, 21, 0]]);
}

#[test]
fn a_retirement_that_arrives_from_elsewhere_ends_it_too() {
    let mut world = crew();
    world.devices[3].log(Audience::Crew, 4, 100);
    let link = world.connect(2, 3, 1);
    world.settle();
    let hand = world.devices.remove(3);
    world.devices[0].retire(&hand, 4);
    world.devices.push(hand);
    world.connect(0, 2, 1);
    world.settle();
    assert_eq!(world.end(link, 0).ended, Some(Output::Close(Refusal::Retired)));
    assert!(world.devices[3].holds_kind(Kind::DeviceRetired));
}

#[test]
fn events_beyond_a_cut_are_left_out_and_the_rest_goes_on() {
    let mut world = crew();
    world.devices[3].log(Audience::Crew, 2, 100);
    world.connect(0, 3, 1);
    world.settle();
    world.cut(3);
    world.devices[3].log(Audience::Crew, 3, 100);
    world.devices[2].log(Audience::Crew, 1, 100);
    world.connect(2, 3, 1);
    world.settle();
    let hand = world.devices.remove(3);
    world.devices[0].retire(&hand, 2);
    world.devices.push(hand);
    // The lead holds five events of the hand's, and has not heard that two count.
    let link = world.connect(0, 2, 1);
    world.settle();
    assert_eq!(world.end(link, 0).set_aside, [Refusal::BeyondCut]);
    assert_eq!(world.end(link, 0).ended, None);
    assert_eq!(world.digest(0), world.digest(2), "what counts is the same");
    assert!(world.is_settled(link));
}

#[test]
fn a_chain_of_which_nothing_counts_any_more_is_not_acknowledged() {
    let mut world = crew();
    world.devices[3].log(Audience::Crew, 1, 100);
    let link = world.connect(0, 3, 1);
    world.settle();
    world.cut(link);
    let hand = world.devices.remove(3);
    world.devices[0].retire(&hand, 1);
    let office = hand.chain(Audience::Office);
    let (laptop, phone) = (&world.devices[0], &world.devices[1]);
    let mut session = Session::new(phone.key(), CommonGround::default(), &laptop.ledger);
    let hello = Session::new(laptop.key(), CommonGround::default(), &phone.ledger).poll_output();
    let Some(Output::Send(hello)) = hello else { panic!("a hello comes first") };
    session.handle_frame(&hello, &laptop.ledger);
    session.handle_frame(&[2, 1], &laptop.ledger);
    // A run of the hand's office chain was on its way to the disk when the retirement cut it to nothing.
    let mut ledger = laptop.ledger.clone();
    ledger.take_in_chain(office).expect("admitted once is enough for a chain to be taken in");
    session.handle_stored(office.chain, &ledger);
    let sent: Vec<Output> = std::iter::from_fn(|| session.poll_output()).collect();
    assert!(!sent.is_empty());
    assert!(!sent.iter().any(|output| matches!(output, Output::Send(frame) if frame[0] == 5)));
}

#[test]
fn a_forked_chain_counts_up_to_the_fork_and_the_rest_goes_on() {
    let mut world = crew();
    world.devices[3].log(Audience::Crew, 2, 100);
    let lead_link = world.connect(2, 3, 1);
    world.settle();
    world.cut(lead_link);
    // The hand's phone was restored from a copy and writes its past once more, longer.
    let start = world.devices[3].chain(Audience::Crew);
    let crew_id = world.devices[0].ledger.crew();
    let mut builder = RunBuilder::new(start, start.tip(&crew_id));
    for _ in 0..3 {
        builder.push(5_000, UNKNOWN_KIND, 1, b"another past").expect("room");
    }
    let (branch, _) = builder.finish(&crew_id, &world.devices[3].secret).expect("three events");
    world.devices[0].ledger.take_in_chain(start).expect("admitted");
    world.devices[0].store(&branch).expect("new to the laptop");
    world.devices[0].log(Audience::Crew, 1, 100);
    world.devices[2].log(Audience::Crew, 1, 100);
    let link = world.connect(0, 2, 1);
    world.settle();
    assert_eq!(world.end(link, 1).set_aside, [Refusal::Forked]);
    assert_eq!((&world.end(link, 0).ended, &world.end(link, 1).ended), (&None, &None));
    assert_eq!(world.digest(0), world.digest(2));
    assert!(!world.devices[0].ledger.frontier(None).tips.contains_key(&start.chain));
    assert!(world.is_settled(link));
}
