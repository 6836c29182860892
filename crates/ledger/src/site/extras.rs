//! What the customer asks for beyond the quote, and their yes or no.
//!
//! The price or limit of an extra is never here; it is [`crate::office::ExtraPriced`].

use serde::{Deserialize, Serialize};

use super::Site;
use crate::ids::{EntryRef, StageId};

/// The customer asked for something that is not in the quote.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExtraAsked {
    /// Where; the stage is the extra's own, once it has one.
    pub site: Site,
    /// What.
    pub what: String,
    /// Who asked, or empty.
    pub asked_by: String,
}

/// How somebody said yes or no.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SaidHow {
    /// By word of mouth.
    Word,
    /// By message.
    Message,
    /// By signature.
    Signature,
}

/// How an extra is paid for. A price or a limit is [`crate::office::ExtraPriced`].
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ExtraTerms {
    /// At a price.
    AtAPrice,
    /// By the hour.
    OnTheClock,
    /// For nothing.
    Free,
    /// Something is left out, and its price credited.
    LeftOut,
}

/// The customer said yes to an extra.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExtraAgreed {
    /// Where; the stage is the extra's own.
    pub site: Site,
    /// What was asked for, where that was logged.
    pub extra: Option<EntryRef>,
    /// Who said yes, or empty.
    pub said_by: String,
    /// How.
    pub how: SaidHow,
    /// On what terms.
    pub terms: ExtraTerms,
    /// The stages that it opens again.
    pub reopens: Vec<StageId>,
}

/// The customer said no to an extra.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ExtraDeclined {
    /// Where.
    pub site: Site,
    /// What was asked for, where that was logged.
    pub extra: Option<EntryRef>,
    /// Who said no, or empty.
    pub said_by: String,
}
