//! Words that say what was done with a thing: binned, back on the van, waiting, on account.
//!
//! Plain trade English. A sign says nothing alone; what it is said of is decided where clauses are read.

use crate::numbers::number_at;
use crate::words::{Word, longest, phrase_at, text_at};

/// What a word or phrase is a sign of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Sign {
    /// Thrown away, for whatever reason.
    Wasted,
    /// Gone to waste by this: cracked, went off.
    Ruined,
    /// A reason that says waste only of a whole piece: bowed, split.
    Spoilt,
    Returned,
    /// "Back" alone, which may be a place.
    Back,
    /// Let fall, or dropped back.
    Dropped,
    /// "On the van": where something is left or goes back to.
    Van,
    /// "From the merchant's".
    FromMerchant,
    /// "At the merchant's": an errand, or where something goes back to.
    Merchant,
    Delivered,
    Bought,
    /// Put to use: fitted, up, used.
    Used,
    /// Brought to where the work is, which is no use yet.
    Moved,
    /// A pack was begun.
    Opened,
    /// How much is still there.
    Left,
    /// Some of it is still there, and nobody said how much.
    NotFinished,
    /// "The other half", "the rest" of what was just said.
    OtherHalf,
    /// The customer's own.
    CustomersOwn,
    /// An hour's work that belongs to no stage.
    NoStage(&'static str),
    /// It was not done, or not used.
    Not,
    /// An amount that is no number.
    Vague,
    /// "About six".
    About,
    /// With VAT, or without.
    Net,
    Gross,
    Paid(&'static str),
    /// An expense that is no item: bits.
    Sundries,
    /// One entry ends and another begins.
    Then,
}

const SIGNS: &[(&str, Sign)] = &[
    ("binned", Sign::Wasted),
    ("binning", Sign::Wasted),
    ("in the bin", Sign::Wasted),
    ("wasted", Sign::Wasted),
    ("broke", Sign::Ruined),
    ("broken", Sign::Ruined),
    ("cracked", Sign::Ruined),
    ("snapped", Sign::Ruined),
    ("smashed", Sign::Ruined),
    ("scrapped", Sign::Wasted),
    ("ruined", Sign::Ruined),
    ("spoiled", Sign::Ruined),
    ("spoilt", Sign::Ruined),
    ("chucked", Sign::Wasted),
    ("threw away", Sign::Wasted),
    ("thrown away", Sign::Wasted),
    ("in the skip", Sign::Wasted),
    ("went in the skip", Sign::Wasted),
    ("went in the bin", Sign::Wasted),
    ("went off", Sign::Ruined),
    ("gone off", Sign::Ruined),
    ("went hard", Sign::Ruined),
    ("gone hard", Sign::Ruined),
    ("no good", Sign::Ruined),
    ("got wet", Sign::Ruined),
    ("bowed", Sign::Spoilt),
    ("warped", Sign::Spoilt),
    ("twisted", Sign::Spoilt),
    ("split", Sign::Spoilt),
    ("chipped", Sign::Spoilt),
    ("damaged", Sign::Spoilt),
    ("bent", Sign::Spoilt),
    ("returned", Sign::Returned),
    ("sent back", Sign::Returned),
    ("took back", Sign::Returned),
    ("taken back", Sign::Returned),
    ("brought back", Sign::Returned),
    ("going back", Sign::NoStage("going back")),
    ("went back", Sign::Returned),
    ("back", Sign::Back),
    ("dropped", Sign::Dropped),
    ("on the van", Sign::Van),
    ("in the van", Sign::Van),
    ("to the van", Sign::Van),
    ("from the merchant 's", Sign::FromMerchant),
    ("from the merchants", Sign::FromMerchant),
    ("from merchant 's", Sign::FromMerchant),
    ("from the merchant", Sign::FromMerchant),
    ("at the merchant 's", Sign::Merchant),
    ("at the merchants", Sign::Merchant),
    ("to the merchant 's", Sign::Merchant),
    ("to the merchants", Sign::Merchant),
    ("to the merchant", Sign::Merchant),
    ("merchant 's", Sign::Merchant),
    ("merchants", Sign::Merchant),
    ("delivered", Sign::Delivered),
    ("delivery of", Sign::Delivered),
    ("arrived", Sign::Delivered),
    ("turned up", Sign::Delivered),
    ("dropped off", Sign::Delivered),
    ("bought", Sign::Bought),
    ("picked up", Sign::Bought),
    ("fitted", Sign::Used),
    ("fixed", Sign::Used),
    ("up", Sign::Used),
    ("hung", Sign::Used),
    ("laid", Sign::Used),
    ("ran", Sign::Used),
    ("put up", Sign::Used),
    ("put in", Sign::Used),
    ("went on", Sign::Used),
    ("went up", Sign::Used),
    ("went in", Sign::Used),
    ("used up", Sign::Used),
    ("all gone", Sign::Used),
    ("gone", Sign::Used),
    ("brought", Sign::Moved),
    ("fetched", Sign::Moved),
    ("carried", Sign::Moved),
    ("moved", Sign::Moved),
    ("took", Sign::Moved),
    ("borrowed", Sign::Moved),
    ("from the van", Sign::Moved),
    ("off the van", Sign::Moved),
    ("opened", Sign::Opened),
    ("started", Sign::Opened),
    ("broke into", Sign::Opened),
    ("left over", Sign::Left),
    ("left", Sign::Left),
    ("not finished it", Sign::NotFinished),
    ("not finished", Sign::NotFinished),
    ("some left", Sign::NotFinished),
    ("didn't use it all", Sign::NotFinished),
    ("the other half", Sign::OtherHalf),
    ("other half", Sign::OtherHalf),
    ("the rest", Sign::OtherHalf),
    ("the customer 's own", Sign::CustomersOwn),
    ("customer 's own", Sign::CustomersOwn),
    ("customers own", Sign::CustomersOwn),
    ("the customers own", Sign::CustomersOwn),
    ("stood waiting", Sign::NoStage("waiting")),
    ("waiting", Sign::NoStage("waiting")),
    ("waited", Sign::NoStage("waiting")),
    ("stood about", Sign::NoStage("waiting")),
    ("loading up", Sign::NoStage("loading")),
    ("loading", Sign::NoStage("loading")),
    ("unloading", Sign::NoStage("loading")),
    ("travelling", Sign::NoStage("travel")),
    ("travel", Sign::NoStage("travel")),
    ("driving", Sign::NoStage("travel")),
    ("clearing up", Sign::NoStage("clearing up")),
    ("cleaning up", Sign::NoStage("clearing up")),
    ("tidying up", Sign::NoStage("clearing up")),
    ("sweeping up", Sign::NoStage("clearing up")),
    ("setting up", Sign::NoStage("setting up")),
    ("rained off", Sign::NoStage("weather")),
    ("measuring up", Sign::NoStage("measuring")),
    ("measuring", Sign::NoStage("measuring")),
    ("no stage", Sign::NoStage("")),
    ("handful of", Sign::Vague),
    ("a handful of", Sign::Vague),
    ("a few", Sign::Vague),
    ("few", Sign::Vague),
    ("a couple of", Sign::Vague),
    ("couple of", Sign::Vague),
    ("loads of", Sign::Vague),
    ("a load of", Sign::Vague),
    ("a bit of", Sign::Vague),
    ("most of", Sign::Vague),
    ("several", Sign::Vague),
    ("about", Sign::About),
    ("up to", Sign::About),
    ("roughly", Sign::About),
    ("nearly", Sign::About),
    ("plus vat", Sign::Net),
    ("including vat", Sign::Gross),
    ("inc vat", Sign::Gross),
    ("with vat", Sign::Gross),
    ("on account", Sign::Paid("account")),
    ("on the account", Sign::Paid("account")),
    ("bits", Sign::Sundries),
    ("then", Sign::Then),
];

const MORE: &[(&str, Sign)] = &[
    ("and then", Sign::Then),
    ("after that", Sign::Then),
    ("bits and bobs", Sign::Sundries),
    ("sundries", Sign::Sundries),
    ("on the card", Sign::Paid("card")),
    ("by card", Sign::Paid("card")),
    ("on card", Sign::Paid("card")),
    ("paid it myself", Sign::Paid("own pocket")),
    ("paid for it myself", Sign::Paid("own pocket")),
    ("paid myself", Sign::Paid("own pocket")),
    ("paid out of my own pocket", Sign::Paid("own pocket")),
    ("out of my own pocket", Sign::Paid("own pocket")),
    ("my own money", Sign::Paid("own pocket")),
    ("didn't", Sign::Not),
    ("didnt", Sign::Not),
    ("not", Sign::Not),
    ("never", Sign::Not),
    ("haven't", Sign::Not),
    ("hasn't", Sign::Not),
    ("wasn't", Sign::Not),
    ("weren't", Sign::Not),
    ("don't", Sign::Not),
    ("no", Sign::Not),
    ("none of", Sign::Not),
    ("none", Sign::Not),
    ("without", Sign::Not),
    ("bringing back", Sign::Returned),
];

/// The sign that stands here, the longest of them.
pub(crate) fn sign_at(words: &[Word], at: usize) -> Option<(Sign, usize)> {
    let found = [longest(words, at, SIGNS), longest(words, at, MORE)];
    found.into_iter().flatten().max_by_key(|(_, len)| *len).map(|(sign, len)| (*sign, len))
}

/// What leads to a lone time, and whether work begins then: "finished at", "till", "from".
pub(crate) fn time_lead(words: &[Word], at: usize) -> Option<(usize, bool)> {
    const LEADS: &[(&str, bool)] = &[
        ("started at", true),
        ("started", true),
        ("start at", true),
        ("began at", true),
        ("got here at", true),
        ("got in at", true),
        ("in at", true),
        ("on at", true),
        ("here from", true),
        ("from", true),
        ("since", true),
        ("finished at", false),
        ("finished about", false),
        ("stopped at", false),
        ("knocked off at", false),
        ("packed up at", false),
        ("packed in at", false),
        ("left at", false),
        ("off at", false),
        ("out at", false),
        ("done at", false),
        ("done by", false),
        ("till", false),
        ("until", false),
        ("til", false),
    ];
    longest(words, at, LEADS).map(|(is_start, len)| (len, *is_start))
}

/// "*Finished* the tiling at three": the verb a few words before a time, and whether work begins then. One
/// that has a thing counted behind it, as in "started a bag", is about the thing.
pub(crate) fn time_verb_before(words: &[Word], at: usize) -> Option<(usize, bool)> {
    const FARTHEST: usize = 5;
    let verb = (at.saturating_sub(FARTHEST)..at).rev().find_map(|at| match text_at(words, at) {
        "started" | "began" => Some((at, true)),
        "finished" | "stopped" => Some((at, false)),
        _ => None,
    })?;
    let counted = matches!(text_at(words, verb.0 + 1), "a" | "an" | "another") || {
        (verb.0 + 1..at).any(|at| number_at(words, at).is_some())
    };
    (!counted).then_some(verb)
}

/// Whether some phrase stands anywhere among these words; where, and how long it is.
pub(crate) fn find(words: &[Word], start: usize, end: usize, phrases: &[&str]) -> Option<(usize, usize)> {
    (start..end).find_map(|at| {
        let found = phrases.iter().filter_map(|phrase| phrase_at(words, at, phrase)).max();
        found.filter(|len| at + len <= end).map(|len| (at, len))
    })
}
