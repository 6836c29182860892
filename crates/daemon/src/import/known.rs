//! What a row may refer to: the people, jobs, stages and items of the files and of the ledger.
//!
//! A thing that the ledger holds under a name keeps its id; a new one gets the id of its name.

use std::collections::{BTreeMap, BTreeSet};

use ledger::{Body, CrewId, EntryRef, EventHash, ItemId, JobId, Kind, Payload, PersonId, StageId};
use trade::{Packing, Quantity, UnitError, time::check_zone};

use super::table::{Row, Tables};
use super::{Context, ListSubject, PhotoFile};

/// The zone of a job that names none.
pub(super) const DEFAULT_ZONE: &str = "Europe/London";

/// A job that a row refers to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct KnownJob {
    pub(super) id: JobId,
    pub(super) zone: String,
}

/// An item that a row refers to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct KnownItem {
    pub(super) id: ItemId,
    pub(super) unit: String,
    pub(super) pack: String,
    /// `None` where the item's own row is bad, which is complained about there.
    pack_size: Option<Quantity>,
}

impl KnownItem {
    /// How it is counted; `None` where the item's own row is bad.
    pub(super) fn packing(&self) -> Option<Result<Packing<'_>, UnitError>> {
        self.pack_size.map(|size| Packing::new(&self.unit, &self.pack, size))
    }
}

pub(super) struct Known<'a> {
    context: &'a Context<'a>,
    people: BTreeMap<String, PersonId>,
    jobs: BTreeMap<String, KnownJob>,
    stages: BTreeMap<(JobId, String), StageId>,
    items: BTreeMap<String, KnownItem>,
}

impl<'a> Known<'a> {
    pub(super) fn gather(tables: &Tables, context: &'a Context<'a>) -> Self {
        let mut known = Self {
            context,
            people: BTreeMap::new(),
            jobs: BTreeMap::new(),
            stages: BTreeMap::new(),
            items: BTreeMap::new(),
        };
        for row in &tables.crew {
            let name = row.text("person");
            let held = context.held.person(name).map(|(person, _)| person);
            let person = held.unwrap_or_else(|| PersonId::named(&context.crew, name));
            known.people.insert(name.to_owned(), person);
        }
        for row in &tables.jobs {
            let code = row.text("job");
            let held = context.held.job(code).map(|job| job.job);
            let id = held.unwrap_or_else(|| JobId::named(&context.crew, code));
            // A zone that is unknown is complained about in jobs.csv, once.
            let zone = Some(row.text("timezone")).filter(|zone| check_zone(zone).is_ok());
            let job = KnownJob { id, zone: zone.unwrap_or(DEFAULT_ZONE).to_owned() };
            known.jobs.insert(code.to_owned(), job);
        }
        for row in &tables.stages {
            let (code, name) = (row.text("job"), row.text("stage"));
            if let Some(job) = known.job(code) {
                let held = context.held.stage(job.id, name);
                let stage = held.unwrap_or_else(|| StageId::named(&context.crew, code, name));
                known.stages.insert((job.id, name.to_owned()), stage);
            }
        }
        for row in &tables.price_book {
            let item = known.item_of(row);
            known.items.insert(row.text("item").to_owned(), item);
        }
        known
    }

    fn item_of(&self, row: &Row) -> KnownItem {
        let name = row.text("item");
        let held = self.context.held.item(name).map(|item| item.item);
        let (unit, pack) = (row.text("unit"), row.text("pack"));
        KnownItem {
            id: held.unwrap_or_else(|| ItemId::named(&self.context.crew, name)),
            unit: unit.to_owned(),
            pack: if pack.is_empty() { unit } else { pack }.to_owned(),
            pack_size: row.text("pack_size").parse().ok(),
        }
    }

    pub(super) fn crew(&self) -> CrewId {
        self.context.crew
    }

    /// The file that a row names as a photo, or why it is none.
    pub(super) fn photo(&self, name: &str) -> Result<PhotoFile, String> {
        self.context.held.photo(name)
    }

    pub(super) fn event_of(&self, entry: &EntryRef) -> Option<(EventHash, Payload)> {
        self.context.held.event_of(entry)
    }

    /// The one entry whose id begins so.
    pub(super) fn entry_beginning(&self, beginning: &str) -> Option<(EntryRef, Kind)> {
        self.context.held.entry_beginning(beginning)
    }

    pub(super) fn person(&self, name: &str) -> Option<PersonId> {
        self.people.get(name).copied().or_else(|| self.context.held.person(name).map(|(person, _)| person))
    }

    /// Everybody of crew.csv and of the crew.
    pub(super) fn people(&self) -> BTreeSet<PersonId> {
        self.people.values().copied().chain(self.context.held.people()).collect()
    }

    pub(super) fn job(&self, code: &str) -> Option<KnownJob> {
        let held = || self.context.held.job(code).map(|job| KnownJob { id: job.job, zone: job.time_zone });
        self.jobs.get(code).cloned().or_else(held)
    }

    pub(super) fn stage(&self, job: JobId, name: &str) -> Option<StageId> {
        let found = self.stages.get(&(job, name.to_owned())).copied();
        found.or_else(|| self.context.held.stage(job, name))
    }

    /// What to say where a job has no such stage: which it has.
    pub(super) fn no_stage(&self, job: JobId, name: &str) -> String {
        let listed = self.stages.keys().filter(|(of, _)| *of == job).map(|(_, name)| name.clone());
        let held = self.context.held.stages_of(job).into_iter().map(|stage| stage.name);
        let names: Vec<String> = listed.chain(held).collect::<BTreeSet<_>>().into_iter().collect();
        let what_now = match names.as_slice() {
            [] => "it has none yet; `fivebar stage add` adds one".to_owned(),
            names => format!("it has {}", names.join(", ")),
        };
        format!("there is no stage {name:?} of this job; {what_now}")
    }

    pub(super) fn item(&self, name: &str) -> Option<KnownItem> {
        let held = || {
            self.context.held.item(name).map(|item| KnownItem {
                id: item.item,
                unit: item.unit,
                pack: item.pack,
                pack_size: Some(item.pack_size),
            })
        };
        self.items.get(name).cloned().or_else(held)
    }

    pub(super) fn item_with_id(&self, id: ItemId) -> Option<KnownItem> {
        let held = || {
            let versions = self.context.held.list_versions(Kind::ItemListed, ListSubject::Item(id));
            let latest = versions.into_iter().max_by_key(|(hash, version)| (version.act.logged_at, *hash));
            match latest.map(|(_, version)| version.body) {
                Some(Body::ItemListed(item)) => self.item(&item.name),
                _ => None,
            }
        };
        self.items.values().find(|item| item.id == id).cloned().or_else(held)
    }
}
