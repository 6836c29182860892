//! The lines of a handover. Each names the events that it rests on, where it rests on any.

use ledger::{EventHash, PhotoHash};
use serde::Serialize;
use trade::{Day, Moment, Pence};

/// A stage.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct HandedStage {
    /// What it is called.
    pub stage: String,
    /// Its trades.
    pub trades: Vec<String>,
    /// Who signed it off; empty while nobody has.
    pub signed_off_by: String,
    /// On which day.
    pub signed_off_on: Option<Day>,
    /// When that was written down.
    pub written_at: Option<Moment>,
    /// On which device.
    pub device: String,
    /// What was noted with it.
    pub note: String,
    /// What its sign-off needs and what is not there.
    pub missing: Vec<String>,
    /// Where it is not signed off as a whole: the places that are, by whom and on which day.
    pub places_signed_off: Vec<String>,
    /// The events of the sign-offs.
    pub events: Vec<EventHash>,
}

/// A test, or a value read off a dial.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct HandedTest {
    /// The stage.
    pub stage: String,
    /// The place, or empty.
    pub place: String,
    /// What was tested.
    pub what: String,
    /// The value with its unit.
    pub value: String,
    /// The limit it was compared with, or empty.
    pub limit: String,
    /// Who states the limit, or empty.
    pub source: String,
    /// How well a usual limit is known; empty for one that was set for the job.
    pub confidence: String,
    /// How the value stands to the limit.
    pub verdict: String,
    /// How it was tested, and what was noted.
    pub how: String,
    /// With what, or empty.
    pub instrument: String,
    /// Who did it.
    pub person: String,
    /// On which day.
    pub on: Day,
    /// Its events.
    pub events: Vec<EventHash>,
}

/// A place, with its photos.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct HandedPlace {
    /// Where; empty where nobody said.
    pub place: String,
    /// Its photos, what is closed up now first.
    pub photos: Vec<HandedPhoto>,
}

/// A photo.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct HandedPhoto {
    /// The hash of its file.
    pub photo: PhotoHash,
    /// The file that goes with the handover; empty where it is missing.
    pub file: String,
    /// It shows what is closed up now.
    pub behind: bool,
    /// The stage.
    pub stage: String,
    /// What it shows, in words.
    pub words: String,
    /// Who took it.
    pub person: String,
    /// On which day.
    pub on: Day,
    /// Its events.
    pub events: Vec<EventHash>,
}

/// An extra that the customer agreed to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct HandedExtra {
    /// The stage that it is; empty where it is none of its own.
    pub stage: String,
    /// What, in the words in which it was asked for.
    pub what: String,
    /// On what terms.
    pub terms: String,
    /// The price without VAT; on the clock, the limit. None where there is none, or where the device that made
    /// this can't read it.
    pub amount: Option<Pence>,
    /// Who said yes; may be empty.
    pub said_by: String,
    /// How.
    pub how: String,
    /// On which day.
    pub on: Day,
    /// Its events.
    pub events: Vec<EventHash>,
}

/// An item on a stage.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct HandedMaterial {
    /// The stage.
    pub stage: String,
    /// The item.
    pub item: String,
    /// How much was used, less what went back.
    pub much: String,
    /// Some of it was the customer's own.
    pub customers_own: bool,
    /// What was noted of it, with delivery notes: batches stand here.
    pub notes: Vec<String>,
    /// Its events.
    pub events: Vec<EventHash>,
}

/// A check by somebody from outside.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct HandedCertificate {
    /// What was checked.
    pub what: String,
    /// The stage.
    pub stage: String,
    /// Who checked.
    pub name: String,
    /// Their registration, or empty.
    pub registration: String,
    /// The number of the certificate, or empty where it is missing.
    pub certificate: String,
    /// On which day.
    pub on: Day,
    /// Its events.
    pub events: Vec<EventHash>,
}

/// An answer of the survey.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct HandedAnswer {
    /// What was asked.
    pub question: String,
    /// What was answered.
    pub answer: String,
}

/// What to mind.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct HandedCaution {
    /// What can hurt.
    pub sentence: String,
    /// What to do.
    pub what_to_do: String,
    /// Where that stands.
    pub source: String,
}
