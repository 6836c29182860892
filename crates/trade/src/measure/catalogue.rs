//! The kinds of tests and their usual limits: the one place where these figures stand, each with its
//! source and how well it is known.
//!
//! A limit here is a prompt. One that is set for the job goes before it, and none certifies anything. The
//! figures were collected in November 2026; a change is a new row with its own day.

/// How well a figure is known.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Confidence {
    /// It stood in a text that was read, which the source names.
    Seen,
    /// The rule stood in a text that was read; the figure is worked out from it.
    SeenAndComputed,
    /// From memory; no text was read.
    Memory,
    /// Common practice, no source.
    CommonPractice,
}

impl Confidence {
    /// In words, for beside the source.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Seen => "seen",
            Self::SeenAndComputed => "seen, and worked out from it",
            Self::Memory => "from memory",
            Self::CommonPractice => "common practice, no source",
        }
    }
}

/// On which side of a figure a value has to be. Figures are decimals as text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sense {
    /// It, or more.
    AtLeast(&'static str),
    /// It, or less.
    AtMost(&'static str),
    /// Less.
    Under(&'static str),
    /// From one to the other, both included.
    Between(&'static str, &'static str),
}

/// A limit and who states it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StatedLimit {
    /// On which side of what.
    pub sense: Sense,
    /// In which unit.
    pub unit: &'static str,
    /// Where it stands.
    pub source: &'static str,
    /// How well it is known.
    pub confidence: Confidence,
    /// The day from which it is a setting: year-month-day.
    pub from: &'static str,
}

/// A case of a kind: which words choose it, and its limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Case {
    /// Words of which one stands in what was said of the test; none for the case where no other fits.
    pub words: &'static [&'static str],
    /// What it is, for a list.
    pub what: &'static str,
    /// Its limit; none where the design or the maker sets it.
    pub limit: Option<StatedLimit>,
}

/// A kind of test.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TestKind {
    /// What it is called.
    pub name: &'static str,
    /// What else it is called.
    pub names: &'static [&'static str],
    /// The unit that it is read in.
    pub unit: &'static str,
    /// The cases. The first whose words fit counts.
    pub cases: &'static [Case],
    /// What to mind, in one sentence.
    pub caution: &'static str,
}

/// The day on which these figures were collected.
const COLLECTED: &str = "2026-11-01";

const fn limit(
    sense: Sense,
    unit: &'static str,
    source: &'static str,
    confidence: Confidence,
) -> Option<StatedLimit> {
    Some(StatedLimit { sense, unit, source, confidence, from: COLLECTED })
}

const fn case(words: &'static [&'static str], what: &'static str, limit: Option<StatedLimit>) -> Case {
    Case { words, what, limit }
}

use Confidence::{CommonPractice, Memory, Seen};
use Sense::{AtLeast, AtMost, Between, Under};

const DEAD: &str =
    "Dead, locked off and proved dead; local wiring rules and the registered electrician decide.";
const HOT: &str = "Stored hot water scalds, and below 60 °C legionella can grow in it.";
const HSE: &str = "hse.gov.uk/legionnaires/hot-and-cold.htm";
const NHBC: &str = "NHBC Standards 9.1.3";
const VALVES: &str = "BuildCert text in valve manuals";
const RULES_2008: &str = "BS 7671:2008 app. 3A by crannistech.co.uk; the edition in force decides";
const BS6700: &str = "BS 6700 table by liquisearch";

/// Every kind. The pressure test is judged by its conditions, in a module of its own.
pub const KINDS: &[TestKind] = &[
    TestKind {
        name: PRESSURE_TEST,
        names: &["pressure", "water pressure test"],
        unit: "bar",
        cases: &[
            case(
                &["rigid", "copper", "steel", "metal"],
                "rigid pipe: 1.5 times the highest working pressure, no fall in 60 min",
                None,
            ),
            case(&["test a"], "plastic, test A: pumped 30 min, let down to a third, no fall in 90 min", None),
            case(
                &["test b"],
                "plastic, test B: pumped 30 min, less than 0.6 bar in 30 min, then less than 0.2 bar in 120 min",
                None,
            ),
            case(
                &["en 806"],
                "EN 806: 1.1 times 1.5 times the pressure; its holding times were not read",
                None,
            ),
            case(&[], "say the pipe and the method: rigid, plastic test A or B, EN 806", None),
        ],
        caution: "Test with water, never with air; eyes covered, nobody by the joints.",
    },
    TestKind {
        name: "insulation resistance",
        names: &["insulation", "insulation test", "ir"],
        unit: "megohm",
        cases: &[
            case(
                &["selv", "pelv", "250 v", "250v", "250 volt", "250 volts"],
                "SELV or PELV, at 250 V d.c.",
                limit(AtLeast("0.5"), "megohm", "18theditionmock.com", Seen),
            ),
            case(
                &["1000 v", "1000v", "1000 volt", "1000 volts"],
                "circuits above 500 V, at 1000 V d.c.",
                limit(AtLeast("1.0"), "megohm", "18theditionmock.com", Seen),
            ),
            case(
                &[],
                "at 500 V d.c.",
                limit(AtLeast("1.0"), "megohm", "18theditionmock.com; trade magazine, May 2023", Seen),
            ),
        ],
        caution: DEAD,
    },
    TestKind {
        name: "continuity",
        names: &[
            "r1+r2",
            "continuity of protective conductors",
            "ring continuity",
            "ring test",
            "ring final",
        ],
        unit: "ohm",
        cases: &[case(
            &[],
            "the design’s value; say '22 m of 2.5/1.5' and the table’s stands beside it",
            None,
        )],
        caution: DEAD,
    },
    TestKind {
        name: "rcd time",
        names: &["rcd", "rcd trip time", "rcd test"],
        unit: "ms",
        cases: &[
            case(
                &["5x", "5 x", "x5", "five times"],
                "at five times the rated current, older practice",
                limit(AtMost("40"), "ms", RULES_2008, Seen),
            ),
            case(
                &["1/2", "½", "half"],
                "at half the rated current: no trip, so write '>' and the longest time shown",
                limit(AtLeast("300"), "ms", RULES_2008, Seen),
            ),
            case(
                &["s type", "s-type", "type s", "delayed"],
                "S type, at the rated current",
                limit(Between("130", "500"), "ms", "no text read", Memory),
            ),
            case(&[], "at the rated current", limit(AtMost("300"), "ms", RULES_2008, Seen)),
        ],
        caution: "People know and stand clear; local wiring rules and the registered electrician decide.",
    },
    TestKind {
        name: "zs",
        names: &["earth fault loop impedance", "loop impedance", "earth loop"],
        unit: "ohm",
        cases: &[
            case(
                &["30 ma", "30ma"],
                "behind a 30 mA RCD: 50 V / 0.03 A",
                limit(AtMost("1667"), "ohm", "common table, 50 V / 0.03 A", Confidence::SeenAndComputed),
            ),
            case(&[], "the device’s table or the design; behind a 30 mA RCD say so", None),
        ],
        caution: "A live test, for the registered electrician.",
    },
    TestKind {
        name: "stored hot water",
        names: &[
            "stored hot water temperature",
            "hot store",
            "hot store temperature",
            "cylinder temperature",
        ],
        unit: "°C",
        cases: &[case(&[], "in the store", limit(AtLeast("60"), "°C", HSE, Seen))],
        caution: HOT,
    },
    TestKind {
        name: "hot return",
        names: &["hot return temperature", "hot water return"],
        unit: "°C",
        cases: &[case(&[], "on the return", limit(AtLeast("50"), "°C", HSE, Seen))],
        caution: HOT,
    },
    TestKind {
        name: "hot water temperature",
        names: &["hot outlet", "hot outlet temperature", "hot tap", "hot tap temperature"],
        unit: "°C",
        cases: &[
            case(&["stored", "store", "cylinder"], "in the store", limit(AtLeast("60"), "°C", HSE, Seen)),
            case(
                &["healthcare", "care home", "hospital"],
                "at the tap within a minute, healthcare",
                limit(AtLeast("55"), "°C", HSE, Seen),
            ),
            case(
                &["bath"],
                "at the bath, new homes (Approved Document G; a refit is not caught as such)",
                limit(AtMost("48"), "°C", "Approved Document G by allbuildingcontrol and modbs.co.uk", Seen),
            ),
            case(&[], "at the tap within a minute", limit(AtLeast("50"), "°C", HSE, Seen)),
        ],
        caution: HOT,
    },
    TestKind {
        name: "cold water temperature",
        names: &["cold outlet", "cold outlet temperature", "cold tap", "cold tap temperature"],
        unit: "°C",
        cases: &[
            case(
                &["pipe", "warmed"],
                "in the pipe: not warmed above",
                limit(AtMost("25"), "°C", "Defra guide to SI 1999/1148, para 9", Seen),
            ),
            case(&[], "at the tap within two minutes", limit(Under("20"), "°C", HSE, Seen)),
        ],
        caution: "Flush outlets that stood for a week without making spray.",
    },
    TestKind {
        name: "mixing valve",
        names: &["mixing valve temperature", "mixed water temperature", "blended temperature", "tmv"],
        unit: "°C",
        cases: &[
            case(&["care home", "care bath"], "bath, care home", limit(AtMost("43"), "°C", VALVES, Seen)),
            case(&["bath"], "bath (never above 46)", limit(AtMost("44"), "°C", VALVES, Seen)),
            case(&["shower"], "shower", limit(AtMost("41"), "°C", VALVES, Seen)),
            case(&["basin"], "basin", limit(AtMost("41"), "°C", VALVES, Seen)),
            case(&[], "say what it serves: shower, basin, bath, care home", None),
        ],
        caution: HOT,
    },
    TestKind {
        name: "flow",
        names: &["flow rate", "water flow"],
        unit: "L/min",
        cases: &[
            case(
                &["pump on the mains", "mains pump", "booster"],
                "pump on the mains: above it the water undertaker is asked first",
                limit(AtMost("12"), "L/min", "no text read", Memory),
            ),
            case(&[], "what the maker of the shower, pump or boiler asks for", None),
        ],
        caution: "A pump on the mains is the water undertaker’s to allow.",
    },
    TestKind {
        name: "velocity",
        names: &["water velocity", "pipe velocity"],
        unit: "m/s",
        cases: &[
            case(&["90 °c", "90 c", "90c"], "at 90 °C", limit(AtMost("2.0"), "m/s", BS6700, Seen)),
            case(&["70 °c", "70 c", "70c"], "at 70 °C", limit(AtMost("2.5"), "m/s", BS6700, Seen)),
            case(&[], "up to 50 °C", limit(AtMost("3.0"), "m/s", BS6700, Seen)),
        ],
        caution: "Noise and wear come before the limit; the maker decides.",
    },
    TestKind {
        name: "level",
        names: &["ceiling level"],
        unit: "mm/m",
        cases: &[case(&[], "ceilings: 3 mm a metre", limit(AtMost("3"), "mm/m", NHBC, Seen))],
        caution: "What the contract asks for goes first.",
    },
    TestKind {
        name: "plumb",
        names: &["out of plumb", "wall plumb"],
        unit: "mm",
        cases: &[case(&[], "walls up to 3 m high", limit(AtMost("8"), "mm", NHBC, Seen))],
        caution: "What the contract asks for goes first.",
    },
    TestKind {
        name: "flatness",
        names: &["straightedge", "gap under the straightedge", "wall flatness", "background flatness"],
        unit: "mm",
        cases: &[
            case(
                &["thick bed", "thick-bed"],
                "background for tiles, thick bed, under 2 m",
                limit(AtMost("6"), "mm", "NHBC Standards 9.2.5", Seen),
            ),
            case(
                &["thin bed", "thin-bed", "tile", "tiling"],
                "background for tiles, thin bed, under 2 m",
                limit(AtMost("3"), "mm", "NHBC Standards 9.2.5", Seen),
            ),
            case(&["ceiling"], "ceilings, under 2 m", limit(AtMost("5"), "mm", NHBC, Seen)),
            case(
                &["1,800", "1800", "1.8 m", "13 mm"],
                "plaster 13 mm thick or more, in any 1,800 mm",
                limit(AtMost("3"), "mm", "specification page M20/715 (flipbuilder p. 381)", Seen),
            ),
            case(&[], "walls, under 2 m", limit(AtMost("3"), "mm", NHBC, Seen)),
        ],
        caution: "Look along it in the light that it will be seen in.",
    },
    TestKind {
        name: "board joint",
        names: &["board gap", "joint gap"],
        unit: "mm",
        cases: &[case(
            &[],
            "between boards",
            limit(AtMost("3"), "mm", "specification pages K10/M20 (flipbuilder)", Seen),
        )],
        caution: "What the maker of the board asks for goes first.",
    },
    TestKind {
        name: "timber moisture",
        names: &["stud moisture", "moisture of timber"],
        unit: "%",
        cases: &[case(&[], "before lining", limit(AtMost("20"), "%", "NHBC Standards", Seen))],
        caution: "A meter reads one spot and one timber; take several.",
    },
    TestKind {
        name: "screed moisture",
        names: &["screed humidity", "floor moisture", "slab moisture"],
        unit: "% RH",
        cases: &[case(
            &[],
            "under a hygrometer before a floor covering",
            limit(AtMost("75"), "% RH", "no text read; the maker of the covering decides", Memory),
        )],
        caution: "The maker of the floor and of its adhesive set the limit.",
    },
    TestKind {
        name: "room temperature",
        names: &["air temperature"],
        unit: "°C",
        cases: &[case(
            &[],
            "while plaster, paint or adhesive dries",
            limit(AtLeast("5"), "°C", "no text read; the maker decides", Memory),
        )],
        caution: "Warm it slowly and with air; a heater that burns gas wets the room and takes the air.",
    },
    TestKind {
        name: "background temperature",
        names: &["wall temperature", "surface temperature"],
        unit: "°C",
        cases: &[case(
            &[],
            "before plaster or adhesive goes on",
            limit(AtLeast("5"), "°C", "no text read; the maker decides", Memory),
        )],
        caution: "Nothing goes on a frozen background.",
    },
    TestKind {
        name: "room humidity",
        names: &["air humidity", "relative humidity"],
        unit: "% RH",
        cases: &[case(
            &[],
            "while something dries",
            limit(AtMost("75"), "% RH", "no text read", CommonPractice),
        )],
        caution: "Air it; drying by force cracks it.",
    },
];

/// The name of the kind that is judged by its conditions.
pub const PRESSURE_TEST: &str = "pressure test";

/// The kind of this name, in any case; none where the catalogue has none.
#[must_use]
pub fn kind_of(what: &str) -> Option<&'static TestKind> {
    let what = what.trim().to_lowercase();
    KINDS.iter().find(|kind| kind.name == what || kind.names.contains(&what.as_str()))
}

impl TestKind {
    /// The case that fits what was said of a test.
    #[must_use]
    pub fn case(&self, said: &str) -> Option<&'static Case> {
        let said = said.to_lowercase();
        let cases: &'static [Case] = self.cases;
        cases.iter().find(|case| case.words.is_empty() || case.words.iter().any(|word| has_word(&said, word)))
    }
}

/// Whether a text has a word or some words, and not only inside a longer one: "store" is none in "restored".
fn has_word(text: &str, word: &str) -> bool {
    let is_in = |letter: Option<char>| letter.is_some_and(char::is_alphanumeric);
    text.match_indices(word).any(|(at, _)| {
        let before = text.get(..at).and_then(|before| before.chars().next_back());
        let after = text.get(at + word.len()..).and_then(|after| after.chars().next());
        !is_in(before) && !is_in(after)
    })
}
