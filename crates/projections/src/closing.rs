//! Checks before closing up, judged by place: boarding the north wall asks only for what runs in it.
//!
//! It names what was not heard of. Logging is never refused for it, and nothing here says that what is
//! behind a wall is right.

use std::collections::{BTreeMap, BTreeSet};

use ledger::site::{Place, StageListed};
use ledger::{Body, EntryRef, PersonId, StageId};

use crate::entry::Entry;
use crate::lists::Lists;
use crate::stages::{DoneAt, Stage, passed, plain};
use crate::words;

/// The words of a place, in any order: room, surface and what was said.
#[derive(Debug, Clone, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct PlaceWords(BTreeSet<String>);

impl PlaceWords {
    /// The words of a place.
    #[must_use]
    pub fn of(place: &Place) -> Self {
        let words =
            [place.room.as_str(), words::surface(place), place.words.as_str()].join(" ").to_lowercase();
        let words = words.split(|letter: char| !letter.is_alphanumeric());
        let words = words.filter(|word| !matches!(*word, "" | "the" | "of" | "in" | "on" | "at" | "and"));
        Self(words.map(str::to_owned).collect())
    }

    /// Nothing was said of where.
    #[must_use]
    pub fn is_unknown(&self) -> bool {
        self.0.is_empty()
    }

    /// Both may be the same place: what one says of where, the other does not gainsay. The north wall is in
    /// the utility room's north wall, and not in the south wall.
    #[must_use]
    pub fn meets(&self, other: &Self) -> bool {
        self.0.is_subset(&other.0) || other.0.is_subset(&self.0)
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

/// A check before closing up: what was not heard of, of one stage at one place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Check {
    /// The stage that gets covered.
    pub covered: StageId,
    /// The place as it was said; empty for the whole of it.
    pub place: String,
    /// The tests and the photo that its sign-off needs and that were not heard of there.
    pub missing: Vec<String>,
    /// Its sign-off was not heard of.
    pub no_sign_off: bool,
    /// Somebody was told of the sign-off.
    pub told: Option<Told>,
}

impl Check {
    /// All that was not heard of, in words.
    #[must_use]
    pub fn open(&self) -> Vec<String> {
        let sign_off = self.no_sign_off.then(|| "sign-off".to_owned());
        self.missing.iter().cloned().chain(sign_off).collect()
    }
}

/// What was logged on a stage, by place.
#[derive(Default)]
struct OfStage<'a> {
    /// Tests that are not outside their limit.
    tests: Vec<(String, PlaceWords)>,
    photos: Vec<PlaceWords>,
    /// Every place that was said of it.
    places: BTreeMap<PlaceWords, &'a Place>,
    told: Option<(DoneAt, Told)>,
}

/// Work that closes up: when, which entry, and where.
struct Work<'a> {
    at: DoneAt,
    entry: EntryRef,
    place: &'a Place,
}

/// What was logged on every stage, for checks before closing up.
pub struct Evidence<'a> {
    stages: BTreeMap<StageId, OfStage<'a>>,
    work: BTreeMap<StageId, Vec<Work<'a>>>,
    opened: BTreeMap<StageId, DoneAt>,
}

impl<'a> Evidence<'a> {
    /// What these entries say.
    #[must_use]
    pub fn of(entries: &'a [Entry<'_>], lists: &Lists<'_>) -> Self {
        let mut found = Self { stages: BTreeMap::new(), work: BTreeMap::new(), opened: BTreeMap::new() };
        for entry in entries {
            let Some(site) = entry.site() else { continue };
            let Some(stage) = site.stage else { continue };
            let (at, place) = (DoneAt::of(entry), PlaceWords::of(&site.place));
            let evidence = found.stages.entry(stage).or_default();
            if !place.is_unknown() {
                evidence.places.entry(place.clone()).or_insert(&site.place);
            }
            match entry.body.as_ref() {
                Body::Test(test) => {
                    if !test.photos.is_empty() {
                        evidence.photos.push(place.clone());
                    }
                    evidence.tests.extend(passed(lists, entry).map(|what| (what, place)));
                }
                Body::Photo(_) => evidence.photos.push(place),
                Body::Note(note) if !note.photos.is_empty() => evidence.photos.push(place),
                Body::SignOffTold(told) => {
                    let said = (at, Told { to: entry.act.person, by: told.by });
                    evidence.told = evidence.told.filter(|(known, _)| *known >= at).or(Some(said));
                }
                Body::Reopened(_) => {
                    let opened = found.opened.entry(stage).or_insert(at);
                    *opened = at.max(*opened);
                }
                Body::Hours(_)
                | Body::WorkStarted(_)
                | Body::WorkSwitched(_)
                | Body::Used(_)
                | Body::Wasted(_) => {
                    let work = Work { at: began(entry, at), entry: entry.entry_ref(), place: &site.place };
                    found.work.entry(stage).or_default().push(work);
                }
                _ => {}
            }
        }
        found
    }

    /// What was not heard of, of a stage at a place; at none for the whole of it.
    fn check(&self, below: &StageListed, stage: &Stage, place: Option<&Place>) -> Check {
        let nothing = OfStage::default();
        let evidence = self.stages.get(&below.stage).unwrap_or(&nothing);
        let here = place.map(PlaceWords::of).unwrap_or_default();
        // What was said of no place counts for all of it: the gauge is on the whole pipe.
        let covers = |there: &PlaceWords| here.is_unknown() || there.is_unknown() || there.meets(&here);
        let is_there = |needed: &String| {
            evidence.tests.iter().any(|(what, there)| *what == plain(needed) && covers(there))
        };
        let mut missing: Vec<String> =
            below.needs_tests.iter().filter(|needed| !is_there(needed)).cloned().collect();
        if below.needs_photo && !evidence.photos.iter().any(covers) {
            missing.push("photo".to_owned());
        }
        let no_sign_off = stage.signed_off.is_none();
        let told = evidence.told.map(|(_, told)| told).filter(|_| no_sign_off);
        Check {
            covered: below.stage,
            place: place.map(words::place).unwrap_or_default(),
            missing,
            no_sign_off,
            told,
        }
    }

    /// Whether a stage runs in a place, as far as that was said. Where nothing was said of it anywhere, it
    /// may run in any.
    fn runs_in(&self, stage: StageId, place: &Place) -> bool {
        let here = PlaceWords::of(place);
        let places = self.stages.get(&stage).map(|evidence| &evidence.places);
        places.is_none_or(|places| places.is_empty() || places.keys().any(|there| there.meets(&here)))
    }

    /// The places that work on a closing stage was at since it was opened up last, each with the work's
    /// beginning; none inside for the whole of it, where nobody said a place.
    fn closed(&self, stage: StageId) -> Vec<(Option<&'a Place>, DoneAt, EntryRef)> {
        let opened = self.opened.get(&stage);
        let work = self.work.get(&stage).map_or(&[][..], Vec::as_slice);
        let since = || work.iter().filter(|work| opened.is_none_or(|opened| work.at > *opened));
        let mut places: BTreeMap<PlaceWords, (Option<&'a Place>, DoneAt, EntryRef)> = BTreeMap::new();
        let says_where = since().any(|work| !PlaceWords::of(work.place).is_unknown());
        for work in since() {
            let words = PlaceWords::of(work.place);
            if words.is_unknown() && says_where {
                continue;
            }
            let place = (!words.is_unknown()).then_some(work.place);
            let first = places.entry(words).or_insert((place, work.at, work.entry));
            if (work.at, work.entry) < (first.1, first.2) {
                *first = (place, work.at, work.entry);
            }
        }
        places.into_values().collect()
    }

    /// The checks before a stage closes up what it covers: a check a place that was said of what runs there,
    /// or one of the whole where none was. Those with nothing open are among them.
    #[must_use]
    pub fn checks_before(&self, lists: &Lists<'_>, stages: &[Stage], closing: &StageListed) -> Vec<Check> {
        let mut found = Vec::new();
        for covered in &closing.covers {
            let stage = stages.iter().find(|stage| stage.stage == *covered);
            let (Some(below), Some(stage)) = (lists.stages.get(covered), stage) else { continue };
            let of_stage = self.stages.get(covered).filter(|of_stage| !of_stage.places.is_empty());
            match of_stage {
                None => found.push(self.check(below, stage, None)),
                Some(of_stage) => {
                    found.extend(of_stage.places.values().map(|place| self.check(below, stage, Some(place))));
                }
            }
        }
        found
    }
}

/// Hours begin when they begin, whenever they were logged.
fn began(entry: &Entry<'_>, at: DoneAt) -> DoneAt {
    let from = match entry.body.as_ref() {
        Body::Hours(hours) => match hours.worked {
            ledger::site::Worked::Span { from, .. } => Some(from),
            ledger::site::Worked::Length { .. } => None,
        },
        Body::WorkStarted(started) => Some(started.at),
        Body::WorkSwitched(switched) => Some(switched.at),
        _ => None,
    };
    from.map_or(at, |from| DoneAt { day: from.day(), minute: from.minute_of_day() })
}

/// Something that was closed up over what was not heard of.
pub(crate) struct ClosedUp {
    pub(crate) check: Check,
    pub(crate) began: DoneAt,
    pub(crate) begun_by: EntryRef,
}

/// What a stage closed up over what was not heard of, by place, until it is opened up or the evidence comes.
pub(crate) fn closed_up(
    evidence: &Evidence<'_>,
    lists: &Lists<'_>,
    stages: &BTreeMap<StageId, Stage>,
    closing: &StageListed,
) -> Vec<ClosedUp> {
    let mut found = Vec::new();
    for covered in &closing.covers {
        let (Some(below), Some(stage)) = (lists.stages.get(covered), stages.get(covered)) else { continue };
        for (place, began, begun_by) in evidence.closed(closing.stage) {
            if place.is_some_and(|place| !evidence.runs_in(*covered, place)) {
                continue;
            }
            let check = evidence.check(below, stage, place);
            if !check.open().is_empty() {
                found.push(ClosedUp { check, began, begun_by });
            }
        }
    }
    found
}

#[cfg(test)]
mod tests {
    use ledger::site::Surface;

    use super::*;

    fn place(room: &str, surface: Option<Surface>, words: &str) -> PlaceWords {
        PlaceWords::of(&Place { room: room.to_owned(), surface, words: words.to_owned() })
    }

    #[test]
    fn places_meet_where_neither_gainsays_the_other() {
        let north = place("", None, "north wall");
        assert!(north.meets(&place("utility", None, "the north wall")));
        assert!(north.meets(&place("", Some(Surface::Wall), "North")));
        assert!(place("", None, "behind the basin, north wall").meets(&north));
        assert!(!north.meets(&place("", None, "south wall")));
        assert!(!north.meets(&place("utility", Some(Surface::Ceiling), "")));
        assert!(place("", None, " ").is_unknown());
    }
}
