//! Folds of the ledger into what people read: hours, materials, stages, questions and bills.
//!
//! Everything here is pure: no clock, no randomness, no I/O. A [`Book`] takes events in, in any
//! order and any number of times, and answers from their set; what needs the present moment is
//! given it. Every answer can name the entries that made it.

mod authorship;
pub mod billing;
pub mod book;
pub mod books;
pub mod cautions;
mod change;
pub mod closing;
pub mod day_plan;
pub mod entry;
pub mod evidence;
pub mod extras;
mod facts;
pub mod filing;
pub mod fill_ins;
pub mod handover;
pub mod judged;
mod list_heads;
pub mod lists;
pub mod log;
pub mod materials;
pub mod other_costs;
pub mod pay;
pub mod photos;
pub mod places;
pub mod presence;
pub mod questions;
pub mod quotes;
pub mod readiness;
pub mod reconcile;
mod row;
pub mod schedule;
mod set_aside;
pub mod snags;
pub mod stages;
pub mod time_on_job;
mod time_terms;
pub mod why;
pub mod words;

pub use authorship::Authorship;
pub use book::{Book, Logged, Taken};
pub use day_plan::day_plan;
pub use entry::Entry;
pub use evidence::Evidence;
pub use extras::{AgreedExtra, Answer, agreed_extras};
pub use filing::{Filed, Filing};
pub use fill_ins::{Gap, fill_ins, wet};
pub use judged::{judged, judged_entry, series};
pub use lists::{Dated, Lists, room_key};
pub use log::log;
pub use other_costs::OtherCosts;
pub use photos::{Eyes, Naming, photos_of};
pub use questions::{Question, QuestionKind, questions, timers_left_running};
pub use readiness::{Readiness, readiness};
pub use reconcile::reconcile;
pub use schedule::slips;
pub use set_aside::set_aside;
pub use stages::stages;
pub use why::why;
pub use words::kind_words;
