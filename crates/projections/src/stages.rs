//! How each stage stands: signed off, in hand, free to begin, or waiting for another.
//!
//! A stage is signed off when somebody signs off all of it. A sign-off that says where is of that place alone:
//! it counts before that place is closed up, and does not end the stage.
//!
//! *Free* means that what a stage follows is signed off. Whether the wait after that is over only a
//! caller with a clock can tell; the moment from which it is, is given. Nothing here says that
//! work is safe or fit: it tells what was logged and what was not.

use std::collections::BTreeMap;

use ledger::site::{Place, StageListed};
use ledger::{Body, EntryRef, EventHash, JobId, StageId};
use serde::Serialize;
use trade::measure::Verdict;
use trade::{Day, Moment, Quantity};

use crate::book::Book;
use crate::entry::Entry;
use crate::evidence::{Evidence, MissingEvidence, OfStage};
use crate::judged::judged_entry;
use crate::lists::Lists;
use crate::places::PlaceWords;
use crate::time_on_job::{Spell, spells_of};
use crate::words;

/// When something was done: the day and the minute, as far as it was said.
///
/// Without a time of its own, what was logged on its day was done by then; what was logged later
/// was done at some time of the day, which counts as its end.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct DoneAt {
    /// The day.
    pub day: Day,
    /// Minutes past midnight; 1,440 where no time is known.
    pub minute: u16,
}

impl DoneAt {
    /// When an entry was done.
    #[must_use]
    pub fn of(entry: &Entry<'_>) -> Self {
        let act = &entry.act;
        Self { day: act.done_on, minute: Self::known_minute(entry).unwrap_or(24 * 60) }
    }

    /// The minute of the entry's day, where it is known.
    #[must_use]
    pub fn known_minute(entry: &Entry<'_>) -> Option<u16> {
        let logged = entry.act.logged_at;
        entry.act.done_at.or_else(|| (logged.day() == entry.act.done_on).then(|| logged.minute_of_day()))
    }
}

/// How a stage stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Condition {
    /// Signed off, and not opened again since.
    SignedOff,
    /// It was signed off, and is open again.
    Reopened,
    /// Somebody asks for it to be checked.
    ReadyForChecking,
    /// Part done.
    PartDone,
    /// Somebody worked on it.
    InHand,
    /// What it follows is signed off.
    Free,
    /// It follows something that is not signed off.
    Waiting,
}

impl Condition {
    /// Somebody worked on it, and it is not signed off.
    #[must_use]
    pub const fn is_begun(self) -> bool {
        match self {
            Self::InHand | Self::PartDone | Self::Reopened | Self::ReadyForChecking => true,
            Self::Free | Self::SignedOff | Self::Waiting => false,
        }
    }
}

/// A stage and how it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stage {
    /// The stage.
    pub stage: StageId,
    /// Its job.
    pub job: JobId,
    /// How it stands.
    pub condition: Condition,
    /// The sign-off of all of it that holds.
    pub signed_off: Option<SignOff>,
    /// The places that were signed off where all of it is not.
    pub signed_off_places: Vec<PlaceSignedOff>,
    /// The entry that last changed how it stands.
    pub last: Option<EntryRef>,
    /// The event that last changed how it stands.
    pub last_event: Option<EventHash>,
    /// How much is done in per cent, where that was said last.
    pub part_done: Option<Quantity>,
    /// The tests and photos that its sign-off needs and that are not there, by place.
    pub missing: Vec<MissingEvidence>,
    /// The stages that it follows and that are not signed off.
    pub waits_for: Vec<StageId>,
    /// When the wait after the stages that it follows is over, where all are signed off.
    pub wait_over: Option<Moment>,
    /// When work on it began.
    pub began: Option<DoneAt>,
    /// The entries that began it.
    pub begun_by: Vec<EntryRef>,
}

/// A sign-off that holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SignOff {
    /// The entry.
    pub entry: EntryRef,
    /// Its event.
    pub event: EventHash,
    /// When.
    pub at: DoneAt,
    /// When it was written down.
    pub logged_at: Moment,
}

/// A sign-off of one place of a stage, and what was not heard of there.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PlaceSignedOff {
    /// The place as it was said.
    pub place: String,
    /// The sign-off.
    pub sign_off: SignOff,
    /// The tests and photos that it needs and that are not there.
    pub missing: Vec<MissingEvidence>,
}

/// What happened on a stage.
#[derive(Default)]
pub(crate) struct Happened<'a, 'book> {
    steps: Vec<(DoneAt, &'a Entry<'book>)>,
    /// The first work on it.
    began: Option<(DoneAt, EntryRef)>,
}

impl Book {
    /// Every listed stage and how it stands, by job and order.
    #[must_use]
    pub fn stages(&self, lists: &Lists<'_>) -> Vec<Stage> {
        let entries: Vec<_> = self.entries().collect();
        stages_of(&happened(&entries, &spells_of(&entries)), &Evidence::of(&entries, lists), lists)
    }
}

/// Every listed stage and how it stands after what happened, by job and order.
pub(crate) fn stages_of(
    happened: &BTreeMap<StageId, Happened<'_, '_>>,
    evidence: &Evidence<'_>,
    lists: &Lists<'_>,
) -> Vec<Stage> {
    let (nothing, no_evidence) = (Happened::default(), OfStage::default());
    let mut stages: BTreeMap<StageId, Stage> = BTreeMap::new();
    for (id, listed) in &lists.stages {
        let evidence = evidence.of_stage(*id).unwrap_or(&no_evidence);
        stages.insert(*id, stage(listed, happened.get(id).unwrap_or(&nothing), evidence));
    }
    let sign_offs: BTreeMap<_, _> =
        stages.iter().filter_map(|(id, stage)| Some((*id, stage.signed_off?))).collect();
    for (id, listed) in &lists.stages {
        if let Some(stage) = stages.get_mut(id) {
            wait(stage, listed, &sign_offs);
        }
    }
    let mut stages: Vec<_> = stages.into_values().collect();
    stages.sort_by_key(|stage| {
        let order = lists.stages.get(&stage.stage).map_or(0, |listed| listed.order);
        (lists.job(stage.job), order, stage.stage)
    });
    stages
}

/// What happened on each stage.
pub(crate) fn happened<'a, 'book>(
    entries: &'a [Entry<'book>],
    spells: &[Spell],
) -> BTreeMap<StageId, Happened<'a, 'book>> {
    let mut stages: BTreeMap<StageId, Happened<'_, '_>> = BTreeMap::new();
    for entry in entries {
        if let Body::ExtraAgreed(agreed) = entry.body.as_ref() {
            for stage in &agreed.reopens {
                stages.entry(*stage).or_default().steps.push((DoneAt::of(entry), entry));
            }
        }
        let Some(stage) = entry.site().and_then(|site| site.stage) else { continue };
        stages.entry(stage).or_default().take(entry);
    }
    for spell in spells {
        let Some(stage) = spell.site.stage else { continue };
        let minute = spell.clock.filter(|(from, _)| from.day() == spell.day);
        let minute = minute.map_or(24 * 60, |(from, _)| from.minute_of_day());
        stages.entry(stage).or_default().work((DoneAt { day: spell.day, minute }, spell.entry));
    }
    for happened in stages.values_mut() {
        happened.steps.sort_by(|(one, a), (other, b)| {
            let order = |entry: &'a Entry<'book>| {
                (entry.act.logged_at, entry.act.row_key.as_str(), entry.logged.hash)
            };
            (one, order(a)).cmp(&(other, order(b)))
        });
    }
    stages
}

impl<'a, 'book> Happened<'a, 'book> {
    fn take(&mut self, entry: &'a Entry<'book>) {
        let at = DoneAt::of(entry);
        match entry.body.as_ref() {
            Body::SignedOff(_) | Body::Reopened(_) | Body::PartDone(_) | Body::ReadyForChecking(_) => {
                self.steps.push((at, entry));
            }
            Body::Used(_) | Body::Wasted(_) => self.work((at, entry.entry_ref())),
            _ => {}
        }
    }

    fn work(&mut self, work: (DoneAt, EntryRef)) {
        self.began = Some(self.began.map_or(work, |began| began.min(work)));
    }
}

fn stage(listed: &StageListed, happened: &Happened<'_, '_>, evidence: &OfStage<'_>) -> Stage {
    let mut found = Stage {
        stage: listed.stage,
        job: listed.job,
        condition: if happened.began.is_none() { Condition::Free } else { Condition::InHand },
        signed_off: None,
        signed_off_places: Vec::new(),
        last: None,
        last_event: None,
        part_done: None,
        missing: Vec::new(),
        waits_for: Vec::new(),
        wait_over: None,
        began: happened.began.map(|(at, _)| at),
        begun_by: happened.began.map(|(_, entry)| entry).into_iter().collect(),
    };
    let mut places: BTreeMap<PlaceWords, (&Place, SignOff)> = BTreeMap::new();
    for (at, entry) in &happened.steps {
        let event = entry.revision();
        (found.last, found.last_event) = (Some(entry.entry_ref()), Some(event));
        let sign_off = SignOff { entry: entry.entry_ref(), event, at: *at, logged_at: entry.act.logged_at };
        match entry.body.as_ref() {
            Body::SignedOff(signed) if PlaceWords::of(&signed.site.place).is_unknown() => {
                found.signed_off = Some(sign_off);
                found.condition = Condition::SignedOff;
            }
            Body::SignedOff(signed) => {
                places.insert(PlaceWords::of(&signed.site.place), (&signed.site.place, sign_off));
                if found.condition == Condition::Free {
                    found.condition = Condition::InHand;
                }
            }
            Body::Reopened(_) | Body::ExtraAgreed(_) => {
                found.condition = match found.signed_off.take() {
                    Some(_) => Condition::Reopened,
                    None => found.condition,
                };
            }
            Body::PartDone(part) => {
                found.part_done = Some(part.percent);
                found.condition = found.signed_off.map_or(Condition::PartDone, |_| Condition::SignedOff);
            }
            Body::ReadyForChecking(_) => {
                found.condition =
                    found.signed_off.map_or(Condition::ReadyForChecking, |_| Condition::SignedOff);
            }
            _ => {}
        }
    }
    found.missing = evidence.missing(listed, found.signed_off.map(|sign_off| sign_off.at.day));
    if found.signed_off.is_none() {
        let holds = places.into_iter().filter(|(here, _)| evidence.is_signed_off(here));
        found.signed_off_places = holds
            .map(|(here, (place, sign_off))| {
                let (place, until) = (words::place(place), Some(sign_off.at.day));
                let missing = evidence.missing_at(listed, &here, until).into_iter();
                let missing = missing.map(|what| MissingEvidence { what, place: place.clone() }).collect();
                PlaceSignedOff { place, sign_off, missing }
            })
            .collect();
    }
    found
}

fn wait(stage: &mut Stage, listed: &StageListed, sign_offs: &BTreeMap<StageId, SignOff>) {
    stage.waits_for = listed.after.iter().filter(|before| !sign_offs.contains_key(before)).copied().collect();
    if !stage.waits_for.is_empty() && stage.condition == Condition::Free {
        stage.condition = Condition::Waiting;
    }
    let last = listed.after.iter().filter_map(|before| sign_offs.get(before)).map(|off| off.logged_at).max();
    let over = last.filter(|_| stage.waits_for.is_empty()).and_then(|last| {
        Moment::new(last.utc_ms() + i64::from(listed.wait_minutes) * 60_000, last.offset_min()).ok()
    });
    stage.wait_over = over;
}

/// The kind of a test that was done, unless it is outside the limit that was set. One that its limit does not
/// tell of is there; whether it is enough, whoever signs off says.
pub(crate) fn passed(lists: &Lists<'_>, entry: &Entry<'_>) -> Option<String> {
    let Body::Test(test) = entry.body.as_ref() else { return None };
    let verdict = judged_entry(lists, entry)?.verdict;
    (verdict != Verdict::Outside).then(|| plain(&test.what))
}

/// A test's name as it is compared: "Pressure test" is "pressure test".
pub(crate) fn plain(what: &str) -> String {
    what.trim().to_lowercase()
}

/// A stage as a screen or a program shows it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct StageLine {
    /// The job's code.
    pub job: String,
    /// The stage's name.
    pub stage: String,
    /// How it stands.
    pub state: Condition,
    /// What is missing, in words.
    pub missing: Vec<String>,
    /// The places that were signed off where all of it is not.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub signed_off_places: Vec<String>,
    /// The earliest moment by the wait; check by eye and touch.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub wait_over: Option<Moment>,
}

/// Every stage with its names, by job and order.
#[must_use]
pub fn stages(book: &Book) -> Vec<StageLine> {
    let lists = book.lists();
    let lines = book.stages(&lists).into_iter().map(|stage| {
        let waits =
            stage.waits_for.iter().map(|before| format!("sign-off of {}", lists.stage(Some(*before))));
        let waits = waits.filter(|_| stage.condition != Condition::SignedOff);
        StageLine {
            job: lists.job(stage.job),
            stage: lists.stage(Some(stage.stage)),
            state: stage.condition,
            missing: waits.chain(stage.missing.iter().map(MissingEvidence::words)).collect(),
            signed_off_places: stage.signed_off_places.iter().map(|signed| signed.place.clone()).collect(),
            wait_over: stage.wait_over.filter(|_| stage.condition == Condition::Free),
        }
    });
    lines.collect()
}
