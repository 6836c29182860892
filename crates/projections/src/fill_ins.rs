//! Tasks for the time in which something sets: which of them fit a gap, and why the others don't.
//!
//! It says what fits by its marks. When what sets is fit to be worked on, the hand and the eye say.

use std::fmt;

use ledger::site::{FillInListed, FillInState, Reach};
use ledger::{Body, JobId, StageId};
use serde::Serialize;
use trade::Moment;

use crate::book::Book;
use crate::lists::Lists;
use crate::stages::{Condition, Stage};

/// Longest wait that one stays on site for, in minutes: a day's work. Common practice, no source.
const LONGEST_GAP: i64 = 8 * 60;

/// A gap to be filled.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gap {
    /// How long it is.
    pub minutes: u32,
    /// Something wet is on: no dust, and nothing out of earshot.
    pub wet: bool,
}

/// Why a task does not fit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Unfit {
    /// It takes longer than the gap and can't be left in the middle.
    TooLong,
    /// It makes dust while something is wet.
    Dusty,
    /// Whoever does it hears no call while something is wet.
    OutOfEarshot,
}

impl fmt::Display for Unfit {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::TooLong => "takes longer and can't be dropped",
            Self::Dusty => "makes dust while it is wet",
            Self::OutOfEarshot => "out of earshot while it is wet",
        })
    }
}

impl Gap {
    /// Why a task does not fit; none where it does.
    #[must_use]
    pub const fn unfit(self, task: &FillInListed) -> Option<Unfit> {
        if self.wet && task.dusty {
            return Some(Unfit::Dusty);
        }
        if self.wet && matches!(task.reach, Reach::OutOfEarshot) {
            return Some(Unfit::OutOfEarshot);
        }
        if task.minutes > self.minutes && !task.can_be_dropped {
            return Some(Unfit::TooLong);
        }
        None
    }
}

/// A task as a screen or a program shows it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct FillIn {
    /// The job's code.
    pub job: String,
    /// What is to do.
    pub what: String,
    /// The stage that its hours go to.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stage: Option<String>,
    /// Where, or empty.
    pub room: String,
    /// How long it takes.
    pub minutes: u32,
    /// It can be left in the middle.
    pub can_be_dropped: bool,
    /// It makes dust.
    pub dusty: bool,
    /// How far it takes somebody from what is setting.
    pub reach: Reach,
    /// Why it does not fit.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub unfit: Option<Unfit>,
}

/// The tasks that are still to do on a job or on all: what fits the gap first, the longest before the
/// shorter ones; then what does not, with the reason.
#[must_use]
pub fn fill_ins(lists: &Lists<'_>, job: Option<JobId>, gap: Gap) -> Vec<FillIn> {
    let open = lists.fill_ins.values().filter(|task| task.state == FillInState::Open);
    let of_job = open.filter(|task| job.is_none_or(|job| task.job == job));
    let mut tasks: Vec<FillIn> = of_job
        .map(|task| FillIn {
            job: lists.job(task.job),
            what: task.what.clone(),
            stage: task.stage.map(|stage| lists.stage(Some(stage))),
            room: task.room.clone(),
            minutes: task.minutes,
            can_be_dropped: task.can_be_dropped,
            dusty: task.dusty,
            reach: task.reach,
            unfit: gap.unfit(task),
        })
        .collect();
    let order = |task: &FillIn| {
        let runs_over = task.minutes > gap.minutes;
        (task.unfit, runs_over, std::cmp::Reverse(task.minutes), task.job.clone(), task.what.clone())
    };
    tasks.sort_by_cached_key(order);
    tasks
}

/// Something on a job that sets or dries.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Wet {
    /// What, in words.
    pub what: String,
    /// Until when at the earliest, where that is known. Check by eye and touch.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub until: Option<Moment>,
    /// Minutes until then, where that is no longer than one stays on site for.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub minutes: Option<u32>,
}

/// What sets or dries on a job at this moment: what somebody left wet, a wait that runs, and a coat that is
/// going on. The first to be over stands first.
#[must_use]
pub fn wet(book: &Book, lists: &Lists<'_>, stages: &[Stage], job: JobId, now: Moment) -> Vec<Wet> {
    let minutes = |until: Moment| {
        let minutes = until.minutes_since(now);
        (minutes <= LONGEST_GAP).then(|| u32::try_from(minutes).ok()).flatten()
    };
    let until = |what: String, until: Moment| Wet { what, until: Some(until), minutes: minutes(until) };
    let later = |moment: Moment| moment.utc_ms() > now.utc_ms();
    let left = book.entries().filter_map(|entry| {
        let Body::LeftOff(left) = entry.body.as_ref() else { return None };
        let wet_until = left.wet_until.filter(|until| left.site.job == job && later(*until))?;
        Some(until(format!("{}, left wet", lists.stage(left.site.stage)), wet_until))
    });
    let waits = stages.iter().filter(|stage| stage.job == job && stage.condition == Condition::Free);
    let waits = waits.filter_map(|stage| {
        let over = stage.wait_over.filter(|over| later(*over))?;
        Some(until(format!("the wait before {}", lists.stage(Some(stage.stage))), over))
    });
    let is_coat = |stage: StageId| {
        let trades = lists.stages.get(&stage).map_or(&[][..], |listed| &listed.trades);
        trades.iter().any(|trade| WET_TRADES.iter().any(|wet| trade.to_lowercase().contains(wet)))
    };
    let coats = book.running().into_iter().filter_map(|running| {
        let stage = running.site.stage.filter(|stage| running.site.job == job && is_coat(*stage))?;
        Some(Wet { what: format!("{}, going on now", lists.stage(Some(stage))), until: None, minutes: None })
    });
    let mut all: Vec<Wet> = left.chain(waits).chain(coats).collect();
    all.sort_by_key(|wet| (wet.until.is_none(), wet.until.map(Moment::utc_ms), wet.what.clone()));
    all.dedup();
    all
}

/// Trades whose work is wet while it goes on. Common practice, no source.
const WET_TRADES: [&str; 4] = ["plaster", "render", "screed", "skim"];

#[cfg(test)]
mod tests {
    use super::*;

    fn task(minutes: u32, can_be_dropped: bool, dusty: bool, reach: Reach) -> FillInListed {
        let (job, state) = (JobId([1; 16]), FillInState::Open);
        let (what, room) = ("cut the beads".to_owned(), String::new());
        FillInListed { job, what, stage: None, room, minutes, can_be_dropped, dusty, reach, state }
    }

    #[test]
    fn marks_decide_what_fits() {
        use Reach::{OutOfEarshot, SameRoom, WithinEarshot};
        use Unfit::{Dusty, OutOfEarshot as Far, TooLong};
        let table = [
            // The gap: minutes, wet. The task: minutes, can be dropped, dusty, reach. Why not.
            (90, true, 90, false, false, SameRoom, None),
            (90, true, 91, false, false, SameRoom, Some(TooLong)),
            (90, true, 240, true, false, WithinEarshot, None),
            (90, true, 10, true, true, WithinEarshot, Some(Dusty)),
            (90, true, 10, true, false, OutOfEarshot, Some(Far)),
            (90, true, 10, true, true, OutOfEarshot, Some(Dusty)),
            (90, false, 10, false, true, OutOfEarshot, None),
            (90, false, 100, false, false, SameRoom, Some(TooLong)),
        ];
        for (gap, wet, minutes, drop, dusty, reach, unfit) in table {
            let gap = Gap { minutes: gap, wet };
            assert_eq!(gap.unfit(&task(minutes, drop, dusty, reach)), unfit, "{gap:?} {minutes} {reach:?}");
        }
    }
}
