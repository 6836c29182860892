//! How time is counted where not every hour is at one rate: which row holds for whom on a day, and what each
//! stretch of work is counted as.
//!
//! What the customer is charged is counted on each job by itself: eight hours there are a day there, whatever
//! else the person did. What a person is paid is counted over all jobs, because that was one day of theirs.
//! Nothing of it is kept; it is worked out from the stretches as they now stand, in the order of the clock.

use std::collections::BTreeMap;

use ledger::office::TimeSide;
use ledger::{EntryRef, JobId, PersonId};
use trade::worktime::{self, Part, Stretch};
use trade::{Day, Rate, TimeTerms};

use crate::lists::Lists;
use crate::time_on_job::Spell;

/// Words for time on the road, where no stage was said.
const TRAVELLING: [&str; 5] = ["travel", "travelling", "traveling", "driving", "on the road"];

impl Lists<'_> {
    /// How time is counted on a day, the nearest row first; none where nothing but an hourly rate holds.
    #[must_use]
    pub fn time_terms(
        &self,
        side: TimeSide,
        job: Option<JobId>,
        person: PersonId,
        day: Day,
    ) -> Option<&TimeTerms> {
        let job = job.filter(|_| side == TimeSide::Charged);
        let of_job = [(job, Some(person)), (job, None)].into_iter().filter(|(job, _)| job.is_some());
        let nearest = of_job.chain([(None, Some(person)), (None, None)]);
        let held = |(job, person)| self.time_terms.get(&(side, job, person))?.since(day);
        nearest.into_iter().find_map(held).map(|set| &*set.terms)
    }

    /// Pounds for a mile of a person's on a day.
    #[must_use]
    pub fn mile(&self, side: TimeSide, job: JobId, person: PersonId, day: Day) -> Option<Rate> {
        self.time_terms(side, Some(job), person, day)?.mile
    }
}

/// What one person's stretches are counted as, by entry. Of what is charged, they are those of one job.
pub(crate) fn counted(spells: &[&Spell], lists: &Lists<'_>, side: TimeSide) -> BTreeMap<EntryRef, Vec<Part>> {
    let mut in_order = spells.to_vec();
    in_order.sort_by_key(|spell| when(spell));
    let stretches: Vec<_> = in_order
        .iter()
        .map(|spell| Stretch {
            day: spell.day,
            minutes: spell.minutes,
            travelling: is_travelling(spell),
            terms: lists.time_terms(side, Some(spell.site.job), spell.person(), spell.day),
        })
        .collect();
    in_order.iter().map(|spell| spell.entry).zip(worktime::count(&stretches)).collect()
}

/// The order of the clock. What has no clock times comes last on its day, in an order that stays the same
/// whatever is heard of first.
pub(crate) fn when(spell: &Spell) -> (Day, bool, Option<i64>, EntryRef) {
    let began = spell.clock.map(|(from, _)| from.utc_ms());
    (spell.day, began.is_none(), began, spell.entry)
}

fn is_travelling(spell: &Spell) -> bool {
    let activity = spell.activity.trim().to_lowercase();
    spell.site.stage.is_none() && TRAVELLING.contains(&activity.as_str())
}

/// What everybody's stretches are paid as, by entry; empty where every hour is at one rate.
pub(crate) fn paid(spells: &[Spell], lists: &Lists<'_>) -> BTreeMap<EntryRef, Vec<Part>> {
    let mut by_person: BTreeMap<PersonId, Vec<&Spell>> = BTreeMap::new();
    for spell in spells {
        by_person.entry(spell.person()).or_default().push(spell);
    }
    by_person.values().flat_map(|spells| counted(spells, lists, TimeSide::Paid)).collect()
}
