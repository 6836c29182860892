//! Time on the job: who worked how long on what, and what that cost.
//!
//! Hours that were logged and timers that were stopped are the same thing here, a [`Spell`]. A
//! timer that still runs is no time yet; it is listed apart, and only a caller knows what time it is.

use std::collections::BTreeMap;

use ledger::office::TimeSide;
use ledger::site::{Site, Worked};
use ledger::{Body, EntryRef, EventHash, JobId, PersonId, StageId};
use rust_decimal::Decimal;
use trade::worktime::{Band, Part, PartRate};
use trade::{Day, Moment, Pence, Rate, money::labour_cost};

use crate::book::Book;
use crate::entry::Entry;
use crate::lists::Lists;

/// Minutes that an hour has.
const HOUR: i64 = 60;

/// A stretch of one person's work.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Spell {
    /// The hours' entry, or the timer's start or switch.
    pub entry: EntryRef,
    /// The events that made it.
    pub hashes: Vec<EventHash>,
    /// The event that last said how long it was.
    pub revision: EventHash,
    /// Where.
    pub site: Site,
    /// What, where there is no stage.
    pub activity: String,
    /// The day that it belongs to.
    pub day: Day,
    /// From when to when, where clock times were given.
    pub clock: Option<(Moment, Moment)>,
    /// Minutes worked, less the break; never below nought.
    pub minutes: i64,
}

impl Spell {
    /// Who worked.
    #[must_use]
    pub const fn person(&self) -> PersonId {
        self.entry.person
    }
}

/// A timer that nobody stopped.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Running {
    /// Its start, or the switch that it came from.
    pub entry: EntryRef,
    /// Where.
    pub site: Site,
    /// Since when.
    pub since: Moment,
}

/// What ended a timer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TimerEnd {
    /// The stop, or the switch to other work.
    pub entry: EntryRef,
    /// When.
    pub at: Moment,
    /// Minutes of break in the time that it ends.
    pub break_minutes: u32,
    /// It began other work at the same minute.
    pub goes_on: bool,
}

/// Minutes of one person on one stage.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TimeRow {
    /// The job.
    pub job: JobId,
    /// The stage, or none.
    pub stage: Option<StageId>,
    /// The person.
    pub person: PersonId,
    /// Minutes worked.
    pub minutes: i64,
    /// What they cost at the rate of each day, half-up to the penny once. None where a rate is not
    /// known: always in the crew's book.
    pub cost: Option<Pence>,
}

/// Two spells of one person that can't both be right.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Overlap<'a> {
    /// The one that began first.
    pub first: &'a Spell,
    /// The one that began before the first had ended.
    pub second: &'a Spell,
}

/// When a spell that a timer measures ends.
struct End {
    at: Moment,
    break_minutes: u32,
    hashes: Vec<EventHash>,
}

impl Book {
    /// Every finished stretch of work, in the order of person and entry.
    #[must_use]
    pub fn spells(&self) -> Vec<Spell> {
        spells_of(&self.entries().collect::<Vec<_>>())
    }

    /// The timers that nobody stopped, in the order of person and entry.
    #[must_use]
    pub fn running(&self) -> Vec<Running> {
        running_of(&self.entries().collect::<Vec<_>>())
    }

    /// What ended a timer, the earliest first: that is the one that counts.
    #[must_use]
    pub fn ends_of(&self, timer: &EntryRef) -> Vec<TimerEnd> {
        let mut ends: Vec<(Moment, Vec<EventHash>, TimerEnd)> = self
            .entries()
            .filter_map(|entry| {
                let (running, at, break_minutes) = end_of(&entry)?;
                let goes_on = matches!(entry.body.as_ref(), Body::WorkSwitched(_));
                let end = TimerEnd { entry: entry.entry_ref(), at, break_minutes, goes_on };
                (running == *timer).then_some((at, entry.hashes().collect::<Vec<_>>(), end))
            })
            .collect();
        ends.sort_by(|(one, by_one, _), (other, by_other, _)| (one, by_one).cmp(&(other, by_other)));
        ends.into_iter().map(|(_, _, end)| end).collect()
    }

    /// Minutes and cost by job, stage and person, in the order of their ids.
    #[must_use]
    pub fn time_on_job(&self, lists: &Lists<'_>) -> Vec<TimeRow> {
        time_rows(&self.spells(), lists)
    }
}

/// Every finished stretch of work, in the order of the entries.
pub(crate) fn spells_of(entries: &[Entry<'_>]) -> Vec<Spell> {
    let ends = ends(entries);
    entries.iter().filter_map(|entry| spell(entry, &ends)).collect()
}

/// The timers that nobody stopped, in the order of the entries.
pub(crate) fn running_of(entries: &[Entry<'_>]) -> Vec<Running> {
    let ends = ends(entries);
    let timers = entries.iter().filter_map(|entry| {
        let at = entry.entry_ref();
        let (site, since, _) = timer(entry).filter(|_| !ends.contains_key(&at))?;
        Some(Running { entry: at, site: site.clone(), since })
    });
    timers.collect()
}

/// Each timer's end. Of several, the earliest counts.
fn ends(entries: &[Entry<'_>]) -> BTreeMap<EntryRef, End> {
    let mut ends: BTreeMap<EntryRef, End> = BTreeMap::new();
    for entry in entries {
        let Some((running, at, break_minutes)) = end_of(entry) else { continue };
        let end = End { at, break_minutes, hashes: entry.hashes().collect() };
        match ends.get(&running) {
            Some(known) if (known.at, &known.hashes) <= (end.at, &end.hashes) => {}
            _ => drop(ends.insert(running, end)),
        }
    }
    ends
}

/// Which timer an entry ends, when, and with how long a break.
fn end_of(entry: &Entry<'_>) -> Option<(EntryRef, Moment, u32)> {
    match entry.body.as_ref() {
        Body::WorkStopped(stopped) => Some((stopped.running, stopped.at, stopped.break_minutes)),
        Body::WorkSwitched(switched) => Some((switched.running, switched.at, switched.break_minutes)),
        _ => None,
    }
}

/// Minutes and cost of spells by job, stage and person, in the order of their ids.
#[must_use]
pub fn time_rows(spells: &[Spell], lists: &Lists<'_>) -> Vec<TimeRow> {
    let mut rows: BTreeMap<_, Vec<&Spell>> = BTreeMap::new();
    for spell in spells {
        rows.entry((spell.site.job, spell.site.stage, spell.person())).or_default().push(spell);
    }
    let rows = rows.into_iter().map(|((job, stage, person), spells)| TimeRow {
        job,
        stage,
        person,
        minutes: spells.iter().map(|spell| spell.minutes).sum(),
        cost: cost_of(&spells, lists),
    });
    rows.collect()
}

/// Minutes by day, person, job and stage.
#[must_use]
pub fn minutes_by_day(spells: &[Spell]) -> BTreeMap<(Day, PersonId, JobId, Option<StageId>), i64> {
    let mut days = BTreeMap::new();
    for spell in spells {
        *days.entry((spell.day, spell.person(), spell.site.job, spell.site.stage)).or_default() +=
            spell.minutes;
    }
    days
}

/// What spells cost, each at its day's rate, rounded once. None where a rate is not known.
#[must_use]
pub fn cost_of(spells: &[&Spell], lists: &Lists<'_>) -> Option<Pence> {
    let mut minutes_at: BTreeMap<(Rate, i64), i64> = BTreeMap::new();
    for spell in spells {
        for (minutes, at) in paid_at(spell, lists)? {
            *minutes_at.entry((at.rate, at.per_minutes)).or_default() += minutes;
        }
    }
    // A minute at the sum of all rates costs the sum, and is rounded once; only an absurd rate, or a day
    // that does not divide by an hour, leaves no room for the sum.
    let sum = minutes_at.iter().map(|((rate, per_minutes), minutes)| {
        let hourly = rate.value().saturating_mul(Decimal::from(*minutes)).saturating_mul(Decimal::from(HOUR));
        hourly.checked_div(Decimal::from(*per_minutes)).unwrap_or_default()
    });
    let sum = sum.fold(Decimal::ZERO, Decimal::saturating_add);
    Some(match Rate::new(sum) {
        Ok(sum) => labour_cost(1, sum),
        Err(_) => Pence::from_pounds_half_up(sum.checked_div(Decimal::from(HOUR)).unwrap_or_default()),
    })
}

/// What a stretch is paid at: minutes with the rate of each part. None where a rate is not known.
pub(crate) fn paid_at(spell: &Spell, lists: &Lists<'_>) -> Option<Vec<(i64, PartRate)>> {
    let (person, job, day) = (spell.person(), spell.site.job, spell.day);
    let ordinary = lists.rate(person, job, spell.site.stage, day).map(|rates| rates.cost_rate);
    let hour = |minutes| Some((minutes, PartRate { rate: ordinary?, per_minutes: HOUR }));
    let Some(parts) = lists.paid_as.get(&spell.entry) else { return Some(vec![hour(spell.minutes)?]) };
    let terms = lists.time_terms(TimeSide::Paid, None, person, day);
    let at = |part: &Part| match part.band {
        // Only a customer is charged for coming out.
        Band::CallOut => hour(part.minutes),
        Band::Ordinary
        | Band::Day
        | Band::Overtime
        | Band::Saturday
        | Band::Sunday
        | Band::Holiday
        | Band::Travel => Some((part.minutes, part.rate(terms, ordinary)?)),
    };
    parts.iter().map(at).collect()
}

/// The spells of one person that overlap. Each is compared with the one that reaches furthest of
/// those before it.
#[must_use]
pub fn overlaps(spells: &[Spell]) -> Vec<Overlap<'_>> {
    let mut clocked: Vec<_> =
        spells.iter().filter_map(|spell| Some((spell.person(), spell.clock?, spell))).collect();
    clocked.sort_by_key(|(person, clock, spell)| (*person, *clock, spell.entry));
    let mut found = Vec::new();
    let mut furthest: Option<(PersonId, Moment, &Spell)> = None;
    for (person, (from, to), spell) in clocked {
        let before = furthest.filter(|(whose, _, _)| *whose == person);
        if let Some((_, until, first)) = before
            && from.utc_ms() < until.utc_ms()
            && from.utc_ms() < to.utc_ms()
        {
            found.push(Overlap { first, second: spell });
        }
        if before.is_none_or(|(_, until, _)| until.utc_ms() < to.utc_ms()) {
            furthest = Some((person, to, spell));
        }
    }
    found
}

fn timer<'a>(entry: &'a Entry<'_>) -> Option<(&'a Site, Moment, &'a str)> {
    match entry.body.as_ref() {
        Body::WorkStarted(started) => Some((&started.site, started.at, &started.activity)),
        Body::WorkSwitched(switched) => Some((&switched.site, switched.at, &switched.activity)),
        _ => None,
    }
}

fn spell(entry: &Entry<'_>, ends: &BTreeMap<EntryRef, End>) -> Option<Spell> {
    let mut hashes: Vec<_> = entry.hashes().collect();
    let mut revision = entry.revision();
    let (site, activity, clock, minutes) = if let Body::Hours(hours) = entry.body.as_ref() {
        let (clock, minutes) = match hours.worked {
            Worked::Span { from, to, break_minutes } => (Some((from, to)), between(from, to, break_minutes)),
            Worked::Length { minutes } => (None, i64::from(minutes)),
        };
        (&hours.site, hours.activity.as_str(), clock, minutes)
    } else {
        let (site, since, activity) = timer(entry)?;
        let end = ends.get(&entry.entry_ref())?;
        hashes.extend(&end.hashes);
        revision = end.hashes.last().copied().unwrap_or(revision);
        (site, activity, Some((since, end.at)), between(since, end.at, end.break_minutes))
    };
    Some(Spell {
        entry: entry.entry_ref(),
        hashes,
        revision,
        site: site.clone(),
        activity: activity.to_owned(),
        day: entry.act.done_on,
        clock,
        minutes,
    })
}

fn between(from: Moment, to: Moment, break_minutes: u32) -> i64 {
    (to.minutes_since(from) - i64::from(break_minutes)).max(0)
}
