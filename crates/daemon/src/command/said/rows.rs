//! From a proposal to what is logged: a row of `entries.csv`, or the end of the running timer.

use std::collections::BTreeMap;

use ledger::Body;
use spoken::{Column, Kind, NotARow, Proposal};
use trade::Moment;

use crate::error::NodeError;
use crate::node::Node;

/// What a proposal comes to.
pub(super) enum Planned {
    /// An entry, by its columns.
    Row(BTreeMap<String, String>),
    /// The timer ends at this clock time.
    Stop { at: String },
}

impl Planned {
    pub(super) const fn row(&self) -> Option<&BTreeMap<String, String>> {
        match self {
            Self::Row(row) => Some(row),
            Self::Stop { .. } => None,
        }
    }
}

/// What a proposal comes to, with the sentence that it came from. `key` makes the entry's id.
pub(super) fn plan(
    node: &Node,
    proposal: &Proposal,
    line: &str,
    at: Moment,
    key: Option<String>,
) -> Result<Planned, NodeError> {
    let mut row = match proposal.row() {
        Ok(row) => row,
        Err(NotARow::NoTimer) => return Ok(Planned::Stop { at: proposal.get(Column::To).to_owned() }),
        Err(NotARow::NotReady) => return Err(refused(proposal, "a question about it is open")),
        Err(NotARow::NoQuantity) => return Err(refused(proposal, "say how much, or how many")),
    };
    if proposal.kind == Kind::Cleared {
        let words = row.remove(Column::What.name()).unwrap_or_default();
        let snag = snag_called(node, &words).ok_or_else(|| refused(proposal, "no open snag says that"))?;
        row.insert("of".to_owned(), snag);
    }
    row.insert("said".to_owned(), line.trim().to_owned());
    row.insert("at".to_owned(), at.to_string());
    row.extend(key.map(|key| ("entry".to_owned(), key)));
    Ok(Planned::Row(row))
}

fn refused(proposal: &Proposal, why: &str) -> NodeError {
    NodeError::bad_input(format!("{}: {why}; nothing is logged", in_words(proposal)))
}

/// A proposal in a few words.
fn in_words(proposal: &Proposal) -> String {
    let said =
        [Column::Quantity, Column::Unit, Column::What, Column::Stage].map(|column| proposal.get(column));
    let said: Vec<&str> =
        std::iter::once(proposal.kind.word()).chain(said).filter(|text| !text.is_empty()).collect();
    said.join(" ")
}

/// The key of the newest snag with these words.
fn snag_called(node: &Node, words: &str) -> Option<String> {
    let snags = node.book().entries().filter(|entry| matches!(&*entry.body, Body::SnagRaised(_)));
    let called = snags.filter(|entry| entry.act.note == words);
    called.max_by_key(|entry| entry.act.logged_at).map(|entry| entry.logged.key())
}
