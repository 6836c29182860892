//! The earliest day for each stage, and what slips if one does.
//!
//! It is a forecast from what was priced and logged: hours of labour at a day's work a weekday, waits by
//! the clock. It promises nothing and is shown as the earliest. A wait's end says nothing of what is wet.

use std::collections::BTreeMap;

use ledger::site::{LineKind, NeedKind, NeedState, StageListed};
use ledger::{JobId, StageId};
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive as _;
use serde::Serialize;
use trade::network::{self, Activity, Link, NetworkError};
use trade::{Day, Moment};

use crate::book::Book;
use crate::lists::Lists;
use crate::stages::{Condition, Stage};

/// A day's work in minutes. Common practice, no source.
const DAY_OF_WORK: i64 = 8 * 60;
/// When a day's work begins, in minutes past midnight. Common practice, no source.
const DAY_BEGINS: i64 = 8 * 60;
const DAY: i64 = 24 * 60;

/// A minute of work: the day, and how much of the day's work lies before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct AtWork {
    day: Day,
    minute: i64,
}

impl AtWork {
    /// The first minute of work that is not before this one by the clock.
    fn from_clock(day: Day, minute_of_day: i64) -> Self {
        let minute = (minute_of_day - DAY_BEGINS).max(0);
        if minute >= DAY_OF_WORK {
            Self::morning(day.plus_days(1))
        } else {
            Self { day, minute }.on_a_weekday()
        }
    }

    fn morning(day: Day) -> Self {
        Self { day, minute: 0 }.on_a_weekday()
    }

    fn on_a_weekday(self) -> Self {
        let mut day = self.day;
        while !day.is_weekday() {
            day = day.plus_days(1);
        }
        if day == self.day { self } else { Self { day, minute: 0 } }
    }

    /// After so much work. Work that ends a day ends it, and does not begin the next.
    fn plus_work(self, minutes: i64) -> Self {
        let (mut at, mut left) = (self, minutes.clamp(0, MOST_WORK));
        while left > DAY_OF_WORK - at.minute {
            left -= DAY_OF_WORK - at.minute;
            at = Self::morning(at.day.plus_days(1));
        }
        Self { minute: at.minute + left, ..at }
    }

    /// The first minute of work after a wait by the clock.
    fn plus_wait(self, minutes: i64) -> Self {
        let clock = DAY_BEGINS + self.minute + minutes.clamp(0, MOST_WAIT);
        let days = i32::try_from(clock / DAY).unwrap_or(0);
        Self::from_clock(self.day.plus_days(days), clock % DAY)
    }
}

/// Most work that a stage is taken to have left: ten years. More is a slip of the pen.
const MOST_WORK: i64 = 10 * 260 * DAY_OF_WORK;
/// Longest wait that is followed: ten years.
const MOST_WAIT: i64 = 3_653 * DAY;

/// The stages of one job as a network, as far as they are not signed off.
pub(crate) struct Network<'a> {
    stages: Vec<(&'a Stage, &'a StageListed)>,
    activities: Vec<Activity>,
}

/// Stages that come after each other in a circle, by their names; each comes after the one before it.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("stages come after each other in a circle: {}; change one of them", .0.join(", then "))]
pub struct StagesInACircle(pub Vec<String>);

/// The open stages of a job that come after each other in a circle, each after the one before it.
pub(crate) fn circle(job: JobId, stages: &[Stage], lists: &Lists<'_>) -> Option<Vec<StageId>> {
    let network = Network::of(job, stages, lists, &BTreeMap::new());
    match network::in_order(&network.activities) {
        Err(NetworkError::Circle(places)) => {
            Some(places.iter().filter_map(|at| Some(network.stages.get(*at)?.0.stage)).collect())
        }
        Ok(_) | Err(_) => None,
    }
}

impl<'a> Network<'a> {
    pub(crate) fn of(
        job: JobId,
        stages: &'a [Stage],
        lists: &Lists<'a>,
        work: &BTreeMap<StageId, i64>,
    ) -> Self {
        let open = stages.iter().filter(|stage| stage.job == job && stage.condition != Condition::SignedOff);
        let stages: Vec<_> =
            open.filter_map(|stage| Some((stage, *lists.stages.get(&stage.stage)?))).collect();
        let place = |id: &StageId| stages.iter().position(|(stage, _)| stage.stage == *id);
        let activities = stages.iter().map(|(stage, listed)| {
            let left = work.get(&stage.stage).copied().unwrap_or(0);
            let links = listed.after.iter().filter_map(place);
            // A day's work passes while a day does, so that waits and work can be counted together.
            let clock = |work: i64| u64::try_from(work.clamp(0, MOST_WORK) * DAY / DAY_OF_WORK).unwrap_or(0);
            Activity {
                duration: clock(left),
                after: links.map(|from| Link { from, lag: u64::from(listed.wait_minutes) }).collect(),
            }
        });
        let activities = activities.collect();
        Self { stages, activities }
    }

    fn in_circle(&self, error: &NetworkError) -> StagesInACircle {
        let NetworkError::Circle(places) = error else { return StagesInACircle(Vec::new()) };
        let name = |at: &usize| Some(self.stages.get(*at)?.1.name.clone());
        StagesInACircle(places.iter().filter_map(name).collect())
    }

    /// When each stage can begin and end at the earliest.
    fn forecast(
        &self,
        now: Moment,
        work: &BTreeMap<StageId, i64>,
    ) -> Result<BTreeMap<StageId, (AtWork, AtWork)>, StagesInACircle> {
        let order = network::in_order(&self.activities).map_err(|error| self.in_circle(&error))?;
        let from_now = |at: Moment| AtWork::from_clock(at.day(), i64::from(at.minute_of_day()));
        let mut found: BTreeMap<StageId, (AtWork, AtWork)> = BTreeMap::new();
        for at in order {
            let Some((stage, listed)) = self.stages.get(at) else { continue };
            let ends = listed.after.iter().filter_map(|before| found.get(before));
            let ends = ends.map(|(_, end)| end.plus_wait(i64::from(listed.wait_minutes)));
            // A wait that runs already ends when it ends.
            let waits = stage.wait_over.filter(|over| over.utc_ms() > now.utc_ms()).map(from_now);
            let start = ends.chain(waits).max().unwrap_or_else(|| from_now(now)).max(from_now(now));
            let end = start.plus_work(work.get(&stage.stage).copied().unwrap_or(0));
            found.insert(stage.stage, (start, end));
        }
        Ok(found)
    }
}

/// The minutes of work that are left of each stage: what was priced for it less what was worked or said to
/// be done, shared by the people that it needs.
pub(crate) fn work_left(book: &Book, lists: &Lists<'_>, stages: &[Stage]) -> BTreeMap<StageId, i64> {
    let sixty = Decimal::from(60);
    let mut priced: BTreeMap<StageId, Decimal> = BTreeMap::new();
    for line in lists.lines.values().filter(|line| line.kind == LineKind::Labour) {
        let minutes = priced.entry(line.stage).or_default();
        *minutes = minutes.saturating_add(line.quantity.value().saturating_mul(sixty));
    }
    let mut worked: BTreeMap<StageId, i64> = BTreeMap::new();
    for spell in book.spells() {
        if let Some(stage) = spell.site.stage {
            let sum = worked.entry(stage).or_insert(0);
            *sum = sum.saturating_add(spell.minutes);
        }
    }
    let left = stages.iter().map(|stage| {
        let priced = priced.get(&stage.stage).copied().unwrap_or_default();
        let whole = Decimal::ONE_HUNDRED;
        let left = match stage.part_done {
            Some(part) => {
                let rest = (whole - part.value()).clamp(Decimal::ZERO, whole);
                priced.saturating_mul(rest).checked_div(whole).unwrap_or_default()
            }
            None => priced.saturating_sub(Decimal::from(worked.get(&stage.stage).copied().unwrap_or(0))),
        };
        let people = Decimal::from(people_needed(lists, stage.stage).unwrap_or(1).max(1));
        let minutes = left.max(Decimal::ZERO).checked_div(people).unwrap_or_default().ceil();
        (stage.stage, minutes.to_i64().unwrap_or(MOST_WORK))
    });
    left.collect()
}

/// How many people a stage needs, where somebody said so.
pub(crate) fn people_needed(lists: &Lists<'_>, stage: StageId) -> Option<u32> {
    let need = lists.needs.get(&(stage, NeedKind::People, ""))?;
    (need.state == NeedState::Open).then_some(need.count)
}

/// The earliest day for each stage that is not signed off. None for those in a circle.
pub(crate) fn earliest_days(
    book: &Book,
    lists: &Lists<'_>,
    stages: &[Stage],
    now: Moment,
) -> BTreeMap<StageId, Day> {
    let work = work_left(book, lists, stages);
    let jobs = lists.jobs.keys().map(|job| Network::of(*job, stages, lists, &work));
    let forecasts = jobs.filter_map(|network| network.forecast(now, &work).ok());
    forecasts.flatten().map(|(stage, (start, _))| (stage, start.day)).collect()
}

/// A stage that slips.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Slip {
    /// The stage.
    pub stage: String,
    /// The earliest day without the slip.
    pub from: Day,
    /// The earliest day with it.
    pub to: Day,
}

/// What slips if a stage does.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Slips {
    /// The stages that start on a later day.
    pub stages: Vec<Slip>,
    /// The day on which the job ends at the earliest without it, and with it.
    pub end: Option<(Day, Day)>,
    /// Hours of work by which the stage can slip before the end of the job does.
    pub to_spare_hours: u64,
}

/// What slips on a job if a stage takes so many minutes of work longer.
///
/// # Errors
/// [`StagesInACircle`], by name.
pub fn slips(
    book: &Book,
    job: JobId,
    slipping: StageId,
    minutes: u32,
    now: Moment,
) -> Result<Slips, StagesInACircle> {
    let lists = book.lists();
    let stages = book.stages(&lists);
    let mut work = work_left(book, &lists, &stages);
    let network = Network::of(job, &stages, &lists, &work);
    let times = network::times(&network.activities).map_err(|error| network.in_circle(&error))?;
    let place = network.stages.iter().position(|(stage, _)| stage.stage == slipping);
    let float = place.and_then(|at| times.get(at)).map_or(0, |times| times.total_float);
    let before = network.forecast(now, &work)?;
    let longer = work.entry(slipping).or_insert(0);
    *longer = longer.saturating_add(i64::from(minutes));
    let after = network.forecast(now, &work)?;
    let end = |found: &BTreeMap<StageId, (AtWork, AtWork)>| found.values().map(|(_, end)| end.day).max();
    let slip = |(stage, _): &(&Stage, &StageListed)| {
        let (from, to) = (before.get(&stage.stage)?.0.day, after.get(&stage.stage)?.0.day);
        (from != to).then(|| Slip { stage: lists.stage(Some(stage.stage)), from, to })
    };
    let of_day = u64::try_from(DAY / DAY_OF_WORK).unwrap_or(1);
    Ok(Slips {
        stages: network.stages.iter().filter_map(slip).collect(),
        end: end(&before).zip(end(&after)),
        to_spare_hours: float / of_day / 60,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(day: &str, minute: i64) -> AtWork {
        AtWork { day: day.parse().unwrap(), minute }
    }

    #[test]
    fn work_goes_on_the_next_weekday_and_waits_run_through_the_night() {
        // Friday, 6 November 2026.
        let friday = at("2026-11-06", 0);
        assert_eq!(friday.plus_work(480), at("2026-11-06", 480));
        assert_eq!(friday.plus_work(481), at("2026-11-09", 1));
        assert_eq!(friday.plus_work(3 * 480), at("2026-11-10", 480));
        assert_eq!(friday.plus_work(480).plus_wait(16 * 60), at("2026-11-09", 0));
        assert_eq!(at("2026-11-04", 120).plus_wait(120), at("2026-11-04", 240));
        assert_eq!(at("2026-11-04", 480).plus_wait(24 * 60), at("2026-11-06", 0));
        assert_eq!(AtWork::from_clock("2026-11-07".parse().unwrap(), 600), at("2026-11-09", 0));
        assert!(friday.plus_work(i64::MAX).day.is_weekday());
    }
}
