//! Questions about stages, extras and prices: what was closed up, signed off or done without what
//! it needed.

use std::collections::{BTreeMap, BTreeSet};

use ledger::office::Basis;
use ledger::{JobId, StageId};

use super::{Facts, Question, QuestionKind};
use crate::closing::{self, ClosedUp};
use crate::evidence::{Evidence, MissingEvidence};
use crate::extras::{Answer, answers};
use crate::materials::uses_of;
use crate::schedule;
use crate::stages::{DoneAt, Stage, happened, stages_of};

pub(super) fn ask(facts: &Facts<'_>, found: &mut Vec<Question>) {
    let happened = happened(&facts.entries, &facts.spells);
    let evidence = Evidence::of(&facts.entries, &facts.lists);
    let stages = stages_of(&happened, &evidence, &facts.lists).into_iter();
    let stages: BTreeMap<StageId, Stage> = stages.map(|stage| (stage.stage, stage)).collect();
    signed_off_without(facts, &stages, found);
    closed_up(facts, &evidence, found);
    in_a_circle(facts, &stages, found);
    extras_without_yes(facts, &stages, found);
    material_without_price(facts, found);
}

/// A sign-off without a test or photo that it needs at one of its places.
fn signed_off_without(facts: &Facts<'_>, stages: &BTreeMap<StageId, Stage>, found: &mut Vec<Question>) {
    for stage in stages.values() {
        let whole = stage.signed_off.iter().map(|sign_off| (sign_off, "", stage.missing.as_slice()));
        let places = stage.signed_off_places.iter();
        let places =
            places.map(|signed| (&signed.sign_off, signed.place.as_str(), signed.missing.as_slice()));
        for (sign_off, place, missing) in whole.chain(places).filter(|(_, _, missing)| !missing.is_empty()) {
            let at = if place.is_empty() { String::new() } else { format!(", {place},") };
            let text = format!(
                "{}, {}{at} was signed off on {} without {}. Is there one to log?",
                facts.lists.job(stage.job),
                facts.lists.stage(Some(stage.stage)),
                sign_off.at.day,
                missing_words(missing, place),
            );
            let about = [stage.stage.to_string(), sign_off.event.to_string()];
            found.push(
                Question::new(QuestionKind::SignedOffWithout, &about, text)
                    .of(sign_off.entry.person)
                    .on(sign_off.at.day)
                    .at(stage.job, Some(stage.stage))
                    .from([sign_off.entry]),
            );
        }
    }
}

/// `pressure test and a photo (kitchen); a photo (utility, north wall)`. The place that is the question's own is
/// not said again.
fn missing_words(missing: &[MissingEvidence], own: &str) -> String {
    let mut places: Vec<(&str, Vec<&str>)> = Vec::new();
    for evidence in missing {
        let what = if evidence.what == MissingEvidence::PHOTO { "a photo" } else { &evidence.what };
        match places.last_mut().filter(|(place, _)| *place == evidence.place) {
            Some((_, whats)) => whats.push(what),
            None => places.push((&evidence.place, vec![what])),
        }
    }
    let words = places.into_iter().map(|(place, whats)| match place {
        "" => whats.join(" and "),
        place if place == own => whats.join(" and "),
        place => format!("{} ({place})", whats.join(" and ")),
    });
    words.collect::<Vec<_>>().join("; ")
}

/// Work on a stage that covers what was not tested, photographed or signed off at that place.
fn closed_up(facts: &Facts<'_>, evidence: &Evidence<'_>, found: &mut Vec<Question>) {
    for (id, listed) in &facts.lists.stages {
        for ClosedUp { check, began, begun_by } in closing::closed_up(evidence, &facts.lists, listed) {
            let at = if check.place.is_empty() { String::new() } else { format!(", {},", check.place) };
            let told = check.told.map(|told| {
                let (to, by) = (facts.lists.person(told.to), facts.lists.person(told.by));
                format!(" {to} was told of the sign-off by {by}; it has not come here yet.")
            });
            let text = format!(
                "{}, {}{at} was begun on {} and covers {}, with no {} heard of.{} What is behind it?",
                facts.lists.job(listed.job),
                listed.name,
                began.day,
                facts.lists.stage(Some(check.covered)),
                check.open().join(" and "),
                told.unwrap_or_default(),
            );
            let place = (!check.place.is_empty()).then(|| check.place.to_lowercase());
            let about: Vec<String> =
                [id.to_string(), check.covered.to_string()].into_iter().chain(place).collect();
            found.push(
                Question::new(QuestionKind::ClosedUp, &about, text)
                    .of(begun_by.person)
                    .on(began.day)
                    .at(listed.job, Some(*id))
                    .from([begun_by]),
            );
        }
    }
}

/// Stages that would have to wait for themselves. Whoever lists a stage is refused that; two who list apart
/// can still make one.
fn in_a_circle(facts: &Facts<'_>, stages: &BTreeMap<StageId, Stage>, found: &mut Vec<Question>) {
    let all: Vec<Stage> = stages.values().cloned().collect();
    let jobs: BTreeSet<JobId> = all.iter().map(|stage| stage.job).collect();
    for job in jobs {
        let Some(circle) = schedule::circle(job, &all, &facts.lists) else { continue };
        let names: Vec<_> = circle.iter().map(|stage| facts.lists.stage(Some(*stage))).collect();
        let text = format!(
            "{}: {} come after each other in a circle, so none of them can begin. Which one should come first?",
            facts.lists.job(job),
            names.join(", then "),
        );
        let mut about: Vec<_> = circle.iter().map(ToString::to_string).collect();
        about.sort_unstable();
        let stage = circle.first().copied();
        found.push(Question::new(QuestionKind::InACircle, &about, text).at(job, stage));
    }
}

/// Stages on the clock, in a job that is otherwise at a quote, that nobody said yes to.
fn extras_without_yes(facts: &Facts<'_>, stages: &BTreeMap<StageId, Stage>, found: &mut Vec<Question>) {
    let answers = answers(&facts.entries);
    let agreed = |stage: StageId| match answers.get(&stage) {
        Some(Answer::Yes | Answer::ForNothing) => true,
        Some(Answer::No) | None => false,
    };
    let lines = || facts.lists.lines.values();
    let at_a_quote: BTreeSet<JobId> =
        lines().filter(|line| !line.on_the_clock).map(|line| line.job).collect();
    let extras: BTreeSet<_> =
        lines().filter(|line| line.on_the_clock).map(|line| (line.job, line.stage)).collect();
    for (job, id) in extras {
        let daywork = facts.lists.terms.get(&job).is_some_and(|terms| terms.basis == Basis::Daywork);
        let began = stages.get(&id).and_then(|stage| Some((stage, stage.began?)));
        let Some((stage, DoneAt { day, .. })) = began else { continue };
        if daywork || !at_a_quote.contains(&job) || agreed(id) {
            continue;
        }
        let text = format!(
            "{}, {} is an extra on the clock, and nobody logged a yes. Who said yes, and how?",
            facts.lists.job(job),
            facts.lists.stage(Some(id)),
        );
        found.push(
            Question::new(QuestionKind::ExtraWithoutYes, &[id.to_string()], text)
                .on(day)
                .at(job, Some(id))
                .from(stage.begun_by.iter().copied()),
        );
    }
}

/// Only the office knows prices, so only its book can miss one.
fn material_without_price(facts: &Facts<'_>, found: &mut Vec<Question>) {
    if facts.book.audience() == ledger::Audience::Crew {
        return;
    }
    let mut missing: BTreeMap<_, Vec<_>> = BTreeMap::new();
    let uses = uses_of(&facts.entries, &facts.lists);
    let rows = facts.book.material_rows(&facts.lists, &uses);
    for entry in uses {
        let (job, stage, item) = entry.key;
        let row = rows.get(&(job, stage, item));
        if row.is_some_and(|row| !row.gone.is_zero() && row.cost.is_none()) {
            missing.entry(item).or_default().push(entry.entry);
        }
    }
    for (item, entries) in missing {
        let text = format!("{} was used and has no price. What does a pack cost?", facts.lists.item(item));
        found.push(Question::new(QuestionKind::NoPrice, &[item.to_string()], text).from(entries));
    }
}
