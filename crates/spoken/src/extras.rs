//! Extras: what the customer wants, and the yes or no that was given.
//!
//! Anyone may log what was asked or said; the owner settles it, and without a yes nothing is billed.

use crate::clauses::{About, Clause, StageSaid, job_of, stage_said};
use crate::draft::{Draft, Scene, choice};
use crate::heard::{Column, Kind};
use crate::pieces::{Piece, What};
use crate::purchases::money_in;
use crate::sayings::{end_of, reach};
use crate::signs::find;
use crate::times::written;
use crate::words::text_at;

const WANTS: &[&str] = &[
    "wants",
    "want",
    "asked for",
    "asked if",
    "has asked for",
    "would like",
    "asking for",
    "after another",
    "wanted",
];
const YES: &[&str] = &[
    "said yes to",
    "said yes",
    "agreed to",
    "agreed",
    "said ok to",
    "said go ahead with",
    "said go ahead",
    "is happy with",
    "'s happy with",
];
const NO: &[&str] =
    &["said no to", "said no", "doesn't want", "turned down", "decided against", "does not want"];

/// Who a clause says wants something: the customer, by name or as the customer.
fn customer_said(scene: &Scene<'_>, clause: &Clause, until: usize) -> Option<(String, String)> {
    (clause.start()..until).find_map(|at| {
        if let Some((job, name, _)) = scene.names.customer_at(scene.words(), at) {
            return Some((job, name));
        }
        let is_customer =
            matches!(text_at(scene.words(), at), "customer" | "client" | "lady" | "owner" | "householder");
        is_customer.then(|| {
            let job = job_of(scene, clause);
            let name = scene.vocabulary().job(&job).map(|job| job.customer.clone()).unwrap_or_default();
            (job, name)
        })
    })
}

/// Reads what a customer wants, agrees to or declines, and how many clauses say it.
pub(crate) fn read(scene: &Scene<'_>, clauses: &[Clause]) -> Option<(Draft, usize)> {
    let clause = clauses.first()?;
    let words = scene.words();
    let kinds = [(Kind::Declined, NO), (Kind::Agreed, YES), (Kind::Asked, WANTS)];
    let (kind, at, len) = kinds.into_iter().find_map(|(kind, phrases)| {
        find(words, clause.start(), clause.end(), phrases).map(|(at, len)| (kind, at, len))
    })?;
    // "Said no problem" is a yes, and "wants to know" no extra.
    let next = text_at(words, at + len);
    if matches!(next, "problem" | "worries" | "it")
        || (next == "to" && matches!(text_at(words, at + len + 1), "know" | "see" | "speak"))
    {
        return None;
    }
    let taken = reach(clauses, false);
    let end = end_of(clauses, taken);
    let before = customer_said(scene, clause, at);
    let is_with = text_at(words, at + len) == "with";
    let (job, name) = match before {
        Some(found) => found,
        // "A socket, agreed with the customer".
        None if is_with && kind == Kind::Agreed => customer_said(scene, clause, clause.end())?,
        None => return None,
    };
    let mut draft = Draft::new(kind);
    draft.set(Column::Job, job.clone());
    draft.take_words(clause.start(), end);
    draft.set(Column::SaidBy, name.clone());
    let begin = if is_with { clause.start() } else { at + len };
    let wanted = scene.line.said(begin, end);
    let about =
        Clause { about: About { job: Some(job.clone()), ..clause.about.clone() }, pieces: Vec::new() };
    let named: Vec<&Piece> = clauses
        .get(..taken)?
        .iter()
        .flat_map(|clause| &clause.pieces)
        .filter(|piece| piece.start >= begin && matches!(piece.what, What::Name(_, Some(_))))
        .collect();
    let stage = match stage_said(scene, &about, &named) {
        StageSaid::One(_, stage, _) => stage,
        StageSaid::Several(_) | StageSaid::OtherJob(..) | StageSaid::None => {
            let own = scene.names.vocabulary.job(&job).map(|job| job.stages.as_slice()).unwrap_or_default();
            // "The door" of "move the door": words too weak to name a stage anywhere else.
            let said: Vec<&str> =
                (begin..end).map(|at| text_at(words, at)).filter(|text| text.len() > 3).collect();
            let fits = own
                .iter()
                .filter(|stage| said.iter().any(|said| stage.name.split(' ').next_back() == Some(said)));
            let fits: Vec<&str> = fits.map(|stage| stage.name.as_str()).collect();
            match (kind, fits.as_slice()) {
                (Kind::Agreed | Kind::Declined, [one]) => (*one).to_owned(),
                _ => String::new(),
            }
        }
    };
    draft.set(Column::Stage, stage);
    match kind {
        Kind::Asked => {
            draft.set(Column::What, wanted);
            draft.show("no yes yet: not billed till answered");
            let terms = [("at a price", "at a price"), ("by the hour", "by the hour"), ("free", "free")];
            let choices =
                terms.map(|(label, terms)| choice(label, [(Column::Note, format!("asked as {terms}"))]));
            draft.offer("a price, by the hour or free?", choices.into_iter().collect(), None);
        }
        Kind::Agreed => {
            let (from, said) = (at + len, wanted);
            agreed_terms(scene, clauses.get(..taken)?, (from, end), &mut draft);
            draft.note(&said);
            let heard =
                format!("heard by {} {} {}", scene.vocabulary().me, scene.now.day, written(scene.now.minute));
            draft.note(&heard);
            draft.show("the boss is told; a message to the customer is ready to send");
        }
        _ => draft.note(&wanted),
    }
    Some((draft, taken))
}

fn agreed_terms(scene: &Scene<'_>, clauses: &[Clause], (from, end): (usize, usize), draft: &mut Draft) {
    let words = scene.words();
    if find(words, from, end, &["on the clock", "by the hour", "time and materials"]).is_some() {
        draft.set(Column::What, "by the hour");
    } else if find(words, from, end, &["for free", "free of charge", "no charge", "for nothing", "free"])
        .is_some()
    {
        draft.set(Column::What, "free");
    } else if let Some(money) = clauses.iter().find_map(|clause| money_in(scene, clause, true)) {
        draft.set(Column::What, "at a price");
        draft.set(Column::Price, money.pounds.to_string());
    } else {
        let choices = ["by the hour", "at a price", "free"]
            .map(|terms| choice(terms, [(Column::What, terms.to_owned())]));
        draft.ask("a price, by the hour or free?", choices.into_iter().collect(), None);
    }
}
