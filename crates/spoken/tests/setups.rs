//! Lines whose meaning hangs on what was said or logged before: corrections, timers, aliases, answers.

mod crew;

use std::collections::BTreeMap;

use crew::{logged, now, told, vocabulary};
use spoken::{Alias, Column, Heard, Kind, Meaning, NotARow, Proposal, Tone, Vocabulary, alias, understand};

fn hear(line: &str) -> Heard {
    understand(line, &vocabulary(), &now(), None)
}

fn sole(heard: &Heard) -> &Proposal {
    assert_eq!(heard.proposals.len(), 1, "{heard:?}");
    &heard.proposals[0]
}

fn after(last: &str, line: &str) -> Heard {
    let before = hear(last);
    let mut last = sole(&before).clone();
    last.entry = "7f3a90c1".to_owned();
    understand(line, &vocabulary(), &now(), Some(&last))
}

/// What a correction changes, after the line that it corrects.
#[track_caller]
fn corrects(last: &str, line: &str, changes: &[(Column, &str)]) {
    let heard = after(last, line);
    let corrected = sole(&heard);
    assert_eq!(corrected.kind, Kind::Corrected, "{}", told(line, &heard));
    assert!(corrected.ready, "{}", told(line, &heard));
    let mut wanted: BTreeMap<Column, String> =
        changes.iter().map(|(column, value)| (*column, (*value).to_owned())).collect();
    wanted.insert(Column::Corrects, "7f3a90c1".to_owned());
    assert_eq!(corrected.columns, wanted, "{line}");
    assert!(heard.not_understood.is_empty(), "{line}");
}

#[test]
fn the_entry_before_is_corrected() {
    let quantity = Column::Quantity;
    corrects("ten elbows", "no, eleven not ten", &[(quantity, "11")]);
    corrects("ten elbows", "no eleven", &[(quantity, "11")]);
    corrects("ten elbows", "sorry, eleven", &[(quantity, "11")]);
    corrects("ten elbows", "make that twelve", &[(quantity, "12")]);
    corrects("ten elbows", "should be twelve", &[(quantity, "12")]);
    corrects("four bags of finish", "four and a half not four", &[(quantity, "4.5")]);
    corrects("four bags of finish", "no it was five bags", &[(quantity, "5"), (Column::Unit, "bag")]);
    corrects("eight till half four skim", "it was five not half four", &[(Column::To, "2026-11-05T17:00")]);
    corrects("eight till half four skim", "half seven not eight", &[(Column::From, "2026-11-05T07:30")]);
    corrects("eight till half four skim", "no it was boarding", &[(Column::Stage, "boarding")]);
    corrects("three hours skim", "no, four hours", &[(Column::Minutes, "240")]);
    corrects(
        "six plasterboards",
        "no it was moisture boards",
        &[(Column::What, "moisture board 2400x1200x12.5")],
    );
}

#[test]
fn what_does_not_hold_what_it_is_said_to_hold_is_asked_about() {
    let heard = after("twelve elbows", "no, eleven not ten");
    assert!(!sole(&heard).ready);
    assert_eq!(heard.questions[0].question, "the last one says 12");
    let heard = after("twelve elbows", "no, boarding not skim");
    assert!(!sole(&heard).ready || !sole(&heard).columns.contains_key(&Column::Quantity));
}

#[test]
fn the_last_entry_is_shown_before_it_is_crossed_out() {
    let mut heard = after("ten elbows", "scrub that last one");
    assert_eq!((sole(&heard).kind, sole(&heard).ready), (Kind::Struck, false));
    assert_eq!(heard.questions[0].question, "cross out used 10 each elbow 15 push-fit first fix water?");
    assert!(heard.answer(0, 0));
    assert_eq!(sole(&heard).row().unwrap()["corrects"], "7f3a90c1");
}

#[test]
fn a_running_timer_is_stopped() {
    let vocabulary = Vocabulary { timer_running: true, ..vocabulary() };
    let heard = understand("finished at five", &vocabulary, &now(), None);
    assert_eq!((sole(&heard).kind, sole(&heard).get(Column::To)), (Kind::Stopped, "2026-11-05T17:00"));
    assert_eq!(sole(&heard).row(), Err(NotARow::NoTimer));
    // A whole shift is no stop of the timer.
    let heard = understand("eight till four skim", &vocabulary, &now(), None);
    assert_eq!(sole(&heard).kind, Kind::Hours);
}

#[test]
fn a_length_on_a_day_that_has_its_hours_is_asked_about() {
    let mut vocabulary = vocabulary();
    vocabulary.recent = vec![logged("2026-11-03T07:50", "2026-11-03T16:45", "first fix water")];
    let heard = understand("Tuesday three hours first fix electric", &vocabulary, &now(), None);
    let asked = "you have 07:50 to 16:45 on first fix water that day: before, after or part of it?";
    assert_eq!(heard.questions[0].question, asked);
    assert_eq!((sole(&heard).get(Column::DoneOn), sole(&heard).get(Column::Minutes)), ("2026-11-03", "180"));
    let heard = understand("Tuesday four till half five second fix", &vocabulary, &now(), None);
    assert_eq!(heard.questions[0].question, "you have 07:50 to 16:45 on first fix water already");
    let heard = understand("Wednesday four till half five second fix", &vocabulary, &now(), None);
    assert!(sole(&heard).ready);
}

#[test]
fn the_same_as_another_day_is_that_day_with_todays_date() {
    let mut vocabulary = vocabulary();
    vocabulary.recent = vec![
        logged("2026-11-04T08:00", "2026-11-04T12:00", "boarding"),
        logged("2026-11-04T12:30", "2026-11-04T16:30", "skim"),
        logged("2026-11-03T07:50", "2026-11-03T16:45", "first fix water"),
    ];
    let mut heard = understand("same as yesterday", &vocabulary, &now(), None);
    let times: Vec<&str> = heard.proposals.iter().map(|proposal| proposal.get(Column::From)).collect();
    assert_eq!(times, ["2026-11-05T08:00", "2026-11-05T12:30"]);
    assert!(heard.proposals.iter().all(|proposal| !proposal.ready));
    assert!(heard.answer(1, 0));
    assert_eq!(heard.proposals.iter().map(|proposal| proposal.ready).collect::<Vec<_>>(), [false, true]);
}

#[test]
fn an_answered_question_teaches_an_alias() {
    let heard = hear("seven till three first fix pipes");
    let (asked, choice) = (&heard.questions[0], &heard.questions[0].choices[0]);
    let learnt = alias(asked, choice).unwrap();
    let means = Meaning::Stage("first fix water".to_owned());
    assert_eq!(learnt, Alias { phrase: "first fix pipes".to_owned(), means });
    let vocabulary = Vocabulary { aliases: vec![learnt], ..vocabulary() };
    let heard = understand("seven till three first fix pipes", &vocabulary, &now(), None);
    assert_eq!((sole(&heard).ready, sole(&heard).get(Column::Stage)), (true, "first fix water"));

    let heard = hear("six hinges");
    let downlight = spoken::Choice {
        label: String::new(),
        sets: BTreeMap::from([(Column::What, "downlight".to_owned())]),
    };
    let learnt = alias(&heard.questions[0], &downlight).unwrap();
    assert_eq!(learnt, Alias { phrase: "hinges".to_owned(), means: Meaning::Item("downlight".to_owned()) });
    // What fits two items is asked again each time.
    let heard = hear("six boards");
    assert_eq!(alias(&heard.questions[0], &heard.questions[0].choices[0]), None);
}

#[test]
fn aliases_name_people_and_places_too() {
    let mut vocabulary = vocabulary();
    for (phrase, means) in [
        ("the boss", Meaning::Person("Maren Oake".to_owned())),
        ("out the back", Meaning::Place("rear lobby".to_owned())),
        ("pink", Meaning::Item("finish plaster".to_owned())),
    ] {
        vocabulary.aliases.push(Alias { phrase: phrase.to_owned(), means });
    }
    let heard = understand("two bags of pink out the back", &vocabulary, &now(), None);
    assert_eq!(
        (sole(&heard).get(Column::What), sole(&heard).get(Column::Where)),
        ("finish plaster", "rear lobby")
    );
    let heard = understand("the boss two hours skim", &vocabulary, &now(), None);
    assert_eq!(sole(&heard).get(Column::Person), "Maren Oake");
}

#[test]
fn answers_make_a_proposal_ready_and_a_row() {
    let mut heard = hear("one and a half of bonding at the mill");
    assert_eq!(sole(&heard).row(), Err(NotARow::NotReady));
    assert!(heard.answer(0, 0));
    assert!(!sole(&heard).ready);
    assert!(heard.answer_typed(0, "patching"));
    let row: Vec<(String, String)> = sole(&heard).row().unwrap().into_iter().collect();
    let wanted = [
        ("job", "MILL"),
        ("kind", "used"),
        ("quantity", "1.5"),
        ("stage", "patching"),
        ("unit", "bag"),
        ("what", "bonding coat"),
    ];
    let wanted: Vec<_> = wanted.map(|(column, value)| (column.to_owned(), value.to_owned())).to_vec();
    assert_eq!(row, wanted);
    assert!(!heard.answer(0, 0), "nothing is open any more");
}

#[test]
fn a_refusal_is_lifted_only_by_the_way_round_it() {
    let mut heard = hear("eight till seven tiling");
    assert!(heard.remarks.iter().any(|remark| remark.tone == Tone::Refused));
    assert!(heard.answer(0, 0));
    assert_eq!((sole(&heard).ready, sole(&heard).get(Column::To)), (true, "2026-11-05T17:00"));
    let heard = hear("three metres of finish plaster");
    assert_eq!(sole(&heard).row(), Err(NotARow::NotReady));
    let mut heard = hear("boarding signed off");
    assert!(heard.answer(0, 0));
    assert_eq!((sole(&heard).kind, sole(&heard).ready), (Kind::Ready, true));
    let may = Vocabulary { may_sign_off: true, ..vocabulary() };
    let heard = understand("boarding signed off", &may, &now(), None);
    assert_eq!(sole(&heard).row().unwrap()["kind"], "signed-off");
}

#[test]
fn a_row_says_all_that_the_line_said() {
    let row = |line: &str| sole(&hear(line)).row().unwrap();
    assert_eq!(row("three moisture boards back at the merchant's")["into"], "merchant");
    assert_eq!(row("three moisture boards back on the van")["into"], "van");
    assert_eq!(row("the customer's own tiles, nine boxes up")["whose"], "customer");
    assert_eq!(row("I'm off Monday, dentist")["kind"], "away");
    let by_eye = row("plaster's dry all over in the shower room");
    assert_eq!((by_eye["kind"].as_str(), by_eye["note"].as_str()), ("note", "drying by eye; dry all over"));
    let bought =
        row("five bags of finish plaster from the merchant's, forty-eight seventy-five plus VAT, on account");
    assert_eq!((bought["net"].as_str(), bought["paid_by"].as_str()), ("48.75", "account"));
    assert!(!bought.contains_key("price") && !bought.contains_key("vat"));
}

#[test]
fn a_half_day_is_as_long_as_the_crew_says() {
    let vocabulary = Vocabulary { half_day_minutes: Some(225), ..vocabulary() };
    let heard = understand("did a half day on the boarding", &vocabulary, &now(), None);
    assert_eq!((sole(&heard).ready, sole(&heard).get(Column::Minutes)), (true, "225"));
    let heard = understand("all day tiling", &vocabulary, &now(), None);
    assert_eq!(sole(&heard).get(Column::Minutes), "450");
}

#[test]
fn without_a_job_it_is_asked() {
    let vocabulary = Vocabulary { current_job: String::new(), ..vocabulary() };
    let mut heard = understand("snag, chip in the tile", &vocabulary, &now(), None);
    assert_eq!((sole(&heard).ready, heard.questions[1].question.as_str()), (false, "which job?"));
    assert!(heard.answer(1, 1));
    assert_eq!((sole(&heard).ready, sole(&heard).get(Column::Job)), (true, "MILL"));
}

#[test]
fn an_open_snag_is_cleared_by_what_it_says() {
    let mut vocabulary = vocabulary();
    vocabulary.open_snags.truncate(1);
    let heard = understand("that chip's sorted", &vocabulary, &now(), None);
    assert_eq!(
        (sole(&heard).ready, sole(&heard).get(Column::What)),
        (true, "chip in the tile behind the basin")
    );
}

#[test]
fn a_second_isolator_in_the_book_is_asked_about() {
    let mut vocabulary = vocabulary();
    let mut isolator = vocabulary.items[14].clone();
    isolator.name = "isolator 3 pole".to_owned();
    vocabulary.items.push(isolator);
    let heard = understand("four isolators fitted", &vocabulary, &now(), None);
    assert_eq!(
        (sole(&heard).ready, heard.questions[0].question.as_str()),
        (false, "which is \"isolators\"?")
    );
    let heard = understand("four isolating valves fitted", &vocabulary, &now(), None);
    assert_eq!((sole(&heard).ready, sole(&heard).get(Column::What)), (true, "isolating valve 15"));
}

/// The page gets and gives this as JSON.
#[test]
fn what_was_heard_survives_json() {
    let heard = hear("garage till twelve then one till five at the mill patching and six boards");
    let text = serde_json::to_string(&heard).unwrap();
    assert_eq!(serde_json::from_str::<Heard>(&text).unwrap(), heard);
    assert!(text.contains(r#""kind":"hours""#) && text.contains(r#""job":"MILL""#), "{text}");
}
