//! How time is counted where not every hour is at one rate: setting it, and showing what was set.

use ledger::office::{TimeSide, TimeTermsSet};
use ledger::{Audience, Body, Payload, PersonId};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use trade::worktime::{TimeTerms, Uplift};
use trade::{Day, Rate};

use super::{named, office};
use crate::error::NodeError;
use crate::node::{Node, Write};

/// Minutes that a day has.
const DAY_MINUTES: u32 = 24 * 60;
/// Minutes that a week has.
const WEEK_MINUTES: u32 = 7 * DAY_MINUTES;
/// A day is counted in quarters of whole minutes.
const QUARTERS: u32 = 4;

/// How time is to be counted.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct TimeWish {
    /// What it is for.
    pub side: TimeSide,
    /// On this job only.
    pub job: Option<String>,
    /// Of this person only.
    pub person: Option<String>,
    /// How.
    pub counting: Box<TimeTerms>,
    /// From this day; today without one.
    pub from: Option<Day>,
}

/// Sets how time is counted from a day on, in place of all that was set for the same job and person.
pub(super) fn set(node: &mut Node, author: PersonId, wish: TimeWish) -> Result<Value, NodeError> {
    check(&wish)?;
    let job = match &wish.job {
        Some(code) => Some(named::job(&node.book().lists(), code)?.job),
        None => None,
    };
    let person = wish.person.as_deref().map(|name| named::person(node, name)).transpose()?;
    let mut act = node.act(author)?;
    act.done_on = wish.from.unwrap_or(act.done_on);
    let is_row = |body: &Body| matches!(body, Body::TimeTermsSet(set) if (set.side, set.job, set.person) == (wish.side, job, person));
    act.replaces = office::of_the_day(node, act.done_on, is_row);
    let set = TimeTermsSet { side: wish.side, job, person, terms: wish.counting };
    let payload = Payload { act, body: Body::TimeTermsSet(set) };
    node.append(&[Write { audience: Audience::Office, payload }])?;
    Ok(show(node))
}

/// All that was set, with the day from which each holds.
pub(super) fn show(node: &Node) -> Value {
    let lists = node.book().lists();
    let mut rows = Vec::new();
    for ((side, job, person), dated) in &lists.time_terms {
        for (from, set) in dated.iter() {
            rows.push(json!({ "side": side, "job": job.map(|job| lists.job(job)),
                "person": person.map(|person| lists.person(person)), "from": from, "terms": set.terms }));
        }
    }
    json!({ "time_terms": rows })
}

fn check(wish: &TimeWish) -> Result<(), NodeError> {
    let refuse = |words: &str| Err(NodeError::bad_input(words.to_owned()));
    let TimeTerms { day, overtime, saturday, sunday, holiday, holidays, call_out, travel, mile } =
        &*wish.counting;
    if wish.side == TimeSide::Paid {
        if wish.job.is_some() {
            return refuse(
                "what a person is paid is counted over all jobs, because that is one day of theirs; \
                name no job",
            );
        }
        if call_out.is_some() {
            return refuse(
                "a call-out is what a customer is charged; pay it as overtime, or by `fivebar rate`",
            );
        }
    }
    let uplifts = [overtime.map(|overtime| overtime.rate), *saturday, *sunday, *holiday];
    for uplift in uplifts.into_iter().flatten() {
        let (Uplift::Times(rate) | Uplift::Hour(rate)) = uplift;
        if rate.value() <= Rate::ZERO.value() {
            return refuse(
                "a rate for overtime or for a day of its own is more than nought: x1.5, or 48 pounds an hour",
            );
        }
    }
    if let Some(overtime) = overtime {
        if overtime.day_minutes.is_none() && overtime.week_minutes.is_none() && day.is_none() {
            return refuse("overtime needs after how many hours of a day or of a week it begins");
        }
        if overtime.day_minutes.is_some_and(|minutes| minutes > DAY_MINUTES) {
            return refuse("overtime can't begin later than the 24 hours of a day");
        }
        if overtime.week_minutes.is_some_and(|minutes| minutes > WEEK_MINUTES) {
            return refuse("overtime can't begin later than the 168 hours of a week");
        }
    }
    if holiday.is_some() == holidays.is_empty() {
        return refuse(
            "days of their own need both, the rate and which days they are; give both, or neither",
        );
    }
    if let Some(day) = day {
        if day.minutes == 0 || day.minutes > DAY_MINUTES || day.minutes % QUARTERS != 0 {
            return refuse(
                "a day has more than no hours, 24 at most, and divides into quarters of whole minutes",
            );
        }
        named::not_below_nought(&[day.rate])?;
    }
    if let Some(call_out) = call_out
        && (call_out.sum.0 <= 0 || call_out.covers_minutes > DAY_MINUTES)
    {
        return refuse("a call-out is more than nought, and covers 24 hours at most");
    }
    named::not_below_nought(&[travel.unwrap_or(Rate::ZERO), mile.unwrap_or(Rate::ZERO)])
}
