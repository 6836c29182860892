//! What the screens show of the demo's week, against figures that a second program worked out, and who
//! sees what.

use std::collections::BTreeMap;

use askama::Template;
use serde_json::Value;
use trade::Pence;
use trade::money::hours_and_minutes;

use super::trial::{Trial, asked};
use super::{crew, doing, job, now, stages, week};
use crate::look::Asked;
use crate::words;

const FRIDAY: &str = "2026-11-06T17:30";

fn expected() -> Value {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/scenario/expected.json");
    serde_json::from_str(&std::fs::read_to_string(path).unwrap()).unwrap()
}

fn pence(text: &str) -> Pence {
    text.parse().unwrap()
}

/// tests/scenario/expected.json, which an independent program computed: priced hours, minutes worked and
/// what they cost, by stage.
#[test]
fn hours_and_their_cost_are_those_that_the_second_program_worked_out() {
    let trial = Trial::with_the_week();
    let screen = trial.look("Maren Oake", FRIDAY, &asked("GARAGE", ""), doing::doing);
    let expected = expected();
    let mut costs: BTreeMap<String, Pence> = BTreeMap::new();
    for row in expected["time_on_job"].as_array().unwrap() {
        if row["job"] == "GARAGE" {
            *costs.entry(row["stage"].as_str().unwrap().to_owned()).or_default() +=
                pence(row["cost"].as_str().unwrap());
        }
    }
    let mut compared = 0;
    for row in expected["labour"].as_array().unwrap() {
        let stage = row["stage"].as_str().unwrap();
        let Some(shown) = screen.stages.iter().find(|shown| shown.name == stage) else { continue };
        if row["job"] != "GARAGE" || shown.figures.is_empty() {
            continue;
        }
        let priced: rust_decimal::Decimal = row["estimated_hours"].as_str().unwrap().parse().unwrap();
        let priced = priced * rust_decimal::Decimal::from(60);
        let priced = hours_and_minutes(i64::try_from(priced.round()).unwrap());
        if row["minutes"] == 0 {
            assert_eq!(
                (shown.figures[0].words.as_str(), shown.figures[0].rest.as_str()),
                (format!("priced {priced}").as_str(), "–"),
                "{stage}"
            );
            compared += 1;
            continue;
        }
        let minutes = hours_and_minutes(row["minutes"].as_i64().unwrap());
        assert_eq!(shown.figures[0].words, format!("{minutes} of {priced}"), "{stage}");
        let cost = words::pounds(costs.get(stage).copied().unwrap_or_default());
        assert!(shown.figures[1].words.starts_with(&format!("{cost} of ")), "{stage}: {cost}");
        compared += 1;
    }
    assert_eq!(compared, 8, "every priced stage of the job");
}

/// tests/scenario/expected.json: what the week bills, and on which lines.
#[test]
fn what_is_to_bill_is_what_the_second_program_worked_out() {
    let trial = Trial::with_the_week();
    let screen = trial.look("Maren Oake", FRIDAY, &asked("", ""), |look| week::week(look, look.today));
    let expected = expected();
    let invoices = expected["invoices"].as_array().unwrap();
    assert_eq!(screen.to_bill.len(), invoices.len());
    for invoice in invoices {
        let code = invoice["job"].as_str().unwrap();
        let shown = screen.to_bill.iter().find(|job| job.job == code).unwrap();
        assert_eq!(shown.net, words::pounds(pence(invoice["net"].as_str().unwrap())), "{code}");
        let paper = trial.look("Maren Oake", FRIDAY, &asked(code, ""), week::preview).unwrap();
        let text = paper.render().unwrap();
        for sum in ["net", "retention", "vat_stated", "cis", "to_pay"] {
            let sum = words::pounds(pence(invoice[sum].as_str().unwrap()));
            // What is nought prints nothing.
            assert!(sum == "£0.00" || text.contains(&sum), "{code} {sum}");
        }
    }
}

/// tests/scenario/expected.json: what is gone of each item.
#[test]
fn items_are_those_that_the_second_program_worked_out() {
    let trial = Trial::with_the_week();
    let screen = trial.look("Tobi Larch", FRIDAY, &asked("GARAGE", ""), doing::doing);
    let lists = trial.node.book().lists();
    let expected = expected();
    let rows = expected["materials"].as_array().unwrap();
    let mut compared = 0;
    for row in rows.iter().filter(|row| row["job"] == "GARAGE") {
        let (stage, item) = (row["stage"].as_str().unwrap(), row["item"].as_str().unwrap());
        let shown = screen.stages.iter().find(|shown| shown.name == stage).unwrap();
        let shown = shown.items.iter().find(|shown| shown.label == item);
        let listed = lists.items.values().find(|listed| listed.name == item).unwrap();
        let gone = words::in_packs(listed, row["used"].as_str().unwrap().parse().unwrap());
        let shown = shown.unwrap_or_else(|| panic!("{stage}: {item}"));
        assert!(
            shown.words == gone || shown.words.starts_with(&format!("{gone} of ")),
            "{item}: {}",
            shown.words
        );
        compared += 1;
    }
    assert!(compared > 15, "{compared}");
}

#[test]
fn nobody_but_the_boss_sees_a_sum_of_money() {
    let trial = Trial::with_the_week();
    let screens = |name: &str| {
        trial.look(name, FRIDAY, &asked("GARAGE", "skim"), |look| {
            [
                now::now(look).render().unwrap(),
                stages::stages(look).render().unwrap(),
                stages::behind(look).render().unwrap(),
                doing::doing(look).render().unwrap(),
                doing::why(look, "skim", "material").render().unwrap(),
                crew::crew(look).render().unwrap(),
                job::job(look).render().unwrap(),
                job::entries(look, &Asked::default()).render().unwrap(),
            ]
            .concat()
            // What a form asks for is no sum.
            .replace(", £ <input", "")
        })
    };
    assert!(screens("Maren Oake").contains('£'));
    assert!(!screens("Tobi Larch").contains('£'));
}

#[test]
fn the_questions_of_the_week_stand_first_with_what_it_costs_to_leave_them() {
    let trial = Trial::with_the_week();
    let screen = trial.look("Maren Oake", FRIDAY, &asked("", ""), |look| week::week(look, look.today));
    assert!((1..=7).contains(&screen.questions.len()));
    assert!(screen.questions.iter().all(|question| question.cost.starts_with("Left: ")));
    assert!(
        screen
            .questions
            .iter()
            .any(|question| question.text.contains("Ines Quill has no hours on Tue 3 Nov"))
    );
    let hours: Vec<_> = screen.to_pay.iter().map(|row| (row.person.as_str(), row.days)).collect();
    assert_eq!(hours, [("Ines Quill", 4), ("Maren Oake", 2), ("Tobi Larch", 5)]);
}

#[test]
fn what_people_wrote_stays_text() {
    let mut trial = Trial::with_the_week();
    let note = "<script>alert(1)</script> & \"quoted\"";
    let row = [("kind", "note"), ("job", "GARAGE"), ("note", note), ("where", "<b>north</b>")];
    let row = row.map(|(column, value)| (column.to_owned(), value.to_owned())).into();
    daemon::command::run(&mut trial.node, daemon::Command::Log { row }).unwrap();
    let text = trial.look("Maren Oake", FRIDAY, &asked("GARAGE", ""), |look| {
        [now::now(look).render().unwrap(), job::entries(look, &Asked::default()).render().unwrap()].concat()
    });
    assert!(text.contains("&#60;script&#62;alert(1)&#60;/script&#62;"), "the note is shown");
    assert!(!text.contains("<script>alert") && !text.contains("<b>north"));
}

#[test]
fn a_screen_says_where_one_is() {
    let trial = Trial::with_the_week();
    let screen = trial.look("Tobi Larch", FRIDAY, &asked("GARAGE", ""), now::now);
    assert_eq!(screen.frame.back(), "/?job=GARAGE");
    assert!(screen.frame.title.starts_with("GARAGE · "), "{}", screen.frame.title);
    let screen = trial.look("Tobi Larch", FRIDAY, &asked("GARAGE", "-"), now::now);
    assert_eq!(screen.frame.title, "GARAGE");
}

#[test]
fn what_was_heard_can_be_ticked_answered_and_what_was_not_understood_is_underlined() {
    use super::said::{OneAsked, Proposed, Said, Word};
    let trial = Trial::with_the_week();
    let word = |text: &str, understood| Word { text: text.to_owned(), understood };
    let text = trial.look("Tobi Larch", FRIDAY, &asked("GARAGE", "skim"), |look| {
        let said = Said {
            frame: look.frame(crate::frame::Tab::Now, "Heard".to_owned()),
            line: "two bags <b>wotsit</b>".to_owned(),
            words: vec![word("two", true), word("bags", true), word("<b>wotsit</b>", false)],
            proposals: vec![Proposed {
                text: "2 bags of something".to_owned(),
                ready: false,
                remarks: vec!["Which plaster is asked first.".to_owned()],
            }],
            questions: vec![OneAsked {
                question: "Bags of what?".to_owned(),
                choices: vec!["finish plaster".to_owned(), "bonding coat".to_owned()],
                typed: false,
                must: true,
            }],
            at: String::new(),
            remarks: Vec::new(),
            answers: String::new(),
        };
        said.render().unwrap()
    });
    assert!(text.contains("<mark>&#60;b&#62;wotsit&#60;/b&#62;</mark>"), "{text}");
    assert!(text.contains(r#"value="0.1">bonding coat</button>"#));
    // What waits for an answer can't be logged.
    assert!(text.contains("disabled") && !text.contains("Log what is ticked"));
}

#[test]
fn hours_can_be_changed_and_crossed_out_by_whoever_worked_them() {
    let trial = Trial::with_the_week();
    let text = |name: &str| {
        let asked = Asked { what: "Tobi Larch".to_owned(), ..asked("GARAGE", "") };
        trial.look(name, FRIDAY, &asked, |look| job::entries(look, &asked).render().unwrap())
    };
    let own = text("Tobi Larch");
    assert!(own.contains("/do/correct") && own.contains("/do/strike"));
    let other = text("Ines Quill");
    assert!(!other.contains("/do/correct") && !other.contains("/do/strike"));
}
