//! What is said in words and not in numbers: snags, extras, what is left off, what is done, days off.
//!
//! The words are kept as they were said. A caution defers to whoever is licensed.

use crate::clauses::{Clause, StageSaid, job_of, stage_said};
use crate::days::{ahead_at, day_at, shown};
use crate::draft::{Draft, Scene, choice, stage_choices};
use crate::heard::{Column, Kind};
use crate::pieces::{Piece, What};
use crate::signs::find;
use crate::words::{Stop, phrase_at, text_at};
use crate::{extras, progress};

const AWAY: &[&str] = &[
    "i'm off",
    "i am off",
    "i'll be off",
    "off sick",
    "not in",
    "won't be in",
    "day off",
    "on holiday",
    "i'm away",
    "is off",
];
const LEFT_OFF: &[&str] = &[
    "left off",
    "locked off",
    "isn't made off",
    "not made off",
    "isn't connected",
    "not connected",
    "taped back",
    "taped up",
    "nobody touch",
    "don't touch",
    "do not touch",
    "off at the stopcock",
    "off at the board",
    "turned off",
    "is off",
    "'s off",
    "still off",
    "still live",
    "is live",
    "'s live",
    "still wet",
    "is wet",
    "'s wet",
    "left like this",
    "capped off",
    "still to do",
    "still to skim",
    "still to finish",
    "left open",
    "isolated",
    "not done",
    "isn't done",
    "isn't finished",
    "nearly done",
    "nearly finished",
    "almost done",
    "almost finished",
    "not live",
    "not finished",
];
const AHEAD: &[&str] = &[
    "need",
    "needs",
    "order",
    "ordered",
    "short of",
    "run out of",
    "out of",
    "need to",
    "needs to",
    "got to",
    "going to",
    "gonna",
    "remember to",
    "we'll",
];

/// Reads a saying that begins with this clause, and how many clauses it took.
pub(crate) fn read(scene: &Scene<'_>, clauses: &[Clause]) -> Option<(Vec<Draft>, usize)> {
    let clause = clauses.first()?;
    same_again(scene, clause)
        .map(|drafts| (drafts, 1))
        .or_else(|| snag_or_note(scene, clauses).map(|(draft, len)| (vec![draft], len)))
        .or_else(|| away(scene, clauses).map(|(draft, len)| (vec![draft], len)))
        .or_else(|| extras::read(scene, clauses).map(|(draft, len)| (vec![draft], len)))
        .or_else(|| plan(scene, clauses).map(|(draft, len)| (vec![draft], len)))
        .or_else(|| progress::signed_off(scene, clause).map(|draft| (vec![draft], 1)))
        .or_else(|| left_off(scene, clauses).map(|(draft, len)| (vec![draft], len)))
        .or_else(|| progress::ready(scene, clause).map(|drafts| (drafts, 1)))
        .or_else(|| progress::cleared(scene, clause).map(|draft| (vec![draft], 1)))
}

/// The first word of a clause that carries something.
fn first_word(scene: &Scene<'_>, clause: &Clause) -> usize {
    let carries = |at: &usize| {
        !matches!(text_at(scene.words(), *at), "and" | "then" | "but" | "the" | "a" | "new" | "got")
    };
    (clause.start()..clause.end()).find(carries).unwrap_or(clause.start())
}

/// How many clauses belong to one saying: all up to the next sentence, or to the next work.
pub(crate) fn reach(clauses: &[Clause], stops_at_work: bool) -> usize {
    let goes_on = |clause: &&Clause| {
        let is_full = clause.pieces.first().is_some_and(|piece| piece.stop == Stop::Full);
        let is_work = clause.has_time() || clause.has(Piece::is_count);
        let is_other_work = stops_at_work && is_work;
        !is_full && !is_other_work
    };
    1 + clauses.iter().skip(1).take_while(goes_on).count()
}

pub(crate) fn end_of(clauses: &[Clause], len: usize) -> usize {
    len.checked_sub(1).and_then(|last| clauses.get(last)).map_or(0, Clause::end)
}

fn first_place(clauses: &[Clause]) -> Option<&Piece> {
    clauses.iter().flat_map(|clause| &clause.pieces).find(|piece| matches!(piece.what, What::Place(_)))
}

fn snag_or_note(scene: &Scene<'_>, clauses: &[Clause]) -> Option<(Draft, usize)> {
    let clause = clauses.first()?;
    let at = first_word(scene, clause);
    let kind = match text_at(scene.words(), at) {
        "snag" | "snags" => Kind::Snag,
        "note" => Kind::Note,
        _ => return None,
    };
    let len = reach(clauses, false);
    let end = end_of(clauses, len);
    let mut draft = Draft::new(kind);
    draft.set(Column::Job, job_of(scene, clause));
    draft.take_words(clause.start(), end);
    let place = first_place(clauses.get(..len)?);
    // Where a place is said, what follows it says where more nearly.
    let split = place.map_or(end, |piece| piece.start);
    let note = scene.line.said(at + 1, split);
    if kind == Kind::Snag && split > at + 1 {
        draft.set(Column::Where, scene.line.said(split, end));
        draft.note(&note);
    } else {
        draft.note(&scene.line.said(at + 1, end));
    }
    if draft.get(Column::Note).is_empty() {
        draft.ask("what is there to know?", Vec::new(), Some(Column::Note));
    }
    if kind == Kind::Snag {
        draft.offer("a photo?", vec![choice("later", [])], None);
    }
    Some((draft, len))
}

fn away(scene: &Scene<'_>, clauses: &[Clause]) -> Option<(Draft, usize)> {
    let clause = clauses.first()?;
    let words = scene.words();
    let (at, len) = find(words, clause.start(), clause.end(), AWAY)?;
    let is_work =
        |piece: &Piece| (piece.is_time() && !matches!(piece.what, What::DayPart { .. })) || piece.is_count();
    if clause.has(is_work) || text_at(words, at + len) == "at" {
        return None;
    }
    let person = clause.pieces.iter().find_map(|piece| match &piece.what {
        What::Person(name) => Some(name.clone()),
        _ => None,
    });
    if text_at(words, at) == "is" && person.is_none() {
        return None;
    }
    let day = (clause.start()..clause.end()).find_map(|at| {
        if ahead_at(words, at).is_some() && text_at(words, at) == "tomorrow" {
            return Some(scene.now.day.plus_days(1));
        }
        day_at(words, at, scene.now.day, true).map(|read| read.day)
    });
    let mut draft = Draft::new(Kind::Away);
    match day {
        Some(day) => {
            draft.set(Column::DoneOn, day.to_string());
            draft.show(shown(day));
        }
        None => draft.ask(
            "which day?",
            vec![choice("today", [(Column::DoneOn, scene.now.day.to_string())])],
            Some(Column::DoneOn),
        ),
    }
    draft.set(Column::Person, person.unwrap_or_default());
    let taken = reach(clauses, true);
    draft.take_words(clause.start(), end_of(clauses, taken));
    if clause.has(|piece| matches!(piece.what, What::DayPart { is_half: true })) {
        draft.note("half a day");
    }
    draft.note(&scene.line.said(clause.end(), end_of(clauses, taken)));
    draft.show("the reason is kept to the office");
    Some((draft, taken))
}

fn plan(scene: &Scene<'_>, clauses: &[Clause]) -> Option<(Draft, usize)> {
    let clause = clauses.first()?;
    let is_ahead = clause.has(|piece| matches!(piece.what, What::Ahead))
        || find(scene.words(), clause.start(), clause.end(), AHEAD)
            .is_some_and(|(at, _)| at <= clause.start() + 1);
    if !is_ahead {
        return None;
    }
    let taken = reach(clauses, true);
    let end = end_of(clauses, taken);
    let mut draft = Draft::new(Kind::Plan);
    draft.set(Column::Job, job_of(scene, clause));
    draft.take_words(clause.start(), end);
    draft.set(Column::What, scene.line.said(clause.start(), end));
    draft.ask("that is a plan: put it on the list for then?", vec![choice("put it on the list", [])], None);
    Some((draft, taken))
}

fn left_off(scene: &Scene<'_>, clauses: &[Clause]) -> Option<(Draft, usize)> {
    let clause = clauses.first()?;
    find(scene.words(), clause.start(), clause.end(), LEFT_OFF)?;
    let is_pack = clause.has(|piece| piece.is_sign(crate::signs::Sign::NotFinished));
    let has_stage_or_thing = clause.pieces.len() > 1;
    if clause.has_head() || (is_pack && !has_stage_or_thing) {
        return None;
    }
    let taken = reach(clauses, true);
    let end = end_of(clauses, taken);
    let mut draft = Draft::new(Kind::LeftOff);
    draft.set(Column::Job, job_of(scene, clause));
    draft.take_words(clause.start(), end);
    draft.note(&scene.line.said(clause.start(), end));
    if let Some(What::Place(place)) = first_place(clauses.get(..taken)?).map(|piece| &piece.what) {
        draft.set(Column::Where, place.clone());
    }
    let is_wired = find(
        scene.words(),
        clause.start(),
        end,
        &["made off", "tails", "feed", "cable", "cables", "taped back", "live", "board"],
    );
    if is_wired.is_some() {
        draft.caution("Ends left off are not live until made off and tested; locked off and proved dead before touching.");
    }
    // "Board" is the fuse board here and "live" no stage: only a stage's own name in full names it.
    let named = clauses.get(..taken)?.iter().flat_map(progress::stage_pieces).find_map(|piece| {
        let said = scene.line.said(piece.start, piece.end).to_lowercase();
        match stage_said(scene, clause, &[piece]) {
            StageSaid::One(_, stage, _) if stage == said => Some(stage),
            StageSaid::One(..) | StageSaid::Several(_) | StageSaid::OtherJob(..) | StageSaid::None => None,
        }
    });
    if let Some(stage) = named {
        draft.set(Column::Stage, stage);
    } else {
        let choices = stage_choices(scene.vocabulary(), &job_of(scene, clause), &[]);
        draft.offer("which stage?", choices, Some(Column::Stage));
    }
    draft.show("first on everyone's screen");
    Some((draft, taken))
}

/// "Same as yesterday": that day's entries with today's date, each to be ticked.
fn same_again(scene: &Scene<'_>, clause: &Clause) -> Option<Vec<Draft>> {
    let words = scene.words();
    let (at, len) = find(words, clause.start(), clause.end(), &["same as", "same again as", "the same as"])?;
    let read = day_at(words, at + len, scene.now.day, false)?;
    if phrase_at(words, clause.start(), "not").is_some() {
        return None;
    }
    let (day, today) = (read.day.to_string(), scene.now.day.to_string());
    let on_day = |column: &str| column.starts_with(&day);
    let entries = scene
        .vocabulary()
        .recent
        .iter()
        .filter(|entry| on_day(entry.get(Column::From)) || on_day(entry.get(Column::DoneOn)));
    let drafts: Vec<Draft> = entries
        .filter(|entry| !matches!(entry.kind, Kind::Corrected | Kind::Struck))
        .map(|entry| {
            let mut draft = Draft::new(entry.kind);
            draft.columns = entry.columns.clone();
            draft.columns.remove(&Column::DoneOn);
            for column in [Column::From, Column::To] {
                let moved = entry.get(column).replacen(&day, &today, 1);
                draft.set(column, moved);
            }
            draft.take_words(clause.start(), clause.end());
            draft.ask(format!("the same today, from {}?", shown(read.day)), vec![choice("yes", [])], None);
            draft
        })
        .collect();
    if drafts.is_empty() {
        let mut draft = Draft::new(Kind::Note);
        draft.take_words(clause.start(), clause.end());
        draft.refuse(format!("nothing of yours is known from {}", shown(read.day)));
        return Some(vec![draft]);
    }
    Some(drafts)
}
