//! Answering a question, so that it is not asked again.

use ledger::{Audience, Body, Payload, PersonId, site};
use serde_json::{Value, json};

use crate::error::NodeError;
use crate::node::{Node, Write};

/// Settles the one open question that a key, or the beginnings of its parts, means.
pub(super) fn settle(
    node: &mut Node,
    author: PersonId,
    wanted: &str,
    answer: String,
) -> Result<Value, NodeError> {
    let means = |key: &str| {
        let (parts, wanted) = (key.split('/'), wanted.split('/'));
        parts.clone().count() == wanted.clone().count()
            && parts.zip(wanted).all(|(part, begin)| part.starts_with(begin))
    };
    let open = projections::questions(node.book());
    let mut meant = open.iter().filter(|question| means(&question.key));
    let (Some(question), None) = (meant.next(), meant.next()) else {
        return Err(NodeError::bad_input(
            "that key means no open question, or more than one; `fivebar sort-out` shows them with their keys",
        ));
    };
    let mut act = node.act(author)?;
    act.note = answer;
    let body = Body::QuestionSettled(site::QuestionSettled { question: question.key.clone() });
    node.append(&[Write { audience: Audience::Crew, payload: Payload { act, body } }])?;
    Ok(json!({ "left": projections::questions(node.book()).len() }))
}
