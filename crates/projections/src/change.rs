//! What a correction does to the entry that it names.
//!
//! A field that the entry does not have is passed over: a correction never turns one kind of entry
//! into another.

use ledger::site::{Amount, Changes, Hours, Place, Site, Worked};
use ledger::{Act, Body, ItemId};
use trade::Moment;

/// Where an entry belongs, borrowed as the body is.
macro_rules! site {
    ($body:expr) => {
        match $body {
            Body::Hours(ledger::site::Hours { site, .. })
            | Body::WorkStarted(ledger::site::WorkStarted { site, .. })
            | Body::WorkSwitched(ledger::site::WorkSwitched { site, .. })
            | Body::Delivered(ledger::site::Delivered { site, .. })
            | Body::Used(ledger::site::Used { site, .. })
            | Body::Wasted(ledger::site::Wasted { site, .. })
            | Body::Returned(ledger::site::Returned { site, .. })
            | Body::HireBegan(ledger::site::HireBegan { site, .. })
            | Body::Expense(ledger::site::Expense { site, .. })
            | Body::Mileage(ledger::site::Mileage { site, .. })
            | Body::Test(ledger::site::Test { site, .. })
            | Body::Note(ledger::site::Note { site, .. })
            | Body::SnagRaised(ledger::site::SnagRaised { site, .. })
            | Body::ExtraAsked(ledger::site::ExtraAsked { site, .. })
            | Body::ExtraAgreed(ledger::site::ExtraAgreed { site, .. })
            | Body::ExtraDeclined(ledger::site::ExtraDeclined { site, .. })
            | Body::LeftOff(ledger::site::LeftOff { site, .. })
            | Body::ReadyForChecking(ledger::site::ReadyForChecking { site })
            | Body::SignedOff(ledger::site::SignedOff { site, .. })
            | Body::PartDone(ledger::site::PartDone { site, .. })
            | Body::Reopened(ledger::site::Reopened { site })
            | Body::CalledBack(ledger::site::CalledBack { site, .. })
            | Body::SignOffTold(ledger::site::SignOffTold { site, .. }) => Some(site),
            Body::Photo(ledger::site::Photo { site, .. }) => site.into_iter().next(),
            Body::CrewFounded(_)
            | Body::PersonListed(_)
            | Body::RoleChanged(_)
            | Body::DeviceAdmitted(_)
            | Body::DeviceRetired(_)
            | Body::SessionOpened(_)
            | Body::SessionClosed(_)
            | Body::Recovered(_)
            | Body::OfficeKeysGiven(_)
            | Body::ItemListed(_)
            | Body::JobListed(_)
            | Body::StageListed(_)
            | Body::LineListed(_)
            | Body::AliasTaught(_)
            | Body::Surveyed(_)
            | Body::NeedListed(_)
            | Body::FillInListed(_)
            | Body::LimitSet(_)
            | Body::RoomMeasured(_)
            | Body::WorkStopped(_)
            | Body::Away(_)
            | Body::Bought(_)
            | Body::Moved(_)
            | Body::HireEnded(_)
            | Body::SnagCleared(_)
            | Body::Seen(_)
            | Body::Corrected(_)
            | Body::Struck(_)
            | Body::Accepted(_)
            | Body::QuestionSettled(_)
            | Body::FirmListed(_)
            | Body::PersonRated(_)
            | Body::ItemPriced(_)
            | Body::JobTerms(_)
            | Body::LinePriced(_)
            | Body::QuoteGiven(_)
            | Body::QuoteAgreed(_)
            | Body::PaymentPointSet(_)
            | Body::ExtraPriced(_)
            | Body::PricePaid(_)
            | Body::CostBorneBy(_)
            | Body::PointDue(_)
            | Body::JobCompleted(_)
            | Body::VatRateSet(_)
            | Body::PersonEngaged(_)
            | Body::TimeTermsSet(_)
            | Body::SelfBillingAgreed(_)
            | Body::InvoiceIssued(_)
            | Body::InvoiceCredited(_)
            | Body::InvoiceVoided(_)
            | Body::InvoiceAdopted(_)
            | Body::DepositAsked(_)
            | Body::PaymentReceived(_)
            | Body::PaymentApplied(_)
            | Body::PaymentCertified(_)
            | Body::InvoiceSelfBilled(_)
            | Body::CreditAdopted(_) => None,
        }
    };
}

/// Where an entry belongs, if it says.
pub(crate) fn site_of(body: &Body) -> Option<&Site> {
    site!(body)
}

/// Applies a correction.
pub(crate) fn apply(changes: &Changes, act: &mut Act, body: &mut Body) {
    change_time(changes, act, body);
    if let Some(day) = changes.done_on {
        act.done_on = day;
    }
    set(&mut act.note, changes.note.as_ref());
    // A photo that came first is sorted later.
    if let (Body::Photo(photo), Some(job)) = (&mut *body, changes.job)
        && photo.site.is_none()
    {
        photo.site = Some(Site { job, stage: None, place: Place::default() });
    }
    if let Some(site) = site!(&mut *body) {
        set(&mut site.job, changes.job.as_ref());
        set(&mut site.stage, changes.stage.as_ref());
        set(&mut site.place, changes.place.as_ref());
    }
    if let Some(what) = what_of(body) {
        set(what, changes.what.as_ref());
    }
    if let Some((item, amount)) = item_of(body) {
        set(item, changes.item.as_ref());
        set(amount, changes.amount.as_ref());
    }
    if let Body::Test(test) = body {
        set(&mut test.unit, changes.unit.as_ref());
        if let Some((bound, value)) = changes.value {
            (test.bound, test.value) = (bound, value);
        }
    }
}

fn set<T: Clone>(field: &mut T, value: Option<&T>) {
    if let Some(value) = value {
        field.clone_from(value);
    }
}

fn change_time(changes: &Changes, act: &mut Act, body: &mut Body) {
    match body {
        Body::Hours(hours) => {
            let day_followed_the_clock =
                matches!(hours.worked, Worked::Span { from, .. } if from.day() == act.done_on);
            change_hours(changes, hours);
            if let (true, Worked::Span { from, .. }) = (day_followed_the_clock, hours.worked) {
                act.done_on = from.day();
            }
        }
        Body::WorkStarted(started) => set(&mut started.at, changes.from.as_ref()),
        Body::WorkSwitched(switched) => {
            set(&mut switched.at, changes.from.or(changes.to).as_ref());
            set(&mut switched.break_minutes, changes.break_minutes.as_ref());
        }
        Body::WorkStopped(stopped) => {
            set(&mut stopped.at, changes.to.as_ref());
            set(&mut stopped.break_minutes, changes.break_minutes.as_ref());
        }
        _ => {}
    }
}

fn change_hours(changes: &Changes, hours: &mut Hours) {
    let (from, to, pause): (Option<Moment>, Option<Moment>, u32) = match hours.worked {
        Worked::Span { from, to, break_minutes } => (Some(from), Some(to), break_minutes),
        Worked::Length { .. } => (None, None, 0),
    };
    let clock_is_named = changes.from.is_some() || changes.to.is_some() || changes.break_minutes.is_some();
    let span = changes.from.or(from).zip(changes.to.or(to)).filter(|_| clock_is_named);
    if let Some((from, to)) = span {
        hours.worked = Worked::Span { from, to, break_minutes: changes.break_minutes.unwrap_or(pause) };
    }
    if let Some(minutes) = changes.minutes {
        hours.worked = Worked::Length { minutes };
    }
}

fn what_of(body: &mut Body) -> Option<&mut String> {
    match body {
        Body::Hours(hours) => Some(&mut hours.activity),
        Body::WorkStarted(started) => Some(&mut started.activity),
        Body::WorkSwitched(switched) => Some(&mut switched.activity),
        Body::HireBegan(hire) => Some(&mut hire.what),
        Body::Test(test) => Some(&mut test.what),
        Body::ExtraAsked(extra) => Some(&mut extra.what),
        _ => None,
    }
}

fn item_of(body: &mut Body) -> Option<(&mut ItemId, &mut Amount)> {
    match body {
        Body::Delivered(delivered) => Some((&mut delivered.item, &mut delivered.amount)),
        Body::Used(used) => Some((&mut used.item, &mut used.amount)),
        Body::Wasted(wasted) => Some((&mut wasted.item, &mut wasted.amount)),
        Body::Returned(returned) => Some((&mut returned.item, &mut returned.amount)),
        Body::Moved(moved) => Some((&mut moved.item, &mut moved.amount)),
        Body::Bought(bought) => match bought.items.as_mut_slice() {
            [(item, amount)] => Some((item, amount)),
            _ => None,
        },
        _ => None,
    }
}
