//! The boss's morning: what was left off, what is ready and what is missing, what to load and to get, and
//! what the customer is waited for with.

use ledger::Body;
use projections::day_plan;
use projections::day_plan::{BringLine, PlanLine};
use projections::stages::Condition;

use crate::look::Look;
use projections::words;

/// Most lines of each list on the screen; the rest is on the jobs' own.
const MOST_LINES: usize = 8;

/// A stage that lacks something.
pub(crate) struct Lacking {
    pub(crate) stage: String,
    pub(crate) job: String,
    /// Each missing thing.
    pub(crate) missing: Vec<String>,
}

/// Something to load or to get.
pub(crate) struct Bring {
    pub(crate) what: String,
    pub(crate) stage: String,
    /// `3 on the van`, `by Thu 5 Nov`; or empty.
    pub(crate) rest: String,
}

/// What the boss wants to know at seven.
pub(crate) struct Morning {
    /// Who and when, and what.
    pub(crate) left: Vec<(String, String)>,
    /// Stage and job.
    pub(crate) ready: Vec<(String, String)>,
    pub(crate) lacking: Vec<Lacking>,
    /// Stage, and until when it waits.
    pub(crate) waits: Vec<(String, String)>,
    pub(crate) load: Vec<Bring>,
    pub(crate) to_get: Vec<Bring>,
    /// How many more there are to get.
    pub(crate) more_to_get: usize,
    /// What the customer has to say, and the job.
    pub(crate) customer: Vec<(String, String)>,
}

/// Fills it.
pub(crate) fn morning(look: &Look<'_>) -> Morning {
    let plan = day_plan(look.book, look.now);
    let named = |line: &PlanLine| (line.stage.clone(), line.job.clone());
    let waits = look.book.stages(&look.lists).into_iter().filter_map(|stage| {
        let over = stage.wait_over.filter(|over| over.utc_ms() > look.now.utc_ms())?;
        let waits = stage.condition == Condition::Free;
        waits.then(|| (look.lists.stage(Some(stage.stage)), words::when(over, look.today)))
    });
    let lacking = plan.stages.iter().filter(|line| line.free && !line.ready).map(|line| Lacking {
        stage: line.stage.clone(),
        job: line.job.clone(),
        missing: line.missing.iter().map(|missing| missing.what.clone()).collect(),
    });
    let load = plan.load.iter().map(|line| {
        let rest = match (line.on_van.is_zero(), line.on_van == line.quantity) {
            (true, _) => String::new(),
            (false, true) => "on the van".to_owned(),
            (false, false) => format!("{} of it on the van", words::number(line.on_van)),
        };
        bring(line, rest)
    });
    let to_get = plan.to_get.iter().map(|line| {
        let by = line.by.map(|day| format!("by {}", words::near_day(day, look.today)));
        bring(line, by.unwrap_or_default())
    });
    Morning {
        left: left(look),
        ready: plan.stages.iter().filter(|line| line.ready).map(named).collect(),
        lacking: lacking.collect(),
        waits: waits.collect(),
        load: load.collect(),
        to_get: to_get.take(MOST_LINES).collect(),
        more_to_get: plan.to_get.len().saturating_sub(MOST_LINES),
        customer: plan.customer.into_iter().map(|line| (line.what, line.job)).collect(),
    }
}

fn bring(line: &BringLine, rest: String) -> Bring {
    Bring { what: line.what.clone(), stage: format!("{}, {}", line.stage, line.job), rest }
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
