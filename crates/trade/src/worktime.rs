//! How worked time is counted where not every hour is at one rate: overtime, Saturdays, Sundays and holidays,
//! whole days, call-outs and travelling.
//!
//! How much is agreed is for the crew, its customer and its people: these are the usual ways of counting
//! (common practice, no source), and by default none of them holds. Nothing here works out a wage, and
//! nothing says what the law on working time allows.
//!
//! Time is counted in the order in which it was worked, never in that in which it was heard of. No minute
//! is lost or counted twice: what a stretch is counted as adds up to what was worked.

use std::fmt;
use std::str::FromStr;

use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive as _;
use serde::{Deserialize, Serialize};

use crate::number::{Pence, Quantity, Rate, half_up};
use crate::time::Day;

/// Decimal places of a rate that is a multiple of another, half up.
const MULTIPLE_PLACES: u32 = 4;
/// Minutes that an hour has.
const HOUR: i64 = 60;

/// A rate for hours that are not ordinary.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Uplift {
    /// So many times the ordinary hour.
    Times(Rate),
    /// Pounds an hour, whatever the ordinary hour is.
    Hour(Rate),
}

impl Uplift {
    /// The rate of an hour, half up to four decimals of a pound. None where it needs an ordinary rate and
    /// there is none.
    #[must_use]
    pub fn on(self, ordinary: Option<Rate>) -> Option<Rate> {
        match self {
            Self::Hour(rate) => Some(rate),
            Self::Times(times) => {
                let product = ordinary?.value().saturating_mul(times.value());
                Rate::new(half_up(product, MULTIPLE_PLACES).normalize()).ok()
            }
        }
    }
}

/// Words that say no rate of hours.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("write a multiple like x1.5, or pounds an hour like 48")]
pub struct NoUplift;

impl FromStr for Uplift {
    type Err = NoUplift;

    fn from_str(text: &str) -> Result<Self, NoUplift> {
        let rate = |text: &str| text.trim().parse().map_err(|_| NoUplift);
        match text.trim().strip_prefix(['x', '×']) {
            Some(times) => rate(times).map(Self::Times),
            None => rate(text).map(Self::Hour),
        }
    }
}

impl fmt::Display for Uplift {
    fn fmt(&self, out: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Times(rate) => write!(out, "x{}", rate.value().normalize()),
            Self::Hour(rate) => write!(out, "£{:.2} an hour", rate.value()),
        }
    }
}

/// Hours as whole minutes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct WholeMinutes(pub u32);

/// Words that say no hours of whole minutes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("write hours like 8 or 7.5, that come to whole minutes")]
pub struct NoWholeMinutes;

impl FromStr for WholeMinutes {
    type Err = NoWholeMinutes;

    fn from_str(text: &str) -> Result<Self, NoWholeMinutes> {
        let hours: Quantity = text.trim().parse().map_err(|_| NoWholeMinutes)?;
        let minutes = hours.value().checked_mul(Decimal::from(HOUR)).ok_or(NoWholeMinutes)?.normalize();
        if !minutes.is_integer() {
            return Err(NoWholeMinutes);
        }
        minutes.to_u32().map(Self).ok_or(NoWholeMinutes)
    }
}

/// When an hour is overtime, and at which rate.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Overtime {
    /// After so many minutes of a day.
    pub day_minutes: Option<u32>,
    /// After so many minutes of a week, Monday to Sunday, that are not overtime already.
    pub week_minutes: Option<u32>,
    /// The rate.
    pub rate: Uplift,
}

/// Into which parts a day is counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum DayParts {
    /// Halves.
    Halves,
    /// Quarters.
    Quarters,
}

impl DayParts {
    const fn in_a_day(self) -> i64 {
        match self {
            Self::Halves => 2,
            Self::Quarters => 4,
        }
    }
}

/// A rate for the day.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct DayRate {
    /// Minutes that a day has.
    pub minutes: u32,
    /// Pounds a day.
    pub rate: Rate,
    /// What part of a day is the smallest.
    pub parts: DayParts,
}

/// A fixed sum for coming out, with the first time of it inside.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct CallOut {
    /// The sum for each person and day, without VAT.
    pub sum: Pence,
    /// The first minutes of the day that it covers.
    pub covers_minutes: u32,
}

/// How time is counted. Without any of it, every hour is an ordinary one.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct TimeTerms {
    /// By the day instead of by the hour.
    pub day: Option<DayRate>,
    /// Overtime.
    pub overtime: Option<Overtime>,
    /// Every hour of a Saturday.
    pub saturday: Option<Uplift>,
    /// Every hour of a Sunday.
    pub sunday: Option<Uplift>,
    /// Every hour of the days in [`TimeTerms::holidays`].
    pub holiday: Option<Uplift>,
    /// Bank holidays and other days that are not like others.
    pub holidays: Vec<Day>,
    /// A fixed sum for coming out.
    pub call_out: Option<CallOut>,
    /// Pounds an hour of travelling; nought where it is not counted.
    pub travel: Option<Rate>,
    /// Pounds a mile driven; none where miles are not counted.
    pub mile: Option<Rate>,
}

/// What some time is counted as.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Band {
    /// Ordinary hours.
    Ordinary,
    /// Parts of a day at a rate for the day.
    Day,
    /// Overtime.
    Overtime,
    /// A Saturday.
    Saturday,
    /// A Sunday.
    Sunday,
    /// A holiday.
    Holiday,
    /// Travelling.
    Travel,
    /// Inside the fixed sum of a call-out.
    CallOut,
}

impl Band {
    /// What a paper says beside the name; empty for what needs no word.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Ordinary | Self::Day => "",
            Self::Overtime => "overtime",
            Self::Saturday => "Saturday",
            Self::Sunday => "Sunday",
            Self::Holiday => "holiday",
            Self::Travel => "travelling",
            Self::CallOut => "call-out",
        }
    }
}

/// A stretch of one person's time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stretch<'t> {
    /// The day that it belongs to.
    pub day: Day,
    /// Minutes, never below nought.
    pub minutes: i64,
    /// It was spent travelling.
    pub travelling: bool,
    /// How time of that day is counted; none for ordinary hours.
    pub terms: Option<&'t TimeTerms>,
}

/// A part of a stretch that is counted in one way.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Part {
    /// As what.
    pub band: Band,
    /// How much counts. Of a day at a rate for the day: that day's share, in minutes of a whole day.
    pub minutes: i64,
    /// How much was worked. Over all parts of a stretch this is the stretch.
    pub worked: i64,
}

/// The rate of a part, and for how many minutes it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PartRate {
    /// Pounds.
    pub rate: Rate,
    /// 60 for an hour; the minutes of a day for a day.
    pub per_minutes: i64,
}

impl Part {
    /// What it is counted at; none for what has no rate, or is inside a call-out's sum.
    #[must_use]
    pub fn rate(&self, terms: Option<&TimeTerms>, ordinary: Option<Rate>) -> Option<PartRate> {
        let hour = |rate| PartRate { rate, per_minutes: HOUR };
        let uplift = |of: fn(&TimeTerms) -> Option<Uplift>| terms.and_then(of)?.on(ordinary).map(hour);
        match self.band {
            Band::Ordinary => ordinary.map(hour),
            Band::Day => {
                let day = terms?.day?;
                Some(PartRate { rate: day.rate, per_minutes: i64::from(day.minutes) })
            }
            Band::Overtime => uplift(|terms| terms.overtime.map(|overtime| overtime.rate)),
            Band::Saturday => uplift(|terms| terms.saturday),
            Band::Sunday => uplift(|terms| terms.sunday),
            Band::Holiday => uplift(|terms| terms.holiday),
            Band::Travel => terms?.travel.map(hour),
            Band::CallOut => None,
        }
    }
}

/// What each stretch is counted as. The stretches are one person's, in the order in which they were worked.
///
/// The first minutes of a day are inside a call-out's sum. A day with a rate of its own has that for every
/// hour, and does not count towards the week. A rate for the day counts the nearest half or quarter of a
/// day, and no less than one; never more than a day. What is longer is overtime where that is agreed, and
/// otherwise inside the day. Travelling at a rate of its own counts towards nothing else.
#[must_use]
pub fn count(stretches: &[Stretch<'_>]) -> Vec<Vec<Part>> {
    let mut counted = Vec::with_capacity(stretches.len());
    let mut week: Option<(Day, i64)> = None;
    for day in stretches.chunk_by(|one, next| one.day == next.day) {
        let Some(first) = day.first() else { continue };
        let monday = first.day.plus_days(-i32::from(first.day.date().weekday().to_monday_zero_offset()));
        let of_week = match week {
            Some((known, minutes)) if known == monday => minutes,
            Some(_) | None => 0,
        };
        let mut counting = Counting { worked: 0, covered: 0, day_counted: 0, of_week, whole: whole(day) };
        counted.extend(day.iter().map(|stretch| counting.parts(*stretch)));
        week = Some((monday, counting.of_week));
    }
    counted
}

/// What was worked of a day with a rate for the day, and what that is counted as; both in minutes.
#[derive(Debug, Clone, Copy, Default)]
struct Whole {
    worked: i64,
    counts: i64,
}

fn whole(day: &[Stretch<'_>]) -> Whole {
    let Some(terms) = day.first().and_then(|first| first.terms) else { return Whole::default() };
    let Some(rate) = terms.day.filter(|day| day.minutes > 0) else { return Whole::default() };
    let own = day.iter().filter(|stretch| !(stretch.travelling && terms.travel.is_some()));
    let covered = terms.call_out.map_or(0, |call| i64::from(call.covers_minutes));
    let all = own.fold(0_i64, |sum, stretch| sum.saturating_add(stretch.minutes));
    let length = i64::from(rate.minutes);
    let worked = (all - covered).clamp(0, length);
    let parts = rate.parts.in_a_day();
    // Half a part or more is a part.
    let nearest = (worked * parts * 2 + length) / (length * 2);
    let counts = if worked == 0 { 0 } else { nearest.max(1) * length / parts };
    Whole { worked, counts }
}

/// How far a day and its week are counted.
struct Counting {
    /// Minutes of the day so far, without travelling at its own rate.
    worked: i64,
    /// Of these, inside a call-out's sum.
    covered: i64,
    /// Minutes so far that a rate for the day takes in.
    day_counted: i64,
    /// Ordinary minutes of the week so far.
    of_week: i64,
    whole: Whole,
}

impl Counting {
    fn parts(&mut self, stretch: Stretch<'_>) -> Vec<Part> {
        let mut parts = Vec::new();
        let plain = |band, minutes| Part { band, minutes, worked: minutes };
        let mut left = stretch.minutes.max(0);
        let Some(terms) = stretch.terms else {
            self.ordinary(&mut parts, None, left);
            return parts;
        };
        if stretch.travelling && terms.travel.is_some() {
            return vec![plain(Band::Travel, left)];
        }
        let covers = terms.call_out.map_or(0, |call| i64::from(call.covers_minutes));
        let covered = left.min(covers - self.covered);
        if covered > 0 {
            parts.push(plain(Band::CallOut, covered));
            self.covered += covered;
            self.worked += covered;
            left -= covered;
        }
        if let Some(band) = day_band(terms, stretch.day) {
            parts.push(plain(band, left));
            self.worked += left;
        } else if terms.day.is_some_and(|day| day.minutes > 0) {
            self.day(&mut parts, terms, left);
        } else {
            self.ordinary(&mut parts, terms.overtime, left);
        }
        parts.retain(|part| part.worked > 0 || part.minutes > 0);
        parts
    }

    fn ordinary(&mut self, parts: &mut Vec<Part>, overtime: Option<Overtime>, minutes: i64) {
        let room = |limit: Option<u32>, so_far: i64| {
            limit.map_or(i64::MAX, |limit| (i64::from(limit) - so_far).max(0))
        };
        let room = overtime.map_or(i64::MAX, |overtime| {
            room(overtime.day_minutes, self.worked).min(room(overtime.week_minutes, self.of_week))
        });
        let ordinary = minutes.min(room);
        let bands = [(Band::Ordinary, ordinary), (Band::Overtime, minutes - ordinary)];
        parts.extend(bands.map(|(band, minutes)| Part { band, minutes, worked: minutes }));
        parts.retain(|part| part.worked > 0);
        self.worked += minutes;
        self.of_week += ordinary;
    }

    /// A stretch's share of the day: what the day counts up to its end, less what it counted before.
    fn day(&mut self, parts: &mut Vec<Part>, terms: &TimeTerms, minutes: i64) {
        let share = |upto: i64| (self.whole.counts * upto).checked_div(self.whole.worked).unwrap_or_default();
        let inside = minutes.min(self.whole.worked - self.day_counted).max(0);
        let counts = share(self.day_counted + inside) - share(self.day_counted);
        let beyond = minutes - inside;
        let is_overtime = terms.overtime.is_some();
        let worked = if is_overtime { inside } else { minutes };
        parts.push(Part { band: Band::Day, minutes: counts, worked });
        if is_overtime {
            parts.push(Part { band: Band::Overtime, minutes: beyond, worked: beyond });
        }
        self.day_counted += inside;
        self.worked += minutes;
        self.of_week += inside;
    }
}

/// The band of a day with a rate of its own.
fn day_band(terms: &TimeTerms, day: Day) -> Option<Band> {
    let weekday = day.date().weekday().to_monday_zero_offset();
    if terms.holiday.is_some() && terms.holidays.contains(&day) {
        return Some(Band::Holiday);
    }
    match weekday {
        5 if terms.saturday.is_some() => Some(Band::Saturday),
        6 if terms.sunday.is_some() => Some(Band::Sunday),
        _ => None,
    }
}
