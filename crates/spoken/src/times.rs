//! Times of the day as people say them: "half seven", "twenty to four", "eight till four".
//!
//! A time on a twelve-hour clock stays open until what stands beside it says which half of the day it
//! is in. "Ten to nine" is 08:50; whether "ten to four" alone is a time or a range is asked, not decided.

use crate::numbers::whole_at;
use crate::words::{Stop, Word, phrase_at, text_at};

/// Minutes in half a day.
const HALF_DAY: u16 = 12 * 60;

/// A time of the day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Clock {
    /// Minutes past midnight; below 720 while open.
    minute: u16,
    /// It may be in either half of the day.
    open: bool,
}

/// A time that was read, and how.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Read {
    pub(crate) clock: Clock,
    pub(crate) len: usize,
    /// It can be nothing but a time.
    pub(crate) sure: bool,
    /// "Ten to four": minutes to the hour.
    pub(crate) to_the_hour: bool,
    /// An hour that was heard as another word: "for", "to", "ate".
    pub(crate) homophone: bool,
}

/// Two times with "till" between.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Range {
    pub(crate) from: Clock,
    pub(crate) to: Clock,
    pub(crate) len: usize,
    /// "To" or a dash, which can stand between counts as well.
    pub(crate) weak: bool,
    pub(crate) homophone: bool,
}

const HOURS: &[&str] =
    &["one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve"];

impl Clock {
    fn at(hour: u16, minute: u16) -> Option<Self> {
        match hour {
            _ if minute > 59 => None,
            1..=12 => Some(Self { minute: (hour % 12) * 60 + minute, open: true }),
            0 | 13..=23 => Some(Self { minute: hour * 60 + minute, open: false }),
            _ => None,
        }
    }

    fn earlier(self, minutes: u16) -> Self {
        let cycle = if self.open { HALF_DAY } else { 2 * HALF_DAY };
        Self { minute: (self.minute + cycle - minutes % cycle) % cycle, open: self.open }
    }

    fn closed(minute: u16) -> Self {
        Self { minute, open: false }
    }

    /// When work begins at such a time: from five in the morning on, the afternoon from twelve.
    pub(crate) fn as_start(self, is_night: bool) -> u16 {
        match (self.open, is_night) {
            (false, _) => self.minute,
            (true, false) if self.minute < 5 * 60 => self.minute + HALF_DAY,
            (true, false) => self.minute,
            (true, true) if self.minute < 5 * 60 => self.minute,
            (true, true) => self.minute + HALF_DAY,
        }
    }

    /// When work ended at such a time: the last time before now that the clock showed it, if it did.
    pub(crate) fn as_end_before(self, now: u16) -> u16 {
        let is_late = self.open && (self.minute + HALF_DAY <= now || self.minute < 5 * 60);
        if is_late { self.minute + HALF_DAY } else { self.minute }
    }

    /// The first such time after work began; past midnight it is more than a day's minutes.
    pub(crate) fn as_end_after(self, start: u16) -> u16 {
        let step = if self.open { HALF_DAY } else { 2 * HALF_DAY };
        let mut minute = self.minute;
        while minute <= start {
            minute += step;
        }
        minute
    }
}

/// The hour that a word says. After "till" also by its sound.
fn hour_at(words: &[Word], at: usize, by_sound: bool) -> Option<(u16, bool)> {
    let text = text_at(words, at);
    if let Some(hour) = HOURS.iter().position(|word| *word == text) {
        return u16::try_from(hour + 1).ok().map(|hour| (hour, false));
    }
    if text.len() <= 2 && text.bytes().all(|b| b.is_ascii_digit()) {
        return text.parse().ok().filter(|hour| *hour <= 23).map(|hour| (hour, false));
    }
    match text {
        "for" | "fore" if by_sound => Some((4, true)),
        "too" | "to" if by_sound => Some((2, true)),
        "ate" if by_sound => Some((8, true)),
        "won" if by_sound => Some((1, true)),
        _ => None,
    }
}

/// Minutes after the hour: "thirty", "oh five", "45".
fn minutes_at(words: &[Word], at: usize) -> Option<(u16, usize)> {
    if words.get(at)?.stop != Stop::None {
        return None;
    }
    if matches!(text_at(words, at), "oh" | "o") {
        let (unit, len) = whole_at(words, at + 1, 9)?;
        return Some((u16::try_from(unit).ok()?, len + 1));
    }
    let (value, len) = whole_at(words, at, 59)?;
    (value >= 10).then_some((u16::try_from(value).ok()?, len))
}

/// "In the morning", "pm", "o'clock": closes an open time.
fn half_of_day(words: &[Word], at: usize, clock: Clock) -> (Clock, usize) {
    let mut len = usize::from(text_at(words, at) == "o'clock");
    let is_late = [("am", false), ("pm", true), ("in the morning", false), ("in the afternoon", true)]
        .into_iter()
        .chain([("at night", true), ("in the evening", true)])
        .find_map(|(phrase, late)| phrase_at(words, at + len, phrase).map(|taken| (late, taken)));
    let Some((late, taken)) = is_late else { return (clock, len) };
    len += taken;
    if !clock.open {
        return (clock, len);
    }
    (Clock::closed(clock.minute + if late { HALF_DAY } else { 0 }), len)
}

/// "Quarter to eight", "ten past nine", "half four".
fn spoken_parts(words: &[Word], at: usize, by_sound: bool) -> Option<(Clock, usize, bool, bool)> {
    let article = usize::from(text_at(words, at) == "a");
    let (minutes, mut len) = match text_at(words, at + article) {
        "quarter" => (15, 1 + article),
        "half" => (30, 1 + article),
        _ if article == 1 => return None,
        _ => whole_at(words, at, 29)?,
    };
    let is_half = minutes == 30;
    if text_at(words, at + len) == "minutes" {
        len += 1;
    }
    let joint = text_at(words, at + len);
    let is_past = joint == "past";
    let is_to = joint == "to" && !is_half && matches!(minutes, 5 | 10 | 15 | 20 | 25);
    if is_past || is_to {
        len += 1;
    } else if !is_half || article == 1 {
        return None;
    }
    let (hour, homophone) = hour_at(words, at + len, by_sound && is_past)?;
    len += 1;
    // "Ten to four thirty" is a range; only a bare hour has minutes to it.
    if is_to && minutes != 15 && minutes_at(words, at + len).is_some() {
        return None;
    }
    let clock = Clock::at(hour, 0)?;
    let minutes = u16::try_from(minutes).ok()?;
    let clock =
        if is_to { clock.earlier(minutes) } else { Clock { minute: clock.minute + minutes, ..clock } };
    Some((clock, len, is_to && minutes != 15, homophone))
}

/// "7:45", "16.30", "0745".
fn figures(text: &str) -> Option<(Clock, bool)> {
    let sure = text.contains(':');
    let (hour, minute) = match text.split_once([':', '.']) {
        Some(parts) => parts,
        None if text.len() == 4 => text.split_at_checked(2)?,
        None => return None,
    };
    if minute.len() != 2
        || hour.is_empty()
        || hour.len() > 2
        || !(hour.bytes().chain(minute.bytes())).all(|b| b.is_ascii_digit())
    {
        return None;
    }
    let clock = Clock::at(hour.parse().ok()?, minute.parse().ok()?)?;
    // A leading nought is how a day of 24 hours is written.
    let clock = if hour.starts_with('0') { Clock::closed(clock.minute) } else { clock };
    Some((clock, sure))
}

/// The time that begins here. A bare hour is one too, and not a sure one.
pub(crate) fn clock_at(words: &[Word], at: usize, by_sound: bool) -> Option<Read> {
    let plain = |minute| Clock { minute, open: false };
    let (clock, len, sure, to_the_hour, homophone) = match text_at(words, at) {
        "noon" | "midday" => (plain(HALF_DAY), 1, true, false, false),
        "midnight" => (plain(0), 1, true, false, false),
        text => {
            if let Some((clock, len, to, homophone)) = spoken_parts(words, at, by_sound) {
                (clock, len, true, to, homophone)
            } else if let Some((clock, sure)) = figures(text) {
                (clock, 1, sure, false, false)
            } else {
                let (hour, homophone) = hour_at(words, at, by_sound)?;
                let (minute, len) = minutes_at(words, at + 1).unwrap_or((0, 0));
                (Clock::at(hour, minute)?, 1 + len, false, false, homophone)
            }
        }
    };
    let (clock, more) = half_of_day(words, at + len, clock);
    Some(Read { clock, len: len + more, sure: sure || more > 0, to_the_hour, homophone })
}

/// What can stand between the two times of a range, and whether it can stand between counts too.
const JOINTS: &[(&str, bool)] = &[
    ("through till", false),
    ("right through to", false),
    ("through to", false),
    ("up to", false),
    ("until", false),
    ("till", false),
    ("til", false),
    ("while", false),
    ("to", true),
    ("-", true),
];

/// "Eight till four", "from quarter to eight until half four", "7:30-16:00".
pub(crate) fn range_at(words: &[Word], at: usize) -> Option<Range> {
    let lead = usize::from(matches!(text_at(words, at), "from" | "between"));
    let is_between = text_at(words, at) == "between";
    let from = clock_at(words, at + lead, text_at(words, at) == "ate")?;
    let joint_at = at + lead + from.len;
    let (weak, joint) = if is_between && text_at(words, joint_at) == "and" {
        (false, 1)
    } else {
        JOINTS.iter().find_map(|(joint, weak)| phrase_at(words, joint_at, joint).map(|len| (*weak, len)))?
    };
    let to = clock_at(words, joint_at + joint, !weak)?;
    Some(Range {
        from: from.clock,
        to: to.clock,
        len: lead + from.len + joint + to.len,
        weak: weak && lead == 0 && is_bare(&from) && is_bare(&to),
        homophone: from.homophone || to.homophone,
    })
}

/// An hour and nothing else, which may be a count.
fn is_bare(read: &Read) -> bool {
    !read.sure && read.len == 1
}

/// "Ten to four" read as a range, where it was read as a time.
pub(crate) fn as_range(words: &[Word], at: usize) -> Option<(Clock, Clock)> {
    let (from, _) = hour_at(words, at, false)?;
    let (to, _) = hour_at(words, at + 2, false)?;
    Some((Clock::at(from, 0)?, Clock::at(to, 0)?))
}

/// A time of the day as it is written: 07:45.
pub(crate) fn written(minute: u16) -> String {
    format!("{:02}:{:02}", minute / 60 % 24, minute % 60)
}
