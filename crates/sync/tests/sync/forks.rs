//! Forks: a device that was copied or set back, and whose two lines meet.

use ledger::roster::{Cut, Lacking, Standing};
use ledger::roster_events::Role;
use ledger::{Audience, Refusal};
use proptest::prelude::*;
use sync::{CommonGround, Output, Session};

use crate::device::{Device, UNKNOWN_KIND};
use crate::world::World;

/// A laptop, a lead's phone, a hand's phone, and that phone once more from a copy made after `shared` events.
fn crew(shared: usize) -> World {
    let mut laptop = Device::founding(1);
    let lead = laptop.admit(2, "Tobi Larch", Role::Lead, false);
    let hand = laptop.admit(3, "Ines Quill", Role::Hand, false);
    let mut world = World::new(vec![laptop, lead, hand]);
    for phone in [1, 2] {
        world.connect(0, phone, 1);
        world.settle();
        world.cut(phone - 1);
    }
    log(&mut world.devices[2], b"shared", shared);
    let copy = world.devices[2].copy();
    world.devices.push(copy);
    world
}

/// Some events in runs of their own.
fn log(device: &mut Device, what: &[u8], count: usize) {
    for _ in 0..count {
        device.append(Audience::Crew, UNKNOWN_KIND, &[what.to_vec()]);
    }
}

fn meet(world: &mut World, a: usize, b: usize) {
    let link = world.connect(a, b, 1);
    world.settle();
    for side in [0, 1] {
        assert_eq!(world.end(link, side).ended, None);
    }
    assert!(world.is_settled(link), "both know that nothing is left to say");
    assert_eq!(world.digest(a), world.digest(b), "what counts is the same");
    world.cut(link);
}

fn base(world: &World, device: usize) -> Option<Cut> {
    let chain = world.devices[2].chain(Audience::Crew);
    let chain = world.devices[device].ledger.chain(&chain.chain)?;
    chain.fork.as_ref().map(|fork| fork.proof().base())
}

fn counted(world: &World, device: usize) -> u64 {
    let chain = world.devices[2].chain(Audience::Crew);
    let ledger = &world.devices[device].ledger;
    ledger.chain(&chain.chain).map_or(0, |chain| ledger.counted_tip(chain).0)
}

#[test]
fn both_lines_count_up_to_where_they_part_wherever_that_is() {
    // Deep in a long past, at the very beginning, and right at the end of what both hold.
    for (shared, one, other) in [(3, 4, 2), (0, 3, 3), (0, 1, 40), (700, 1, 1), (5, 900, 3), (40, 2_500, 1)] {
        let mut world = crew(shared);
        log(&mut world.devices[2], b"one", one);
        log(&mut world.devices[3], b"another", other);
        meet(&mut world, 0, 2);
        meet(&mut world, 1, 3);
        meet(&mut world, 0, 1);
        let shared = shared as u64;
        for device in [0, 1] {
            assert_eq!(base(&world, device).map(|base| base.count), Some(shared), "{shared} {one} {other}");
            assert_eq!(counted(&world, device), shared);
        }
        // The two copies hear of it from others, and agree with everybody.
        meet(&mut world, 2, 0);
        meet(&mut world, 3, 1);
        assert_eq!(base(&world, 2), base(&world, 3));
        // Nothing more is taken of either line.
        log(&mut world.devices[1], b"goes on", 1);
        meet(&mut world, 0, 1);
        meet(&mut world, 0, 2);
    }
}

#[test]
fn a_line_that_was_written_by_a_clock_behind_the_others_is_no_breach() {
    // The longer line is of an earlier time than what the other device holds: behind that, its time would run back.
    for (one, another) in [(2, 5), (5, 2)] {
        let mut world = crew(3);
        world.devices[2].now_ms = 9_000_000;
        log(&mut world.devices[2], b"one", one);
        log(&mut world.devices[3], b"another", another);
        meet(&mut world, 0, 2);
        meet(&mut world, 1, 3);
        meet(&mut world, 0, 1); // Nobody ends the session, and the fork is found.
        for device in [0, 1] {
            assert_eq!(base(&world, device).map(|base| base.count), Some(3), "{one} {another}");
        }
    }
}

#[test]
fn whoever_joins_later_counts_as_everybody_does() {
    let mut world = crew(4);
    log(&mut world.devices[2], b"one", 3);
    log(&mut world.devices[3], b"another", 5);
    meet(&mut world, 0, 2);
    meet(&mut world, 0, 3);
    let late = world.devices[0].admit(9, "Rowan Ash", Role::Hand, false);
    world.devices.push(late);
    meet(&mut world, 0, 1);
    meet(&mut world, 0, 4);
    assert_eq!(base(&world, 4).map(|base| base.count), Some(4));
    meet(&mut world, 4, 1);
}

#[test]
fn the_lowest_fork_wins() {
    let mut world = crew(2);
    let early = world.devices[3].copy();
    world.devices.push(early);
    log(&mut world.devices[2], b"one", 6);
    let late = world.devices[2].copy();
    world.devices.push(late);
    log(&mut world.devices[2], b"on the phone", 3);
    log(&mut world.devices[5], b"on its copy", 2);
    log(&mut world.devices[4], b"another", 9);
    // The laptop hears of the upper fork, the lead of the lower one.
    meet(&mut world, 0, 2);
    meet(&mut world, 0, 5);
    assert_eq!(base(&world, 0).map(|base| base.count), Some(8));
    meet(&mut world, 1, 4);
    meet(&mut world, 1, 2);
    assert_eq!(base(&world, 1).map(|base| base.count), Some(2));
    meet(&mut world, 0, 1);
    assert_eq!(base(&world, 0).map(|base| base.count), Some(2));
    meet(&mut world, 0, 5);
    assert_eq!(base(&world, 5).map(|base| base.count), Some(2));
}

#[test]
fn a_retirement_that_names_a_branch_beats_the_fork_whoever_holds_what() {
    let mut world = crew(2);
    log(&mut world.devices[2], b"one", 3);
    log(&mut world.devices[3], b"another", 7);
    // The laptop holds one line and retires the phone at its end; the lead holds the other, and the fork is unknown.
    meet(&mut world, 0, 2);
    meet(&mut world, 1, 3);
    let phone = world.devices[2].copy();
    world.devices[0].retire(&phone, 5);
    assert_eq!(counted(&world, 0), 5);
    meet(&mut world, 0, 1);
    assert_eq!((counted(&world, 0), counted(&world, 1)), (5, 5));
    let start = phone.chain(Audience::Crew);
    let roster = world.devices[1].ledger.roster();
    assert_eq!(roster.cut(&start).map(|cut| cut.count), Some(5));
    // Somebody who hears of the fork first, and of the retirement then, comes to the same.
    let mut world = crew(2);
    log(&mut world.devices[2], b"one", 3);
    log(&mut world.devices[3], b"another", 7);
    meet(&mut world, 0, 2);
    meet(&mut world, 1, 3);
    meet(&mut world, 0, 1);
    assert_eq!((counted(&world, 0), counted(&world, 1)), (2, 2));
    let phone = world.devices[2].copy();
    world.devices[0].retire(&phone, 5);
    assert_eq!(counted(&world, 0), 5, "the laptop holds that line");
    meet(&mut world, 0, 1);
    assert_eq!(counted(&world, 1), 5, "the lead holds it in the proof");
    // The other line's events are set aside there, and this one's count.
    let hashes = |device: usize| {
        let held = world.devices[device].runs[&start.chain].clone();
        let mut before = start.anchor(&world.devices[0].ledger.crew());
        let mut hashes = Vec::new();
        for run in held {
            hashes.extend(run.placed_events(before).map(|event| event.hash));
            before = *hashes.last().expect("an event");
        }
        hashes
    };
    let (one, another) = (hashes(2), hashes(3));
    let ledger = &world.devices[1].ledger;
    for seq in 2..5_usize {
        assert_eq!(ledger.roster().lacks_by_place(&start, seq as u64, &one[seq]), None);
        assert_eq!(ledger.roster().lacks_by_place(&start, seq as u64, &another[seq]), Some(Lacking::Forked));
    }
    let beyond = ledger.roster().lacks_by_place(&start, 6, &another[6]);
    assert_eq!(beyond.map(Standing::Without), Some(Standing::Without(Lacking::Forked)));
}

#[test]
fn a_peer_that_shows_nothing_or_something_else_gets_nowhere() {
    let mut world = crew(5);
    log(&mut world.devices[2], b"one", 3);
    meet(&mut world, 0, 2);
    let start = world.devices[2].chain(Audience::Crew);
    let laptop = &world.devices[0];
    let mut session = Session::new(world.devices[1].key(), CommonGround::default(), &laptop.ledger);
    let hello = [&[1, 1, 0][..], &laptop.ledger.crew().0, &[9; 32], &[0; 16]].concat();
    session.handle_frame(&hello, &laptop.ledger);
    // It claims to hold as many events, and another last one.
    let mut claimed = vec![2, 1];
    claimed.extend_from_slice(&start.chain.0);
    claimed.push(8);
    claimed.extend_from_slice(&[7; 12]);
    session.handle_frame(&claimed, &laptop.ledger);
    let sent: Vec<Output> = std::iter::from_fn(|| session.poll_output()).collect();
    let asked = sent.iter().any(|output| matches!(output, Output::Send(frame) if frame.kind() == 8));
    assert!(asked, "it is asked to show its line");
    session.handle_frame(&[9, 1], &laptop.ledger);
    assert!(session.poll_output().is_none());
    assert_eq!(base(&world, 0), None);
    // Not asked, it may not show anything; and what is no proof ends the session.
    session.handle_frame(&[9, 1], &laptop.ledger);
    assert_eq!(
        std::iter::from_fn(|| session.poll_output()).last(),
        Some(Output::Close(Refusal::UnexpectedFrame))
    );
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    #[test]
    fn in_any_order_of_meetings_all_come_to_the_same(
        shared in 0..6_usize,
        branches in prop::array::uniform3(1..6_usize),
        meetings in prop::collection::vec((0..5_usize, 0..5_usize), 0..12),
        retired_at in prop::option::of(1..12_u64),
    ) {
        let mut world = crew(shared);
        let third = world.devices[3].copy();
        world.devices.push(third);
        for (device, (what, count)) in [(2, (&b"one"[..], branches[0])), (3, (b"two", branches[1])), (4, (b"three", branches[2]))] {
            log(&mut world.devices[device], what, count);
        }
        let mut retired_at = retired_at.filter(|at| *at <= (shared + branches[0]) as u64);
        for (number, (a, b)) in meetings.iter().enumerate() {
            if number == 4 && let Some(at) = retired_at.take() {
                let phone = world.devices[2].copy();
                world.devices[0].retire(&phone, at);
            }
            if a != b {
                let link = world.connect(*a, *b, 1);
                world.settle();
                world.cut(link);
            }
        }
        for _ in 0..3 {
            for (a, b) in [(0, 1), (0, 2), (1, 3), (0, 3), (1, 4), (0, 4), (0, 1)] {
                let link = world.connect(a, b, 1);
                world.settle();
                world.cut(link);
            }
        }
        prop_assert_eq!(world.digest(0), world.digest(1));
        // Whoever holds the crew's word counts alike, and nobody beyond the first place where two parted.
        let retired = world.devices[0].ledger.roster().devices().any(|device| device.retired);
        if !retired {
            prop_assert_eq!(counted(&world, 0), shared as u64);
            for device in 2..5 {
                prop_assert_eq!(world.digest(0), world.digest(device));
            }
        }
    }
}
