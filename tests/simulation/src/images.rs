//! Whole disks that are copied and set back, so that no program can tell: a machine's snapshot, or a disk that is cloned.
//! Whoever goes on from one writes a second line into its own chains, unless somebody tells it in time.

use std::sync::Arc;

use crate::device::{Device, Image};
use crate::dice::Dice;
use crate::model::Broken;
use crate::world::{World, survival};

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
    let clone = Device { name: name.clone(), promised, lacks, ..original.without_past(machine) };
    world.devices.push(clone);
    world.tell(|| format!("{name} is made"));
    world.switch_on(world.devices.len() - 1, dice)
}
