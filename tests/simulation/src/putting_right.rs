//! What people do after a fork, a cut or damage: they enter again what was set aside, take on papers that went out, and
//! list anew what every disk lost. And old programs are upgraded.

use daemon::command::{self, Command, SetAsideWish};
use daemon::{Node, NodeError};
use ledger::EventHash;
use ledger::office::Document;
use projections::billing;
use serde_json::Value;

use crate::bills;
use crate::checks::meet_until_quiet;
use crate::crew::{self, DAYWORK, PEOPLE};
use crate::dice::Dice;
use crate::model::Broken;
use crate::office::works;
use crate::work::{run, some_device};
use crate::world::World;

/// A fork takes nothing away from people for good.
pub const ENTERED_AGAIN: &str = "what is set aside can be entered again";
/// A paper that went out is the same paper when it is taken on: its event, its number, all that it prints.
pub const TAKEN_ON: &str = "a paper that is taken on counts as the same paper";

/// What is lost for good is listed anew by those who know it.
pub const LISTED_ANEW: &str = "lists that were lost can be listed anew";

/// Most rounds of entering again: what one device holds of it another may not.
const ROUNDS: usize = 4;

/// Somebody enters again what is set aside on a device: all of it, or one entry by its key.
pub(crate) fn enter_again(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let Some(place) = some_device(world, dice) else { return Ok(()) };
    if !is_anything_aside(world, place) {
        return Ok(());
    }
    if dice.one_in(2) {
        enter_again_on(world, place, dice)?;
        return Ok(());
    }
    let list = world.devices[place].with(|node| command::run(node, Command::SetAside(SetAsideWish::List)));
    let Some(Ok(list)) = list else { return Ok(()) };
    let keys = keys_of(&list, |row| row["again"] == true);
    let Some(key) = dice.pick(&keys).cloned() else { return Ok(()) };
    let wish = SetAsideWish::Again(vec![key.clone()]);
    let answer = world.use_node(place, &format!("enters {key} again"), dice, |node| {
        command::run(node, Command::SetAside(wish))
    })?;
    let Some(answer) = answer else { return Ok(()) };
    let refused = answer["refused"].as_array().is_some_and(|refused| !refused.is_empty());
    if !refused && keys_of(&answer, |row| row["again"] == true).contains(&key) {
        return Err(Broken::new(ENTERED_AGAIN, format!("{key} waits still")));
    }
    Ok(())
}

/// The keys of these rows of what is set aside.
fn keys_of(list: &Value, wanted: impl Fn(&Value) -> bool) -> Vec<String> {
    let rows = list["set_aside"].as_array().into_iter().flatten().filter(|row| wanted(row));
    rows.filter_map(|row| row["key"].as_str().map(str::to_owned)).collect()
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
        let refused = answer["refused"].as_array().cloned().unwrap_or_default();
        let refused: Vec<&str> = refused.iter().filter_map(|row| row["key"].as_str()).collect();
        let mut left = keys_of(&answer, |row| row["again"] == true);
        left.retain(|key| !refused.contains(&key.as_str()));
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

/// A paper that is set aside.
struct Aside {
    event: EventHash,
    document: Document,
    is_credit: bool,
}

/// The papers that are set aside on a node, invoices first.
fn papers_aside(node: &Node) -> Vec<Aside> {
    let waiting = projections::set_aside(node.book());
    let papers = waiting.into_iter().filter_map(billing::paper_of);
    let papers = papers.map(|paper| Aside {
        event: paper.event,
        document: paper.document.clone(),
        is_credit: paper.credits.is_some(),
    });
    let mut papers: Vec<Aside> = papers.collect();
    papers.sort_by_key(|paper| paper.is_credit);
    papers
}

/// Somebody takes on a paper that is set aside and went out, by its key or by its number.
pub(crate) fn adopt(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let office = world.places(|device| device.with(|node| node.is_office()) == Some(true));
    let Some(place) = dice.pick(&office).copied() else { return Ok(()) };
    let papers = world.devices[place].with(|node| papers_aside(node)).unwrap_or_default();
    let Some(paper) = dice.pick(&papers) else { return Ok(()) };
    if dice.one_in(3) {
        let number = billing::printed_number(&paper.document);
        run(world, place, &format!("adopts {number}"), dice, Command::AdoptInvoice { number })?;
        return Ok(());
    }
    adopt_by_key(world, place, paper, dice)
}

fn adopt_by_key(world: &mut World, place: usize, paper: &Aside, dice: &mut Dice) -> Result<(), Broken> {
    let number = paper.document.invoice.short();
    let what = format!("adopts {} by its key {number}", billing::printed_number(&paper.document));
    let same = world.use_node(place, &what, dice, |node| {
        command::run(node, Command::AdoptInvoice { number })?;
        let same = works(node).iter().flat_map(|work| &work.papers).any(|counted| {
            counted.event == paper.event
                && counted.document == paper.document
                && counted.credits.is_some() == paper.is_credit
        });
        Ok::<_, NodeError>(same)
    })?;
    if same == Some(false) { Err(Broken::new(TAKEN_ON, what)) } else { Ok(()) }
}

/// Every office takes on about every second paper that is set aside on its device, without hearing of the others: so
/// two may take on different papers of one number. What is not taken on never went out, and is made anew.
///
/// # Errors
/// A rule that is broken.
pub(crate) fn adopt_apart(world: &mut World, places: &[usize], dice: &mut Dice) -> Result<(), Broken> {
    for place in places {
        if world.devices[*place].with(|node| node.is_office()) != Some(true) {
            continue;
        }
        let papers = world.devices[*place].with(|node| papers_aside(node)).unwrap_or_default();
        for paper in papers {
            if dice.one_in(2) {
                adopt_by_key(world, *place, &paper, dice)?;
            }
        }
    }
    Ok(())
}

/// The office lists anew what bills follow from, where every disk lost some of it: its ids follow from its names. Gives
/// whether anything lacked.
///
/// # Errors
/// [`LISTED_ANEW`], or another rule.
pub(crate) fn list_anew(world: &mut World, place: usize, dice: &mut Dice) -> Result<bool, Broken> {
    let lacks = |world: &World| world.devices[place].with(|node| lacked_list(node)).flatten();
    if lacks(world).is_none() {
        return Ok(false);
    }
    for command in crew::lists_of_beginning() {
        run(world, place, "lists anew what was lost", dice, command)?;
    }
    lacks(world).map_or(Ok(true), |lacks| Err(Broken::new(LISTED_ANEW, lacks)))
}

/// What lacks of the lists that bills of the clock follow from.
fn lacked_list(node: &Node) -> Option<String> {
    let lists = node.book().lists();
    let has_rate = |name: &str| lists.rates.keys().any(|(person, _, _)| lists.person(*person) == name);
    let has_price = lists.prices.keys().any(|item| lists.item(*item) == "finish plaster");
    let lacks = [
        (!works(node).iter().any(|work| work.code == DAYWORK)).then(|| DAYWORK.to_owned()),
        PEOPLE.iter().find(|(name, _)| !has_rate(name)).map(|(name, _)| (*name).to_owned()),
        (!has_price).then(|| "finish plaster".to_owned()),
    ];
    lacks.into_iter().flatten().next()
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
