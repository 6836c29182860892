//! What was logged, in the words of the site, for the page and the command line alike: days, times and
//! amounts as people say them, with whole packs as packs and without noughts behind the point.

mod entries;

use ledger::ItemId;
use ledger::site::{Amount, Bound, ExtraTerms, ItemListed, Place, SaidHow, Surface};
use rust_decimal::Decimal;
use trade::{Day, Moment, Pence, Quantity};

pub use entries::{kind_words, said, told, words};

use crate::lists::Lists;

const WEEKDAYS: [&str; 7] = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun"];
const MONTHS: [&str; 12] =
    ["Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"];

/// `Thu 5 Nov`.
#[must_use]
pub fn day(day: Day) -> String {
    let date = day.date();
    let weekday = usize::try_from(date.weekday().to_monday_zero_offset()).unwrap_or(0);
    format!("{} {} {}", WEEKDAYS.get(weekday).unwrap_or(&""), date.day(), month_name(date.month()))
}

/// What an entry says, with its note behind it.
#[must_use]
pub fn with_note(told: &str, note: &str) -> String {
    match (told.is_empty(), note.is_empty()) {
        (true, _) => note.to_owned(),
        (false, true) => told.to_owned(),
        (false, false) => format!("{told}: {note}"),
    }
}

/// `5 Nov 2026`: a day that may be of another year.
#[must_use]
pub fn day_and_year(day: Day) -> String {
    format!("{} {}", day.date().day(), month(day))
}

/// `Nov 2026`.
#[must_use]
pub fn month(day: Day) -> String {
    format!("{} {}", month_name(day.date().month()), day.date().year())
}

fn month_name(month: i8) -> &'static str {
    usize::try_from(month - 1).ok().and_then(|month| MONTHS.get(month)).unwrap_or(&"")
}

/// `today`, `yesterday`, or the day.
#[must_use]
pub fn near_day(which: Day, today: Day) -> String {
    match today.number() - which.number() {
        0 => "today".to_owned(),
        1 => "yesterday".to_owned(),
        -1 => "tomorrow".to_owned(),
        _ => day(which),
    }
}

/// The Monday of a day's week.
#[must_use]
pub fn monday_of(day: Day) -> Day {
    day.plus_days(-i32::from(day.date().weekday().to_monday_zero_offset()))
}

/// `07:45`.
#[must_use]
pub fn clock(minute: u16) -> String {
    format!("{:02}:{:02}", minute / 60, minute % 60)
}

/// `07:45` of a moment.
#[must_use]
pub fn time(moment: Moment) -> String {
    clock(moment.minute_of_day())
}

/// `today 07:45`, `Thu 5 Nov 07:45`.
#[must_use]
pub fn when(moment: Moment, today: Day) -> String {
    format!("{} {}", near_day(moment.day(), today), time(moment))
}

/// `£1,234.50`; below nought `−£1,234.50`.
#[must_use]
pub fn pounds(sum: Pence) -> String {
    let digits = money(Pence(sum.0.saturating_abs()));
    if sum.0 < 0 { format!("−£{digits}") } else { format!("£{digits}") }
}

/// The same where the currency is said elsewhere: `1,234.50`; below nought `−1,234.50`.
#[must_use]
pub fn money(sum: Pence) -> String {
    let pence = sum.0.unsigned_abs();
    let sign = if sum.0 < 0 { "−" } else { "" };
    format!("{sign}{}.{:02}", thousands(pence / 100), pence % 100)
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
#[must_use]
pub fn number(quantity: Quantity) -> String {
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

/// A number of whole packs or measures: `3 bags`, `1 box`, `12 m`, `7`.
#[must_use]
pub fn counted(count: u64, pack: &str) -> String {
    match pack {
        "" | "each" => count.to_string(),
        "m2" => format!("{count} m²"),
        "m3" => format!("{count} m³"),
        // Letters that stand for a measure stay as they are.
        measure if measure.len() < 3 => format!("{count} {measure}"),
        pack => format!("{count} {}", plural(pack, Decimal::from(count))),
    }
}

/// Whether an item comes in a pack of more than one unit.
#[must_use]
pub fn has_pack(item: &ItemListed) -> bool {
    !item.pack.is_empty() && item.pack != item.unit
}

/// How many packs of an item a quantity is, where that comes out in quarters.
#[must_use]
pub fn packs_of(item: &ItemListed, quantity: Quantity) -> Option<Quantity> {
    let count = quantity.value().checked_div(item.pack_size.value())?;
    let in_quarters = count.checked_mul(Decimal::from(4))?.fract().is_zero();
    Quantity::new(count.normalize()).ok().filter(|_| has_pack(item) && in_quarters)
}

/// How much of an item, in packs where that comes out in quarters: `2½ bags`, `31.5 m`, `16`.
#[must_use]
pub fn in_packs(item: &ItemListed, quantity: Quantity) -> String {
    if let Some(count) = packs_of(item, quantity).map(Quantity::value) {
        return format!("{} {}", packs(count), plural(&item.pack, count));
    }
    match item.unit.as_str() {
        "each" => number(quantity),
        unit => format!("{} {}", number(quantity), unit.replace("m2", "m²").replace("m3", "m³")),
    }
}

/// An amount as it was said, with its item: `2½ bags finish plaster`.
#[must_use]
pub fn amount(lists: &Lists<'_>, item: ItemId, amount: &Amount) -> String {
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

/// A test's value: `>200 megohm`, `no fall in 60 min`.
#[must_use]
pub fn value(bound: Bound, value: Quantity, unit: &str) -> String {
    let sign = match bound {
        Bound::Exactly => "",
        Bound::Above => ">",
        Bound::Below => "<",
    };
    match unit.split_once(" fall in ") {
        Some((_, time)) if bound == Bound::Exactly && value.is_zero() => format!("no fall in {time}"),
        Some(_) | None => format!("{sign}{} {unit}", number(value)),
    }
}

/// `north wall, utility room`.
#[must_use]
pub fn place(place: &Place) -> String {
    let words = [place.words.as_str(), surface(place), place.room.as_str()];
    words.into_iter().filter(|word| !word.is_empty()).collect::<Vec<_>>().join(", ")
}

/// `wall`; empty where it was not said.
pub(crate) const fn surface(place: &Place) -> &'static str {
    match place.surface {
        Some(Surface::Wall) => "wall",
        Some(Surface::Ceiling) => "ceiling",
        Some(Surface::Floor) => "floor",
        None => "",
    }
}

/// How the customer said it.
#[must_use]
pub const fn how(how: SaidHow) -> &'static str {
    match how {
        SaidHow::Word => "by word",
        SaidHow::Message => "by message",
        SaidHow::Signature => "signed",
    }
}

/// On what terms an extra is done.
#[must_use]
pub const fn terms(terms: ExtraTerms) -> &'static str {
    match terms {
        ExtraTerms::AtAPrice => "at a price",
        ExtraTerms::OnTheClock => "on the clock",
        ExtraTerms::Free => "free",
        ExtraTerms::LeftOut => "left out, a credit",
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
    }
}
