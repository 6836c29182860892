//! A line into pieces: times, lengths, numbers, units, names and signs, in the order they were said.
//!
//! What a piece is is read from its own words and its nearest neighbours. What it is said of is not
//! decided here.

use rust_decimal::Decimal;

use crate::days::{DayRead, ahead_at, day_at};
use crate::lengths::{break_at, day_part_at, length_at};
use crate::names::{ItemsFound, Names, StagesFound};
use crate::numbers::{Number, number_at};
use crate::signs::{self, Sign};
use crate::times::{Clock, Range, as_range, clock_at, range_at};
use crate::units::{Tail, after_unit, singular, unit_at};
use crate::vocabulary::{Meaning, Now};
use crate::words::{Stop, Word, text_at};

/// Some words that mean one thing.
#[derive(Debug, Clone)]
pub(crate) struct Piece {
    pub(crate) what: What,
    pub(crate) start: usize,
    pub(crate) end: usize,
    pub(crate) stop: Stop,
}

/// What a piece can be.
#[derive(Debug, Clone)]
pub(crate) enum What {
    Range(Range),
    /// "Ten to four" with nothing beside it that settles what it is.
    RangeOrTime(Clock, (Clock, Clock)),
    From(Clock),
    Till(Clock),
    Length(u32),
    Break(u32),
    /// Some hours, and nobody said how many.
    SomeTime,
    /// A whole day, or a half, as long as the crew says it is.
    DayPart {
        is_half: bool,
    },
    Number(Decimal),
    /// Another word that sounds like a number: "for bags".
    Sounds(Decimal),
    /// A number and its unit, which stood between its parts: "six metres ten", "a bag and a half".
    Measure(Decimal, String),
    /// The same with two readings: "two metres five".
    EitherMeasure(Decimal, Decimal, String),
    Unit(String),
    /// A size that no item of that name has.
    OtherSize,
    /// Several of a unit, without a number: "bags".
    Units(String),
    /// What the words name on the lists; either may be.
    Name(Option<ItemsFound>, Option<StagesFound>),
    Test(String),
    Person(String),
    Job(String),
    Day(DayRead),
    Ahead,
    Place(String),
    Sign(Sign),
    /// "And", "plus".
    And,
    /// A word that carries nothing.
    Filler,
    /// A word that is not known.
    Unknown,
}

/// Words that carry nothing by themselves. Any of them left over beside what was used counts as used.
const FILLERS: &[&str] = &[
    "the", "a", "an", "of", "and", "on", "in", "at", "with", "for", "to", "my", "our", "is", "was", "were",
    "it", "that", "'s", "did", "do", "i", "we", "i've", "we've", "been", "had", "have", "just", "then",
    "also", "so", "by", "from", "this", "there", "more", "job", "work", "working", "worked", "doing",
    "spent", "used", "are", "as", "he", "she", "they", "used", "some", "em", "them", "be", "has", "plus",
    "but", "-", "us", "what", "well", "site", "times", "x", "er", "um", "right", "okay", "ok", "put",
];

pub(crate) fn is_filler(text: &str) -> bool {
    FILLERS.contains(&text)
}

fn is_time_unit(text: &str) -> bool {
    matches!(text, "hour" | "hours" | "hrs" | "minutes" | "mins")
}

/// Nouns that a place ends in.
const PLACE_NOUNS: &[&str] = &[
    "wall",
    "walls",
    "ceiling",
    "floor",
    "room",
    "hall",
    "landing",
    "stairs",
    "kitchen",
    "bathroom",
    "shower",
    "loft",
    "corner",
    "reveal",
    "window",
    "basin",
    "sink",
    "bath",
    "plate",
    "doorway",
    "cupboard",
    "utility",
    "lobby",
    "porch",
    "end",
    "side",
    "tray",
    "hatch",
    "soffit",
    "lintel",
    "skirting",
    "chimney",
    "garden",
    "partition",
    "upstairs",
    "downstairs",
    "row",
    "door",
];

const PREPOSITIONS: &[&str] = &[
    "on", "in", "at", "behind", "under", "over", "above", "by", "beside", "round", "inside", "outside",
    "below",
];

/// Reads pieces off the words of a line.
pub(crate) struct Scanner<'a> {
    pub(crate) words: &'a [Word],
    pub(crate) names: &'a Names<'a>,
    pub(crate) now: &'a Now,
}

impl Scanner<'_> {
    pub(crate) fn pieces(&self) -> Vec<Piece> {
        let mut pieces: Vec<Piece> = Vec::new();
        let mut at = 0;
        while let Some(word) = self.words.get(at) {
            let (what, len) = self.piece_at(at, &pieces);
            let end = (at + len.max(1)).min(self.words.len());
            pieces.push(Piece { what, start: at, end, stop: word.stop });
            at = end;
        }
        pieces
    }

    /// Whether a unit or an item begins here, so that a number before it counts it.
    fn counts(&self, at: usize) -> bool {
        unit_at(self.words, at, self.names.vocabulary).is_some()
            || self.names.items_at(self.words, at).is_some()
    }

    /// The same, where no stage is called so: "one hour fifty tanking" is no tub of tanking.
    fn counts_only(&self, at: usize) -> bool {
        let said = text_at(self.words, at);
        let is_stage = self.names.stages_at(self.words, at).is_some_and(|found| {
            found.stages.iter().any(|(_, stage)| stage.split(' ').any(|own| own == said))
        });
        unit_at(self.words, at, self.names.vocabulary).is_some()
            || (self.names.items_at(self.words, at).is_some() && !is_stage)
    }

    /// "200x400 tiles", "fifteen mil plasterboards" where the book has no such size.
    fn other_size(&self, at: usize) -> Option<usize> {
        let words = self.words;
        let sized = |at: usize| self.names.items_at(words, at).is_some_and(|found| found.size.is_some());
        let mut end = at + number_at(words, at)?.len;
        if matches!(text_at(words, end), "mil" | "mm" | "mill") {
            let found = self.names.items_at(words, end + 1)?;
            // Six hundred mil of what goes by the metre is a length.
            let items = &self.names.vocabulary.items;
            let by_length =
                found.items.iter().any(|index| items.get(*index).is_some_and(|item| item.unit == "m"));
            return (!by_length).then_some(end + 1 - at);
        }
        let mut count = 1;
        while matches!(text_at(words, end), "by" | "x") {
            let Some(next) = number_at(words, end + 1) else { break };
            if sized(end + 1) {
                // "Twenty by fifteen mil elbows": the first is how many.
                return None;
            }
            end += 1 + next.len;
            count += 1;
        }
        (count > 1).then_some(end - at)
    }

    fn piece_at(&self, at: usize, before: &[Piece]) -> (What, usize) {
        let words = self.words;
        let last = before.last().map(|piece| &piece.what);
        if let Some((means, len)) = self.names.alias_at(words, at)
            && let Some(what) = self.meant(means, len)
        {
            return (what, len);
        }
        let after_number = matches!(last, Some(What::Number(_) | What::Sounds(_)));
        if after_number && let Some(found) = self.unit_piece(at) {
            return found;
        }
        let had_range = before.iter().any(|piece| {
            matches!(piece.what, What::Range(_) | What::Till(_) | What::From(_) | What::RangeOrTime(..))
        });
        if let Some(found) = self.time_piece(at) {
            return found;
        }
        // "An hour less ten".
        let is_less = matches!(text_at(words, at), "less" | "minus")
            && before.iter().any(|piece| matches!(piece.what, What::Length(_)));
        if let Some(rest) = break_at(words, at)
            && (had_range || is_less || rest.minutes == 0 || self.range_follows(at + rest.len))
        {
            return (What::Break(rest.minutes), rest.len);
        }
        if let Some((is_half, len)) = day_part_at(words, at) {
            return (What::DayPart { is_half }, len);
        }
        if let Some(length) = length_at(words, at, &|at| self.counts_only(at)) {
            return (What::Length(length.minutes), length.len);
        }
        if let Some((sign, len)) = signs::sign_at(words, at) {
            // A longer name wins over a shorter sign: "back boxes".
            let named = self.names.items_at(words, at).map_or(0, |found| found.len);
            if sign == Sign::Vague && is_time_unit(text_at(words, at + len)) {
                // "A couple of hours".
                return (What::SomeTime, len + 1);
            }
            if named <= len {
                return (What::Sign(sign), len);
            }
        }
        if let Some(len) = ahead_at(words, at) {
            return (What::Ahead, len);
        }
        if let Some(day) = day_at(words, at, self.now.day, false) {
            return (What::Day(day), day.len);
        }
        // A stage may be called "two coats".
        let number = number_at(words, at).map_or(0, |number| number.len);
        let stage = self.names.stages_at(words, at).map_or(0, |found| found.len);
        if number > 0 && stage > number {
            return self.name_piece(at);
        }
        if let Some(found) = self.number_piece(at) {
            return found;
        }
        if let Some((code, len)) = self.names.job_at(words, at) {
            return (What::Job(code), len);
        }
        if let Some((place, len)) = self.place_at(at) {
            return (What::Place(place), len);
        }
        self.name_piece(at)
    }

    fn meant(&self, means: Meaning, len: usize) -> Option<What> {
        let vocabulary = self.names.vocabulary;
        Some(match means {
            Meaning::Item(name) => {
                let index = vocabulary.items.iter().position(|item| item.name == name)?;
                let fit = crate::names::Fit::Whole;
                What::Name(Some(ItemsFound { len, items: vec![index], fit, size: None, is_head: true }), None)
            }
            Meaning::Stage(name) => {
                let jobs =
                    vocabulary.jobs.iter().filter(|job| job.stages.iter().any(|stage| stage.name == name));
                let stages: Vec<_> = jobs.map(|job| (job.code.clone(), name.clone())).collect();
                let fit = crate::names::Fit::Whole;
                (!stages.is_empty()).then_some(What::Name(None, Some(StagesFound { len, stages, fit })))?
            }
            Meaning::Person(name) => What::Person(name),
            Meaning::Place(place) => What::Place(place),
        })
    }

    fn range_follows(&self, at: usize) -> bool {
        (at..self.words.len().min(at + 8)).any(|at| range_at(self.words, at).is_some_and(|range| !range.weak))
    }

    fn time_piece(&self, at: usize) -> Option<(What, usize)> {
        let words = self.words;
        if let Some(range) = range_at(words, at) {
            // "Eight to ten boards" is no time of the day.
            let is_length = is_time_unit(text_at(words, at + range.len));
            if !range.weak || !(is_length || self.counts(at + range.len)) {
                return Some((What::Range(range), range.len));
            }
            return None;
        }
        let verb = || {
            let (_, is_start) = signs::time_verb_before(words, at)?;
            (text_at(words, at) == "at").then_some((1, is_start))
        };
        let (lead, is_start) = signs::time_lead(words, at).or_else(verb).unwrap_or((0, false));
        let by_sound = matches!(text_at(words, (at + lead).saturating_sub(1)), "till" | "until" | "til");
        let read = clock_at(words, at + lead, lead > 0 && by_sound)?;
        let end = at + lead + read.len;
        if lead == 0 && !read.sure {
            return None;
        }
        if !read.sure
            && (self.counts(end) || matches!(text_at(words, end), "hour" | "hours" | "minutes" | "of"))
        {
            return None;
        }
        if lead == 0 && read.to_the_hour {
            let range = as_range(words, at)?;
            return Some((What::RangeOrTime(read.clock, range), read.len));
        }
        let what = if is_start { What::From(read.clock) } else { What::Till(read.clock) };
        Some((what, lead + read.len))
    }

    /// What follows a number: its unit, and what may still belong to the amount.
    fn unit_piece(&self, at: usize) -> Option<(What, usize)> {
        let words = self.words;
        // "Sixty C" off a dial.
        let celsius = text_at(words, at) == "c" || text_at(words, at) == "celsius";
        if celsius {
            return Some((What::Unit("C".to_owned()), 1));
        }
        let (unit, len) = unit_at(words, at, self.names.vocabulary)?;
        let more = matches!(text_at(words, at + len), "celsius" | "c") && unit == "C";
        // An item whose name begins with the unit's word is the item: "nine back boxes" has no box.
        let item = self.names.items_at(words, at).map_or(0, |found| found.len);
        (item <= len).then_some((What::Unit(unit), len + usize::from(more)))
    }

    fn number_piece(&self, at: usize) -> Option<(What, usize)> {
        let words = self.words;
        if matches!(text_at(words, at), "£" | ">") {
            return None;
        }
        // "Fifteen mil elbows": the number is the item's size.
        if let Some(found) = self.names.items_at(words, at).filter(|found| found.size.is_some()) {
            let len = found.len;
            return Some((What::Name(Some(found), None), len));
        }
        if let Some(len) = self.other_size(at) {
            return Some((What::OtherSize, len));
        }
        let more = usize::from(text_at(words, at) == "another");
        // "Another half bag", "another two bags": an entry of its own, beside the one before.
        let number = number_at(words, at + more).map(|number| Number { len: number.len + more, ..number });
        let is_one = matches!(text_at(words, at), "a" | "an" | "another") && self.counts(at + 1);
        let is_one = is_one && text_at(words, at + 1) != "m";
        let is_full = matches!(text_at(words, at), "a" | "one")
            && matches!(text_at(words, at + 1), "full" | "whole" | "new")
            && self.counts(at + 2);
        let (value, len) = match number {
            _ if is_full => (Some(Decimal::ONE), 2),
            // "Forty-odd metres".
            Some(number) if text_at(words, at + number.len) == "odd" => {
                return Some((What::Sign(Sign::Vague), number.len + 1));
            }
            // "Six off fifteen mil elbows", "3 no. back boxes".
            Some(number)
                if matches!(text_at(words, at + number.len), "off" | "no" | "nr" | "number")
                    && self.names.items_at(words, at + number.len + 1).is_some() =>
            {
                (Some(number.value), number.len + 1)
            }
            Some(number) => (Some(number.value), number.len),
            None if is_one => (Some(Decimal::ONE), 1),
            None => (None, 0),
        };
        if let Some(len) = number.and_then(|number| self.range_of_counts(at, number.len)) {
            let is_length = is_time_unit(text_at(words, at + len));
            return Some(if is_length { (What::SomeTime, len + 1) } else { (What::Sign(Sign::Vague), len) });
        }
        if let Some(value) = value {
            if let Some((unit, unit_len)) = unit_at(words, at + len, self.names.vocabulary)
                && let Some((tail, more)) =
                    after_unit(words, at + len + unit_len, &unit, &|at| self.counts(at))
            {
                let len = len + unit_len + more;
                return Some(match tail {
                    Tail::Exactly(rest) => (What::Measure(value + rest, unit), len),
                    Tail::TenthsOrHundredths(one, other) => {
                        (What::EitherMeasure(value + one, value + other, unit), len)
                    }
                });
            }
            // "Half a bag", "three quarters of a box".
            let of = usize::from(text_at(words, at + len) == "of");
            let is_part = value < Decimal::ONE && matches!(text_at(words, at + len + of), "a" | "an");
            return Some((What::Number(value), len + if is_part { of + 1 } else { 0 }));
        }
        let sounds = match text_at(words, at) {
            "for" => 4,
            "to" | "too" => 2,
            "won" => 1,
            "ate" => 8,
            _ => return None,
        };
        let next = text_at(words, at + 1);
        let (_, len) = unit_at(words, at + 1, self.names.vocabulary)?;
        let is_amount = text_at(words, at + 1 + len) == "of" && next.ends_with('s');
        is_amount.then_some((What::Sounds(Decimal::from(sounds)), 1))
    }

    /// "Eight to ten boards": two counts are no count.
    fn range_of_counts(&self, at: usize, len: usize) -> Option<usize> {
        let joint = matches!(text_at(self.words, at + len), "to" | "or" | "-");
        let next = number_at(self.words, at + len + 1).filter(|_| joint)?;
        let end = len + 1 + next.len;
        (self.counts(at + end) || is_time_unit(text_at(self.words, at + end))).then_some(end)
    }

    /// A place that was said before, or "behind the basin".
    pub(crate) fn place_at(&self, at: usize) -> Option<(String, usize)> {
        let words = self.words;
        let preposition = usize::from(PREPOSITIONS.contains(&text_at(words, at)));
        let article = usize::from(matches!(text_at(words, at + preposition), "the" | "a" | "that"));
        let start = at + preposition + article;
        let known = self.names.vocabulary.places.iter().filter_map(|place| {
            crate::words::phrase_at(words, start, &place.to_lowercase()).map(|len| (place.clone(), len))
        });
        if let Some((place, len)) = known.max_by_key(|(_, len)| *len) {
            return Some((place, preposition + article + len));
        }
        if preposition == 0 || article == 0 {
            return None;
        }
        let is_noun = |at: usize| PLACE_NOUNS.contains(&text_at(words, at));
        let end = (start..start + 3)
            .take_while(|at| words.get(*at).is_some_and(|word| *at == start || word.stop == Stop::None))
            .filter(|at| is_noun(*at))
            .last()?;
        let is_item = self.names.items_at(words, end).is_some_and(|found| found.len > 1);
        let blocked = (start..end).any(|at| number_at(words, at).is_some());
        // "Behind the basin" is not "the basin".
        let from = if matches!(text_at(words, at), "on" | "in" | "at") { start } else { at };
        let texts: Vec<&str> = (from..=end).map(|at| text_at(words, at)).collect();
        (!is_item && !blocked).then(|| (texts.join(" "), end + 1 - at))
    }

    fn name_piece(&self, at: usize) -> (What, usize) {
        let words = self.words;
        let items = self.names.items_at(words, at);
        // "Moisture boards" are boards.
        let item_len = items.as_ref().map_or(0, |found| found.len);
        if let Some((test, len)) = self.names.test_at(words, at).filter(|(_, len)| *len >= item_len) {
            return (What::Test(test), len);
        }
        if let Some((person, len)) = self.names.person_at(words, at) {
            return (What::Person(person), len);
        }
        let stages = self.names.stages_at(words, at);
        let longest = item_len.max(stages.as_ref().map_or(0, |found| found.len));
        if longest > 0 {
            let (items, stages) =
                (items.filter(|found| found.len == longest), stages.filter(|found| found.len == longest));
            return (What::Name(items, stages), longest);
        }
        if let Some((unit, len)) = unit_at(words, at, self.names.vocabulary) {
            let is_many = singular(text_at(words, at)) != text_at(words, at);
            return (if is_many { What::Units(unit) } else { What::Unit(unit) }, len);
        }
        let what = match text_at(words, at) {
            "and" | "plus" => What::And,
            text if is_filler(text) => What::Filler,
            _ => What::Unknown,
        };
        (what, 1)
    }
}
