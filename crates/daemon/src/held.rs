//! What the ledger holds, as far as an import asks, and the photos that rows name.

use std::cell::RefCell;
use std::collections::BTreeMap;
use std::path::{Component, Path, PathBuf};

use ledger::roster_events::Role;
use ledger::site::{ItemListed, JobListed, LineListed, StageListed};
use ledger::{Body, EntryRef, EventHash, JobId, Kind, Payload, PersonId, PhotoHash, StageId};
use projections::lists::Lists;

use crate::import::{Held, ListSubject, PhotoFile};
use crate::node::Node;
use crate::photos;

/// Shortest beginning of an id that may stand for the whole: less is met by chance.
pub(crate) const SHORTEST_BEGINNING: usize = 6;

/// The lists and entries in a node's book.
pub(crate) struct HeldInBook<'node> {
    node: &'node Node,
    lists: Lists<'node>,
    versions: BTreeMap<(Kind, ListSubject), Vec<(EventHash, Payload)>>,
    /// Where rows may name files that are not kept yet.
    folder: Option<&'node Path>,
    found: RefCell<BTreeMap<PhotoHash, PathBuf>>,
}

impl<'node> HeldInBook<'node> {
    /// With a folder, its rows may name files in it as photos.
    pub(crate) fn new(node: &'node Node, folder: Option<&'node Path>) -> Self {
        let mut versions: BTreeMap<_, Vec<_>> = BTreeMap::new();
        for logged in node.book().list_heads() {
            if let Some(subject) = subject_of(&logged.body) {
                let payload = Payload { act: logged.act.clone(), body: logged.body.clone() };
                versions.entry((logged.body.kind(), subject)).or_default().push((logged.hash, payload));
            }
        }
        Self { node, lists: node.book().lists(), versions, folder, found: RefCell::default() }
    }

    /// The files of the folder that rows named as photos.
    pub(crate) fn into_found(self) -> BTreeMap<PhotoHash, PathBuf> {
        self.found.into_inner()
    }
}

impl Held for HeldInBook<'_> {
    fn event_of(&self, entry: &EntryRef) -> Option<(EventHash, Payload)> {
        self.change_of(entry, entry)
    }

    fn change_of(&self, entry: &EntryRef, change: &EntryRef) -> Option<(EventHash, Payload)> {
        let history = self.node.book().history(entry);
        let found = history.into_iter().find(|logged| logged.act.entry_ref() == *change)?;
        Some((found.hash, Payload { act: found.act.clone(), body: found.body.clone() }))
    }

    fn list_versions(&self, kind: Kind, subject: ListSubject) -> Vec<(EventHash, Payload)> {
        self.versions.get(&(kind, subject)).cloned().unwrap_or_default()
    }

    fn person(&self, name: &str) -> Option<(PersonId, Role)> {
        let mut people = self.node.ledger().roster().people();
        people.find(|person| person.name == name).map(|person| (person.person, person.role))
    }

    fn people(&self) -> Vec<PersonId> {
        self.node.ledger().roster().people().map(|person| person.person).collect()
    }

    fn job(&self, code: &str) -> Option<JobListed> {
        self.lists.jobs.values().find(|job| job.code == code).map(|job| (*job).clone())
    }

    fn stage(&self, job: JobId, name: &str) -> Option<StageId> {
        let mut stages = self.lists.stages.values();
        stages.find(|stage| stage.job == job && stage.name == name).map(|stage| stage.stage)
    }

    fn item(&self, name: &str) -> Option<ItemListed> {
        self.lists.items.values().find(|item| item.name == name).map(|item| (*item).clone())
    }

    fn stages_of(&self, job: JobId) -> Vec<StageListed> {
        self.lists.stages.values().filter(|stage| stage.job == job).map(|stage| (*stage).clone()).collect()
    }

    fn lines_of(&self, job: JobId) -> Vec<LineListed> {
        self.lists.lines.values().filter(|line| line.job == job).map(|line| (*line).clone()).collect()
    }

    fn entry_beginning(&self, beginning: &str) -> Option<(EntryRef, Kind)> {
        if beginning.len() < SHORTEST_BEGINNING {
            return None;
        }
        let book = self.node.book();
        let mut met = book.entries().filter(|entry| entry.act.entry.to_string().starts_with(beginning));
        match (met.next(), met.next()) {
            (Some(entry), None) => Some((entry.entry_ref(), entry.body.kind())),
            (None | Some(_), _) => None,
        }
    }

    fn photo(&self, name: &str) -> Result<PhotoFile, String> {
        if let Ok(hash) = name.parse::<PhotoHash>() {
            return photos::kept(self.node.folder(), hash);
        }
        let Some(folder) = self.folder else {
            return Err(format!("{name:?} is no photo's hash, which has 64 hex digits"));
        };
        let path = Path::new(name);
        if !path.components().all(|part| matches!(part, Component::Normal(_) | Component::CurDir)) {
            return Err(format!("{name:?} must name a file in the folder that is imported"));
        }
        let path = folder.join(path);
        // The row's own name for it, and not where this machine keeps the folder.
        let photo = photos::look_at(&path).map_err(|why| why.replace(&path.display().to_string(), name))?;
        self.found.borrow_mut().insert(photo.hash, path);
        Ok(photo)
    }

    fn reads_office(&self) -> bool {
        self.node.is_office()
    }
}

/// What a list event is about; none for what no import writes.
const fn subject_of(body: &Body) -> Option<ListSubject> {
    Some(match body {
        Body::ItemListed(listed) => ListSubject::Item(listed.item),
        Body::ItemPriced(priced) => ListSubject::Item(priced.item),
        Body::JobListed(listed) => ListSubject::Job(listed.job),
        Body::JobTerms(terms) => ListSubject::Job(terms.job),
        Body::StageListed(listed) => ListSubject::Stage(listed.stage),
        Body::LineListed(listed) => ListSubject::Line(listed.line),
        Body::LinePriced(priced) => ListSubject::Line(priced.line),
        Body::PersonListed(listed) => ListSubject::Person(listed.person),
        Body::PersonRated(rated) => ListSubject::Person(rated.person),
        Body::FirmListed(_) => ListSubject::Firm,
        Body::PricePaid(paid) => ListSubject::Entry(paid.of),
        _ => return None,
    })
}
