//! Changes of what was said before: "no, eleven not ten", "scrub that last one".
//!
//! What changes is in this line or the entry just logged. Where it does not hold what the speaker says
//! it held, the speaker is asked.

use rust_decimal::Decimal;

use crate::amounts::plain;
use crate::clauses::{Clause, has_amount};
use crate::draft::{Draft, Scene, choice};
use crate::heard::{Column, Kind, Proposal};
use crate::pieces::{Piece, What};
use crate::signs::{Sign, find};
use crate::times::{clock_at, written};
use crate::words::{phrase_at, text_at};

const STRIKES: &[&str] = &[
    "scrub that",
    "scrub the last",
    "scrub it",
    "strike that",
    "cross that out",
    "cross out that",
    "cross that off",
    "delete that",
    "scratch that",
    "undo that",
    "get rid of that",
    "cross out the last",
];

const LEADS: &[&str] = &[
    "no",
    "sorry",
    "make that",
    "i mean",
    "i meant",
    "should be",
    "it should be",
    "should have been",
    "that should be",
    "that was",
    "actually",
    "correction",
];

/// After these anything named is the right value; after a bare "no" it must be a number.
const SURE_LEADS: &[&str] = &[
    "no it was",
    "no that was",
    "no it's",
    "make that",
    "i meant",
    "i mean",
    "should be",
    "should have been",
    "that should be",
    "it should be",
    "correction",
];

/// "Scrub that last one": shows the last entry, and strikes it once that is confirmed.
pub(crate) fn strike(scene: &Scene<'_>, clause: &Clause) -> Option<Draft> {
    find(scene.words(), clause.start(), clause.end(), STRIKES)?;
    if clause.has_head()
        && !clause.has(|piece| matches!(piece.what, What::Number(value) if value == Decimal::ONE))
    {
        return None;
    }
    let mut draft = Draft::new(Kind::Struck);
    draft.take_words(clause.start(), clause.end());
    match scene.last {
        Some(last) => {
            draft.set(Column::Corrects, key_of(last));
            draft.ask(format!("cross out {}?", in_words(last)), vec![choice("cross it out", [])], None);
        }
        None => draft.ask("cross out which entry?", Vec::new(), Some(Column::Corrects)),
    }
    Some(draft)
}

fn key_of(last: &Proposal) -> &str {
    if last.entry.is_empty() { "last" } else { &last.entry }
}

/// An entry in a few words: used 10 each elbow 15 push-fit.
fn in_words(entry: &Proposal) -> String {
    let columns = [
        Column::Quantity,
        Column::Unit,
        Column::What,
        Column::Stage,
        Column::From,
        Column::To,
        Column::Minutes,
    ];
    let parts = columns.into_iter().map(|column| entry.get(column)).filter(|text| !text.is_empty());
    std::iter::once(entry.kind.word()).chain(parts).collect::<Vec<_>>().join(" ")
}

/// Where a correction begins, and how many clauses it takes: "no" may have a comma after it.
pub(crate) fn is_correction(scene: &Scene<'_>, clauses: &[Clause]) -> Option<usize> {
    let clause = clauses.first()?;
    let words = scene.words();
    let start = (clause.start()..clause.end())
        .find(|at| !matches!(text_at(words, *at), "and" | "but" | "er" | "um" | "oh"))
        .unwrap_or(clause.start());
    let lead = LEADS.iter().filter_map(|lead| phrase_at(words, start, lead)).max();
    let is_value = |piece: &Piece| {
        piece.is_time()
            || matches!(
                piece.what,
                What::Number(_)
                    | What::Measure(..)
                    | What::Day(_)
                    | What::Job(_)
                    | What::Person(_)
                    | What::Name(..)
            )
    };
    // "No tiles today" corrects nothing: a correction has a value or says what it replaces.
    let has_number = |clause: &Clause| {
        clause.has(|piece| piece.is_time() || matches!(piece.what, What::Number(_) | What::Measure(..)))
    };
    let is_against = |clause: &Clause| {
        let at = clause
            .pieces
            .iter()
            .position(|piece| piece.is_sign(Sign::Not) && text_at(words, piece.start) == "not");
        at.is_some_and(|at| {
            clause.pieces.iter().take(at).any(is_value) && clause.pieces.get(at + 1).is_some_and(is_value)
        })
    };
    let is_plain = SURE_LEADS.iter().any(|lead| phrase_at(words, start, lead).is_some());
    match lead {
        Some(_) if is_plain && clause.has(is_value) => Some(1),
        Some(len) if start + len == clause.end() => {
            let next = clauses.get(1)?;
            (has_number(next) || is_against(next)).then_some(2)
        }
        Some(_) if has_number(clause) || is_against(clause) => Some(1),
        Some(_) => None,
        // "Six boards not seven" is an entry of its own, unless the last one says seven.
        None => {
            let first = clauses.get(..1)?;
            (is_against(clause) && (!is_whole(clause) || holds_old(scene, first))).then_some(1)
        }
    }
}

/// A clause that can be an entry by itself.
pub(crate) fn is_whole(clause: &Clause) -> bool {
    let names_stage = clause.has(|piece| matches!(piece.what, What::Name(_, Some(_))));
    has_amount(clause) || (clause.has_time() && names_stage)
}

/// Whether the last entry holds what this is said against.
fn holds_old(scene: &Scene<'_>, clauses: &[Clause]) -> bool {
    let Some(last) = scene.last else { return false };
    let said = said(scene, clauses);
    [Column::Quantity, Column::From, Column::To, Column::Minutes]
        .into_iter()
        .any(|column| old_value(scene, &said, column, last).is_some_and(|old| same(&old, last.get(column))))
}

/// What a correction says: the new values and the old ones.
struct Said<'a> {
    new: Vec<&'a Piece>,
    old: Vec<&'a Piece>,
}

fn said<'a>(scene: &Scene<'_>, clauses: &'a [Clause]) -> Said<'a> {
    let mut said = Said { new: Vec::new(), old: Vec::new() };
    let mut is_old = false;
    for piece in clauses.iter().flat_map(|clause| &clause.pieces) {
        if piece.is_sign(Sign::Not) {
            is_old = text_at(scene.words(), piece.start) == "not";
        } else if is_old {
            said.old.push(piece);
        } else {
            said.new.push(piece);
        }
    }
    said
}

/// Reads a correction into the draft before it in the line, or into one that corrects the last entry.
pub(crate) fn read(scene: &Scene<'_>, clauses: &[Clause], drafts: &mut Vec<Draft>) {
    let said = said(scene, clauses);
    let (start, end) = (clauses.first().map_or(0, Clause::start), clauses.last().map_or(0, Clause::end));
    if let Some(draft) = drafts.last_mut() {
        let kind = draft.kind;
        let before = draft.columns.clone();
        if let Some(changes) =
            changes(scene, kind, |column| before.get(&column).cloned().unwrap_or_default(), &said)
        {
            draft.take_words(start, end);
            let was: Vec<String> =
                changes.iter().filter_map(|(column, _)| before.get(column).cloned()).collect();
            if !was.is_empty() {
                draft.comes_to.clear();
                draft.show(format!("changed from {}", was.join(", ")));
            }
            for (column, value) in changes {
                draft.questions.retain(|asked| asked.typed != Some(column));
                draft.set(column, value);
            }
        }
        return;
    }
    let mut draft = Draft::new(Kind::Corrected);
    draft.take_words(start, end);
    let Some(last) = scene.last else {
        draft.note(&scene.line.said(start, end));
        draft.ask("which entry is that about?", Vec::new(), Some(Column::Corrects));
        drafts.push(draft);
        return;
    };
    draft.set(Column::Corrects, key_of(last));
    let Some(changes) = changes(scene, last.kind, |column| last.get(column).to_owned(), &said) else {
        draft.note(&scene.line.said(start, end));
        draft.ask(format!("what of it changes: {}?", in_words(last)), Vec::new(), Some(Column::Note));
        drafts.push(draft);
        return;
    };
    for (column, value) in changes {
        let was = last.get(column);
        draft.show(format!("{} was {was}", column.name()));
        let old = old_value(scene, &said, column, last);
        if old.as_deref().is_some_and(|old| !same(old, was)) {
            let label = format!("make it {value}");
            draft.ask(
                format!("the last one says {was}"),
                vec![choice(label, [(column, value.clone())])],
                None,
            );
        }
        draft.set(column, value);
    }
    drafts.push(draft);
}

fn same(one: &str, other: &str) -> bool {
    let value = |text: &str| Decimal::from_str_exact(text).ok();
    one == other || value(one).is_some_and(|one| Some(one) == value(other))
}

/// A piece as a time on the day of the entry that changes, where it can be one.
fn time_of(scene: &Scene<'_>, piece: &Piece, was: &str, is_end: bool) -> Option<String> {
    let clock = match &piece.what {
        What::From(clock) | What::Till(clock) | What::RangeOrTime(clock, _) => *clock,
        What::Number(_) => {
            clock_at(scene.words(), piece.start, false)
                .filter(|read| piece.start + read.len == piece.end)?
                .clock
        }
        _ => return None,
    };
    let day = was.get(..10)?;
    let minute = if is_end { clock.as_end_before(1439) } else { clock.as_start(false) };
    Some(format!("{day}T{}", written(minute)))
}

fn old_value(scene: &Scene<'_>, said: &Said<'_>, column: Column, last: &Proposal) -> Option<String> {
    said.old.iter().find_map(|piece| match (&piece.what, column) {
        (_, Column::From | Column::To) => time_of(scene, piece, last.get(column), column == Column::To),
        (What::Number(value) | What::Measure(value, _), Column::Quantity) => Some(plain(*value)),
        (What::Length(minutes), Column::Minutes) => Some(minutes.to_string()),
        _ => None,
    })
}

/// The columns that change and what they become.
fn changes(
    scene: &Scene<'_>,
    kind: Kind,
    was: impl Fn(Column) -> String,
    said: &Said<'_>,
) -> Option<Vec<(Column, String)>> {
    let mut changes: Vec<(Column, String)> = Vec::new();
    let has_span = !was(Column::From).is_empty() || !was(Column::To).is_empty();
    for (at, piece) in said.new.iter().enumerate() {
        match &piece.what {
            // Hours do not correct a material, nor bags a shift.
            _ if piece.is_time() && kind != Kind::Hours => return None,
            What::Measure(..) if kind == Kind::Hours => return None,
            What::Number(value) if kind.is_material() || kind == Kind::Reading => {
                changes.push((Column::Quantity, plain(*value)));
                if let Some(What::Unit(unit)) = said.new.get(at + 1).map(|piece| &piece.what) {
                    changes.push((Column::Unit, unit.clone()));
                }
            }
            What::Measure(value, unit) if kind.is_material() || kind == Kind::Reading => {
                changes.push((Column::Quantity, plain(*value)));
                changes.push((Column::Unit, unit.clone()));
            }
            What::Range(range) if kind == Kind::Hours && has_span => {
                let (from, to) = (was(Column::From), was(Column::To));
                let day = from.get(..10).or_else(|| to.get(..10))?.to_owned();
                let start = range.from.as_start(false);
                changes.push((Column::From, format!("{day}T{}", written(start))));
                changes.push((Column::To, format!("{day}T{}", written(range.to.as_end_after(start)))));
            }
            What::Number(_) | What::From(_) | What::Till(_) | What::RangeOrTime(..)
                if kind == Kind::Hours && has_span =>
            {
                let column = which_end(scene, piece, said, &was)?;
                changes.push((column, time_of(scene, piece, &was(column), column == Column::To)?));
            }
            What::Length(minutes) if kind == Kind::Hours && !has_span => {
                changes.push((Column::Minutes, minutes.to_string()))
            }
            What::Number(value) if kind == Kind::Hours => {
                let minutes =
                    value.checked_mul(Decimal::from(60)).filter(|minutes| minutes.fract().is_zero())?;
                changes.push((Column::Minutes, plain(minutes)));
            }
            What::Break(minutes) if kind == Kind::Hours => {
                changes.push((Column::BreakMin, minutes.to_string()))
            }
            What::Day(read) => changes.push((Column::DoneOn, read.day.to_string())),
            What::Job(code) => changes.push((Column::Job, code.clone())),
            What::Person(name) => changes.push((Column::Person, name.clone())),
            What::Name(Some(found), stages) if kind.is_material() => match found.items.as_slice() {
                [one] => changes.push((Column::What, scene.vocabulary().items.get(*one)?.name.clone())),
                _ => {
                    let _ = stages;
                    return None;
                }
            },
            What::Name(_, Some(found)) => {
                let job = was(Column::Job);
                let mut here = found.stages.iter().filter(|(code, _)| *code == job);
                let (Some((_, stage)), None) = (here.next(), here.next()) else { return None };
                changes.push((Column::Stage, stage.clone()));
            }
            _ => {}
        }
    }
    (!changes.is_empty()).then_some(changes)
}

/// Which end of a shift a lone time changes: the one that it is said against, or that its word names.
fn which_end(
    scene: &Scene<'_>,
    piece: &Piece,
    said: &Said<'_>,
    was: &impl Fn(Column) -> String,
) -> Option<Column> {
    match piece.what {
        What::From(_) => return Some(Column::From),
        What::Till(_) if text_at(scene.words(), piece.start) != "half" => return Some(Column::To),
        _ => {}
    }
    [Column::From, Column::To].into_iter().find(|column| {
        let old = was(*column);
        said.old
            .iter()
            .any(|piece| time_of(scene, piece, &old, *column == Column::To).is_some_and(|time| time == old))
    })
}
