//! Planning a day: what stages need, tasks to fill a gap with, the limits of tests, and what slips.
//!
//! What is listed is said anew as a whole. Nothing here starts work or says that a thing is fit.

use ledger::site::{
    Bound, FillInListed, FillInState, Limit, LimitSet, NeedKind, NeedListed, NeedState, Reach, StageListed,
};
use ledger::{Audience, Body, Payload, PersonId};
use projections::closing::checks_before;
use projections::{Evidence, Gap, Lists};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use trade::waits::{self, WAITS};
use trade::{Moment, Quantity};

use super::named;
use crate::error::NodeError;
use crate::node::{Node, Write};

/// Longest task to fill a gap with, in minutes: a day's work. Longer is a stage.
const MOST_FILL_IN: u32 = 8 * 60;
/// Most people that a stage is taken to need.
const MOST_PEOPLE: u32 = 50;
/// The gap that is looked at where none is said and nothing wet tells one, in minutes.
const USUAL_GAP: u32 = 60;
/// Longest slip that is looked at, in hours: ten weeks of work.
const MOST_SLIP_HOURS: u32 = 400;

/// What can be asked and said about a plan. Names of jobs and stages are those in the lists.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "plan", rename_all = "snake_case")]
pub enum PlanCommand {
    /// What is free and ready, what to load and to get, and what the customer is waited for with.
    Morning {
        /// One job only.
        job: Option<String>,
    },
    /// What the stages of a job need beside material.
    Needs {
        /// The job.
        job: String,
    },
    /// Lists something that a stage needs, or says that it is met or dropped.
    Need(NeedWish),
    /// Lists a task to fill a gap with, or says it anew.
    FillIn(FillInWish),
    /// Says that such a task is done, is dropped, or is to do again.
    FillInBecame {
        /// The job.
        job: String,
        /// The task.
        what: String,
        /// What became of it.
        state: FillInState,
    },
    /// The tasks that fit a gap.
    FillIns {
        /// One job only.
        job: Option<String>,
        /// How long the gap is; else until the next thing is over that sets.
        minutes: Option<u32>,
        /// Whether something wet is on; else what was logged says so.
        wet: Option<bool>,
    },
    /// What was not heard of before stages close up what they cover, place by place.
    Closing {
        /// The job.
        job: String,
        /// One stage only.
        stage: Option<String>,
    },
    /// What slips if a stage takes longer.
    Slips {
        /// The job.
        job: String,
        /// The stage.
        stage: String,
        /// By so many hours of work.
        hours: u32,
    },
    /// The usual waits for setting, drying and curing, and who states them.
    Waits,
    /// Sets the limit that tests of a kind are compared with on a job.
    SetLimit(LimitWish),
}

/// Something that a stage needs.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct NeedWish {
    /// The job.
    pub job: String,
    /// The stage.
    pub stage: String,
    /// What sort of thing.
    pub kind: NeedKind,
    /// What; for people, how many.
    pub what: String,
    /// Whether it is still needed.
    pub state: NeedState,
}

/// A task to fill a gap with.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct FillInWish {
    /// The job.
    pub job: String,
    /// What is to do.
    pub what: String,
    /// The stage that its hours go to.
    pub stage: Option<String>,
    /// Where, or empty.
    pub room: String,
    /// How long it takes.
    pub minutes: u32,
    /// It can be left in the middle.
    pub can_be_dropped: bool,
    /// It makes dust.
    pub dusty: bool,
    /// How far away it is from what is setting.
    pub reach: Reach,
}

/// A limit for a kind of test.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct LimitWish {
    /// The job.
    pub job: String,
    /// The kind of test.
    pub what: String,
    /// The limit, its unit and who sets it; none takes it back.
    pub limit: Option<(Bound, Quantity, String, String)>,
}

pub(super) fn run(node: &mut Node, author: PersonId, command: PlanCommand) -> Result<Value, NodeError> {
    match command {
        PlanCommand::Morning { job } => morning(node, job.as_deref(), node.now()?),
        PlanCommand::Needs { job } => needs(node, &job),
        PlanCommand::Need(wish) => need(node, author, wish),
        PlanCommand::FillIn(wish) => fill_in(node, author, wish),
        PlanCommand::FillInBecame { job, what, state } => fill_in_became(node, author, &job, &what, state),
        PlanCommand::FillIns { job, minutes, wet } => {
            fill_ins(node, job.as_deref(), minutes, wet, node.now()?)
        }
        PlanCommand::Closing { job, stage } => closing(node, &job, stage.as_deref()),
        PlanCommand::Slips { job, stage, hours } => slips(node, &job, &stage, hours, node.now()?),
        PlanCommand::Waits => Ok(waits()),
        PlanCommand::SetLimit(wish) => set_limit(node, author, wish),
    }
}

fn morning(node: &Node, job: Option<&str>, now: Moment) -> Result<Value, NodeError> {
    let lists = node.book().lists();
    let code = job.map(|code| named::job(&lists, code).map(|job| job.code.clone())).transpose()?;
    let mut plan = projections::day_plan(node.book(), now);
    if let Some(code) = code {
        plan.stages.retain(|line| line.job == code);
        plan.load.retain(|line| line.job == code);
        plan.to_get.retain(|line| line.job == code);
        plan.customer.retain(|line| line.job == code);
    }
    Ok(json!(plan))
}

/// The checks before stages close up what they cover, with those where nothing is missing.
fn closing(node: &Node, code: &str, stage: Option<&str>) -> Result<Value, NodeError> {
    let lists = node.book().lists();
    let job = named::job(&lists, code)?;
    let only = stage.map(|stage| named::stage(&lists, job, stage).map(|stage| stage.stage)).transpose()?;
    let entries: Vec<_> = node.book().entries().collect();
    let evidence = Evidence::of(&entries, &lists);
    let is_asked = |listed: &&&StageListed| {
        listed.job == job.job && only.is_none_or(|only| listed.stage == only) && !listed.covers.is_empty()
    };
    let mut closing: Vec<&&StageListed> = lists.stages.values().filter(is_asked).collect();
    closing.sort_by_key(|listed| (listed.order, listed.stage));
    let checks = closing.into_iter().flat_map(|listed| {
        let checks = checks_before(&evidence, &lists, listed).into_iter();
        checks.map(|check| {
            let told =
                check.told.map(|told| json!({ "to": lists.person(told.to), "by": lists.person(told.by) }));
            json!({ "stage": listed.name, "covers": lists.stage(Some(check.covered)), "place": check.place,
                "missing": check.missing, "signed_off": !check.no_sign_off, "told": told })
        })
    });
    Ok(json!({ "job": job.code, "checks": checks.collect::<Vec<_>>() }))
}

fn waits() -> Value {
    let waits = WAITS.iter().map(|wait| {
        json!({ "what": wait.what, "minutes": wait.minutes, "length": waits::length(wait.minutes),
            "look_for": wait.look_for, "source": wait.source, "confidence": wait.confidence.words(),
            "from": wait.from })
    });
    json!({ "waits": waits.collect::<Vec<_>>() })
}

fn needs(node: &Node, code: &str) -> Result<Value, NodeError> {
    let lists = node.book().lists();
    let job = named::job(&lists, code)?.job;
    let of_job = lists.needs.values().filter(|need| need.job == job && need.state != NeedState::Dropped);
    let mut needs: Vec<_> = of_job.collect();
    needs.sort_by_key(|need| {
        let order = lists.stages.get(&need.stage).map_or(u32::MAX, |stage| stage.order);
        (order, need.stage, need.kind, need.what.clone())
    });
    let lines = needs.into_iter().map(|need| {
        let met = if let NeedState::Met(how) = &need.state { Some(how) } else { None };
        json!({ "stage": lists.stage(Some(need.stage)), "kind": need.kind, "what": need.what,
            "count": need.count, "met": met })
    });
    Ok(json!({ "job": code, "needs": lines.collect::<Vec<_>>() }))
}

fn need(node: &mut Node, author: PersonId, wish: NeedWish) -> Result<Value, NodeError> {
    let lists = node.book().lists();
    let job = named::job(&lists, &wish.job)?;
    let stage = named::stage(&lists, job, &wish.stage)?.stage;
    let said = wish.what.trim();
    let count = match wish.kind {
        NeedKind::People => {
            let count = said.parse::<u32>().ok().filter(|count| (1..=MOST_PEOPLE).contains(count));
            count.ok_or_else(|| {
                NodeError::bad_input(format!(
                    "say how many people, from 1 to {MOST_PEOPLE}; {said:?} is none"
                ))
            })?
        }
        NeedKind::HiredGear | NeedKind::CustomersChoice | NeedKind::Inspector if said.is_empty() => {
            return Err(NodeError::bad_input("say what is needed: 'tile saw', 'which grout'"));
        }
        NeedKind::HiredGear | NeedKind::CustomersChoice | NeedKind::Inspector => 0,
    };
    if matches!(&wish.state, NeedState::Met(how) if how.trim().is_empty()) {
        return Err(NodeError::bad_input("say how it was met: what was chosen, who looked"));
    }
    let what = if count > 0 { String::new() } else { said.to_owned() };
    let listed = NeedListed { job: job.job, stage, kind: wish.kind, what, count, state: wish.state };
    let is_known = lists.needs.contains_key(&(stage, listed.kind, listed.what.as_str()));
    if !is_known && listed.state != NeedState::Open {
        let known = lists.needs.values().filter(|need| need.stage == stage && need.kind == listed.kind);
        let known: Vec<_> = known.map(|need| need.what.as_str()).collect();
        let of = if known.is_empty() { "nothing of that sort".to_owned() } else { known.join(", ") };
        let text = format!("{} is not listed as needing {said:?}; it needs {of}", wish.stage);
        return Err(NodeError::bad_input(text));
    }
    list(node, author, Body::NeedListed(listed), |body, own| {
        matches!((body, own), (Body::NeedListed(one), Body::NeedListed(other))
            if (one.stage, one.kind, &one.what) == (other.stage, other.kind, &other.what))
    })?;
    needs(node, &wish.job)
}

fn fill_in(node: &mut Node, author: PersonId, wish: FillInWish) -> Result<Value, NodeError> {
    let lists = node.book().lists();
    let job = named::job(&lists, &wish.job)?;
    let stage = wish.stage.as_deref().map(|name| named::stage(&lists, job, name)).transpose()?;
    if wish.what.trim().is_empty() {
        return Err(NodeError::bad_input("say what is to do"));
    }
    if !(1..=MOST_FILL_IN).contains(&wish.minutes) {
        let text =
            format!("a task to fill a gap with takes 1 to {MOST_FILL_IN} minutes, not {}", wish.minutes);
        return Err(NodeError::bad_input(text));
    }
    let listed = FillInListed {
        job: job.job,
        what: wish.what.trim().to_owned(),
        stage: stage.map(|stage: &StageListed| stage.stage),
        room: wish.room.trim().to_owned(),
        minutes: wish.minutes,
        can_be_dropped: wish.can_be_dropped,
        dusty: wish.dusty,
        reach: wish.reach,
        state: FillInState::Open,
    };
    list_fill_in(node, author, listed)?;
    fill_ins(node, Some(&wish.job), None, None, node.now()?)
}

fn fill_in_became(
    node: &mut Node,
    author: PersonId,
    code: &str,
    what: &str,
    state: FillInState,
) -> Result<Value, NodeError> {
    let lists = node.book().lists();
    let job = named::job(&lists, code)?.job;
    let Some(task) = lists.fill_ins.get(&(job, what.trim())) else {
        let known = lists.fill_ins.keys().filter(|(of, _)| *of == job).map(|(_, what)| *what);
        let known: Vec<_> = known.collect();
        let there = if known.is_empty() { "none is listed".to_owned() } else { known.join(", ") };
        let text = format!("{code} has no task {what:?} to fill a gap with; there is: {there}");
        return Err(NodeError::bad_input(text));
    };
    let listed = FillInListed { state, ..(*task).clone() };
    list_fill_in(node, author, listed)?;
    fill_ins(node, Some(code), None, None, node.now()?)
}

fn list_fill_in(node: &mut Node, author: PersonId, listed: FillInListed) -> Result<(), NodeError> {
    list(node, author, Body::FillInListed(listed), |body, own| {
        matches!((body, own), (Body::FillInListed(one), Body::FillInListed(other))
            if (one.job, &one.what) == (other.job, &other.what))
    })
}

/// Writes a row in the place of its versions, unless it says what they say.
fn list(
    node: &mut Node,
    author: PersonId,
    body: Body,
    is_version: impl Fn(&Body, &Body) -> bool,
) -> Result<(), NodeError> {
    let heads = node.book().list_heads().filter(|row| is_version(&row.body, &body));
    let heads: Vec<_> = heads.map(|row| (row.hash, row.body == body)).collect();
    if matches!(heads.as_slice(), [(_, true)]) {
        return Ok(());
    }
    let mut act = node.act(author)?;
    act.replaces = heads.into_iter().map(|(hash, _)| hash).collect();
    act.replaces.sort_unstable();
    node.append(&[Write { audience: Audience::Crew, payload: Payload { act, body } }])?;
    Ok(())
}

fn fill_ins(
    node: &Node,
    code: Option<&str>,
    minutes: Option<u32>,
    wet: Option<bool>,
    now: Moment,
) -> Result<Value, NodeError> {
    let (book, lists) = (node.book(), node.book().lists());
    let job = code.map(|code| named::job(&lists, code)).transpose()?.map(|job| job.job);
    let stages = book.stages(&lists);
    let jobs = lists.jobs.keys().filter(|of| job.is_none_or(|job| job == **of));
    let setting: Vec<_> = jobs.flat_map(|job| projections::wet(book, &lists, &stages, *job, now)).collect();
    let gap = Gap {
        minutes: minutes.or_else(|| setting.iter().find_map(|wet| wet.minutes)).unwrap_or(USUAL_GAP),
        wet: wet.unwrap_or(!setting.is_empty()),
    };
    let tasks = projections::fill_ins(&lists, job, gap);
    Ok(json!({ "minutes": gap.minutes, "wet": gap.wet, "setting": setting, "tasks": tasks }))
}

fn slips(node: &Node, code: &str, name: &str, hours: u32, now: Moment) -> Result<Value, NodeError> {
    let lists = node.book().lists();
    let job = named::job(&lists, code)?;
    let stage = named::stage(&lists, job, name)?.stage;
    if !(1..=MOST_SLIP_HOURS).contains(&hours) {
        let text = format!("say by how many hours of work, from 1 to {MOST_SLIP_HOURS}; not {hours}");
        return Err(NodeError::bad_input(text));
    }
    let slips = projections::slips(node.book(), job.job, stage, hours * 60, now);
    let slips = slips.map_err(|circle| NodeError::bad_input(circle.to_string()))?;
    Ok(json!({ "job": code, "stage": name, "hours": hours, "slips": slips }))
}

fn set_limit(node: &mut Node, author: PersonId, wish: LimitWish) -> Result<Value, NodeError> {
    let lists = node.book().lists();
    let job = named::job(&lists, &wish.job)?.job;
    let what = wish.what.trim().to_lowercase();
    if what.is_empty() {
        return Err(NodeError::bad_input("say which kind of test"));
    }
    let unit = wish.limit.as_ref().map(|(_, _, unit, _)| unit.clone()).unwrap_or_default();
    let limit = match wish.limit {
        None if !lists.limits.contains_key(&(job, what.clone())) => {
            return Err(NodeError::bad_input(format!("no limit is set for {what} on {}", wish.job)));
        }
        None => None,
        Some((.., source)) if source.trim().is_empty() => {
            return Err(NodeError::bad_input("say who sets the limit: the maker, the drawing, a standard"));
        }
        Some((bound, value, _, source)) => Some(Limit { bound, value, source }),
    };
    let body = Body::LimitSet(LimitSet { job, what: what.clone(), unit, limit });
    list(node, author, body, |body, own| {
        matches!((body, own), (Body::LimitSet(one), Body::LimitSet(other))
            if one.job == other.job && one.what.trim().to_lowercase() == other.what)
    })?;
    Ok(limits(&node.book().lists(), &wish.job, job))
}

/// The limits that are set on a job.
fn limits(lists: &Lists<'_>, code: &str, job: ledger::JobId) -> Value {
    let of_job = lists.limits.iter().filter(|((of, _), _)| *of == job);
    let lines = of_job.filter_map(|((_, what), set)| {
        let limit = set.limit.as_ref()?;
        Some(json!({ "what": what, "bound": limit.bound, "value": limit.value, "unit": set.unit,
            "source": limit.source }))
    });
    json!({ "job": code, "limits": lines.collect::<Vec<_>>() })
}
