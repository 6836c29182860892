//! Tests: a value off a dial, with its unit or bound, and what was said of how it was done.
//!
//! A value is compared with a limit that the crew has set, and the words are "within the limit set":
//! nothing here says that a thing is safe.

use rust_decimal::Decimal;
use trade::measure::catalogue::KINDS;
use trade::measure::kind_of;

use crate::amounts::plain;
use crate::clauses::{Clause, StageSaid, job_of, stage_said};
use crate::draft::{Draft, Scene, choice};
use crate::heard::{Choice, Column, Kind};
use crate::hours::spoken_length;
use crate::pieces::{Piece, What};
use crate::signs::find;
use crate::words::text_at;

/// How a kind of test of the catalogue is heard on site, beside its own names. Plain trade terms.
const TESTS: &[(&[&str], &str)] = &[
    (&["pressure test", "pressure tested", "on the gauge"], "pressure test"),
    (&["insulation test", "insulation resistance"], "insulation resistance"),
    (&["continuity", "ring test"], "continuity"),
    (&["hot tap", "hot outlet"], HOT_OUTLET),
    (&["cylinder", "hot water", "stored water"], STORED),
    (&["damp meter", "moisture meter", "moisture reading", "moisture content"], MOISTURE),
];

const MOISTURE: &str = "moisture";
const STORED: &str = "stored hot water";
const HOT_OUTLET: &str = "hot water temperature";
/// Where hot water is drawn, so that its temperature there is the outlet's and not the store's.
const OUTLETS: &[&str] = &["basin", "sink", "bath", "shower", "tap", "outlet"];

/// The unit of a kind of the catalogue, as it is said: degrees have no sign of their own. A damp meter reads
/// plaster and timber alike, and the catalogue has them apart.
fn unit_of(test: &str) -> Option<&'static str> {
    if test == MOISTURE {
        return Some("%");
    }
    kind_of(test).map(|kind| kind.unit.trim_start_matches('°'))
}

const HELD: &[&str] = &[
    "didn't move",
    "did not move",
    "didn't drop",
    "no drop",
    "no fall",
    "never moved",
    "held",
    "dead still",
];

const ABOVE: &[&str] = &["over", "above", "more than", "greater than", "better than", ">"];
const BELOW: &[&str] = &["under", "below", "less than", "lower than", "<"];

/// How plaster or a wall dries, by eye.
const BY_EYE: &[(&[&str], &str)] = &[
    (&["gone pale all over", "pale all over", "dried out pale", "gone pale"], "evenly pale"),
    (&["still dark", "still patchy", "patchy"], "still patchy"),
    (&["dry all over"], "dry all over"),
];

fn test_of(scene: &Scene<'_>, clause: &Clause) -> Option<(String, &'static str, usize, usize)> {
    let words = scene.words();
    let named = clause.pieces.iter().find_map(|piece| match &piece.what {
        What::Test(test) => Some((test.clone(), piece.start, piece.end)),
        _ => None,
    });
    if let Some((test, start, end)) = named {
        let by_words = || TESTS.iter().find(|(said, _)| said.iter().any(|said| test.contains(said)));
        let unit = unit_of(&test).or_else(|| by_words().and_then(|(_, name)| unit_of(name)));
        let unit = unit.unwrap_or(if test.contains("temperature") { "C" } else { "" });
        return Some((test, unit, start, end));
    }
    let heard = |said: &[&str], name: &'static str| {
        let (at, len) = find(words, clause.start(), clause.end(), said)?;
        Some((name.to_owned(), unit_of(name)?, at, at + len))
    };
    let is_drawn = find(words, clause.start(), clause.end(), OUTLETS).is_some();
    let kind = |name| if name == STORED && is_drawn { HOT_OUTLET } else { name };
    let by_words = TESTS.iter().find_map(|(said, name)| heard(said, kind(name)));
    // One word alone, like "level" or "insulation", is said of much that is no test.
    let is_telling = |name: &&str| name.contains(' ');
    by_words.or_else(|| {
        KINDS.iter().find_map(|kind| {
            let mut names = std::iter::once(kind.name).chain(kind.names.iter().copied()).filter(is_telling);
            names.find_map(|name| heard(&[name], kind.name))
        })
    })
}

/// The value of a clause: its pieces and its unit.
fn value_of(clause: &Clause) -> Option<(Decimal, Option<String>, Vec<usize>)> {
    let at =
        clause.pieces.iter().position(|piece| matches!(piece.what, What::Number(_) | What::Measure(..)))?;
    match &clause.pieces.get(at)?.what {
        What::Number(value) => match clause.pieces.get(at + 1).map(|piece| &piece.what) {
            Some(What::Unit(unit)) => Some((*value, Some(unit.clone()), vec![at, at + 1])),
            _ => Some((*value, None, vec![at])),
        },
        What::Measure(value, unit) => Some((*value, Some(unit.clone()), vec![at])),
        _ => None,
    }
}

/// How far a value fell is no value.
fn is_fall(scene: &Scene<'_>, clause: &Clause) -> bool {
    let falls = &["drop", "dropped", "fall", "fell", "lost", "down", "loss"];
    let words = scene.words();
    let held = find(words, clause.start(), clause.end(), HELD);
    find(words, clause.start(), clause.end(), falls).is_some() && held.is_none()
}

fn is_test_unit(unit: &str) -> bool {
    matches!(unit, "bar" | "megohm" | "ohm" | "C" | "%")
}

/// Reads a test that begins with this clause, and how many clauses it took.
pub(crate) fn read(scene: &Scene<'_>, clauses: &[Clause]) -> Option<(Draft, usize)> {
    let clause = clauses.first()?;
    if let Some(found) = by_eye(scene, clause) {
        return Some((found, 1));
    }
    let value = value_of(clause);
    let test = test_of(scene, clause);
    let has_item = clause.has(|piece| matches!(piece.what, What::Name(Some(_), None)));
    let is_named = test.is_some();
    let ((name, own_unit, start, end), (value, unit, at)) = match (test, value) {
        (Some(test), Some(value)) => (test, value),
        (None, Some((value, Some(unit), at)))
            if is_test_unit(&unit) && !has_item && !is_fall(scene, clause) =>
        {
            // A unit that only one kind of test has says which it is.
            let (_, name) =
                TESTS.iter().find(|(_, name)| *name != HOT_OUTLET && unit_of(name) == Some(&unit))?;
            let own = unit_of(name)?;
            (((*name).to_owned(), own, clause.start(), clause.start()), (value, Some(unit), at))
        }
        _ => return None,
    };
    let mut draft = Draft::new(Kind::Reading);
    draft.take_words(start, end);
    at.iter().filter_map(|at| clause.pieces.get(*at)).for_each(|piece| draft.take(piece));
    let number_at = at.first().and_then(|at| clause.pieces.get(*at)).map_or(0, |piece| piece.start);
    let bound = bound_before(scene, clause.start(), number_at, &mut draft);
    draft.set(Column::Job, job_of(scene, clause));
    draft.set(Column::What, name.clone());
    draft.set(Column::Quantity, format!("{bound}{}", plain(value)));
    let unit = unit.unwrap_or_else(|| own_unit.to_owned());
    draft.set(Column::Unit, unit.clone());
    if unit.is_empty() {
        draft.ask(format!("{} what?", plain(value)), Vec::new(), Some(Column::Unit));
    }
    draft.on_day(clause.about.day, scene.now);
    read_stage(scene, clause, &name, &mut draft);
    let mut count = 0;
    let mut minutes = None;
    for (number, more) in clauses.iter().enumerate() {
        let is_work = more.has(|piece| matches!(piece.what, What::Range(_) | What::From(_) | What::Till(_)));
        let is_amount = more.has(Piece::is_count) && number > 0;
        if is_work || is_amount {
            break;
        }
        minutes = minutes.or(read_conditions(scene, more, &mut draft));
        count = number + 1;
    }
    if !is_named && unit != "megohm" {
        draft.ask(format!("which test: {name}?"), vec![choice(name.clone(), [])], Some(Column::What));
    }
    if is_fall(scene, clause) {
        let fell = format!("fell {} {unit}", plain(value));
        let sets = [(Column::Quantity, String::new()), (Column::Unit, String::new()), (Column::Note, fell)];
        let choices = vec![choice("stood at", []), choice("fell by", sets)];
        draft.ask(format!("{} {unit}: what it stood at, or how far it fell?", plain(value)), choices, None);
    }
    compare(scene, &name, value, bound, &mut draft);
    ask_conditions(&name, minutes, &mut draft);
    Some((draft, count.max(1)))
}

fn bound_before(scene: &Scene<'_>, start: usize, at: usize, draft: &mut Draft) -> &'static str {
    let words = scene.words();
    for (phrases, sign) in [(ABOVE, ">"), (BELOW, "<")] {
        if let Some((found, len)) = find(words, start, at, phrases).filter(|(found, len)| found + len == at) {
            draft.take_words(found, found + len);
            return sign;
        }
    }
    ""
}

fn read_stage(scene: &Scene<'_>, clause: &Clause, test: &str, draft: &mut Draft) {
    let named: Vec<&Piece> =
        clause.pieces.iter().filter(|piece| matches!(piece.what, What::Name(None, Some(_)))).collect();
    if let StageSaid::One(_, stage, _) = stage_said(scene, clause, &named) {
        named.iter().for_each(|piece| draft.take(piece));
        draft.set(Column::Stage, stage);
        return;
    }
    let job = job_of(scene, clause);
    let stages = scene.vocabulary().job(&job).map(|job| job.stages.as_slice()).unwrap_or_default();
    let needing: Vec<&str> = stages
        .iter()
        .filter(|stage| stage.tests.iter().any(|own| own == test))
        .map(|stage| stage.name.as_str())
        .collect();
    if let [stage] = needing.as_slice() {
        draft.set(Column::Stage, *stage);
        draft.show(format!("on {stage}, which needs it"));
    }
}

/// Everything else that was said of the test, for its note. The minutes that it took, if said.
fn read_conditions(scene: &Scene<'_>, clause: &Clause, draft: &mut Draft) -> Option<u32> {
    let words = scene.words();
    let held = find(words, clause.start(), clause.end(), HELD);
    let mut minutes = None;
    // Where a run of words began, and where the last of them that carries something ended.
    let mut run: Option<(usize, usize)> = None;
    let mut notes = Vec::new();
    let close = |run: &mut Option<(usize, usize)>, notes: &mut Vec<String>| {
        if let Some((from, to)) = run.take() {
            notes.push(scene.line.said(from, to));
        }
    };
    for piece in &clause.pieces {
        let in_held = held.is_some_and(|(at, len)| piece.start < at + len && at < piece.end);
        if draft.words.contains(&piece.start) {
            close(&mut run, &mut notes);
            continue;
        }
        match &piece.what {
            _ if in_held => {
                close(&mut run, &mut notes);
                if held.is_some_and(|(at, _)| at >= piece.start) {
                    notes.push("no fall".to_owned());
                }
            }
            What::Length(length) => {
                close(&mut run, &mut notes);
                minutes = Some(*length);
                notes.push(format!("{length} min"));
            }
            What::Place(place) => {
                close(&mut run, &mut notes);
                draft.set(Column::Where, place.clone());
            }
            What::Filler if run.is_none() => continue,
            What::Job(_) | What::Day(_) | What::Person(_) => {}
            _ => {
                let (from, to) = run.unwrap_or((piece.start, piece.end));
                run = Some((from, if piece.carries_nothing() { to } else { piece.end }));
            }
        }
        draft.take(piece);
    }
    close(&mut run, &mut notes);
    notes.retain(|note| {
        !matches!(note.as_str(), "sitting" | "reading" | "got" | "says" | "showing" | "meter")
    });
    draft.note(&notes.join("; "));
    minutes
}

fn compare(scene: &Scene<'_>, test: &str, value: Decimal, bound: &str, draft: &mut Draft) {
    let Some(limit) = scene.vocabulary().limits.iter().find(|limit| limit.test == test) else { return };
    let is_low = limit.least.is_some_and(|least| value < least.value() || bound == "<");
    let is_high = limit.most.is_some_and(|most| value > most.value() || bound == ">");
    if is_low || is_high {
        draft.caution(&limit.outside);
    } else {
        draft.show("within the limit set");
    }
}

/// A choice that adds to the note.
fn noting(label: &str) -> Choice {
    choice(label, [(Column::Note, label.to_owned())])
}

fn ask_conditions(test: &str, minutes: Option<u32>, draft: &mut Draft) {
    if test.contains("pressure") {
        draft.caution("Test with water, not air; the maker's own procedure comes first.");
        let said = draft.get(Column::Note).to_lowercase();
        if !["plastic", "copper", "rigid", "metal"].iter().any(|word| said.contains(word)) {
            let choices = vec![noting("plastic"), noting("rigid")];
            draft.ask("plastic or rigid pipe?", choices, None);
        }
        if let Some(minutes) = minutes {
            let length = spoken_length(minutes);
            draft.show(format!("plastic pipe: a test in steps may not be finished after {length}"));
        }
    } else if test.contains("insulation") {
        draft.caution(
            "Dead, locked off and proved dead first, loads disconnected; notifiable work is for the registered electrician.",
        );
        if !draft.get(Column::Note).contains("volt") {
            let said = draft.get(Column::Note).to_owned();
            let circuits = if said.is_empty() {
                "which circuits, at 500 volts?".to_owned()
            } else {
                format!("{said}: at 500 volts?")
            };
            draft.ask(circuits, vec![noting("500 volts")], Some(Column::Note));
        }
    } else if test.contains("hot water") {
        draft.caution("Stored hot water scalds: it is let down by a mixing valve where people wash.");
    }
}

/// "Wall's gone pale all over": drying judged by eye, which has no number.
fn by_eye(scene: &Scene<'_>, clause: &Clause) -> Option<Draft> {
    let words = scene.words();
    let (at, len, judged) = BY_EYE.iter().find_map(|(said, judged)| {
        find(words, clause.start(), clause.end(), said).map(|(at, len)| (at, len, *judged))
    })?;
    let subject = (clause.start()..at)
        .find(|at| matches!(text_at(words, *at), "wall" | "walls" | "ceiling" | "plaster" | "skim" | "it"))?;
    if clause.has_head() {
        return None;
    }
    let mut draft = Draft::new(Kind::Reading);
    draft.set(Column::Job, job_of(scene, clause));
    draft.set(Column::What, "drying by eye");
    draft.set(Column::Note, judged);
    draft.on_day(clause.about.day, scene.now);
    draft.take_words(at, at + len);
    draft.take_words(clause.start(), at);
    draft
        .caution("Check by eye and touch before anything goes over it; the maker's drying time comes first.");
    let place = scene.line.said(clause.start(), subject + 1);
    let named = clause.pieces.iter().find_map(|piece| match &piece.what {
        What::Place(place) => {
            draft.take(piece);
            Some(place.clone())
        }
        _ => None,
    });
    match named {
        Some(place) => draft.set(Column::Where, place),
        None => {
            let places = scene
                .vocabulary()
                .places
                .iter()
                .map(|place| choice(place.clone(), [(Column::Where, place.clone())]));
            draft.ask(
                format!("which {}?", place.trim_start_matches("the ").trim_end_matches("'s")),
                places.collect(),
                Some(Column::Where),
            );
        }
    }
    Some(draft)
}
