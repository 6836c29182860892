//! How we're doing: hours and material against the price, as a file or a program reads it.

use std::collections::BTreeMap;

use ledger::site::LineKind;
use rust_decimal::Decimal;
use serde::Serialize;
use trade::number::half_up;

use crate::book::Book;
use crate::entry::Entry;
use crate::facts::Facts;
use crate::lists::Lists;
use crate::materials::uses_of;
use crate::time_on_job::time_rows;

/// Every figure of how the jobs are doing, by names and sorted by them. From the crew's book there
/// is no money in it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Reconciliation {
    /// Hours against the price, by job and stage.
    pub labour: Vec<LabourLine>,
    /// Material against the price, by job, stage and item.
    pub materials: Vec<MaterialLine>,
    /// Minutes and their cost, by job, stage and person.
    pub time_on_job: Vec<TimeLine>,
}

/// Hours on a stage against the price.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct LabourLine {
    /// Hours that were priced, to two decimals.
    pub estimated_hours: String,
    /// The job's code.
    pub job: String,
    /// Minutes worked.
    pub minutes: i64,
    /// The stage's name; empty for none.
    pub stage: String,
}

/// An item on a stage against the price. Quantities have three decimals, money two.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct MaterialLine {
    /// How much was priced.
    pub estimated: String,
    /// The item's name.
    pub item: String,
    /// The job's code.
    pub job: String,
    /// Paid more than priced; negative for less.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub price_variance: Option<String>,
    /// The stage's name; empty for none.
    pub stage: String,
    /// The item's unit.
    pub unit: String,
    /// Used more than priced; negative for less.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub usage_variance: Option<String>,
    /// What is gone: used and wasted, less returned.
    pub used: String,
    /// How much was wasted.
    pub wasted: String,
}

/// One person's time on a stage.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct TimeLine {
    /// What it cost.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub cost: Option<String>,
    /// The job's code.
    pub job: String,
    /// Minutes worked.
    pub minutes: i64,
    /// The person's name.
    pub person: String,
    /// The stage's name; empty for none.
    pub stage: String,
}

/// How the jobs are doing, by everything that was logged.
#[must_use]
pub fn reconcile(book: &Book) -> Reconciliation {
    let Facts { lists, entries, spells, .. } = Facts::of(book);
    let mut labour: BTreeMap<_, (Decimal, i64)> = BTreeMap::new();
    for line in lists.lines.values().filter(|line| line.kind == LineKind::Labour) {
        let (hours, _) = labour.entry((line.job, Some(line.stage))).or_default();
        *hours = hours.saturating_add(line.quantity.value());
    }
    for spell in &spells {
        labour.entry((spell.site.job, spell.site.stage)).or_default().1 += spell.minutes;
    }
    let labour = labour.into_iter().map(|((job, stage), (hours, minutes))| LabourLine {
        estimated_hours: half_up(hours, 2).to_string(),
        job: lists.job(job),
        minutes,
        stage: stage.map(|stage| lists.stage(Some(stage))).unwrap_or_default(),
    });
    let time_on_job = time_rows(&spells, &lists).into_iter().map(|row| TimeLine {
        cost: row.cost.map(|cost| cost.to_string()),
        job: lists.job(row.job),
        minutes: row.minutes,
        person: lists.person(row.person),
        stage: row.stage.map(|stage| lists.stage(Some(stage))).unwrap_or_default(),
    });
    let mut found = Reconciliation {
        labour: labour.collect(),
        materials: material_lines(book, &entries, &lists),
        time_on_job: time_on_job.collect(),
    };
    found.labour.sort_by(|a, b| (&a.job, &a.stage).cmp(&(&b.job, &b.stage)));
    found.materials.sort_by(|a, b| (&a.job, &a.stage, &a.item).cmp(&(&b.job, &b.stage, &b.item)));
    found.time_on_job.sort_by(|a, b| (&a.job, &a.stage, &a.person).cmp(&(&b.job, &b.stage, &b.person)));
    found
}

/// Items that were priced, used, wasted or returned. What only lies there is not compared.
fn material_lines(book: &Book, entries: &[Entry<'_>], lists: &Lists<'_>) -> Vec<MaterialLine> {
    let three = |sum: Decimal| half_up(sum, 3).to_string();
    let priced: std::collections::BTreeSet<_> =
        lists.lines.values().map(|line| (line.job, Some(line.stage), line.item)).collect();
    let rows = book.material_rows(lists, &uses_of(entries, lists));
    let rows = rows.into_iter().filter(|((job, stage, item), row)| {
        let touched = [row.used, row.wasted_of_used, row.wasted_on_top, row.returned];
        priced.contains(&(*job, *stage, Some(*item))) || touched.iter().any(|sum| !sum.is_zero())
    });
    let lines = rows.map(|((job, stage, item), row)| MaterialLine {
        estimated: three(row.estimated.value()),
        item: lists.item(item),
        job: lists.job(job),
        price_variance: row.price_variance.map(|money| money.to_string()),
        stage: stage.map(|stage| lists.stage(Some(stage))).unwrap_or_default(),
        unit: lists.items.get(&item).map(|item| item.unit.clone()).unwrap_or_default(),
        usage_variance: row.usage_variance.map(|money| money.to_string()),
        used: three(row.gone.value()),
        wasted: three(row.wasted_of_used.value().saturating_add(row.wasted_on_top.value())),
    });
    lines.collect()
}
