//! What whoever lives there should mind afterwards. It prompts; it is not the whole of it, and none of it says that
//! anything is fit to use.

use crate::cautions::{Caution, NO_SOURCE, Occasion};

use Occasion::{Test, Trade, Work};

/// All of them. The occasions are the trades that were there and the tests that were logged.
pub(super) const AFTERWARDS: &[Caution] = &[
    Caution {
        occasions: &[Work],
        sentence: "A test here tells of one place on one day, and is no certificate.",
        what_to_do: "What the law asks for comes from the licensed person; what is missing of it is listed here.",
        source: NO_SOURCE,
    },
    Caution {
        occasions: &[Trade("electric"), Trade("plumb"), Trade("heat"), Trade("gas")],
        sentence: "There are cables or pipes where you may want to drill, screw or cut.",
        what_to_do: "Look at the photos by place first, use a detector, and turn off what may run there.",
        source: NO_SOURCE,
    },
    Caution {
        occasions: &[Trade("electric")],
        sentence: "What trips again after it was reset has a fault.",
        what_to_do: "Leave it off, leave covers on, and ask an electrician.",
        source: NO_SOURCE,
    },
    Caution {
        occasions: &[Trade("gas"), Trade("heat")],
        sentence: "Gas is only for the registered gas engineer.",
        what_to_do: "If it smells of gas: no switches, no flames, windows open, out, and ring the gas emergency line.",
        source: NO_SOURCE,
    },
    Caution {
        occasions: &[Test("hot water")],
        sentence: "Stored hot water scalds, and below 60 °C legionella can grow in it.",
        what_to_do: "Leave the store and the mixing valves as they are set, and ask a plumber before changing them.",
        source: "hse.gov.uk/legionnaires/hot-and-cold.htm (60 °C)",
    },
    Caution {
        occasions: &[Trade("plumb"), Trade("heat"), Test("hot water")],
        sentence: "Water that stood for a week can carry legionella.",
        what_to_do: "Flush every outlet without making spray before anybody uses it.",
        source: NO_SOURCE,
    },
    Caution {
        occasions: &[Trade("til")],
        sentence: "A hole in the tiles of a wet place goes through what keeps the water out.",
        what_to_do: "Ask before you drill there; a fixing is sealed as the maker of the layer below says.",
        source: NO_SOURCE,
    },
    Caution {
        occasions: &[Work],
        sentence: "What carries load can’t be seen once it is boarded.",
        what_to_do: "Cut or take out nothing before a structural engineer or building control has said so.",
        source: NO_SOURCE,
    },
];

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn none_says_that_a_thing_is_fit() {
        for Caution { occasions, sentence, what_to_do, source } in AFTERWARDS {
            assert!(!occasions.is_empty() && !source.is_empty(), "{sentence}");
            for text in [sentence, what_to_do] {
                assert!(text.ends_with('.') && text.chars().count() <= 120, "{text}");
                let text = text.to_lowercase();
                for word in ["safe", "compliant", "certified", "is fine", "is ready", "harmless"] {
                    assert!(!text.contains(word), "{word}: {text}");
                }
            }
        }
    }
}
