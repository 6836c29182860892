//! What the screens show of the demo's week, against figures that a second program worked out, and who
//! sees what.

use std::collections::BTreeMap;

use askama::Template;
use serde_json::Value;
use trade::Pence;
use trade::money::hours_and_minutes;

use super::trial::{Trial, asked};
use super::{crew, doing, job, now, paper, stages, week};
use crate::look::Asked;
use projections::words;

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
        let paper =
            trial.look("Maren Oake", FRIDAY, &asked(code, ""), |look| paper::preview(look, "")).unwrap();
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
                stages::stages(look, &Asked::default()).render().unwrap(),
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

/// Does what a button of somebody's page does.
fn press(
    trial: &mut Trial,
    name: &str,
    order: &str,
    fields: &[(&str, &str)],
) -> Result<String, crate::problem::Problem> {
    use crate::orders;
    let viewer = trial.viewer(name);
    let fields = fields.iter().map(|(name, value)| ((*name).to_owned(), (*value).to_owned())).collect();
    let order = orders::read(order, &viewer, &fields)?;
    let events = trial.node.ledger().chains().map(|chain| chain.tip.next_seq).sum::<u64>();
    let press = daemon::press::Press { id: events.to_string(), at: None };
    let done = orders::carry_out(&mut trial.node, &viewer, &press, order);
    done.map(|done| done.said).map_err(|error| crate::problem::Problem::Refused(error.to_string()))
}

fn strike(trial: &mut Trial, key: &str) {
    press(trial, "Maren Oake", "strike", &[("corrects", key)]).unwrap();
}

#[test]
fn an_extra_without_a_yes_waits_and_is_billed_by_name() {
    let mut trial = Trial::with_the_week();
    let preview = |trial: &Trial, with: &str| {
        trial.look("Maren Oake", FRIDAY, &asked("GARAGE", ""), |look| paper::preview(look, with).unwrap())
    };
    let agreed = preview(&trial, "");
    assert!(agreed.waiting.is_empty());
    // The entry in which the customer's yes stands.
    strike(&mut trial, "e045");
    let waits = preview(&trial, "");
    let names: Vec<_> =
        waits.waiting.iter().map(|extra| (extra.extra.as_str(), extra.why.as_str())).collect();
    assert_eq!(names, [("move the door", "waiting for a yes")]);
    assert_ne!(waits.sums, agreed.sums);
    assert_eq!(waits.waiting[0].link, "/bill?job=GARAGE&what=move%20the%20door");
    let named = preview(&trial, "move the door\nnothing of this name");
    assert_eq!((named.sums.as_slice(), named.with_extra.as_str()), (agreed.sums.as_slice(), "move the door"));
    let week = trial.look("Maren Oake", FRIDAY, &asked("", ""), |look| week::week(look, look.today));
    assert_eq!(week.to_bill[0].waiting[0].1, waits.waiting[0].net);
    let bill = |with| [("job", "GARAGE"), ("until", "2026-11-06"), ("with_extra", with)];
    assert!(press(&mut trial, "Maren Oake", "invoice-issue", &bill("no such extra")).is_err());
    press(&mut trial, "Maren Oake", "invoice-issue", &bill("move the door")).unwrap();
    let issued = trial.look("Maren Oake", FRIDAY, &asked("", ""), |look| week::week(look, look.today));
    assert!(issued.to_bill[0].waiting.is_empty(), "what was billed waits no more");
}

#[test]
fn what_is_worth_less_than_billed_is_given_back_by_one_press() {
    let mut trial = Trial::with_the_week();
    let said =
        press(&mut trial, "Maren Oake", "invoice-issue", &[("job", "GARAGE"), ("until", "2026-11-06")])
            .unwrap();
    let number = said.trim_start_matches("This is invoice ").split('.').next().unwrap().to_owned();
    // Hours on the clock that were billed turn out not to have been worked.
    strike(&mut trial, "e035");
    let week = |trial: &Trial| {
        trial.look("Maren Oake", FRIDAY, &asked("", ""), |look| {
            let week = week::week(look, look.today);
            let text = week.render().unwrap();
            (week.to_bill.into_iter().find(|job| job.job == "GARAGE").unwrap().credits, text)
        })
    };
    let (credits, text) = week(&trial);
    assert_eq!((credits.len(), credits[0].0.as_str()), (1, number.as_str()));
    assert!(text.contains(&format!("Issue the credit note of {} on {number}", credits[0].1)));
    let said = press(&mut trial, "Maren Oake", "credit", &[("number", &number)]).unwrap();
    assert!(said.starts_with("This is credit note ") && said.contains(&format!(" on {number}.")), "{said}");
    assert!(week(&trial).0.is_empty());
    let reason = [("number", number.as_str()), ("reason", "wrong customer")];
    assert!(press(&mut trial, "Maren Oake", "void", &reason).is_err(), "a credit note reduces it");
}

#[test]
fn a_paper_that_stands_can_be_made_void_with_a_reason() {
    let mut trial = Trial::with_the_week();
    let said = press(&mut trial, "Maren Oake", "invoice-issue", &[("job", "MILL"), ("until", "2026-11-06")])
        .unwrap();
    let number = said.trim_start_matches("This is invoice ").split('.').next().unwrap().to_owned();
    let stands = |trial: &Trial| {
        trial.look("Maren Oake", FRIDAY, &asked("MILL", ""), |look| {
            let paper = paper::paper(look, &number).unwrap();
            (paper.stands.clone(), paper.render().unwrap().contains("/do/void"))
        })
    };
    assert_eq!(stands(&trial), (number.clone(), true));
    assert!(press(&mut trial, "Maren Oake", "void", &[("number", &number)]).is_err());
    let reason = [("number", number.as_str()), ("reason", "nobody was sent it")];
    press(&mut trial, "Maren Oake", "void", &reason).unwrap();
    assert_eq!(stands(&trial), (String::new(), false));
}

#[test]
fn the_survey_is_everybody_s_and_asks_of_asbestos_first() {
    let mut trial = Trial::with_the_week();
    let answer = [("job", "GARAGE"), ("point", "asbestos"), ("answer", "built in 1978; nobody looked yet")];
    press(&mut trial, "Maren Oake", "survey", &answer).unwrap();
    let page = |name| trial.look(name, FRIDAY, &asked("GARAGE", ""), |look| job::job(look).render().unwrap());
    for name in ["Maren Oake", "Tobi Larch", "Ines Quill"] {
        let text = page(name);
        let at = |words: &str| text.find(words).unwrap_or_else(|| panic!("{name}: {words}"));
        assert!(at("built in 1978; nobody looked yet") < at("What carries load"));
        assert!(at("An answer here clears nothing.") < at("What carries load"));
    }
    let wrong = [("job", "GARAGE"), ("point", "weather"), ("answer", "wet")];
    assert!(press(&mut trial, "Ines Quill", "survey", &wrong).is_err());
}

#[test]
fn a_quote_its_points_and_an_extra_s_price_are_the_boss_s() {
    let mut trial = Trial::with_the_week();
    let give = [("job", "GARAGE"), ("price", "9000"), ("included", "walls & floor"), ("excluded", "")];
    press(&mut trial, "Maren Oake", "quote-give", &give).unwrap();
    let agree = [("job", "GARAGE"), ("version", "1"), ("by", "J. Marrable"), ("how", "signature")];
    press(&mut trial, "Maren Oake", "quote-agree", &agree).unwrap();
    let mut points = vec![("job", "GARAGE"), ("label-1", "start"), ("amount-1", "4000.00")];
    points.extend([("label-4", "boards up"), ("amount-4", "4000"), ("stage-4", "boarding")]);
    let refused = press(&mut trial, "Maren Oake", "quote-points", &points).unwrap_err().words();
    assert!(refused.contains("1000.00 too little"), "{refused}");
    points.retain(|(name, _)| *name != "amount-4");
    points.push(("amount-4", "5000"));
    press(&mut trial, "Maren Oake", "quote-points", &points).unwrap();
    // A second wish of the customer's, without an answer yet: what goes into the text is the sum with VAT.
    let row = [("kind", "asked"), ("job", "GARAGE"), ("what", "a second light"), ("entry", "light")];
    let row = row.map(|(column, value)| (column.to_owned(), value.to_owned())).into();
    daemon::command::run(&mut trial.node, daemon::Command::Log { row }).unwrap();
    press(&mut trial, "Maren Oake", "price-extra", &[("of", "light"), ("amount", "150")]).unwrap();
    let page = |name| trial.look(name, FRIDAY, &asked("GARAGE", ""), |look| job::job(look).render().unwrap());
    let boss = page("Maren Oake");
    for words in
        ["£9,000.00", "walls &#38; floor", "J. Marrable said yes", "boards up, when boarding is signed off"]
    {
        assert!(boss.contains(words), "{words}");
    }
    assert!(boss.contains("It comes to £180.00 with VAT (£150.00 without)."), "{boss}");
    let hand = page("Tobi Larch");
    assert!(hand.contains("a second light") && !hand.contains('£') && !hand.contains("9,000"));
    for words in ["/do/quote", "/do/price", "It comes to"] {
        assert!(!hand.contains(words), "{words}");
    }
}

#[test]
fn a_price_and_a_rate_hold_from_their_day_on() {
    let mut trial = Trial::with_the_week();
    let price = [("item", "finish plaster"), ("pack_cost", "11.40"), ("from", "2026-12-01")];
    press(&mut trial, "Maren Oake", "price", &price).unwrap();
    let text = trial.look("Maren Oake", FRIDAY, &asked("", ""), |look| job::job(look).render().unwrap());
    assert!(text.contains("£11.40 a bag from 1 Dec 2026"));
    press(&mut trial, "Maren Oake", "add-person", &[("name", "Ada Sorrel"), ("role", "hand")]).unwrap();
    let rate = [("person", "Ada Sorrel"), ("cost", "20"), ("charge", "33.50"), ("trade", "plastering")];
    press(&mut trial, "Maren Oake", "rate", &rate).unwrap();
    let half = [("name", "Bo Sorrel"), ("role", "hand"), ("cost", "20")];
    assert!(press(&mut trial, "Maren Oake", "add-person", &half).is_err(), "a cost without a charge");
    let text = trial.look("Maren Oake", FRIDAY, &asked("", ""), |look| crew::crew(look).render().unwrap());
    assert!(text.contains("Recovery words") && text.contains("when Maren Oake founded the crew"));
    assert!(
        text.contains("costs £20.00, charged £33.50 an hour for plastering") && !text.contains("Bo Sorrel")
    );
}

#[test]
fn cautions_are_open_until_the_work_of_the_day_is_logged_and_never_say_safe() {
    use super::careful;
    let mut trial = Trial::with_the_week();
    let at = |trial: &Trial, stage: &str| {
        trial.look("Maren Oake", "2026-11-07T08:00", &asked("GARAGE", stage), |look| {
            (careful::before_work(look), careful::before_test(look), now::now(look).render().unwrap())
        })
    };
    let says = |careful: &careful::Careful, word: &str| {
        careful.cautions.iter().any(|caution| caution.sentence.contains(word))
    };
    let (work, test, text) = at(&trial, "first fix electrics");
    assert!(work.open && says(&work, "proved dead") && says(&work, "asbestos") && !says(&work, "Gas"));
    assert!(says(&test, "500 V") && !says(&test, "air pressure"));
    assert!(text.contains("local code, the maker and the licensed person decide"));
    let (work, test, _) = at(&trial, "first fix water");
    assert!(says(&work, "Gas is only for") && says(&test, "tested with water"));
    assert!(says(&at(&trial, "boarding").0, "closed up"), "boarding covers what runs in the wall");
    let row =
        [("kind", "used"), ("job", "GARAGE"), ("stage", "first fix water"), ("what", "elbow 15 push-fit")];
    let amount = [("quantity", "1"), ("unit", "each"), ("at", "2026-11-07T08:20")];
    let row: BTreeMap<String, String> =
        row.into_iter().chain(amount).map(|(column, value)| (column.to_owned(), value.to_owned())).collect();
    daemon::command::run(&mut trial.node, daemon::Command::Log { row }).unwrap();
    let (work, ..) = at(&trial, "first fix water");
    assert!(!work.open && says(&work, "Gas is only for"), "shut, and still there to be read");
    assert!(at(&trial, "skim").0.open, "another stage is another moment");
}

#[test]
fn a_stage_says_what_is_missing_and_what_runs_behind_it() {
    use daemon::command::{FillInWish, NeedKind, NeedState, NeedWish, PlanCommand, Reach};
    let mut trial = Trial::with_the_week();
    let mut plan = |command| daemon::command::run(&mut trial.node, daemon::Command::Plan(command)).unwrap();
    let text = |text: &str| text.to_owned();
    plan(PlanCommand::Need(NeedWish {
        job: text("GARAGE"),
        stage: text("tanking"),
        kind: NeedKind::CustomersChoice,
        what: text("which drain cover"),
        state: NeedState::Open,
    }));
    for (what, dusty) in [("cut the reveal beads", false), ("sand the frame", true)] {
        plan(PlanCommand::FillIn(FillInWish {
            job: text("GARAGE"),
            what: text(what),
            stage: None,
            room: String::new(),
            minutes: 30,
            can_be_dropped: true,
            dusty,
            reach: Reach::WithinEarshot,
        }));
    }
    let screen = trial
        .look("Tobi Larch", FRIDAY, &asked("GARAGE", ""), |look| stages::stages(look, &Asked::default()));
    let row = |name: &str| screen.stages.iter().find(|row| row.name == name).unwrap();
    // Tanking is free since the boards were signed off; ten kilos of slurry and the customer's word are missing.
    let tanking = row("tanking");
    assert_eq!((tanking.state.as_str(), tanking.open_needs.len()), ("free", 1));
    assert!(
        tanking.missing.iter().any(|missing| missing.contains("tanking slurry")),
        "{:?}",
        tanking.missing
    );
    assert!(tanking.missing.iter().any(|missing| missing.ends_with("which drain cover")));
    // The boards closed up what was tested and signed off, and photos of it were never taken.
    let checks: Vec<_> = row("boarding").checks.iter().map(|check| check.words.as_str()).collect();
    assert_eq!(checks, ["no photo", "no photo"]);
    let page = screen.render().unwrap();
    assert!(page.contains("cut the reveal beads") && page.contains("sand the frame"));
    // While a coat is wet, no dust.
    let left = [
        ("kind", "left-off"),
        ("job", "GARAGE"),
        ("stage", "skim"),
        ("note", "reveal"),
        ("until", "2026-11-06T18:30"),
    ];
    let row = left.map(|(column, value)| (text(column), text(value))).into_iter().collect();
    daemon::command::run(&mut trial.node, daemon::Command::Log { row }).unwrap();
    let page = trial.look("Tobi Larch", FRIDAY, &asked("GARAGE", ""), |look| {
        stages::stages(look, &Asked::default()).render().unwrap()
    });
    assert!(page.contains("makes dust while it is wet") && page.contains("check by eye and touch"), "{page}");
}

#[test]
fn what_closes_others_up_is_signed_off_beside_its_cautions() {
    use projections::cautions::{Occasion, due};
    let mut trial = Trial::with_the_week();
    let row =
        [("kind", "reopened"), ("job", "GARAGE"), ("stage", "boarding"), ("note", "a pipe was forgotten")];
    let row = row.map(|(column, value)| (column.to_owned(), value.to_owned())).into();
    daemon::command::run(&mut trial.node, daemon::Command::Log { row }).unwrap();
    let text = |name: &str| {
        trial.look(name, FRIDAY, &asked("GARAGE", ""), |look| {
            stages::stages(look, &Asked::default()).render().unwrap()
        })
    };
    let (boss, hand) = (text("Maren Oake"), text("Ines Quill"));
    let closing = due(|of| of == Occasion::ClosingUp);
    assert!(!closing.is_empty());
    for caution in closing {
        assert!(boss.contains(caution.sentence) && !hand.contains(caution.sentence), "{}", caution.sentence);
    }
}
