//! What a value says against a limit: within the limit set, outside it, or not told by it.

use rust_decimal::Decimal;

use super::catalogue::{Confidence, PRESSURE_TEST, Sense, kind_of};
use super::unit::{convert, unit_named};
use super::{Bound, Reading, plain, pressure, resistance, split_unit};
use crate::number::Quantity;

/// A limit that somebody set, for a job or for one test.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SetLimit<'a> {
    /// At least (`Above`), at most (`Below`) or exactly the value.
    pub bound: Bound,
    /// The value.
    pub value: Quantity,
    /// Its unit.
    pub unit: &'a str,
    /// Who says so.
    pub source: &'a str,
}

/// What a value says against a limit.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Verdict {
    /// Within the limit set.
    Within,
    /// Outside the limit set.
    Outside,
    /// The value, or what was said of the test, does not tell; why, and what to do.
    NotTold(String),
    /// There is no limit to compare it with.
    NoLimit,
}

impl Verdict {
    /// In the words for a screen. None says that a thing is fit.
    #[must_use]
    pub fn words(&self) -> String {
        match self {
            Self::Within => "within the limit set".to_owned(),
            Self::Outside => "outside the limit set".to_owned(),
            Self::NotTold(why) => format!("not told: {why}"),
            Self::NoLimit => "no limit set".to_owned(),
        }
    }
}

/// A verdict with the limit that it rests on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Judgement {
    /// The verdict.
    pub verdict: Verdict,
    /// The limit in words, with its unit; empty for none.
    pub limit: String,
    /// Who states it; empty for none.
    pub source: String,
    /// How well it is known; none where somebody set it for the job.
    pub confidence: Option<Confidence>,
    /// What to expect or what was found, in words; may be empty.
    pub note: String,
    /// What to mind; empty for a kind that the catalogue does not have.
    pub caution: &'static str,
}

/// What a value says against a figure on one side of it.
#[must_use]
pub fn compare(bound: Bound, value: Decimal, side: Bound, figure: Decimal) -> Option<bool> {
    match (side, bound) {
        (Bound::Above, Bound::Exactly) => Some(value >= figure),
        (Bound::Below, Bound::Exactly) => Some(value <= figure),
        (Bound::Exactly, Bound::Exactly) => Some(value == figure),
        // More than 200 is at least 1, and does not tell of 300.
        (Bound::Above, Bound::Above) => (value >= figure).then_some(true),
        (Bound::Above, Bound::Below) => (value <= figure).then_some(false),
        (Bound::Below, Bound::Below) => (value <= figure).then_some(true),
        (Bound::Below, Bound::Above) => (value >= figure).then_some(false),
        (Bound::Exactly, Bound::Above) => (value >= figure).then_some(false),
        (Bound::Exactly, Bound::Below) => (value <= figure).then_some(false),
    }
}

fn against(sense: Sense, bound: Bound, value: Decimal) -> Option<bool> {
    let figure = |text: &str| text.parse::<Decimal>().unwrap_or_default();
    match sense {
        Sense::AtLeast(least) => compare(bound, value, Bound::Above, figure(least)),
        Sense::AtMost(most) => compare(bound, value, Bound::Below, figure(most)),
        // Less than 20 is told by "<20", and by 19.9.
        Sense::Under(limit) => match bound {
            Bound::Exactly => Some(value < figure(limit)),
            Bound::Below | Bound::Above => compare(bound, value, Bound::Below, figure(limit)),
        },
        Sense::Between(least, most) => {
            let low = compare(bound, value, Bound::Above, figure(least));
            let high = compare(bound, value, Bound::Below, figure(most));
            match (low, high) {
                (Some(false), _) | (_, Some(false)) => Some(false),
                (Some(true), Some(true)) => Some(true),
                (None, _) | (_, None) => None,
            }
        }
    }
}

fn sense_words(sense: Sense, unit: &str) -> String {
    let figure = |text: &str| text.parse::<Decimal>().map_or_else(|_| text.to_owned(), plain);
    match sense {
        Sense::AtLeast(least) => format!("at least {} {unit}", figure(least)),
        Sense::AtMost(most) => format!("at most {} {unit}", figure(most)),
        Sense::Under(limit) => format!("less than {} {unit}", figure(limit)),
        Sense::Between(least, most) => format!("{} to {} {unit}", figure(least), figure(most)),
    }
}

fn told(verdict: Option<bool>) -> Verdict {
    match verdict {
        Some(true) => Verdict::Within,
        Some(false) => Verdict::Outside,
        None => Verdict::NotTold("the value shown does not reach the limit; read it to its end".to_owned()),
    }
}

/// Judges a value: by the limit that was set, if one was, else by the catalogue.
#[must_use]
pub fn judge(reading: &Reading<'_>, set: Option<SetLimit<'_>>) -> Judgement {
    let kind = kind_of(reading.what);
    let caution = kind.map_or("", |kind| kind.caution);
    if let Some(set) = set {
        return Judgement { caution, ..by_set_limit(reading, set) };
    }
    let none = Judgement {
        verdict: Verdict::NoLimit,
        limit: String::new(),
        source: String::new(),
        confidence: None,
        note: String::new(),
        caution,
    };
    let Some(kind) = kind else { return none };
    if kind.name == PRESSURE_TEST {
        return Judgement { caution, ..by_conditions(reading) };
    }
    let said = format!("{} {}", reading.what, reading.how);
    let expected = if kind.name == "continuity" { resistance::expected(&said) } else { None };
    let note = expected.map(|ohms| format!("by the table {} ohm at 20 °C", plain(ohms.value())));
    let case = kind.case(&said);
    let note = note.or_else(|| case.map(|case| case.what.to_owned())).unwrap_or_default();
    let Some(limit) = case.and_then(|case| case.limit) else { return Judgement { note, ..none } };
    let verdict = match convert(reading.value, reading.unit, limit.unit) {
        Ok(value) => told(against(limit.sense, reading.bound, value.value())),
        Err(fault) => Verdict::NotTold(fault.to_string()),
    };
    Judgement {
        verdict,
        limit: sense_words(limit.sense, limit.unit),
        source: limit.source.to_owned(),
        confidence: Some(limit.confidence),
        note,
        caution,
    }
}

fn by_set_limit(reading: &Reading<'_>, set: SetLimit<'_>) -> Judgement {
    let (own, of_fall) = split_unit(reading.unit);
    let (limit_unit, limit_fall) = split_unit(set.unit);
    let verdict = if of_fall != limit_fall {
        Verdict::NotTold(format!("the limit is in {}, the value in {}", set.unit, reading.unit))
    } else if own == limit_unit {
        told(compare(reading.bound, reading.value.value(), set.bound, set.value.value()))
    } else if unit_named(limit_unit).is_none() {
        Verdict::NotTold(format!("the limit is in {}, the value in {}", set.unit, reading.unit))
    } else {
        match convert(reading.value, own, limit_unit) {
            Ok(value) => told(compare(reading.bound, value.value(), set.bound, set.value.value())),
            Err(fault) => Verdict::NotTold(fault.to_string()),
        }
    };
    let side = match set.bound {
        Bound::Above => "at least",
        Bound::Below => "at most",
        Bound::Exactly => "exactly",
    };
    Judgement {
        verdict,
        limit: format!("{side} {} {}", plain(set.value.value()), set.unit),
        source: set.source.to_owned(),
        confidence: None,
        note: String::new(),
        caution: "",
    }
}

fn by_conditions(reading: &Reading<'_>) -> Judgement {
    let (unit, of_fall) = split_unit(reading.unit);
    let bar = convert(reading.value, unit, "bar").map(Quantity::value);
    let how = format!("{} {}", reading.what, reading.how);
    let (verdict, shown) = match bar {
        Err(fault) => (Some(Verdict::NotTold(fault.to_string())), pressure::shown(&how, None, None)),
        Ok(bar) => match of_fall {
            Some(minutes) => (None, pressure::shown(&how, None, Some((bar, minutes)))),
            None => (None, pressure::shown(&how, Some(bar), None)),
        },
    };
    let verdict = verdict.unwrap_or_else(|| {
        if !shown.outside.is_empty() {
            Verdict::Outside
        } else if shown.lacks.is_empty() {
            Verdict::Within
        } else {
            Verdict::NotTold(shown.lacks.join("; "))
        }
    });
    let is_known = !shown.rule.is_empty();
    Judgement {
        verdict,
        note: shown.outside.join("; "),
        source: if is_known { shown.source.to_owned() } else { String::new() },
        confidence: is_known.then_some(Confidence::Seen),
        limit: shown.rule,
        caution: "",
    }
}
