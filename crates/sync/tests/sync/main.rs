//! Two and three devices in memory: what they say to each other, and where it leads.

mod converge;
mod device;
mod forks;
mod hostile;
mod meeting_again;
mod rights;
mod world;

use device::Device;
use ledger::Audience;
use ledger::roster_events::Role;
use world::World;

/// The owner's laptop and a phone of hers (office), and the phones of a lead and a hand, all joined.
fn crew() -> World {
    let mut laptop = Device::founding(1);
    let phone = laptop.admit(2, "Maren Oake", Role::Owner, true);
    let lead = laptop.admit(3, "Tobi Larch", Role::Lead, false);
    let hand = laptop.admit(4, "Ines Quill", Role::Hand, false);
    let mut world = World::new(vec![laptop, phone, lead, hand]);
    for device in 1..4 {
        let link = world.connect(0, device, 1);
        world.settle();
        assert!(world.is_settled(link), "{device} joined");
        world.cut(link);
    }
    world
}

/// The same and one more phone, which the laptop has let in since and which has logged two entries. Only these two have heard
/// of it, and are connected still.
fn crew_with_new_phone() -> World {
    let mut world = crew();
    let new = world.devices[0].admit(5, "Tobi Larch", Role::Lead, false);
    world.devices.push(new);
    world.connect(0, 4, 1);
    world.settle();
    world.devices[4].log(Audience::Crew, 2, 100);
    world.appended(4);
    world.settle();
    world
}
