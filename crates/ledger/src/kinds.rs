//! The numbered, append-only list of event kinds.
//!
//! A number, once given, keeps its meaning for ever; a retired one keeps its place. Matches on
//! [`Body`] and [`Kind`] are exhaustive, so a new kind can't be forgotten.

use serde::{Deserialize, Serialize};

use crate::chain::Audience;
use crate::codec::{CodecError, decode_all, encode_into};
use crate::{office, roster_events as roster, site};

/// Which chains may carry a kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Carried {
    /// Chains that the whole crew reads.
    Crew,
    /// Chains that the office reads.
    Office,
    /// Either: the change of an entry goes where the entry is.
    Either,
}

impl Carried {
    /// Whether a chain of this audience may carry it.
    #[must_use]
    pub const fn by(self, audience: Audience) -> bool {
        match (self, audience) {
            (Self::Crew, Audience::Crew) | (Self::Office, Audience::Office) | (Self::Either, _) => true,
            (Self::Crew, Audience::Office) | (Self::Office, Audience::Crew) => false,
        }
    }
}

macro_rules! kinds {
    ($($(#[$doc:meta])* $number:literal $carried:ident $name:ident = $module:ident :: $content:ident;)*) => {
        /// What kind of event it is.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(rename_all = "snake_case")]
        pub enum Kind {
            $($(#[$doc])* $name,)*
        }

        /// The content of an event of each kind.
        #[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
        #[serde(rename_all = "snake_case")]
        pub enum Body {
            $($(#[$doc])* $name($module::$content),)*
        }

        impl Kind {
            /// Every kind, in the order of the numbers.
            pub const ALL: &'static [Self] = &[$(Self::$name,)*];

            /// Its number in the envelope.
            #[must_use]
            pub const fn number(self) -> u16 {
                match self { $(Self::$name => $number,)* }
            }

            /// The kind with this number, if this version knows it.
            #[must_use]
            pub const fn from_number(number: u16) -> Option<Self> {
                match number { $($number => Some(Self::$name),)* _ => None }
            }

            /// Which chains may carry it.
            #[must_use]
            pub const fn carried(self) -> Carried {
                match self { $(Self::$name => Carried::$carried,)* }
            }

            /// Reads the content of an event of this kind.
            pub(crate) fn decode_body(self, bytes: &[u8]) -> Result<Body, CodecError> {
                match self { $(Self::$name => decode_all(bytes).map(Body::$name),)* }
            }
        }

        impl Body {
            /// The kind.
            #[must_use]
            pub const fn kind(&self) -> Kind {
                match self { $(Self::$name(_) => Kind::$name,)* }
            }

            /// Appends the content's bytes.
            pub(crate) fn encode_into(&self, out: &mut Vec<u8>) -> Result<(), CodecError> {
                match self { $(Self::$name(content) => encode_into(content, out),)* }
            }
        }
    };
}

kinds! {
    // The roster: closed within a major version.
    /// A crew was founded.
    1 Crew CrewFounded = roster::CrewFounded;
    /// A person was listed.
    2 Crew PersonListed = roster::PersonListed;
    /// A person's role changed.
    3 Crew RoleChanged = roster::RoleChanged;
    /// A device was admitted.
    4 Crew DeviceAdmitted = roster::DeviceAdmitted;
    /// A device was retired.
    5 Crew DeviceRetired = roster::DeviceRetired;
    /// A page session was opened.
    6 Crew SessionOpened = roster::SessionOpened;
    /// A page session was closed.
    7 Crew SessionClosed = roster::SessionClosed;
    /// The recovery words let a device in, or took devices off.
    8 Crew Recovered = roster::Recovered;
    /// Keys of the office were given to devices.
    9 Crew OfficeKeysGiven = roster::OfficeKeysGiven;
    // The crew's lists.
    /// A price-book item was listed.
    20 Crew ItemListed = site::ItemListed;
    /// A job was listed.
    21 Crew JobListed = site::JobListed;
    /// A stage was listed.
    22 Crew StageListed = site::StageListed;
    /// A costing line was listed.
    23 Crew LineListed = site::LineListed;
    /// What a phrase of the crew means.
    24 Crew AliasTaught = site::AliasTaught;
    /// A question of the survey was answered.
    25 Crew Surveyed = site::Surveyed;
    /// Something that a stage needs was listed.
    26 Crew NeedListed = site::NeedListed;
    /// A task to fill a gap with was listed.
    27 Crew FillInListed = site::FillInListed;
    /// The limit for a kind of test on a job.
    28 Crew LimitSet = site::LimitSet;
    /// A room as it was measured.
    29 Crew RoomMeasured = site::RoomMeasured;
    // Site actions.
    /// Hours were logged.
    40 Crew Hours = site::Hours;
    /// A timer was started.
    41 Crew WorkStarted = site::WorkStarted;
    /// A timer went over to another stage.
    42 Crew WorkSwitched = site::WorkSwitched;
    /// A timer was stopped.
    43 Crew WorkStopped = site::WorkStopped;
    /// Somebody is away.
    44 Crew Away = site::Away;
    /// Material was bought.
    45 Crew Bought = site::Bought;
    /// Material arrived.
    46 Crew Delivered = site::Delivered;
    /// Material was used.
    47 Crew Used = site::Used;
    /// Material was wasted.
    48 Crew Wasted = site::Wasted;
    /// Material went back.
    49 Crew Returned = site::Returned;
    /// Material was moved.
    50 Crew Moved = site::Moved;
    /// A hire began.
    51 Crew HireBegan = site::HireBegan;
    /// A hire ended.
    52 Crew HireEnded = site::HireEnded;
    /// An expense.
    53 Crew Expense = site::Expense;
    /// A test.
    54 Crew Test = site::Test;
    /// A photo.
    55 Crew Photo = site::Photo;
    /// A note.
    56 Crew Note = site::Note;
    /// A snag was raised.
    57 Crew SnagRaised = site::SnagRaised;
    /// A snag was cleared.
    58 Crew SnagCleared = site::SnagCleared;
    /// An extra was asked for.
    59 Crew ExtraAsked = site::ExtraAsked;
    /// An extra was agreed.
    60 Crew ExtraAgreed = site::ExtraAgreed;
    /// An extra was declined.
    61 Crew ExtraDeclined = site::ExtraDeclined;
    /// Somebody knocked off.
    62 Crew LeftOff = site::LeftOff;
    /// Somebody saw what was left.
    63 Crew Seen = site::Seen;
    /// A stage is ready for checking.
    64 Crew ReadyForChecking = site::ReadyForChecking;
    /// A stage was signed off.
    65 Crew SignedOff = site::SignedOff;
    /// A stage is part done.
    66 Crew PartDone = site::PartDone;
    /// A stage was reopened.
    67 Crew Reopened = site::Reopened;
    /// The crew was called back.
    68 Crew CalledBack = site::CalledBack;
    /// Somebody was told that a stage is signed off.
    69 Crew SignOffTold = site::SignOffTold;
    /// Miles were driven for a job.
    70 Crew Mileage = site::Mileage;
    // Changes.
    /// An entry was corrected.
    80 Either Corrected = site::Corrected;
    /// An entry was struck.
    81 Either Struck = site::Struck;
    /// An entry was accepted.
    82 Either Accepted = site::Accepted;
    /// A question was settled.
    83 Either QuestionSettled = site::QuestionSettled;
    // The office.
    /// The firm was listed.
    100 Office FirmListed = office::FirmListed;
    /// A person's rates.
    101 Office PersonRated = office::PersonRated;
    /// An item's price.
    102 Office ItemPriced = office::ItemPriced;
    /// A job's terms.
    103 Office JobTerms = office::JobTerms;
    /// A costing line's money.
    104 Office LinePriced = office::LinePriced;
    /// A quote was given.
    105 Office QuoteGiven = office::QuoteGiven;
    /// A quote was agreed.
    106 Office QuoteAgreed = office::QuoteAgreed;
    /// A payment point was set.
    107 Office PaymentPointSet = office::PaymentPointSet;
    /// An extra was priced.
    108 Office ExtraPriced = office::ExtraPriced;
    /// A price was paid.
    109 Office PricePaid = office::PricePaid;
    /// Who bears a cost.
    110 Office CostBorneBy = office::CostBorneBy;
    /// A payment point fell due because the owner said so.
    111 Office PointDue = office::PointDue;
    /// A job is practically complete.
    112 Office JobCompleted = office::JobCompleted;
    /// Which rate of VAT work is at, and why.
    113 Office VatRateSet = office::VatRateSet;
    /// How a person works for the crew.
    114 Office PersonEngaged = office::PersonEngaged;
    /// How time is counted where not every hour is at one rate.
    115 Office TimeTermsSet = office::TimeTermsSet;
    /// The customer issues the invoices of a job.
    116 Office SelfBillingAgreed = office::SelfBillingAgreed;
    /// An invoice was issued.
    120 Office InvoiceIssued = office::InvoiceIssued;
    /// An invoice was credited.
    121 Office InvoiceCredited = office::InvoiceCredited;
    /// An invoice was voided.
    122 Office InvoiceVoided = office::InvoiceVoided;
    /// An invoice was adopted.
    123 Office InvoiceAdopted = office::InvoiceAdopted;
    /// A deposit was asked for.
    124 Office DepositAsked = office::DepositAsked;
    /// A payment was received.
    125 Office PaymentReceived = office::PaymentReceived;
    /// An application for payment was made.
    126 Office PaymentApplied = office::PaymentApplied;
    /// A customer certified an application.
    127 Office PaymentCertified = office::PaymentCertified;
    /// A customer issued an invoice in the crew's name.
    128 Office InvoiceSelfBilled = office::InvoiceSelfBilled;
    /// A credit note was adopted.
    129 Office CreditAdopted = office::CreditAdopted;
}

/// A range of numbers, with what its kinds have in common.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Chapter {
    /// Who belongs to the crew. Closed within a major version.
    Roster,
    /// What the crew's lists hold.
    Lists,
    /// What happened on site.
    Site,
    /// What became of something that was said.
    Changes,
    /// What only the office's lists hold.
    OfficeLists,
    /// Invoices, deposits and payments.
    Papers,
}

impl Kind {
    /// The chapter that its number stands in.
    #[must_use]
    pub const fn chapter(self) -> Chapter {
        match self.number() {
            0..20 => Chapter::Roster,
            20..40 => Chapter::Lists,
            40..80 => Chapter::Site,
            80..100 => Chapter::Changes,
            100..120 => Chapter::OfficeLists,
            120.. => Chapter::Papers,
        }
    }

    /// Whether it says who belongs to the crew. These kinds are closed within a major version.
    #[must_use]
    pub const fn is_roster(self) -> bool {
        matches!(self.chapter(), Chapter::Roster)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_ascend_and_lead_back_to_their_kind() {
        assert!(Kind::ALL.windows(2).all(|pair| pair[0].number() < pair[1].number()));
        assert!(Kind::ALL.iter().all(|kind| Kind::from_number(kind.number()) == Some(*kind)));
        assert_eq!(Kind::from_number(0), None);
        assert_eq!(Kind::from_number(10), None);
    }

    #[test]
    fn an_event_is_small_because_millions_are_held() {
        // What is large and rare stands in a box of its own.
        assert!(size_of::<Body>() <= 264, "{}", size_of::<Body>());
    }
}
