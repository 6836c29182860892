//! Stretches of work put right afterwards: a timer's times, a stretch that is crossed out, and one that is
//! split to the minute.
//!
//! Each is a later event beside what was logged. Where one stretch ends and the next begins in one press, both
//! move together, so that a day stays without gaps; and the parts of what is split add up to the whole.

use ledger::roster_events::Role;
use ledger::site::{Changes, Corrected, Hours, Site, Struck, WorkStopped, WorkSwitched, Worked};
use ledger::{Act, Audience, Body, EntryRef, Kind, Payload, PersonId, StageId};
use projections::time_on_job::{Spell, TimerEnd};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use trade::Moment;

use super::named;
use crate::error::NodeError;
use crate::node::{Node, Write};

/// How a stage is named that is none.
const NO_STAGE: &str = "-";

/// What of a timer's stretch is put right; what is not named stays.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct SpellChange {
    /// The key or id of its beginning.
    pub entry: String,
    /// The job, where it was another.
    pub job: Option<String>,
    /// The stage; `-` for none.
    pub stage: Option<String>,
    /// The clock time at which it began.
    pub from: Option<String>,
    /// The clock time at which it ended.
    pub to: Option<String>,
    /// Minutes of break in it.
    pub break_minutes: Option<u32>,
    /// The note.
    pub note: Option<String>,
}

/// Where a stretch of work is split in two.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct SpellSplit {
    /// The key or id of the hours, or of the timer's beginning.
    pub entry: String,
    /// The clock time at which the second part began.
    pub at: Option<String>,
    /// Of hours without clock times: minutes of the first part.
    pub minutes: Option<u32>,
    /// The job of the second part; without it that of the first.
    pub job: Option<String>,
    /// The stage of the second part; `-` for none.
    pub stage: String,
    /// The break was in the second part.
    pub break_in_second: bool,
}

/// A stretch that is to be put right.
struct Meant {
    of: EntryRef,
    body: Body,
    day: trade::Day,
    zone: String,
    /// Of a timer, what ended it; the first counts.
    ends: Vec<TimerEnd>,
}

fn meant(node: &Node, author: PersonId, key: &str) -> Result<Meant, NodeError> {
    let kinds = [Kind::Hours, Kind::WorkStarted, Kind::WorkSwitched];
    let of = named::entry(node, key, "hours or a timer", &kinds)?;
    let leads = node.ledger().roster().person(&author).is_some_and(|person| person.role >= Role::Lead);
    if of.person != author && !leads {
        return Err(NodeError::bad_input("those are somebody else's hours; they, or who leads, change them"));
    }
    let entry = node.book().entry(&of).ok_or_else(|| NodeError::bad_input("that entry does not count"))?;
    let zone = entry.site().and_then(|site| node.book().lists().jobs.get(&site.job).copied());
    let zone = zone.map_or_else(|| crate::timers::HOME_ZONE.to_owned(), |job| job.time_zone.clone());
    let (body, day) = (entry.body.as_ref().clone(), entry.act.done_on);
    Ok(Meant { of, body, day, zone, ends: node.book().ends_of(&of) })
}

impl Meant {
    fn site(&self) -> Option<&Site> {
        match &self.body {
            Body::Hours(hours) => Some(&hours.site),
            Body::WorkStarted(started) => Some(&started.site),
            Body::WorkSwitched(switched) => Some(&switched.site),
            _ => None,
        }
    }

    /// When a timer began.
    const fn since(&self) -> Option<Moment> {
        match &self.body {
            Body::WorkStarted(started) => Some(started.at),
            Body::WorkSwitched(switched) => Some(switched.at),
            _ => None,
        }
    }

    /// A clock time: the first one that is not before the day's given moment.
    fn clock(&self, name: &str, time: &str, not_before: Option<Moment>) -> Result<Moment, NodeError> {
        let wrong = |error| NodeError::bad_input(format!("--{name} {time}: {error}"));
        if time.contains('T') {
            return Moment::parse(time, &self.zone).map_err(wrong);
        }
        let day = not_before.map_or(self.day, |moment| moment.day());
        let on = |day: trade::Day| Moment::parse(&format!("{day}T{time:0>5}"), &self.zone).map_err(wrong);
        let same_day = on(day)?;
        match not_before {
            Some(before) if same_day.utc_ms() < before.utc_ms() => on(day.plus_days(1)),
            _ => Ok(same_day),
        }
    }
}

/// The job and stage that are named, where they differ from those of an entry.
fn place(node: &Node, site: &Site, job: Option<&str>, stage: &str) -> Result<Site, NodeError> {
    let lists = node.book().lists();
    let job = match job {
        Some(code) => named::job(&lists, code)?,
        None => lists.jobs.get(&site.job).copied().ok_or_else(|| {
            NodeError::bad_input("the job of these hours has not come to this device yet; name the job")
        })?,
    };
    let stage: Option<StageId> = match stage {
        "" | NO_STAGE => None,
        name => Some(named::stage(&lists, job, name)?.stage),
    };
    let place = if job.job == site.job { site.place.clone() } else { ledger::site::Place::default() };
    Ok(Site { job: job.job, stage, place })
}

/// An act about somebody's entry.
fn act(node: &Node, author: PersonId, of: &EntryRef) -> Result<Act, NodeError> {
    let mut act = node.act(author)?;
    act.person = of.person;
    Ok(act)
}

/// A change of an entry, which ends all that was said of it before.
fn corrected(node: &Node, author: PersonId, of: EntryRef, changes: Changes) -> Result<Write, NodeError> {
    let mut act = act(node, author, &of)?;
    act.replaces = named::said_of(node, &of);
    let body = Body::Corrected(Corrected { of, changes: Box::new(changes) });
    Ok(Write { audience: Audience::Crew, payload: Payload { act, body } })
}

fn crew(act: Act, body: Body) -> Write {
    Write { audience: Audience::Crew, payload: Payload { act, body } }
}

/// Refuses a stretch that would be shorter than its break.
fn must_last(what: &str, from: Moment, to: Moment, break_minutes: u32) -> Result<(), NodeError> {
    let minutes = to.minutes_since(from);
    if minutes < i64::from(break_minutes) || minutes < 0 {
        return Err(NodeError::bad_input(format!(
            "{what} would be from {from} to {to} with a break of {break_minutes} min, which is less than nothing"
        )));
    }
    Ok(())
}

/// Puts a timer's stretch right.
pub(super) fn change(node: &mut Node, author: PersonId, wish: &SpellChange) -> Result<Value, NodeError> {
    let meant = meant(node, author, &wish.entry)?;
    let (Some(since), Some(site)) = (meant.since(), meant.site().cloned()) else {
        return Err(NodeError::bad_input(
            "hours that were typed are changed as such: `fivebar log corrected`",
        ));
    };
    let from = wish.from.as_deref().map(|time| meant.clock("from", time, None)).transpose()?.unwrap_or(since);
    let end = meant.ends.first();
    let to = match (&wish.to, end) {
        (Some(time), Some(_)) => Some(meant.clock("to", time, Some(from))?),
        (Some(_), None) => return Err(NodeError::bad_input("this timer still runs; stop it first")),
        (None, end) => end.map(|end| end.at),
    };
    check_change(node, &meant, from, to, wish.break_minutes)?;
    let mut writes = Vec::new();
    let mut begun = Changes { from: (from != since).then_some(from), ..Changes::default() };
    if wish.job.is_some() || wish.stage.is_some() {
        let now = node.book().lists().stage(site.stage);
        let named = wish.stage.clone().unwrap_or(now);
        let moved = place(node, &site, wish.job.as_deref(), &named)?;
        begun.job = (moved.job != site.job).then_some(moved.job);
        begun.stage = (moved.stage != site.stage).then_some(moved.stage);
    }
    let held = node.book().entry(&meant.of).map(|entry| entry.act.note.clone()).unwrap_or_default();
    begun.note = wish.note.clone().filter(|note| *note != held);
    if begun != Changes::default() {
        writes.push(corrected(node, author, meant.of, begun)?);
    }
    if let (Some(end), Some(to)) = (end, to) {
        let break_minutes = wish.break_minutes.filter(|minutes| *minutes != end.break_minutes);
        let moved = (to != end.at).then_some(to);
        if moved.is_some() || break_minutes.is_some() {
            let changes = Changes { to: moved, break_minutes, ..Changes::default() };
            writes.push(corrected(node, author, end.entry, changes)?);
        }
        // A later stop that a split left behind must not end it sooner than is said now.
        for other in meant.ends.iter().skip(1).filter(|other| !other.goes_on && other.at < to) {
            let changes = Changes { to: Some(to), ..Changes::default() };
            writes.push(corrected(node, author, other.entry, changes)?);
        }
    }
    if writes.is_empty() {
        return Err(NodeError::bad_input("nothing is different; say what changes"));
    }
    node.append(&writes)?;
    Ok(shown(node, &[meant.of]))
}

/// Whether the stretch, the one that it came from and the one that it goes on to all still last.
fn check_change(
    node: &Node,
    meant: &Meant,
    from: Moment,
    to: Option<Moment>,
    break_minutes: Option<u32>,
) -> Result<(), NodeError> {
    let book = node.book();
    if let (Some(to), Some(end)) = (to, meant.ends.first()) {
        must_last("that", from, to, break_minutes.unwrap_or(end.break_minutes))?;
        let next = end.goes_on.then(|| book.ends_of(&end.entry)).and_then(|ends| ends.into_iter().next());
        if let Some(next) = next {
            must_last("what comes after it", to, next.at, next.break_minutes)?;
        }
        if meant.ends.iter().skip(1).any(|other| other.goes_on && other.at < to) {
            return Err(NodeError::bad_input(format!("other work began before {to}; change that first")));
        }
    }
    if let Body::WorkSwitched(switched) = &meant.body
        && let Some(before) = book.entry(&switched.running)
        && let Body::WorkStarted(ledger::site::WorkStarted { at, .. })
        | Body::WorkSwitched(WorkSwitched { at, .. }) = before.body.as_ref()
    {
        must_last("what came before it", *at, from, switched.break_minutes)?;
    }
    Ok(())
}

/// Crosses a stretch out. What it was gone over from still ended when it did.
pub(super) fn strike(node: &mut Node, author: PersonId, key: &str) -> Result<Value, NodeError> {
    let meant = meant(node, author, key)?;
    let said = node.book().lists().person(meant.of.person);
    let mut struck = act(node, author, &meant.of)?;
    struck.replaces = named::said_of(node, &meant.of);
    let mut writes = vec![crew(struck, Body::Struck(Struck { of: meant.of }))];
    if let Body::WorkSwitched(switched) = &meant.body
        && node.book().ends_of(&switched.running).first().is_some_and(|end| end.entry == meant.of)
    {
        let WorkSwitched { running, at, break_minutes, .. } = *switched;
        let mut stopped = act(node, author, &meant.of)?;
        stopped.done_on = meant.day;
        writes.push(crew(stopped, Body::WorkStopped(WorkStopped { running, at, break_minutes })));
    }
    node.append(&writes)?;
    Ok(json!({ "crossed_out_of": said }))
}

/// Splits a stretch in two that add up to it.
pub(super) fn split(node: &mut Node, author: PersonId, wish: &SpellSplit) -> Result<Value, NodeError> {
    let meant = meant(node, author, &wish.entry)?;
    let first = meant.site().cloned().ok_or_else(|| NodeError::bad_input("that is no stretch of work"))?;
    let second = place(node, &first, wish.job.as_deref(), &wish.stage)?;
    let breaks = |minutes: u32| if wish.break_in_second { (0, minutes) } else { (minutes, 0) };
    let at = |from: Moment| match &wish.at {
        Some(time) => meant.clock("at", time, Some(from)),
        None => Err(NodeError::bad_input("say at what time the second part began")),
    };
    let mut rest = act(node, author, &meant.of)?;
    rest.done_on = meant.day;
    let new = EntryRef { person: meant.of.person, entry: rest.entry };
    let hours = |worked| Hours { site: second.clone(), activity: String::new(), worked };
    let writes = match &meant.body {
        Body::Hours(Hours { worked: Worked::Span { from, to, break_minutes }, .. }) => {
            let (between, (before, after)) = (at(*from)?, breaks(*break_minutes));
            both_last(*from, between, *to, (before, after))?;
            let changes = Changes { to: Some(between), break_minutes: Some(before), ..Changes::default() };
            let worked = Worked::Span { from: between, to: *to, break_minutes: after };
            vec![crew(rest, Body::Hours(hours(worked))), corrected(node, author, meant.of, changes)?]
        }
        Body::Hours(Hours { worked: Worked::Length { minutes }, .. }) => {
            let part = wish.minutes.filter(|part| (1..*minutes).contains(part)).ok_or_else(|| {
                NodeError::bad_input(format!(
                    "the first part has from 1 to {} minutes",
                    minutes.saturating_sub(1)
                ))
            })?;
            let changes = Changes { minutes: Some(part), ..Changes::default() };
            let worked = Worked::Length { minutes: minutes - part };
            vec![crew(rest, Body::Hours(hours(worked))), corrected(node, author, meant.of, changes)?]
        }
        _ => {
            let since = meant.since().ok_or_else(|| NodeError::bad_input("that is no stretch of work"))?;
            let between = at(since)?;
            let end = meant.ends.first();
            let (before, after) = breaks(end.map_or(0, |end| end.break_minutes));
            match end {
                Some(end) => both_last(since, between, end.at, (before, after))?,
                None if between.utc_ms() > node.instant_ms() => {
                    return Err(NodeError::bad_input(format!("{between} has not come yet")));
                }
                None => {}
            }
            let switched = WorkSwitched {
                running: meant.of,
                site: second.clone(),
                activity: String::new(),
                at: between,
                break_minutes: before,
            };
            let mut writes = vec![crew(rest, Body::WorkSwitched(switched))];
            if let Some(end) = end {
                let mut stopped = act(node, author, &meant.of)?;
                stopped.done_on = meant.day;
                let stop = WorkStopped { running: new, at: end.at, break_minutes: after };
                writes.push(crew(stopped, Body::WorkStopped(stop)));
            }
            writes
        }
    };
    node.append(&writes)?;
    Ok(shown(node, &[meant.of, new]))
}

fn both_last(
    from: Moment,
    between: Moment,
    to: Moment,
    (before, after): (u32, u32),
) -> Result<(), NodeError> {
    if between.utc_ms() <= from.utc_ms() || between.utc_ms() >= to.utc_ms() {
        return Err(NodeError::bad_input(format!("{between} is not between {from} and {to}")));
    }
    must_last("the first part", from, between, before)?;
    must_last("the second part", between, to, after)
}

/// The parts as they stand, and what they come to together.
fn shown(node: &Node, parts: &[EntryRef]) -> Value {
    let lists = node.book().lists();
    let spells = node.book().spells();
    let found: Vec<&Spell> =
        parts.iter().filter_map(|part| spells.iter().find(|spell| spell.entry == *part)).collect();
    let rows: Vec<Value> = found
        .iter()
        .map(|spell| {
            json!({ "job": lists.job(spell.site.job), "stage": lists.stage(spell.site.stage),
                "from": spell.clock.map(|(from, _)| from.to_string()),
                "to": spell.clock.map(|(_, to)| to.to_string()), "minutes": spell.minutes })
        })
        .collect();
    json!({ "parts": rows, "minutes": found.iter().map(|spell| spell.minutes).sum::<i64>() })
}

#[cfg(test)]
mod tests;
