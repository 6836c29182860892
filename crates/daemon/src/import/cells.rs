//! Cells into values. Each reader complains about its own cell and gives `None`, so that a row is
//! read to its end and every bad cell of it is reported at once.

use std::collections::BTreeMap;
use std::str::FromStr;

use trade::{Day, Moment, NumberError, Pence, Quantity, Rate};

use super::BadRow;
use super::table::Row;

/// A row that is being read, and where complaints about it go.
pub(super) struct Cells<'r, 'b> {
    row: &'r Row,
    bad: &'b mut Vec<BadRow>,
}

impl<'r, 'b> Cells<'r, 'b> {
    pub(super) fn new(row: &'r Row, bad: &'b mut Vec<BadRow>) -> Self {
        Self { row, bad }
    }

    pub(super) fn complain(&mut self, column: &str, reason: impl Into<String>) {
        self.bad.push(self.row.bad(column, reason));
    }

    /// What a cell says; may be empty.
    pub(super) fn text(&self, column: &str) -> &'r str {
        self.row.text(column)
    }

    /// What a cell says, which must be something.
    pub(super) fn required(&mut self, column: &str) -> Option<&'r str> {
        let text = self.row.text(column);
        if text.is_empty() {
            self.complain(column, "must not be empty");
            return None;
        }
        Some(text)
    }

    /// One of a few words, which the caller gives with their meanings. Case does not matter.
    pub(super) fn word<T: Copy>(&mut self, column: &str, words: &[(&str, T)]) -> Option<T> {
        let text = self.row.text(column);
        let found = words.iter().find(|(word, _)| word.eq_ignore_ascii_case(text));
        if found.is_none() {
            let allowed: Vec<_> =
                words.iter().map(|(word, _)| if word.is_empty() { "nothing" } else { word }).collect();
            self.complain(column, format!("{text:?} is not known here; write {}", allowed.join(", ")));
        }
        found.map(|(_, meaning)| *meaning)
    }

    /// Yes, no, or nothing.
    pub(super) fn yes_or_no(&mut self, column: &str) -> Option<Option<bool>> {
        self.word(column, &[("yes", Some(true)), ("no", Some(false)), ("", None)])
    }

    /// Pounds, nought or more.
    pub(super) fn pounds(&mut self, column: &str) -> Option<Rate> {
        let rate: Rate = self.number(column)?;
        if rate.is_negative() {
            self.complain(column, "must not be below nought");
            return None;
        }
        Some(rate)
    }

    /// A sum of money to the penny, nought or more; nothing is `None` inside.
    pub(super) fn pence(&mut self, column: &str) -> Option<Option<Pence>> {
        let text = self.row.text(column);
        if text.is_empty() {
            return Some(None);
        }
        let sum: Pence = self.parse_number(column, text)?;
        if sum < Pence::ZERO {
            self.complain(column, "must not be below nought");
            return None;
        }
        Some(Some(sum))
    }

    /// Per cent from 0 to 100; nothing is nought.
    pub(super) fn percent(&mut self, column: &str) -> Option<Rate> {
        if self.row.text(column).is_empty() {
            return Some(Rate::ZERO);
        }
        let rate: Rate = self.number(column)?;
        if rate.is_negative() || "100".parse().is_ok_and(|most: Rate| rate > most) {
            self.complain(column, "must be from 0 to 100 per cent");
            return None;
        }
        Some(rate)
    }

    /// Per cent of a mark-up, nought or more and past 100 if need be; nothing is nought.
    pub(super) fn markup(&mut self, column: &str) -> Option<Rate> {
        if self.row.text(column).is_empty() { Some(Rate::ZERO) } else { self.pounds(column) }
    }

    /// How much, more than nothing.
    pub(super) fn quantity(&mut self, column: &str) -> Option<Quantity> {
        let quantity: Quantity = self.number(column)?;
        if quantity.is_negative() || quantity.is_zero() {
            self.complain(column, "must be more than nought");
            return None;
        }
        Some(quantity)
    }

    /// How much, nought or more.
    pub(super) fn quantity_or_nought(&mut self, column: &str) -> Option<Quantity> {
        let quantity: Quantity = self.number(column)?;
        if quantity.is_negative() {
            self.complain(column, "must not be below nought");
            return None;
        }
        Some(quantity)
    }

    fn number<T: FromStr<Err = NumberError>>(&mut self, column: &str) -> Option<T> {
        let text = self.required(column)?;
        self.parse_number(column, text)
    }

    /// A number in a text that was taken out of a cell.
    pub(super) fn parse_number<T: FromStr<Err = NumberError>>(
        &mut self,
        column: &str,
        text: &str,
    ) -> Option<T> {
        match text.parse() {
            Ok(number) => Some(number),
            Err(_) if text.contains(',') => {
                let reason =
                    format!("{text:?} has a comma; write numbers with a point and no comma: 4.5, 1200");
                self.complain(column, reason);
                None
            }
            Err(error) => {
                self.complain(column, format!("{text:?} is {error}"));
                None
            }
        }
    }

    /// A whole number from `least` to `most`; nothing is `None` inside.
    pub(super) fn whole<T>(&mut self, column: &str, least: T, most: T) -> Option<Option<T>>
    where
        T: FromStr + PartialOrd + std::fmt::Display + Copy,
    {
        let text = self.row.text(column);
        if text.is_empty() {
            return Some(None);
        }
        let digits = text.bytes().all(|byte| byte.is_ascii_digit());
        let number = text.parse::<T>().ok().filter(|number| digits && (least..=most).contains(number));
        if number.is_none() {
            self.complain(column, format!("{text:?} is not a whole number from {least} to {most}"));
        }
        number.map(Some)
    }

    /// A country by its two letters, in capitals; empty where nobody said.
    pub(super) fn country(&mut self, column: &str) -> Option<String> {
        let code = self.text(column).to_uppercase();
        if code.is_empty() || trade::country::is_country(&code) {
            return Some(code);
        }
        let reason = if code == "UK" {
            "the two letters of the United Kingdom are GB (ISO 3166-1)".to_owned()
        } else {
            format!("{code:?} is no country; give the two letters of ISO 3166-1, such as GB or IE")
        };
        self.complain(column, reason);
        None
    }

    /// A day; nothing is `None` inside.
    pub(super) fn day(&mut self, column: &str) -> Option<Option<Day>> {
        let text = self.row.text(column);
        if text.is_empty() {
            return Some(None);
        }
        let day = text.parse::<Day>();
        if let Err(error) = &day {
            self.complain(column, format!("{text:?} is {error}"));
        }
        day.ok().map(Some)
    }

    /// A clock time on a day, by the clocks of `zone` unless it says an offset; nothing is `None` inside.
    pub(super) fn moment(&mut self, column: &str, zone: &str) -> Option<Option<Moment>> {
        let text = self.row.text(column);
        if text.is_empty() {
            return Some(None);
        }
        let moment = Moment::parse(text, zone);
        if let Err(error) = &moment {
            self.complain(column, format!("{text:?}: {error}"));
        }
        moment.ok().map(Some)
    }

    /// The texts of a list, with `;` between.
    pub(super) fn list(&self, column: &str) -> Vec<&'r str> {
        self.row.text(column).split(';').map(str::trim).filter(|text| !text.is_empty()).collect()
    }
}

/// Complains about every row whose key an earlier row has.
pub(super) fn complain_of_repeats(rows: &[Row], columns: &[&str], bad: &mut Vec<BadRow>) {
    let mut first_lines = BTreeMap::new();
    for row in rows {
        let key: Vec<_> = columns.iter().map(|column| row.text(column)).collect();
        if key.contains(&"") {
            continue;
        }
        if let Some(line) = first_lines.insert(key, row.line) {
            let column = columns.last().copied().unwrap_or_default();
            bad.push(row.bad(column, format!("line {line} says this already; keep one of them")));
        }
    }
}
