//! What the customer last said to each extra: yes, for nothing, or no.

use std::collections::BTreeMap;

use ledger::site::ExtraTerms;
use ledger::{Body, StageId};

use crate::entry::{Entry, written_order};
use crate::stages::DoneAt;

/// The customer's answer to an extra.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Answer {
    /// Yes, and it is paid for.
    Yes,
    /// Yes, for nothing; or something is left out instead.
    ForNothing,
    /// No.
    No,
}

/// The last answer to the extra that each stage is. A stage that nobody answered is not in it.
pub(crate) fn answers(entries: &[Entry<'_>]) -> BTreeMap<StageId, Answer> {
    let mut answers = BTreeMap::new();
    for entry in entries {
        let (stage, answer) = match entry.body.as_ref() {
            Body::ExtraAgreed(agreed) => match agreed.terms {
                ExtraTerms::AtAPrice | ExtraTerms::OnTheClock => (agreed.site.stage, Answer::Yes),
                ExtraTerms::Free | ExtraTerms::LeftOut => (agreed.site.stage, Answer::ForNothing),
            },
            Body::ExtraDeclined(declined) => (declined.site.stage, Answer::No),
            _ => continue,
        };
        let Some(stage) = stage else { continue };
        let said = (DoneAt::of(entry), written_order(entry.logged));
        let last = answers.entry(stage).or_insert((said, answer));
        if last.0 < said {
            *last = (said, answer);
        }
    }
    answers.into_iter().map(|(stage, (_, answer))| (stage, answer)).collect()
}
