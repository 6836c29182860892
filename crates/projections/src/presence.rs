//! Who is of the crew on a day. What somebody logged stays; who left is not waited for and not counted on.
//!
//! Nobody logs that somebody left. It is told by what they write with: whoever has had a phone, a laptop or the
//! page, and has none of them any more, left on the day the last of them was taken off. Work that is logged for
//! them on a later day, or a new phone, says that they are there again. Whoever never had any counts as there,
//! because mates log for them; so does the founder, whose first device nobody admitted.

use std::collections::{BTreeMap, BTreeSet};

use ledger::roster_events::{DeviceAdmitted, DeviceRetired};
use ledger::{Body, DeviceKey, PersonId, SessionId};
use trade::Day;

use crate::book::Book;
use crate::entry::Entry;
use crate::time_on_job::Spell;

/// The days from which people are not of the crew any more.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Presence {
    gone_from: BTreeMap<PersonId, Day>,
}

/// What somebody writes with.
#[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Tool {
    Device(DeviceKey),
    Page(SessionId),
}

impl Presence {
    /// As these entries and the work that they tell of say it.
    #[must_use]
    pub fn of(book: &Book, entries: &[Entry<'_>], spells: &[Spell]) -> Self {
        let mut tools: BTreeMap<PersonId, BTreeSet<Tool>> = BTreeMap::new();
        let mut ended: BTreeMap<Tool, Day> = BTreeMap::new();
        let mut end = |tool: Tool, day: Day| {
            let first = ended.entry(tool).or_insert(day);
            *first = day.min(*first);
        };
        for entry in entries {
            let day = entry.act.done_on;
            match entry.body.as_ref() {
                Body::DeviceAdmitted(DeviceAdmitted { device, person, .. }) => {
                    tools.entry(*person).or_default().insert(Tool::Device(*device));
                }
                Body::SessionOpened(opened) => {
                    tools.entry(opened.person).or_default().insert(Tool::Page(opened.session));
                }
                Body::Recovered(recovered) => {
                    tools.entry(recovered.person).or_default().insert(Tool::Device(recovered.device));
                    for DeviceRetired { device, .. } in &recovered.retires {
                        end(Tool::Device(*device), day);
                    }
                }
                Body::DeviceRetired(retired) => end(Tool::Device(retired.device), day),
                Body::SessionClosed(closed) => end(Tool::Page(closed.session), day),
                _ => {}
            }
        }
        let mut worked: BTreeMap<PersonId, Day> = BTreeMap::new();
        for spell in spells {
            let last = worked.entry(spell.person()).or_insert(spell.day);
            *last = spell.day.max(*last);
        }
        let founder = book.founder();
        let gone_from = |(person, tools): (PersonId, BTreeSet<Tool>)| {
            let ends: Option<Vec<Day>> = tools.iter().map(|tool| ended.get(tool).copied()).collect();
            let left = ends?.into_iter().max()?;
            let worked_since = worked.get(&person).filter(|day| **day > left);
            (Some(person) != founder).then(|| (person, worked_since.map_or(left, |day| day.plus_days(1))))
        };
        Self { gone_from: tools.into_iter().filter_map(gone_from).collect() }
    }

    /// Whether somebody is of the crew on a day.
    #[must_use]
    pub fn is_there(&self, person: PersonId, day: Day) -> bool {
        self.gone_from.get(&person).is_none_or(|gone_from| day < *gone_from)
    }
}
