//! The pressure test of water pipes, by the kind of pipe and the method: what was said of it, and what that
//! lacks or shows.
//!
//! Rigid pipe and plastic by test A or B as in the Defra guide to SI 1999/1148, schedule 2 paragraph 12;
//! the EN 806 pressure by waterregsuk.co.uk. A verdict is on what was written down, never on the pipe.

use rust_decimal::Decimal;

/// A piece of a text: a number or a word.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Word {
    Number(Decimal),
    Text(String),
}

/// The words of a text, in small letters; "30min" is two.
pub(super) fn words(text: &str) -> Vec<Word> {
    let mut found = Vec::new();
    let mut piece = String::new();
    let mut push = |piece: &mut String| {
        let plain = piece.trim_matches('.').to_owned();
        piece.clear();
        if !plain.is_empty() {
            found.push(plain.parse().map_or(Word::Text(plain), Word::Number));
        }
    };
    let is_digit = |letter: char| letter.is_ascii_digit() || letter == '.';
    for letter in text.to_lowercase().chars() {
        let breaks = piece.chars().next_back().is_some_and(|last| is_digit(last) != is_digit(letter));
        if breaks || !(letter.is_alphanumeric() || letter == '.') {
            push(&mut piece);
        }
        if letter.is_alphanumeric() || letter == '.' {
            piece.push(letter);
        }
    }
    push(&mut piece);
    found
}

/// What is left in the pipe after it was let down.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum LetDown {
    /// To a third.
    Third,
    /// To so many bar.
    To(Decimal),
}

/// What was said of how a pressure test was done. Pressures are in bar, times in minutes.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Conditions {
    /// Falls, each over its time.
    pub(super) falls: Vec<(Decimal, u32)>,
    /// For how long it was kept at the test pressure, and at which.
    pub(super) kept: Vec<(u32, Option<Decimal>)>,
    pub(super) let_down: Option<LetDown>,
    /// The highest pressure that the system works at.
    pub(super) working: Option<Decimal>,
}

/// A time that begins at a place: minutes, and how many words it took.
fn time(words: &[Word]) -> Option<(u32, usize)> {
    let [Word::Number(number), Word::Text(unit), ..] = words else { return None };
    let each = match unit.as_str() {
        "min" | "mins" | "minute" | "minutes" => Decimal::ONE,
        "h" | "hr" | "hour" | "hours" => Decimal::from(60),
        _ => return None,
    };
    let minutes = number.checked_mul(each)?;
    if !minutes.fract().is_zero() {
        return None;
    }
    minutes.trunc().to_string().parse().ok().map(|minutes| (minutes, 2))
}

/// A pressure that begins at a place, in bar, and how many words it took.
fn pressure(words: &[Word]) -> Option<(Decimal, usize)> {
    let [Word::Number(number), rest @ ..] = words else { return None };
    if time(words).is_some() {
        return None;
    }
    match rest.first() {
        Some(Word::Text(unit)) if unit == "bar" || unit == "bars" => Some((*number, 2)),
        _ => Some((*number, 1)),
    }
}

/// The words behind one of these, if it stands here; small words between are passed over.
fn after<'w>(words: &'w [Word], is: &[&str], between: &[&str]) -> Option<&'w [Word]> {
    let [Word::Text(first), rest @ ..] = words else { return None };
    if !is.contains(&first.as_str()) {
        return None;
    }
    let mut rest = rest;
    while let [Word::Text(word), more @ ..] = rest {
        if !between.contains(&word.as_str()) {
            break;
        }
        rest = more;
    }
    Some(rest)
}

const FALLS: [&str; 8] = ["fall", "fell", "falls", "drop", "dropped", "drops", "loss", "lost"];

/// Reads what was said.
pub(super) fn conditions(words: &[Word]) -> Conditions {
    let mut found = Conditions::default();
    for at in 0..words.len() {
        let here = words.get(at..).unwrap_or_default();
        if let Some(rest) = after(here, &["no"], &["pressure"])
            && let Some(rest) = after(rest, &FALLS, &["in", "over", "for", "within", "after"])
            && let Some((minutes, _)) = time(rest)
        {
            found.falls.push((Decimal::ZERO, minutes));
        }
        if let Some(rest) = after(here, &FALLS, &["by", "of"])
            && let Some((fall, taken)) = pressure(rest)
            && let Some(rest) = rest.get(taken..)
            && let Some(rest) = after(rest, &["in", "over", "within"], &["the", "next", "first", "then"])
            && let Some((minutes, _)) = time(rest)
        {
            found.falls.push((fall, minutes));
        }
        if let Some(rest) = after(here, &["dropped", "down", "reduced", "drop"], &["to", "back"]) {
            let third = matches!(rest, [Word::Text(one), Word::Text(third), ..]
                if (one == "a" || one == "one") && third == "third")
                || matches!(rest, [Word::Number(one), Word::Number(three), ..]
                if *one == Decimal::ONE && *three == Decimal::from(3));
            let to = here.get(1).is_some_and(|word| *word == Word::Text("to".to_owned()));
            match pressure(rest) {
                _ if third => found.let_down = Some(LetDown::Third),
                Some((bar, _)) if to => found.let_down = Some(LetDown::To(bar)),
                Some(_) | None => {}
            }
        }
        if let Some((minutes, taken)) = time(here)
            && let Some(rest) = here.get(taken..)
        {
            let at_pressure = after(rest, &["at"], &[]).and_then(pressure).map(|(bar, _)| bar);
            let held = words.get(at.wrapping_sub(1)).is_some_and(|before| {
                matches!(before, Word::Text(word) if matches!(word.as_str(), "held" | "hold" | "pumped" | "pump" | "kept"))
                    || (matches!(before, Word::Text(word) if word == "for")
                        && matches!(words.get(at.wrapping_sub(2)), Some(Word::Text(word)) if word == "held" || word == "pumped" || word == "kept"))
            });
            if at_pressure.is_some() || held {
                found.kept.push((minutes, at_pressure));
            }
        }
        let works = ["system", "working", "operating", "works"];
        if let Some(rest) = after(here, &works, &["pressure", "at", "max", "highest", "is", "of"])
            && let Some((bar, _)) = pressure(rest)
        {
            found.working = Some(bar);
        }
    }
    found
}

/// What a pressure test shows: what is outside, what can't be told, and its rule in words.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct Shown {
    pub(super) outside: Vec<String>,
    pub(super) lacks: Vec<String>,
    pub(super) rule: String,
    pub(super) source: &'static str,
}

const DEFRA: &str = "Defra guide to SI 1999/1148, schedule 2 para 12";

/// Judges a pressure test by what was said of it. `applied` is the pressure that was put on, in bar.
pub(super) fn shown(how: &str, applied: Option<Decimal>, fall: Option<(Decimal, u32)>) -> Shown {
    let mut said = conditions(&words(how));
    said.falls.extend(fall);
    let how = how.to_lowercase();
    let has = |wanted: &[&str]| wanted.iter().any(|word| how.contains(word));
    let applied = applied.or_else(|| said.kept.iter().find_map(|(_, at)| *at));
    let mut shown = Shown { source: DEFRA, ..Shown::default() };
    let mut factor = Decimal::new(15, 1);
    if has(&["test b"]) {
        pumped(&said, &mut shown);
        fall_under(&said, 30, Decimal::new(6, 1), &mut shown);
        fall_under(&said, 120, Decimal::new(2, 1), &mut shown);
        shown.rule =
            "pumped 30 min, less than 0.6 bar in 30 min, then less than 0.2 bar in 120 min".to_owned();
    } else if has(&["test a"]) {
        pumped(&said, &mut shown);
        let_down_to_a_third(&said, applied, &mut shown);
        no_fall_in(&said, 90, &mut shown);
        shown.rule = "pumped 30 min, let down to a third, no fall in 90 min".to_owned();
    } else if has(&["en 806", "en806"]) {
        factor = Decimal::new(165, 2);
        shown.source = "waterregsuk.co.uk I35, for the pressure only";
        shown.lacks.push("EN 806 and the maker say how long it must hold".to_owned());
        shown.rule = "1.1 times 1.5 times the highest working pressure".to_owned();
    } else if has(&["rigid", "copper", "steel", "metal"]) {
        no_fall_in(&said, 60, &mut shown);
        shown.rule = "no fall in 60 min".to_owned();
    } else {
        shown.lacks.push("say the pipe and the method: rigid, plastic test A or test B, EN 806".to_owned());
    }
    match (applied, said.working) {
        (Some(applied), Some(working)) => {
            let wanted = working.saturating_mul(factor);
            if applied < wanted {
                let wanted = super::plain(wanted);
                shown.outside.push(format!("{} bar is less than {wanted} bar", super::plain(applied)));
            }
        }
        (None, _) => shown.lacks.push("say the test pressure: '30 min at 4.5'".to_owned()),
        (Some(_), None) => {
            let factor = super::plain(factor);
            shown.lacks.push(format!(
                "say what the system works at ('system 3 bar'); {factor} times that is wanted"
            ));
        }
    }
    shown
}

/// Half an hour of pumping, as both methods for plastic begin.
fn pumped(said: &Conditions, shown: &mut Shown) {
    match said.kept.iter().map(|(minutes, _)| *minutes).max() {
        None => shown.lacks.push("say how long it was pumped: '30 min at 4.5'".to_owned()),
        Some(minutes) if minutes < 30 => shown.outside.push(format!("pumped for {minutes} min, not 30")),
        Some(_) => {}
    }
}

/// To a third of the test pressure, as nearly as a gauge in tenths shows it.
fn let_down_to_a_third(said: &Conditions, applied: Option<Decimal>, shown: &mut Shown) {
    match (said.let_down, applied) {
        (Some(LetDown::Third), _) => {}
        (Some(LetDown::To(bar)), Some(applied)) => {
            let third = applied.checked_div(Decimal::from(3)).unwrap_or_default();
            if bar > crate::number::half_up(third, 1) {
                let third = super::plain(crate::number::half_up(third, 1));
                shown.outside.push(format!("let down to {} bar, not to {third}", super::plain(bar)));
            }
        }
        (Some(LetDown::To(_)), None) => {}
        (None, _) => shown.lacks.push("say what it was let down to: 'dropped to a third'".to_owned()),
    }
}

fn no_fall_in(said: &Conditions, wanted: u32, shown: &mut Shown) {
    if let Some((fall, minutes)) = said.falls.iter().find(|(fall, _)| !fall.is_zero()) {
        shown.outside.push(format!("it fell {} bar in {minutes} min", super::plain(*fall)));
        return;
    }
    match said.falls.iter().map(|(_, minutes)| *minutes).max() {
        Some(minutes) if minutes >= wanted => {}
        Some(minutes) => shown.lacks.push(format!("no fall in {minutes} min is less than {wanted} min")),
        None => shown.lacks.push(format!("say how it held: 'no fall in {wanted} min'")),
    }
}

/// A fall over a time that has to stay under so much.
fn fall_under(said: &Conditions, over: u32, under: Decimal, shown: &mut Shown) {
    match said.falls.iter().filter(|(_, minutes)| *minutes == over).map(|(fall, _)| *fall).max() {
        None => shown.lacks.push(format!("say the fall in {over} min: 'fell 0.1 in {over} min'")),
        Some(fall) if fall >= under => {
            let (fall, under) = (super::plain(fall), super::plain(under));
            shown.outside.push(format!("it fell {fall} bar in {over} min, not less than {under}"));
        }
        Some(_) => {}
    }
}
