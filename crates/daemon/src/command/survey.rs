//! What is asked and answered before the job. It records what was said or seen; it clears nothing.

use ledger::site::{SurveyPoint, Surveyed};
use ledger::{Audience, Body, Payload, PersonId, PhotoHash};
use serde_json::{Value, json};

use super::named;
use crate::error::NodeError;
use crate::node::{Node, Write};

/// Keeps an answer of a job's survey and its photos, in the place of the one before.
pub(super) fn answer(
    node: &mut Node,
    author: PersonId,
    code: &str,
    point: SurveyPoint,
    (answer, new): (String, Vec<PhotoHash>),
) -> Result<Value, NodeError> {
    if answer.trim().is_empty() {
        return Err(NodeError::bad_input("say what was found; \"not known\" is an answer too"));
    }
    let job = named::job(&node.book().lists(), code)?.job;
    let is_answer = |body: &Body| matches!(body, Body::Surveyed(surveyed) if (surveyed.job, surveyed.point) == (job, point));
    // What was photographed before stays with the answer: damage that was there is there for good.
    let held = node.book().lists().surveys.get(&(job, point)).map(|held| held.photos.clone());
    let mut photos = held.unwrap_or_default();
    photos.extend(new.into_iter().filter(|photo| !photos.contains(photo)).collect::<Vec<_>>());
    let mut act = node.act(author)?;
    act.replaces = named::heads(node, is_answer);
    let body = Body::Surveyed(Surveyed { job, point, answer, photos });
    node.append(&[Write { audience: Audience::Crew, payload: Payload { act, body } }])?;
    Ok(shown(node, code, job))
}

/// The answers of a job's survey.
fn shown(node: &Node, code: &str, job: ledger::JobId) -> Value {
    let lists = node.book().lists();
    let of_job = lists.surveys.iter().filter(|((of, _), _)| *of == job);
    let answers: Vec<Value> = of_job
        .map(|((_, point), said)| json!({ "point": point, "answer": said.answer, "photos": said.photos }))
        .collect();
    json!({ "job": code, "survey": answers })
}

/// The survey of a job as far as it was answered.
pub(super) fn show(node: &Node, code: &str) -> Result<Value, NodeError> {
    let job = named::job(&node.book().lists(), code)?.job;
    Ok(shown(node, code, job))
}
