//! Which item, stage, person, job or place some words name.
//!
//! Names are matched by whole words, one or many, and by how item names begin; sizes by their figures.
//! Where two names fit equally well both are given, and the caller asks. Nothing is chosen here.

use rust_decimal::Decimal;

use crate::numbers::number_at;
use crate::units::singular;
use crate::vocabulary::{Meaning, Vocabulary};
use crate::words::{Line, Stop, Word, phrase_at, text_at};

/// Words that name nothing by themselves: they stand in many names, or are said of anything.
const WEAK: &[&str] = &[
    "back", "box", "wall", "walls", "door", "coat", "move", "first", "second", "fix", "push", "fit", "and",
    "the", "of", "to", "earth", "plastic", "flexible", "window", "floor", "water", "test", "hot", "board's",
    "mm", "m", "x", "by", "pack", "bag", "one", "two",
];

/// How well a word fits a word of a name.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Fit {
    /// They only begin alike: "isolators" and "isolating". To be shown as it was heard.
    Near,
    /// The name's word begins so: "electric" and "electrics".
    Begins,
    /// The word itself, one or many, or the head of a compound: "boards" and "plasterboard".
    Whole,
}

fn shared_start(one: &str, other: &str) -> usize {
    one.chars().zip(other.chars()).take_while(|(a, b)| a == b).count()
}

fn fit_item_word(said: &str, own: &str) -> Option<Fit> {
    let (said_one, own_one) = (singular(said), singular(own));
    let letters = said_one.chars().count();
    // "Finished" is no finish, and "plasterboard" no plaster: a longer word is another word.
    let is_longer = said_one.starts_with(own_one);
    if said == own || said_one == own_one || (letters >= 4 && own_one.ends_with(said_one)) {
        Some(Fit::Whole)
    } else if letters >= 4 && own_one.starts_with(said_one) {
        Some(Fit::Begins)
    } else if shared_start(said_one, own_one) >= 6 && !is_longer {
        Some(Fit::Near)
    } else {
        None
    }
}

/// The stem of a word that says a doing: boarding, boarded, boards.
fn stem(word: &str) -> &str {
    let word = singular(word);
    let cut = word.strip_suffix("ing").or_else(|| word.strip_suffix("ed")).unwrap_or(word);
    let cut = if cut.len() >= 3 { cut } else { word };
    let mut ends = cut.chars().rev();
    let is_doubled = cut.len() < word.len() && cut.len() >= 4 && ends.next() == ends.next();
    let cut = if is_doubled { cut.get(..cut.len() - 1).unwrap_or(cut) } else { cut };
    cut.strip_suffix('e').unwrap_or(cut)
}

fn fit_stage_word(said: &str, own: &str) -> Option<Fit> {
    if said == own || (stem(said) == stem(own) && stem(said).len() >= 3) {
        Some(Fit::Whole)
    } else if said.len() >= 5 && own.starts_with(said) {
        Some(Fit::Begins)
    } else if shared_start(said, own) * 4 >= said.len().max(own.len()) * 3 && said.len() >= 6 {
        Some(Fit::Near)
    } else {
        None
    }
}

/// One name of the price book, in words and sizes.
#[derive(Debug)]
struct ItemName {
    words: Vec<String>,
    /// Each size as it is written: `2400x1200x12.5` is three figures of one size.
    sizes: Vec<Vec<Decimal>>,
}

/// The size that was said of an item.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct SizeSaid {
    pub(crate) value: Decimal,
    /// It was the first thing said and had no "mil" to it: it may be how many.
    pub(crate) may_be_count: bool,
}

/// Items that some words fit equally well.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct ItemsFound {
    pub(crate) len: usize,
    pub(crate) items: Vec<usize>,
    pub(crate) fit: Fit,
    pub(crate) size: Option<SizeSaid>,
    /// The words include the name's own last: "tiles" are wall tiles before they are tile adhesive.
    pub(crate) is_head: bool,
}

impl ItemsFound {
    fn rank(&self) -> (usize, Fit, bool) {
        (self.len, self.fit, self.is_head)
    }
}

/// Stages that some words fit equally well, each with its job's code.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct StagesFound {
    pub(crate) len: usize,
    pub(crate) stages: Vec<(String, String)>,
    pub(crate) fit: Fit,
}

/// The names of a vocabulary, read once for a line.
#[derive(Debug)]
pub(crate) struct Names<'v> {
    pub(crate) vocabulary: &'v Vocabulary,
    items: Vec<ItemName>,
}

impl<'v> Names<'v> {
    pub(crate) fn read(vocabulary: &'v Vocabulary) -> Self {
        let items = vocabulary.items.iter().map(|item| {
            let words = Line::read(&item.name).words;
            let mut name = ItemName { words: Vec::new(), sizes: Vec::new() };
            let mut is_joined = false;
            for word in words {
                let is_cross = word.text == "x";
                match Decimal::from_str_exact(&word.text) {
                    Ok(figure) => match name.sizes.last_mut().filter(|_| is_joined) {
                        Some(size) => size.push(figure),
                        None => name.sizes.push(vec![figure]),
                    },
                    Err(_) if !is_cross => name.words.push(word.text),
                    Err(_) => {}
                }
                is_joined = is_cross;
            }
            name
        });
        Self { vocabulary, items: items.collect() }
    }

    /// The items that the words from here on name, the longest fit first and the best of those.
    pub(crate) fn items_at(&self, words: &[Word], at: usize) -> Option<ItemsFound> {
        let mut best: Option<ItemsFound> = None;
        let mut near = Vec::new();
        for (index, name) in self.items.iter().enumerate() {
            let Some(found) = fit_item(name, index, words, at) else { continue };
            if found.fit == Fit::Near {
                near.push((index, found.len));
            }
            match &mut best {
                Some(kept) if kept.rank() == found.rank() => kept.items.push(index),
                Some(kept) if kept.rank() > found.rank() => {}
                Some(_) | None => best = Some(found),
            }
        }
        // "Isolators" may be isolating valves though the book has an isolator: both are given.
        if let Some(best) = best.as_mut().filter(|best| best.fit != Fit::Near) {
            best.items.extend(near.iter().filter(|(_, len)| *len == best.len).map(|(index, _)| *index));
        }
        best
    }

    /// The stages that the words from here on name, of all jobs.
    pub(crate) fn stages_at(&self, words: &[Word], at: usize) -> Option<StagesFound> {
        let mut best: Option<StagesFound> = None;
        for job in &self.vocabulary.jobs {
            for stage in &job.stages {
                let own: Vec<&str> = stage.name.split(' ').collect();
                let by_name = fit_phrase(&own, words, at);
                let by_trade = stage.trades.iter().filter_map(|trade| {
                    fit_phrase(&[trade.as_str()], words, at).map(|(len, _)| (len, Fit::Begins))
                });
                let Some((len, fit)) = by_name.into_iter().chain(by_trade).max() else { continue };
                let found = (job.code.clone(), stage.name.clone());
                match &mut best {
                    Some(kept) if (kept.len, kept.fit) == (len, fit) => kept.stages.push(found),
                    Some(kept) if (kept.len, kept.fit) > (len, fit) => {}
                    Some(_) | None => best = Some(StagesFound { len, stages: vec![found], fit }),
                }
            }
        }
        best
    }

    /// The test that the words from here on name: one that some stage needs.
    pub(crate) fn test_at(&self, words: &[Word], at: usize) -> Option<(String, usize)> {
        let stages = self.vocabulary.jobs.iter().flat_map(|job| &job.stages);
        let tests = stages
            .flat_map(|stage| &stage.tests)
            .chain(self.vocabulary.limits.iter().map(|limit| &limit.test));
        let mut best: Option<(String, usize)> = None;
        for test in tests {
            let own: Vec<&str> = test.split(' ').collect();
            let Some((mut len, _)) = fit_phrase(&own, words, at) else { continue };
            let is_named = text_at(words, at + len).starts_with("test");
            // "Pressure" alone is not the pressure test.
            let has_test = is_named || len == own.len();
            len += usize::from(is_named);
            if has_test && best.as_ref().is_none_or(|(_, longest)| len > *longest) {
                best = Some((test.clone(), len));
            }
        }
        best
    }

    /// The person that the words from here on name, by whole name or first name.
    pub(crate) fn person_at(&self, words: &[Word], at: usize) -> Option<(String, usize)> {
        if matches!(text_at(words, at), "me" | "myself" | "meself") {
            return Some((self.vocabulary.me.clone(), 1));
        }
        let mut found: Vec<(&String, usize)> = Vec::new();
        for person in &self.vocabulary.people {
            let lower = person.to_lowercase();
            let first = lower.split(' ').next().unwrap_or("");
            if let Some(len) = phrase_at(words, at, &lower) {
                return Some((person.clone(), len));
            }
            if !first.is_empty() && first == text_at(words, at) {
                found.push((person, 1));
            }
        }
        // Two of one first name are told apart by the whole name only.
        match found.as_slice() {
            [(person, len)] => Some(((*person).clone(), *len)),
            _ => None,
        }
    }

    /// The job whose code stands here, with an "at the" or "the" before it.
    pub(crate) fn job_at(&self, words: &[Word], at: usize) -> Option<(String, usize)> {
        let lead = ["at the", "over at the", "the", "at", "in the", "on the"];
        let leads = lead.iter().filter_map(|lead| phrase_at(words, at, lead)).chain([0]);
        leads.into_iter().find_map(|lead| {
            let found = self.vocabulary.jobs.iter().find_map(|job| {
                phrase_at(words, at + lead, &job.code.to_lowercase())
                    .map(|len| (job.code.clone(), lead + len))
            });
            found.filter(|(_, len)| !matches!(text_at(words, at + len), "door" | "wall" | "floor" | "roof"))
        })
    }

    /// The customer of a job, by the last part of the name.
    pub(crate) fn customer_at(&self, words: &[Word], at: usize) -> Option<(String, String, usize)> {
        let lead = usize::from(matches!(text_at(words, at), "mr" | "mrs" | "ms" | "miss"));
        self.vocabulary.jobs.iter().find_map(|job| {
            let name = job.customer.to_lowercase();
            let last = name.rsplit(' ').next().unwrap_or("");
            let is_said = !last.is_empty() && text_at(words, at + lead) == last;
            is_said.then(|| (job.code.clone(), job.customer.clone(), lead + 1))
        })
    }

    /// The longest alias that stands here.
    pub(crate) fn alias_at(&self, words: &[Word], at: usize) -> Option<(Meaning, usize)> {
        let found = self.vocabulary.aliases.iter().filter_map(|alias| {
            let phrase = Line::read(&alias.phrase).words;
            let texts: Vec<&str> = phrase.iter().map(|word| word.text.as_str()).collect();
            let len = (!texts.is_empty()).then(|| phrase_at(words, at, &texts.join(" "))).flatten()?;
            Some((alias.means.clone(), len))
        });
        found.max_by_key(|(_, len)| *len)
    }
}

/// Words in a name's own order or any other, each used once.
fn fit_phrase(own: &[&str], words: &[Word], at: usize) -> Option<(usize, Fit)> {
    let mut free: Vec<&str> = own.to_vec();
    let (mut len, mut fit, mut strong, mut count) = (0, Fit::Whole, false, 0);
    while let Some(word) = words.get(at + len).filter(|word| len == 0 || word.stop == Stop::None) {
        let best = free
            .iter()
            .enumerate()
            .filter_map(|(i, own)| fit_stage_word(&word.text, own).map(|fit| (fit, i)));
        let Some((word_fit, used)) = best.max() else { break };
        let own = free.remove(used);
        fit = fit.min(word_fit);
        strong |= !WEAK.contains(&word.text.as_str()) && !WEAK.contains(&own);
        count += usize::from(!matches!(word.text.as_str(), "the" | "of" | "and"));
        len += 1;
    }
    (len > 0 && (strong || count >= 2)).then_some((len, fit))
}

/// How far a size goes that begins here: "fifteen mil", "three hundred by six hundred".
fn size_at(name: &ItemName, words: &[Word], at: usize) -> Option<(Decimal, usize, bool)> {
    let first = number_at(words, at)?;
    let mut figures = vec![first.value];
    let mut len = first.len;
    let mut is_named = skip_mil(words, at + len);
    len += usize::from(is_named);
    while matches!(text_at(words, at + len), "by" | "x") {
        let Some(next) = number_at(words, at + len + 1) else { break };
        figures.push(next.value);
        len += 1 + next.len;
        let mil = skip_mil(words, at + len);
        is_named |= mil;
        len += usize::from(mil);
    }
    let fits = name.sizes.iter().any(|size| match figures.as_slice() {
        [one] => size.as_slice() == [*one] || (is_named && size.contains(one)),
        several => size.windows(several.len()).any(|part| part == several),
    });
    fits.then_some((first.value, len, is_named || figures.len() > 1))
}

fn skip_mil(words: &[Word], at: usize) -> bool {
    matches!(text_at(words, at), "mil" | "mm" | "mill" | "mils" | "millimetre")
}

fn fit_item(name: &ItemName, index: usize, words: &[Word], at: usize) -> Option<ItemsFound> {
    let mut free: Vec<&str> = name.words.iter().map(String::as_str).collect();
    let mut found = ItemsFound { len: 0, items: vec![index], fit: Fit::Whole, size: None, is_head: false };
    let (mut strong, mut count) = (false, 0);
    while let Some(word) = words.get(at + found.len) {
        if found.len > 0 && word.stop != Stop::None {
            break;
        }
        let here = at + found.len;
        if found.size.is_none()
            && let Some((value, len, is_named)) = size_at(name, words, here)
        {
            let goes_on = free.iter().any(|own| fit_item_word(text_at(words, here + len), own).is_some());
            // A number after the words is how many of the next thing, unless more of the name follows.
            // "Eight isolating valve 15": a figure that ends the words, where it is a size of the item.
            let ends = words.get(here + len).is_none_or(|next| next.stop != Stop::None);
            let closes_the_name = found.len > 0 && (is_named || ends);
            if !goes_on && !closes_the_name {
                break;
            }
            found.size = Some(SizeSaid { value, may_be_count: !is_named });
            found.len += len;
            continue;
        }
        let fits = |text: &str| {
            let all =
                free.iter().enumerate().filter_map(|(i, own)| fit_item_word(text, own).map(|fit| (fit, i)));
            all.max()
        };
        let Some((fit, used)) = fits(&word.text) else {
            // "Lengths of stud", "roll of the scrim" are units; inside a name only its own "and" stands.
            break;
        };
        let own = free.remove(used);
        found.fit = found.fit.min(fit);
        strong |= !WEAK.contains(&word.text.as_str()) && !WEAK.contains(&own);
        count += usize::from(!matches!(word.text.as_str(), "and" | "the" | "of"));
        found.is_head |=
            name.words.last().is_some_and(|last| fit_item_word(&word.text, last) == Some(Fit::Whole));
        found.len += 1;
    }
    // A name can't end in its "and".
    if text_at(words, at + found.len.saturating_sub(1)) == "and" && found.len > 1 {
        found.len -= 1;
    }
    let is_named = count > 0 && (strong || count >= 2 || (found.size.is_some() && count >= 1));
    let is_weak_alone =
        count == 1 && found.size.is_some() && matches!(text_at(words, at + found.len - 1), "and" | "the");
    (is_named && !is_weak_alone).then_some(found)
}
