//! Where in the book an event is kept: among the entries, beside the entry it changes, or in a list.
//!
//! A list holds things that are changed rather than done: a job, a price, a person's rate. All
//! versions of a row are kept under the same key, and [`crate::lists`] says which one holds.

use ledger::{
    Body, CrewId, EntryRef, ItemId, JobId, LineId, PersonId, PointId, QuoteId, StageId,
    office::{CostBorneBy, ExtraPriced, PricePaid, TimeSide},
    site::{Accepted, Corrected, NeedKind, Struck, SurveyPoint},
};
use serde::Serialize;

use crate::book::Logged;
use crate::lists::room_key;

/// Which row of which list.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize)]
pub(crate) enum RowKey {
    /// A person.
    Person(PersonId),
    /// A job.
    Job(JobId),
    /// A stage.
    Stage(StageId),
    /// An item of the price book.
    Item(ItemId),
    /// A costing line.
    Line(LineId),
    /// What a phrase means.
    Alias(String),
    /// An answer of a job's survey.
    Survey(JobId, SurveyPoint),
    /// Something that a stage needs.
    Need(StageId, NeedKind, String),
    /// A task to fill a gap with.
    FillIn(JobId, String),
    /// The limit for a kind of test, in small letters.
    Limit(JobId, String),
    /// A room as it was measured, by its name in small letters.
    Room(JobId, String),
    /// The firm.
    Firm,
    /// A person's rates: of everywhere or of one job, of every trade (empty) or of one.
    Rates(PersonId, Option<JobId>, String),
    /// An item's price.
    Price(ItemId),
    /// A job's terms.
    Terms(JobId),
    /// A costing line's money.
    LineMoney(LineId),
    /// A quote.
    Quote(QuoteId),
    /// The customer's yes to a quote.
    QuoteYes(QuoteId),
    /// A payment point.
    Point(PointId),
    /// The price or limit of an extra.
    Extra(EntryRef),
    /// What was paid.
    Paid(EntryRef),
    /// Who bears a cost.
    Borne(EntryRef),
    /// The owner's word that a payment point is due.
    PointDue(PointId),
    /// A job's completion.
    Completion(JobId),
    /// The rate of VAT of a stage, or of all else of a job.
    VatRate(JobId, Option<StageId>),
    /// How a person works for the crew.
    Engagement(PersonId),
    /// The agreement that a job's customer issues its invoices.
    SelfBilling(JobId),
    /// What was certified of an application for payment.
    Certified(EntryRef),
    /// How time is counted: on which side, of which job, of which person.
    TimeTerms(TimeSide, Option<JobId>, Option<PersonId>),
}

/// Where an event is kept.
pub(crate) enum Shelf {
    /// It lists a row.
    Row(RowKey),
    /// It changes an entry.
    Change(EntryRef),
    /// It is an entry itself.
    Entry(EntryRef),
}

impl Shelf {
    /// Where this event is kept.
    pub(crate) fn of(logged: &Logged) -> Self {
        let row = match &logged.body {
            // The crew's id is the founding event's hash, and the founder's follows from it.
            Body::CrewFounded(founded) => {
                RowKey::Person(PersonId::named(&CrewId(logged.hash.0), &founded.founder))
            }
            Body::PersonListed(listed) => RowKey::Person(listed.person),
            Body::ItemListed(listed) => RowKey::Item(listed.item),
            Body::JobListed(listed) => RowKey::Job(listed.job),
            Body::StageListed(listed) => RowKey::Stage(listed.stage),
            Body::LineListed(listed) => RowKey::Line(listed.line),
            Body::AliasTaught(taught) => RowKey::Alias(taught.phrase.clone()),
            Body::Surveyed(surveyed) => RowKey::Survey(surveyed.job, surveyed.point),
            Body::NeedListed(listed) => RowKey::Need(listed.stage, listed.kind, listed.what.clone()),
            Body::FillInListed(listed) => RowKey::FillIn(listed.job, listed.what.clone()),
            Body::LimitSet(set) => RowKey::Limit(set.job, set.what.trim().to_lowercase()),
            Body::RoomMeasured(measured) => RowKey::Room(measured.job, room_key(&measured.room)),
            Body::FirmListed(_) => RowKey::Firm,
            Body::PersonRated(rated) => RowKey::Rates(rated.person, rated.job, rated.trade.clone()),
            Body::ItemPriced(priced) => RowKey::Price(priced.item),
            Body::JobTerms(terms) => RowKey::Terms(terms.job),
            Body::LinePriced(priced) => RowKey::LineMoney(priced.line),
            Body::QuoteGiven(given) => RowKey::Quote(given.quote),
            Body::QuoteAgreed(agreed) => RowKey::QuoteYes(agreed.quote),
            Body::PaymentPointSet(set) => RowKey::Point(set.point),
            Body::ExtraPriced(ExtraPriced { extra, .. }) => RowKey::Extra(*extra),
            Body::PricePaid(PricePaid { of, .. }) => RowKey::Paid(*of),
            Body::CostBorneBy(CostBorneBy { of, .. }) => RowKey::Borne(*of),
            Body::PointDue(due) => RowKey::PointDue(due.point),
            Body::JobCompleted(completed) => RowKey::Completion(completed.job),
            Body::VatRateSet(set) => RowKey::VatRate(set.job, set.stage),
            Body::PersonEngaged(engaged) => RowKey::Engagement(engaged.person),
            Body::TimeTermsSet(set) => RowKey::TimeTerms(set.side, set.job, set.person),
            Body::SelfBillingAgreed(agreed) => RowKey::SelfBilling(agreed.job),
            Body::PaymentCertified(certified) => RowKey::Certified(certified.application),
            Body::RoleChanged(_)
            | Body::DeviceAdmitted(_)
            | Body::DeviceRetired(_)
            | Body::SessionOpened(_)
            | Body::SessionClosed(_)
            | Body::Recovered(_)
            | Body::OfficeKeysGiven(_)
            | Body::Hours(_)
            | Body::WorkStarted(_)
            | Body::WorkSwitched(_)
            | Body::WorkStopped(_)
            | Body::Away(_)
            | Body::Bought(_)
            | Body::Delivered(_)
            | Body::Used(_)
            | Body::Wasted(_)
            | Body::Returned(_)
            | Body::Moved(_)
            | Body::HireBegan(_)
            | Body::HireEnded(_)
            | Body::Expense(_)
            | Body::Test(_)
            | Body::Photo(_)
            | Body::Note(_)
            | Body::SnagRaised(_)
            | Body::SnagCleared(_)
            | Body::ExtraAsked(_)
            | Body::ExtraAgreed(_)
            | Body::ExtraDeclined(_)
            | Body::LeftOff(_)
            | Body::Seen(_)
            | Body::ReadyForChecking(_)
            | Body::SignedOff(_)
            | Body::PartDone(_)
            | Body::Reopened(_)
            | Body::CalledBack(_)
            | Body::SignOffTold(_)
            | Body::Mileage(_)
            | Body::QuestionSettled(_)
            | Body::InvoiceIssued(_)
            | Body::InvoiceCredited(_)
            | Body::InvoiceVoided(_)
            | Body::InvoiceAdopted(_)
            | Body::DepositAsked(_)
            | Body::PaymentReceived(_)
            | Body::PaymentApplied(_)
            | Body::InvoiceSelfBilled(_)
            | Body::CreditAdopted(_) => return Self::Entry(logged.act.entry_ref()),
            Body::Corrected(Corrected { of, .. })
            | Body::Struck(Struck { of })
            | Body::Accepted(Accepted { of }) => {
                return Self::Change(*of);
            }
        };
        Self::Row(row)
    }
}

impl RowKey {
    /// Whether each version holds from its day on, instead of ending the one before altogether.
    pub(crate) const fn is_dated(&self) -> bool {
        matches!(self, Self::Rates(..) | Self::Price(_) | Self::Engagement(_) | Self::TimeTerms(..))
    }
}
