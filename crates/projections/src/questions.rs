//! What a person has to sort out: facts that don't fit together, kept as they are and asked about.
//!
//! Nothing is refused here because it is awkward, and nothing is guessed. A question that was
//! settled is not asked again; its key stays the same as long as it is about the same things.

mod checks;
mod hours;
mod ledger_checks;
mod money;
mod papers;

use std::collections::BTreeSet;

use ledger::{Body, EntryRef, JobId, PersonId, StageId};
use serde::Serialize;
use trade::{Day, Moment};

use crate::book::Book;
use crate::facts::Facts;
use crate::set_aside::set_aside;
use crate::time_on_job::running_of;

/// What a question is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub enum QuestionKind {
    /// A stage covers another that was not tested or signed off.
    #[serde(rename = "closed up before it was tested")]
    ClosedUp,
    /// A sign-off lacks a test or a photo that the stage needs.
    #[serde(rename = "signed off without what it needs")]
    SignedOffWithout,
    /// Work on the clock that the customer said no yes to.
    #[serde(rename = "extra without a yes")]
    ExtraWithoutYes,
    /// An extra was agreed and has no price.
    #[serde(rename = "extra without a price")]
    ExtraWithoutPrice,
    /// An extra on the clock comes to more than the customer said yes to.
    #[serde(rename = "extra over its limit")]
    OverLimit,
    /// An extra on the clock comes near to what the customer said yes to.
    #[serde(rename = "extra near its limit")]
    NearLimit,
    /// The parts of a quote don't come to the whole.
    #[serde(rename = "parts of the quote don't add up")]
    PointsOff,
    /// What was said of the reverse charge is not what the facts say.
    #[serde(rename = "reverse charge said otherwise")]
    ReverseCharge,
    /// CIS that was taken is not what was expected.
    #[serde(rename = "CIS taken otherwise than expected")]
    CisTaken,
    /// A customer certified less than was applied for.
    #[serde(rename = "certified less than applied for")]
    CertifiedLess,
    /// Two papers billed, or gave back, the same work without knowing of each other.
    #[serde(rename = "billed twice")]
    BilledTwice,
    /// Two papers that went out under one number.
    #[serde(rename = "two papers of one number")]
    NumberTwice,
    /// A paper that a fork or a cut set aside.
    #[serde(rename = "paper set aside")]
    PaperSetAside,
    /// A credit note whose invoice does not count.
    #[serde(rename = "credit note on nothing")]
    CreditOfNothing,
    /// What a device wrote that was copied or set back. Its hours are missing below.
    #[serde(rename = "set aside")]
    SetAside,
    /// A weekday on which others worked.
    #[serde(rename = "no hours that day")]
    NoHours,
    /// A test or material earlier than the hours.
    #[serde(rename = "work logged before the day's first hours")]
    BeforeHours,
    /// Two stretches of work at the same time.
    #[serde(rename = "hours overlap")]
    Overlap,
    /// A timer that nobody stopped.
    #[serde(rename = "timer left running")]
    TimerRunning,
    /// Something logged for a mate.
    #[serde(rename = "logged by a mate")]
    Proposed,
    /// Two entries under one id.
    #[serde(rename = "logged twice with different content")]
    SameEntry,
    /// Changes of one entry that don't know of each other.
    #[serde(rename = "changed by two people apart")]
    ChangedApart,
    /// Versions of a list's row that don't know of each other.
    #[serde(rename = "listed differently by two people")]
    ListedApart,
    /// Stages that come after each other in a circle, so that none can begin.
    #[serde(rename = "stages in a circle")]
    InACircle,
    /// Hours without a rate.
    #[serde(rename = "no rate")]
    NoRate,
    /// Material without a price.
    #[serde(rename = "no price")]
    NoPrice,
    /// An event that its writer had no right to write.
    #[serde(rename = "not counted")]
    NotCounted,
    /// An event that this program can't read.
    #[serde(rename = "unreadable")]
    Unreadable,
}

impl QuestionKind {
    /// The beginning of the keys of this kind.
    const fn key(self) -> &'static str {
        match self {
            Self::ClosedUp => "closed-up",
            Self::SignedOffWithout => "signed-off-without",
            Self::ExtraWithoutYes => "extra-without-yes",
            Self::ExtraWithoutPrice => "extra-without-price",
            Self::OverLimit => "over-limit",
            Self::NearLimit => "near-limit",
            Self::PointsOff => "points-off",
            Self::ReverseCharge => "reverse-charge",
            Self::CisTaken => "cis-taken",
            Self::CertifiedLess => "certified-less",
            Self::BilledTwice => "billed-twice",
            Self::NumberTwice => "number-twice",
            Self::PaperSetAside => "paper-set-aside",
            Self::CreditOfNothing => "credit-of-nothing",
            Self::NoHours => "no-hours",
            Self::BeforeHours => "before-hours",
            Self::Overlap => "overlap",
            Self::TimerRunning => "timer-running",
            Self::Proposed => "proposed",
            Self::SameEntry => "same-entry",
            Self::ChangedApart => "changed-apart",
            Self::ListedApart => "listed-apart",
            Self::InACircle => "in-a-circle",
            Self::NoRate => "no-rate",
            Self::NoPrice => "no-price",
            Self::NotCounted => "not-counted",
            Self::SetAside => "set-aside",
            Self::Unreadable => "unreadable",
        }
    }
}

/// Something for a person to sort out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Question {
    /// What to name when it is settled.
    pub key: String,
    /// What it is about.
    pub kind: QuestionKind,
    /// Whom to ask first.
    #[serde(skip)]
    pub person: Option<PersonId>,
    /// That person's name.
    #[serde(rename = "person", skip_serializing_if = "Option::is_none")]
    pub person_name: Option<String>,
    /// The day it is about.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub day: Option<Day>,
    /// The job.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub job: Option<JobId>,
    /// The stage.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub stage: Option<StageId>,
    /// The question, as one person would ask another.
    pub text: String,
    /// The entries that raised it.
    pub entries: Vec<EntryRef>,
}

impl Question {
    fn new(kind: QuestionKind, about: &[String], text: String) -> Self {
        let key = std::iter::once(kind.key()).chain(about.iter().map(String::as_str)).collect::<Vec<_>>();
        let (person, person_name, day, job, stage) = (None, None, None, None, None);
        Self { key: key.join("/"), kind, person, person_name, day, job, stage, text, entries: Vec::new() }
    }

    const fn of(mut self, person: PersonId) -> Self {
        self.person = Some(person);
        self
    }

    const fn on(mut self, day: Day) -> Self {
        self.day = Some(day);
        self
    }

    const fn at(mut self, job: JobId, stage: Option<StageId>) -> Self {
        (self.job, self.stage) = (Some(job), stage);
        self
    }

    fn from(mut self, entries: impl IntoIterator<Item = EntryRef>) -> Self {
        self.entries = entries.into_iter().collect();
        self
    }
}

/// Everything to sort out that does not depend on what time it is: safety and money first.
#[must_use]
pub fn questions(book: &Book) -> Vec<Question> {
    let facts = Facts::of(book);
    let mut found = Vec::new();
    hours::ask(&facts, &mut found);
    checks::ask(&facts, &mut found);
    let waiting = set_aside(book);
    money::ask(&facts, &waiting, &mut found);
    ledger_checks::ask(&facts, &waiting, &mut found);
    finish(&facts, found)
}

/// The timers that were left running: begun on a day before today's.
#[must_use]
pub fn timers_left_running(book: &Book, now: Moment) -> Vec<Question> {
    let facts = Facts::of(book);
    let mut found = Vec::new();
    for timer in running_of(&facts.entries).into_iter().filter(|timer| timer.since.day() < now.day()) {
        let who = facts.lists.person(timer.entry.person);
        let text = format!("{who}'s timer has been running since {}. When did the work end?", timer.since);
        let about = [timer.entry.person.to_string(), timer.entry.entry.to_string()];
        found.push(
            Question::new(QuestionKind::TimerRunning, &about, text)
                .of(timer.entry.person)
                .on(timer.since.day())
                .at(timer.site.job, timer.site.stage)
                .from([timer.entry]),
        );
    }
    finish(&facts, found)
}

/// Takes out what was settled, names the people and puts the questions in order.
fn finish(facts: &Facts<'_>, mut questions: Vec<Question>) -> Vec<Question> {
    let settled: BTreeSet<&str> = facts
        .entries
        .iter()
        .filter_map(|entry| match entry.body.as_ref() {
            Body::QuestionSettled(settled) => Some(settled.question.as_str()),
            _ => None,
        })
        .collect();
    questions.retain(|question| !settled.contains(question.key.as_str()));
    for question in &mut questions {
        question.person_name = question.person.map(|person| facts.lists.person(person));
    }
    questions.sort_by(|a, b| {
        (a.kind, a.day, &a.person_name, &a.key).cmp(&(b.kind, b.day, &b.person_name, &b.key))
    });
    questions
}
