//! What an entry says, and what each kind of event is called.

use ledger::office::Document;
use ledger::site::{StockPlace, Worked};
use ledger::{Act, Body, EntryRef, Kind};
use trade::money::hours_and_minutes;

use super::{amount, day, how, number, pounds, terms, time, value};
use crate::billing::printed_number;
use crate::book::Book;
use crate::entry::Entry;
use crate::lists::Lists;

/// What an entry says, with its note: never empty.
#[must_use]
pub fn words(lists: &Lists<'_>, book: &Book, act: &Act, body: &Body) -> String {
    let told = match told(lists, book, body) {
        told if told.is_empty() => kind_words(body.kind()).to_owned(),
        told => told,
    };
    if act.note.is_empty() { told } else { format!("{told}: {}", act.note) }
}

/// What an entry says, without its stage and note.
#[must_use]
pub fn told(lists: &Lists<'_>, book: &Book, body: &Body) -> String {
    let other = |entry: &EntryRef| book.entry(entry).map(|entry| said(&entry)).unwrap_or_default();
    let to = |place: StockPlace| match place {
        StockPlace::Merchant => "merchant’s".to_owned(),
        StockPlace::Van => "van".to_owned(),
        StockPlace::Job(job) => lists.job(job),
        StockPlace::Customer => "customer’s".to_owned(),
        StockPlace::Skip => "skip".to_owned(),
    };
    match body {
        Body::Hours(hours) if hours.activity.is_empty() => worked(hours.worked),
        Body::Hours(hours) => format!("{}, {}", worked(hours.worked), hours.activity),
        Body::WorkStarted(started) => format!("started {}", time(started.at)),
        Body::WorkSwitched(switched) => {
            format!("went over {}{}", time(switched.at), less(switched.break_minutes))
        }
        Body::WorkStopped(stopped) => format!("stopped {}{}", time(stopped.at), less(stopped.break_minutes)),
        Body::Away(away) => format!("away until {}", day(away.until)),
        Body::Bought(bought) => {
            let items = bought.items.iter().map(|(item, much)| amount(lists, *item, much));
            let ticket = (!bought.ticket.is_empty()).then(|| format!("ticket {}", bought.ticket));
            let from = (!bought.supplier.is_empty()).then(|| format!("from {}", bought.supplier));
            let photo = (!bought.photos.is_empty()).then(|| "photo".to_owned());
            let parts: Vec<_> = items.chain(from).chain(ticket).chain(photo).collect();
            format!("bought {}", parts.join(", "))
        }
        Body::Delivered(came) => format!("{} came", amount(lists, came.item, &came.amount)),
        Body::Used(used) => format!("used {}", amount(lists, used.item, &used.amount)),
        Body::Wasted(wasted) => format!("{} wasted", amount(lists, wasted.item, &wasted.amount)),
        Body::Returned(back) => {
            format!("{} back to the {}", amount(lists, back.item, &back.amount), to(back.to))
        }
        Body::Moved(moved) => {
            let much = amount(lists, moved.item, &moved.amount);
            format!("{much} from {} to {}", to(moved.from), to(moved.to))
        }
        Body::HireBegan(hire) => format!("{} on hire", hire.what),
        Body::HireEnded(ended) => of("off hire", Some(ended.hire), other),
        Body::Expense(expense) => format!("{:?}", expense.kind).to_lowercase(),
        Body::Mileage(driven) => format!("{} miles driven", number(driven.miles)),
        Body::Test(test) => format!("{} {}", test.what, value(test.bound, test.value, &test.unit)),
        Body::Photo(photo) if photo.behind => "photo of what gets closed up".to_owned(),
        Body::Photo(_) => "photo".to_owned(),
        Body::Note(note) if note.photos.is_empty() => String::new(),
        Body::Note(_) => "photo".to_owned(),
        Body::SnagRaised(_) => "snag".to_owned(),
        Body::SnagCleared(cleared) => of("snag cleared", Some(cleared.snag), other),
        Body::ExtraAsked(asked) if asked.asked_by.is_empty() => format!("extra asked: {}", asked.what),
        Body::ExtraAsked(asked) => format!("extra asked by {}: {}", asked.asked_by, asked.what),
        Body::ExtraAgreed(agreed) => {
            let who = if agreed.said_by.is_empty() { "customer" } else { &agreed.said_by };
            let yes = format!("{who} said yes {}, {}", how(agreed.how), terms(agreed.terms));
            of(&yes, agreed.extra, other)
        }
        Body::ExtraDeclined(declined) => {
            let who = if declined.said_by.is_empty() { "customer" } else { &declined.said_by };
            of(&format!("{who} said no"), declined.extra, other)
        }
        Body::LeftOff(left) => {
            let off = (!left.off_or_live.is_empty()).then(|| left.off_or_live.clone());
            let wet = left.wet_until.map(|until| format!("wet until {} {}", day(until.day()), time(until)));
            let on = left.carries_on.map(|person| format!("{} carries on", lists.person(person)));
            let parts: Vec<_> = off.into_iter().chain(wet).chain(on).collect();
            if parts.is_empty() { "left off".to_owned() } else { format!("left off, {}", parts.join(", ")) }
        }
        Body::Seen(_) => "seen".to_owned(),
        Body::ReadyForChecking(_) => "ready for checking".to_owned(),
        Body::SignedOff(_) => "signed off".to_owned(),
        Body::PartDone(part) => format!("{}% done", number(part.percent)),
        Body::Reopened(_) => "opened again".to_owned(),
        Body::CalledBack(_) => "called back".to_owned(),
        Body::SignOffTold(told) => format!("told by {} that it is signed off", lists.person(told.by)),
        Body::QuestionSettled(_) => "answered".to_owned(),
        Body::InvoiceIssued(issued) => numbered("invoice", &issued.document),
        Body::InvoiceCredited(credited) => numbered("credit note", &credited.document),
        Body::InvoiceVoided(_) => "invoice voided".to_owned(),
        Body::InvoiceAdopted(adopted) => numbered("invoice taken on", &adopted.document),
        Body::DepositAsked(deposit) => format!("deposit asked for, {}", pounds(deposit.amount)),
        Body::PaymentReceived(paid) => format!("paid {}", pounds(paid.received)),
        Body::PaymentApplied(applied) => {
            let application = &applied.application;
            format!("application for payment {}, {}", application.number, pounds(application.applied))
        }
        Body::PaymentCertified(certified) => format!("certified, {}", pounds(certified.certified)),
        Body::InvoiceSelfBilled(billed) => numbered("the customer's own invoice", &billed.document),
        Body::CreditAdopted(adopted) => numbered("credit note taken on", &adopted.document),
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
        | Body::Corrected(_)
        | Body::Struck(_)
        | Body::Accepted(_)
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
        | Body::SelfBillingAgreed(_) => String::new(),
    }
}

/// An entry in the words of whoever logged it: the extra that was asked for, or the note.
#[must_use]
pub fn said(entry: &Entry<'_>) -> String {
    match entry.body.as_ref() {
        Body::ExtraAsked(asked) => asked.what.clone(),
        _ => entry.act.note.clone(),
    }
}

fn less(break_minutes: u32) -> String {
    if break_minutes > 0 { format!(", less {break_minutes} min") } else { String::new() }
}

fn worked(worked: Worked) -> String {
    match worked {
        Worked::Span { from, to, break_minutes } => {
            let minutes = (to.minutes_since(from) - i64::from(break_minutes)).max(0);
            let clock = format!("{}–{}{}", time(from), time(to), less(break_minutes));
            format!("{clock}: {}", hours_and_minutes(minutes))
        }
        Worked::Length { minutes } => hours_and_minutes(i64::from(minutes)),
    }
}

fn of(what: &str, entry: Option<EntryRef>, words: impl Fn(&EntryRef) -> String) -> String {
    entry.map_or_else(|| what.to_owned(), |entry| format!("{what}: {}", words(&entry)))
}

fn numbered(what: &str, document: &Document) -> String {
    format!("{what} {}, {}", printed_number(document), pounds(document.totals.total))
}

/// What people on site call something of this kind.
#[must_use]
pub const fn kind_words(kind: Kind) -> &'static str {
    match kind {
        Kind::CrewFounded => "crew begun",
        Kind::PersonListed => "person listed",
        Kind::RoleChanged => "boss, foreman or crew",
        Kind::DeviceAdmitted => "phone or laptop added",
        Kind::DeviceRetired => "lost phone",
        Kind::SessionOpened => "page opened",
        Kind::SessionClosed => "page closed",
        Kind::Recovered => "let in by the recovery words",
        Kind::OfficeKeysGiven => "gave the office's keys",
        Kind::ItemListed => "item listed",
        Kind::JobListed => "job listed",
        Kind::StageListed => "stage listed",
        Kind::LineListed => "line priced",
        Kind::AliasTaught => "word taught",
        Kind::Surveyed => "survey",
        Kind::NeedListed => "needed",
        Kind::FillInListed => "fill-in task",
        Kind::LimitSet => "limit set",
        Kind::RoomMeasured => "room measured",
        Kind::Hours => "hours",
        Kind::WorkStarted => "timer started",
        Kind::WorkSwitched => "went over",
        Kind::WorkStopped => "timer stopped",
        Kind::Away => "away",
        Kind::Bought => "bought",
        Kind::Delivered => "delivered",
        Kind::Used => "used",
        Kind::Wasted => "wasted",
        Kind::Returned => "returned",
        Kind::Moved => "moved",
        Kind::HireBegan => "hired",
        Kind::HireEnded => "off hire",
        Kind::Expense => "spent",
        Kind::Mileage => "miles driven",
        Kind::Test => "test",
        Kind::Photo => "photo",
        Kind::Note => "note",
        Kind::SnagRaised => "snag",
        Kind::SnagCleared => "snag put right",
        Kind::ExtraAsked => "extra asked for",
        Kind::ExtraAgreed => "extra agreed",
        Kind::ExtraDeclined => "extra turned down",
        Kind::LeftOff => "left off",
        Kind::Seen => "seen",
        Kind::ReadyForChecking => "ready for checking",
        Kind::SignedOff => "signed off",
        Kind::PartDone => "part done",
        Kind::Reopened => "opened again",
        Kind::CalledBack => "called back",
        Kind::SignOffTold => "told of a sign-off",
        Kind::Corrected => "changed",
        Kind::Struck => "crossed out",
        Kind::Accepted => "accepted",
        Kind::QuestionSettled => "sorted out",
        Kind::FirmListed => "the firm's details",
        Kind::PersonRated => "rate set",
        Kind::ItemPriced => "price set",
        Kind::JobTerms => "terms of the job",
        Kind::LinePriced => "price of a line",
        Kind::QuoteGiven => "quote given",
        Kind::QuoteAgreed => "quote accepted",
        Kind::PaymentPointSet => "payment point",
        Kind::ExtraPriced => "extra priced",
        Kind::PricePaid => "price paid",
        Kind::CostBorneBy => "who bears the cost",
        Kind::PointDue => "payment point due",
        Kind::JobCompleted => "job complete",
        Kind::VatRateSet => "rate of VAT",
        Kind::PersonEngaged => "how somebody works for us",
        Kind::TimeTermsSet => "how time is counted",
        Kind::SelfBillingAgreed => "the customer issues the invoices",
        Kind::InvoiceIssued => "invoice",
        Kind::InvoiceCredited => "credit note",
        Kind::InvoiceVoided => "invoice voided",
        Kind::InvoiceAdopted => "invoice taken on",
        Kind::DepositAsked => "deposit asked for",
        Kind::PaymentReceived => "paid",
        Kind::PaymentApplied => "application for payment",
        Kind::PaymentCertified => "certified",
        Kind::InvoiceSelfBilled => "the customer's own invoice",
        Kind::CreditAdopted => "credit note taken on",
    }
}
