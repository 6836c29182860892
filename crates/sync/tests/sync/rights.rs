//! Who is sent what, and what becomes of a device that is retired.

use ledger::roster_events::Role;
use ledger::{Audience, Kind, Refusal, RunBuilder};
use sync::{CommonGround, Output, Session};

use crate::device::UNKNOWN_KIND;
use crate::{crew, crew_with_new_phone};

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
fn a_device_that_was_let_in_is_heard_by_whoever_has_not_heard_of_it() {
    let mut world = crew();
    let new = world.devices[0].admit(5, "Tobi Larch", Role::Lead, false);
    world.devices.push(new);
    world.connect(0, 4, 1);
    world.settle();
    world.cut_all();
    world.devices[4].log(Audience::Crew, 2, 100);
    world.devices[3].log(Audience::Crew, 3, 100);
    // The boss is away; the new phone and the hand's meet on site, whichever of them calls.
    for (one, other) in [(3, 4), (4, 2)] {
        let link = world.connect(one, other, 1);
        world.settle();
        assert!(world.is_settled(link));
        assert_eq!(world.digest(one), world.digest(other));
        world.cut(link);
    }
}

#[test]
fn one_that_is_heard_first_and_turns_out_retired_is_given_nothing() {
    let mut world = crew_with_new_phone();
    let gone = world.devices.remove(4);
    world.devices[0].retire(&gone, 2);
    world.devices.push(gone);
    // It hears that it was taken off, and then meets the hand's, which has heard nothing of it.
    world.appended(0);
    world.settle();
    world.cut_all();
    assert!(world.devices[4].holds_kind(Kind::DeviceRetired));
    world.devices[3].log(Audience::Crew, 3, 100);
    let before = world.digest(4);
    let link = world.connect(3, 4, 1);
    world.settle();
    assert_eq!(world.end(link, 0).ended, Some(Output::Close(Refusal::Retired)));
    assert_eq!(world.digest(4), before);
    let kinds: Vec<u8> = world.end(link, 0).sent_frames.iter().map(|frame| frame[0]).collect();
    assert_eq!(kinds, [1, 2, 6], "a hello, that nothing is held, goodbye");
}

#[test]
fn two_that_have_not_heard_of_each_other_part() {
    let mut world = crew();
    for (owner, seed) in [(0, 5), (1, 6)] {
        let new = world.devices[owner].admit(seed, "Wren Alder", Role::Hand, false);
        world.devices.push(new);
        let device = world.devices.len() - 1;
        world.connect(owner, device, 1);
        world.settle();
    }
    world.cut_all();
    let before = [world.digest(4), world.digest(5)];
    let link = world.connect(4, 5, 1);
    world.settle();
    assert!((0..2).all(|side| world.end(link, side).sent_frames.is_empty()), "nobody speaks first");
    assert_eq!([world.digest(4), world.digest(5)], before);
    // An owner's device that has heard of both lets each know of the other.
    for (one, other) in [(0, 4), (1, 5), (0, 1), (1, 4), (4, 5)] {
        world.connect(one, other, 1);
        world.settle();
    }
    assert_eq!(world.digest(4), world.digest(5));
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
    session.handle_frame(&hello.content(), &laptop.ledger);
    session.handle_frame(&[2, 1], &laptop.ledger);
    // A run of the hand's office chain was on its way to the disk when the retirement cut it to nothing.
    let mut ledger = laptop.ledger.clone();
    ledger.take_in_chain(office).expect("admitted once is enough for a chain to be taken in");
    session.handle_stored(office.chain, &ledger);
    let sent: Vec<Output> = std::iter::from_fn(|| session.poll_output()).collect();
    assert!(!sent.is_empty());
    assert!(!sent.iter().any(|output| matches!(output, Output::Send(frame) if frame.kind() == 5)));
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
