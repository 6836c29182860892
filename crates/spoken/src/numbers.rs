//! Numbers, in figures or in words: "thirty-five", "one and a half", "four point five", "¾".
//!
//! Exact or nothing: a third has no exact decimal, so it is not a number here. Two numbers side by
//! side stay two ("nine thirty-five" is 9 and 35); what they count is decided elsewhere.

use rust_decimal::Decimal;

use crate::words::{Stop, Word, phrase_at, text_at};

/// A number and how many words it took.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Number {
    pub(crate) value: Decimal,
    pub(crate) len: usize,
}

const UNITS: &[(&str, i64)] = &[
    ("nought", 0),
    ("zero", 0),
    ("one", 1),
    ("two", 2),
    ("three", 3),
    ("four", 4),
    ("five", 5),
    ("six", 6),
    ("seven", 7),
    ("eight", 8),
    ("nine", 9),
    ("fourty", 40),
    ("dozen", 12),
];

const TEENS: &[&str] = &[
    "ten",
    "eleven",
    "twelve",
    "thirteen",
    "fourteen",
    "fifteen",
    "sixteen",
    "seventeen",
    "eighteen",
    "nineteen",
];

const TENS: &[&str] = &["twenty", "thirty", "forty", "fifty", "sixty", "seventy", "eighty", "ninety"];

const HALF: Decimal = Decimal::from_parts(5, 0, 0, false, 1);
const QUARTER: Decimal = Decimal::from_parts(25, 0, 0, false, 2);
const THREE_QUARTERS: Decimal = Decimal::from_parts(75, 0, 0, false, 2);

fn unit_word(text: &str) -> Option<i64> {
    UNITS.iter().find(|(word, _)| *word == text).map(|(_, value)| *value)
}

fn teen_word(text: &str) -> Option<i64> {
    TEENS.iter().position(|word| *word == text).and_then(|at| i64::try_from(at).ok()).map(|at| at + 10)
}

fn tens_word(text: &str) -> Option<i64> {
    TENS.iter().position(|word| *word == text).and_then(|at| i64::try_from(at).ok()).map(|at| (at + 2) * 10)
}

/// Whether words go on without a stop between.
fn joined(words: &[Word], at: usize) -> bool {
    words.get(at).is_some_and(|word| word.stop == Stop::None)
}

fn below_hundred(words: &[Word], at: usize) -> Option<(i64, usize)> {
    let text = text_at(words, at);
    if let Some(tens) = tens_word(text) {
        let unit =
            unit_word(text_at(words, at + 1)).filter(|unit| (1..=9).contains(unit) && joined(words, at + 1));
        return Some(unit.map_or((tens, 1), |unit| (tens + unit, 2)));
    }
    teen_word(text).or_else(|| unit_word(text)).map(|value| (value, 1))
}

/// A whole number in words: "two hundred and fifty", "eighteen hundred", "a dozen".
fn whole_words(words: &[Word], at: usize) -> Option<(i64, usize)> {
    let article = usize::from(matches!(text_at(words, at), "a" | "an"));
    let head = if article == 1 { None } else { below_hundred(words, at) };
    let (mut value, mut len) = head.unwrap_or((1, article));
    let scale = |text: &str| match text {
        "dozen" => Some(12),
        "hundred" => Some(100),
        "thousand" => Some(1000),
        _ => None,
    };
    let is_bare_dozen = text_at(words, at) == "dozen";
    let first =
        scale(text_at(words, at + len)).filter(|_| !is_bare_dozen && (len == 0 || joined(words, at + len)));
    let Some(mut factor) = first else {
        return head;
    };
    value *= factor;
    len += 1;
    // "Two thousand four hundred", "a hundred and fifty", "two hundred fifty".
    while factor > 12 && joined(words, at + len) {
        let and = usize::from(text_at(words, at + len) == "and");
        let Some((more, taken)) = below_hundred(words, at + len + and) else { break };
        let next = scale(text_at(words, at + len + and + taken)).unwrap_or(1);
        if more * next >= factor || next == 12 {
            break;
        }
        value += more * next;
        len += and + taken + usize::from(next > 1);
        factor = next.max(2);
        if next == 1 {
            break;
        }
    }
    Some((value, len))
}

fn figures(words: &[Word], at: usize) -> Option<(Decimal, usize)> {
    let text = text_at(words, at);
    if !text.starts_with(|c: char| c.is_ascii_digit()) || text.contains([':', ',']) || text.len() > 12 {
        return None;
    }
    let value = Decimal::from_str_exact(text).ok()?;
    if text_at(words, at + 1) == "/" {
        return match (text, text_at(words, at + 2)) {
            ("1", "2") => Some((HALF, 3)),
            ("1", "4") => Some((QUARTER, 3)),
            ("3", "4") => Some((THREE_QUARTERS, 3)),
            _ => None,
        };
    }
    Some((value, 1))
}

/// A part of one: "half", "a half", "three quarters", "half a", "a quarter of a".
fn fraction(words: &[Word], at: usize) -> Option<(Decimal, usize)> {
    let phrases = [
        ("three quarters", THREE_QUARTERS),
        ("three quarter", THREE_QUARTERS),
        ("3 quarters", THREE_QUARTERS),
        ("a half", HALF),
        ("one half", HALF),
        ("half", HALF),
        ("a quarter", QUARTER),
        ("one quarter", QUARTER),
        ("quarter", QUARTER),
        ("½", HALF),
        ("¼", QUARTER),
        ("¾", THREE_QUARTERS),
    ];
    phrases.iter().find_map(|(phrase, value)| phrase_at(words, at, phrase).map(|len| (*value, len)))
}

/// "And a half", "and three quarters", after a whole number or a unit.
pub(crate) fn and_a_fraction(words: &[Word], at: usize) -> Option<Number> {
    if let sign @ ("½" | "¼" | "¾") = text_at(words, at) {
        let value = if sign == "½" {
            HALF
        } else if sign == "¼" {
            QUARTER
        } else {
            THREE_QUARTERS
        };
        return Some(Number { value, len: 1 });
    }
    // "2 1/2".
    if text_at(words, at + 1) == "/"
        && let Some((value, len)) = figures(words, at).filter(|(value, _)| *value < Decimal::ONE)
    {
        return Some(Number { value, len });
    }
    if text_at(words, at) != "and" || !joined(words, at) {
        return None;
    }
    let (value, len) = fraction(words, at + 1)?;
    // "An hour and half a bag": the half belongs to the bag.
    let after = text_at(words, at + 1 + len);
    let bare = matches!(text_at(words, at + 1), "half" | "quarter");
    let belongs_on =
        matches!(after, "a" | "an") || (after == "of" && text_at(words, at + 2 + len).starts_with('a'));
    if bare && belongs_on {
        return None;
    }
    Some(Number { value, len: len + 1 })
}

/// The digits after a spoken point: "four two" of "nought point four two".
fn spoken_decimals(words: &[Word], at: usize) -> Option<(String, usize)> {
    let mut digits = String::new();
    let mut len = 0;
    while digits.len() < 6 {
        let text = text_at(words, at + len);
        if let Some(unit) = unit_word(text).filter(|unit| *unit <= 9) {
            digits.push_str(&unit.to_string());
        } else if matches!(text, "oh" | "o") {
            digits.push('0');
        } else if digits.is_empty()
            && text.len() <= 6
            && !text.is_empty()
            && text.bytes().all(|b| b.is_ascii_digit())
        {
            return Some((text.to_owned(), 1));
        } else if digits.is_empty() {
            let (value, taken) = below_hundred(words, at)?;
            return Some((value.to_string(), taken));
        } else {
            break;
        }
        len += 1;
    }
    Some((digits, len))
}

/// The number that begins here, the longest reading of it.
pub(crate) fn number_at(words: &[Word], at: usize) -> Option<Number> {
    if text_at(words, at) == "point" {
        // "Point four two".
        let (digits, len) = spoken_decimals(words, at + 1)?;
        let value = Decimal::from_str_exact(&format!("0.{digits}")).ok()?;
        return Some(Number { value, len: len + 1 });
    }
    if let Some(len) = phrase_at(words, at, "half a dozen") {
        return Some(Number { value: Decimal::from(6), len });
    }
    if let Some((value, len)) = fraction(words, at) {
        return Some(Number { value, len });
    }
    let is_oh = matches!(text_at(words, at), "oh") && text_at(words, at + 1) == "point";
    let whole = whole_words(words, at).map(|(value, len)| (Decimal::from(value), len));
    let (value, len) =
        whole.or_else(|| figures(words, at)).or_else(|| is_oh.then_some((Decimal::ZERO, 1)))?;
    if !value.fract().is_zero() {
        return Some(Number { value, len });
    }
    if text_at(words, at + len) == "point"
        && let Some((digits, taken)) = spoken_decimals(words, at + len + 1)
        && let Ok(value) = Decimal::from_str_exact(&format!("{}.{digits}", value.trunc()))
    {
        return Some(Number { value, len: len + 1 + taken });
    }
    match and_a_fraction(words, at + len) {
        Some(more) => Some(Number { value: value + more.value, len: len + more.len }),
        None => Some(Number { value, len }),
    }
}

/// The whole number that begins here, if it is one and below `most`.
pub(crate) fn whole_at(words: &[Word], at: usize, most: u32) -> Option<(u32, usize)> {
    let (value, len) = whole_words(words, at)
        .map(|(value, len)| (Decimal::from(value), len))
        .or_else(|| figures(words, at).filter(|(_, len)| *len == 1))?;
    let value = u32::try_from(value).ok().filter(|_| value.fract().is_zero())?;
    (value <= most).then_some((value, len))
}
