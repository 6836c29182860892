//! What is asked and answered before the job.

use serde::{Deserialize, Serialize};

use crate::ids::{JobId, PhotoHash};

/// What the survey asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SurveyPoint {
    /// Whether there may be asbestos: asked of every building from before 2000.
    Asbestos,
    /// What carries load.
    CarriesLoad,
    /// Where the water is turned off.
    Stopcock,
    /// Where the fuse board is.
    FuseBoard,
    /// Damage that is there already.
    DamageThere,
    /// How one gets in, and when.
    Access,
    /// What was told to or asked of building control.
    BuildingControl,
    /// What the customer supplies.
    CustomersOwn,
    /// When work may start.
    Start,
    /// Anything else.
    Other,
}

/// An answer of the survey. It records what was said or seen; it clears nothing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Surveyed {
    /// The job.
    pub job: JobId,
    /// What was asked.
    pub point: SurveyPoint,
    /// The answer.
    pub answer: String,
    /// Photos of it.
    pub photos: Vec<PhotoHash>,
}
