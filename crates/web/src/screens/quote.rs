//! The quote of a job: the versions that were given, the customer's yes, and the points at which it is paid.
//! All of it is money, so all of it is empty for whoever sees none.

use daemon::command::{points_due, standing_quote};
use trade::Pence;

use crate::look::Look;
use crate::orders::office::MOST_POINTS;
use projections::words;

/// Rows of the form that are empty, so that there is room for more points.
const SPARE_ROWS: usize = 3;

/// A version.
pub(crate) struct Version {
    pub(crate) number: u16,
    pub(crate) price: String,
    pub(crate) included: String,
    pub(crate) excluded: String,
    /// Who said yes, how and when; empty while nobody did.
    pub(crate) yes: String,
}

/// A row of the form of payment points.
#[derive(Default)]
pub(crate) struct PointRow {
    pub(crate) label_name: String,
    pub(crate) amount_name: String,
    pub(crate) stage_name: String,
    pub(crate) label: String,
    /// As a field takes it: `1364.09`; empty for a spare row.
    pub(crate) amount: String,
    /// The stage after whose sign-off it falls due; empty for none.
    pub(crate) stage: String,
}

/// A payment point as it stands.
pub(crate) struct PointShown {
    pub(crate) label: String,
    /// The label with what it waits for, or since when it is due.
    pub(crate) words: String,
    pub(crate) sum: String,
    /// No stage and nobody has made it due yet, so the boss may say so.
    pub(crate) may_be_due: bool,
}

/// The quote.
#[derive(Default)]
pub(crate) struct Quote {
    pub(crate) versions: Vec<Version>,
    pub(crate) points: Vec<PointShown>,
    pub(crate) rows: Vec<PointRow>,
    /// What the points must come to; empty without a quote.
    pub(crate) due: String,
    /// By how much the points are off, in words; empty where they come out, or there are none.
    pub(crate) off: String,
    pub(crate) stages: Vec<String>,
}

/// The quote of the job in hand.
pub(crate) fn quote(look: &Look<'_>) -> Quote {
    let (Some(job), true) = (look.job, look.viewer.sees_money) else { return Quote::default() };
    let lists = &look.lists;
    let mut versions: Vec<_> = lists.quotes.values().filter(|quote| quote.job == job.job).collect();
    versions.sort_by_key(|quote| (quote.version, quote.quote));
    let version = |quote: &&&ledger::office::QuoteGiven| Version {
        number: quote.version,
        price: words::pounds(quote.price),
        included: quote.included.clone(),
        excluded: quote.excluded.clone(),
        yes: lists.agreed.get(&quote.quote).map_or_else(String::new, |(day, yes)| {
            format!("{} said yes {} {}", yes.said_by, words::how(yes.how), words::day(*day))
        }),
    };
    let standing = standing_quote(lists, job.job).map(|quote| quote.quote);
    let mut points: Vec<_> =
        lists.points.values().filter(|point| Some(point.quote) == standing).copied().collect();
    points.sort_by_key(|point| (point.order, point.point));
    let due = points_due(look.node, job.job);
    let sum: Pence = points.iter().map(|point| point.amount).sum();
    let off = due.filter(|due| !points.is_empty() && *due != sum);
    let mut rows: Vec<PointRow> = points
        .iter()
        .map(|point| {
            let stage = point.stage.map(|stage| lists.stage(Some(stage))).unwrap_or_default();
            row(point.label.clone(), point.amount.to_string(), stage)
        })
        .collect();
    let wanted = (rows.len() + SPARE_ROWS).min(MOST_POINTS);
    rows.resize_with(wanted.max(rows.len()), PointRow::default);
    for (at, row) in (1..).zip(&mut rows) {
        row.label_name = format!("label-{at}");
        row.amount_name = format!("amount-{at}");
        row.stage_name = format!("stage-{at}");
    }
    Quote {
        versions: versions.iter().map(version).collect(),
        points: points
            .iter()
            .map(|point| {
                let said = lists.points_due.get(&point.point).map(|(day, _)| words::day(*day));
                let waits = match (&said, point.stage) {
                    (Some(day), _) => format!(", due since {day}"),
                    (None, Some(stage)) => format!(", when {} is signed off", lists.stage(Some(stage))),
                    (None, None) => ", when you say so".to_owned(),
                };
                PointShown {
                    words: format!("{}{waits}", point.label),
                    label: point.label.clone(),
                    sum: words::pounds(point.amount),
                    may_be_due: said.is_none() && point.stage.is_none(),
                }
            })
            .collect(),
        rows,
        due: due.map(words::pounds).unwrap_or_default(),
        off: off
            .map(|due| {
                let more = if sum > due { "too much" } else { "too little" };
                format!(
                    "The points come to {}: {} {more}.",
                    words::pounds(sum),
                    words::pounds(difference(sum, due))
                )
            })
            .unwrap_or_default(),
        stages: look.stages().iter().map(|stage| stage.name.clone()).collect(),
    }
}

fn difference(one: Pence, other: Pence) -> Pence {
    if one > other { one - other } else { other - one }
}

fn row(label: String, amount: String, stage: String) -> PointRow {
    PointRow { label, amount, stage, ..PointRow::default() }
}
