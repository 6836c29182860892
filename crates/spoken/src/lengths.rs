//! Lengths of time, and breaks: "an hour and a half", "hour and ten", "three quarters off for dinner".
//!
//! "An hour and half a bag" is an hour: the half belongs to the bag.

use rust_decimal::Decimal;

use crate::numbers::{and_a_fraction, number_at, whole_at};
use crate::words::{Stop, Word, longest, text_at};

/// Longest length that is read at all, in minutes; anything longer is a slip of the tongue.
const MOST_MINUTES: i64 = 1000 * 60;

/// Minutes, and how many words they took.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Length {
    pub(crate) minutes: u32,
    pub(crate) len: usize,
}

fn is_hour(text: &str) -> bool {
    matches!(text, "hour" | "hours" | "hr" | "hrs" | "h")
}

fn is_minute(text: &str) -> bool {
    matches!(text, "minute" | "minutes" | "min" | "mins")
}

/// Whole minutes in some hours.
fn minutes_in(hours: Decimal) -> Option<u32> {
    let minutes = hours.checked_mul(Decimal::from(60))?;
    let fits =
        minutes.fract().is_zero() && !minutes.is_sign_negative() && minutes <= Decimal::from(MOST_MINUTES);
    fits.then(|| u32::try_from(minutes).ok()).flatten()
}

/// The length of time that begins here. `counts` says whether a unit or an item stands at a place, so
/// that a number before it is left to it.
pub(crate) fn length_at(words: &[Word], at: usize, counts: &dyn Fn(usize) -> bool) -> Option<Length> {
    let (hours, mut len) = match text_at(words, at) {
        "a" | "an" if is_hour(text_at(words, at + 1)) => (Decimal::ONE, 1),
        // "By the hour" is no hour.
        "hour"
            if !at
                .checked_sub(1)
                .is_some_and(|before| matches!(text_at(words, before), "the" | "per" | "every")) =>
        {
            (Decimal::ONE, 0)
        }
        _ => {
            let number = number_at(words, at)?;
            let mut len = number.len;
            if is_minute(text_at(words, at + len)) {
                let minutes = u32::try_from(number.value).ok().filter(|_| number.value.fract().is_zero())?;
                return (i64::from(minutes) <= MOST_MINUTES).then_some(Length { minutes, len: len + 1 });
            }
            // "Half an hour", "three quarters of an hour".
            if number.value < Decimal::ONE {
                len += usize::from(text_at(words, at + len) == "of");
                len += usize::from(matches!(text_at(words, at + len), "a" | "an"));
            }
            if !is_hour(text_at(words, at + len)) {
                return None;
            }
            (number.value, len)
        }
    };
    len += 1;
    let mut minutes = minutes_in(hours)?;
    if let Some(more) = and_a_fraction(words, at + len).filter(|more| !counts(at + len + more.len)) {
        minutes = minutes.checked_add(minutes_in(more.value)?)?;
        len += more.len;
    } else if words.get(at + len).is_some_and(|word| word.stop == Stop::None) {
        let and = usize::from(text_at(words, at + len) == "and");
        if let Some((more, taken)) = whole_at(words, at + len + and, 59) {
            let after = at + len + and + taken;
            let named = usize::from(is_minute(text_at(words, after)));
            let free = more >= 5 && !counts(after) && !is_hour(text_at(words, after));
            let free = free && !matches!(text_at(words, after), "till" | "until" | "to" | "past" | "of");
            if named == 1 || free {
                minutes = minutes.checked_add(more)?;
                len += and + taken + named;
            }
        }
    }
    Some(Length { minutes, len })
}

const NO_BREAK: &[(&str, ())] = &[
    ("straight through", ()),
    ("no break", ()),
    ("no breaks", ()),
    ("no dinner", ()),
    ("no lunch", ()),
    ("without a break", ()),
    ("without stopping", ()),
    ("worked through", ()),
    ("worked through dinner", ()),
    ("worked through lunch", ()),
    ("didn't stop", ()),
    ("no dinner break", ()),
    ("no lunch break", ()),
];

fn is_break_word(text: &str) -> bool {
    matches!(text, "break" | "breaks" | "dinner" | "lunch" | "tea" | "breakfast" | "bait" | "snap")
}

/// A length that can be a break: also a bare "thirty" or "three quarters".
fn bare_length(words: &[Word], at: usize) -> Option<Length> {
    let nothing = |_: usize| false;
    if let Some(length) = length_at(words, at, &nothing) {
        return Some(length);
    }
    let number = number_at(words, at)?;
    let minutes = if number.value < Decimal::ONE {
        minutes_in(number.value)?
    } else {
        u32::try_from(number.value).ok().filter(|_| number.value.fract().is_zero())?
    };
    (10..=120).contains(&minutes).then_some(Length { minutes, len: number.len })
}

/// The break that begins here.
pub(crate) fn break_at(words: &[Word], at: usize) -> Option<Length> {
    if let Some((_, len)) = longest(words, at, NO_BREAK) {
        return Some(Length { minutes: 0, len });
    }
    let skip = |mut at: usize, fillers: &[&str]| {
        while fillers.contains(&text_at(words, at)) {
            at += 1;
        }
        at
    };
    let lead = skip(at, &["less", "minus", "with", "had", "took", "having", "bar", "knock", "off"]);
    let is_less = lead > at && matches!(text_at(words, at), "less" | "minus" | "bar" | "knock");
    if is_break_word(text_at(words, lead)) {
        let start = skip(lead + 1, &["was", "of", "for", "break"]);
        let length = bare_length(words, start)?;
        return Some(Length { minutes: length.minutes, len: start + length.len - at });
    }
    let lead = if text_at(words, lead) == "a" && number_at(words, lead).is_none() { lead + 1 } else { lead };
    let length = bare_length(words, lead)?;
    let mut end = lead + length.len;
    end = skip(end, &["'s"]);
    let is_off = text_at(words, end) == "off";
    end += usize::from(is_off);
    let for_what = skip(end, &["for", "a", "the", "my", "our", "us"]);
    if is_break_word(text_at(words, for_what)) {
        let second = usize::from(is_break_word(text_at(words, for_what + 1)));
        return Some(Length { minutes: length.minutes, len: for_what + 1 + second - at });
    }
    (is_off || is_less).then_some(Length { minutes: length.minutes, len: end - at })
}

/// "Half a day", "all day", whose length only the crew knows; and whether it is a half.
pub(crate) fn day_part_at(words: &[Word], at: usize) -> Option<(bool, usize)> {
    let phrases: &[(&str, bool)] = &[
        ("half a day", true),
        ("a half day", true),
        ("half day", true),
        ("the morning", true),
        ("all morning", true),
        ("the afternoon", true),
        ("all afternoon", true),
        ("all day", false),
        ("a full day", false),
        ("full day", false),
        ("the whole day", false),
        ("a whole day", false),
    ];
    longest(words, at, phrases).map(|(is_half, len)| (*is_half, len))
}
