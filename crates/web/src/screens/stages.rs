//! *Stages*: what is free, what waits and until when, what each covers up, and what its sign-off needs.
//!
//! It tells what was logged and what was not. It never says that work is safe or fit.

use std::collections::BTreeSet;

use askama::Template;
use daemon::Role;
use ledger::site::StageListed;
use ledger::{Body, StageId};
use projections::closing::{Check, checks_before};
use projections::evidence::MissingEvidence;
use projections::judged::Series;
use projections::readiness::{Missing, missing_words};
use projections::stages::{Condition, Stage};
use projections::{Entry, Evidence, Readiness, judged_entry, readiness, series};

use crate::frame::{Frame, Tab};
use crate::look::{Asked, Look};
use crate::screens::careful::{self, Careful};
use crate::screens::gap::{Filling, filling};
use crate::shapes::{Course, Mark};
use projections::words;

/// Something that a stage's sign-off needs.
pub(crate) struct Need {
    pub(crate) there: bool,
    pub(crate) words: String,
}

/// Something that was listed as needed and is not met.
pub(crate) struct OpenNeed {
    /// As a form names it.
    pub(crate) kind: &'static str,
    pub(crate) what: String,
    /// What to write beside it: what was chosen, who looked.
    pub(crate) ask: &'static str,
}

/// A check before the stage closes something up, at one place.
pub(crate) struct CheckRow {
    /// `first fix water, north wall`.
    pub(crate) what: String,
    pub(crate) open: bool,
    /// What was not heard of, or that nothing is open.
    pub(crate) words: String,
    /// The stage that has no sign-off here, and that somebody may have been told of; empty for none.
    pub(crate) told_of: String,
}

/// The tests of one kind over time.
pub(crate) struct Chart {
    pub(crate) what: String,
    pub(crate) course: Course,
    /// Each value with its day and verdict.
    pub(crate) values: Vec<String>,
}

/// A stage on the screen.
pub(crate) struct StageRow {
    pub(crate) name: String,
    pub(crate) mark: Mark,
    pub(crate) state: String,
    /// What it waits for, or what is known of its wait; empty for neither.
    pub(crate) waits: String,
    /// What it covers up, or empty.
    pub(crate) covers: String,
    pub(crate) needs: Vec<Need>,
    /// What is missing before it is ready, beside what it waits for.
    pub(crate) missing: Vec<String>,
    pub(crate) open_needs: Vec<OpenNeed>,
    /// The earliest day; empty for today and for what is begun.
    pub(crate) earliest: String,
    pub(crate) checks: Vec<CheckRow>,
    pub(crate) charts: Vec<Chart>,
    pub(crate) may_need: bool,
    /// What to be careful of where its sign-off stands.
    pub(crate) closing: Careful,
    pub(crate) may_report: bool,
    pub(crate) may_sign_off: bool,
    pub(crate) may_reopen: bool,
}

/// The screen.
#[derive(Template)]
#[template(path = "stages.html")]
pub(crate) struct Stages {
    pub(crate) frame: Frame,
    pub(crate) stages: Vec<StageRow>,
    filling: Filling,
    /// Who may have told somebody of a sign-off.
    tellers: Vec<String>,
}

/// Fills the screen.
pub(crate) fn stages(look: &Look<'_>, asked: &Asked) -> Stages {
    let job = look.job.map(|job| job.job);
    let all = look.book.stages(&look.lists);
    let ready = readiness(look.book, &look.lists, look.now);
    let entries: Vec<_> = look.book.entries().collect();
    let evidence = Evidence::of(&entries, &look.lists);
    let series = job.map(|job| series(look.book, &look.lists, job)).unwrap_or_default();
    let ready = |stage: &Stage| ready.iter().find(|ready| ready.stage == stage.stage);
    let stages = all.iter().filter(|stage| Some(stage.job) == job);
    let title = look.job.map_or_else(|| "Stages".to_owned(), |job| format!("{} · stages", job.code));
    Stages {
        frame: look.frame(Tab::Stages, title),
        stages: stages
            .filter_map(|stage| {
                let listed = look.lists.stages.get(&stage.stage)?;
                let checks = checks_before(&evidence, &look.lists, listed);
                Some(StageRow {
                    checks: checks.iter().map(|check| check_row(look, &entries, check)).collect(),
                    charts: series.iter().filter(|one| one.stage == listed.name).filter_map(chart).collect(),
                    ..row(look, stage, listed, ready(stage))
                })
            })
            .collect(),
        filling: filling(look, asked),
        tellers: tellers(look),
    }
}

fn row(look: &Look<'_>, stage: &Stage, listed: &StageListed, ready: Option<&Readiness>) -> StageRow {
    let is_off = stage.condition == Condition::SignedOff;
    let may_work = !is_off && stage.condition != Condition::Waiting;
    StageRow {
        name: listed.name.clone(),
        mark: Mark { condition: stage.condition },
        state: state(look, stage, ready) + &signed_off_places(stage),
        waits: waits(look, stage),
        covers: names(look, &listed.covers),
        needs: needs(look, stage, listed),
        missing: ready.map(|ready| lacks(look, ready)).unwrap_or_default(),
        open_needs: ready.map(open_needs).unwrap_or_default(),
        earliest: ready.map(|ready| earliest(look, ready)).unwrap_or_default(),
        checks: Vec::new(),
        charts: Vec::new(),
        may_need: !is_off,
        closing: if may_work && look.viewer.leads() {
            careful::before_signing_off(look, listed)
        } else {
            Careful::default()
        },
        may_report: may_work && stage.condition != Condition::ReadyForChecking,
        may_sign_off: may_work && look.viewer.leads(),
        may_reopen: is_off && look.viewer.leads(),
    }
}

/// Who signs stages off, beside whoever looks.
fn tellers(look: &Look<'_>) -> Vec<String> {
    let people = look.node.ledger().roster().people();
    let leads = people.filter(|person| person.role >= Role::Lead && person.person != look.viewer.person);
    leads.map(|person| person.name.clone()).collect()
}

fn check_row(look: &Look<'_>, entries: &[Entry<'_>], check: &Check) -> CheckRow {
    let stage = look.lists.stage(Some(check.covered));
    let place = if check.place.is_empty() { String::new() } else { format!(", {}", check.place) };
    let mut open: Vec<String> = check.missing.iter().map(|what| format!("no {what}")).collect();
    if check.no_sign_off {
        open.push(format!("no sign-off on {}{}", look.node.device().name, last_heard(look, entries)));
    }
    if let Some(told) = check.told {
        let (to, by) = (look.lists.person(told.to), look.lists.person(told.by));
        open.push(format!("{to} was told of it by {by}"));
    }
    CheckRow {
        what: format!("{stage}{place}"),
        open: !open.is_empty(),
        words: if open.is_empty() { "tests, photo and sign-off logged".to_owned() } else { open.join("; ") },
        told_of: if check.no_sign_off && check.told.is_none() { stage } else { String::new() },
    }
}

/// Since when nothing was heard from those who sign off: `, last heard from Maren Oake’s today 07:40`.
fn last_heard(look: &Look<'_>, entries: &[Entry<'_>]) -> String {
    let own = look.node.device().person;
    let signs = |person: &ledger::PersonId| {
        *person != own
            && look.node.ledger().roster().person(person).is_some_and(|person| person.role >= Role::Lead)
    };
    let heard = entries.iter().filter(|entry| signs(&entry.act.author));
    let last = heard.max_by_key(|entry| (entry.act.logged_at.utc_ms(), entry.act.author));
    last.map(|entry| {
        let who = look.lists.person(entry.act.author);
        format!(", last heard from {who}’s {}", words::when(entry.act.logged_at, look.today))
    })
    .unwrap_or_default()
}

/// Tests of one kind over time, where there is more than one.
fn chart(series: &Series) -> Option<Chart> {
    let heights: Vec<u16> = series.tests.iter().filter_map(|test| test.height).collect();
    if heights.len() < 2 {
        return None;
    }
    let place = if series.place.is_empty() { String::new() } else { format!(", {}", series.place) };
    let values = series.tests.iter().map(|test| {
        let value = words::value(test.bound, test.value, &test.unit);
        format!("{}: {value}, {}", words::day(test.on), test.judged.verdict)
    });
    let what = format!("{}{place}", series.what);
    Some(Chart { what, course: Course::of(&heights), values: values.collect() })
}

/// What a stage lacks beside what it waits for.
fn lacks(look: &Look<'_>, ready: &Readiness) -> Vec<String> {
    let named = ready.missing.iter().filter(|missing| match missing {
        Missing::SignOff(_) | Missing::Wait(_) => false,
        Missing::People { .. }
        | Missing::Material(_)
        | Missing::HiredGear(_)
        | Missing::CustomersChoice(_)
        | Missing::Inspector(_) => true,
    });
    named.map(|missing| missing_words(&look.lists, missing)).collect()
}

/// What can be met by a word: a choice that was made, somebody who looked.
fn open_needs(ready: &Readiness) -> Vec<OpenNeed> {
    let open = ready.missing.iter().filter_map(|missing| match missing {
        Missing::CustomersChoice(what) => {
            Some(OpenNeed { kind: "customers_choice", what: what.clone(), ask: "What was chosen" })
        }
        Missing::Inspector(what) => {
            Some(OpenNeed { kind: "inspector", what: what.clone(), ask: "Who looked, when, what they said" })
        }
        Missing::SignOff(_)
        | Missing::Wait(_)
        | Missing::People { .. }
        | Missing::Material(_)
        | Missing::HiredGear(_) => None,
    });
    open.collect()
}

fn earliest(look: &Look<'_>, ready: &Readiness) -> String {
    match ready.earliest {
        Some(day) if !ready.is_at_work() && day > look.today => words::near_day(day, look.today),
        Some(_) | None => String::new(),
    }
}

/// How a stage stands, in words.
fn state(look: &Look<'_>, stage: &Stage, ready: Option<&Readiness>) -> String {
    let part = stage.part_done.map(|percent| format!(", {}% done", words::number(percent)));
    match stage.condition {
        Condition::SignedOff => {
            let on = stage.signed_off.map(|off| words::day(off.at.day)).unwrap_or_default();
            format!("signed off {on}")
        }
        Condition::Reopened => "opened again".to_owned(),
        Condition::ReadyForChecking => "ready for checking".to_owned(),
        Condition::PartDone => format!("in hand{}", part.unwrap_or_default()),
        Condition::InHand => "in hand".to_owned(),
        Condition::Free if is_drying(look, stage) => "waits".to_owned(),
        Condition::Free if ready.is_some_and(Readiness::is_ready) => "ready".to_owned(),
        Condition::Free => "free".to_owned(),
        Condition::Waiting => "waits".to_owned(),
    }
}

/// `, signed off: north wall`, where a place is and all of it is not.
fn signed_off_places(stage: &Stage) -> String {
    let places: Vec<&str> = stage.signed_off_places.iter().map(|signed| signed.place.as_str()).collect();
    if places.is_empty() { String::new() } else { format!(", signed off: {}", places.join("; ")) }
}

fn is_drying(look: &Look<'_>, stage: &Stage) -> bool {
    stage.wait_over.is_some_and(|over| over.utc_ms() > look.now.utc_ms())
}

fn waits(look: &Look<'_>, stage: &Stage) -> String {
    match stage.condition {
        Condition::SignedOff => String::new(),
        _ if !stage.waits_for.is_empty() => {
            format!("Waits for {} to be signed off", names(look, &stage.waits_for))
        }
        _ => match stage.wait_over {
            Some(over) if is_drying(look, stage) => {
                format!("{} at the earliest; check by eye and touch", words::when(over, look.today))
            }
            _ => String::new(),
        },
    }
}

fn names(look: &Look<'_>, stages: &[StageId]) -> String {
    stages.iter().map(|stage| look.lists.stage(Some(*stage))).collect::<Vec<_>>().join(" and ")
}

/// The tests and photos that a sign-off needs, each with what is there.
fn needs(look: &Look<'_>, stage: &Stage, listed: &StageListed) -> Vec<Need> {
    let need = |wanted: &str, value: Option<String>| {
        let missing: Vec<&MissingEvidence> =
            stage.missing.iter().filter(|missing| missing.what == wanted).collect();
        let places: Vec<&str> = missing.iter().map(|missing| missing.place.as_str()).collect();
        let none = match places.as_slice() {
            [] => None,
            [""] => Some("none yet".to_owned()),
            places => Some(format!("none yet at {}", places.join("; "))),
        };
        let said: Vec<String> = value.into_iter().chain(none).collect();
        let words =
            if said.is_empty() { wanted.to_owned() } else { format!("{wanted}: {}", said.join("; ")) };
        Need { there: missing.is_empty(), words }
    };
    let tests = listed.needs_tests.iter().map(|test| need(test, last_value(look, stage.stage, test)));
    let photo = listed.needs_photo.then(|| need(MissingEvidence::PHOTO, None));
    tests.chain(photo).collect()
}

fn last_value(look: &Look<'_>, stage: StageId, wanted: &str) -> Option<String> {
    let tests = look.book.entries().filter_map(|entry| match entry.body.as_ref() {
        Body::Test(test)
            if test.site.stage == Some(stage) && test.what.trim().eq_ignore_ascii_case(wanted.trim()) =>
        {
            Some((
                entry.act.logged_at,
                format!(
                    "{}, {}; {} {}",
                    words::value(test.bound, test.value, &test.unit),
                    judged_entry(&look.lists, &entry)
                        .map(|judged| judged.verdict.words())
                        .unwrap_or_default(),
                    look.lists.person(entry.act.person),
                    words::day(entry.act.done_on),
                ),
            ))
        }
        _ => None,
    });
    tests.max().map(|(_, words)| words)
}

/// Something that stands behind a surface: a photo or a test.
pub(crate) struct Piece {
    pub(crate) when: String,
    pub(crate) stage: String,
    pub(crate) text: String,
    /// The file's hash, or empty.
    pub(crate) photo: String,
}

/// A place of the job, with all that is known of it.
pub(crate) struct Place {
    pub(crate) name: String,
    pub(crate) pieces: Vec<Piece>,
}

/// *Behind this wall*: tests and photos by place.
#[derive(Template)]
#[template(path = "behind.html")]
pub(crate) struct Behind {
    pub(crate) frame: Frame,
    places: Vec<Place>,
}

/// Fills the screen.
pub(crate) fn behind(look: &Look<'_>) -> Behind {
    let job = look.job.map(|job| job.job);
    let mut found: Vec<(String, trade::Moment, Piece)> = Vec::new();
    for entry in look.book.entries() {
        let Some(site) = entry.site().filter(|site| Some(site.job) == job) else { continue };
        let photos = match entry.body.as_ref() {
            Body::Photo(photo) => vec![photo.photo],
            Body::Test(test) => test.photos.clone(),
            Body::Note(note) => note.photos.clone(),
            _ => continue,
        };
        let is_test = matches!(entry.body.as_ref(), Body::Test(_));
        if !is_test && photos.is_empty() {
            continue;
        }
        let place = words::place(&site.place);
        let piece = |photo: String| Piece {
            when: words::day(entry.act.done_on),
            stage: look.stage_of(&entry),
            text: look.told(&entry),
            photo,
        };
        let pieces = if photos.is_empty() {
            vec![String::new()]
        } else {
            photos.iter().map(ToString::to_string).collect()
        };
        found.extend(pieces.into_iter().map(|photo| (place.clone(), entry.act.logged_at, piece(photo))));
    }
    found.sort_by(|(one, at, _), (other, then, _)| {
        (one.is_empty(), one, at).cmp(&(other.is_empty(), other, then))
    });
    let mut places: Vec<Place> = Vec::new();
    let mut known = BTreeSet::new();
    for (place, _, piece) in found {
        let name = if place.is_empty() { "No place said".to_owned() } else { place };
        if known.insert(name.clone()) {
            places.push(Place { name, pieces: Vec::new() });
        }
        if let Some(last) = places.last_mut() {
            last.pieces.push(piece);
        }
    }
    let title = look.job.map_or_else(String::new, |job| format!("{} · behind the walls", job.code));
    Behind { frame: look.frame(Tab::Stages, title), places }
}
