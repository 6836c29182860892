//! What must hold once everybody has met: all agree, nothing acknowledged is lost, nothing beyond a cut counts, and
//! every unit of work is billed once.

use std::collections::{BTreeMap, BTreeSet};

use daemon::Node;
use daemon::command::Command;
use ledger::office::BillableUnit;
use ledger::roster::{Lacking, Standing as Rights};
use ledger::{Audience, DeviceKey, Unreadable};
use projections::billing::{self, JobWork, Wish};
use projections::{Book, Logged};
use rust_decimal::Decimal;

use crate::crew::DAYWORK;
use crate::device::Promises;
use crate::dice::Dice;
use crate::model::{Broken, Model, Seen, Standing};
use crate::office::{issue_on, works};
use crate::work::run;
use crate::world::{ACKNOWLEDGED_SURVIVES, World};

/// After quiet all devices hold the same.
pub const ALL_AGREE: &str = "after quiet all agree";
/// The state is a function of what counts.
pub const SAME_STATE: &str = "equal counted frontiers mean equal states";
/// It does not matter how the state came about.
pub const SAME_REBUILT: &str = "incremental is rebuilt";
/// A cut holds.
pub const CUT_HOLDS: &str = "nothing beyond a cut counts";
/// Worth now = invoiced - credited + still to invoice.
pub const CONSERVED: &str = "worth now is invoiced less credited and still to invoice";
/// Billing comes to an end.
pub const BILLING_ENDS: &str = "billing comes to an end";
/// The rule that a number is given to one paper, whoever issues it and however far apart.
pub const NUMBERED_ONCE: &str = "no number is given twice";
/// A device that holds what it can't read bills nothing.
pub const UPDATE_FIRST: &str = "who holds what only a later program reads issues no invoice";

/// Most rounds of meetings until all is quiet: news of a device may wait for the one who admitted it.
const ROUNDS: usize = 12;
/// Most steps of one meeting.
const LONG_TALK: u64 = 20_000;

/// Ends a world: everything is switched on, everybody meets everybody until nothing is left to say, and all is
/// checked.
///
/// # Errors
/// A rule that is broken.
pub fn check(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    while let Some(link) = world.links.pop() {
        world.cut(link, dice)?;
    }
    for place in 0..world.devices.len() {
        world.switch_off(place, dice)?;
        world.switch_on(place, dice)?;
    }
    // What any device that is there has promised, all must hold in the end.
    let owed = owed(world);
    for round in 0.. {
        let before = held_by_all(world);
        everybody_meets(world, dice)?;
        if held_by_all(world) == before {
            break;
        }
        if round >= ROUNDS {
            return Err(Broken::new(ALL_AGREE, format!("not quiet after {ROUNDS} rounds")));
        }
    }
    let places = members(world);
    check_agreement(world, &places, &owed)?;
    check_cuts(world, &places)?;
    check_states(world, &places, dice)?;
    check_bills(world, &places, dice)
}

/// Later than any clock that is wrong: eight years.
const YEARS_LATER_MS: i64 = 8 * 365 * 24 * 3_600_000;

/// The devices that are there and meet each other: the most that know one of them and are known by it. One that was
/// taken off may not know of it, and nobody meets it any more. One whose admission went down with whoever gave it is a
/// stranger to the rest. One whose disk lost who belongs to the crew meets nobody by itself.
fn members(world: &World) -> Vec<usize> {
    let mut retired: BTreeSet<DeviceKey> = BTreeSet::new();
    let mut known: BTreeMap<usize, BTreeSet<DeviceKey>> = BTreeMap::new();
    for (place, device) in world.devices.iter().enumerate() {
        device.with(|node| {
            let (gone, there): (Vec<_>, Vec<_>) =
                node.ledger().roster().devices().partition(|device| device.retired);
            retired.extend(gone.iter().map(|device| device.key));
            known.insert(place, there.iter().map(|device| device.key).collect());
        });
    }
    let key = |place: &usize| world.devices[*place].key;
    known.retain(|place, _| !retired.contains(&key(place)));
    let group = |home: &usize| -> Vec<usize> {
        let knows =
            |one: &usize, other: &usize| known.get(one).is_some_and(|known| known.contains(&key(other)));
        known.keys().copied().filter(|place| knows(place, home) && knows(home, place)).collect()
    };
    known
        .keys()
        .map(group)
        .max_by_key(|group| (group.len(), std::cmp::Reverse(group.clone())))
        .unwrap_or_default()
}

fn held_by_all(world: &World) -> Vec<Promises> {
    world.devices.iter().map(|device| device.promised.clone()).collect()
}

fn everybody_meets(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    for one in 0..world.devices.len() {
        for other in 0..one {
            world.connect(one, other);
            if world.links.is_empty() {
                continue;
            }
            while world.let_talk(0, LONG_TALK, dice)? {}
            while let Some(link) = world.links.pop() {
                world.cut(link, dice)?;
            }
        }
    }
    Ok(())
}

/// The most of each chain that any device which is there has promised and still holds.
fn owed(world: &World) -> BTreeMap<ledger::ChainId, u64> {
    let mut owed: BTreeMap<ledger::ChainId, u64> = BTreeMap::new();
    for place in members(world) {
        let device = &world.devices[place];
        for (chain, (next_seq, _)) in &device.promised {
            let most = owed.entry(*chain).or_default();
            *most = (*next_seq).max(*most);
        }
    }
    owed
}

fn check_agreement(
    world: &World,
    places: &[usize],
    owed: &BTreeMap<ledger::ChainId, u64>,
) -> Result<(), Broken> {
    let mut frontiers = BTreeMap::new();
    for place in places {
        let device = &world.devices[*place];
        let Some((digest, tips)) = device.with(|node| {
            let frontier = node.ledger().frontier(None);
            (frontier.digest(), frontier.tips)
        }) else {
            continue;
        };
        for (chain, most) in owed {
            let held = tips.get(chain).map_or(0, |tip| tip.0);
            if held < world.model.counted(chain, *most) {
                let seen = format!("{} holds {held} of {most} of chain {}", device.name, chain.short());
                return Err(Broken::new(ACKNOWLEDGED_SURVIVES, seen));
            }
        }
        frontiers.entry(digest).or_insert_with(Vec::new).push((device.name.clone(), tips));
    }
    if frontiers.len() > 1 {
        let said: Vec<String> = frontiers
            .values()
            .map(|alike| {
                let names: Vec<_> = alike.iter().map(|(name, _)| name.as_str()).collect();
                let tips = alike.iter().take(1).flat_map(|(_, tips)| tips);
                let tips: Vec<_> = tips.map(|(chain, tip)| format!("{} {}", chain.short(), tip.0)).collect();
                format!("{} hold {}", names.join(", "), tips.join(", "))
            })
            .collect();
        return Err(Broken::new(ALL_AGREE, said.join("; ")));
    }
    Ok(())
}

/// The bytes of a state, as a hash. What lies beyond a cut is not part of it: it is held where it had arrived before
/// the cut was known, and nowhere else.
fn digest(book: &Book) -> String {
    let mut hasher = blake3::Hasher::new();
    for logged in book.events().filter(counts_as_state) {
        hasher.update(&bincode::serde::encode_to_vec(logged, bincode::config::legacy()).unwrap_or_default());
    }
    for event in book.unreadable() {
        hasher.update(&bincode::serde::encode_to_vec(event, bincode::config::legacy()).unwrap_or_default());
    }
    hasher.finalize().to_hex().to_string()
}

fn counts_as_state(logged: &&Logged) -> bool {
    logged.standing != Rights::Without(Lacking::BeyondCut)
}

fn check_states(world: &mut World, places: &[usize], dice: &mut Dice) -> Result<(), Broken> {
    let mut states: BTreeMap<Audience, (String, String)> = BTreeMap::new();
    for place in places {
        let device = &world.devices[*place];
        let name = device.name.clone();
        let Some((audience, state)) = device.with(|node| (node.book().audience(), digest(node.book())))
        else {
            continue;
        };
        world.tell(|| format!("{name}: state {state}"));
        let (first, known) = states.entry(audience).or_insert_with(|| (name.clone(), state.clone()));
        if *known != state {
            let seen = format!("{name} and {first}: {}", difference(world, *place, places));
            return Err(Broken::new(SAME_STATE, seen));
        }
        world.switch_off(*place, dice)?;
        world.switch_on(*place, dice)?;
        let again = world.devices[*place].with(|node| digest(node.book()));
        if again.is_some_and(|again| again != state) {
            return Err(Broken::new(SAME_REBUILT, name));
        }
    }
    Ok(())
}

/// What one device's book has that another's of the same audience has not, for whoever reads a failure.
fn difference(world: &World, place: usize, places: &[usize]) -> String {
    let all = |place: usize| {
        world.devices[place].with(|node| {
            let events = everything(node.book());
            (node.book().audience(), events)
        })
    };
    let Some((audience, own)) = all(place) else { return String::new() };
    for other in places {
        let Some((theirs, events)) = all(*other) else { continue };
        if theirs == audience && events != own {
            let only: Vec<_> = own.symmetric_difference(&events).take(3).cloned().collect();
            return only.join("; ");
        }
    }
    String::new()
}

fn everything(book: &Book) -> BTreeSet<String> {
    let text = |logged: &Logged| {
        format!(
            "{} {}:{} {:?} {:?}",
            logged.hash,
            logged.chain.short(),
            logged.seq,
            logged.standing,
            logged.body
        )
    };
    let unreadable = book.unreadable().map(|(hash, event)| format!("{hash} {event:?}"));
    let refs: BTreeSet<_> = book.events().filter(counts_as_state).map(text).chain(unreadable).collect();
    refs
}

fn check_cuts(world: &World, places: &[usize]) -> Result<(), Broken> {
    for place in places {
        let device = &world.devices[*place];
        let beyond = device.with(|node| {
            let counted = node.book().events().filter(|logged| logged.standing == Rights::Counted);
            let mut beyond = counted.filter(|logged| world.model.is_beyond_cut(&logged.chain, logged.seq));
            beyond.next().map(|logged| format!("{}:{} {:?}", logged.chain.short(), logged.seq, logged.body))
        });
        if let Some(Some(beyond)) = beyond {
            return Err(Broken::new(CUT_HOLDS, format!("{} counts {beyond}", device.name)));
        }
    }
    Ok(())
}

/// Bills on the first device of the office until nothing is left to bill or to give back, and compares every unit with
/// what the model says that it is worth.
fn check_bills(world: &mut World, places: &[usize], dice: &mut Dice) -> Result<(), Broken> {
    let office = |place: &&usize| world.devices[**place].with(|node| node.is_office()) == Some(true);
    let Some(place) = places.iter().find(office).copied() else { return Ok(()) };
    compare(world, place, false)?;
    let newer = world.devices[place]
        .with(|node| node.book().unreadable().any(|(_, event)| event.reason == Unreadable::UnknownKind));
    if newer == Some(true) {
        if issue_on(world, place, DAYWORK, dice)? {
            return Err(Broken::new(UPDATE_FIRST, world.devices[place].name.clone()));
        }
        return Ok(());
    }
    // What was dated ahead by a clock that was wrong is past by then.
    world.devices[place].machine.turn_clock(YEARS_LATER_MS);
    for _ in 0..40 {
        let works = world.devices[place].with(|node| works(node)).unwrap_or_default();
        if let Some(number) = number_given_twice(&works) {
            return Err(Broken::new(NUMBERED_ONCE, number));
        }
        if let Some(command) = next_to_give_back(&works) {
            run(world, place, &format!("{command:?}"), dice, command)?;
            continue;
        }
        let jobs: Vec<&str> = works
            .iter()
            .filter(|work| billing::preview_of(work, &Wish::default()).is_some())
            .map(|work| work.code.as_str())
            .collect();
        let Some(job) = jobs.first() else { return compare(world, place, true) };
        if !issue_on(world, place, job, dice)? {
            return Err(Broken::new(BILLING_ENDS, format!("{job} has something to bill, and it is refused")));
        }
    }
    Err(Broken::new(BILLING_ENDS, "there is more to bill after 40 papers".to_owned()))
}

fn number_given_twice(works: &[JobWork]) -> Option<String> {
    let mut numbers = BTreeSet::new();
    let papers = works.iter().flat_map(|work| &work.papers);
    papers
        .map(|paper| billing::printed_number(&paper.document))
        .find(|number| !numbers.insert(number.clone()))
}

/// What a person does next about what is wrong: they credit one of two invoices that bill the same, make one of two
/// credit notes void that give back the same, and issue a credit note that is proposed.
fn next_to_give_back(works: &[JobWork]) -> Option<Command> {
    for work in works {
        if let Some(double) = billing::double_claims(work).first() {
            let paper =
                work.papers.iter().rev().find(|paper| double.papers.contains(&paper.document.invoice));
            if let Some(paper) = paper {
                let number = billing::printed_number(&paper.document);
                return Some(match paper.credits {
                    None => Command::CreditInvoice { number, whole: true },
                    Some(_) => Command::VoidInvoice { number, reason: "given back twice".to_owned() },
                });
            }
        }
        if let Some(credit) = billing::proposed_credits(work).first() {
            return Some(Command::CreditInvoice { number: credit.of_number.clone(), whole: false });
        }
    }
    None
}

/// Compares what the papers say with what the model says. `is_settled`: nothing is left to bill or to give back.
fn compare(world: &World, place: usize, is_settled: bool) -> Result<(), Broken> {
    let device = &world.devices[place];
    let Some(found) = device.with(|node| {
        let works = works(node);
        works
            .iter()
            .find(|work| work.code == DAYWORK)
            .map(|work| unequal(&world.model, node, work, is_settled))
    }) else {
        return Ok(());
    };
    match found.flatten() {
        Some(seen) => Err(Broken::new(CONSERVED, format!("{}: {seen}", device.name))),
        None => Ok(()),
    }
}

fn unequal(model: &Model, node: &Node, work: &JobWork, is_settled: bool) -> Option<String> {
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
    let held =
        |seen: &Seen| node.ledger().chain(&seen.chain).is_some_and(|held| held.tip.next_seq > seen.seq);
    let sum =
        |of: &BTreeMap<BillableUnit, Decimal>, unit: &BillableUnit| of.get(unit).copied().unwrap_or_default();
    for entry in model.entries() {
        let unit = BillableUnit::Entry(entry);
        let worths = model.worths(&entry, held, stands);
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
/// neither does a credit note on it.
fn billed(work: &JobWork) -> BTreeMap<BillableUnit, Decimal> {
    let void: BTreeSet<_> =
        work.papers.iter().filter(|paper| paper.voided).map(|paper| paper.document.invoice).collect();
    let stands = work
        .papers
        .iter()
        .filter(|paper| !paper.voided && paper.credits.is_none_or(|invoice| !void.contains(&invoice)));
    let mut billed = BTreeMap::new();
    for claim in stands.flat_map(|paper| &paper.document.lines).flat_map(|line| &line.claims) {
        *billed.entry(claim.unit).or_default() += claim.quantity.value();
    }
    billed
}
