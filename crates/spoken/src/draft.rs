//! A proposal in the making: its columns, the words it used, and what is still to ask about it.

use std::collections::{BTreeMap, BTreeSet};

use trade::Day;

use crate::days;
use crate::heard::{Ambiguity, Choice, Column, Kind, Proposal, Tone};
use crate::names::{Fit, Names};
use crate::pieces::Piece;
use crate::vocabulary::{Now, Vocabulary};
use crate::words::{Line, Word};

/// What every reader of a line needs.
pub(crate) struct Scene<'a> {
    pub(crate) line: &'a Line<'a>,
    pub(crate) names: &'a Names<'a>,
    pub(crate) now: &'a Now,
    pub(crate) last: Option<&'a Proposal>,
}

impl<'a> Scene<'a> {
    pub(crate) fn vocabulary(&self) -> &'a Vocabulary {
        self.names.vocabulary
    }

    pub(crate) fn words(&self) -> &'a [Word] {
        &self.line.words
    }
}

/// A proposal in the making.
#[derive(Debug, Clone)]
pub(crate) struct Draft {
    pub(crate) kind: Kind,
    pub(crate) columns: BTreeMap<Column, String>,
    pub(crate) words: BTreeSet<usize>,
    pub(crate) questions: Vec<Ambiguity>,
    pub(crate) remarks: Vec<(Tone, String)>,
    /// What it comes to, to be shown: 8 h, or 0.5 bag = 12.5 kg.
    pub(crate) comes_to: String,
    /// A word said that it was used: fitted, up.
    pub(crate) is_said_used: bool,
    /// Its clause has a word that is not known.
    pub(crate) has_unknown_word: bool,
    /// A word said that a pack was begun.
    pub(crate) is_opened: bool,
}

impl Draft {
    pub(crate) fn new(kind: Kind) -> Self {
        Self {
            kind,
            columns: BTreeMap::new(),
            words: BTreeSet::new(),
            questions: Vec::new(),
            remarks: Vec::new(),
            comes_to: String::new(),
            is_said_used: false,
            has_unknown_word: false,
            is_opened: false,
        }
    }

    pub(crate) fn get(&self, column: Column) -> &str {
        self.columns.get(&column).map_or("", String::as_str)
    }

    /// Fills a column; nothing is left out.
    pub(crate) fn set(&mut self, column: Column, value: impl Into<String>) {
        let value = value.into();
        if value.is_empty() {
            self.columns.remove(&column);
        } else {
            self.columns.insert(column, value);
        }
    }

    /// Adds to the note.
    pub(crate) fn note(&mut self, text: &str) {
        if text.is_empty() {
            return;
        }
        let before = self.get(Column::Note);
        let note = if before.is_empty() { text.to_owned() } else { format!("{before}; {text}") };
        self.set(Column::Note, note);
    }

    /// These words said it.
    pub(crate) fn take(&mut self, piece: &Piece) {
        self.words.extend(piece.start..piece.end);
    }

    pub(crate) fn take_words(&mut self, from: usize, to: usize) {
        self.words.extend(from..to);
    }

    pub(crate) fn show(&mut self, text: impl Into<String>) {
        self.remarks.push((Tone::Shown, text.into()));
    }

    pub(crate) fn caution(&mut self, text: &str) {
        self.remarks.push((Tone::Caution, text.to_owned()));
    }

    pub(crate) fn refuse(&mut self, text: impl Into<String>) {
        self.remarks.push((Tone::Refused, text.into()));
    }

    /// Asks what must be answered before this can be logged.
    pub(crate) fn ask(&mut self, question: impl Into<String>, choices: Vec<Choice>, typed: Option<Column>) {
        self.ask_about("", question, choices, typed);
    }

    /// Asks what a phrase means.
    pub(crate) fn ask_about(
        &mut self,
        phrase: &str,
        question: impl Into<String>,
        choices: Vec<Choice>,
        typed: Option<Column>,
    ) {
        let (question, phrase) = (question.into(), phrase.to_owned());
        self.questions.push(Ambiguity { about: 0, question, choices, typed, must: true, phrase });
    }

    /// Asks what may be skipped.
    pub(crate) fn offer(&mut self, question: impl Into<String>, choices: Vec<Choice>, typed: Option<Column>) {
        let question = question.into();
        self.questions.push(Ambiguity {
            about: 0,
            question,
            choices,
            typed,
            must: false,
            phrase: String::new(),
        });
    }

    /// Sets the day, where it is not today, and shows which day that is.
    pub(crate) fn on_day(&mut self, day: Option<Day>, now: &Now) {
        if let Some(day) = day.filter(|day| *day != now.day) {
            self.set(Column::DoneOn, day.to_string());
            self.show(days::shown(day));
        }
    }

    /// Shows what was taken for what, where the words only began alike.
    pub(crate) fn show_near(&mut self, fit: Fit, said: &str, meant: &str) {
        if fit == Fit::Near {
            self.show(format!("{meant}, heard from \"{said}\""));
        }
    }
}

/// An answer that fills some columns.
pub(crate) fn choice<const N: usize>(label: impl Into<String>, sets: [(Column, String); N]) -> Choice {
    Choice { label: label.into(), sets: BTreeMap::from(sets) }
}

/// How many stages are buttons.
const OFFERED: usize = 3;

/// The stages to press: the given ones, else those logged on last, and "no stage".
pub(crate) fn stage_choices(vocabulary: &Vocabulary, job: &str, stages: &[String]) -> Vec<Choice> {
    let of_job = vocabulary.job(job).map(|job| job.stages.as_slice()).unwrap_or_default();
    let has = |name: &String| of_job.iter().any(|stage| stage.name == *name);
    let mut offered: Vec<String> = stages.to_vec();
    if offered.is_empty() {
        let recent = vocabulary.recent_stages.iter().filter(|name| has(name)).cloned();
        offered = recent.take(OFFERED).collect();
        let others = of_job
            .iter()
            .map(|stage| stage.name.clone())
            .filter(|name| !vocabulary.recent_stages.contains(name));
        let missing = OFFERED.saturating_sub(offered.len());
        offered.extend(others.take(missing));
    }
    let mut choices: Vec<Choice> =
        offered.into_iter().map(|name| choice(name.clone(), [(Column::Stage, name)])).collect();
    if stages.is_empty() {
        choices.push(choice("no stage", [(Column::Stage, String::new())]));
    }
    choices
}
