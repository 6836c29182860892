//! What was logged on each stage, by place: tests, photos, sign-offs, and where it was worked.
//!
//! What a stage needs it needs at each of its places: a photo of the kitchen shows nothing of the bathroom.
//! What was said of no place is read so:
//! - a *test* is of the whole: the gauge is on all of the pipe;
//! - a *photo* shows one place. It is of the only one that the stage has; where the stage has several, nobody
//!   can tell of which, and it is of none until somebody says so;
//! - a *sign-off*, an *opening up* and a word that somebody was told are of the whole;
//! - *work* is of the place that others said of the stage, and of the whole where nobody said one.
//!
//! A place is as wide as it was said. Evidence of a room is of its walls; where walls were said, each is asked for.

use std::collections::BTreeMap;

use ledger::site::{Place, StageListed, Worked};
use ledger::{Body, EntryRef, EventHash, PersonId, StageId};
use trade::{Day, Moment};

use crate::entry::Entry;
use crate::lists::Lists;
use crate::places::PlaceWords;
use crate::stages::{DoneAt, passed, plain};
use crate::words;

/// A test or a photo that was not heard of where it is needed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MissingEvidence {
    /// The test as the stage lists it, or `photo`.
    pub what: String,
    /// The place as it was said; empty for the whole of the stage.
    pub place: String,
}

impl MissingEvidence {
    /// It is the photo.
    pub const PHOTO: &str = "photo";

    /// In words: `photo`, `photo (kitchen, north wall)`.
    #[must_use]
    pub fn words(&self) -> String {
        if self.place.is_empty() { self.what.clone() } else { format!("{} ({})", self.what, self.place) }
    }
}

/// Somebody was told of a sign-off that was not heard of here.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Told {
    /// Who was told.
    pub to: PersonId,
    /// By whom.
    pub by: PersonId,
}

/// Work on a stage: when it began, which entry, and where.
pub(crate) struct Work<'a> {
    pub(crate) at: DoneAt,
    pub(crate) entry: EntryRef,
    pub(crate) place: &'a Place,
    pub(crate) words: PlaceWords,
}

#[derive(PartialEq, Eq)]
enum Progress {
    SignedOff,
    /// Somebody opened it up: what is behind it can be seen again.
    OpenedUp,
    /// An extra goes on from it.
    Reopened,
}

struct Step<'a> {
    at: DoneAt,
    /// The order of those that were done at once, as [`crate::stages`] reads them.
    written: (Moment, &'a str, EventHash),
    progress: Progress,
    place: PlaceWords,
}

/// What was logged on one stage.
#[derive(Default)]
pub(crate) struct OfStage<'a> {
    /// Tests that are not outside their limit.
    tests: Vec<(Day, String, PlaceWords)>,
    photos: Vec<PlaceWords>,
    /// Every place where it was worked, tested, photographed or signed off, and the first day of that.
    places: BTreeMap<PlaceWords, (Day, &'a Place)>,
    steps: Vec<Step<'a>>,
    told: Vec<(DoneAt, Told, PlaceWords)>,
    work: Vec<Work<'a>>,
}

/// What was logged on every stage, by place.
pub struct Evidence<'a> {
    stages: BTreeMap<StageId, OfStage<'a>>,
}

impl<'a> Evidence<'a> {
    /// What these entries say.
    #[must_use]
    pub fn of(entries: &'a [Entry<'_>], lists: &Lists<'_>) -> Self {
        let mut stages: BTreeMap<StageId, OfStage<'a>> = BTreeMap::new();
        for entry in entries {
            if let Body::ExtraAgreed(agreed) = entry.body.as_ref() {
                for stage in &agreed.reopens {
                    stages.entry(*stage).or_default().step(entry, PlaceWords::default(), Progress::Reopened);
                }
            }
            let Some(site) = entry.site() else { continue };
            let Some(stage) = site.stage else { continue };
            stages.entry(stage).or_default().take(entry, &site.place, lists);
        }
        for of_stage in stages.values_mut() {
            of_stage.steps.sort_by_key(|step| (step.at, step.written));
        }
        Self { stages }
    }

    /// What was logged on a stage; none where nothing was.
    pub(crate) fn of_stage(&self, stage: StageId) -> Option<&OfStage<'a>> {
        self.stages.get(&stage)
    }
}

impl<'a> OfStage<'a> {
    fn take(&mut self, entry: &'a Entry<'_>, place: &'a Place, lists: &Lists<'_>) {
        let (at, here) = (DoneAt::of(entry), PlaceWords::of(place));
        match entry.body.as_ref() {
            Body::Test(test) => {
                if !test.photos.is_empty() {
                    self.photos.push(here.clone());
                }
                self.tests.extend(passed(lists, entry).map(|what| (at.day, what, here.clone())));
            }
            Body::Photo(_) => self.photos.push(here.clone()),
            Body::Note(note) if !note.photos.is_empty() => self.photos.push(here.clone()),
            Body::SignedOff(_) => self.step(entry, here.clone(), Progress::SignedOff),
            Body::ReadyForChecking(_) => {}
            Body::Hours(_)
            | Body::WorkStarted(_)
            | Body::WorkSwitched(_)
            | Body::Used(_)
            | Body::Wasted(_) => {
                let (at, entry, words) = (began(entry, at), entry.entry_ref(), here.clone());
                self.work.push(Work { at, entry, place, words });
            }
            // What follows says nothing of where the stage is.
            Body::SignOffTold(told) => {
                return self.told.push((at, Told { to: entry.act.person, by: told.by }, here));
            }
            Body::Reopened(_) => return self.step(entry, here, Progress::OpenedUp),
            _ => return,
        }
        if !here.is_unknown() {
            let first = self.places.entry(here).or_insert((at.day, place));
            first.0 = first.0.min(at.day);
        }
    }

    fn step(&mut self, entry: &'a Entry<'_>, place: PlaceWords, progress: Progress) {
        let written = (entry.act.logged_at, entry.act.row_key.as_str(), entry.logged.hash);
        self.steps.push(Step { at: DoneAt::of(entry), written, progress, place });
    }

    /// The work on it, by the place that was said; what was said of none only where no other work says one.
    pub(crate) fn work(&self) -> BTreeMap<&PlaceWords, Vec<&Work<'a>>> {
        let mut by_place: BTreeMap<&PlaceWords, Vec<&Work<'a>>> = BTreeMap::new();
        for work in &self.work {
            by_place.entry(&work.words).or_default().push(work);
        }
        if by_place.len() > 1 {
            by_place.retain(|words, _| !words.is_unknown());
        }
        by_place
    }

    /// Where it is judged: at each place that was said of it by a day, if one is given. Of two, one within the
    /// other, only the narrower is asked about. Empty where nobody said a place.
    pub(crate) fn places(&self, until: Option<Day>) -> Vec<(&PlaceWords, &'a Place)> {
        let by_then = self.places.iter().filter(|(_, (first, _))| until.is_none_or(|until| *first <= until));
        narrowest(by_then.map(|(words, (_, place))| (words, *place)).collect())
    }

    /// Where work at a place meets it: the narrower of what was said of either. Where nobody said of it where it
    /// runs, it may run there.
    pub(crate) fn met_by<'p>(&self, work: &PlaceWords, said: &'p Place) -> Vec<(PlaceWords, &'p Place)>
    where
        'a: 'p,
    {
        if self.places.is_empty() {
            return vec![(work.clone(), said)];
        }
        let met = self.places.iter().filter(|(words, _)| words.meets(work));
        let met = narrowest(met.map(|(words, (_, place))| (words, *place)).collect());
        let narrower = |(words, place): (&PlaceWords, &'p Place)| {
            if work.is_within(words) { (work.clone(), said) } else { (words.clone(), place) }
        };
        met.into_iter().map(narrower).collect()
    }

    /// The tests and the photo that a stage needs and that were not heard of at a place. With a day, tests that
    /// were done later are not there.
    pub(crate) fn missing_at(
        &self,
        listed: &StageListed,
        here: &PlaceWords,
        until: Option<Day>,
    ) -> Vec<String> {
        let in_time = |day: Day| until.is_none_or(|until| day <= until);
        let is_there = |needed: &String| {
            let mut tests = self.tests.iter().filter(|(day, ..)| in_time(*day));
            tests.any(|(_, what, there)| *what == plain(needed) && is_of(there, here))
        };
        let mut missing: Vec<String> =
            listed.needs_tests.iter().filter(|needed| !is_there(needed)).cloned().collect();
        if listed.needs_photo && !self.photos.iter().any(|there| self.shows(there, here)) {
            missing.push(MissingEvidence::PHOTO.to_owned());
        }
        missing
    }

    /// What its sign-off needs and was not heard of by a day, if one is given, at each of its places.
    pub(crate) fn missing(&self, listed: &StageListed, until: Option<Day>) -> Vec<MissingEvidence> {
        let at = |here: &PlaceWords, place: &str| -> Vec<MissingEvidence> {
            let missing = self.missing_at(listed, here, until).into_iter();
            missing.map(|what| MissingEvidence { what, place: place.to_owned() }).collect()
        };
        let places = self.places(until);
        if places.is_empty() {
            return at(&PlaceWords::default(), "");
        }
        places.into_iter().flat_map(|(here, place)| at(here, &words::place(place))).collect()
    }

    /// Whether a photo of one place shows another.
    fn shows(&self, photo: &PlaceWords, here: &PlaceWords) -> bool {
        if photo.is_unknown() { self.places.keys().all(|place| place.meets(here)) } else { photo.meets(here) }
    }

    /// It is signed off at a place, and was not opened up there since.
    pub(crate) fn is_signed_off(&self, here: &PlaceWords) -> bool {
        let last = self.steps.iter().rev().find(|step| is_of(&step.place, here));
        last.is_some_and(|step| step.progress == Progress::SignedOff)
    }

    /// It was opened up at a place, then or later.
    pub(crate) fn is_opened_since(&self, at: DoneAt, here: &PlaceWords) -> bool {
        let mut opened = self.steps.iter().filter(|step| step.progress == Progress::OpenedUp);
        opened.any(|step| step.at >= at && is_of(&step.place, here))
    }

    /// Who was told last of its sign-off at a place.
    pub(crate) fn told(&self, here: &PlaceWords) -> Option<Told> {
        let told = self.told.iter().filter(|(_, _, place)| is_of(place, here));
        told.max_by_key(|(at, ..)| *at).map(|(_, told, _)| *told)
    }
}

/// Whether what was said of one place is of another. What was said of none is of all.
fn is_of(there: &PlaceWords, here: &PlaceWords) -> bool {
    there.is_unknown() || here.is_unknown() || there.meets(here)
}

/// The places that no other one is within.
fn narrowest<'p, 'a>(places: Vec<(&'p PlaceWords, &'a Place)>) -> Vec<(&'p PlaceWords, &'a Place)> {
    let all = places.clone();
    let is_narrowest = |words: &PlaceWords| !all.iter().any(|(other, _)| other.is_within(words));
    places.into_iter().filter(|(words, _)| is_narrowest(words)).collect()
}

/// Hours begin when they begin, whenever they were logged.
fn began(entry: &Entry<'_>, at: DoneAt) -> DoneAt {
    let from = match entry.body.as_ref() {
        Body::Hours(hours) => match hours.worked {
            Worked::Span { from, .. } => Some(from),
            Worked::Length { .. } => None,
        },
        Body::WorkStarted(started) => Some(started.at),
        Body::WorkSwitched(switched) => Some(switched.at),
        _ => None,
    };
    from.map_or(at, |from| DoneAt { day: from.day(), minute: from.minute_of_day() })
}
