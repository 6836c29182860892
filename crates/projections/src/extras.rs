//! What the customer last said to each extra: yes, for nothing, or no; and what was agreed at which terms.

use std::collections::BTreeMap;

use ledger::site::{ExtraAsked, ExtraTerms};
use ledger::{Body, EntryRef, EventHash, JobId, StageId};
use trade::Day;

use crate::book::Book;
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

/// Which extra a yes or no is to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct AnswerTo {
    /// The extra that it names, if it names one.
    pub extra: Option<EntryRef>,
    /// Its job.
    pub job: JobId,
    /// Its stage.
    pub stage: Option<StageId>,
}

impl AnswerTo {
    /// Which extra an entry answers; none where it is no answer.
    #[must_use]
    pub fn of(body: &Body) -> Option<Self> {
        let (extra, site) = match body {
            Body::ExtraAgreed(agreed) => (agreed.extra, &agreed.site),
            Body::ExtraDeclined(declined) => (declined.extra, &declined.site),
            _ => return None,
        };
        Some(Self { extra, job: site.job, stage: site.stage })
    }

    /// Whether it answers this one. An answer that names none is for the one of its stage.
    #[must_use]
    pub fn is_to(&self, key: EntryRef, asked: &ExtraAsked) -> bool {
        match self.extra {
            Some(extra) => extra == key,
            None => self.job == asked.site.job && self.stage.is_some() && self.stage == asked.site.stage,
        }
    }
}

/// The extras that were asked for and have neither yes nor no.
#[must_use]
pub fn unanswered(book: &Book) -> Vec<Entry<'_>> {
    let answers: Vec<AnswerTo> = book.entries().filter_map(|entry| AnswerTo::of(&entry.body)).collect();
    let is_open = |entry: &Entry<'_>| match entry.body.as_ref() {
        Body::ExtraAsked(asked) => !answers.iter().any(|answer| answer.is_to(entry.entry_ref(), asked)),
        _ => false,
    };
    book.entries().filter(is_open).collect()
}

/// An extra that the customer said yes to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AgreedExtra {
    /// The entry it is known by: what was asked for, and where that was not logged, the yes.
    pub key: EntryRef,
    /// The event of the yes.
    pub revision: EventHash,
    /// The job.
    pub job: JobId,
    /// The stage that is its own, if it has one.
    pub stage: Option<StageId>,
    /// What it is.
    pub what: String,
    /// How it is paid for.
    pub terms: ExtraTerms,
    /// The day of the yes.
    pub agreed_on: Day,
}

/// The extras whose last answer is a yes, by the entry that each is known by.
#[must_use]
pub fn agreed_extras(book: &Book) -> BTreeMap<EntryRef, AgreedExtra> {
    agreed_of(&book.entries().collect::<Vec<_>>())
}

/// [`agreed_extras`] of entries that were collected already.
pub(crate) fn agreed_of(entries: &[Entry<'_>]) -> BTreeMap<EntryRef, AgreedExtra> {
    let mut asked = BTreeMap::new();
    for entry in entries {
        if let Body::ExtraAsked(said) = entry.body.as_ref() {
            asked.insert(entry.entry_ref(), (said.what.as_str(), said.site.stage));
        }
    }
    let mut last = BTreeMap::new();
    for entry in entries {
        let (of, yes) = match entry.body.as_ref() {
            Body::ExtraAgreed(agreed) => (agreed.extra, Some(agreed)),
            Body::ExtraDeclined(declined) => (declined.extra, None),
            _ => continue,
        };
        let key = of.unwrap_or_else(|| entry.entry_ref());
        let extra = yes.map(|agreed| {
            let request = asked.get(&key);
            let own = [entry.act.said.as_str(), entry.act.note.as_str()].join(" ").trim().to_owned();
            AgreedExtra {
                key,
                revision: entry.revision(),
                job: agreed.site.job,
                stage: agreed.site.stage.or(request.and_then(|(_, stage)| *stage)),
                what: request.map_or(own, |(what, _)| (*what).to_owned()),
                terms: agreed.terms,
                agreed_on: entry.act.done_on,
            }
        });
        let said = (DoneAt::of(entry), written_order(entry.logged));
        if last.get(&key).is_none_or(|(before, _)| *before < said) {
            last.insert(key, (said, extra));
        }
    }
    last.into_iter().filter_map(|(key, (_, extra))| Some((key, extra?))).collect()
}
