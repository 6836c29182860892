//! *Stages*: what is free, what waits and until when, what each covers up, and what its sign-off needs.
//!
//! It tells what was logged and what was not. It never says that work is safe or fit.

use std::collections::BTreeSet;

use askama::Template;
use ledger::site::StageListed;
use ledger::{Body, StageId};
use projections::stages::{Condition, Stage};

use crate::frame::{Frame, Tab};
use crate::look::Look;
use crate::screens::careful::{self, Careful};
use crate::shapes::Mark;
use projections::words;

/// Something that a stage's sign-off needs.
pub(crate) struct Need {
    pub(crate) there: bool,
    pub(crate) words: String,
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
    stages: Vec<StageRow>,
}

/// Fills the screen.
pub(crate) fn stages(look: &Look<'_>) -> Stages {
    let job = look.job.map(|job| job.job);
    let all = look.book.stages(&look.lists);
    let stages = all.iter().filter(|stage| Some(stage.job) == job);
    let title = look.job.map_or_else(|| "Stages".to_owned(), |job| format!("{} · stages", job.code));
    Stages {
        frame: look.frame(Tab::Stages, title),
        stages: stages
            .filter_map(|stage| Some(row(look, stage, look.lists.stages.get(&stage.stage)?)))
            .collect(),
    }
}

fn row(look: &Look<'_>, stage: &Stage, listed: &StageListed) -> StageRow {
    let is_off = stage.condition == Condition::SignedOff;
    let may_work = !is_off && stage.condition != Condition::Waiting;
    StageRow {
        name: listed.name.clone(),
        mark: Mark { condition: stage.condition },
        state: state(look, stage),
        waits: waits(look, stage),
        covers: names(look, &listed.covers),
        needs: needs(look, stage, listed),
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

/// How a stage stands, in words.
fn state(look: &Look<'_>, stage: &Stage) -> String {
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
        Condition::Free => "free".to_owned(),
        Condition::Waiting => "waits".to_owned(),
    }
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
    let mut needs: Vec<Need> = Vec::new();
    for wanted in &listed.needs_tests {
        let there = !stage.tests_missing.contains(wanted);
        let value = last_value(look, stage.stage, wanted);
        needs.push(Need {
            there,
            words: match (there, value) {
                (_, Some(value)) => format!("{wanted}: {value}"),
                (true, None) => wanted.clone(),
                (false, None) => format!("{wanted}: not logged"),
            },
        });
    }
    if listed.needs_photo {
        let there = !stage.photo_missing;
        let words = if there { "photo" } else { "photo: none yet" };
        needs.push(Need { there, words: words.to_owned() });
    }
    needs
}

fn last_value(look: &Look<'_>, stage: StageId, wanted: &str) -> Option<String> {
    let tests = look.book.entries().filter_map(|entry| match entry.body.as_ref() {
        Body::Test(test)
            if test.site.stage == Some(stage) && test.what.trim().eq_ignore_ascii_case(wanted.trim()) =>
        {
            Some((
                entry.act.logged_at,
                format!(
                    "{}, {} {}",
                    words::value(test.bound, test.value, &test.unit),
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
