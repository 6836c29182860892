//! The day's plan, as screens and programs read it: what is ready, what is missing, what to load, what to get
//! and by when, and what the customer is waited for with.
//!
//! Nothing here says that work is safe or fit to be covered.

use ledger::{Body, ItemId};
use rust_decimal::Decimal;
use serde::Serialize;
use trade::{Day, Moment, Quantity};

use crate::book::Book;
use crate::extras;
use crate::lists::Lists;
use crate::readiness::{Missing, Readiness, material_words, missing_words, readiness};
use crate::stages::Condition;

/// The sort of a thing that is missing, as a program reads it.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum MissingKind {
    /// A sign-off.
    SignOff,
    /// A wait.
    Wait,
    /// People.
    People,
    /// Material.
    Material,
    /// Gear.
    HiredGear,
    /// The customer's choice.
    CustomersChoice,
    /// Somebody from outside.
    Inspector,
}

/// Something missing, as a program reads it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct MissingLine {
    /// What sort.
    pub kind: MissingKind,
    /// What, in words.
    pub what: String,
}

/// A stage on the day's plan.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PlanLine {
    /// The job's code.
    pub job: String,
    /// The stage.
    pub stage: String,
    /// How it stands.
    pub state: Condition,
    /// What it follows is signed off and the wait is over.
    pub free: bool,
    /// It is free, and nothing that was listed is missing.
    pub ready: bool,
    /// What is missing.
    pub missing: Vec<MissingLine>,
    /// The earliest day on which it can begin.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub earliest: Option<Day>,
}

/// Material to load or to get.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct BringLine {
    /// The job's code.
    pub job: String,
    /// The stage that it is for.
    pub stage: String,
    /// What and how much, in words.
    pub what: String,
    /// How much in the item's unit; one for what is hired.
    pub quantity: Quantity,
    /// How much of it is on the van already, in the item's unit.
    pub on_van: Quantity,
    /// The day it is needed, at the earliest.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by: Option<Day>,
}

/// What the customer is waited for with.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct CustomerLine {
    /// The job's code.
    pub job: String,
    /// The stage that waits for it, where one does.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stage: Option<String>,
    /// What they have to say.
    pub what: String,
    /// The day it is needed, at the earliest.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub by: Option<Day>,
}

/// What a morning needs to know.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct DayPlan {
    /// Every stage that is not signed off.
    pub stages: Vec<PlanLine>,
    /// What the stages at work today need on the job.
    pub load: Vec<BringLine>,
    /// What is neither on a job nor on the van, by the day it is needed.
    pub to_get: Vec<BringLine>,
    /// What the customer has to say.
    pub customer: Vec<CustomerLine>,
}

/// The plan of the day, of every job.
#[must_use]
pub fn day_plan(book: &Book, now: Moment) -> DayPlan {
    let lists = book.lists();
    let all = readiness(book, &lists, now);
    let bring = |stage: &Readiness, item: ItemId, quantity: Quantity, on_van: Quantity| BringLine {
        job: lists.job(stage.job),
        stage: lists.stage(Some(stage.stage)),
        what: material_words(&lists, item, quantity),
        quantity,
        on_van,
        by: stage.earliest,
    };
    let at_work = all.iter().filter(|stage| stage.is_at_work());
    let load = at_work.flat_map(|stage| {
        stage.to_bring.iter().map(move |found| bring(stage, found.item, found.to_bring, found.on_van))
    });
    let mut to_get: Vec<BringLine> = all.iter().flat_map(|stage| to_get(&lists, stage, bring)).collect();
    to_get.sort_by_key(|line| (line.by.is_none(), line.by));
    let mut customer: Vec<CustomerLine> = all.iter().flat_map(|stage| choices(&lists, stage)).collect();
    customer.sort_by_key(|line| (line.by.is_none(), line.by));
    customer.extend(unanswered(book, &lists));
    DayPlan {
        stages: all.iter().map(|stage| plan_line(&lists, stage)).collect(),
        load: load.collect(),
        to_get,
        customer,
    }
}

fn to_get<'a>(
    lists: &'a Lists<'_>,
    stage: &'a Readiness,
    bring: impl Fn(&Readiness, ItemId, Quantity, Quantity) -> BringLine + 'a,
) -> impl Iterator<Item = BringLine> + 'a {
    stage.missing.iter().filter_map(move |missing| match missing {
        Missing::Material(found) => Some(bring(stage, found.item, found.to_get, Quantity::ZERO)),
        Missing::HiredGear(_) => Some(BringLine {
            job: lists.job(stage.job),
            stage: lists.stage(Some(stage.stage)),
            what: missing_words(lists, missing),
            quantity: Quantity::new(Decimal::ONE).unwrap_or_default(),
            on_van: Quantity::ZERO,
            by: stage.earliest,
        }),
        Missing::SignOff(_)
        | Missing::Wait(_)
        | Missing::People { .. }
        | Missing::CustomersChoice(_)
        | Missing::Inspector(_) => None,
    })
}

fn choices<'a>(lists: &'a Lists<'_>, stage: &'a Readiness) -> impl Iterator<Item = CustomerLine> + 'a {
    stage.missing.iter().filter_map(move |missing| {
        let Missing::CustomersChoice(what) = missing else { return None };
        Some(CustomerLine {
            job: lists.job(stage.job),
            stage: Some(lists.stage(Some(stage.stage))),
            what: what.clone(),
            by: stage.earliest,
        })
    })
}

/// The extras that the customer has said neither yes nor no to, as they were logged.
fn unanswered(book: &Book, lists: &Lists<'_>) -> Vec<CustomerLine> {
    let mut open = Vec::new();
    for entry in extras::unanswered(book) {
        let Body::ExtraAsked(asked) = entry.body.as_ref() else { continue };
        let (job, what) = (lists.job(asked.site.job), format!("yes or no to the extra: {}", asked.what));
        let stage = asked.site.stage.map(|stage| lists.stage(Some(stage)));
        open.push((entry.act.logged_at, CustomerLine { job, stage, what, by: None }));
    }
    open.sort_by_key(|(at, line)| (*at, line.what.clone()));
    open.into_iter().map(|(_, line)| line).collect()
}

fn plan_line(lists: &Lists<'_>, stage: &Readiness) -> PlanLine {
    let missing = stage.missing.iter().map(|missing| MissingLine {
        kind: match missing {
            Missing::SignOff(_) => MissingKind::SignOff,
            Missing::Wait(_) => MissingKind::Wait,
            Missing::People { .. } => MissingKind::People,
            Missing::Material(_) => MissingKind::Material,
            Missing::HiredGear(_) => MissingKind::HiredGear,
            Missing::CustomersChoice(_) => MissingKind::CustomersChoice,
            Missing::Inspector(_) => MissingKind::Inspector,
        },
        what: missing_words(lists, missing),
    });
    PlanLine {
        job: lists.job(stage.job),
        stage: lists.stage(Some(stage.stage)),
        state: stage.condition,
        free: stage.is_free,
        ready: stage.is_ready(),
        missing: missing.collect(),
        earliest: stage.earliest,
    }
}
