//! What a role allows, and whether an event counts.

use std::cmp::min;

use crate::act::Act;
use crate::chain::ChainStart;
use crate::ids::{EntryRef, EventHash};
use crate::kinds::{Body, Kind};
use crate::roster_events::Role;
use crate::sabotage::Fault;

use super::{Lacking, Roster, Standing};

/// The least role that allows an act of this kind. Changing or accepting somebody else's entry
/// needs a lead, whatever this says.
#[must_use]
pub const fn least_role(kind: Kind) -> Role {
    match kind {
        // A shared device notes who uses its page; that gives nobody a right they had not.
        Kind::SessionOpened | Kind::SessionClosed => Role::Hand,
        // Whoever noted a price makes a key for it, which the office can open.
        Kind::OfficeKeysGiven => Role::Hand,
        Kind::Hours
        | Kind::WorkStarted
        | Kind::WorkSwitched
        | Kind::WorkStopped
        | Kind::Away
        | Kind::Bought
        | Kind::Delivered
        | Kind::Used
        | Kind::Wasted
        | Kind::Returned
        | Kind::Moved
        | Kind::HireBegan
        | Kind::HireEnded
        | Kind::Expense
        | Kind::Test
        | Kind::Photo
        | Kind::Note
        | Kind::SnagRaised
        | Kind::SnagCleared
        | Kind::LeftOff
        | Kind::Seen
        | Kind::ReadyForChecking
        | Kind::CalledBack
        | Kind::SignOffTold
        | Kind::Mileage => Role::Hand,
        // Whoever stood there logs what the customer said; the price is the owner's.
        Kind::ExtraAsked | Kind::ExtraAgreed | Kind::ExtraDeclined => Role::Hand,
        Kind::Corrected | Kind::Struck | Kind::Accepted | Kind::QuestionSettled => Role::Hand,
        // Whoever held the ticket knows what was paid.
        Kind::PricePaid => Role::Hand,
        Kind::SignedOff | Kind::PartDone | Kind::Reopened => Role::Lead,
        Kind::CrewFounded
        | Kind::PersonListed
        | Kind::RoleChanged
        | Kind::DeviceAdmitted
        | Kind::DeviceRetired
        | Kind::Recovered => Role::Owner,
        Kind::ItemListed | Kind::JobListed | Kind::StageListed | Kind::LineListed => Role::Owner,
        // Whoever speaks teaches their words; whoever was there tells what they saw.
        Kind::AliasTaught | Kind::Surveyed | Kind::NeedListed | Kind::FillInListed | Kind::RoomMeasured => {
            Role::Hand
        }
        // Against which limit work is judged is for whoever signs it off.
        Kind::LimitSet => Role::Lead,
        Kind::FirmListed
        | Kind::PersonRated
        | Kind::ItemPriced
        | Kind::JobTerms
        | Kind::LinePriced
        | Kind::QuoteGiven
        | Kind::QuoteAgreed
        | Kind::PaymentPointSet
        | Kind::ExtraPriced
        | Kind::CostBorneBy
        | Kind::PointDue
        | Kind::JobCompleted
        | Kind::VatRateSet
        | Kind::PersonEngaged
        | Kind::TimeTermsSet
        | Kind::SelfBillingAgreed
        | Kind::InvoiceIssued
        | Kind::InvoiceCredited
        | Kind::InvoiceVoided
        | Kind::InvoiceAdopted
        | Kind::DepositAsked
        | Kind::PaymentReceived
        | Kind::PaymentApplied
        | Kind::PaymentCertified
        | Kind::InvoiceSelfBilled
        | Kind::CreditAdopted => Role::Owner,
    }
}

/// Whether a mate may log it for somebody: what happened on site, not what anyone decides.
const fn is_log(kind: Kind) -> bool {
    match kind {
        Kind::Hours
        | Kind::WorkStarted
        | Kind::WorkSwitched
        | Kind::WorkStopped
        | Kind::Bought
        | Kind::Delivered
        | Kind::Used
        | Kind::Wasted
        | Kind::Returned
        | Kind::Moved
        | Kind::Test
        | Kind::Photo
        | Kind::Note
        | Kind::SnagRaised
        | Kind::SnagCleared
        | Kind::LeftOff
        | Kind::Mileage
        | Kind::ExtraAsked => true,
        Kind::CrewFounded
        | Kind::PersonListed
        | Kind::RoleChanged
        | Kind::DeviceAdmitted
        | Kind::DeviceRetired
        | Kind::SessionOpened
        | Kind::SessionClosed
        | Kind::Recovered
        | Kind::OfficeKeysGiven
        | Kind::ItemListed
        | Kind::JobListed
        | Kind::StageListed
        | Kind::LineListed
        | Kind::AliasTaught
        | Kind::Surveyed
        | Kind::NeedListed
        | Kind::FillInListed
        | Kind::LimitSet
        | Kind::RoomMeasured
        | Kind::Away
        | Kind::HireBegan
        | Kind::HireEnded
        | Kind::Expense
        | Kind::ExtraAgreed
        | Kind::ExtraDeclined
        | Kind::Seen
        | Kind::ReadyForChecking
        | Kind::SignedOff
        | Kind::PartDone
        | Kind::Reopened
        | Kind::CalledBack
        | Kind::SignOffTold
        | Kind::Corrected
        | Kind::Struck
        | Kind::Accepted
        | Kind::QuestionSettled
        | Kind::FirmListed
        | Kind::PersonRated
        | Kind::ItemPriced
        | Kind::JobTerms
        | Kind::LinePriced
        | Kind::QuoteGiven
        | Kind::QuoteAgreed
        | Kind::PaymentPointSet
        | Kind::ExtraPriced
        | Kind::PricePaid
        | Kind::CostBorneBy
        | Kind::PointDue
        | Kind::JobCompleted
        | Kind::VatRateSet
        | Kind::PersonEngaged
        | Kind::TimeTermsSet
        | Kind::SelfBillingAgreed
        | Kind::InvoiceIssued
        | Kind::InvoiceCredited
        | Kind::InvoiceVoided
        | Kind::InvoiceAdopted
        | Kind::DepositAsked
        | Kind::PaymentReceived
        | Kind::PaymentApplied
        | Kind::PaymentCertified
        | Kind::InvoiceSelfBilled
        | Kind::CreditAdopted => false,
    }
}

/// The least role for this act, with whose entry it changes.
fn least_role_for(act: &Act, body: &Body) -> Role {
    let kind = body.kind();
    match changed_entry(body) {
        Some(of) if of.person != act.person => least_role(kind).max(Role::Lead),
        Some(_) | None => least_role(kind),
    }
}

/// The entry that is corrected, struck or accepted.
fn changed_entry(body: &Body) -> Option<&EntryRef> {
    if let Body::Corrected(corrected) = body {
        Some(&corrected.of)
    } else if let Body::Struck(struck) = body {
        Some(&struck.of)
    } else if let Body::Accepted(accepted) = body {
        Some(&accepted.of)
    } else {
        None
    }
}

impl Roster {
    /// [`Roster::standing`] of an event whose payload was taken apart. The first thing that is lacking
    /// is named.
    #[must_use]
    pub fn judge(&self, start: &ChainStart, place: (u64, EventHash), act: &Act, body: &Body) -> Standing {
        match self.weigh(start, place, act, body) {
            Ok(standing) => standing,
            Err(lacking) => Standing::Without(lacking),
        }
    }

    fn weigh(
        &self,
        start: &ChainStart,
        (seq, hash): (u64, EventHash),
        act: &Act,
        body: &Body,
    ) -> Result<Standing, Lacking> {
        let (kind, place) = (body.kind(), (start.chain, seq));
        let (person, author) = (act.person, act.author);
        if !kind.carried().by(start.audience) {
            return Err(Lacking::Audience);
        }
        let device = self.devices.get(&start.device).ok_or(Lacking::Admission)?;
        let lacking = self.lacks_by_place(start, seq, &hash);
        if let Some(lacking) = lacking.filter(|_| !Fault::CountBeyondCut.is_set()) {
            return Err(lacking);
        }
        // The founding event can't name its founder, whose id follows from its hash; and behind a certificate
        // stands the recovery key, whoever says it.
        if matches!(kind, Kind::CrewFounded | Kind::Recovered) && self.counted.contains(&place) {
            return Ok(Standing::Counted);
        }
        let role_of = |person| self.roles.at(person, place).ok_or(Lacking::Person);
        let persons_role = role_of(person)?;
        // What is typed into the page of a device has no more weight than the device's own person.
        let authors_role = min(role_of(author)?, role_of(device.person)?);
        if !self.vouches(device, start, seq, author) {
            return Err(Lacking::Vouching);
        }
        if author != person && !self.may_speak_for_others(authors_role, kind) {
            return if is_log(kind) { Ok(Standing::Proposed) } else { Err(Lacking::Vouching) };
        }
        if min(persons_role, authors_role) < least_role_for(act, body) {
            return Err(Lacking::Role);
        }
        if let Body::SessionOpened(opened) = body {
            let may = device.shared || opened.person == device.person;
            return if may { Ok(Standing::Counted) } else { Err(Lacking::Vouching) };
        }
        if matches!(kind, Kind::SessionClosed | Kind::OfficeKeysGiven) {
            return Ok(Standing::Counted); // They give nobody a right.
        }
        if kind.is_roster() && !self.counted.contains(&place) {
            return Err(Lacking::Role);
        }
        Ok(Standing::Counted)
    }

    /// A lead logs for others what happened on site. An owner also brings in what others decided,
    /// from an import; who belongs to the crew is never said in another's name.
    fn may_speak_for_others(&self, role: Role, kind: Kind) -> bool {
        match role {
            Role::Hand => false,
            Role::Lead => is_log(kind),
            Role::Owner => !kind.is_roster(),
        }
    }
}
