//! Why a figure is what it is: the entries behind it. Nothing is stored for this; it is asked anew.

use ledger::{EntryRef, EventHash, ItemId, JobId, PersonId, StageId};
use serde::Serialize;
use trade::Day;
use trade::money::hours_and_minutes;

use crate::book::Book;
use crate::entry::Entry;
use crate::lists::Lists;
use crate::words::words;

/// An entry behind a figure.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Because {
    /// The entry.
    pub entry: EntryRef,
    /// What a person may call it by: the key of its imported row, or the beginning of its id.
    pub key: String,
    /// Who did it.
    pub person: String,
    /// The day it was done.
    pub done_on: Day,
    /// What it says.
    pub text: String,
    /// The events that made it: the entry, its corrections, and for a timer its end.
    pub events: Vec<EventHash>,
}

impl Book {
    /// The entries behind the time on a stage, of one person or of all.
    #[must_use]
    pub fn why_time(
        &self,
        lists: &Lists<'_>,
        job: JobId,
        stage: Option<StageId>,
        person: Option<PersonId>,
    ) -> Vec<Because> {
        let spells = self.spells().into_iter();
        let spells = spells.filter(|spell| spell.site.job == job && spell.site.stage == stage);
        let spells = spells.filter(|spell| person.is_none_or(|person| person == spell.person()));
        let because = spells.filter_map(|spell| {
            let mut because = self.because(lists, &spell.entry)?;
            because.text = hours_and_minutes(spell.minutes);
            if let Some((from, to)) = spell.clock {
                because.text += &format!(", {from} to {to}");
            }
            because.events = spell.hashes;
            Some(because)
        });
        by_day(because.collect())
    }

    /// The entries behind an item on a stage.
    #[must_use]
    pub fn why_material(
        &self,
        lists: &Lists<'_>,
        job: JobId,
        stage: Option<StageId>,
        item: ItemId,
    ) -> Vec<Because> {
        let uses = self.material_uses(lists).into_iter().filter(|entry| entry.key == (job, stage, item));
        by_day(uses.filter_map(|entry| self.because(lists, &entry.entry)).collect())
    }

    /// The entries that say anything of a stage.
    #[must_use]
    pub fn why_stage(&self, lists: &Lists<'_>, job: JobId, stage: Option<StageId>) -> Vec<Because> {
        let here = self
            .entries()
            .filter(|entry| entry.site().is_some_and(|site| site.job == job && site.stage == stage));
        by_day(here.map(|entry| because(self, lists, &entry)).collect())
    }

    fn because(&self, lists: &Lists<'_>, entry: &EntryRef) -> Option<Because> {
        self.entry(entry).map(|entry| because(self, lists, &entry))
    }
}

/// The entries behind a figure, asked for by names: a job, a stage of it, and an item or a person.
/// Empty where a name is not known.
#[must_use]
pub fn why(book: &Book, job: &str, stage: Option<&str>, what: Option<&str>) -> Vec<Because> {
    let lists = book.lists();
    let jobs = lists.jobs.values().filter(|listed| listed.code == job).map(|listed| listed.job);
    let mut found = Vec::new();
    for job in jobs {
        let of_job = lists.stages.values().filter(|listed| listed.job == job);
        let named = of_job.filter(|listed| stage.is_none_or(|name| listed.name == name));
        let no_stage = stage.is_none_or(str::is_empty).then_some(None);
        for stage in named.map(|listed| Some(listed.stage)).chain(no_stage) {
            let Some(what) = what else {
                found.extend(book.why_stage(&lists, job, stage));
                continue;
            };
            for (item, _) in lists.items.iter().filter(|(_, item)| item.name == what) {
                found.extend(book.why_material(&lists, job, stage, *item));
            }
            for (person, _) in lists.people.iter().filter(|(_, name)| **name == what) {
                found.extend(book.why_time(&lists, job, stage, Some(*person)));
            }
        }
    }
    by_day(found)
}

fn by_day(mut because: Vec<Because>) -> Vec<Because> {
    because.sort_by(|a, b| (a.done_on, &a.key, a.entry).cmp(&(b.done_on, &b.key, b.entry)));
    because
}

fn because(book: &Book, lists: &Lists<'_>, entry: &Entry<'_>) -> Because {
    let act = &entry.act;
    Because {
        entry: entry.entry_ref(),
        key: entry.logged.key(),
        person: lists.person(act.person),
        done_on: act.done_on,
        text: words(lists, book, act, &entry.body),
        events: entry.hashes().collect(),
    }
}
