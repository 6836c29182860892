//! Whole disks that are copied and set back, so that no program can tell: a machine's snapshot, or a disk that is cloned.
//! Whoever goes on from one writes a second line into its own chains, unless somebody tells it in time.

use std::sync::Arc;

use daemon::command::Command;

use crate::crew::DAYWORK;
use crate::device::{Device, Image};
use crate::dice::Dice;
use crate::model::Broken;
use crate::world::{World, survival};
use crate::{office, work};

/// Somebody takes an image of a whole disk, whatever the device does.
pub(crate) fn take(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let there = world.places(|device| !device.destroyed && !device.scarred);
    let Some(place) = dice.pick(&there).copied() else { return Ok(()) };
    let device = &mut world.devices[place];
    device.image = Some(device.imaged());
    let name = device.name.clone();
    world.tell(|| format!("an image is taken of {name}"));
    Ok(())
}

/// A machine is set back to its image, and goes on.
pub(crate) fn set_back(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let kept = world.places(|device| device.image.is_some() && !device.destroyed);
    let Some(place) = dice.pick(&kept).copied() else { return take(world, dice) };
    set_back_on(world, place, dice)
}

fn set_back_on(world: &mut World, place: usize, dice: &mut Dice) -> Result<(), Broken> {
    let survival = survival(dice);
    world.lose_power(place, survival, dice);
    let World { devices, model, .. } = world;
    let device = &mut devices[place];
    let Some(Image { disk, index, promised, chosen, lacks }) = &device.image else { return Ok(()) };
    let disk = disk.crash(store::Survival::Everything);
    let machine = device.machine.set_back_to(disk, index.copied(), Dice::new(dice.throw()));
    model.set_back(&device.key, promised, chosen);
    (device.promised, device.lacks) = (promised.clone(), *lacks);
    (device.machine, device.scarred) = (Arc::new(machine), false);
    let name = device.name.clone();
    world.tell(|| format!("{name} is set back to its image"));
    world.switch_on(place, dice)
}

/// The office bills on a machine, which is set back to before that and bills again, perhaps under the same numbers. Each
/// time somebody hears of it.
pub(crate) fn bill_and_set_back(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let office = |device: &Device| !device.scarred && device.with(|node| node.is_office()) == Some(true);
    let Some(place) = dice.pick(&world.places(office)).copied() else { return Ok(()) };
    let device = &mut world.devices[place];
    device.image = Some(device.imaged());
    for line in 0..2 {
        if line > 0 {
            set_back_on(world, place, dice)?;
        }
        work::log_hours_on(world, place, dice)?;
        office::issue_on(world, place, DAYWORK, dice)?;
        let number = office::numbers(world, place).pop();
        if let Some(number) = number.filter(|_| dice.one_in(2)) {
            let what = format!("credit {number}, whole: true");
            work::run(world, place, &what, dice, Command::CreditInvoice { number, whole: true })?;
        }
        let others = world.places(|device| device.is_on() && device.key != world.devices[place].key);
        if let Some(other) = dice.pick(&others).copied() {
            world.connect(place, other);
            world.let_talk(world.links.len().saturating_sub(1), 2_000, dice)?;
        }
    }
    Ok(())
}

/// A disk is cloned into a machine that nobody can tell from the first, and both are used.
pub(crate) fn clone_machine(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let there = world.places(|device| !device.destroyed && !device.scarred);
    if world.devices.len() >= 9 || !dice.one_in(2) {
        return Ok(());
    }
    let Some(place) = dice.pick(&there).copied() else { return Ok(()) };
    let World { devices, model, .. } = world;
    let original = &devices[place];
    let Image { disk, index, promised, chosen, lacks } = original.imaged();
    model.set_back(&original.key, &promised, &chosen);
    let machine = Arc::new(original.machine.set_back_to(disk, index, Dice::new(dice.throw())));
    let name = format!("{}-clone", original.name);
    let clone = Device { promised, lacks, ..Device::new(&name, original.person, original.key, machine) };
    world.devices.push(clone);
    world.tell(|| format!("{name} is made"));
    world.switch_on(world.devices.len() - 1, dice)
}
