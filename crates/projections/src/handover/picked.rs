//! Which events go with a handover: what the crew did and found out on the job, and who the crew is. What was
//! worked, priced, bought and talked over stays with the crew, and so does all that belongs to another job.

use std::collections::{BTreeMap, BTreeSet};

use ledger::excerpt::is_shown_of_roster;
use ledger::site::{NeedKind, SurveyPoint};
use ledger::{Body, ChainId, ItemId, JobId, Kind};

use crate::book::{Book, Logged};
use crate::entry::Entry;
use crate::row::RowKey;

/// The places of events, by chain.
pub type Places = BTreeMap<ChainId, BTreeSet<u64>>;

/// Whether entries of a kind are shown to whom a job is handed over.
const fn is_handed_over(kind: Kind) -> bool {
    match kind {
        Kind::Delivered
        | Kind::Used
        | Kind::Returned
        | Kind::Test
        | Kind::Photo
        // A note alone is between the crew; one with photos shows something.
        | Kind::Note
        | Kind::SnagRaised
        | Kind::SnagCleared
        | Kind::ExtraAsked
        | Kind::ExtraAgreed
        | Kind::ExtraDeclined
        | Kind::ReadyForChecking
        | Kind::SignedOff
        | Kind::PartDone
        | Kind::Reopened => true,
        // These are shown with the entry that they change.
        Kind::Corrected | Kind::Struck | Kind::Accepted => false,
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
        | Kind::Hours
        | Kind::WorkStarted
        | Kind::WorkSwitched
        | Kind::WorkStopped
        | Kind::Away
        | Kind::Bought
        | Kind::Wasted
        | Kind::Moved
        | Kind::HireBegan
        | Kind::HireEnded
        | Kind::Expense
        | Kind::LeftOff
        | Kind::Seen
        | Kind::CalledBack
        | Kind::SignOffTold
        | Kind::Mileage
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

/// Whether an answer of the survey is of use to whoever lives there. How to get in is between the crew.
const fn is_point_handed_over(point: SurveyPoint) -> bool {
    match point {
        SurveyPoint::Asbestos
        | SurveyPoint::CarriesLoad
        | SurveyPoint::Stopcock
        | SurveyPoint::FuseBoard
        | SurveyPoint::DamageThere
        | SurveyPoint::BuildingControl => true,
        SurveyPoint::Access | SurveyPoint::CustomersOwn | SurveyPoint::Start | SurveyPoint::Other => false,
    }
}

/// The places of all events that the handover of a job shows.
#[must_use]
pub fn picked(book: &Book, job: JobId) -> Places {
    let mut places = Places::new();
    let mut add = |logged: &Logged| {
        places.entry(logged.chain).or_default().insert(logged.seq);
    };
    let mut items = BTreeSet::new();
    for entry in book.entries().filter(|entry| belongs(book, entry, job)) {
        items.extend(item_of(&entry.body));
        book.history(&entry.entry_ref()).into_iter().for_each(&mut add);
    }
    for (key, versions) in &book.rows {
        if is_row_of(key, versions.values().map(|row| &row.body), job, &items) {
            for row in versions.values() {
                add(row);
                // A listing that was crossed out is crossed out there, too.
                book.history(&row.act.entry_ref()).into_iter().for_each(&mut add);
            }
        }
    }
    let entries = book.entries.values().flat_map(crate::book::History::all);
    let rows = book.rows.values().flat_map(|versions| versions.values().map(|row| &**row));
    entries.chain(rows).filter(|logged| is_shown_of_roster(logged.body.kind())).for_each(add);
    places
}

/// Whether an entry is of the job, and of those that are shown.
fn belongs(book: &Book, entry: &Entry<'_>, job: JobId) -> bool {
    if !is_handed_over(entry.body.kind()) {
        return false;
    }
    match entry.body.as_ref() {
        Body::SnagCleared(cleared) => {
            let snag = book.entry(&cleared.snag);
            snag.is_some_and(|snag| snag.site().is_some_and(|site| site.job == job))
        }
        Body::Note(note) => note.site.job == job && !note.photos.is_empty(),
        _ => entry.site().is_some_and(|site| site.job == job),
    }
}

const fn item_of(body: &Body) -> Option<ItemId> {
    match body {
        Body::Used(used) => Some(used.item),
        Body::Returned(returned) => Some(returned.item),
        Body::Delivered(delivered) => Some(delivered.item),
        _ => None,
    }
}

/// Whether a row of a list is shown: of the job itself, its stages, its survey, its limits and who has to come
/// and look; and of the items that were used.
fn is_row_of<'b>(
    key: &RowKey,
    mut versions: impl Iterator<Item = &'b Body>,
    job: JobId,
    items: &BTreeSet<ItemId>,
) -> bool {
    match key {
        RowKey::Job(of) | RowKey::Limit(of, _) => *of == job,
        RowKey::Survey(of, point) => *of == job && is_point_handed_over(*point),
        RowKey::Stage(_) => versions.any(|body| matches!(body, Body::StageListed(listed) if listed.job == job)),
        RowKey::Need(_, NeedKind::Inspector, _) => {
            versions.any(|body| matches!(body, Body::NeedListed(listed) if listed.job == job))
        }
        RowKey::Item(item) => items.contains(item),
        RowKey::Need(_, NeedKind::People | NeedKind::HiredGear | NeedKind::CustomersChoice, _)
        // People stand in the roster.
        | RowKey::Person(_)
        | RowKey::Line(_)
        | RowKey::Alias(_)
        | RowKey::FillIn(..)
        | RowKey::Room(..)
        | RowKey::Firm
        | RowKey::Rates(..)
        | RowKey::Price(_)
        | RowKey::Terms(_)
        | RowKey::LineMoney(_)
        | RowKey::Quote(_)
        | RowKey::QuoteYes(_)
        | RowKey::Point(_)
        | RowKey::Extra(_)
        | RowKey::Paid(_)
        | RowKey::Borne(_)
        | RowKey::PointDue(_)
        | RowKey::Completion(_)
        | RowKey::VatRate(..)
        | RowKey::SelfBilling(_)
        | RowKey::Certified(_)
        | RowKey::Engagement(_)
        | RowKey::TimeTerms(..) => false,
    }
}
