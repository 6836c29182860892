//! People at work: what they log, correct, cross out and say yes to, by the commands that a phone gives.

use daemon::Node;
use daemon::command::{self, Command};
use ledger::{Body, EntryRef, Kind};

use crate::crew::{DAYWORK, FIXED, PEOPLE, STAGES, row};
use crate::device::Device;
use crate::dice::Dice;
use crate::model::Broken;
use crate::world::World;

/// A device that is switched on.
pub(crate) fn some_device(world: &World, dice: &mut Dice) -> Option<usize> {
    let on = world.places(Device::is_on);
    dice.pick(&on).copied()
}

/// A device that is switched on and whose program knows a kind of event.
fn some_device_with(world: &World, kind: Kind, dice: &mut Dice) -> Option<usize> {
    some_device(world, dice).filter(|place| world.devices[*place].lacks != Some(kind))
}

pub(crate) fn run(
    world: &mut World,
    place: usize,
    what: &str,
    dice: &mut Dice,
    command: Command,
) -> Result<bool, Broken> {
    let done = world.use_node(place, what, dice, |node| command::run(node, command))?;
    Ok(done.is_some())
}

fn log(world: &mut World, place: usize, cells: &[(&str, &str)], dice: &mut Dice) -> Result<(), Broken> {
    let words: Vec<&str> = cells.iter().map(|(_, value)| *value).collect();
    run(world, place, &words.join(" "), dice, Command::Log { row: row(cells) })?;
    Ok(())
}

/// Minutes that somebody worked.
fn minutes(dice: &mut Dice) -> String {
    (15 * (1 + dice.below(32))).to_string()
}

/// Hours of one's own, or of a mate.
pub(crate) fn log_hours(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let Some(place) = some_device(world, dice) else { return Ok(()) };
    log_hours_on(world, place, dice)
}

/// The same on one device.
pub(crate) fn log_hours_on(world: &mut World, place: usize, dice: &mut Dice) -> Result<(), Broken> {
    let own = world.devices[place].person;
    let person = if dice.one_in(4) { dice.pick(&PEOPLE).map_or(own, |(name, _)| name) } else { own };
    let minutes = minutes(dice);
    log(
        world,
        place,
        &[("kind", "hours"), ("job", DAYWORK), ("stage", "patch"), ("person", person), ("minutes", &minutes)],
        dice,
    )
}

/// Plaster that was used.
pub(crate) fn log_material(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let Some(place) = some_device_with(world, Kind::Used, dice) else { return Ok(()) };
    let quantity = (1 + dice.below(80)).to_string();
    log(
        world,
        place,
        &[
            ("kind", "used"),
            ("job", DAYWORK),
            ("stage", "patch"),
            ("what", "finish plaster"),
            ("quantity", &quantity),
            ("unit", "kg"),
        ],
        dice,
    )
}

/// A note.
pub(crate) fn note(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let Some(place) = some_device(world, dice) else { return Ok(()) };
    log(world, place, &[("kind", "note"), ("job", FIXED), ("note", "the key is next door")], dice)
}

/// A stage is signed off, or opened again.
pub(crate) fn sign_off(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let Some(place) = some_device(world, dice) else { return Ok(()) };
    let stage = dice.pick(&STAGES).copied().unwrap_or_default();
    let kind = if dice.one_in(3) { "reopened" } else { "signed-off" };
    log(world, place, &[("kind", kind), ("job", FIXED), ("stage", stage), ("note", "looked at")], dice)
}

/// An entry of time or material that stands in a node's book, with whether it is material.
fn some_entry(node: &Node, dice: &mut Dice) -> Option<(EntryRef, bool)> {
    let standing: Vec<(EntryRef, bool)> = node
        .book()
        .entries()
        .filter_map(|entry| match entry.body.as_ref() {
            Body::Hours(_) => Some((entry.entry_ref(), false)),
            Body::Used(_) => Some((entry.entry_ref(), true)),
            _ => None,
        })
        .collect();
    // People put right what they logged just now more often than what lies long ago.
    let late = standing.len().saturating_sub(12);
    let from = if dice.one_in(3) { &standing[..] } else { &standing[late..] };
    dice.pick(from).copied()
}

/// Somebody puts an entry right.
pub(crate) fn correct(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let Some(place) = some_device_with(world, Kind::Corrected, dice) else { return Ok(()) };
    let Some((entry, is_material)) = world.devices[place].with(|node| some_entry(node, dice)).flatten()
    else {
        return Ok(());
    };
    let (key, amount) = (entry.entry.to_string(), minutes(dice));
    let column = if is_material { "quantity" } else { "minutes" };
    log(world, place, &[("kind", "corrected"), ("corrects", &key), (column, &amount)], dice)
}

/// Somebody crosses an entry out.
pub(crate) fn strike(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let Some(place) = some_device_with(world, Kind::Struck, dice) else { return Ok(()) };
    let found = world.devices[place].with(|node| some_entry(node, dice)).flatten();
    let Some((entry, _)) = found else { return Ok(()) };
    log(world, place, &[("kind", "struck"), ("corrects", &entry.entry.to_string())], dice)
}

/// Somebody crosses out what they did last, or takes that back.
pub(crate) fn undo(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let Some(place) = some_device_with(world, Kind::Struck, dice) else { return Ok(()) };
    let back = dice.one_in(2);
    run(world, place, if back { "undo --back" } else { "undo" }, dice, Command::Undo { back })?;
    Ok(())
}

/// Somebody says yes to what a mate logged.
pub(crate) fn accept(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let Some(place) = some_device_with(world, Kind::Accepted, dice) else { return Ok(()) };
    let proposed: Vec<String> = world.devices[place]
        .with(|node| node.book().proposed().map(|logged| logged.act.entry.to_string()).collect())
        .unwrap_or_default();
    let Some(entry) = dice.pick(&proposed).cloned() else { return Ok(()) };
    run(world, place, &format!("accept {entry}"), dice, Command::Accept { entry })?;
    Ok(())
}

/// The same form comes to two devices, or twice to one; somebody may have changed it in between.
pub(crate) fn send_twice(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let Some(first) = some_device(world, dice) else { return Ok(()) };
    let person = world.devices[first].person;
    let others = world.places(|device| device.is_on() && device.person == person);
    let second = dice.pick(&others).copied().unwrap_or(first);
    let (key, before) = (format!("form-{:08x}", dice.below(1 << 32)), minutes(dice));
    let after = if dice.one_in(3) { minutes(dice) } else { before.clone() };
    for (place, minutes) in [(first, before), (second, after)] {
        let cells = [
            ("kind", "hours"),
            ("entry", key.as_str()),
            ("job", DAYWORK),
            ("stage", "patch"),
            ("minutes", minutes.as_str()),
        ];
        log(world, place, &cells, dice)?;
    }
    Ok(())
}
