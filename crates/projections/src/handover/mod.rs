//! What a job is handed over with: stages and who signed them off, tests with their limits, photos by place, extras
//! that were agreed, material, certificates held and missing, and what to mind.
//!
//! A [`Handover`] follows from the events that go with it and from what the crew's device adds to them
//! ([`Added`]); so whoever has both can make it again and compare. It records and compares. It certifies nothing,
//! and holds no rate, cost or invoice: the only sums in it are the prices of extras that the customer agreed to.

mod cautions;
mod facts;
mod lines;
mod picked;

use std::collections::BTreeMap;

use ledger::excerpt::Proved;
use ledger::{Audience, CrewId, EntryRef, JobId, PhotoHash};
use serde::{Deserialize, Serialize};
use trade::{Day, Pence};

use crate::book::{Book, Taken};

pub use lines::{
    HandedAnswer, HandedCaution, HandedCertificate, HandedExtra, HandedMaterial, HandedPhoto, HandedPlace,
    HandedStage, HandedTest,
};
pub use picked::{Places, picked};

/// What the device that makes a handover adds to the events: what stands in no event that is shown.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Added {
    /// The job.
    pub job: JobId,
    /// The day it was made.
    pub made_on: Day,
    /// The crew as a business, where that is known.
    pub firm: Option<Firm>,
    /// The prices and limits of extras that the customer agreed to, without VAT. Their events are the office's.
    pub extras: Vec<ExtraPrice>,
    /// The photos whose files go with it, and what their names end in: `jpg`.
    pub photos: BTreeMap<PhotoHash, String>,
}

/// The crew as a business.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Firm {
    /// Its legal name.
    pub name: String,
    /// Its trading name, or empty.
    pub trading_as: String,
    /// Its address.
    pub address: String,
    /// Its VAT number, or empty.
    pub vat_number: String,
}

/// The price or the limit of an extra.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExtraPrice {
    /// The entry that the extra is known by.
    pub extra: EntryRef,
    /// Without VAT.
    pub amount: Pence,
}

/// What is handed over. Every line names the events that it rests on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Handover {
    /// The crew, by its founding event.
    pub crew: CrewId,
    /// What the crew calls itself.
    pub crew_name: String,
    /// The job's code.
    pub code: String,
    /// What was done.
    pub title: String,
    /// For whom.
    pub customer: String,
    /// Where.
    pub site_address: String,
    /// The day this was made.
    pub made_on: Day,
    /// What is open on that day, in words.
    pub open: Vec<String>,
    /// The stages in their order.
    pub stages: Vec<HandedStage>,
    /// The tests, by stage and day.
    pub tests: Vec<HandedTest>,
    /// The photos, by place.
    pub places: Vec<HandedPlace>,
    /// What the customer agreed to beyond the quote.
    pub extras: Vec<HandedExtra>,
    /// What was built in, by stage and item.
    pub materials: Vec<HandedMaterial>,
    /// What people from outside the crew checked.
    pub certificates: Vec<HandedCertificate>,
    /// Certificates that are missing, in words.
    pub certificates_missing: Vec<String>,
    /// What was asked before the work and what was answered.
    pub survey: Vec<HandedAnswer>,
    /// What to mind.
    pub cautions: Vec<HandedCaution>,
}

/// What there is no handover of.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the job that is handed over is not among the events")]
pub struct NoSuchJob;

/// The crew's book of what an excerpt shows.
#[must_use]
pub fn book_of(proved: &Proved) -> Book {
    let mut book = Book::new(Audience::Crew);
    for event in &proved.events {
        let (hash, chain, seq, made_at) = (event.hash, event.start.chain, event.seq, event.made_at);
        match &event.payload {
            Ok(payload) => {
                let standing = proved.roster.standing(&event.start, (seq, hash), payload);
                book.take_in(Taken { hash, chain, seq, made_at, standing, payload: payload.clone() });
            }
            Err(reason) => book.take_in_unreadable(hash, chain, seq, *reason),
        }
    }
    book
}

/// The handover that follows from what was proved and what was added.
///
/// # Errors
/// [`NoSuchJob`].
pub fn handover(crew: CrewId, proved: &Proved, added: &Added) -> Result<Handover, NoSuchJob> {
    let book = book_of(proved);
    let facts = facts::Facts::of(&book, proved, added);
    let job = facts.lists.jobs.get(&added.job).ok_or(NoSuchJob)?;
    let (stages, tests, places) = (facts.stages(), facts.tests(), facts.places());
    let (certificates, certificates_missing) = facts.certificates();
    Ok(Handover {
        crew,
        crew_name: proved.roster.crew_name().to_owned(),
        code: job.code.clone(),
        title: job.title.clone(),
        customer: job.customer.clone(),
        site_address: job.site_address.clone(),
        made_on: added.made_on,
        open: facts.open(&stages, &places, &certificates_missing),
        stages,
        tests,
        places,
        extras: facts.extras(),
        materials: facts.materials(),
        certificates,
        certificates_missing,
        survey: facts.survey(),
        cautions: facts.cautions(),
    })
}
