//! What was said in one line: heard with the crew's own words, shown, and logged once somebody has looked.
//!
//! A line is heard anew each time it is shown, from the line and the answers given so far, so nothing is
//! kept between one press and the next. Nothing is logged that was not shown as ready.

mod rows;
mod vocabulary;

use ledger::site::{AliasMeaning, AliasTaught};
use ledger::{Audience, Body, Payload, PersonId};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use spoken::{Alias, Heard, Meaning, Proposal};
use trade::Moment;

use super::{WordMeaning, importing, named};
use crate::error::NodeError;
use crate::node::{Node, Write};
use crate::timers;

/// A line, and what was answered about it so far.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Said {
    /// The job in hand; without one that of this person's last entry.
    pub job: Option<String>,
    /// The line.
    pub line: String,
    /// The answers, in the order in which they were given.
    pub answers: Vec<Answer>,
    /// When it was said, where that was not now: a line may wait on a phone until the node is reached.
    pub at: Option<Moment>,
}

/// An answer to a question about a line.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Answer {
    /// The number of the question among those that are open.
    pub question: usize,
    /// What was pressed or typed.
    pub answer: Pressed,
}

/// What was pressed or typed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Pressed {
    /// The choice of this number.
    Choice(usize),
    /// These words.
    Words(String),
}

/// What the line means to this crew. Logs nothing.
pub(super) fn hear(node: &Node, author: PersonId, said: &Said) -> Result<Value, NodeError> {
    Ok(json!({ "heard": understood(node, author, said)?.heard }))
}

/// Logs what was heard, all or the ones named by their numbers, with the sentence beside each, and keeps
/// the words that the answers taught. `key` makes the entries' ids, so that a form sent twice is one.
pub(super) fn log(
    node: &mut Node,
    author: PersonId,
    said: &Said,
    only: &[usize],
    key: Option<&str>,
) -> Result<Value, NodeError> {
    let Understood { heard, aliases, at } = understood(node, author, said)?;
    let wanted = |number: &usize| only.is_empty() || only.contains(number);
    let chosen: Vec<(usize, &Proposal)> =
        heard.proposals.iter().enumerate().filter(|(number, _)| wanted(number)).collect();
    if chosen.is_empty() {
        return Err(NodeError::bad_input(
            "nothing in that line was understood as an entry; nothing is logged",
        ));
    }
    // Everything is read before anything is written, so that a line is logged whole or not at all.
    let mut planned = Vec::new();
    for &(number, proposal) in &chosen {
        planned.push(rows::plan(node, proposal, &said.line, at, key.map(|key| format!("{key}-{number}")))?);
    }
    let mut keys = Vec::new();
    let entries: Vec<_> = planned.iter().filter_map(rows::Planned::row).cloned().collect();
    if !entries.is_empty() {
        keys = importing::log_all(node, author, entries)?;
    }
    for planned in planned {
        if let rows::Planned::Stop { at } = planned {
            timers::stop(node, author, 0, Some(&at), node.now_ms())?;
        }
    }
    let taught = teach_all(node, author, &aliases)?;
    Ok(json!({ "logged": keys, "taught": taught }))
}

/// A line as it was understood, with the words that its answers taught.
struct Understood {
    heard: Heard,
    aliases: Vec<Alias>,
    at: Moment,
}

fn understood(node: &Node, author: PersonId, said: &Said) -> Result<Understood, NodeError> {
    if said.line.trim().is_empty() {
        return Err(NodeError::bad_input(
            "say or type what you did, like: three bags of finish on the long wall",
        ));
    }
    let at = said.at.map_or_else(|| node.now(), Ok)?;
    let vocabulary = vocabulary::of(node, author, said.job.as_deref(), at)?;
    let now = spoken::Now { day: at.day(), minute: at.minute_of_day() };
    let last = vocabulary.recent.first();
    let mut heard = spoken::understand(&said.line, &vocabulary, &now, last);
    let mut aliases = Vec::new();
    for Answer { question, answer } in &said.answers {
        let asked = heard.questions.get(*question).cloned();
        let taken = match answer {
            Pressed::Choice(choice) => {
                let pressed = asked.as_ref().and_then(|asked| asked.choices.get(*choice));
                aliases.extend(
                    asked.as_ref().zip(pressed).and_then(|(asked, pressed)| spoken::alias(asked, pressed)),
                );
                heard.answer(*question, *choice)
            }
            Pressed::Words(words) => heard.answer_typed(*question, words),
        };
        if !taken {
            return Err(NodeError::bad_input(
                "that answers no open question about the line; look at it again",
            ));
        }
    }
    Ok(Understood { heard, aliases, at })
}

/// Keeps what phrases mean; says which were kept.
fn teach_all(node: &mut Node, author: PersonId, aliases: &[Alias]) -> Result<Vec<String>, NodeError> {
    let mut taught = Vec::new();
    for alias in aliases {
        let means = {
            let lists = node.book().lists();
            // The line has named them all, so they are there; a stage may be one of several jobs'.
            match &alias.means {
                Meaning::Item(name) => named::item(&lists, name).ok().map(AliasMeaning::Item),
                Meaning::Person(name) => named::person(node, name).ok().map(AliasMeaning::Person),
                Meaning::Place(words) => Some(AliasMeaning::Place(words.clone())),
                Meaning::Stage(name) => {
                    let mut stages = lists.stages.values().filter(|stage| stage.name == *name);
                    stages.next().map(|stage| AliasMeaning::Stage(stage.stage))
                }
            }
        };
        if let Some(means) = means {
            teach(node, author, &alias.phrase, Some(means))?;
            taught.push(alias.phrase.clone());
        }
    }
    Ok(taught)
}

/// Keeps what a phrase means, by the names in the lists.
pub(super) fn teach_named(
    node: &mut Node,
    author: PersonId,
    phrase: &str,
    means: Option<&WordMeaning>,
) -> Result<Value, NodeError> {
    let means = {
        let lists = node.book().lists();
        match means {
            None => None,
            Some(WordMeaning::Item(name)) => Some(AliasMeaning::Item(named::item(&lists, name)?)),
            Some(WordMeaning::Person(name)) => Some(AliasMeaning::Person(named::person(node, name)?)),
            Some(WordMeaning::Place(words)) => Some(AliasMeaning::Place(words.clone())),
            Some(WordMeaning::Stage(job, stage)) => {
                let job = named::job(&lists, job)?;
                Some(AliasMeaning::Stage(named::stage(&lists, job, stage)?.stage))
            }
        }
    };
    teach(node, author, phrase, means)?;
    Ok(json!({ "phrase": phrase.trim().to_lowercase() }))
}

/// Keeps what a phrase means, in the place of what it meant.
fn teach(
    node: &mut Node,
    author: PersonId,
    phrase: &str,
    means: Option<AliasMeaning>,
) -> Result<(), NodeError> {
    let phrase = phrase.trim().to_lowercase();
    if phrase.is_empty() {
        return Err(NodeError::bad_input("give the words that mean something to this crew"));
    }
    let of = |body: &Body| matches!(body, Body::AliasTaught(taught) if taught.phrase == phrase);
    let mut act = node.act(author)?;
    act.replaces = named::heads(node, of);
    let body = Body::AliasTaught(AliasTaught { phrase, means });
    node.append(&[Write { audience: Audience::Crew, payload: Payload { act, body } }])?;
    Ok(())
}
