//! How time is counted, in words, for the boss: what a job is charged and what a person is paid beyond the ordinary
//! hour.

use ledger::office::TimeSide;
use ledger::{JobId, PersonId};
use projections::words;
use trade::money::hours_and_minutes;
use trade::worktime::{DayParts, TimeTerms};

use crate::look::Look;

/// What was set for a job or a person, the newest first; each as `from 2 Nov 2026: Saturday x1.5`. Empty where
/// nothing was.
pub(crate) fn counting(
    look: &Look<'_>,
    side: TimeSide,
    job: Option<JobId>,
    person: Option<PersonId>,
) -> Vec<String> {
    let set = look.lists.time_terms.get(&(side, job, person)).filter(|_| look.viewer.sees_money);
    let lines = set.into_iter().flat_map(|dated| dated.iter());
    let mut lines: Vec<String> = lines
        .map(|(from, set)| format!("from {}: {}", words::day_and_year(from), said(&set.terms)))
        .collect();
    lines.reverse();
    lines
}

/// One way of counting.
fn said(terms: &TimeTerms) -> String {
    let hours = |minutes: u32| hours_and_minutes(minutes.into());
    let rate = |rate: trade::Rate| format!("£{:.2}", rate.value());
    let mut parts: Vec<String> = Vec::new();
    if let Some(day) = &terms.day {
        let by = match day.parts {
            DayParts::Halves => "halves",
            DayParts::Quarters => "quarters",
        };
        parts.push(format!("{} a day of {}, by {by}", rate(day.rate), hours(day.minutes)));
    }
    if let Some(overtime) = &terms.overtime {
        let after = [(overtime.day_minutes, "a day"), (overtime.week_minutes, "a week")];
        let after: Vec<String> = after
            .into_iter()
            .filter_map(|(minutes, of)| Some(format!("after {} of {of}", hours(minutes?))))
            .collect();
        parts.push(format!("overtime {} {}", overtime.rate, after.join(" or ")).trim().to_owned());
    }
    for (what, uplift) in [("Saturday", terms.saturday), ("Sunday", terms.sunday)] {
        parts.extend(uplift.map(|uplift| format!("{what} {uplift}")));
    }
    if let Some(holiday) = terms.holiday {
        let days: Vec<String> = terms.holidays.iter().map(|day| words::day_and_year(*day)).collect();
        parts.push(format!("{holiday} on {}", days.join(", ")));
    }
    if let Some(call_out) = terms.call_out {
        let (sum, covers) = (words::pounds(call_out.sum), hours(call_out.covers_minutes));
        parts.push(format!("call-out {sum} with the first {covers}"));
    }
    parts.extend(terms.travel.map(|travel| format!("travelling {} an hour", rate(travel))));
    parts.extend(terms.mile.map(|mile| format!("{} a mile", rate(mile))));
    if parts.is_empty() { "every hour is an ordinary one".to_owned() } else { parts.join("; ") }
}
