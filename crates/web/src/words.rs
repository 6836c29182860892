//! How days, times, amounts and entries are said on a screen: in the trade's words, with whole packs
//! as packs, and without noughts behind the point.

use ledger::Body;
use ledger::site::{Amount, Bound, ExtraTerms, ItemListed, Place, SaidHow, StockPlace, Surface, Worked};
use ledger::{EntryRef, ItemId};
use projections::{Entry, Lists};
use rust_decimal::Decimal;
use trade::money::hours_and_minutes;
use trade::{Day, Moment, Pence, Quantity};

const WEEKDAYS: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];
const MONTHS: [&str; 12] =
    ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

/// `Thu 5 Nov`.
pub(crate) fn day(day: Day) -> String {
    let date = day.date();
    let weekday = usize::try_from(date.weekday().to_monday_zero_offset()).unwrap_or(0);
    format!("{} {} {}", WEEKDAYS.get(weekday).unwrap_or(&""), date.day(), month_name(date.month()))
}

/// `5 Nov 2026`: a day that may be of another year.
pub(crate) fn day_and_year(day: Day) -> String {
    format!("{} {}", day.date().day(), month(day))
}

/// `Nov 2026`.
pub(crate) fn month(day: Day) -> String {
    format!("{} {}", month_name(day.date().month()), day.date().year())
}

fn month_name(month: i8) -> &'static str {
    usize::try_from(month - 1).ok().and_then(|month| MONTHS.get(month)).unwrap_or(&"")
}

/// `today`, `yesterday`, or the day.
pub(crate) fn near_day(which: Day, today: Day) -> String {
    match today.number() - which.number() {
        0 => "today".to_owned(),
        1 => "yesterday".to_owned(),
        -1 => "tomorrow".to_owned(),
        _ => day(which),
    }
}

/// The Monday of a day's week.
pub(crate) fn monday_of(day: Day) -> Day {
    day.plus_days(-i32::from(day.date().weekday().to_monday_zero_offset()))
}

/// `07:45`.
pub(crate) fn clock(minute: u16) -> String {
    format!("{:02}:{:02}", minute / 60, minute % 60)
}

/// `07:45` of a moment.
pub(crate) fn time(moment: Moment) -> String {
    clock(moment.minute_of_day())
}

/// `today 07:45`, `Thu 5 Nov 07:45`.
pub(crate) fn when(moment: Moment, today: Day) -> String {
    format!("{} {}", near_day(moment.day(), today), time(moment))
}

/// `£1,234.50`.
pub(crate) fn pounds(sum: Pence) -> String {
    let pence = sum.0.unsigned_abs();
    let sign = if sum.0 < 0 { "−" } else { "" };
    format!("{sign}£{}.{:02}", thousands(pence / 100), pence % 100)
}

fn thousands(number: u64) -> String {
    let digits = number.to_string();
    let mut grouped = String::new();
    for (at, digit) in digits.chars().enumerate() {
        if at > 0 && (digits.len() - at).is_multiple_of(3) {
            grouped.push(',');
        }
        grouped.push(digit);
    }
    grouped
}

/// A number without noughts behind the point: `1.5`, `12`.
pub(crate) fn number(quantity: Quantity) -> String {
    quantity.value().normalize().to_string()
}

/// A number of packs as it is said: `2½`, `¾`, `12`.
fn packs(count: Decimal) -> String {
    let whole = count.trunc();
    let rest = count - whole;
    let part = match (rest * Decimal::from(4)).normalize().to_string().as_str() {
        "1" => "¼",
        "2" => "½",
        "3" => "¾",
        _ => return count.normalize().to_string(),
    };
    if whole.is_zero() { part.to_owned() } else { format!("{whole}{part}") }
}

/// `bags` for more than one.
fn plural(word: &str, count: Decimal) -> String {
    if count <= Decimal::ONE || word.ends_with('s') {
        return word.to_owned();
    }
    let ending = if word.ends_with('x') || word.ends_with("ch") || word.ends_with("sh") { "es" } else { "s" };
    format!("{word}{ending}")
}

/// Whether an item comes in a pack of more than one unit.
pub(crate) fn has_pack(item: &ItemListed) -> bool {
    !item.pack.is_empty() && item.pack != item.unit
}

/// How much of an item, in packs where that comes out in quarters: `2½ bags`, `31.5 m`, `16`.
pub(crate) fn in_packs(item: &ItemListed, quantity: Quantity) -> String {
    let count = quantity.value().checked_div(item.pack_size.value()).unwrap_or_default();
    let in_quarters = (count * Decimal::from(4)).fract().is_zero();
    if has_pack(item) && in_quarters {
        return format!("{} {}", packs(count), plural(&item.pack, count));
    }
    match item.unit.as_str() {
        "each" => number(quantity),
        unit => format!("{} {}", number(quantity), unit.replace("m2", "m²").replace("m3", "m³")),
    }
}

/// An amount as it was said, with its item: `2½ bags finish plaster`.
pub(crate) fn amount(lists: &Lists<'_>, item: ItemId, amount: &Amount) -> String {
    let Some(listed) = lists.items.get(&item) else {
        return format!("{} of {}", number(amount.quantity), lists.item(item));
    };
    let much = match &amount.said {
        Some(said) if said.pack != listed.unit => {
            format!("{} {}", packs(said.count.value()), plural(&said.pack, said.count.value()))
        }
        _ => in_packs(listed, amount.quantity),
    };
    format!("{much} {}", listed.name)
}

/// A test's value: `>200 megohm`.
pub(crate) fn value(bound: Bound, value: Quantity, unit: &str) -> String {
    let sign = match bound {
        Bound::Exactly => "",
        Bound::Above => ">",
        Bound::Below => "<",
    };
    format!("{sign}{} {unit}", number(value))
}

/// `north wall, utility room`.
pub(crate) fn place(place: &Place) -> String {
    let surface = place.surface.map(|surface| match surface {
        Surface::Wall => "wall",
        Surface::Ceiling => "ceiling",
        Surface::Floor => "floor",
    });
    let words = [place.words.as_str(), surface.unwrap_or_default(), place.room.as_str()];
    words.into_iter().filter(|word| !word.is_empty()).collect::<Vec<_>>().join(", ")
}

/// How the customer said it.
pub(crate) const fn how(how: SaidHow) -> &'static str {
    match how {
        SaidHow::Word => "by word",
        SaidHow::Message => "by message",
        SaidHow::Signature => "signed",
    }
}

/// On what terms an extra is done.
pub(crate) const fn terms(terms: ExtraTerms) -> &'static str {
    match terms {
        ExtraTerms::AtAPrice => "at a price",
        ExtraTerms::OnTheClock => "on the clock",
        ExtraTerms::Free => "free",
        ExtraTerms::LeftOut => "left out, a credit",
    }
}

fn worked(worked: Worked) -> String {
    match worked {
        Worked::Span { from, to, break_minutes } => {
            let minutes = (to.minutes_since(from) - i64::from(break_minutes)).max(0);
            let less = if break_minutes > 0 { format!(", less {break_minutes} min") } else { String::new() };
            format!("{}–\u{2060}{}{less}: {}", time(from), time(to), hours_and_minutes(minutes))
        }
        Worked::Length { minutes } => hours_and_minutes(i64::from(minutes)),
    }
}

fn of(what: &str, entry: Option<EntryRef>, words: impl Fn(&EntryRef) -> String) -> String {
    entry.map_or_else(|| what.to_owned(), |entry| format!("{what}: {}", words(&entry)))
}

/// A name as it may stand in an address.
pub(crate) fn encoded(name: &str) -> String {
    let mut encoded = String::new();
    for byte in name.bytes() {
        match byte {
            b'a'..=b'z' | b'A'..=b'Z' | b'0'..=b'9' | b'-' | b'.' | b'_' | b'~' => {
                encoded.push(char::from(byte))
            }
            _ => encoded += &format!("%{byte:02X}"),
        }
    }
    encoded
}

/// What an entry says, without its stage and note.
pub(crate) fn told(lists: &Lists<'_>, book: &projections::Book, entry: &Entry<'_>) -> String {
    let other = |entry: &EntryRef| book.entry(entry).map(|entry| said(&entry)).unwrap_or_default();
    let to = |place: StockPlace| match place {
        StockPlace::Merchant => "merchant’s".to_owned(),
        StockPlace::Van => "van".to_owned(),
        StockPlace::Job(job) => lists.job(job),
        StockPlace::Customer => "customer’s".to_owned(),
        StockPlace::Skip => "skip".to_owned(),
    };
    match entry.body.as_ref() {
        Body::Hours(hours) if hours.activity.is_empty() => worked(hours.worked),
        Body::Hours(hours) => format!("{}, {}", worked(hours.worked), hours.activity),
        Body::WorkStarted(started) => format!("started {}", time(started.at)),
        Body::WorkSwitched(switched) => format!("went over {}", time(switched.at)),
        Body::WorkStopped(stopped) => format!("stopped {}", time(stopped.at)),
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
        Body::Used(used) => amount(lists, used.item, &used.amount),
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
        Body::InvoiceIssued(issued) => {
            format!("invoice {}", projections::billing::printed_number(&issued.document))
        }
        Body::InvoiceCredited(credited) => {
            format!("credit note {}", projections::billing::printed_number(&credited.document))
        }
        Body::InvoiceVoided(_) => "invoice voided".to_owned(),
        Body::InvoiceAdopted(_) => "invoice adopted".to_owned(),
        Body::DepositAsked(_) => "deposit asked".to_owned(),
        Body::PaymentReceived(_) => "payment".to_owned(),
        Body::CrewFounded(_)
        | Body::PersonListed(_)
        | Body::RoleChanged(_)
        | Body::DeviceAdmitted(_)
        | Body::DeviceRetired(_)
        | Body::SessionOpened(_)
        | Body::SessionClosed(_)
        | Body::Recovered(_)
        | Body::ItemListed(_)
        | Body::JobListed(_)
        | Body::StageListed(_)
        | Body::LineListed(_)
        | Body::AliasTaught(_)
        | Body::Surveyed(_)
        | Body::NeedListed(_)
        | Body::FillInListed(_)
        | Body::LimitSet(_)
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
        | Body::CostBorneBy(_) => String::new(),
    }
}

/// An entry in the words of whoever logged it: the extra that was asked for, or the note.
pub(crate) fn said(entry: &Entry<'_>) -> String {
    match entry.body.as_ref() {
        Body::ExtraAsked(asked) => asked.what.clone(),
        _ => entry.act.note.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn item(unit: &str, pack: &str, size: &str) -> ItemListed {
        let (unit, pack, pack_size) = (unit.to_owned(), pack.to_owned(), size.parse().unwrap());
        ItemListed { item: ItemId([0; 16]), name: "thing".to_owned(), unit, pack, pack_size }
    }

    #[test]
    fn amounts_are_said_in_packs_where_they_come_out_in_quarters() {
        let say = |item: &ItemListed, much: &str| in_packs(item, much.parse().unwrap());
        assert_eq!(say(&item("kg", "bag", "25"), "62.5"), "2½ bags");
        assert_eq!(say(&item("kg", "bag", "25"), "18.75"), "¾ bag");
        assert_eq!(say(&item("m", "coil", "50"), "50"), "1 coil");
        assert_eq!(say(&item("m", "coil", "50"), "41.50"), "41.5 m");
        assert_eq!(say(&item("each", "box", "1000"), "2000"), "2 boxes");
        assert_eq!(say(&item("each", "each", "1"), "16"), "16");
        assert_eq!(say(&item("m2", "box", "1.44"), "5"), "5 m²");
    }

    #[test]
    fn money_and_days_read_as_people_write_them() {
        assert_eq!(pounds(Pence(123_456_705)), "£1,234,567.05");
        assert_eq!(pounds(Pence(-50)), "−£0.50");
        let friday: Day = "2026-11-06".parse().unwrap();
        assert_eq!(day(friday), "Fri 6 Nov");
        assert_eq!(day(monday_of(friday)), "Mon 2 Nov");
        assert_eq!(near_day(friday, friday.plus_days(1)), "yesterday");
        assert_eq!(day_and_year(friday), "6 Nov 2026");
        assert_eq!(encoded("stud walls & é"), "stud%20walls%20%26%20%C3%A9");
    }
}
