//! What the office does: papers, money, prices, and who belongs to the crew.

use daemon::Role;
use daemon::command::{self, Command, PersonRate, Received};
use projections::billing::{self, JobWork, Wish};
use serde_json::Value;

use crate::crew::{self, DAYWORK, FIXED, PEOPLE};
use crate::device::Device;
use crate::dice::Dice;
use crate::model::Broken;
use crate::work::run;
use crate::world::World;

/// A preview right after an invoice was issued bills nothing of it again.
pub const BILLED_ONCE: &str = "a preview right after an invoice is empty";

/// The work of a node's jobs, as billing sees it.
pub(crate) fn works(node: &daemon::Node) -> Vec<JobWork> {
    billing::job_works(node.book(), &node.book().lists())
}

/// A device of the office that is switched on.
fn office_device(world: &World, dice: &mut Dice) -> Option<usize> {
    let office = world.places(|device| device.with(|node| node.is_office()) == Some(true));
    dice.pick(&office).copied()
}

/// Issues an invoice. What it bills is not to bill any more.
pub(crate) fn issue(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let Some(place) = office_device(world, dice) else { return Ok(()) };
    let job = if dice.one_in(3) { FIXED } else { DAYWORK };
    issue_on(world, place, job, dice)?;
    Ok(())
}

/// Issues the invoice of a job on a device, and says whether there was one.
pub(crate) fn issue_on(world: &mut World, place: usize, job: &str, dice: &mut Dice) -> Result<bool, Broken> {
    let command = Command::IssueInvoice { job: job.to_owned(), until: None, with_extra: Vec::new() };
    let issued = world.use_node(place, &format!("invoice {job}"), dice, |node| {
        let issued = command::run(node, command)?;
        let works = works(node);
        let work = works.iter().find(|work| work.code == job);
        let until = issued["document"]["issued_on"].as_str().and_then(|day| day.parse().ok());
        let wish = Wish { until, ..Wish::default() };
        let again = work.and_then(|work| billing::preview_of(work, &wish));
        Ok(again.map(|preview| format!("{:?}", preview.printed)))
    })?;
    match issued {
        Some(Some(lines)) => Err(Broken::new(BILLED_ONCE, lines)),
        Some(None) => Ok(true),
        None => Ok(false),
    }
}

/// The numbers of the invoices that stand on a device.
pub(crate) fn numbers(world: &World, place: usize) -> Vec<String> {
    let list = world.devices[place].with(|node| command::run(node, Command::Invoices));
    let Some(Ok(list)) = list else { return Vec::new() };
    let rows = list["invoices"].as_array().cloned().unwrap_or_default();
    let stands = |row: &&Value| row["voided"] == false && row["credits"].is_null();
    rows.iter().filter(stands).filter_map(|row| row["number"].as_str().map(str::to_owned)).collect()
}

fn of_an_invoice(
    world: &mut World,
    dice: &mut Dice,
    make: impl FnOnce(String, &mut Dice) -> (String, Command),
) -> Result<(), Broken> {
    let Some(place) = office_device(world, dice) else { return Ok(()) };
    let numbers = numbers(world, place);
    let Some(number) = dice.pick(&numbers).cloned() else { return Ok(()) };
    let (what, command) = make(number, dice);
    run(world, place, &what, dice, command)?;
    Ok(())
}

/// Issues a credit note.
pub(crate) fn credit(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    of_an_invoice(world, dice, |number, dice| {
        let whole = dice.one_in(4);
        (format!("credit {number}, whole: {whole}"), Command::CreditInvoice { number, whole })
    })
}

/// Makes a number void.
pub(crate) fn void(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    of_an_invoice(world, dice, |number, _| {
        (format!("void {number}"), Command::VoidInvoice { number, reason: "a slip".to_owned() })
    })
}

/// A payment comes in.
pub(crate) fn pay(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    of_an_invoice(world, dice, |number, dice| {
        let received = (1 + dice.below(300)).to_string().parse().unwrap_or_default();
        let nothing = Default::default();
        let received = Received {
            received,
            cis_taken: nothing,
            discount: nothing,
            contra: nothing,
            method: "bank".to_owned(),
            on: None,
            over: true,
        };
        (format!("payment on {number}"), Command::Pay { number, received })
    })
}

/// A person gets another rate.
pub(crate) fn set_rate(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let Some(place) = office_device(world, dice) else { return Ok(()) };
    let person = dice.pick(&PEOPLE).map_or("Tobi Larch", |(name, _)| name);
    let rate = |text: u64| text.to_string().parse().ok();
    let (cost, charge) = (20 + dice.below(8), 36 + dice.below(12));
    let Some((cost_rate, charge_rate)) = rate(cost).zip(rate(charge)) else { return Ok(()) };
    let wish = PersonRate {
        person: person.to_owned(),
        job: None,
        trade: None,
        cost: cost_rate,
        charge: charge_rate,
        from: None,
    };
    run(world, place, &format!("rate {person} {cost} {charge}"), dice, Command::Rate(wish))?;
    Ok(())
}

/// Plaster gets another price.
pub(crate) fn set_price(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let Some(place) = office_device(world, dice) else { return Ok(()) };
    let pounds = 9 + dice.below(4);
    let Ok(pack_cost) = pounds.to_string().parse() else { return Ok(()) };
    let command = Command::Price { item: "finish plaster".to_owned(), pack_cost, from: None };
    run(world, place, &format!("plaster {pounds}"), dice, command)?;
    Ok(())
}

/// A new device is let in.
pub(crate) fn let_in(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    if world.devices.len() >= 9 {
        return Ok(());
    }
    let bosses = world.places(|device| device.is_on() && device.person == "Maren Oake");
    let Some(by) = dice.pick(&bosses).copied() else { return Ok(()) };
    let (person, role) = dice.pick(&PEOPLE).copied().unwrap_or(PEOPLE[1]);
    let office = role == Role::Owner && dice.one_in(2);
    crew::admit(world, by, person, office, dice)
}

/// A device is taken off the crew: lost, or its owner left. Never the laptop.
pub(crate) fn retire(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    if world.devices.len() < 4 || !dice.one_in(2) {
        return Ok(());
    }
    let others: Vec<String> = world.devices.iter().skip(1).map(|device| device.key.to_string()).collect();
    let Some(device) = dice.pick(&others).cloned() else { return Ok(()) };
    let what = format!("takes {} off", &device[..8]);
    let command = Command::Retire { device, reason: "left in a van".to_owned(), words: None };
    run(world, 0, &what, dice, command)?;
    Ok(())
}

/// A person gets another role. The boss stays the boss.
pub(crate) fn set_role(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let bosses = world.places(|device: &Device| device.is_on() && device.person == "Maren Oake");
    let Some(place) = dice.pick(&bosses).copied() else { return Ok(()) };
    let person = PEOPLE[1 + dice.place(3)].0;
    let role = if dice.one_in(2) { Role::Lead } else { Role::Hand };
    let command = Command::SetRole { person: person.to_owned(), role };
    run(world, place, &format!("{person} is {role:?} from now on"), dice, command)?;
    Ok(())
}
