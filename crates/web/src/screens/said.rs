//! What was made of a line that somebody said or typed: proposals to tick, questions that one press
//! answers, and the words that nothing was made of. Nothing is logged before the button is pressed.
//!
//! The screen keeps no state of its own: each form carries the line and the answers given so far
//! (`question.choice`, with blanks between), and the line is read anew with them.

use askama::Template;

use crate::frame::Frame;

/// A word of the line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Word {
    pub(crate) text: String,
    pub(crate) understood: bool,
}

/// An entry as it would be logged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Proposed {
    /// What it says, in the words of the list of entries.
    pub(crate) text: String,
    /// It can be logged as it stands.
    pub(crate) ready: bool,
    /// What is to be shown beside it.
    pub(crate) remarks: Vec<String>,
}

/// A question.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct OneAsked {
    pub(crate) question: String,
    /// The words of each answer.
    pub(crate) choices: Vec<String>,
    /// A proposal waits for it.
    pub(crate) must: bool,
}

/// The screen.
#[derive(Template)]
#[template(path = "said.html")]
pub(crate) struct Said {
    pub(crate) frame: Frame,
    /// The line as it was said.
    pub(crate) line: String,
    pub(crate) words: Vec<Word>,
    pub(crate) proposals: Vec<Proposed>,
    pub(crate) questions: Vec<OneAsked>,
    /// What is to be shown for the line as a whole.
    pub(crate) remarks: Vec<String>,
    /// The answers given so far.
    pub(crate) answers: String,
}

impl Said {
    /// Whether anything can be logged.
    fn has_ready(&self) -> bool {
        self.proposals.iter().any(|proposed| proposed.ready)
    }

    /// Whether there are words that nothing was made of.
    fn has_unknown(&self) -> bool {
        self.words.iter().any(|word| !word.understood)
    }
}
