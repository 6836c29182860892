//! Things that went from one place to another: off the van, over to the other job.
//!
//! A place that is not named is the job that was chosen. A move without both ends is none.

use crate::clauses::Clause;
use crate::draft::{Draft, Scene, choice};
use crate::heard::{Column, Kind};
use crate::pieces::{Piece, What};
use crate::signs::Sign;
use crate::words::text_at;

/// The van, as a row has it.
const VAN: &str = "van";

/// Where things were, and where they went: the van, or a job's code.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Ends {
    out_of: String,
    into: String,
    /// The words that named them: from each to before the next.
    said: Vec<(usize, usize)>,
}

/// The ends that a clause names.
pub(crate) fn ends(scene: &Scene<'_>, clause: &Clause) -> Option<Ends> {
    let end = |lead: &str| clause.pieces.iter().find_map(|piece| place_behind(scene, piece, lead));
    let chosen = Some(&scene.vocabulary().current_job).filter(|job| !job.is_empty()).cloned();
    let (from, to) = (end("from"), end("to"));
    if from.is_none() && to.is_none() {
        return None;
    }
    let said = [&from, &to].into_iter().flatten().map(|(_, words)| *words).collect();
    let place = |end: Option<(String, _)>| end.map(|(place, _)| place).or_else(|| chosen.clone());
    let (out_of, into) = (place(from)?, place(to)?);
    (out_of != into).then_some(Ends { out_of, into, said })
}

/// The place of a piece that stands behind "from" or "to", and the words that say it.
fn place_behind(scene: &Scene<'_>, piece: &Piece, lead: &str) -> Option<(String, (usize, usize))> {
    let words = scene.words();
    match &piece.what {
        What::Job(code) => {
            let is_between = |at: &usize| matches!(text_at(words, *at), "the" | "job");
            let before = (0..piece.start).rev().find(|at| !is_between(at))?;
            // "Over to the mill", "across from the garage".
            let over = before
                .checked_sub(1)
                .filter(|at| matches!(text_at(words, *at), "over" | "across" | "up" | "down" | "back"));
            let from = over.unwrap_or(before);
            (text_at(words, before) == lead).then(|| (code.clone(), (from, piece.end)))
        }
        // "From the van", "off the van".
        What::Sign(Sign::Moved) => {
            let is_van = text_at(words, piece.end.checked_sub(1)?) == VAN;
            (is_van && lead == "from").then(|| (VAN.to_owned(), (piece.start, piece.end)))
        }
        _ => None,
    }
}

impl Ends {
    /// Whether both are jobs: what is on its way to another job was not used on the way.
    pub(crate) fn are_jobs(&self) -> bool {
        self.out_of != VAN && self.into != VAN
    }

    /// Makes a draft of a move between jobs say it.
    pub(crate) fn write(&self, draft: &mut Draft) {
        draft.set(Column::Job, self.out_of.clone());
        self.said.iter().for_each(|(from, to)| draft.take_words(*from, *to));
        draft.set(Column::OutOf, self.out_of.clone());
        draft.set(Column::Into, self.into.clone());
    }

    /// What was fetched may have been used at once.
    pub(crate) fn ask(&self, draft: &mut Draft) {
        let moved = [
            (Column::Kind, Kind::Moved.word().to_owned()),
            (Column::OutOf, self.out_of.clone()),
            (Column::Into, self.into.clone()),
        ];
        draft.ask("used, or only moved?", vec![choice("used", []), choice("only moved", moved)], None);
    }
}
