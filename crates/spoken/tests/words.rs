//! What holds for every line: nothing panics, and no word is lost.

mod crew;

use crew::{now, vocabulary};
use proptest::prelude::*;
use spoken::{Heard, Item, Job, Now, Pack, Stage, Vocabulary, understand};

/// Each word of the line is used by a proposal or listed as not understood, and spans say their words.
fn nothing_is_lost(line: &str, heard: &Heard) -> Result<(), TestCaseError> {
    let words: Vec<&str> = line.split_whitespace().collect();
    let used = heard.proposals.iter().flat_map(|proposal| &proposal.words);
    let spans: Vec<_> = used.chain(&heard.not_understood).collect();
    for (number, word) in words.iter().enumerate() {
        let covered = spans.iter().any(|span| (span.first..=span.last).contains(&number));
        prop_assert!(covered, "{word:?} (word {number}) of {line:?} is lost: {heard:?}");
    }
    for span in spans {
        let said: Vec<&str> = span.text.split_whitespace().collect();
        prop_assert_eq!(words.get(span.first..=span.last), Some(said.as_slice()));
    }
    for asked in &heard.questions {
        prop_assert!(asked.about < heard.proposals.len());
    }
    for (number, proposal) in heard.proposals.iter().enumerate() {
        let waits = heard.questions.iter().any(|asked| asked.must && asked.about == number);
        prop_assert!(!(proposal.ready && waits), "{proposal:?} is ready and asked about");
        prop_assert!(!proposal.words.is_empty(), "{proposal:?} comes from no word of {line:?}");
        prop_assert!(!proposal.ready || proposal.columns.len() > 1, "{proposal:?} says nothing");
    }
    Ok(())
}

const WORDS: &str = "one two three ten fifteen twenty thirty five half quarter a an and of to for till past eight \
    four hour hours minutes off dinner the on in at behind wall basin skim boarding tiling first fix water \
    studs boards plasterboards elbows tiles finish bags bag box metres mil coil left other binned cracked back van \
    merchant's customer wants said yes no not sorry yesterday Friday me Ines garage mill snag done signed over \
    pressure test bar point ½ 7:45 12.5 300x600 £ % - , . then but about some handful same as wants 's doesn't";

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    #[test]
    fn words_of_the_trade_in_any_order(picked in prop::collection::vec(prop::sample::select(WORDS.split_whitespace().collect::<Vec<_>>()), 0..14)) {
        let line = picked.join(" ");
        let heard = understand(&line, &vocabulary(), &now(), None);
        nothing_is_lost(&line, &heard)?;
        // A line corrects whatever was said before it, or does not; either way no word is lost.
        let last = heard.proposals.first().cloned();
        let again = understand(&line, &vocabulary(), &now(), last.as_ref());
        nothing_is_lost(&line, &again)?;
        prop_assert_eq!(&heard, &understand(&line, &vocabulary(), &now(), None));
    }
}

proptest! {
    #[test]
    fn any_text_at_all(line in "\\PC{0,60}") {
        nothing_is_lost(&line, &understand(&line, &vocabulary(), &now(), None))?;
    }

    #[test]
    fn figures_of_any_kind(line in "[0-9./:,x½-]{1,14}( (bags|m|hours|mil|elbows|finish|till|to) ?[0-9./:x½-]{0,14}){0,4}") {
        nothing_is_lost(&line, &understand(&line, &vocabulary(), &now(), None))?;
    }
}

/// Lists come from outside too: empty names, names of figures, packs of nothing.
fn any_vocabulary() -> impl Strategy<Value = Vocabulary> {
    let name = "[a-z0-9x. ]{0,12}";
    let item =
        (name, "(each|m|kg|m2|bag|)", "(bag|box|each|)", 0_u32..3).prop_map(|(name, unit, pack, size)| {
            Item { name, unit, packs: vec![Pack { name: pack, size: size.to_string().parse().unwrap() }] }
        });
    let stage = (name, "[a-z ]{0,8}").prop_map(|(name, test)| Stage {
        items: vec![name.clone()],
        name,
        tests: vec![test],
        ..Stage::default()
    });
    let job = ("[A-Z]{0,4}", "[A-Za-z. ]{0,8}", prop::collection::vec(stage, 0..3));
    let job = job.prop_map(|(code, customer, stages)| Job { code, customer, stages });
    let lists = (
        prop::collection::vec(item, 0..4),
        prop::collection::vec(job, 0..3),
        prop::collection::vec("[A-Za-z ]{0,6}", 0..3),
    );
    lists.prop_map(|(items, jobs, people)| Vocabulary {
        places: people.clone(),
        current_job: jobs.first().map(|job| job.code.clone()).unwrap_or_default(),
        items,
        jobs,
        people,
        ..Vocabulary::default()
    })
}

proptest! {
    #[test]
    fn any_lists_at_all(
        vocabulary in any_vocabulary(),
        picked in prop::collection::vec(prop::sample::select(WORDS.split_whitespace().collect::<Vec<_>>()), 0..8),
        minute in any::<u16>(),
    ) {
        let named = vocabulary.items.iter().map(|item| item.name.as_str());
        let named = named.chain(vocabulary.jobs.iter().flat_map(|job| &job.stages).map(|stage| stage.name.as_str()));
        let line = picked.into_iter().chain(named).collect::<Vec<_>>().join(" ");
        nothing_is_lost(&line, &understand(&line, &vocabulary, &Now { minute, ..now() }, None))?;
    }
}

#[test]
fn nothing_is_heard_in_nothing() {
    assert_eq!(understand("", &vocabulary(), &now(), None), Heard::default());
    let line = "word ".repeat(500);
    assert_eq!(understand(&line, &vocabulary(), &now(), None).not_understood.len(), 1);
}
