//! One line, typed or dictated, into proposed entries.
//!
//! [`understand`] takes a line and what the crew's words mean, and gives back what the line seems to
//! say: proposals to look at, questions that one press answers, and the words that were not understood.
//! It logs nothing, reads no clock, and guesses nothing: what has two readings is asked, and every word
//! of the line is either used by a proposal or listed as not understood.

mod amounts;
mod changes;
mod clauses;
mod days;
mod doubts;
mod draft;
mod extras;
mod heard;
mod hours;
mod lengths;
mod logged;
mod materials;
mod moves;
mod names;
mod numbers;
mod pieces;
mod progress;
mod purchases;
mod reader;
mod readings;
mod remains;
mod sayings;
mod signs;
mod times;
mod units;
mod vocabulary;
mod words;

pub use heard::{Ambiguity, Choice, Column, Heard, Kind, NotARow, Proposal, Remark, Span, Tone, alias};
pub use reader::understand;
pub use vocabulary::{Alias, Item, Job, Limit, Meaning, Now, Pack, Stage, Vocabulary};
