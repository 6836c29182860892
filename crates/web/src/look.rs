//! One look at the node, for one person: what every screen is filled from. Nothing here writes.

use std::collections::{BTreeMap, BTreeSet};

use daemon::Node;
use ledger::site::{JobListed, StageListed};
use ledger::{Body, ChainId, EntryRef, JobId, PersonId, StageId};
use projections::entry::Part;
use projections::time_on_job::Running;
use projections::{Book, Entry, Lists, Logged};
use serde::Deserialize;
use trade::{Day, Moment, TimeError};

use crate::frame::{Frame, JobSites, Tab};
use crate::links::encoded;
use crate::posting::HOME_ZONE;
use crate::problem::Problem;
use crate::shapes::Tally;
use crate::viewer::Viewer;
use projections::words;

/// What the address of a screen asks for.
#[derive(Debug, Clone, Default, PartialEq, Eq, Deserialize)]
pub(crate) struct Asked {
    /// The job's code.
    #[serde(default)]
    pub(crate) job: String,
    /// The stage's name; `-` is "no stage".
    #[serde(default)]
    pub(crate) stage: String,
    /// A person's name or an item's, where a screen tells them apart.
    #[serde(default)]
    pub(crate) what: String,
    /// A day.
    #[serde(default)]
    pub(crate) on: String,
}

impl Asked {
    /// What stands in an address beside the job, so that a form leads back to the same screen.
    pub(crate) fn rest(&self) -> String {
        let parts = [("stage", &self.stage), ("what", &self.what), ("on", &self.on)];
        let said = parts.into_iter().filter(|(_, value)| !value.is_empty());
        let said = said.map(|(name, value)| format!("{name}={}", encoded(value)));
        said.collect::<Vec<_>>().join("&")
    }
}

/// The node, who looks, and which job and stage are in hand.
pub(crate) struct Look<'a> {
    pub(crate) node: &'a Node,
    pub(crate) book: &'a Book,
    pub(crate) lists: Lists<'a>,
    pub(crate) viewer: &'a Viewer,
    pub(crate) now: Moment,
    pub(crate) today: Day,
    /// The job in hand.
    pub(crate) job: Option<&'a JobListed>,
    /// The stage in hand.
    pub(crate) stage: Option<&'a StageListed>,
    /// This person's timer.
    pub(crate) running: Option<Running>,
}

/// How safe an entry is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Safety {
    pub(crate) tally: Tally,
    /// `safe on 3 phones`, `on laptop only`.
    pub(crate) words: String,
    /// How many devices hold it.
    pub(crate) devices: usize,
}

impl<'a> Look<'a> {
    /// Looks at this moment.
    ///
    /// # Errors
    /// [`Problem::Broken`] where the clock is far outside of this millennium.
    pub(crate) fn now(node: &'a Node, viewer: &'a Viewer, asked: &Asked) -> Result<Self, Problem> {
        Self::new(node, viewer, asked, node.now_ms()).map_err(|error| {
            tracing::error!(%error, "the clock");
            Problem::Broken
        })
    }

    /// Looks. `now_ms` is the wall clock, in milliseconds since 1970.
    ///
    /// # Errors
    /// A clock far outside of this millennium.
    pub(crate) fn new(
        node: &'a Node,
        viewer: &'a Viewer,
        asked: &Asked,
        now_ms: i64,
    ) -> Result<Self, TimeError> {
        let (book, lists) = (node.book(), node.book().lists());
        let running = book.running().into_iter().filter(|running| running.entry.person == viewer.person);
        let running = running.max_by_key(|running| (running.since, running.entry));
        let job = lists.jobs.values().copied().find(|job| job.code == asked.job);
        let job = job.or_else(|| running.as_ref().and_then(|at| lists.jobs.get(&at.site.job).copied()));
        let job = job.or_else(|| last_job(book, viewer.person).and_then(|job| lists.jobs.get(&job).copied()));
        let job = job.or_else(|| lists.jobs.values().copied().min_by_key(|job| job.code.clone()));
        let of_job = |stage: StageId| {
            lists.stages.get(&stage).copied().filter(|stage| Some(stage.job) == job.map(|job| job.job))
        };
        let named = lists.stages.values().copied();
        let mut named = named.filter(|stage| Some(stage.job) == job.map(|job| job.job));
        let stage = match asked.stage.as_str() {
            "-" => None,
            "" => running
                .as_ref()
                .and_then(|running| running.site.stage)
                .and_then(of_job)
                .or_else(|| last_stage(book, viewer.person, job?.job).and_then(of_job)),
            name => named.find(|stage| stage.name == name),
        };
        let zone = job.map_or(HOME_ZONE, |job| job.time_zone.as_str());
        let now = Moment::in_zone(now_ms, zone).or_else(|_| Moment::in_zone(now_ms, HOME_ZONE))?;
        Ok(Self { node, book, lists, viewer, now, today: now.day(), job, stage, running })
    }

    /// The frame around a screen.
    pub(crate) fn frame(&self, tab: Tab, title: String) -> Frame {
        Frame {
            viewer: self.viewer.clone(),
            tab,
            own_path: None,
            title,
            job: self.job.map(|job| job.code.clone()).unwrap_or_default(),
            safety: self.safety_of_all(),
            asked: String::new(),
            notice: String::new(),
            fields: BTreeMap::new(),
            sites: self.sites(),
        }
    }

    /// Every job with its stages, the job in hand first.
    fn sites(&self) -> Vec<JobSites> {
        let mut jobs: Vec<&JobListed> = self.lists.jobs.values().copied().collect();
        jobs.sort_by_key(|job| (Some(job.job) != self.job.map(|in_hand| in_hand.job), &job.code));
        let stages = |job: &JobListed| {
            let mut stages: Vec<_> =
                self.lists.stages.values().filter(|stage| stage.job == job.job).collect();
            stages.sort_by_key(|stage| (stage.order, stage.stage));
            stages.into_iter().map(|stage| stage.name.clone()).collect()
        };
        jobs.into_iter().map(|job| JobSites { job: job.code.clone(), stages: stages(job) }).collect()
    }

    /// The stages of the job in hand, in their order.
    pub(crate) fn stages(&self) -> Vec<&'a StageListed> {
        let job = self.job.map(|job| job.job);
        let mut stages: Vec<_> =
            self.lists.stages.values().copied().filter(|stage| Some(stage.job) == job).collect();
        stages.sort_by_key(|stage| (stage.order, stage.stage));
        stages
    }

    /// The jobs' codes, in their order.
    pub(crate) fn job_codes(&self) -> Vec<String> {
        let mut codes: Vec<_> = self.lists.jobs.values().map(|job| job.code.clone()).collect();
        codes.sort_unstable();
        codes
    }

    /// Everybody but the viewer.
    pub(crate) fn mates(&self) -> Vec<String> {
        let people = self.node.ledger().roster().people();
        let mut mates: Vec<_> =
            people.filter(|person| person.person != self.viewer.person).map(|p| p.name.clone()).collect();
        mates.sort_unstable();
        mates
    }

    /// How safe some events are: those that make an entry.
    pub(crate) fn safety(&self, events: &[(ChainId, u64)]) -> Safety {
        let devices = self.node.holders(events).len();
        let words = if devices > 1 {
            format!("safe on {devices} phones")
        } else {
            format!("on {} only", self.node.device().name)
        };
        Safety { tally: Tally::of(devices), words, devices }
    }

    /// The events that make an entry, as places in chains.
    pub(crate) fn places(&self, entry: &EntryRef) -> Vec<(ChainId, u64)> {
        self.book.history(entry).iter().map(|logged| (logged.chain, logged.seq)).collect()
    }

    /// How safe all that this person logged today and yesterday is.
    fn safety_of_all(&self) -> String {
        let lately = |entry: &Entry<'_>| {
            entry.logged.act.author == self.viewer.person
                && entry.act.logged_at.day() >= self.today.plus_days(-1)
        };
        let others = |entry: Entry<'_>| self.safety(&self.places(&entry.entry_ref())).devices - 1;
        let others: Vec<usize> = self.book.entries().filter(lately).map(others).collect();
        let alone = others.iter().filter(|others| **others == 0).count();
        match (others.iter().min(), alone) {
            (None, _) => String::new(),
            (_, 0) => {
                let others = others.iter().min().copied().unwrap_or_default();
                format!("all safe on {others} other{}", if others == 1 { "" } else { "s" })
            }
            (_, alone) => format!("{alone} on {} only", self.node.device().name),
        }
    }

    /// What an entry says, with its note.
    pub(crate) fn told(&self, entry: &Entry<'_>) -> String {
        words::with_note(&words::told(&self.lists, self.book, &entry.body), &entry.act.note)
    }

    /// The stage of an entry, by name; empty for none.
    pub(crate) fn stage_of(&self, entry: &Entry<'_>) -> String {
        let stage = entry.site().and_then(|site| site.stage);
        stage.map(|stage| self.lists.stage(Some(stage))).unwrap_or_default()
    }

    /// The stages that this person worked on last on this job, the latest first.
    pub(crate) fn last_stages(&self) -> Vec<StageId> {
        let job = self.job.map(|job| job.job);
        let mut logged: Vec<_> = self
            .book
            .entries()
            .filter(|entry| entry.act.person == self.viewer.person)
            .filter_map(|entry| {
                let site = entry.site()?;
                (Some(site.job) == job).then_some((entry.act.logged_at, site.stage?))
            })
            .collect();
        logged.sort_unstable_by(|one, other| other.cmp(one));
        let mut known = BTreeSet::new();
        logged.into_iter().map(|(_, stage)| stage).filter(|stage| known.insert(*stage)).collect()
    }
}

/// An event as an entry, though nobody said yes to it yet.
pub(crate) fn as_logged(logged: &Logged) -> Entry<'_> {
    Entry {
        logged,
        act: Part::Logged(&logged.act),
        body: Part::Logged(&logged.body),
        changed_by: Vec::new(),
        heads: vec![logged.hash],
    }
}

/// On which job somebody logged something last.
fn last_job(book: &Book, person: PersonId) -> Option<JobId> {
    let entries = book.entries().filter(|entry| entry.act.person == person && is_work(&entry.body));
    entries.filter_map(|entry| Some((entry.act.logged_at, entry.site()?.job))).max().map(|(_, job)| job)
}

/// On which stage of a job somebody logged something last; none also where that was "no stage".
fn last_stage(book: &Book, person: PersonId, job: JobId) -> Option<StageId> {
    let entries = book.entries().filter(|entry| entry.act.person == person && is_work(&entry.body));
    let last = entries.filter_map(|entry| {
        let site = entry.site().filter(|site| site.job == job)?;
        Some((entry.act.logged_at, site.stage))
    });
    last.max().and_then(|(_, stage)| stage)
}

/// Whether an entry says that somebody is at work somewhere.
const fn is_work(body: &Body) -> bool {
    matches!(
        body,
        Body::Hours(_)
            | Body::WorkStarted(_)
            | Body::WorkSwitched(_)
            | Body::Used(_)
            | Body::Wasted(_)
            | Body::Test(_)
    )
}
