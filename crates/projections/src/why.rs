//! Why a figure is what it is: the entries behind it. Nothing is stored for this; it is asked anew.

use ledger::office::TimeSide;
use ledger::{EntryRef, EventHash, ItemId, JobId, PersonId, StageId};
use serde::Serialize;
use trade::money::hours_and_minutes;
use trade::worktime::PartRate;
use trade::{Day, Rate};

use crate::billing::{JobWork, Measure};
use crate::book::Book;
use crate::entry::Entry;
use crate::lists::Lists;
use crate::time_on_job::{Spell, paid_at};
use crate::words::words;

/// Minutes that an hour has.
const HOUR: i64 = 60;

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
        let works = crate::billing::job_works(self, lists);
        let work = works.iter().find(|work| work.job == job);
        let because = spells.filter_map(|spell| {
            let mut because = self.because(lists, &spell.entry)?;
            because.text = hours_and_minutes(spell.minutes);
            if let Some((from, to)) = spell.clock {
                because.text += &format!(", {from} to {to}");
            }
            because.text += &counted(work, lists, &spell);
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

/// How a stretch is billed and paid, where not every hour of it is at one rate.
fn counted(work: Option<&JobWork>, lists: &Lists<'_>, spell: &Spell) -> String {
    let at = |rate: PartRate| {
        let per = if rate.per_minutes == HOUR { "an hour" } else { "a day" };
        format!("at {} {per}", rate.rate)
    };
    let mut words = String::new();
    let own = work.into_iter().flat_map(|work| &work.entries).filter(|part| part.entry == spell.entry);
    let billed: Vec<String> = own
        .filter_map(|part| match &part.measure {
            Measure::Labour { person, minutes, charge_rate, per_minutes, .. } => {
                let at = charge_rate.map(|rate| at(PartRate { rate, per_minutes: *per_minutes }));
                let at = at.unwrap_or_else(|| "without a rate".to_owned());
                Some(format!("{person} {} {at}", hours_and_minutes(*minutes)))
            }
            Measure::Counted { what, price, .. } => {
                Some(format!("{what} at {}", price.unwrap_or(Rate::ZERO)))
            }
            Measure::Material { .. } => None,
        })
        .collect();
    let counts = lists.time_terms.keys().any(|(side, _, _)| *side == TimeSide::Charged);
    if counts && work.is_some_and(|work| work.bills_by_the_clock(spell.site.stage)) {
        let billed = if billed.is_empty() {
            "inside a call-out or not charged".to_owned()
        } else {
            billed.join(" + ")
        };
        words += &format!("; billed as {billed}");
    }
    if let (Some(parts), Some(paid)) = (lists.paid_as.get(&spell.entry), paid_at(spell, lists)) {
        let paid = parts.iter().zip(paid).map(|(part, (minutes, rate))| {
            let band = part.band.words();
            let band = if band.is_empty() { String::new() } else { format!("{band} ") };
            format!("{band}{} {}", hours_and_minutes(minutes), at(rate))
        });
        words += &format!("; paid as {}", paid.collect::<Vec<_>>().join(" + "));
    }
    words
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
