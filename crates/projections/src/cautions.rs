//! The usual cautions of the trades: when each is due, one plain sentence, and what to do.
//!
//! They prompt. They are not the whole of it, they judge nothing that was logged, and none says that
//! anything is fit to use or to touch: the local code, the maker and the licensed person decide.

/// When a caution is due.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Occasion {
    /// Any work is about to start.
    Work,
    /// Work is about to start on a stage of a trade whose name has this in it.
    Trade(&'static str),
    /// Work is about to start on a stage that covers others up.
    ClosingUp,
    /// A test is about to be logged whose name has this in it.
    Test(&'static str),
    /// Somebody is about to knock off.
    KnockingOff,
}

/// A caution.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Caution {
    /// When it is due; any of them.
    pub occasions: &'static [Occasion],
    /// What can hurt, in one sentence.
    pub sentence: &'static str,
    /// What to do.
    pub what_to_do: &'static str,
    /// Where it stands, or [`NO_SOURCE`].
    pub source: &'static str,
}

/// What is said of a caution that was read nowhere in particular.
pub const NO_SOURCE: &str = "common practice, no source";

use Occasion::{ClosingUp, KnockingOff, Test, Trade, Work};

/// All of them, what kills at once first.
pub const CAUTIONS: &[Caution] = &[
    Caution {
        occasions: &[Trade("electric"), Test("continuity"), Test("insulation")],
        sentence: "Dead before touching: isolated, locked off and proved dead.",
        what_to_do: "Prove the tester on a known source, the circuit, and the tester again; keep the key on you.",
        source: NO_SOURCE,
    },
    Caution {
        occasions: &[Test("insulation")],
        sentence: "A 500 V test harms people on the circuit and what is plugged into it.",
        what_to_do: "Loads, lamps and electronics off the circuit, nobody near the ends; discharge it after the test.",
        source: NO_SOURCE,
    },
    Caution {
        occasions: &[Trade("electric")],
        sentence: "New circuits, a changed consumer unit and work close to a bath or shower are notifiable in England.",
        what_to_do: "Ask the registered electrician before it is begun; elsewhere ask building control.",
        source: "wiring-regulations.co.uk (2021); the local code decides",
    },
    Caution {
        occasions: &[KnockingOff],
        sentence: "Ends that were left off are not made live until they are tested.",
        what_to_do: "Lock the circuit off, label it, and write down here what is off and what is live.",
        source: NO_SOURCE,
    },
    Caution {
        occasions: &[Trade("plumb"), Trade("heat"), Trade("gas")],
        sentence: "Gas is only for the registered gas engineer.",
        what_to_do: "If it smells of gas: no switches, no flames, windows open, out, and ring the gas emergency line.",
        source: NO_SOURCE,
    },
    Caution {
        occasions: &[Trade("plumb"), Trade("heat")],
        sentence: "An unvented cylinder can burst.",
        what_to_do: "Leave it, its valves and its discharge pipe to somebody who is qualified for unvented hot water.",
        source: NO_SOURCE,
    },
    Caution {
        occasions: &[Trade("plumb"), Trade("heat"), Trade("roof"), KnockingOff],
        sentence: "What was heated with a flame can catch fire an hour later.",
        what_to_do: "Clear what burns, mat and extinguisher at hand, and look again an hour after the flame is out.",
        source: NO_SOURCE,
    },
    Caution {
        occasions: &[Test("hot water")],
        sentence: "Stored hot water scalds, and below 60 °C legionella can grow in it.",
        what_to_do: "Stored at 60 °C or above, and a mixing valve where people are in it; never turn the store down instead.",
        source: "hse.gov.uk/legionnaires/hot-and-cold.htm (60 °C)",
    },
    Caution {
        occasions: &[Test("hot water")],
        sentence: "Water that stood for a week can carry legionella.",
        what_to_do: "Flush every outlet without making spray before anybody uses it.",
        source: NO_SOURCE,
    },
    Caution {
        occasions: &[Test("pressure")],
        sentence: "A pipe under air pressure goes off like a bomb; it is tested with water.",
        what_to_do: "Fill it, bleed it, then pump to the maker’s and the regulations’ test pressure; eyes covered.",
        source: NO_SOURCE,
    },
    Caution {
        occasions: &[
            Trade("carpent"),
            Trade("join"),
            Trade("lining"),
            Trade("electric"),
            Trade("plumb"),
            Trade("til"),
        ],
        sentence: "There may be cables and pipes where you drill, screw or cut.",
        what_to_do: "Look at the photos under Behind this wall, use a detector, and turn off what may run there.",
        source: NO_SOURCE,
    },
    Caution {
        occasions: &[Work],
        sentence: "In a building from before 2000 there may be asbestos in boards, coatings, tiles and lagging.",
        what_to_do: "Read the survey under Job, which clears nothing. In doubt stop, keep out, and ask a competent surveyor.",
        source: NO_SOURCE,
    },
    Caution {
        occasions: &[Trade("carpent"), Trade("join"), Trade("mason"), Trade("brick"), Trade("demoli")],
        sentence: "It may carry load.",
        what_to_do: "Cut or take out nothing before the structural engineer or building control has said so.",
        source: NO_SOURCE,
    },
    Caution {
        occasions: &[Trade("paint"), Trade("decorat"), Trade("carpent"), Trade("join")],
        sentence: "Old paint may have lead in it.",
        what_to_do: "Test it; no dry sanding and no burning off; wet, masked, and children out.",
        source: NO_SOURCE,
    },
    Caution {
        occasions: &[
            Trade("til"),
            Trade("plaster"),
            Trade("mason"),
            Trade("brick"),
            Trade("electric"),
            Trade("lining"),
        ],
        sentence: "Dust of tile, stone, brick, mortar and concrete scars the lungs.",
        what_to_do: "Cut wet or with extraction, and wear a mask that was fitted to your face.",
        source: NO_SOURCE,
    },
    Caution {
        occasions: &[Trade("til"), Trade("plaster"), Trade("mason"), Trade("brick"), Trade("screed")],
        sentence: "Wet cement and lime burn skin and eyes, slowly and without hurting at first.",
        what_to_do: "Gloves, goggles, no kneeling in it; wash it off at once, and eyes for twenty minutes, then a doctor.",
        source: NO_SOURCE,
    },
    Caution {
        occasions: &[Trade("lining")],
        sentence: "It takes two to carry a board.",
        what_to_do: "Two people or a trolley, a lift for ceilings, and nobody on the stairs below.",
        source: NO_SOURCE,
    },
    Caution {
        occasions: &[Work],
        sentence: "Most who are badly hurt fall: off steps, and through openings.",
        what_to_do: "Look over steps and ladders, guard or cover every opening, and don’t reach out sideways.",
        source: NO_SOURCE,
    },
    Caution {
        occasions: &[ClosingUp],
        sentence: "What is closed up can’t be looked at again.",
        what_to_do: "Before it: tested, photographed with a tape in shot, cables in the prescribed zones, fire stopping in.",
        source: NO_SOURCE,
    },
    Caution {
        occasions: &[Work, KnockingOff],
        sentence: "Alone on site nobody hears you, and children come where nobody looks.",
        what_to_do: "Say to somebody where you are and until when; tools unplugged, chemicals up, ladders away, doors shut.",
        source: NO_SOURCE,
    },
];

/// The cautions that are due on any of some occasions, in their order, each once.
pub fn due(is_now: impl Fn(Occasion) -> bool) -> Vec<&'static Caution> {
    CAUTIONS.iter().filter(|caution| caution.occasions.iter().any(|occasion| is_now(*occasion))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_caution_says_what_to_do_and_never_that_something_is_safe() {
        for caution in CAUTIONS {
            let Caution { occasions, sentence, what_to_do, source } = caution;
            assert!(!occasions.is_empty(), "{sentence}");
            for text in [sentence, what_to_do] {
                assert!(text.ends_with('.') && text.chars().count() <= 120, "{text}");
                let text = text.to_lowercase();
                for word in ["safe", "compliant", "certified", "is fine", "is ready", "harmless"] {
                    assert!(!text.contains(word), "{word}: {text}");
                }
            }
            assert!(!source.is_empty(), "{sentence}");
        }
    }

    #[test]
    fn each_occasion_has_its_own() {
        let of = |wanted: Occasion| due(move |occasion| occasion == wanted);
        assert!(of(Test("pressure"))[0].what_to_do.starts_with("Fill it"));
        assert_eq!(of(ClosingUp).len(), 1);
        assert_eq!(of(KnockingOff).len(), 3);
        // Due for two reasons, it still stands once.
        let both = due(|occasion| matches!(occasion, Test("continuity" | "insulation")));
        assert_eq!(both.iter().filter(|caution| caution.sentence.starts_with("Dead")).count(), 1);
    }
}
