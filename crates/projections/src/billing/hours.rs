//! Hours and miles that are billed by the clock, counted as the job's terms say.
//!
//! An entry's ordinary time bills the entry; what of it is overtime is a unit of its own, and so is the fixed
//! sum of a call-out. So hours that become overtime, because an earlier stretch of that day was heard of
//! later, are given back as ordinary ones and billed as overtime, minute by minute.

use std::collections::{BTreeMap, BTreeSet};

use ledger::office::{BillableUnit, TimeSide};
use ledger::{Body, JobId, PersonId};
use rust_decimal::Decimal;
use trade::worktime::Band;
use trade::{Day, Quantity, Rate};

use super::work::{ClockEntry, JobWork, Measure};
use crate::entry::Entry;
use crate::lists::Lists;
use crate::time_on_job::{Spell, spells_of};
use crate::time_terms::{counted, when};

/// Minutes that an hour has.
const HOUR: i64 = 60;

pub(super) fn add_hours(entries: &[Entry<'_>], lists: &Lists<'_>, works: &mut BTreeMap<JobId, JobWork>) {
    let spells = spells_of(entries);
    let mut of_person: BTreeMap<(JobId, PersonId), Vec<&Spell>> = BTreeMap::new();
    for spell in &spells {
        let by_the_clock =
            works.get(&spell.site.job).is_some_and(|work| work.bills_by_the_clock(spell.site.stage));
        if by_the_clock {
            of_person.entry((spell.site.job, spell.person())).or_default().push(spell);
        }
    }
    let mut added: Vec<(JobId, ClockEntry)> = Vec::new();
    for ((job, person), mut spells) in of_person {
        let parts = counted(&spells, lists, TimeSide::Charged);
        spells.sort_by_key(|spell| when(spell));
        let mut came_out = BTreeSet::new();
        for spell in spells {
            let terms = lists.time_terms(TimeSide::Charged, Some(job), person, spell.day);
            let ordinary =
                lists.rate(person, job, spell.site.stage, spell.day).map(|rates| rates.charge_rate);
            for part in parts.get(&spell.entry).into_iter().flatten() {
                let at = part.rate(terms, ordinary);
                let unit = match part.band {
                    Band::CallOut => {
                        let sum = terms.and_then(|terms| terms.call_out).map(|call| call.sum);
                        let call = sum.filter(|_| came_out.insert(spell.day));
                        added.extend(call.and_then(|sum| {
                            Some((job, call_out(spell, lists, Rate::new(sum.pounds()).ok()?)?))
                        }));
                        continue;
                    }
                    // Travelling that is not charged is no work of this job's bills.
                    Band::Travel if at.is_some_and(|at| at.rate.is_zero()) => continue,
                    Band::Overtime => BillableUnit::Overtime(spell.entry),
                    Band::Ordinary
                    | Band::Day
                    | Band::Saturday
                    | Band::Sunday
                    | Band::Holiday
                    | Band::Travel => BillableUnit::Entry(spell.entry),
                };
                let name = lists.person(person);
                let words = part.band.words();
                let label = if words.is_empty() { name } else { format!("{name}, {words}") };
                let measure = Measure::Labour {
                    person: label,
                    minutes: part.minutes,
                    worked: part.worked,
                    charge_rate: at.map(|at| at.rate),
                    per_minutes: at.map_or(HOUR, |at| at.per_minutes),
                };
                added.push((job, clock_entry(spell, unit, measure)));
            }
        }
    }
    // The order of the entries, whoever they are of.
    added.sort_by_key(|(job, entry)| (*job, entry.entry, entry.unit));
    for (job, entry) in added {
        works.entry(job).and_modify(|work| work.entries.push(entry));
    }
}

fn clock_entry(spell: &Spell, unit: BillableUnit, measure: Measure) -> ClockEntry {
    ClockEntry {
        entry: spell.entry,
        unit,
        revision: spell.revision,
        stage: spell.site.stage,
        done_on: spell.day,
        measure,
    }
}

/// The fixed sum, in the stage of the first stretch of the day.
fn call_out(spell: &Spell, lists: &Lists<'_>, price: Rate) -> Option<ClockEntry> {
    let (person, day) = (spell.person(), spell.day);
    let terms = lists.time_terms(TimeSide::Charged, Some(spell.site.job), person, day)?;
    let covers = i64::from(terms.call_out?.covers_minutes);
    let measure = Measure::Counted {
        what: format!(
            "{}, call-out {day}, first {} inside",
            lists.person(person),
            trade::money::hours_and_minutes(covers)
        ),
        unit: String::new(),
        quantity: Quantity::new(Decimal::ONE).ok()?,
        price: Some(price),
    };
    Some(clock_entry(spell, BillableUnit::CallOut { person, day }, measure))
}

/// Miles at the rate for a mile that was agreed on the job. Without one they are not charged.
pub(super) fn add_miles(entries: &[Entry<'_>], lists: &Lists<'_>, works: &mut BTreeMap<JobId, JobWork>) {
    for entry in entries {
        let Body::Mileage(driven) = entry.body.as_ref() else { continue };
        let (job, stage, person) = (driven.site.job, driven.site.stage, entry.act.person);
        let day: Day = entry.act.done_on;
        let Some(work) = works.get_mut(&job).filter(|work| work.bills_by_the_clock(stage)) else { continue };
        let Some(price) = lists.mile(TimeSide::Charged, job, person, day).filter(|mile| !mile.is_zero())
        else {
            continue;
        };
        work.entries.push(ClockEntry {
            entry: entry.entry_ref(),
            unit: BillableUnit::Entry(entry.entry_ref()),
            revision: entry.revision(),
            stage,
            done_on: day,
            measure: Measure::Counted {
                what: format!("{}, miles driven", lists.person(person)),
                unit: "mile".to_owned(),
                quantity: driven.miles,
                price: Some(price),
            },
        });
    }
}
