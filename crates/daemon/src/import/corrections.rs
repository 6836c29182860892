//! Rows that change another entry: corrections and strikings out.
//!
//! A correction is checked against the entry as it stands after the corrections before it, so that
//! one which only moves the end of a shift is still compared with its beginning.

use std::collections::BTreeMap;

use ledger::site::{Amount, Changes, Corrected, Place, Struck, Worked};
use ledger::{Body, EntryId, EntryRef, ItemId, JobId, Payload, StageId};
use trade::Day;

use super::Work;
use super::actions::{Told, join_words};
use super::cells::Cells;
use super::entries::{Entry, Keys, TABLE};
use super::kinds::EntryKind;
use super::known::Known;
use super::measures::{
    MAX_WORK_MINUTES, check_length, check_span, read_amount, read_item, read_place, read_test_unit,
    read_test_value,
};

/// How a correction says that the entry belongs to no stage; an empty cell leaves the stage as it is.
const NO_STAGE: &str = "-";

/// What a correction has to know of the entry that it changes, as that stands.
#[derive(Debug, Clone)]
pub(super) struct Standing {
    /// None for a photo that is not sorted yet, and for the end of a timer.
    job: Option<JobId>,
    stage: Option<StageId>,
    content: Content,
}

#[derive(Debug, Clone)]
enum Content {
    Hours(Worked),
    Material {
        item: ItemId,
        unit_said: String,
    },
    Test {
        what: String,
        unit: String,
    },
    /// A timer's beginning.
    Began,
    /// A timer's end.
    Ended,
    /// Its text is its note.
    Words,
    /// An extra that was asked for, or what was hired.
    Named,
    /// An agreement, an expense, a photo or a stage's state: nothing but where and when.
    Bare,
}

impl Standing {
    /// How an entry stands that says this; `None` for what a row of a file can't correct.
    pub(super) fn of(body: &Body, unit_said: &str) -> Option<Self> {
        let material = |item: ItemId, amount: &Amount| {
            let in_packs = amount.said.as_ref().map_or("", |said| said.pack.as_str());
            let unit_said = if unit_said.is_empty() { in_packs } else { unit_said }.to_owned();
            Content::Material { item, unit_said }
        };
        let (site, content) = match body {
            Body::Hours(hours) => (&hours.site, Content::Hours(hours.worked)),
            Body::Used(used) => (&used.site, material(used.item, &used.amount)),
            Body::Wasted(wasted) => (&wasted.site, material(wasted.item, &wasted.amount)),
            Body::Returned(returned) => (&returned.site, material(returned.item, &returned.amount)),
            Body::Delivered(delivered) => (&delivered.site, material(delivered.item, &delivered.amount)),
            Body::Bought(bought) => {
                let ledger::site::StockPlace::Job(job) = bought.to else { return None };
                let [(item, amount)] = bought.items.as_slice() else { return None };
                return Some(Self { job: Some(job), stage: None, content: material(*item, amount) });
            }
            Body::Test(test) => {
                (&test.site, Content::Test { what: test.what.clone(), unit: test.unit.clone() })
            }
            Body::Note(note) => (&note.site, Content::Words),
            Body::SnagRaised(snag) => (&snag.site, Content::Words),
            Body::LeftOff(left) => (&left.site, Content::Words),
            Body::ExtraAsked(asked) => (&asked.site, Content::Named),
            Body::ExtraAgreed(agreed) => (&agreed.site, Content::Bare),
            Body::ExtraDeclined(declined) => (&declined.site, Content::Bare),
            Body::SignedOff(signed) => (&signed.site, Content::Bare),
            Body::Reopened(reopened) => (&reopened.site, Content::Bare),
            Body::ReadyForChecking(ready) => (&ready.site, Content::Bare),
            Body::PartDone(part) => (&part.site, Content::Bare),
            Body::Expense(expense) => (&expense.site, Content::Bare),
            Body::Mileage(driven) => (&driven.site, Content::Bare),
            Body::HireBegan(hire) => (&hire.site, Content::Named),
            Body::CalledBack(back) => (&back.site, Content::Words),
            Body::Photo(photo) => match &photo.site {
                Some(site) => (site, Content::Bare),
                None => return Some(Self { job: None, stage: None, content: Content::Bare }),
            },
            Body::WorkStarted(started) => (&started.site, Content::Began),
            Body::WorkSwitched(switched) => (&switched.site, Content::Began),
            Body::WorkStopped(_) => return Some(Self { job: None, stage: None, content: Content::Ended }),
            _ => return None,
        };
        Some(Self { job: Some(site.job), stage: site.stage, content })
    }
}

/// The entry that a change is about.
pub(super) struct Target<'r> {
    key: &'r str,
    reference: EntryRef,
    /// How it stands by the ledger, where no row of the file says it.
    held: Option<Standing>,
}

/// The entry that `corrects` names, in the file or in the ledger.
pub(super) fn find_target<'r>(
    entry: &Entry<'r>,
    keys: &Keys<'_, 'r>,
    known: &Known<'_>,
    work: &mut Work<'_>,
) -> Option<Target<'r>> {
    let key = entry.row.text("corrects");
    let reason = match keys.sound.get(key) {
        _ if key.is_empty() => "must name the entry that is meant".to_owned(),
        Some(target) if matches!(target.kind, EntryKind::Corrected | EntryKind::Struck) => {
            format!("{key} is itself a correction; name the entry that it is about")
        }
        Some(target) => return Some(Target { key, reference: target.reference, held: None }),
        // The row is there and bad, which is complained about already.
        None if keys.all.contains(key) => return None,
        None => {
            let id = EntryId::of_row(&work.context.crew, TABLE, key);
            let held_as = |reference: EntryRef| {
                work.context.held.event_of(&reference).map(|(_, event)| (reference, event))
            };
            let of_row =
                known.people().into_iter().find_map(|person| held_as(EntryRef { person, entry: id }));
            // What came from no row, like a timer, is called by the beginning of its id.
            let held = of_row.or_else(|| {
                work.context.held.entry_beginning(key).and_then(|(reference, _)| held_as(reference))
            });
            if let Some((reference, event)) = held {
                return Some(Target { key, reference, held: Standing::of(&event.body, "") });
            }
            format!("there is no entry {key:?} in entries.csv or in the ledger")
        }
    };
    work.bad.push(entry.row.bad("corrects", reason));
    None
}

/// Reads a correction or a striking out that was logged on `day`.
pub(super) fn read_change<'r>(
    entry: &Entry<'r>,
    day: Day,
    target: &Target<'r>,
    standings: &mut BTreeMap<&'r str, Standing>,
    known: &Known<'_>,
    cells: &mut Cells<'_, '_>,
) -> Option<Told> {
    let of = target.reference;
    let told = |body, note: &str| Told {
        body,
        done_on: day,
        note: note.to_owned(),
        said: String::new(),
        price: None,
        supersedes: vec![of],
    };
    if entry.kind == EntryKind::Struck {
        return Some(told(Body::Struck(Struck { of }), entry.row.text("note")));
    }
    let standing = standings.get(target.key).cloned().or_else(|| target.held.clone());
    let Some(mut standing) = standing else {
        if target.held.is_none() && !cells.text("corrects").is_empty() {
            cells.complain(
                "corrects",
                "this entry can't be corrected from a file; strike it and log it again",
            );
        }
        return None;
    };
    let mut changes = Changes {
        done_on: entry.done_on,
        place: Some(read_place(cells)?).filter(|place| *place != Place::default()),
        ..Changes::default()
    };
    let is_sound = read_where(entry, &mut standing, &mut changes, known, cells)
        & read_content(entry, &mut standing, &mut changes, known, cells);
    if !is_sound {
        return None;
    }
    if changes == Changes::default() {
        cells.complain("kind", "a correction must name what changes; nothing is filled in");
        return None;
    }
    standings.insert(target.key, standing);
    Some(told(Body::Corrected(Corrected { of, changes: Box::new(changes) }), ""))
}

/// Job and stage. True when they are sound.
fn read_where(
    entry: &Entry<'_>,
    standing: &mut Standing,
    changes: &mut Changes,
    known: &Known<'_>,
    cells: &mut Cells<'_, '_>,
) -> bool {
    let moved = entry.job.as_ref().map(|job| job.id).filter(|job| Some(*job) != standing.job);
    changes.job = entry.job.as_ref().map(|job| job.id);
    standing.job = changes.job.or(standing.job);
    let name = cells.text("stage");
    if name == NO_STAGE {
        (changes.stage, standing.stage) = (Some(None), None);
        return true;
    }
    if name.is_empty() {
        if moved.is_some() && standing.stage.is_some() {
            cells.complain("stage", "the job changes, so name the stage of the new job too");
            return false;
        }
        return true;
    }
    let stage = standing.job.and_then(|job| known.stage(job, name));
    if stage.is_none() {
        cells.complain("stage", format!("there is no stage {name:?} of this job"));
        return false;
    }
    changes.stage = Some(stage);
    standing.stage = stage;
    true
}

/// What was done, and how much of it. True when it is sound.
fn read_content(
    entry: &Entry<'_>,
    standing: &mut Standing,
    changes: &mut Changes,
    known: &Known<'_>,
    cells: &mut Cells<'_, '_>,
) -> bool {
    let filled = |text: &str| Some(text.to_owned()).filter(|text| !text.is_empty());
    changes.note = filled(cells.text("note"));
    let what = cells.text("what");
    let takes: &[&str] = match standing.content {
        Content::Hours(_) => &["what", "from", "to", "break_min", "minutes"],
        Content::Material { .. } | Content::Test { .. } => &["what", "quantity", "unit"],
        Content::Began => &["what", "from", "break_min"],
        Content::Ended => &["to", "break_min"],
        Content::Words | Content::Named => &["what"],
        Content::Bare => &[],
    };
    let mut is_sound = true;
    for column in ["what", "quantity", "unit", "from", "to", "break_min", "minutes"] {
        if !cells.text(column).is_empty() && !takes.contains(&column) {
            cells.complain(column, "the entry that is corrected has no such thing; leave this empty");
            is_sound = false;
        }
    }
    if !is_sound {
        return false;
    }
    match &mut standing.content {
        Content::Hours(worked) => {
            changes.what = filled(what);
            match read_hours_change(*worked, &entry.zone, changes, cells) {
                Some(changed) => *worked = changed,
                None => return false,
            }
        }
        Content::Began | Content::Ended => {
            changes.what = filled(what);
            let (from, to) = (cells.moment("from", &entry.zone), cells.moment("to", &entry.zone));
            let break_minutes = cells.whole("break_min", 0, MAX_WORK_MINUTES);
            let (Some(from), Some(to), Some(break_minutes)) = (from, to, break_minutes) else { return false };
            (changes.from, changes.to, changes.break_minutes) = (from, to, break_minutes);
        }
        Content::Material { item, unit_said } => {
            return read_material_change((item, unit_said), changes, known, cells).is_some();
        }
        Content::Test { what: of, unit: held } => {
            return read_test_change((of, held), changes, cells).is_some();
        }
        Content::Words => changes.note = filled(&join_words(what, cells.text("note"))),
        Content::Named => changes.what = filled(what),
        Content::Bare => {}
    }
    true
}

/// The hours as they stand after the change; `None` when they are unsound.
fn read_hours_change(
    worked: Worked,
    zone: &str,
    changes: &mut Changes,
    cells: &mut Cells<'_, '_>,
) -> Option<Worked> {
    let from = cells.moment("from", zone);
    let to = cells.moment("to", zone);
    let break_minutes = cells.whole("break_min", 0, MAX_WORK_MINUTES);
    let minutes = cells.whole("minutes", 1, MAX_WORK_MINUTES);
    (changes.from, changes.to) = (from?, to?);
    (changes.break_minutes, changes.minutes) = (break_minutes?, minutes?);
    let has_times = changes.from.is_some() || changes.to.is_some();
    match (worked, changes.minutes) {
        (_, Some(_)) if has_times => {
            cells.complain("minutes", "give from and to, or minutes, not both");
            None
        }
        (_, Some(minutes)) => check_length(cells, minutes, changes.break_minutes),
        (Worked::Span { from, to, break_minutes }, None) => {
            let (from, to) = (changes.from.unwrap_or(from), changes.to.unwrap_or(to));
            check_span(cells, from, to, changes.break_minutes.unwrap_or(break_minutes))
        }
        (Worked::Length { minutes }, None) if !has_times => {
            check_length(cells, minutes, changes.break_minutes)
        }
        (Worked::Length { .. }, None) => {
            let (Some(from), Some(to)) = (changes.from, changes.to) else {
                let missing = if changes.from.is_none() { "from" } else { "to" };
                cells.complain(missing, "the entry is a length; to give it clock times, name from and to");
                return None;
            };
            check_span(cells, from, to, changes.break_minutes.unwrap_or(0))
        }
    }
}

/// Kind, value and unit of a test. What is not said stays, and the whole must still fit: a pressure test in
/// degrees is complained about, whichever of the two was changed.
fn read_test_change(
    (of, held): (&mut String, &mut String),
    changes: &mut Changes,
    cells: &mut Cells<'_, '_>,
) -> Option<()> {
    let (what, quantity, unit) = (cells.text("what"), cells.text("quantity"), cells.text("unit"));
    if !what.is_empty() {
        what.clone_into(of);
        changes.what = Some(of.clone());
    }
    let said = if unit.is_empty() { held.clone() } else { unit.to_owned() };
    let read = if quantity.is_empty() {
        read_test_unit(cells, of, &said)?
    } else {
        let (bound, value, unit) = read_test_value(cells, of, Some(quantity), &said)?;
        changes.value = Some((bound, value));
        unit
    };
    if read != *held {
        changes.unit = Some(read.clone());
        *held = read;
    }
    Some(())
}

/// Item and amount. A quantity without a unit is in the unit in which the entry was said.
fn read_material_change(
    (item, unit_said): (&mut ItemId, &mut String),
    changes: &mut Changes,
    known: &Known<'_>,
    cells: &mut Cells<'_, '_>,
) -> Option<()> {
    if !cells.text("what").is_empty() {
        let named = read_item(cells, known)?;
        if named.id != *item && cells.text("quantity").is_empty() {
            cells.complain("quantity", "another item is counted by itself; give its quantity and unit too");
            return None;
        }
        *item = named.id;
        changes.item = Some(named.id);
    }
    if cells.text("quantity").is_empty() {
        if cells.text("unit").is_empty() {
            return Some(());
        }
        cells.complain("quantity", "must not be empty where a unit is given");
        return None;
    }
    let quantity = cells.quantity_or_nought("quantity")?;
    let Some(counted) = known.item_with_id(*item) else {
        cells.complain("what", "name the item; it is not in price-book.csv or in the ledger");
        return None;
    };
    if !cells.text("unit").is_empty() {
        cells.text("unit").clone_into(unit_said);
    } else if unit_said.is_empty() {
        counted.unit.clone_into(unit_said);
    }
    changes.amount = Some(read_amount(cells, &counted, quantity, unit_said)?);
    Some(())
}

/// Whether an entry says what the ledger holds of it already. What was said in packs is compared
/// in packs: a pack of another size in today's price book does not change what was said then.
pub(super) fn says_the_same(new: &Payload, held: &Payload) -> bool {
    let mut body = new.body.clone();
    let mut held_body = held.body.clone();
    if let (Some(amount), Some(held)) = (amount_of(&mut body), amount_of(&mut held_body))
        && amount.said.is_some()
        && amount.said == held.said
    {
        amount.quantity = held.quantity;
    }
    let words =
        |payload: &Payload| (payload.act.done_on, payload.act.note.clone(), payload.act.row_key.clone());
    body == held_body && words(new) == words(held)
}

fn amount_of(body: &mut Body) -> Option<&mut Amount> {
    match body {
        Body::Used(used) => Some(&mut used.amount),
        Body::Wasted(wasted) => Some(&mut wasted.amount),
        Body::Returned(returned) => Some(&mut returned.amount),
        Body::Delivered(delivered) => Some(&mut delivered.amount),
        Body::Bought(bought) => bought.items.first_mut().map(|(_, amount)| amount),
        Body::Corrected(corrected) => corrected.changes.amount.as_mut(),
        _ => None,
    }
}
