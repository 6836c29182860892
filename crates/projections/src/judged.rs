//! Tests as they stand to their limits: the job's own goes first, then the one that was said with the test,
//! then the usual one.
//!
//! A judgement says "within the limit set" or "outside the limit set" and certifies nothing.

use std::collections::BTreeMap;

use ledger::site::{Bound, Test};
use ledger::{Body, JobId};
use rust_decimal::Decimal;
use rust_decimal::prelude::ToPrimitive as _;
use serde::Serialize;
use trade::measure::{Judgement, Reading, SetLimit, convert, judge, split_unit};
use trade::{Day, Moment, Quantity};

use crate::book::Book;
use crate::entry::Entry;
use crate::lists::Lists;
use crate::stages::plain;
use crate::words;

/// What a test says against its limit.
#[must_use]
pub fn judged(lists: &Lists<'_>, test: &Test, note: &str) -> Judgement {
    let place = &test.site.place;
    let surface = words::surface(place);
    let how = [test.method.as_str(), note, place.words.as_str(), surface, place.room.as_str()].join(", ");
    let (bound, value) = (test.bound, test.value);
    let reading = Reading { what: &test.what, bound, value, unit: &test.unit, how: &how };
    let of_job = lists.limits.get(&(test.site.job, plain(&test.what))).and_then(|set| {
        let limit = set.limit.as_ref()?;
        Some(SetLimit { bound: limit.bound, value: limit.value, unit: &set.unit, source: &limit.source })
    });
    let own = test.limit.as_deref().map(|limit| SetLimit {
        bound: limit.bound,
        value: limit.value,
        unit: &test.unit,
        source: &limit.source,
    });
    judge(&reading, of_job.or(own))
}

/// What an entry says against its limit; none for one that is no test.
#[must_use]
pub fn judged_entry(lists: &Lists<'_>, entry: &Entry<'_>) -> Option<Judgement> {
    let Body::Test(test) = entry.body.as_ref() else { return None };
    Some(judged(lists, test, &entry.act.note))
}

/// A judgement as a program reads it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct JudgedLine {
    /// The verdict in words.
    pub verdict: String,
    /// The limit in words, or empty.
    pub limit: String,
    /// Who states it, or empty.
    pub source: String,
    /// How well it is known; none where somebody set it for the job.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub confidence: Option<&'static str>,
    /// What is to be expected or was found; may be empty.
    pub note: String,
    /// What to mind; may be empty.
    pub caution: &'static str,
}

impl From<Judgement> for JudgedLine {
    fn from(judged: Judgement) -> Self {
        Self {
            verdict: judged.verdict.words(),
            limit: judged.limit,
            source: judged.source,
            confidence: judged.confidence.map(trade::measure::Confidence::words),
            note: judged.note,
            caution: judged.caution,
        }
    }
}

/// A test of a series.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SeriesLine {
    /// The day it was done on.
    pub on: Day,
    /// When it was logged.
    pub at: Moment,
    /// By whom.
    pub person: String,
    /// How the value is to be read.
    pub bound: Bound,
    /// The value.
    pub value: Quantity,
    /// Its unit.
    pub unit: String,
    /// Where it stands between the lowest and the highest of the series, from 0 to 1000, for a chart; none
    /// where it has another kind of unit than the first.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub height: Option<u16>,
    /// What it says against its limit.
    pub judged: JudgedLine,
}

/// The tests of one kind at one place, in the order in which they were done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Series {
    /// The job's code.
    pub job: String,
    /// The stage.
    pub stage: String,
    /// The kind of test, in small letters.
    pub what: String,
    /// Where; empty where that was not said.
    pub place: String,
    /// The unit that the values are drawn in.
    pub unit: String,
    /// The tests.
    pub tests: Vec<SeriesLine>,
}

/// All tests of a job, as series: a kind on a stage at a place is one.
#[must_use]
pub fn series(book: &Book, lists: &Lists<'_>, job: JobId) -> Vec<Series> {
    let mut found: BTreeMap<(String, String, String), Vec<Entry<'_>>> = BTreeMap::new();
    for entry in book.entries() {
        let Body::Test(test) = entry.body.as_ref() else { continue };
        if test.site.job == job {
            let place = &test.site.place;
            let words = [place.words.as_str(), place.room.as_str()];
            let place = words.into_iter().filter(|word| !word.is_empty()).collect::<Vec<_>>().join(", ");
            let key = (lists.stage(test.site.stage), plain(&test.what), place);
            found.entry(key).or_default().push(entry);
        }
    }
    let series = found.into_iter().map(|((stage, what, place), mut entries)| {
        entries.sort_by_key(|entry| {
            (entry.act.done_on, entry.act.done_at, entry.act.logged_at, entry.entry_ref())
        });
        let unit = entries.first().and_then(|entry| unit_of(entry)).unwrap_or_default().to_owned();
        let values: Vec<Option<Decimal>> = entries.iter().map(|entry| drawn(entry, &unit)).collect();
        let heights = heights(&values);
        let tests =
            entries.iter().zip(heights).filter_map(|(entry, height)| line(lists, entry, height)).collect();
        Series { job: lists.job(job), stage, what, place, unit, tests }
    });
    series.collect()
}

fn unit_of<'a>(entry: &'a Entry<'_>) -> Option<&'a str> {
    let Body::Test(test) = entry.body.as_ref() else { return None };
    Some(&test.unit)
}

/// A value in the unit of the series; none where it has another kind of unit.
fn drawn(entry: &Entry<'_>, unit: &str) -> Option<Decimal> {
    let Body::Test(test) = entry.body.as_ref() else { return None };
    if test.unit == unit {
        return Some(test.value.value());
    }
    let ((own, of_fall), (first, first_fall)) = (split_unit(&test.unit), split_unit(unit));
    convert(test.value, own, first).ok().filter(|_| of_fall == first_fall).map(Quantity::value)
}

/// Where each stands between the lowest and the highest, from 0 to 1000; in the middle where all are one.
fn heights(values: &[Option<Decimal>]) -> Vec<Option<u16>> {
    let known = || values.iter().flatten();
    let (low, high) =
        (known().min().copied().unwrap_or_default(), known().max().copied().unwrap_or_default());
    let height = |value: &Decimal| {
        let over = value.checked_sub(low)?.checked_mul(Decimal::ONE_THOUSAND)?;
        over.checked_div(high.checked_sub(low)?)?.to_u16()
    };
    values.iter().map(|value| value.as_ref().map(|value| height(value).unwrap_or(500))).collect()
}

fn line(lists: &Lists<'_>, entry: &Entry<'_>, height: Option<u16>) -> Option<SeriesLine> {
    let Body::Test(test) = entry.body.as_ref() else { return None };
    Some(SeriesLine {
        on: entry.act.done_on,
        at: entry.act.logged_at,
        person: lists.person(entry.act.person),
        bound: test.bound,
        value: test.value,
        unit: test.unit.clone(),
        height,
        judged: judged(lists, test, &entry.act.note).into(),
    })
}
