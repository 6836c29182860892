//! Which value a setting has on a day: the crew's own where it has one, the stated default otherwise.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::TakeoffError;
use super::defaults::Setting;
use crate::time::Day;

/// How far a value can be trusted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Confidence {
    /// It stood in a text that was read.
    Seen,
    /// The rule or the inputs stood in a text that was read; the arithmetic is ours.
    SeenAndComputed,
    /// From memory: check it before money depends on it.
    Memory,
    /// What is usual on site; no text says so.
    CommonPractice,
}

impl Confidence {
    /// The label as it is printed.
    #[must_use]
    pub const fn label(self) -> &'static str {
        match self {
            Self::Seen => "seen",
            Self::SeenAndComputed => "seen, computed from it",
            Self::Memory => "from memory",
            Self::CommonPractice => "common practice, no source",
        }
    }
}

/// What is known of a setting before anybody sets it.
#[derive(Debug, Clone, Copy)]
pub struct Fact {
    /// The words by which it is set: `stud centres`.
    pub words: &'static str,
    /// The value.
    pub value: Written,
    /// The least that makes sense.
    pub least: Written,
    /// The most that makes sense.
    pub most: Written,
    /// The unit of all three.
    pub unit: &'static str,
    /// Since when the default stands as it does: year and month in which it was looked up.
    pub since: &'static str,
    /// How far it can be trusted.
    pub confidence: Confidence,
    /// Where it stands.
    pub source: &'static str,
}

/// A decimal that was checked when the program was compiled.
#[derive(Debug, Clone, Copy)]
pub struct Written {
    mantissa: i64,
    places: u32,
}

impl Written {
    /// Reads a plain decimal. Only for constants: a text that is none does not compile.
    pub(super) const fn constant(text: &str) -> Self {
        let bytes = text.as_bytes();
        let (mut mantissa, mut places, mut behind_point, mut at) = (0_i64, 0_u32, false, 0_usize);
        while at < bytes.len() {
            match bytes[at] {
                b'.' if !behind_point => behind_point = true,
                digit @ b'0'..=b'9' => {
                    mantissa = mantissa * 10 + (digit - b'0') as i64;
                    if behind_point {
                        places += 1;
                    }
                }
                _ => panic!("not a plain decimal"),
            }
            at += 1;
        }
        Self { mantissa, places }
    }

    /// The value.
    #[must_use]
    pub fn value(self) -> Decimal {
        Decimal::new(self.mantissa, self.places)
    }
}

/// A value of the crew's own, from a day on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct OwnValue {
    from: Day,
    value: Decimal,
}

/// The crew's own values over the stated defaults, as they hold on one day.
#[derive(Debug, Clone)]
pub struct Settings {
    today: Day,
    own: BTreeMap<Setting, Vec<OwnValue>>,
}

impl Settings {
    /// The stated defaults, for work that is measured on this day.
    #[must_use]
    pub const fn on(today: Day) -> Self {
        Self { today, own: BTreeMap::new() }
    }

    /// Takes a value of the crew's own, from a day on.
    ///
    /// # Errors
    /// [`TakeoffError::OutOfRange`] outside what makes sense for the setting.
    pub fn set(&mut self, setting: Setting, value: Decimal, from: Day) -> Result<(), TakeoffError> {
        let fact = setting.fact();
        if value < fact.least.value() || value > fact.most.value() {
            return Err(TakeoffError::OutOfRange {
                what: fact.words.to_owned(),
                given: value.to_string(),
                least: fact.least.value().to_string(),
                most: fact.most.value().to_string(),
                unit: fact.unit.to_owned(),
            });
        }
        let values = self.own.entry(setting).or_default();
        values.push(OwnValue { from, value });
        values.sort_by_key(|own| own.from);
        Ok(())
    }

    /// The value that holds today. Of two own values from the same day, the one that was set later.
    #[must_use]
    pub fn value(&self, setting: Setting) -> Decimal {
        self.own_value(setting).unwrap_or_else(|| setting.fact().value.value())
    }

    /// The value in whole millimetres, minutes or pieces. Settings that are counted have whole bounds,
    /// and a part behind the point is dropped.
    #[must_use]
    pub fn whole(&self, setting: Setting) -> i64 {
        i64::try_from(self.value(setting).trunc()).unwrap_or(i64::MAX)
    }

    /// Whether today's value is the crew's own.
    #[must_use]
    pub fn is_own(&self, setting: Setting) -> bool {
        self.own_value(setting).is_some()
    }

    fn own_value(&self, setting: Setting) -> Option<Decimal> {
        let values = self.own.get(&setting)?;
        values.iter().rev().find(|own| own.from <= self.today).map(|own| own.value)
    }

    /// Value, unit and where it comes from, for a working: `10 m2 a bag (your own)`.
    #[must_use]
    pub fn said(&self, setting: Setting) -> String {
        let fact = setting.fact();
        let origin = match self.own_value(setting) {
            Some(_) => "your own",
            None => match fact.confidence {
                Confidence::Seen | Confidence::SeenAndComputed => "stated default",
                Confidence::Memory => "default from memory",
                Confidence::CommonPractice => "common practice",
            },
        };
        format!("{} {} ({origin})", self.value(setting).normalize(), fact.unit)
    }
}

impl Setting {
    /// The setting of these words.
    ///
    /// # Errors
    /// [`TakeoffError::UnknownSetting`] names those that share a word with it.
    pub fn named(words: &str) -> Result<Self, TakeoffError> {
        let said = words.trim().to_lowercase();
        if let Some(found) = Self::ALL.iter().find(|setting| setting.fact().words == said) {
            return Ok(*found);
        }
        let alike = Self::ALL.iter().map(|setting| setting.fact().words);
        let alike: Vec<&str> = alike
            .filter(|words| words.split(' ').any(|word| said.split(' ').any(|said| said == word)))
            .collect();
        let nearest = if alike.is_empty() {
            "`fivebar measure --figures` lists them".to_owned()
        } else {
            format!("there is {}", alike.join(", "))
        };
        Err(TakeoffError::UnknownSetting { said, nearest })
    }
}
