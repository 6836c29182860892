//! How a stage or a snag stands: ready for checking, signed off, put right.
//!
//! A hand reports and does not sign off; which tests are missing is named, never judged.

use crate::clauses::{Clause, StageSaid, job_of, stage_said};
use crate::draft::{Draft, Scene, choice, stage_choices};
use crate::heard::{Column, Kind};
use crate::pieces::{Piece, What};
use crate::signs::find;
use crate::words::text_at;

const DONE: &[&str] = &[
    "done",
    "finished",
    "complete",
    "all done",
    "ready for checking",
    "ready to check",
    "completed",
    "ready",
];
const CLEARED: &[&str] = &["sorted", "fixed", "put right", "made good", "cleared", "all sorted", "done"];

/// The pieces of a clause that name a stage.
pub(crate) fn stage_pieces(clause: &Clause) -> Vec<&Piece> {
    clause.pieces.iter().filter(|piece| matches!(piece.what, What::Name(_, Some(_)))).collect()
}

/// Fills the stage that a clause names, or asks which.
fn write_stage(scene: &Scene<'_>, clause: &Clause, draft: &mut Draft) -> bool {
    match stage_said(scene, clause, &stage_pieces(clause)) {
        StageSaid::One(_, stage, _) => draft.set(Column::Stage, stage),
        StageSaid::Several(stages) => {
            let choices = stage_choices(scene.vocabulary(), &job_of(scene, clause), &stages);
            draft.ask("which stage?", choices, Some(Column::Stage));
        }
        StageSaid::OtherJob(code, stage) => {
            let sets = [(Column::Job, code.clone()), (Column::Stage, stage.clone())];
            draft.ask(format!("{stage} is a stage of {code}: there?"), vec![choice(code, sets)], None);
        }
        StageSaid::None => return false,
    }
    true
}

/// "Boarding signed off".
pub(crate) fn signed_off(scene: &Scene<'_>, clause: &Clause) -> Option<Draft> {
    find(scene.words(), clause.start(), clause.end(), &["signed off", "sign off", "signing off"])?;
    if clause.has_head() {
        return None;
    }
    let mut draft = Draft::new(Kind::SignedOff);
    draft.set(Column::Job, job_of(scene, clause));
    draft.take_words(clause.start(), clause.end());
    if !write_stage(scene, clause, &mut draft) {
        draft.ask(
            "which stage?",
            stage_choices(scene.vocabulary(), &job_of(scene, clause), &[]),
            Some(Column::Stage),
        );
    }
    if !scene.vocabulary().may_sign_off {
        draft.refuse("the foreman or the boss signs off");
        let sets = [(Column::Kind, Kind::Ready.word().to_owned())];
        draft.ask("send \"ready for checking\" instead?", vec![choice("ready for checking", sets)], None);
    }
    Some(draft)
}

const EXCEPT: &[&str] = &["apart from", "except", "bar the", "other than", "but not"];

/// "First fix water's done", "skim and boarding are done": one for each stage.
pub(crate) fn ready(scene: &Scene<'_>, clause: &Clause) -> Option<Vec<Draft>> {
    let words = scene.words();
    let named = stage_pieces(clause);
    if clause.has_head() || named.is_empty() {
        return None;
    }
    find(words, clause.start(), clause.end(), DONE)?;
    let except = find(words, clause.start(), clause.end(), EXCEPT);
    let until = except.map_or(clause.end(), |(at, _)| at);
    let mut drafts = Vec::new();
    for piece in named.into_iter().filter(|piece| piece.start < until) {
        let mut draft = Draft::new(Kind::Ready);
        draft.set(Column::Job, job_of(scene, clause));
        draft.take_words(clause.start(), clause.end());
        let mut own = clause.clone();
        own.pieces
            .retain(|other| other.start == piece.start || !matches!(other.what, What::Name(_, Some(_))));
        if !write_stage(scene, &own, &mut draft) {
            let choices = stage_choices(scene.vocabulary(), &job_of(scene, clause), &[]);
            draft.ask("which stage?", choices, Some(Column::Stage));
        }
        if except.is_some() {
            let said = scene.line.said(clause.start(), clause.end());
            let left = [(Column::Kind, Kind::LeftOff.word().to_owned()), (Column::Note, said)];
            let choices = vec![choice("ready for checking", []), choice("left off", left)];
            draft.ask("ready for checking, or left off with that to do?", choices, None);
        }
        show_missing_tests(scene, &mut draft);
        drafts.push(draft);
    }
    (!drafts.is_empty()).then_some(drafts)
}

/// The tests that the stage's sign-off needs and that this person has not logged.
fn show_missing_tests(scene: &Scene<'_>, draft: &mut Draft) {
    let vocabulary = scene.vocabulary();
    let stages = vocabulary.job(draft.get(Column::Job)).map(|job| job.stages.as_slice()).unwrap_or_default();
    let is_logged = |test: &str| {
        let mut recent = vocabulary.recent.iter();
        recent.any(|entry| entry.kind == Kind::Reading && entry.get(Column::What) == test)
    };
    let own = stages.iter().filter(|own| own.name == draft.get(Column::Stage)).flat_map(|own| &own.tests);
    let missing: Vec<&str> = own.map(String::as_str).filter(|test| !is_logged(test)).collect();
    if !missing.is_empty() {
        draft.show(format!("not seen among your entries: {}", missing.join(", ")));
    }
}

/// "That chip's sorted".
pub(crate) fn cleared(scene: &Scene<'_>, clause: &Clause) -> Option<Draft> {
    if clause.has_head() {
        return None;
    }
    let words = scene.words();
    let (at, _) = find(words, clause.start(), clause.end(), CLEARED)?;
    let begins = matches!(text_at(words, clause.start()), "that" | "the" | "those" | "snag");
    if !begins || at == clause.start() {
        return None;
    }
    let said: Vec<&str> =
        (clause.start() + 1..at).map(|at| text_at(words, at)).filter(|text| text.len() > 2).collect();
    let fits = |snag: &&String| {
        let lower = snag.to_lowercase();
        said.iter().any(|word| lower.split(' ').any(|own| own == *word || own.trim_end_matches('s') == *word))
    };
    let open: Vec<&String> = scene.vocabulary().open_snags.iter().filter(fits).collect();
    let is_snag = said.contains(&"snag") || !open.is_empty();
    if !is_snag {
        return None;
    }
    let mut draft = Draft::new(Kind::Cleared);
    draft.set(Column::Job, job_of(scene, clause));
    draft.take_words(clause.start(), clause.end());
    match open.as_slice() {
        [one] => draft.set(Column::What, (*one).clone()),
        several => {
            let offered: Vec<&String> = if several.is_empty() {
                scene.vocabulary().open_snags.iter().collect()
            } else {
                several.to_vec()
            };
            let choices = offered
                .into_iter()
                .map(|snag| choice(snag.clone(), [(Column::What, snag.clone())]))
                .collect();
            draft.ask("which snag?", choices, Some(Column::What));
        }
    }
    Some(draft)
}
