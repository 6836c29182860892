//! Words that were not used and that may change what was: a number, "maybe", "last week".
//!
//! Most words left over are talk, and the rest stands without them. These are not: where one is left
//! over, the proposal beside it is asked about before it counts.

use crate::clauses::Clause;
use crate::draft::{Draft, Scene, choice};
use crate::pieces::{Piece, What};
use crate::signs::Sign;
use crate::words::text_at;

/// Words that say that something is not so, not yet, not exactly or not then.
const DOUBTS: &[&str] = &[
    "maybe",
    "perhaps",
    "probably",
    "possibly",
    "might",
    "would",
    "should",
    "could",
    "will",
    "won't",
    "if",
    "think",
    "reckon",
    "guess",
    "or",
    "about",
    "around",
    "almost",
    "least",
    "most",
    "than",
    "over",
    "under",
    "third",
    "thirds",
    "twice",
    "minus",
    "week",
    "weeks",
    "night",
    "nights",
    "month",
    "except",
    "apart",
    "who",
    "whose",
    "why",
    "how",
    "ordered",
    "order",
    "need",
    "needs",
    "missing",
    "short",
    "cancelled",
    "ago",
    "double",
    "ish",
    "another",
    "bit",
];

/// Asks about each proposal beside which such a word is left over.
pub(crate) fn ask(scene: &Scene<'_>, clauses: &[Clause], drafts: &mut [Draft]) {
    for clause in clauses {
        let is_left = |piece: &&Piece| !drafts.iter().any(|draft| draft.words.contains(&piece.start));
        let left: Vec<Piece> =
            clause.pieces.iter().filter(is_left).filter(|piece| is_doubt(scene, piece)).cloned().collect();
        let (Some(first), Some(last)) = (left.first(), left.last()) else { continue };
        let said = scene.line.said(first.start, last.end);
        let words = clause.start()..clause.end();
        let is_beside = |draft: &Draft| draft.words.iter().any(|at| words.contains(at));
        let any_beside = drafts.iter().any(is_beside);
        // "Four hours boarding, maybe five": what stands alone is about what was said before it.
        let before =
            drafts.iter().rposition(|draft| draft.words.first().is_some_and(|at| *at < clause.start()));
        for (number, draft) in drafts.iter_mut().enumerate() {
            let is_meant = if any_beside {
                draft.words.iter().any(|at| words.contains(at))
            } else {
                before == Some(number)
            };
            if is_meant {
                draft.ask(
                    format!("\"{said}\" was not understood: log the rest?"),
                    vec![choice("yes", [])],
                    None,
                );
            }
        }
    }
}

fn is_doubt(scene: &Scene<'_>, piece: &Piece) -> bool {
    match &piece.what {
        What::Number(_)
        | What::Sounds(_)
        | What::Measure(..)
        | What::EitherMeasure(..)
        | What::OtherSize
        | What::Units(_)
        | What::Range(_)
        | What::RangeOrTime(..)
        | What::From(_)
        | What::Till(_)
        | What::Length(_)
        | What::SomeTime
        | What::Break(_)
        | What::DayPart { .. }
        | What::Person(_)
        | What::Ahead
        | What::Day(_) => true,
        What::Sign(sign) => matches!(sign, Sign::Vague | Sign::About | Sign::Not),
        What::Unknown | What::Filler | What::And => {
            (piece.start..piece.end).any(|at| DOUBTS.contains(&text_at(scene.words(), at)))
        }
        // "Four hours boarding each".
        What::Unit(unit) => unit == "each",
        What::Name(..) | What::Test(_) | What::Job(_) | What::Place(_) => false,
    }
}
