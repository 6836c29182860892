//! Devices that met before tell each other what has changed since, and little more.

use ledger::Audience;
use ledger::roster_events::Role;

use crate::crew;
use crate::device::Device;
use crate::world::World;

/// Bytes of the hellos, the least that a meeting costs, each way.
const HELLO: usize = 84;

/// Fifty devices that hold the same, and that remember it of the first: it has met every one of them.
fn fifty() -> World {
    let mut laptop = Device::founding(1);
    let mut devices: Vec<Device> =
        (2..=50).map(|seed| laptop.admit(seed, "Ines Quill", Role::Hand, false)).collect();
    devices.insert(0, laptop);
    let mut world = World::new(devices);
    for device in 1..50 {
        world.connect(0, device, 1);
        world.settle();
        world.devices[device].log(Audience::Crew, 20, 240);
        world.appended(device);
    }
    world.settle();
    world.cut_all();
    world
}

/// Lets two devices meet, and gives what that cost both ways together: bytes beside the hellos and the runs.
fn meet(world: &mut World, one: usize, other: usize) -> usize {
    let link = world.connect(one, other, 1);
    world.settle();
    assert!(world.is_settled(link));
    assert_eq!(world.digest(one), world.digest(other));
    let ends = [world.end(link, 0), world.end(link, 1)];
    let sent: usize = ends.iter().map(|end| end.sent_bytes).sum();
    let runs: usize = ends.iter().map(|end| end.stored_bytes).sum();
    world.cut(link);
    sent - runs - 2 * HELLO
}

#[test]
fn fifty_devices_that_hold_the_same_say_a_hello_each_way() {
    let mut world = fifty();
    let link = world.connect(7, 0, 1);
    world.settle();
    for side in 0..2 {
        let end = world.end(link, side);
        assert_eq!((end.sent_frames.len(), end.sent_bytes), (1, HELLO));
        assert!(end.sent_bytes <= 100);
    }
}

#[test]
fn ten_new_events_among_fifty_devices_cost_eighty_bytes_for_each_chain_beyond_the_events() {
    let mut world = fifty();
    // On ten devices, one each; the laptop hears of them, and then the phone that has heard of none.
    for (device, changed) in (10..20).zip(1..) {
        world.devices[device].log(Audience::Crew, 1, 240);
        let cost = meet(&mut world, 0, device);
        assert!((40 * changed..=80 * changed).contains(&cost), "{cost} bytes for {changed} chains");
    }
    let cost = meet(&mut world, 0, 7);
    assert!((10 * 40..=10 * 80).contains(&cost), "{cost} bytes for ten chains");
    // On one device, all ten.
    world.devices[7].log(Audience::Crew, 10, 240);
    let cost = meet(&mut world, 7, 0);
    assert!((40..=80).contains(&cost), "{cost} bytes for one chain");
}

#[test]
fn a_device_that_remembers_otherwise_is_told_everything() {
    let mut world = fifty();
    world.devices[7].common.clear(); // Its battery died before it had written down what both hold.
    world.devices[7].log(Audience::Crew, 1, 240);
    let cost = meet(&mut world, 0, 7);
    assert!(cost > 2 * 49 * 29, "{cost} bytes for all chains, each way");
    world.devices[7].log(Audience::Crew, 1, 240);
    assert!(meet(&mut world, 0, 7) <= 80, "now both remember the same");
}

#[test]
fn it_is_told_that_nothing_of_a_chain_counts_any_more() {
    let mut world = crew();
    // The owner's phone writes for the office too. A retirement that does not name that chain leaves none of it.
    world.devices[1].log(Audience::Crew, 5, 240);
    world.devices[1].log(Audience::Office, 5, 240);
    for other in 1..4 {
        meet(&mut world, 0, other);
    }
    meet(&mut world, 2, 3);
    let (owner, lost) = world.devices.split_at_mut(1);
    owner[0].retire(&lost[0], 5);
    let office = world.devices[1].chain(Audience::Office).chain;
    for (one, other) in [(0, 2), (2, 3)] {
        assert!(world.devices[other].ledger.frontier(None).tips.contains_key(&office));
        meet(&mut world, one, other);
        assert!(!world.devices[other].ledger.frontier(None).tips.contains_key(&office));
    }
}

#[test]
fn a_device_that_was_set_back_is_sent_what_it_lost_although_it_remembers_to_have_held_it() {
    let mut world = fifty();
    let before = world.devices[7].copy();
    world.devices[20].log(Audience::Crew, 3, 240);
    meet(&mut world, 0, 20);
    meet(&mut world, 0, 7);
    let remembered = std::mem::replace(&mut world.devices[7], before).common;
    assert_ne!(remembered, world.devices[7].common);
    world.devices[7].common = remembered;
    let cost = meet(&mut world, 0, 7);
    assert!(cost <= 80, "{cost} bytes for the one chain that is behind what both remember");
}
