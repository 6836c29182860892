//! A line into words: lower case, without punctuation, each knowing where in the line it stood.
//!
//! A word of the line ("half-hour", "15mm", "wall's") may be several here. Nothing is dropped: whether
//! every word was used is counted by the words of the line.

use crate::heard::Span;

/// The stop before a word.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Stop {
    None,
    Comma,
    Full,
}

/// One word, or one part of a word of the line.
#[derive(Debug, Clone)]
pub(crate) struct Word {
    /// In lower case, with plain apostrophes.
    pub(crate) text: String,
    /// The number of the word of the line that it is part of.
    pub(crate) spoken: usize,
    /// The stop that stood before it.
    pub(crate) stop: Stop,
    start: usize,
    end: usize,
}

/// A line and its words.
#[derive(Debug)]
pub(crate) struct Line<'a> {
    text: &'a str,
    /// Where each word of the line stands, in bytes.
    spoken: Vec<(usize, usize)>,
    pub(crate) words: Vec<Word>,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum Class {
    Letter,
    Digit,
    Sign,
    Stop(Stop),
    Gap,
}

fn class_of(c: char) -> Class {
    match c {
        '\'' | '’' => Class::Letter,
        '½' | '¼' | '¾' | '£' | '%' | '>' | '<' | '&' | '+' | '/' | '-' | '–' | '°' => Class::Sign,
        ',' | ':' | '(' | ')' | '—' => Class::Stop(Stop::Comma),
        '.' | ';' | '!' | '?' => Class::Stop(Stop::Full),
        _ if c.is_ascii_digit() => Class::Digit,
        _ if c.is_alphabetic() || matches!(c, '²' | '³') => Class::Letter,
        _ => Class::Gap,
    }
}

impl<'a> Line<'a> {
    pub(crate) fn read(text: &'a str) -> Self {
        let mut line = Self { text, spoken: Vec::new(), words: Vec::new() };
        let mut stop = Stop::None;
        for chunk in text.split_whitespace() {
            // Both are slices of the one text, so the difference is where the chunk begins.
            let start = chunk.as_ptr() as usize - text.as_ptr() as usize;
            line.spoken.push((start, start + chunk.len()));
            if matches!(chunk, "-" | "–") {
                line.push(chunk, start, &mut stop);
            } else {
                line.read_chunk(chunk, start, &mut stop);
            }
            // "3 no. back boxes".
            if stop == Stop::Full && matches!(chunk, "no." | "nr.") && line.follows_figure() {
                stop = Stop::None;
            }
        }
        line
    }

    /// Whether the word before the last is a figure.
    fn follows_figure(&self) -> bool {
        let before = self.words.iter().rev().nth(1);
        before.is_some_and(|word| word.text.bytes().all(|byte| byte.is_ascii_digit()))
    }

    fn read_chunk(&mut self, chunk: &str, start: usize, stop: &mut Stop) {
        let chars: Vec<(usize, char)> = chunk.char_indices().collect();
        let char_at = |at: usize| chars.get(at).map(|(_, c)| *c);
        let is_digit = |at: usize| char_at(at).is_some_and(|c| c.is_ascii_digit());
        let mut at = 0;
        while let Some(&(begin, c)) = chars.get(at) {
            let class = class_of(c);
            let mut end = at + 1;
            match class {
                // The cross of a size, 300x600, is a word of its own.
                Class::Letter if c == 'x' && at > 0 && is_digit(at - 1) && is_digit(end) => {}
                Class::Letter => {
                    // "m2" is one word, "3h50" three.
                    let takes_digits = c != 'h';
                    let goes_on = |at| {
                        char_at(at).map(class_of).is_some_and(|class| {
                            class == Class::Letter || (takes_digits && class == Class::Digit)
                        })
                    };
                    while goes_on(end) {
                        end += 1;
                    }
                }
                Class::Digit => {
                    let joins = |at| matches!(char_at(at), Some('.' | ',' | ':')) && is_digit(at + 1);
                    while is_digit(end) || joins(end) {
                        end += 1;
                    }
                }
                Class::Stop(found) => {
                    *stop = (*stop).max(found);
                    at = end;
                    continue;
                }
                Class::Gap => {
                    at = end;
                    continue;
                }
                // "8-4" and "8am-1pm" are ranges; "push-fit" is two words.
                Class::Sign if matches!(c, '-' | '–' | '/') && !(at > 0 && is_digit(end)) => {
                    at = end;
                    continue;
                }
                Class::Sign => {}
            }
            let until = chars.get(end).map_or(chunk.len(), |(offset, _)| *offset);
            self.push(&chunk[begin..until], start + begin, stop);
            at = end;
        }
    }

    fn push(&mut self, raw: &str, start: usize, stop: &mut Stop) {
        let text = raw.to_lowercase().replace('’', "'").replace('²', "2").replace('³', "3");
        let text = match text.as_str() {
            "&" => "and".to_owned(),
            "+" => "plus".to_owned(),
            "–" => "-".to_owned(),
            _ => text,
        };
        let spoken = self.spoken.len() - 1;
        let (trimmed, end) = (text.trim_matches('\''), start + raw.len());
        // Many have a grouping comma; a figure is kept without it.
        let grouped = trimmed.split(',').enumerate().all(|(at, part)| at == 0 || part.len() == 3);
        let trimmed = if grouped { trimmed.replace(',', "") } else { trimmed.to_owned() };
        let mut push = |text: &str, start, end| {
            if !text.is_empty() {
                self.words.push(Word { text: text.to_owned(), spoken, stop: *stop, start, end });
                *stop = Stop::None;
            }
        };
        match trimmed.strip_suffix("'s") {
            Some(owner) if !owner.is_empty() && owner != "let" => {
                let length = raw.rfind(['\'', '’']).unwrap_or(raw.len());
                push(owner, start, start + length);
                push("'s", end, end);
            }
            _ => push(&trimmed, start, end),
        }
    }

    /// The line's own text from the first of some words to the last.
    pub(crate) fn said(&self, from: usize, to: usize) -> String {
        let (Some(first), Some(last)) =
            (self.words.get(from), to.checked_sub(1).and_then(|at| self.words.get(at)))
        else {
            return String::new();
        };
        self.text.get(first.start..last.end).unwrap_or_default().to_owned()
    }

    /// Spans of the words of the line of which `wanted` holds.
    pub(crate) fn spans(&self, wanted: impl Fn(usize) -> bool) -> Vec<Span> {
        let mut spans: Vec<Span> = Vec::new();
        for at in (0..self.spoken.len()).filter(|at| wanted(*at)) {
            match spans.last_mut() {
                Some(span) if span.last + 1 == at => span.last = at,
                _ => spans.push(Span { first: at, last: at, text: String::new() }),
            }
        }
        for span in &mut spans {
            let start = self.spoken.get(span.first).map_or(0, |(start, _)| *start);
            let end = self.spoken.get(span.last).map_or(0, |(_, end)| *end);
            span.text = self.text.get(start..end).unwrap_or_default().to_owned();
        }
        spans
    }
}

/// What a word of a list is at a place: empty past the end.
pub(crate) fn text_at(words: &[Word], at: usize) -> &str {
    words.get(at).map_or("", |word| word.text.as_str())
}

/// Whether a phrase stands at a place, without a full stop inside.
pub(crate) fn phrase_at(words: &[Word], at: usize, phrase: &str) -> Option<usize> {
    let mut len = 0;
    for part in phrase.split(' ') {
        let word = words.get(at + len)?;
        if word.text != part || (len > 0 && word.stop == Stop::Full) {
            return None;
        }
        len += 1;
    }
    Some(len)
}

/// The longest of some phrases that stands at a place, and what it goes with.
pub(crate) fn longest<'p, T>(words: &[Word], at: usize, phrases: &'p [(&str, T)]) -> Option<(&'p T, usize)> {
    let found =
        phrases.iter().filter_map(|(phrase, means)| phrase_at(words, at, phrase).map(|len| (means, len)));
    found.max_by_key(|(_, len)| *len)
}
