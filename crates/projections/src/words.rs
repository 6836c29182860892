//! What was logged, in the words of the site: one place for all of them.

use ledger::office::Document;
use ledger::site::{Amount, Bound, Test, Worked};
use ledger::{Act, Body, ItemId, Kind};
use rust_decimal::Decimal;
use trade::money::hours_and_minutes;

use crate::lists::Lists;

/// What an entry says, in a few words, with its note.
pub(crate) fn words(lists: &Lists<'_>, act: &Act, body: &Body) -> String {
    let told = body_words(lists, body);
    if act.note.is_empty() { told } else { format!("{told} ({})", act.note) }
}

/// `3 bags (75 kg) of`, `12.5 m of`, or only `6` of what is counted singly.
fn measure(lists: &Lists<'_>, item: ItemId, amount: &Amount) -> String {
    let unit = lists.items.get(&item).map_or("", |item| item.unit.as_str());
    let whole = match unit {
        "each" => amount.quantity.to_string(),
        unit => format!("{} {unit}", amount.quantity),
    };
    match &amount.said {
        Some(packs) if packs.pack != unit => {
            format!("{} {} ({whole}) of", packs.count, packs_called(&packs.pack, packs.count.value()))
        }
        Some(_) | None if unit == "each" => whole,
        Some(_) | None => format!("{whole} of"),
    }
}

/// One bag, two bags, half a box: more than one takes an s.
pub(crate) fn packs_called(pack: &str, count: Decimal) -> String {
    match pack {
        pack if count <= Decimal::ONE => pack.to_owned(),
        pack if pack.ends_with('x') || pack.ends_with("ch") || pack.ends_with("sh") => format!("{pack}es"),
        pack => format!("{pack}s"),
    }
}

fn body_words(lists: &Lists<'_>, body: &Body) -> String {
    let kind = kind_words(body.kind());
    let amount =
        |item: ItemId, amount: &Amount| format!("{} {}", measure(lists, item, amount), lists.item(item));
    let one = |item: ItemId, much: &Amount| format!("{kind} {}", amount(item, much));
    let with = |what: &str| if what.is_empty() { kind.to_owned() } else { format!("{kind}: {what}") };
    let less = |break_minutes: u32| match break_minutes {
        0 => String::new(),
        minutes => format!(", break {minutes} min"),
    };
    match body {
        Body::Hours(hours) => match hours.worked {
            Worked::Span { from, to, break_minutes } => {
                format!("{kind} {from} to {to}{}", less(break_minutes))
            }
            Worked::Length { minutes } => format!("{kind} {}", hours_and_minutes(i64::from(minutes))),
        },
        Body::WorkStarted(started) => format!("{kind} at {}", started.at),
        Body::WorkSwitched(switched) => format!("{kind} at {}{}", switched.at, less(switched.break_minutes)),
        Body::WorkStopped(stopped) => format!("{kind} at {}{}", stopped.at, less(stopped.break_minutes)),
        Body::Away(away) => format!("{kind} until {}", away.until),
        Body::Used(used) => one(used.item, &used.amount),
        Body::Wasted(wasted) => one(wasted.item, &wasted.amount),
        Body::Returned(returned) => one(returned.item, &returned.amount),
        Body::Delivered(delivered) => one(delivered.item, &delivered.amount),
        Body::Moved(moved) => one(moved.item, &moved.amount),
        Body::Bought(bought) => {
            let items: Vec<_> = bought.items.iter().map(|(item, much)| amount(*item, much)).collect();
            if items.is_empty() { kind.to_owned() } else { format!("{kind} {}", items.join(", ")) }
        }
        Body::HireBegan(hire) => format!("{kind} {}", hire.what),
        Body::Test(test) => format!("{kind}: {} {}{} {}", test.what, sign(test), test.value, test.unit),
        Body::ExtraAsked(asked) => with(&asked.what),
        Body::ExtraAgreed(agreed) => with(&agreed.said_by),
        Body::ExtraDeclined(declined) => with(&declined.said_by),
        Body::LeftOff(left) => with(&left.off_or_live),
        Body::PartDone(part) => format!("{kind}, {} %", part.percent),
        Body::CalledBack(back) => with(&back.cause),
        Body::InvoiceIssued(issued) => numbered(kind, &issued.document),
        Body::InvoiceCredited(credited) => numbered(kind, &credited.document),
        Body::InvoiceAdopted(adopted) => numbered(kind, &adopted.document),
        Body::DepositAsked(deposit) => format!("{kind} {}", deposit.amount),
        Body::PaymentReceived(paid) => format!("{kind} {}", paid.received),
        _ => kind.to_owned(),
    }
}

fn numbered(kind: &str, document: &Document) -> String {
    format!("{kind} {}, {}", crate::billing::printed_number(document), document.totals.total)
}

const fn sign(test: &Test) -> &'static str {
    match test.bound {
        Bound::Exactly => "",
        Bound::Above => ">",
        Bound::Below => "<",
    }
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
        Kind::ItemListed => "item listed",
        Kind::JobListed => "job listed",
        Kind::StageListed => "stage listed",
        Kind::LineListed => "line priced",
        Kind::AliasTaught => "word taught",
        Kind::Surveyed => "survey",
        Kind::NeedListed => "needed",
        Kind::FillInListed => "fill-in task",
        Kind::LimitSet => "limit set",
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
        Kind::InvoiceIssued => "invoice",
        Kind::InvoiceCredited => "credit note",
        Kind::InvoiceVoided => "invoice voided",
        Kind::InvoiceAdopted => "invoice taken on",
        Kind::DepositAsked => "deposit asked for",
        Kind::PaymentReceived => "paid",
    }
}
