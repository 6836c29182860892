//! An extra priced by measuring it up: the price book, the crew's rates and the job's mark-up, as a quote's lines.
//!
//! Before the yes only its price is noted, because lines in the costing would be billed with the quote. After a
//! yes at a price the lines stand under the extra's own stage and are what it is measured against; the price that
//! was agreed stays as it is.

use ledger::site::ExtraTerms;
use ledger::{Body, EntryRef, PersonId};
use projections::{AgreedExtra, agreed_extras};
use serde_json::{Value, json};
use trade::takeoff::costing::Costing;

use super::{measuring, office};
use crate::error::NodeError;
use crate::node::Node;

/// An extra that is measured up.
pub(super) struct MeasuredExtra {
    of: EntryRef,
    what: String,
    /// Its own stage, once it has one.
    stage: Option<String>,
    /// Its yes.
    agreed: Option<AgreedExtra>,
}

impl MeasuredExtra {
    /// The extra of a job by its key.
    pub(super) fn named(node: &Node, job: &str, key: &str) -> Result<Self, NodeError> {
        let of = office::extra(node, key)?;
        let lists = node.book().lists();
        let entry = node.book().entry(&of);
        let site = entry.as_ref().and_then(|entry| entry.site());
        let own = site.map(|site| lists.job(site.job)).unwrap_or_default();
        if own != job {
            return Err(NodeError::bad_input(format!("the extra {key} is one of {own}, not of {job}")));
        }
        let agreed = agreed_extras(node.book()).remove(&of);
        if agreed.as_ref().is_some_and(|agreed| agreed.terms == ExtraTerms::Free) {
            return Err(NodeError::bad_input(format!(
                "the extra {key} was agreed for nothing, so it has no price"
            )));
        }
        let asked = entry.as_ref().and_then(|entry| match entry.body.as_ref() {
            Body::ExtraAsked(asked) => Some(asked.what.clone()),
            _ => None,
        });
        let what = agreed.as_ref().map(|agreed| agreed.what.clone()).or(asked).unwrap_or_default();
        let stage = agreed.as_ref().map_or_else(|| site.and_then(|site| site.stage), |agreed| agreed.stage);
        Ok(Self { of, what, stage: stage.map(|stage| lists.stage(Some(stage))), agreed })
    }

    /// The costing with all of it under the extra's own stage, where it has one.
    pub(super) fn of_its_stage(&self, costing: Costing) -> Costing {
        match &self.stage {
            Some(stage) => costing.under(stage),
            None => costing,
        }
    }

    /// Saves the costing, and says what became of it.
    pub(super) fn save(
        &self,
        node: &mut Node,
        author: PersonId,
        job: &str,
        costing: &Costing,
    ) -> Result<Value, NodeError> {
        let held = node.book().lists().extras.get(&self.of).map(|priced| priced.amount);
        let at_a_price = self.agreed.as_ref().is_some_and(|agreed| agreed.terms == ExtraTerms::AtAPrice);
        if at_a_price && self.stage.is_none() {
            return Err(NodeError::bad_input(
                "the extra has no stage of its own that its lines could stand under; log its yes again with --stage",
            ));
        }
        let stays = held.filter(|_| self.agreed.is_some());
        let amount = stays.unwrap_or_else(|| costing.price());
        if at_a_price {
            measuring::save(node, author, job, costing)?;
        }
        if held != Some(amount) {
            office::write_extra_price(node, author, self.of, amount)?;
        }
        Ok(json!({
            "what": self.what, "stage": self.stage, "amount": amount, "stays": stays.is_some(),
            "lines_saved": at_a_price,
        }))
    }

    /// What it is, where nothing is saved.
    pub(super) fn shown(&self) -> Value {
        json!({ "what": self.what, "stage": self.stage })
    }
}
