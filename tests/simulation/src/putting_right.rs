//! What people do after a fork or a cut: they enter again what was set aside, and adopt papers that went out. And old
//! programs are upgraded.

use daemon::Node;
use daemon::command::{self, Command, SetAsideWish};
use ledger::Body;
use ledger::roster::{Lacking, Standing as Rights};
use projections::billing;
use serde_json::Value;

use crate::bills;
use crate::checks::meet_until_quiet;
use crate::dice::Dice;
use crate::model::Broken;
use crate::work::{run, some_device};
use crate::world::World;

/// A fork takes nothing away from people for good.
pub const ENTERED_AGAIN: &str = "what is set aside can be entered again";

/// Most rounds of entering again: what one device holds of it another may not.
const ROUNDS: usize = 4;

/// Somebody enters again what is set aside on a device.
pub(crate) fn enter_again(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let Some(place) = some_device(world, dice) else { return Ok(()) };
    if is_anything_aside(world, place) {
        enter_again_on(world, place, dice)?;
    }
    Ok(())
}

fn is_anything_aside(world: &World, place: usize) -> bool {
    world.devices[place].with(|node| !projections::set_aside(node.book()).is_empty()) == Some(true)
}

/// Enters again all that is set aside on a device. Gives how many entries that were, and what is left that its person
/// might have entered.
fn enter_again_on(
    world: &mut World,
    place: usize,
    dice: &mut Dice,
) -> Result<Option<(u64, Vec<String>)>, Broken> {
    let answer = world.use_node(place, "enters again what is set aside", dice, |node| {
        command::run(node, Command::SetAside(SetAsideWish::AllAgain))
    })?;
    Ok(answer.map(|answer| {
        let list = |name: &str| answer[name].as_array().cloned().unwrap_or_default();
        let key = |row: &Value| row["key"].as_str().unwrap_or_default().to_owned();
        let refused: Vec<String> = list("refused").iter().map(key).collect();
        let left = list("set_aside").iter().filter(|row| row["again"] == true).map(key).collect::<Vec<_>>();
        let left = left.into_iter().filter(|key| !refused.contains(key)).collect();
        (answer["entered"].as_u64().unwrap_or_default(), left)
    }))
}

/// Everybody enters again what is set aside, until nothing is left that they may. Gives whether there was anything.
///
/// # Errors
/// [`ENTERED_AGAIN`], or another rule.
pub(crate) fn enter_all_again(world: &mut World, places: &[usize], dice: &mut Dice) -> Result<bool, Broken> {
    for round in 0..ROUNDS {
        let mut entered = 0;
        for place in places {
            if !is_anything_aside(world, *place) {
                continue;
            }
            let name = world.devices[*place].name.clone();
            match enter_again_on(world, *place, dice)? {
                Some((_, left)) if !left.is_empty() => {
                    return Err(Broken::new(ENTERED_AGAIN, format!("{name}: {}", left.join(", "))));
                }
                Some((count, _)) => entered += count,
                None => return Err(Broken::new(ENTERED_AGAIN, format!("{name} enters nothing again"))),
            }
        }
        if entered == 0 {
            return Ok(round > 0);
        }
        meet_until_quiet(world, dice)?;
    }
    Err(Broken::new(ENTERED_AGAIN, format!("it does not end after {ROUNDS} rounds")))
}

/// The numbers of the invoices that are set aside on a node.
fn numbers_aside(node: &Node) -> Vec<String> {
    let aside = node
        .book()
        .events()
        .filter(|logged| matches!(logged.standing, Rights::Without(Lacking::BeyondCut | Lacking::Forked)));
    let numbers = aside.filter_map(|logged| match &logged.body {
        Body::InvoiceIssued(issued) => Some(billing::printed_number(&issued.document)),
        _ => None,
    });
    numbers.collect()
}

/// Somebody adopts an invoice that is set aside and went out.
pub(crate) fn adopt(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let office = world.places(|device| device.with(|node| node.is_office()) == Some(true));
    let Some(place) = dice.pick(&office).copied() else { return Ok(()) };
    let numbers = world.devices[place].with(|node| numbers_aside(node)).unwrap_or_default();
    let Some(number) = dice.pick(&numbers).cloned() else { return Ok(()) };
    run(world, place, &format!("adopts {number}"), dice, Command::AdoptInvoice { number })?;
    Ok(())
}

/// Adopts about every second invoice that is set aside on a device: the others never went out, and are made anew.
///
/// # Errors
/// A rule that is broken.
pub(crate) fn adopt_on(world: &mut World, place: usize, dice: &mut Dice) -> Result<(), Broken> {
    let numbers = world.devices[place].with(|node| numbers_aside(node)).unwrap_or_default();
    for number in numbers {
        if dice.one_in(2) {
            run(world, place, &format!("adopts {number}"), dice, Command::AdoptInvoice { number })?;
        }
    }
    Ok(())
}

/// A device gets the program of today.
pub(crate) fn upgrade(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let old = world.places(|device| device.lacks.is_some());
    let Some(place) = dice.pick(&old).copied() else { return Ok(()) };
    let was_on = world.devices[place].is_on();
    world.switch_off(place, dice)?;
    let device = &mut world.devices[place];
    device.lacks = None;
    let name = device.name.clone();
    world.tell(|| format!("{name} gets the program of today"));
    if was_on { world.switch_on(place, dice) } else { Ok(()) }
}

/// Every device gets the program of today. Before that, one that holds what it does not know must bill nothing.
///
/// # Errors
/// A rule that is broken.
pub(crate) fn upgrade_all(world: &mut World, places: &[usize], dice: &mut Dice) -> Result<(), Broken> {
    for place in places {
        if world.devices[*place].lacks.is_none() {
            continue;
        }
        if world.devices[*place].with(|node| node.is_office()) == Some(true) {
            bills::waits_for_later_program(world, *place, dice)?;
        }
        world.switch_off(*place, dice)?;
        world.devices[*place].lacks = None;
        world.switch_on(*place, dice)?;
    }
    Ok(())
}
