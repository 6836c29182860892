//! The boss's morning: what was left off, what is free, what to bring, who is waited for.

use ledger::Body;
use ledger::site::LineKind;
use projections::stages::{Condition, Stage};
use trade::Quantity;

use crate::look::Look;
use crate::screens::log::open_extras;
use projections::words;

/// What the boss wants to know at seven.
pub(crate) struct Morning {
    /// Who and when, and what.
    pub(crate) left: Vec<(String, String)>,
    /// Stage and job.
    pub(crate) free: Vec<(String, String)>,
    /// Stage, and until when it waits.
    pub(crate) waits: Vec<(String, String)>,
    /// How much of what, and the stage.
    pub(crate) bring: Vec<(String, String)>,
    /// What the customer has to say, and the job.
    pub(crate) customer: Vec<(String, String)>,
}

/// Fills it.
pub(crate) fn morning(look: &Look<'_>) -> Morning {
    let stages = look.book.stages(&look.lists);
    let waits = |stage: &&Stage| {
        stage.condition == Condition::Free
            && stage.wait_over.is_some_and(|over| over.utc_ms() > look.now.utc_ms())
    };
    let is_free = |stage: &&Stage| stage.condition == Condition::Free && !waits(stage);
    let named = |stage: &Stage| (look.lists.stage(Some(stage.stage)), look.lists.job(stage.job));
    let over = |stage: &Stage| stage.wait_over.map(|over| words::when(over, look.today)).unwrap_or_default();
    let at_work = |stage: &&Stage| is_free(stage) || stage.condition == Condition::InHand;
    let jobs = look.lists.jobs.values();
    Morning {
        left: left(look),
        free: stages.iter().filter(is_free).map(named).collect(),
        waits: stages.iter().filter(waits).map(|stage| (named(stage).0, over(stage))).collect(),
        bring: stages.iter().filter(at_work).flat_map(|stage| bring(look, stage)).collect(),
        customer: jobs
            .flat_map(|job| {
                open_extras(look, job.job).into_iter().map(|extra| (extra.what, job.code.clone()))
            })
            .collect(),
    }
}

/// The last line of each job that somebody left off, if no older than a week.
fn left(look: &Look<'_>) -> Vec<(String, String)> {
    let mut left: Vec<_> = look
        .book
        .entries()
        .filter(|entry| matches!(entry.body.as_ref(), Body::LeftOff(_)))
        .filter(|entry| entry.act.done_on >= look.today.plus_days(-7))
        .collect();
    left.sort_by_key(|entry| std::cmp::Reverse(entry.act.logged_at));
    let mut known = std::collections::BTreeSet::new();
    left.retain(|entry| entry.site().is_some_and(|site| known.insert(site.job)));
    let line = |entry: &projections::Entry<'_>| {
        let job = entry.site().map(|site| look.lists.job(site.job)).unwrap_or_default();
        let who = look.lists.person(entry.act.person);
        let words = entry.act.note.clone();
        (format!("{job}, {who}, {}", words::when(entry.act.logged_at, look.today)), words)
    };
    left.iter().map(line).collect()
}

/// What was priced for a stage, less what is gone and what came for it.
fn bring(look: &Look<'_>, stage: &Stage) -> Vec<(String, String)> {
    let materials = look.book.materials(&look.lists);
    let mut lines: Vec<_> = look
        .lists
        .lines
        .values()
        .copied()
        .filter(|line| line.stage == stage.stage && line.kind == LineKind::Material)
        .collect();
    lines.sort_by_key(|line| (line.order, line.line));
    let line = |line: &&ledger::site::LineListed| {
        let item = look.lists.items.get(&line.item?)?;
        let row = materials.get(&(stage.job, Some(stage.stage), item.item));
        let there =
            row.map_or(rust_decimal::Decimal::ZERO, |row| row.gone.value().max(row.delivered.value()));
        let left = Quantity::new(line.quantity.value().saturating_sub(there)).ok()?;
        let is_some = !left.is_zero() && !left.is_negative();
        is_some.then(|| {
            (format!("{} {}", words::in_packs(item, left), item.name), look.lists.stage(Some(stage.stage)))
        })
    };
    lines.iter().filter_map(line).collect()
}
