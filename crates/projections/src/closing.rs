//! Checks before closing up, judged by place: boarding the north wall asks only for what runs in it.
//!
//! It names what was not heard of. Logging is never refused for it, and nothing here says that what is
//! behind a wall is right. What is evidence of which place stands in [`crate::evidence`].

use std::collections::BTreeMap;

use ledger::site::{Place, StageListed};
use ledger::{EntryRef, StageId};

use crate::evidence::{Evidence, OfStage, Told};
use crate::lists::Lists;
use crate::places::PlaceWords;
use crate::stages::DoneAt;
use crate::words;

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

/// What was not heard of, of a stage at a place; at none for the whole of it.
fn check(of_below: &OfStage<'_>, below: &StageListed, here: &PlaceWords, place: &Place) -> Check {
    let no_sign_off = !of_below.is_signed_off(here);
    Check {
        covered: below.stage,
        place: words::place(place),
        missing: of_below.missing_at(below, here, None),
        no_sign_off,
        told: of_below.told(here).filter(|_| no_sign_off),
    }
}

/// The checks before a stage closes up what it covers: one for each place that was said of what runs there, or
/// one of the whole where none was. Those with nothing open are among them.
#[must_use]
pub fn checks_before(evidence: &Evidence<'_>, lists: &Lists<'_>, closing: &StageListed) -> Vec<Check> {
    let (nothing, nowhere) = (OfStage::default(), Place::default());
    let mut found = Vec::new();
    for covered in &closing.covers {
        let Some(below) = lists.stages.get(covered) else { continue };
        let of_below = evidence.of_stage(*covered).unwrap_or(&nothing);
        let places = of_below.places(None);
        if places.is_empty() {
            found.push(check(of_below, below, &PlaceWords::default(), &nowhere));
        }
        found.extend(places.into_iter().map(|(here, place)| check(of_below, below, here, place)));
    }
    found
}

/// Something that was closed up over what was not heard of.
pub(crate) struct ClosedUp {
    pub(crate) check: Check,
    pub(crate) began: DoneAt,
    pub(crate) begun_by: EntryRef,
}

/// What a stage closed up over what was not heard of, by place, until it is opened up there or the evidence
/// comes.
pub(crate) fn closed_up(evidence: &Evidence<'_>, lists: &Lists<'_>, closing: &StageListed) -> Vec<ClosedUp> {
    let Some(of_closing) = evidence.of_stage(closing.stage) else { return Vec::new() };
    let nothing = OfStage::default();
    let mut found = Vec::new();
    for covered in &closing.covers {
        let Some(below) = lists.stages.get(covered) else { continue };
        let of_below = evidence.of_stage(*covered).unwrap_or(&nothing);
        let mut first: BTreeMap<PlaceWords, (&Place, DoneAt, EntryRef)> = BTreeMap::new();
        for (words, works) in of_closing.work() {
            let Some(said) = works.first().map(|work| work.place) else { continue };
            for (here, place) in of_below.met_by(words, said) {
                let still = works.iter().filter(|work| !of_closing.is_opened_since(work.at, &here));
                let Some(begun) = still.map(|work| (work.at, work.entry)).min() else { continue };
                let known = first.entry(here).or_insert((place, begun.0, begun.1));
                if begun < (known.1, known.2) {
                    (known.1, known.2) = begun;
                }
            }
        }
        for (here, (place, began, begun_by)) in first {
            let check = check(of_below, below, &here, place);
            if !check.open().is_empty() {
                found.push(ClosedUp { check, began, begun_by });
            }
        }
    }
    found
}
