//! Questions about hours: days without any, work before they began, and two at the same time.

use std::collections::{BTreeMap, BTreeSet};

use ledger::site::Away;
use ledger::{Body, PersonId};
use trade::Day;

use super::{Facts, Question, QuestionKind};
use crate::presence::Presence;
use crate::stages::DoneAt;
use crate::time_on_job::overlaps;
use crate::words::words;

pub(super) fn ask(facts: &Facts<'_>, found: &mut Vec<Question>) {
    days_without_hours(facts, found);
    work_before_hours(facts, found);
    overlapping_hours(facts, found);
    hours_without_a_rate(facts, found);
}

/// Weekdays on which somebody worked, and the people of the crew who have nothing logged for them.
fn days_without_hours(facts: &Facts<'_>, found: &mut Vec<Question>) {
    let worked: BTreeSet<_> = facts.spells.iter().map(|spell| (spell.day, spell.person())).collect();
    let days: BTreeSet<Day> = worked.iter().map(|(day, _)| *day).filter(|day| day.is_weekday()).collect();
    let mut away: BTreeMap<PersonId, Vec<(Day, Day)>> = BTreeMap::new();
    for entry in &facts.entries {
        if let Body::Away(Away { until }) = entry.body.as_ref() {
            away.entry(entry.act.person).or_default().push((entry.act.done_on, *until));
        }
    }
    let presence = Presence::of(facts.book, &facts.entries, &facts.spells);
    for (person, name) in &facts.lists.people {
        let away = away.get(person).map_or(&[][..], Vec::as_slice);
        for day in &days {
            let excused = away.iter().any(|(from, until)| (from..=until).contains(&day));
            if excused || worked.contains(&(*day, *person)) || !presence.is_there(*person, *day) {
                continue;
            }
            let text = format!("{name} has no hours on {day}. A day off, or hours still to log?");
            let about = [person.to_string(), day.to_string()];
            found.push(Question::new(QuestionKind::NoHours, &about, text).of(*person).on(*day));
        }
    }
}

/// Tests and material with a time before the person's first clock time that day.
fn work_before_hours(facts: &Facts<'_>, found: &mut Vec<Question>) {
    let mut began: BTreeMap<(PersonId, Day), u16> = BTreeMap::new();
    for spell in &facts.spells {
        let Some((from, _)) = spell.clock.filter(|(from, _)| from.day() == spell.day) else { continue };
        let first = began.entry((spell.person(), spell.day)).or_insert(u16::MAX);
        *first = from.minute_of_day().min(*first);
    }
    let mut early: BTreeMap<(PersonId, Day), Vec<_>> = BTreeMap::new();
    for entry in &facts.entries {
        match entry.body.as_ref() {
            Body::Test(_) | Body::Used(_) | Body::Wasted(_) => {}
            _ => continue,
        }
        let key = (entry.act.person, entry.act.done_on);
        let Some((minute, first)) = DoneAt::known_minute(entry).zip(began.get(&key)) else { continue };
        if minute < *first {
            early.entry(key).or_default().push((minute, entry));
        }
    }
    for ((person, day), mut entries) in early {
        entries.sort_by_key(|(minute, entry)| (*minute, entry.entry_ref()));
        let Some((minute, entry)) = entries.first() else { continue };
        let first = began.get(&(person, day)).copied().unwrap_or_default();
        let text = format!(
            "{} logged {} at {} on {day}, and has hours from {}. Did work begin earlier?",
            facts.lists.person(person),
            words(&facts.lists, facts.book, &entry.act, &entry.body),
            clock(*minute),
            clock(first),
        );
        let about = [person.to_string(), day.to_string()];
        let mut question = Question::new(QuestionKind::BeforeHours, &about, text).of(person).on(day);
        if let Some(site) = entry.site() {
            question = question.at(site.job, site.stage);
        }
        found.push(question.from(entries.iter().map(|(_, entry)| entry.entry_ref())));
    }
}

fn overlapping_hours(facts: &Facts<'_>, found: &mut Vec<Question>) {
    for overlap in overlaps(&facts.spells) {
        let (first, second) = (overlap.first, overlap.second);
        let Some(((_, until), (from, _))) = first.clock.zip(second.clock) else { continue };
        let text = format!(
            "{} has hours on {} until {until} and on {} from {from}. Which is right?",
            facts.lists.person(first.person()),
            facts.lists.stage(first.site.stage),
            facts.lists.stage(second.site.stage),
        );
        let mut ids = [first.entry, second.entry];
        ids.sort_unstable();
        let about = [first.person().to_string(), ids[0].entry.to_string(), ids[1].entry.to_string()];
        found.push(
            Question::new(QuestionKind::Overlap, &about, text)
                .of(first.person())
                .on(second.day)
                .at(second.site.job, second.site.stage)
                .from(ids),
        );
    }
}

/// Only the office knows rates, so only its book can miss one.
fn hours_without_a_rate(facts: &Facts<'_>, found: &mut Vec<Question>) {
    if facts.book.audience() == ledger::Audience::Crew {
        return;
    }
    let mut missing: BTreeMap<PersonId, Vec<_>> = BTreeMap::new();
    for spell in &facts.spells {
        if facts.lists.rate(spell.person(), spell.site.job, spell.site.stage, spell.day).is_none() {
            missing.entry(spell.person()).or_default().push(spell.entry);
        }
    }
    for (person, entries) in missing {
        let text = format!("{} has hours and no rate. What does an hour cost?", facts.lists.person(person));
        let about = [person.to_string()];
        found.push(Question::new(QuestionKind::NoRate, &about, text).of(person).from(entries));
    }
}

fn clock(minute: u16) -> String {
    format!("{:02}:{:02}", minute / 60, minute % 60)
}
