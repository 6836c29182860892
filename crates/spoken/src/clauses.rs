//! Pieces into clauses, and which job, stage, day and people a clause is about.
//!
//! Dictation has no commas, so a clause also ends where the next thing begins.

use trade::Day;

use crate::draft::Scene;
use crate::names::{Fit, StagesFound};
use crate::pieces::{Piece, What};
use crate::signs::Sign;
use crate::words::{Stop, text_at};

/// Pieces that say one thing.
#[derive(Debug, Clone, Default)]
pub(crate) struct Clause {
    pub(crate) pieces: Vec<Piece>,
    /// What the clause inherits where it says nothing itself.
    pub(crate) about: About,
}

/// What work is about.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct About {
    pub(crate) job: Option<String>,
    pub(crate) day: Option<Day>,
    pub(crate) people: Vec<String>,
}

impl Piece {
    /// The beginning or end of work, or its length.
    pub(crate) fn is_time(&self) -> bool {
        matches!(
            self.what,
            What::Range(_)
                | What::RangeOrTime(..)
                | What::From(_)
                | What::Till(_)
                | What::Length(_)
                | What::SomeTime
                | What::DayPart { .. }
        )
    }

    pub(crate) fn is_count(&self) -> bool {
        matches!(
            self.what,
            What::Number(_)
                | What::Sounds(_)
                | What::Measure(..)
                | What::EitherMeasure(..)
                | What::Sign(Sign::Vague | Sign::OtherHalf)
        )
    }

    pub(crate) fn is_sign(&self, wanted: Sign) -> bool {
        matches!(self.what, What::Sign(sign) if sign == wanted)
    }

    pub(crate) fn carries_nothing(&self) -> bool {
        matches!(self.what, What::Filler | What::And)
    }

    /// It says what became of a thing other than its use.
    pub(crate) fn is_fate(&self) -> bool {
        matches!(
            self.what,
            What::Sign(
                Sign::Wasted
                    | Sign::Ruined
                    | Sign::Spoilt
                    | Sign::Returned
                    | Sign::Back
                    | Sign::Van
                    | Sign::Left
                    | Sign::Delivered
                    | Sign::Bought
                    | Sign::FromMerchant
            )
        )
    }

    /// Whether after an "and" this begins another thing.
    fn begins(&self) -> bool {
        self.is_time()
            || self.is_count()
            || matches!(self.what, What::Break(_))
            || matches!(
                self.what,
                What::Sign(
                    Sign::Wasted
                        | Sign::Ruined
                        | Sign::Spoilt
                        | Sign::Returned
                        | Sign::Back
                        | Sign::Dropped
                        | Sign::Bought
                        | Sign::Delivered
                        | Sign::Opened
                        | Sign::Used
                        | Sign::NoStage(_)
                        | Sign::Not
                        | Sign::CustomersOwn
                )
            )
    }
}

impl Clause {
    pub(crate) fn start(&self) -> usize {
        self.pieces.first().map_or(0, |piece| piece.start)
    }

    pub(crate) fn end(&self) -> usize {
        self.pieces.last().map_or(0, |piece| piece.end)
    }

    pub(crate) fn has(&self, wanted: impl Fn(&Piece) -> bool) -> bool {
        self.pieces.iter().any(wanted)
    }

    pub(crate) fn has_sign(&self, wanted: Sign) -> bool {
        self.has(|piece| piece.is_sign(wanted))
    }

    pub(crate) fn has_time(&self) -> bool {
        self.has(Piece::is_time)
    }

    /// It says an amount of some item, or a length of work.
    pub(crate) fn has_head(&self) -> bool {
        self.has_time() || self.has(Piece::is_count)
    }
}

/// Parts the pieces of a line into clauses, each with what it is about.
pub(crate) fn split(scene: &Scene<'_>, pieces: Vec<Piece>) -> Vec<Clause> {
    let mut clauses: Vec<Clause> = Vec::new();
    let mut open = Clause::default();
    let mut rest = pieces.into_iter().peekable();
    while let Some(piece) = rest.next() {
        let is_and = matches!(piece.what, What::And);
        let next_begins = rest.peek().is_some_and(|next| {
            next.begins()
                || (matches!(next.what, What::Person(_)) && open.has_head() && next.stop == Stop::None)
        });
        let is_but = piece.carries_nothing() && matches!(text_at(scene.words(), piece.start), "but");
        // "Ten elbows no eleven": the number after it takes the other's place.
        let takes_back = matches!(text_at(scene.words(), piece.start), "no" | "sorry" | "actually")
            && matches!(piece.what, What::Unknown | What::Sign(Sign::Not));
        let is_no = takes_back && rest.peek().is_some_and(|next| next.is_count() || next.is_time());
        // "Three bags of finish one left": a sign after two amounts is of the second only.
        let is_next_amount = piece.is_count() && has_amount(&open) && !open.has(Piece::is_fate) && {
            let mut ahead =
                rest.clone().take_while(|next| next.stop == Stop::None && !matches!(next.what, What::And));
            ahead.any(|next| next.is_fate())
        };
        let ends = is_no
            || is_next_amount
            || piece.stop != Stop::None
            || piece.is_sign(Sign::Then)
            || is_but
            || (is_and && next_begins);
        let second_time = piece.is_time() && open.has(|other| is_second_time(other, &piece));
        if second_time && !ends {
            let cut = stage_before(&open);
            let moved = open.pieces.split_off(cut);
            clauses.push(std::mem::replace(&mut open, Clause { pieces: moved, about: About::default() }));
        } else if ends && !open.pieces.is_empty() {
            clauses.push(std::mem::take(&mut open));
        }
        open.pieces.push(piece);
    }
    if !open.pieces.is_empty() {
        clauses.push(open);
    }
    share(&mut clauses);
    clauses
}

/// Whether a clause has a number and after it an item.
pub(crate) fn has_amount(clause: &Clause) -> bool {
    let count = clause.pieces.iter().position(Piece::is_count);
    let item = clause.pieces.iter().rposition(|piece| matches!(piece.what, What::Name(Some(_), _)));
    count.zip(item).is_some_and(|(count, item)| count < item)
}

/// Whether a time begins other work than the one before it; "started at eight finished at four" is one.
fn is_second_time(before: &Piece, piece: &Piece) -> bool {
    before.is_time() && !matches!((&before.what, &piece.what), (What::From(_), What::Till(_)))
}

/// "Boarding eight till twelve skim one till four": where stages stand before their times, the last one
/// said belongs to the time that follows.
fn stage_before(clause: &Clause) -> usize {
    let len = clause.pieces.len();
    let is_stage = |piece: &Piece| matches!(piece.what, What::Name(_, Some(_)));
    let first_time = clause.pieces.iter().position(Piece::is_time).unwrap_or(0);
    let leads = clause.pieces.iter().take(first_time).any(is_stage);
    // A person right before a time is whose time it is: "me eight till four, Ines eight till two".
    let trailing = clause.pieces.iter().rposition(|piece| !piece.carries_nothing());
    if let Some(at) = trailing.filter(|at| {
        *at > first_time && clause.pieces.get(*at).is_some_and(|piece| matches!(piece.what, What::Person(_)))
    }) {
        return at;
    }
    match clause.pieces.iter().rposition(is_stage) {
        Some(at) if leads && at > first_time => at,
        _ => len,
    }
}

/// What is said once in a line holds for all of it; what is said again holds from there on.
fn share(clauses: &mut [Clause]) {
    let jobs = |clause: &Clause| {
        clause.pieces.iter().find_map(|piece| match &piece.what {
            What::Job(code) => Some(code.clone()),
            _ => None,
        })
    };
    let days = |clause: &Clause| {
        clause.pieces.iter().find_map(|piece| match &piece.what {
            What::Day(read) => Some(read.day),
            _ => None,
        })
    };
    let said: Vec<String> = clauses.iter().filter_map(jobs).collect();
    let days_said: Vec<Day> = clauses.iter().filter_map(days).collect();
    let sole_job = said.first().filter(|first| said.iter().all(|job| job == *first)).cloned();
    let sole_day = days_said.first().filter(|first| days_said.iter().all(|day| day == *first)).copied();
    let mut about = About { job: sole_job, day: sole_day, people: Vec::new() };
    for clause in clauses {
        if let Some(job) = jobs(clause) {
            about.job = Some(job);
        }
        if let Some(day) = days(clause) {
            about.day = Some(day);
        }
        let people: Vec<String> = clause
            .pieces
            .iter()
            .filter_map(|piece| match &piece.what {
                What::Person(name) => Some(name.clone()),
                _ => None,
            })
            .collect();
        if !people.is_empty() {
            about.people = people;
        }
        clause.about = about.clone();
    }
}

/// What is known of the stage that a clause names.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum StageSaid {
    /// The job's code and the stage.
    One(String, String, Fit),
    /// Several stages of the job fit.
    Several(Vec<String>),
    /// No stage of this job fits, and one of another job does.
    OtherJob(String, String),
    None,
}

/// The stage of a job that some stage pieces name.
pub(crate) fn stage_said(scene: &Scene<'_>, clause: &Clause, said: &[&Piece]) -> StageSaid {
    let job = job_of(scene, clause);
    let mut best: Option<&StagesFound> = None;
    for piece in said {
        let What::Name(_, Some(found)) = &piece.what else { continue };
        if best.is_none_or(|best| found.len > best.len) {
            best = Some(found);
        }
    }
    let Some(StagesFound { stages, fit, .. }) = best else { return StageSaid::None };
    let here: Vec<String> =
        stages.iter().filter(|(code, _)| *code == job).map(|(_, stage)| stage.clone()).collect();
    match (here.as_slice(), stages.as_slice()) {
        ([one], _) => StageSaid::One(job, one.clone(), *fit),
        ([], [(code, stage)]) if clause.about.job.is_none() => {
            StageSaid::OtherJob(code.clone(), stage.clone())
        }
        ([], _) => StageSaid::None,
        (several, _) => StageSaid::Several(several.to_vec()),
    }
}

/// The job that a clause is about.
pub(crate) fn job_of(scene: &Scene<'_>, clause: &Clause) -> String {
    clause.about.job.clone().unwrap_or_else(|| scene.vocabulary().current_job.clone())
}
