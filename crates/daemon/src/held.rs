//! What the ledger holds, as far as an import asks.

use std::collections::BTreeMap;

use ledger::roster_events::Role;
use ledger::site::{ItemListed, JobListed};
use ledger::{Body, EntryRef, EventHash, JobId, Kind, Payload, PersonId, StageId};
use projections::lists::Lists;

use crate::import::{Held, ListSubject};
use crate::node::Node;

/// The lists and entries in a node's book.
pub(crate) struct HeldInBook<'node> {
    node: &'node Node,
    lists: Lists<'node>,
    versions: BTreeMap<(Kind, ListSubject), Vec<(EventHash, Payload)>>,
}

impl<'node> HeldInBook<'node> {
    pub(crate) fn new(node: &'node Node) -> Self {
        let mut versions: BTreeMap<_, Vec<_>> = BTreeMap::new();
        for logged in node.book().list_heads() {
            if let Some(subject) = subject_of(&logged.body) {
                let payload = Payload { act: logged.act.clone(), body: logged.body.clone() };
                versions.entry((logged.body.kind(), subject)).or_default().push((logged.hash, payload));
            }
        }
        Self { node, lists: node.book().lists(), versions }
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
        _ => return None,
    })
}
