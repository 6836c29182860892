//! Devices that meet come to hold the same, whatever was cut, delayed or appended meanwhile.

use ledger::Audience;
use ledger::roster_events::Role;
use proptest::prelude::*;
use sync::{CommonGround, Output, Session};

use crate::device::Device;
use crate::world::World;
use crate::{crew, crew_with_new_phone};

#[test]
fn a_new_device_receives_everything() {
    let mut laptop = Device::founding(1);
    laptop.log(Audience::Crew, 500, 240);
    let phone = laptop.admit(2, "Maren Oake", Role::Owner, true);
    laptop.log(Audience::Office, 20, 240);
    let mut world = World::new(vec![laptop, phone]);
    let link = world.connect(0, 1, 5);
    world.settle();
    assert_eq!(world.devices[1].events(), 500 + 2 + 20);
    assert_eq!(world.digest(0), world.digest(1));
    assert!(world.is_settled(link));
    assert_eq!(world.end(link, 1).stored_known, 0);
    assert_eq!(world.end(link, 1).caught_up, 1);
}

#[test]
fn equal_frontiers_cost_one_hello_each_way() {
    let mut world = crew();
    let link = world.connect(0, 1, 3);
    world.settle();
    for side in 0..2 {
        let end = world.end(link, side);
        assert_eq!(end.sent_frames.iter().map(Vec::len).collect::<Vec<_>>(), [83]);
        assert_eq!(end.caught_up, 1);
    }
    assert!(world.is_settled(link));
}

#[test]
fn both_sides_send_what_the_other_lacks_and_nothing_twice() {
    let mut world = crew();
    world.devices[0].log(Audience::Crew, 30, 100);
    world.devices[1].log(Audience::Crew, 40, 100);
    let link = world.connect(0, 1, 3);
    world.settle();
    assert_eq!(world.digest(0), world.digest(1));
    for side in 0..2 {
        let end = world.end(link, side);
        assert_eq!((end.stored_new, end.stored_known), (1, 0));
    }
    assert!(world.is_settled(link));
}

#[test]
fn what_is_appended_while_connected_arrives_without_being_asked_for() {
    let mut world = crew();
    let link = world.connect(0, 1, 3);
    world.settle();
    world.devices[0].log(Audience::Crew, 1, 240);
    world.appended(0);
    world.settle();
    assert_eq!(world.digest(0), world.digest(1));
    let end = world.end(link, 0);
    assert_eq!(end.sent_frames.len(), 2, "a hello and one part of a run");
    let held = end.session.peer_holds()[&world.devices[0].chain(Audience::Crew).chain];
    assert_eq!(held, world.devices[0].ledger.chains().next().expect("the founding chain").tip.next_seq);
}

#[test]
fn a_relay_passes_on_what_it_receives() {
    let mut world = crew();
    world.connect(2, 0, 2);
    world.connect(0, 3, 7);
    world.settle();
    world.devices[2].log(Audience::Crew, 3, 240);
    world.appended(2);
    world.settle();
    assert_eq!(world.digest(2), world.digest(0));
    assert_eq!(world.digest(3), world.digest(0));
    assert_eq!(world.end(0, 0).stored_new, 0, "nothing comes back to the one who wrote it");
}

#[test]
fn a_device_admitted_while_away_is_known_before_its_chains_come() {
    let mut world = crew_with_new_phone();
    // The hand has heard of neither the admission nor the chain. A slow disk keeps both under way.
    world.disk = 50;
    let link = world.connect(3, 0, 1);
    world.settle();
    assert_eq!(world.digest(3), world.digest(0));
    assert!(world.end(link, 0).set_aside.is_empty());
}

#[test]
fn memory_stays_bounded_however_much_is_sent() {
    let mut laptop = Device::founding(1);
    for _ in 0..24 {
        laptop.log(Audience::Crew, 4, 250_000);
    }
    let phone = laptop.admit(2, "Maren Oake", Role::Owner, true);
    let mut world = World::new(vec![laptop, phone]);
    world.disk = 1_000;
    let link = world.connect(0, 1, 1);
    world.settle();
    assert_eq!(world.digest(0), world.digest(1));
    let most = world.end(link, 1).most_queued;
    assert!((6_000_000..10 * 1024 * 1024).contains(&most), "{most} bytes waited for the disk at once");
}

#[test]
fn no_more_is_read_than_the_connection_takes() {
    let mut laptop = Device::founding(1);
    for _ in 0..8 {
        laptop.log(Audience::Crew, 4, 250_000);
    }
    let phone = laptop.admit(2, "Maren Oake", Role::Owner, true);
    let mut session = Session::new(phone.key(), CommonGround::default(), &laptop.ledger);
    let hello = Session::joining(laptop.key(), &phone.ledger).poll_output();
    let Some(Output::Send(hello)) = hello else { panic!("a hello comes first") };
    session.handle_frame(&hello.content(), &laptop.ledger);
    session.handle_frame(&[2, 1], &laptop.ledger); // The frontier of one who holds nothing.
    let mut reads = 0;
    while let Some(output) = session.poll_work() {
        if let Output::Read { chain, from_seq } = output {
            reads += 1;
            session.handle_read(chain, laptop.read(chain, from_seq), &laptop.ledger);
        }
    }
    assert_eq!(reads, 2, "one run to send and one ahead");
}

#[test]
fn chains_come_parents_first_whatever_their_ids() {
    for seed in 0..4 {
        // Three generations, with ids that fall from one to the next, in four different orders of keys.
        let mut laptop = Device::founding(60 + seed);
        let phone = laptop.admit(40 + seed, "Maren Oake", Role::Owner, true);
        let mut world = World::new(vec![laptop, phone]);
        world.connect(0, 1, 1);
        world.settle();
        let tablet = world.devices[1].admit(20 + seed, "Maren Oake", Role::Owner, true);
        world.devices.push(tablet);
        world.appended(1);
        world.connect(1, 2, 1);
        world.settle();
        world.devices[2].log(Audience::Office, 1, 10);
        let last = world.devices[2].admit(10 + seed, "Ines Quill", Role::Hand, true);
        world.devices.push(last);
        world.appended(2);
        world.settle();
        let link = world.connect(0, 3, 1);
        world.settle();
        assert_eq!(world.digest(3), world.digest(0));
        assert!(world.end(link, 1).set_aside.is_empty());
        assert_eq!(world.devices[3].ledger.chains().count(), 4);
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(40))]

    /// Random appends, delays, cuts and reconnections among four devices, one of which may be retired
    /// at any place of its chain; then all meet once more.
    #[test]
    fn all_converge(seed in any::<u64>(), retires in any::<bool>()) {
        let joined = crew();
        let mut world = World::seeded(joined.devices, seed);
        let pairs = [(0, 1), (0, 2), (0, 3), (1, 2), (2, 3), (1, 3)];
        let retires_at = if retires { 20 + world.random(40) } else { u64::MAX };
        for turn in 0..60 {
            if turn == retires_at {
                let hand = world.devices.remove(3);
                let written = hand.ledger.chain(&hand.chain(Audience::Crew).chain).map(|chain| chain.tip.next_seq);
                if let Some(written) = written {
                    let count = 1 + world.random(written);
                    world.devices[0].retire(&hand, count);
                }
                world.devices.push(hand);
                world.appended(0);
            }
            match world.random(6) {
                0 | 1 => {
                    let device = usize::try_from(world.random(4)).expect("small");
                    let count = usize::try_from(1 + world.random(20)).expect("small");
                    let audience = if world.random(3) == 0 { Audience::Office } else { Audience::Crew };
                    let writer = &mut world.devices[device];
                    let knows_itself_retired =
                        writer.ledger.roster().device(&writer.key()).is_some_and(|own| own.retired);
                    if !knows_itself_retired {
                        writer.log(audience, count, 5_000);
                    }
                    world.appended(device);
                }
                2 => {
                    let (a, b) = pairs[usize::try_from(world.random(6)).expect("small")];
                    let delay = 1 + world.random(9);
                    world.connect(a, b, delay);
                }
                3 if !world.links.is_empty() => {
                    let count = u64::try_from(world.links.len()).expect("small");
                    let link = usize::try_from(world.random(count)).expect("small");
                    world.cut(link);
                }
                _ => {
                    for _ in 0..world.random(12) {
                        world.step();
                    }
                }
            }
        }
        world.settle();
        for link in 0..world.links.len() {
            world.cut(link);
        }
        let last: Vec<usize> = pairs.iter().map(|(a, b)| world.connect(*a, *b, 2)).collect();
        world.settle();
        let hand = world.devices[3].key();
        let retired = world.devices[0].ledger.roster().device(&hand).is_some_and(|device| device.retired);
        let still_there = if retired { 0..3 } else { 0..4 };
        for (link, (a, b)) in last.into_iter().zip(pairs) {
            let both = still_there.contains(&a) && still_there.contains(&b);
            prop_assert_eq!(world.is_settled(link), both, "link of {} and {}", a, b);
        }
        // The office's chains, too: what is sealed in them is carried by all.
        let held: Vec<_> = still_there.map(|device: usize| world.devices[device].ledger.frontier(None)).collect();
        prop_assert!(held.windows(2).all(|pair| pair[0] == pair[1]));
    }
}
