//! Usual waits between stages: drying, setting and curing. The one place where these figures stand, each
//! with its source and the day from which it is a setting.
//!
//! The end of a wait is the earliest and no more: check by eye and touch, and the maker goes first. Nothing
//! here says that a thing is ready or dry.

use crate::measure::Confidence;
use crate::time::Day;

/// A usual wait.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Wait {
    /// What was done: words of which one stands in the name or the trades of the stage before.
    pub after: &'static [&'static str],
    /// What is to follow: words of which one stands in the name or the trades of the stage.
    pub before: &'static [&'static str],
    /// What waits for what, in words.
    pub what: &'static str,
    /// How long, in minutes.
    pub minutes: u32,
    /// What to look and feel for when it is over.
    pub look_for: &'static str,
    /// Where it stands.
    pub source: &'static str,
    /// How well it is known.
    pub confidence: Confidence,
    /// The day from which it is a setting: year-month-day.
    pub from: &'static str,
}

const HOUR: u32 = 60;
const DAY: u32 = 24 * HOUR;
const COLLECTED: &str = "2026-11-01";

const PLASTER: &[&str] = &["skim", "plaster", "render"];
const PAINT: &[&str] = &["paint", "decorat", "mist"];
const TILING: &[&str] = &["tiling", "tiles"];

use Confidence::{CommonPractice, Seen, SeenAndComputed};

/// Every wait; of several that fit, the longest.
pub const WAITS: &[Wait] = &[
    Wait {
        after: PLASTER,
        before: PAINT,
        what: "new plaster before paint (another source says 4 weeks for 5 mm)",
        minutes: 5 * DAY,
        look_for: "an even pale colour, no dark patches",
        source: "3 to 6 days by simmondsdecorating; midcornwall says more",
        confidence: Seen,
        from: COLLECTED,
    },
    Wait {
        after: PLASTER,
        before: TILING,
        what: "new plaster before tiles",
        minutes: 28 * DAY,
        look_for: "an even pale colour, firm to the nail",
        source: "adhesive trade note TN 16.23, citing BS 5385",
        confidence: SeenAndComputed,
        from: COLLECTED,
    },
    Wait {
        after: &["dot and dab", "dot-and-dab", "dabbed"],
        before: TILING,
        what: "lining on dabs before tiles",
        minutes: 10 * DAY,
        look_for: "boards that do not give",
        source: "NHBC Standards 9.2.5",
        confidence: SeenAndComputed,
        from: COLLECTED,
    },
    Wait {
        after: &["bonding", "backing coat", "patching"],
        before: &["skim", "finish coat"],
        what: "a backing coat before the finish: it sets in about 1½ hours",
        minutes: 2 * HOUR,
        look_for: "set firm, still damp enough to take the finish",
        source: "typical data sheet, setting about 1½ h; two hours are common practice",
        confidence: CommonPractice,
        from: COLLECTED,
    },
    Wait {
        after: &["tanking"],
        before: TILING,
        what: "tanking before tiles: it cures in 24 to 48 hours",
        minutes: 24 * HOUR,
        look_for: "an even colour, nothing on the finger",
        source: "typical data sheet, not of this country",
        confidence: Seen,
        from: COLLECTED,
    },
    Wait {
        after: TILING,
        before: &["grout", "second fix"],
        what: "tiles before grout: standard adhesive takes 16 to 24 hours or more",
        minutes: 24 * HOUR,
        look_for: "tiles that do not move",
        source: "typical data sheet of an adhesive",
        confidence: SeenAndComputed,
        from: COLLECTED,
    },
    Wait {
        after: &["grout"],
        before: &["shower in use", "hand over", "handover", "in use"],
        what: "grout before the shower is used again",
        minutes: 14 * DAY,
        look_for: "grout of one colour",
        source: "adhesive trade note TN 16.23",
        confidence: SeenAndComputed,
        from: COLLECTED,
    },
];

/// The usual wait of a stage after another, each by its name and trades, on a day. None where none is
/// known.
#[must_use]
pub fn usual_wait(after: &str, before: &str, on: Day) -> Option<&'static Wait> {
    let (after, before) = (after.to_lowercase(), before.to_lowercase());
    let has = |text: &str, words: &[&str]| words.iter().any(|word| text.contains(word));
    let fits = WAITS.iter().filter(|wait| has(&after, wait.after) && has(&before, wait.before));
    // A wait that is a setting only later is taken all the same where no other is: better than none.
    let on = on.to_string();
    fits.max_by_key(|wait| (wait.from <= on.as_str(), wait.minutes))
}

/// A wait in words: `28 days`, `2 hours`, `1 hour 30 minutes`.
#[must_use]
pub fn length(minutes: u32) -> String {
    let of = |count: u32, word: &str| match count {
        1 => format!("1 {word}"),
        count => format!("{count} {word}s"),
    };
    // A day and a half is said in hours.
    let (days, hours, rest) =
        if minutes.is_multiple_of(DAY) { (minutes / DAY, 0, 0) } else { (0, minutes / HOUR, minutes % HOUR) };
    let parts = [(days, "day"), (hours, "hour"), (rest, "minute")];
    let said: Vec<String> =
        parts.iter().filter(|(count, _)| *count > 0).map(|(count, word)| of(*count, word)).collect();
    if said.is_empty() { "no wait".to_owned() } else { said.join(" ") }
}
