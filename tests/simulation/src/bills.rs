//! Billing, once everybody has met: what every unit of work is worth, by the model, is what the papers and the next one
//! say of it; people put right what was billed apart; and it comes to an end.

use std::collections::{BTreeMap, BTreeSet};

use daemon::Node;
use daemon::command::Command;
use ledger::Unreadable;
use ledger::office::BillableUnit;
use ledger::roster::Standing as Rights;
use projections::billing::{self, IssuedPaper, JobWork, Wish};
use rust_decimal::Decimal;

use crate::counted::Counted;
use crate::crew::DAYWORK;
use crate::dice::Dice;
use crate::model::{Broken, Model, Seen, Standing};
use crate::office::{issue_on, works};
use crate::papers::shared_numbers;
use crate::work::run;
use crate::world::World;

/// Worth now = invoiced - credited + still to invoice.
pub const CONSERVED: &str = "worth now is invoiced less credited and still to invoice";
/// Billing comes to an end.
pub const BILLING_ENDS: &str = "billing comes to an end";
/// A device that holds what it can't read bills nothing.
pub const UPDATE_FIRST: &str = "who holds what only a later program reads issues no invoice";

/// Later than any clock that is wrong: eight years.
const YEARS_LATER_MS: i64 = 8 * 365 * 24 * 3_600_000;

/// The first device of the office.
pub(crate) fn office_among(world: &World, places: &[usize]) -> Option<usize> {
    let office = |place: &&usize| world.devices[**place].with(|node| node.is_office()) == Some(true);
    places.iter().find(office).copied()
}

/// Whether a device holds what only a later program reads; then it must issue nothing.
///
/// # Errors
/// [`UPDATE_FIRST`].
pub(crate) fn waits_for_later_program(
    world: &mut World,
    place: usize,
    dice: &mut Dice,
) -> Result<bool, Broken> {
    let newer = world.devices[place]
        .with(|node| node.book().unreadable().any(|(_, event)| event.reason == Unreadable::UnknownKind));
    if newer != Some(true) {
        return Ok(false);
    }
    if issue_on(world, place, DAYWORK, dice)? {
        return Err(Broken::new(UPDATE_FIRST, world.devices[place].name.clone()));
    }
    Ok(true)
}

/// Bills on a device of the office until nothing is left to bill or to give back, and compares every unit with what the
/// model says that it is worth.
///
/// # Errors
/// A rule that is broken.
pub(crate) fn check_bills(
    world: &mut World,
    place: usize,
    counted: &Counted,
    dice: &mut Dice,
) -> Result<(), Broken> {
    compare(world, place, counted, false)?;
    if waits_for_later_program(world, place, dice)? {
        return Ok(());
    }
    // What was dated ahead by a clock that was wrong is past by then.
    world.devices[place].machine.turn_clock(YEARS_LATER_MS);
    for _ in 0..40 {
        let works = world.devices[place].with(|node| works(node)).unwrap_or_default();
        if let Some(command) = next_to_give_back(&works) {
            run(world, place, &format!("{command:?}"), dice, command)?;
            continue;
        }
        let jobs: Vec<&str> = works
            .iter()
            .filter(|work| billing::preview_of(work, &Wish::default()).is_some())
            .map(|work| work.code.as_str())
            .collect();
        let Some(job) = jobs.first() else { return compare(world, place, counted, true) };
        if !issue_on(world, place, job, dice)? {
            return Err(Broken::new(BILLING_ENDS, format!("{job} has something to bill, and it is refused")));
        }
    }
    Err(Broken::new(BILLING_ENDS, "there is more to bill after 40 papers".to_owned()))
}

/// What a person does next about what is wrong: they credit one of two invoices that bill the same, make one of two
/// credit notes void that give back the same, issue a credit note that is proposed, and take back one of two papers
/// that have one number.
fn next_to_give_back(works: &[JobWork]) -> Option<Command> {
    for work in works {
        if let Some(double) = billing::double_claims(work).first() {
            let paper =
                work.papers.iter().rev().find(|paper| double.papers.contains(&paper.document.invoice));
            if let Some(paper) = paper {
                return Some(take_back(paper, "given back twice"));
            }
        }
        if let Some(credit) = billing::proposed_credits(work).first() {
            return Some(Command::CreditInvoice { number: credit.of.to_string(), whole: false });
        }
    }
    let shared = shared_numbers(works).into_values().next()?;
    let credit = shared.iter().find(|paper| paper.credits.is_some());
    credit.or(shared.last()).map(|paper| take_back(paper, "its number is another's, too"))
}

/// Gives all of an invoice back, or makes a credit note void.
fn take_back(paper: &IssuedPaper, reason: &str) -> Command {
    let number = paper.document.invoice.to_string();
    match paper.credits {
        None => Command::CreditInvoice { number, whole: true },
        Some(_) => Command::VoidInvoice { number, reason: reason.to_owned() },
    }
}

/// Compares what the papers say with what the model says. `is_settled`: nothing is left to bill or to give back.
pub(crate) fn compare(
    world: &World,
    place: usize,
    counted: &Counted,
    is_settled: bool,
) -> Result<(), Broken> {
    let device = &world.devices[place];
    let Some(found) = device.with(|node| {
        let works = works(node);
        works
            .iter()
            .find(|work| work.code == DAYWORK)
            .map(|work| unequal(&world.model, node, work, counted, is_settled))
    }) else {
        return Ok(());
    };
    match found.flatten() {
        Some(seen) => Err(Broken::new(CONSERVED, format!("{}: {seen}", device.name))),
        None => Ok(()),
    }
}

fn unequal(
    model: &Model,
    node: &Node,
    work: &JobWork,
    counted: &Counted,
    is_settled: bool,
) -> Option<String> {
    let billed = billed(work);
    let preview = billing::preview_of(work, &Wish::default());
    let mut to_bill: BTreeMap<BillableUnit, Decimal> = BTreeMap::new();
    for claim in preview.iter().flat_map(|preview| &preview.printed).flat_map(|line| &line.claims) {
        *to_bill.entry(claim.unit).or_default() += claim.quantity.value();
    }
    let credits = billing::proposed_credits(work);
    let mut to_give_back: BTreeMap<BillableUnit, Decimal> = BTreeMap::new();
    for claim in credits.iter().flat_map(|credit| &credit.lines).flat_map(|line| &line.claims) {
        *to_give_back.entry(claim.unit).or_default() += claim.quantity.value();
    }
    let double: BTreeSet<BillableUnit> =
        billing::double_claims(work).into_iter().map(|double| double.unit).collect();
    let roster = node.ledger().roster();
    let stands = |seen: &Seen| {
        let start = node.ledger().chain(&seen.chain).map(|held| held.start);
        let place = (seen.seq, seen.hash);
        let rights = start.map(|start| roster.judge(&start, place, &seen.payload.act, &seen.payload.body));
        match rights {
            Some(Rights::Counted) => Standing::Counts,
            Some(Rights::Proposed) => Standing::Waits,
            Some(Rights::Without(_)) | None => Standing::Never,
        }
    };
    let sum =
        |of: &BTreeMap<BillableUnit, Decimal>, unit: &BillableUnit| of.get(unit).copied().unwrap_or_default();
    for entry in model.entries() {
        let unit = BillableUnit::Entry(entry);
        let worths = model.worths(&entry, counted, stands);
        // What was billed and then set aside stands until people have said what becomes of it.
        let waits = worths.is_empty() && model.is_set_aside(&entry, counted);
        let worths = if worths.is_empty() { BTreeSet::from([Decimal::ZERO]) } else { worths };
        let (billed, to_bill, back) = (sum(&billed, &unit), sum(&to_bill, &unit), sum(&to_give_back, &unit));
        // What was billed at a price that is another now is given back whole, and is then to bill anew.
        let given_back_first = !back.is_zero();
        let holds = if double.contains(&unit) {
            // Until a person decides, it is billed, or given back, by both.
            !is_settled && worths.iter().any(|worth| billed != *worth)
        } else if given_back_first && !is_settled {
            // From the newest paper first, and the rest once that is given back.
            back.is_sign_negative()
        } else {
            worths.contains(&(billed + to_bill + back)) && (!is_settled || worths.contains(&billed))
        };
        let holds = holds || (waits && to_bill.is_zero() && back.is_zero());
        if !holds {
            return Some(format!(
                "entry {} is worth {worths:?}; billed {billed}, to bill {to_bill}, to give back {back}",
                entry.entry.short()
            ));
        }
    }
    None
}

/// What the papers of a job say: invoiced less credited, by the claims that they print. A void paper says nothing, and
/// neither does a credit note on it, or on an invoice that does not count.
fn billed(work: &JobWork) -> BTreeMap<BillableUnit, Decimal> {
    let papers = || work.papers.iter().filter(|paper| !paper.voided);
    let bills: BTreeSet<_> =
        papers().filter(|paper| paper.credits.is_none()).map(|paper| paper.document.invoice).collect();
    let stands = papers().filter(|paper| paper.credits.is_none_or(|invoice| bills.contains(&invoice)));
    let mut billed = BTreeMap::new();
    for claim in stands.flat_map(|paper| &paper.document.lines).flat_map(|line| &line.claims) {
        *billed.entry(claim.unit).or_default() += claim.quantity.value();
    }
    billed
}
