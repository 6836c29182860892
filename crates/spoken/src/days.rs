//! Days as people say them: "yesterday", "Friday", "the third of November".
//!
//! A weekday means the last one that was, as work is logged after it is done; the caller shows the date.

use trade::Day;

use crate::numbers::whole_at;
use crate::words::{Word, longest, phrase_at, text_at};

/// A day that was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct DayRead {
    pub(crate) day: Day,
    pub(crate) len: usize,
    /// It was said by a weekday's name, which another week has too.
    pub(crate) by_weekday: bool,
}

const WEEKDAYS: &[&str] = &["monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"];

const MONTHS: &[&str] = &[
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
];

const ORDINALS: &[&str] = &[
    "first",
    "second",
    "third",
    "fourth",
    "fifth",
    "sixth",
    "seventh",
    "eighth",
    "ninth",
    "tenth",
    "eleventh",
    "twelfth",
    "thirteenth",
    "fourteenth",
    "fifteenth",
    "sixteenth",
    "seventeenth",
    "eighteenth",
    "nineteenth",
    "twentieth",
];

const SPANS: &[(&str, i32)] = &[
    ("today", 0),
    ("this morning", 0),
    ("this afternoon", 0),
    ("yesterday", -1),
    ("yesterday morning", -1),
    ("yesterday afternoon", -1),
    ("the day before yesterday", -2),
];

/// 1 January 1970 was a Thursday, the fourth day of a week that begins on Monday.
fn weekday_of(day: Day) -> i32 {
    (day.number() + 3).rem_euclid(7)
}

/// The weekday's name, for showing.
pub(crate) fn weekday_name(day: Day) -> String {
    let name = usize::try_from(weekday_of(day)).ok().and_then(|at| WEEKDAYS.get(at)).copied().unwrap_or("");
    let (first, rest) = name.split_at_checked(1).unwrap_or(("", ""));
    format!("{}{rest}", first.to_uppercase())
}

/// A day for showing: Tuesday 3 November.
pub(crate) fn shown(day: Day) -> String {
    let text = day.to_string();
    let mut parts = text.split('-').skip(1);
    let month =
        parts.next().and_then(|month| month.parse::<usize>().ok()).and_then(|month| MONTHS.get(month - 1));
    let (first, rest) = month.and_then(|month| month.split_at_checked(1)).unwrap_or(("", ""));
    let date = parts.next().unwrap_or("").trim_start_matches('0');
    format!("{} {date} {}{rest}", weekday_name(day), first.to_uppercase())
}

fn weekday_at(words: &[Word], at: usize) -> Option<i32> {
    let text = text_at(words, at);
    let full = |name: &&str| *name == text || (text.len() >= 3 && text.len() <= 5 && name.starts_with(text));
    // "Sun", "sat" and "wed" are words of their own.
    let is_short = matches!(text, "mon" | "tue" | "tues" | "thu" | "thur" | "thurs" | "fri");
    let at = WEEKDAYS.iter().position(|name| *name == text || (is_short && full(name)))?;
    i32::try_from(at).ok()
}

/// The day that begins here. `ahead` asks for the next such weekday instead of the last.
pub(crate) fn day_at(words: &[Word], at: usize, today: Day, ahead: bool) -> Option<DayRead> {
    let at_on = at + usize::from(text_at(words, at) == "on");
    let on = at_on - at;
    if let Some((days, len)) = longest(words, at, SPANS) {
        return Some(DayRead { day: today.plus_days(*days), len, by_weekday: false });
    }
    let turn = text_at(words, at_on);
    let lead = usize::from(matches!(turn, "last" | "this" | "next"));
    if let Some(weekday) = weekday_at(words, at_on + lead) {
        let back = (weekday_of(today) - weekday).rem_euclid(7);
        let days = if ahead || turn == "next" {
            if back == 0 { 7 } else { 7 - back }
        } else if turn == "last" && back == 0 {
            -7
        } else {
            -back
        };
        let part = usize::from(matches!(text_at(words, at_on + lead + 1), "morning" | "afternoon"));
        return Some(DayRead { day: today.plus_days(days), len: on + lead + 1 + part, by_weekday: true });
    }
    date_at(words, at_on, today).map(|(day, len)| DayRead { day, len: on + len, by_weekday: false })
}

/// "The third of November", "3rd November": in the year that puts it nearest before tomorrow.
fn date_at(words: &[Word], at: usize, today: Day) -> Option<(Day, usize)> {
    let mut here = at + usize::from(text_at(words, at) == "the");
    let ordinal = ORDINALS
        .iter()
        .position(|word| *word == text_at(words, here))
        .and_then(|at| u32::try_from(at + 1).ok());
    let date = match ordinal {
        Some(date) => date,
        None => {
            let (date, len) = whole_at(words, here, 31)?;
            here += len - 1;
            let suffixed = matches!(text_at(words, here + 1), "st" | "nd" | "rd" | "th");
            here += usize::from(suffixed);
            date
        }
    };
    here += 1;
    here += usize::from(text_at(words, here) == "of");
    let month = MONTHS.iter().position(|month| *month == text_at(words, here))? + 1;
    here += 1;
    let year: i32 = today.to_string().get(..4)?.parse().ok()?;
    let of_year = |year: i32| format!("{year:04}-{month:02}-{date:02}").parse::<Day>().ok();
    let day = of_year(year).filter(|day| *day <= today).or_else(|| of_year(year - 1))?;
    Some((day, here - at))
}

/// "Tomorrow", "next week": a day that has not been.
pub(crate) fn ahead_at(words: &[Word], at: usize) -> Option<usize> {
    let phrases =
        ["tomorrow", "tomorrow morning", "tomorrow afternoon", "next week", "in the morning first thing"];
    phrases.iter().filter_map(|phrase| phrase_at(words, at, phrase)).max()
}
