//! The lines of a handover, worked out of the book of what is shown.

use std::collections::{BTreeMap, BTreeSet};

use ledger::excerpt::Proved;
use ledger::site::{ExtraTerms, NeedKind, NeedState, SurveyPoint, Test, Whose};
use ledger::{Body, EventHash, ItemId, PhotoHash, StageId};
use rust_decimal::Decimal;
use trade::Quantity;
use trade::measure::Verdict;

use super::cautions::AFTERWARDS;
use super::{
    Added, HandedAnswer, HandedCaution, HandedCertificate, HandedExtra, HandedMaterial, HandedPhoto,
    HandedPlace, HandedStage, HandedTest,
};
use crate::book::Book;
use crate::cautions::Occasion;
use crate::entry::Entry;
use crate::evidence::MissingEvidence;
use crate::extras::{Answer, agreed_of, answers};
use crate::judged::judged;
use crate::lists::Lists;
use crate::snags;
use crate::stages::{DoneAt, PlaceSignedOff, Stage, plain};
use crate::words;

/// A material and what was noted of it.
#[derive(Default)]
struct Gone {
    used: Decimal,
    customers_own: bool,
    notes: Vec<String>,
    events: Vec<EventHash>,
}

/// What the lines are worked out of.
pub(super) struct Facts<'f> {
    pub(super) lists: Lists<'f>,
    book: &'f Book,
    proved: &'f Proved,
    added: &'f Added,
    /// The entries of the job, in the order in which they were done.
    entries: Vec<Entry<'f>>,
    /// The job's stages in their order, without extras that the customer said no to.
    stages: Vec<Stage>,
}

impl<'f> Facts<'f> {
    pub(super) fn of(book: &'f Book, proved: &'f Proved, added: &'f Added) -> Self {
        let lists = book.lists();
        let mut entries: Vec<Entry<'f>> = book.entries().collect();
        let declined: BTreeSet<StageId> = answers(&entries)
            .into_iter()
            .filter(|(_, answer)| *answer == Answer::No)
            .map(|(stage, _)| stage)
            .collect();
        let is_ours = |stage: &Stage| stage.job == added.job && !declined.contains(&stage.stage);
        let stages = book.stages(&lists).into_iter().filter(is_ours).collect();
        entries.sort_by_key(|entry| (DoneAt::of(entry), entry.act.logged_at, entry.entry_ref()));
        Self { lists, book, proved, added, entries, stages }
    }

    /// The place of a stage among the job's; none comes last.
    fn place_of(&self, stage: Option<StageId>) -> usize {
        let found = self.stages.iter().position(|known| Some(known.stage) == stage);
        found.unwrap_or(usize::MAX)
    }

    fn device_of(&self, event: EventHash) -> String {
        let found = self.proved.events.iter().find(|proved| proved.hash == event);
        let device = found.and_then(|proved| self.proved.roster.device(&proved.start.device));
        device.map_or_else(String::new, |device| device.name.clone())
    }

    pub(super) fn stages(&self) -> Vec<HandedStage> {
        let line = |stage: &Stage| {
            let signed = stage.signed_off;
            let entry = signed.and_then(|signed| self.book.entry(&signed.entry));
            let signs =
                signed.into_iter().chain(stage.signed_off_places.iter().map(|signed| signed.sign_off));
            let signs = signs.filter_map(|signed| self.book.entry(&signed.entry));
            let place = |signed: &PlaceSignedOff| {
                let (by, on) = (self.lists.person(signed.sign_off.entry.person), signed.sign_off.at.day);
                format!("{}: {by}, {}", signed.place, words::day_and_year(on))
            };
            HandedStage {
                stage: self.lists.stage(Some(stage.stage)),
                trades: self
                    .lists
                    .stages
                    .get(&stage.stage)
                    .map_or_else(Vec::new, |listed| listed.trades.clone()),
                signed_off_by: signed
                    .map_or_else(String::new, |signed| self.lists.person(signed.entry.person)),
                signed_off_on: signed.map(|signed| signed.at.day),
                written_at: signed.map(|signed| signed.logged_at),
                device: signed.map_or_else(String::new, |signed| self.device_of(signed.event)),
                note: entry.as_ref().map_or_else(String::new, |entry| entry.act.note.clone()),
                missing: stage.missing.iter().map(MissingEvidence::words).collect(),
                places_signed_off: stage.signed_off_places.iter().map(place).collect(),
                events: signs.flat_map(|entry| entry.hashes().collect::<Vec<_>>()).collect(),
            }
        };
        self.stages.iter().map(line).collect()
    }

    fn job_tests(&self) -> Vec<(&Entry<'f>, &Test)> {
        let mut tests: Vec<(&Entry<'f>, &Test)> = self
            .entries
            .iter()
            .filter_map(|entry| match entry.body.as_ref() {
                Body::Test(test) => Some((entry, test)),
                _ => None,
            })
            .collect();
        // In the order of the stages, and within one as they were done.
        tests.sort_by_key(|(_, test)| self.place_of(test.site.stage));
        tests
    }

    pub(super) fn tests(&self) -> Vec<HandedTest> {
        let line = |(entry, test): (&Entry<'f>, &Test)| {
            let judged = judged(&self.lists, test, &entry.act.note);
            HandedTest {
                stage: self.lists.stage(test.site.stage),
                place: words::place(&test.site.place),
                what: test.what.clone(),
                value: words::value(test.bound, test.value, &test.unit),
                limit: judged.limit,
                source: judged.source,
                confidence: judged.confidence.map_or_else(String::new, |known| known.words().to_owned()),
                verdict: judged.verdict.words(),
                how: joined([test.method.as_str(), entry.act.note.as_str()]),
                instrument: test.instrument.clone(),
                person: self.lists.person(entry.act.person),
                on: entry.act.done_on,
                events: entry.hashes().collect(),
            }
        };
        self.job_tests().into_iter().map(line).collect()
    }

    pub(super) fn places(&self) -> Vec<HandedPlace> {
        let mut places: BTreeMap<(bool, String), Vec<HandedPhoto>> = BTreeMap::new();
        for entry in &self.entries {
            let (photos, behind): (&[PhotoHash], bool) = match entry.body.as_ref() {
                Body::Photo(photo) => (std::slice::from_ref(&photo.photo), photo.behind),
                Body::Test(test) => (&test.photos, false),
                Body::Note(note) => (&note.photos, false),
                Body::SnagRaised(snag) => (&snag.photos, false),
                _ => continue,
            };
            let place = entry.site().map(|site| words::place(&site.place)).unwrap_or_default();
            for photo in photos {
                let shown = HandedPhoto {
                    photo: *photo,
                    file: self.file_of(photo),
                    behind,
                    stage: self.lists.stage(entry.site().and_then(|site| site.stage)),
                    words: words::words(&self.lists, self.book, &entry.act, &entry.body),
                    person: self.lists.person(entry.act.person),
                    on: entry.act.done_on,
                    events: entry.hashes().collect(),
                };
                places.entry((place.is_empty(), place.clone())).or_default().push(shown);
            }
        }
        let place = |((_, place), mut photos): (_, Vec<HandedPhoto>)| {
            photos.sort_by_key(|photo| !photo.behind);
            HandedPlace { place, photos }
        };
        places.into_iter().map(place).collect()
    }

    fn file_of(&self, photo: &PhotoHash) -> String {
        let ending = self.added.photos.get(photo);
        ending.map_or_else(String::new, |ending| format!("photos/{photo}.{ending}"))
    }

    pub(super) fn extras(&self) -> Vec<HandedExtra> {
        let of_job = agreed_of(&self.entries).into_values().filter(|extra| extra.job == self.added.job);
        let line = |extra: crate::extras::AgreedExtra| {
            let yes = self.entries.iter().find(|entry| entry.revision() == extra.revision);
            let said = yes.and_then(|entry| match entry.body.as_ref() {
                Body::ExtraAgreed(agreed) => {
                    Some((agreed.said_by.clone(), words::how(agreed.how).to_owned()))
                }
                _ => None,
            });
            let (said_by, how) = said.unwrap_or_default();
            let asked = self.book.entry(&extra.key);
            let mut events: Vec<EventHash> = asked.iter().flat_map(Entry::hashes).collect();
            events.extend(
                yes.into_iter()
                    .flat_map(Entry::hashes)
                    .filter(|hash| !events.contains(hash))
                    .collect::<Vec<_>>(),
            );
            let priced = self.added.extras.iter().find(|price| price.extra == extra.key);
            HandedExtra {
                stage: extra.stage.map_or_else(String::new, |stage| self.lists.stage(Some(stage))),
                what: extra.what,
                terms: words::terms(extra.terms).to_owned(),
                amount: priced.map(|price| price.amount).filter(|_| extra.terms != ExtraTerms::Free),
                said_by,
                how,
                on: extra.agreed_on,
                events,
            }
        };
        of_job.map(line).collect()
    }

    pub(super) fn materials(&self) -> Vec<HandedMaterial> {
        let mut found: BTreeMap<(usize, Option<StageId>, ItemId), Gone> = BTreeMap::new();
        let mut notes: Vec<(Option<StageId>, ItemId, String, Vec<EventHash>)> = Vec::new();
        for entry in &self.entries {
            let (site, item, quantity) = match entry.body.as_ref() {
                Body::Used(used) => (&used.site, used.item, used.amount.quantity.value()),
                Body::Returned(back) => (&back.site, back.item, -back.amount.quantity.value()),
                Body::Delivered(came) => {
                    let ticket = (!came.ticket.is_empty()).then(|| format!("delivery note {}", came.ticket));
                    let note = joined([ticket.as_deref().unwrap_or_default(), entry.act.note.as_str()]);
                    notes.push((came.site.stage, came.item, note, entry.hashes().collect()));
                    continue;
                }
                _ => continue,
            };
            let gone = found.entry((self.place_of(site.stage), site.stage, item)).or_default();
            gone.used = gone.used.saturating_add(quantity);
            gone.customers_own |=
                matches!(entry.body.as_ref(), Body::Used(used) if used.whose == Whose::Customers);
            gone.notes.extend(Some(entry.act.note.clone()).filter(|note| !note.is_empty()));
            gone.events.extend(entry.hashes());
        }
        for (stage, item, note, events) in notes.into_iter().filter(|(_, _, note, _)| !note.is_empty()) {
            // A delivery belongs to what was built in of it: on its stage, or wherever that was.
            let own = found.keys().any(|(_, of, used)| (*of, *used) == (stage, item));
            let rows = found.iter_mut().filter(|((_, of, used), _)| *used == item && (!own || *of == stage));
            for (_, gone) in rows {
                gone.notes.push(note.clone());
                gone.events.extend(&events);
            }
        }
        let line = |((_, stage, item), gone): ((_, Option<StageId>, ItemId), Gone)| {
            let quantity = Quantity::new(gone.used).unwrap_or_default();
            let listed = self.lists.items.get(&item);
            HandedMaterial {
                stage: self.lists.stage(stage),
                item: self.lists.item(item),
                much: listed.map_or_else(|| words::number(quantity), |item| words::in_packs(item, quantity)),
                customers_own: gone.customers_own,
                notes: gone.notes,
                events: gone.events,
            }
        };
        found.into_iter().map(line).collect()
    }

    /// What people from outside checked, and what is missing of it.
    pub(super) fn certificates(&self) -> (Vec<HandedCertificate>, Vec<String>) {
        let (mut held, mut missing) = (Vec::new(), Vec::new());
        let mut with_certificate = BTreeSet::new();
        for (entry, test) in self.job_tests() {
            let Some(outside) = &test.outside else { continue };
            let stage = self.lists.stage(test.site.stage);
            if outside.certificate.is_empty() {
                missing.push(format!(
                    "{}, {stage}: {} checked, and no certificate is logged",
                    test.what, outside.name
                ));
            } else {
                with_certificate.insert(test.site.stage);
            }
            held.push(HandedCertificate {
                what: test.what.clone(),
                stage,
                name: outside.name.clone(),
                registration: outside.registration.clone(),
                certificate: outside.certificate.clone(),
                on: entry.act.done_on,
                events: entry.hashes().collect(),
            });
        }
        for need in self.lists.needs.values().filter(|need| need.job == self.added.job) {
            if need.kind == NeedKind::Inspector && need.state == NeedState::Open {
                let stage = self.lists.stage(Some(need.stage));
                missing.push(format!("{}, {stage}: has not looked yet, as far as was logged", need.what));
            }
        }
        for (trade, who) in [("electric", "electrician"), ("gas", "gas engineer")] {
            let of_trade = |stage: &&Stage| {
                let listed = self.lists.stages.get(&stage.stage);
                listed.is_some_and(|listed| {
                    listed.trades.iter().any(|known| known.to_lowercase().contains(trade))
                })
            };
            let stages: Vec<&Stage> = self.stages.iter().filter(of_trade).collect();
            if !stages.is_empty() && !stages.iter().any(|stage| with_certificate.contains(&Some(stage.stage)))
            {
                missing.push(format!(
                    "{who}’s certificate: none is logged; whether one is due, the local code decides"
                ));
            }
        }
        (held, missing)
    }

    pub(super) fn survey(&self) -> Vec<HandedAnswer> {
        let of_job = self.lists.surveys.iter().filter(|((job, _), _)| *job == self.added.job);
        let line = |(&(_, point), said): (&(_, SurveyPoint), &&ledger::site::Surveyed)| HandedAnswer {
            question: asked(point).to_owned(),
            answer: said.answer.clone(),
        };
        of_job.map(line).collect()
    }

    pub(super) fn cautions(&self) -> Vec<HandedCaution> {
        let listed = self.stages.iter().filter_map(|stage| self.lists.stages.get(&stage.stage));
        let trades: Vec<String> =
            listed.flat_map(|listed| &listed.trades).map(|trade| trade.to_lowercase()).collect();
        let tests: Vec<String> = self.job_tests().iter().map(|(_, test)| plain(&test.what)).collect();
        let is_due = |occasion: &Occasion| match occasion {
            Occasion::Work => true,
            Occasion::Trade(part) => trades.iter().any(|trade| trade.contains(part)),
            Occasion::Test(part) => tests.iter().any(|test| test.contains(part)),
            Occasion::ClosingUp | Occasion::KnockingOff => false,
        };
        let due = AFTERWARDS.iter().filter(|caution| caution.occasions.iter().any(is_due));
        due.map(|caution| HandedCaution {
            sentence: caution.sentence.to_owned(),
            what_to_do: caution.what_to_do.to_owned(),
            source: caution.source.to_owned(),
        })
        .collect()
    }

    /// What is open on the day, in words.
    pub(super) fn open(
        &self,
        stages: &[HandedStage],
        places: &[HandedPlace],
        certificates_missing: &[String],
    ) -> Vec<String> {
        let mut open = Vec::new();
        for stage in stages {
            if stage.signed_off_on.is_none() {
                open.push(format!("{}: not signed off", stage.stage));
            }
            open.extend(stage.missing.iter().map(|what| format!("{}: no {what} is logged", stage.stage)));
        }
        open.extend(self.outside().into_iter().map(|what| format!("{what}: outside the limit set")));
        open.extend(snags::uncleared(&self.entries).map(|entry| {
            let stage = self.lists.stage(entry.site().and_then(|site| site.stage));
            format!("{stage}, still to put right: {}", entry.act.note)
        }));
        let photos = places.iter().flat_map(|place| &place.photos).filter(|photo| photo.file.is_empty());
        open.extend(photos.map(|photo| {
            let (short, stage) = (photo.photo.short(), &photo.stage);
            format!("{stage}: the photo {short} is not on the device that made this, and its file is missing")
        }));
        open.extend(certificates_missing.iter().cloned());
        open
    }

    /// Tests whose last value is outside the limit, by stage, place and kind.
    fn outside(&self) -> Vec<String> {
        let mut last: BTreeMap<(usize, String, String), Option<String>> = BTreeMap::new();
        for (entry, test) in self.job_tests() {
            let place = words::place(&test.site.place);
            let stage = self.lists.stage(test.site.stage);
            let is_outside = judged(&self.lists, test, &entry.act.note).verdict == Verdict::Outside;
            let value = words::value(test.bound, test.value, &test.unit);
            let said = is_outside.then(|| format!("{stage}: {} {value}", test.what));
            last.insert((self.place_of(test.site.stage), place, plain(&test.what)), said);
        }
        last.into_values().flatten().collect()
    }
}

fn joined<const N: usize>(parts: [&str; N]) -> String {
    parts.into_iter().filter(|part| !part.is_empty()).collect::<Vec<_>>().join("; ")
}

const fn asked(point: SurveyPoint) -> &'static str {
    match point {
        SurveyPoint::Asbestos => "Asbestos (an answer here clears nothing)",
        SurveyPoint::CarriesLoad => "What carries load (an answer here clears nothing)",
        SurveyPoint::Stopcock => "Where the water is turned off",
        SurveyPoint::FuseBoard => "Where the fuse board is",
        SurveyPoint::DamageThere => "What was damaged before",
        SurveyPoint::Access => "How one gets in",
        SurveyPoint::BuildingControl => "What building control knows or wants",
        SurveyPoint::CustomersOwn => "What the customer supplies",
        SurveyPoint::Start => "When work may start",
        SurveyPoint::Other => "Anything else",
    }
}
