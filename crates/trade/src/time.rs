//! Civil days and moments. `now` is always an argument; no clock is read here.
//!
//! A [`Moment`] is an instant together with the clock that hung on the wall when it was written
//! down, so that a shift over a clock change is as long as it really was and still prints the
//! times that people said.

use std::fmt;
use std::str::FromStr;

use jiff::civil::{Date, DateTime, Weekday};
use jiff::tz::{AmbiguousOffset, TimeZone, TimeZoneDatabase};
use jiff::{SignedDuration, Timestamp, ToSpan as _};
use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error as _};

/// Why a text is not a day or a moment.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TimeError {
    /// Not a day of the calendar.
    #[error("not a day; write it like 2026-11-05")]
    NotADay,
    /// Not a clock time on a day.
    #[error("not a time; write it like 2026-11-05T07:45")]
    NotATime,
    /// The zone is not in the time zone database.
    #[error("unknown time zone {0:?}; write it like Europe/London")]
    UnknownZone(String),
    /// The clocks went forward over this time.
    #[error("{0} does not exist: the clocks went forward; give the time that was shown")]
    Skipped(DateTime),
    /// The clocks went back over this time.
    #[error("{0} happened twice: the clocks went back; add the offset, like {0}+01:00 or {0}+00:00")]
    Twice(DateTime),
}

/// A day of the civil calendar, from 1900 to 2999. Stored as days since 1 January 1970.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Day(i32);

const FIRST_DAY: i32 = -25_567; // 1900-01-01
const LAST_DAY: i32 = 376_199; // 2999-12-31

impl Day {
    /// The day that is this many days after 1 January 1970.
    ///
    /// # Errors
    /// [`TimeError::NotADay`] outside 1900 to 2999.
    pub fn from_number(number: i32) -> Result<Self, TimeError> {
        if (FIRST_DAY..=LAST_DAY).contains(&number) { Ok(Self(number)) } else { Err(TimeError::NotADay) }
    }

    /// Days since 1 January 1970.
    #[must_use]
    pub const fn number(self) -> i32 {
        self.0
    }

    /// The day of a calendar date.
    ///
    /// # Errors
    /// [`TimeError::NotADay`] outside 1900 to 2999.
    pub fn from_date(date: Date) -> Result<Self, TimeError> {
        let days = date.duration_since(Date::constant(1970, 1, 1)).as_hours() / 24;
        i32::try_from(days).map_err(|_| TimeError::NotADay).and_then(Self::from_number)
    }

    /// The calendar date.
    #[must_use]
    pub fn date(self) -> Date {
        let since = SignedDuration::from_hours(i64::from(self.0) * 24);
        Date::constant(1970, 1, 1).checked_add(since).unwrap_or(Date::MAX)
    }

    /// This many days later (earlier when negative), held within 1900 to 2999.
    #[must_use]
    pub fn plus_days(self, days: i32) -> Self {
        Self(self.0.saturating_add(days).clamp(FIRST_DAY, LAST_DAY))
    }

    /// This many months later, on the month's last day where it is shorter; held within 1900 to 2999.
    #[must_use]
    pub fn plus_months(self, months: i32) -> Self {
        Self::from_date(self.date().saturating_add(months.months())).unwrap_or(self)
    }

    /// Monday to Friday.
    #[must_use]
    pub fn is_weekday(self) -> bool {
        !matches!(self.date().weekday(), Weekday::Saturday | Weekday::Sunday)
    }
}

impl fmt::Display for Day {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.date().fmt(f)
    }
}

impl FromStr for Day {
    type Err = TimeError;
    fn from_str(text: &str) -> Result<Self, TimeError> {
        if text.len() != 10 {
            return Err(TimeError::NotADay);
        }
        text.parse::<Date>().map_err(|_| TimeError::NotADay).and_then(Self::from_date)
    }
}

impl Serialize for Day {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        if serializer.is_human_readable() {
            serializer.collect_str(self)
        } else {
            self.0.serialize(serializer)
        }
    }
}

impl<'de> Deserialize<'de> for Day {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        if deserializer.is_human_readable() {
            String::deserialize(deserializer)?.parse().map_err(D::Error::custom)
        } else {
            i32::deserialize(deserializer)
                .and_then(|number| Self::from_number(number).map_err(D::Error::custom))
        }
    }
}

/// An instant (milliseconds since 1970, UTC) and the offset of the clock on the wall (minutes).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Moment {
    utc_ms: i64,
    offset_min: i16,
}

const FIRST_MS: i64 = FIRST_DAY as i64 * 86_400_000;
const LAST_MS: i64 = (LAST_DAY as i64 + 1) * 86_400_000 - 1;
const MAX_OFFSET_MIN: i16 = 18 * 60;

impl Moment {
    /// An instant and an offset.
    ///
    /// # Errors
    /// [`TimeError::NotATime`] outside 1900 to 2999, or with an offset over 18 hours.
    pub fn new(utc_ms: i64, offset_min: i16) -> Result<Self, TimeError> {
        let within = (FIRST_MS..=LAST_MS).contains(&utc_ms)
            && (-MAX_OFFSET_MIN..=MAX_OFFSET_MIN).contains(&offset_min);
        if within { Ok(Self { utc_ms, offset_min }) } else { Err(TimeError::NotATime) }
    }

    /// An instant as the clocks of a zone show it.
    ///
    /// # Errors
    /// [`TimeError::UnknownZone`], or [`TimeError::NotATime`] outside 1900 to 2999.
    pub fn in_zone(utc_ms: i64, zone: &str) -> Result<Self, TimeError> {
        let at = Timestamp::from_millisecond(utc_ms).map_err(|_| TimeError::NotATime)?;
        let offset = find_zone(zone)?.to_offset(at);
        Self::new(utc_ms, offset_minutes(offset.seconds()))
    }

    /// Reads `2026-11-05T07:45` by the clocks of `zone`, or `2026-11-05T07:45+01:00` (or `Z`) as it stands.
    ///
    /// # Errors
    /// A text that is no time, an unknown zone, or a time that did not exist or happened twice.
    pub fn parse(text: &str, zone: &str) -> Result<Self, TimeError> {
        let shape = text.len() >= 16 && text.as_bytes()[10] == b'T';
        if !shape {
            return Err(TimeError::NotATime);
        }
        if let Some(split) = text[11..].find(['Z', '+', '-']).map(|at| at + 11) {
            let (local, suffix) = text.split_at(split);
            let local: DateTime = local.parse().map_err(|_| TimeError::NotATime)?;
            let offset = parse_offset(suffix)?;
            let utc = TimeZone::UTC.to_timestamp(local).map_err(|_| TimeError::NotATime)?;
            return Self::new(utc.as_millisecond() - i64::from(offset) * 60_000, offset);
        }
        let local: DateTime = text.parse().map_err(|_| TimeError::NotATime)?;
        let ambiguous = find_zone(zone)?.to_ambiguous_timestamp(local);
        match ambiguous.offset() {
            AmbiguousOffset::Unambiguous { offset } => {
                let at = ambiguous.compatible().map_err(|_| TimeError::NotATime)?;
                Self::new(at.as_millisecond(), offset_minutes(offset.seconds()))
            }
            AmbiguousOffset::Gap { .. } => Err(TimeError::Skipped(local)),
            AmbiguousOffset::Fold { .. } => Err(TimeError::Twice(local)),
        }
    }

    /// Milliseconds since 1970, UTC.
    #[must_use]
    pub const fn utc_ms(self) -> i64 {
        self.utc_ms
    }

    /// Minutes that the clock on the wall was ahead of UTC.
    #[must_use]
    pub const fn offset_min(self) -> i16 {
        self.offset_min
    }

    /// The day on the calendar beside that clock.
    #[must_use]
    pub fn day(self) -> Day {
        let local = self.local_ms().div_euclid(86_400_000);
        Day(i32::try_from(local).unwrap_or(LAST_DAY).clamp(FIRST_DAY, LAST_DAY))
    }

    /// Minutes past midnight on that clock, 0 to 1439.
    #[must_use]
    pub fn minute_of_day(self) -> u16 {
        u16::try_from(self.local_ms().rem_euclid(86_400_000) / 60_000).unwrap_or(0)
    }

    /// Whole minutes from `earlier` to this, rounded down; negative when this is before it.
    #[must_use]
    pub fn minutes_since(self, earlier: Self) -> i64 {
        (self.utc_ms - earlier.utc_ms).div_euclid(60_000)
    }

    fn local_ms(self) -> i64 {
        self.utc_ms + i64::from(self.offset_min) * 60_000
    }
}

/// `07:45` on the wall, with its day: `2026-11-05T07:45`.
impl fmt::Display for Moment {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let minute = self.minute_of_day();
        write!(f, "{}T{:02}:{:02}", self.day(), minute / 60, minute % 60)
    }
}

impl Serialize for Moment {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        if serializer.is_human_readable() {
            let (sign, offset) = (if self.offset_min < 0 { '-' } else { '+' }, self.offset_min.abs());
            let ms = self.local_ms().rem_euclid(60_000);
            let (hours, minutes) = (offset / 60, offset % 60);
            let text = format!("{self}:{:02}.{:03}{sign}{hours:02}:{minutes:02}", ms / 1000, ms % 1000);
            serializer.serialize_str(&text)
        } else {
            (self.utc_ms, self.offset_min).serialize(serializer)
        }
    }
}

impl<'de> Deserialize<'de> for Moment {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        if deserializer.is_human_readable() {
            let text = String::deserialize(deserializer)?;
            Self::parse(&text, "UTC").map_err(D::Error::custom)
        } else {
            let (utc_ms, offset_min) = <(i64, i16)>::deserialize(deserializer)?;
            Self::new(utc_ms, offset_min).map_err(D::Error::custom)
        }
    }
}

/// Checks that a zone is in the time zone database.
///
/// # Errors
/// [`TimeError::UnknownZone`].
pub fn check_zone(zone: &str) -> Result<(), TimeError> {
    find_zone(zone).map(|_| ())
}

fn find_zone(zone: &str) -> Result<TimeZone, TimeError> {
    // The bundled database only: the answer must not depend on what a machine has installed.
    TimeZoneDatabase::bundled().get(zone).map_err(|_| TimeError::UnknownZone(zone.to_owned()))
}

fn offset_minutes(seconds: i32) -> i16 {
    i16::try_from(seconds / 60).unwrap_or(0)
}

fn parse_offset(suffix: &str) -> Result<i16, TimeError> {
    if suffix == "Z" {
        return Ok(0);
    }
    let bytes = suffix.as_bytes();
    let digits = |at: usize| bytes.get(at).filter(|b| b.is_ascii_digit()).map(|b| i16::from(b - b'0'));
    let parts = (bytes.len() == 6 && bytes[3] == b':')
        .then(|| Some((digits(1)?, digits(2)?, digits(4)?, digits(5)?)));
    let (h1, h2, m1, m2) = parts.flatten().ok_or(TimeError::NotATime)?;
    let (hours, minutes) = (h1 * 10 + h2, m1 * 10 + m2);
    if minutes > 59 || hours > 18 {
        return Err(TimeError::NotATime);
    }
    Ok((hours * 60 + minutes) * if bytes[0] == b'-' { -1 } else { 1 })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn london(text: &str) -> Moment {
        Moment::parse(text, "Europe/London").unwrap()
    }

    /// Run with the tz database's rules for London: shifts across the clock changes of 2026.
    #[test]
    fn a_shift_over_a_clock_change_is_as_long_as_it_was() {
        assert_eq!(london("2026-10-25T06:00").minutes_since(london("2026-10-24T22:00")), 9 * 60);
        assert_eq!(london("2026-03-29T06:00").minutes_since(london("2026-03-28T22:00")), 7 * 60);
    }

    /// Run with the tz database's rules for London: 01:30 missing in March, doubled in October.
    #[test]
    fn a_missing_or_doubled_time_is_asked_about() {
        assert!(matches!(Moment::parse("2026-03-29T01:30", "Europe/London"), Err(TimeError::Skipped(_))));
        assert!(matches!(Moment::parse("2026-10-25T01:30", "Europe/London"), Err(TimeError::Twice(_))));
        let first = london("2026-10-25T01:30+01:00");
        let second = london("2026-10-25T01:30+00:00");
        assert_eq!(second.minutes_since(first), 60);
        assert_eq!(first.to_string(), second.to_string());
    }

    #[test]
    fn days_and_moments_survive_text() {
        for text in ["1900-01-01", "1970-01-01", "2024-02-29", "2026-11-05", "2999-12-31"] {
            assert_eq!(text.parse::<Day>().unwrap().to_string(), text);
        }
        for text in ["2026-02-30", "26-11-05", "2026-11-5", "3000-01-01", "", "2026-11-05T07:45"] {
            assert_eq!(text.parse::<Day>(), Err(TimeError::NotADay), "{text:?}");
        }
        assert_eq!("2026-11-07".parse::<Day>().map(Day::is_weekday), Ok(false));
        assert_eq!(london("2026-07-01T07:45").offset_min(), 60);
        assert_eq!(london("2026-07-01T00:15").day().to_string(), "2026-07-01");
        assert_eq!(london("2026-07-01T07:45").to_string(), "2026-07-01T07:45");
        for text in ["2026-07-01", "2026-07-01 07:45", "2026-07-01T25:00", "2026-07-01T07:45+1:00", "gestern"]
        {
            assert_eq!(Moment::parse(text, "Europe/London"), Err(TimeError::NotATime), "{text:?}");
        }
        assert!(matches!(Moment::parse("2026-07-01T07:45", "Mars/Base"), Err(TimeError::UnknownZone(_))));
    }
}
