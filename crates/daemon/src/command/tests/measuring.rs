//! A measured room with the week's price book: its costing, and what is written of it.

use std::collections::BTreeSet;

use super::*;

const ROOM: &str = "
    room: Garage
    stage painting: second fix
    wall back: 4200 x 2400, studs from left, board, skim
      door: 838 x 2032 at 1500
    pipe hot: 3200 + 1500, valves 1
    cable lights: 9400, of 1.5, 6 A, lighting
";

/// The items of the room that the week's price book does not have.
const OWN: &str = "
    item pipe clip 15: back box 35
    item cable clip: back box 35
";

fn wish(text: &str, save: bool) -> Command {
    let room = MeasuredRoom { own: Some(OWN.to_owned()), text: text.to_owned() };
    let job = "GARAGE".to_owned();
    Command::Measure(RoomCommand::Cost(CostedRoom { room, job, rates: None, extra: None, save }))
}

fn lines_of(node: &Node) -> Vec<(String, String, String)> {
    let lists = node.book().lists();
    let lines = lists.lines.values();
    let mut lines: Vec<_> = lines
        .map(|line| (lists.stage(Some(line.stage)), line.what.clone(), line.quantity.to_string()))
        .collect();
    lines.sort();
    lines
}

#[test]
fn a_measured_room_goes_into_the_costing_once() {
    let folder = tempfile::tempdir().unwrap();
    let mut node = laptop(folder.path());
    let before = lines_of(&node);

    let shown = run(&mut node, wish(ROOM, false)).unwrap();
    assert_eq!(lines_of(&node), before, "showing writes nothing");
    assert_eq!(shown["room"], "Garage");
    assert!(shown["drawings"][0]["svg"].as_str().unwrap().starts_with("<svg"));
    let costing = &shown["costing"];
    assert_eq!(costing["left_out"].as_array().unwrap().len(), 0, "{costing:#}");
    let sum = |column: &str| -> Pence {
        let lines = costing["lines"].as_array().unwrap();
        lines.iter().map(|line| pounds(line[column].as_str().unwrap())).sum()
    };
    assert_eq!(costing["cost"], sum("cost").to_string());
    assert_eq!(costing["price"], sum("price").to_string());
    // Four boards at 11.40, and the job's mark-up of 15 %.
    let boards = costing["lines"].as_array().unwrap().iter();
    let boards = boards.clone().find(|line| line["what"] == "plasterboard 2400x1200x12.5").unwrap();
    assert_eq!((boards["cost"].as_str(), boards["price"].as_str()), (Some("45.60"), Some("52.44")));

    let saved = run(&mut node, wish(ROOM, true)).unwrap();
    assert!(saved["costing"]["saved"]["written"].as_u64().unwrap() > 0);
    let after = lines_of(&node);
    let has = |stage: &str, what: &str, quantity: &str| {
        after.contains(&(stage.to_owned(), what.to_owned(), quantity.to_owned()))
    };
    assert!(has("boarding", "plasterboard 2400x1200x12.5", "4"), "{after:#?}");
    assert!(has("skim", "finish plaster", "25"));
    assert!(has("boarding", "contingency", "0.25"));
    let again = run(&mut node, wish(ROOM, true)).unwrap();
    assert_eq!(again["costing"]["saved"]["written"], 0);
    assert_eq!(lines_of(&node), after);
}

#[test]
fn what_can_not_be_costed_is_named_and_nothing_is_written() {
    let folder = tempfile::tempdir().unwrap();
    let mut node = laptop(folder.path());
    let painted = format!("{ROOM}\n wall side: 3000 x 2400, paint");
    let message = refused(&mut node, wish(&painted, true));
    assert!(
        message.contains("emulsion is not in the price book; add it with `fivebar item add`"),
        "{message}"
    );
    let bad = refused(&mut node, wish("room: A\nwall a: 800 x 2400\n door: 838 x 2032 at 0", true));
    assert!(bad.contains("line 2: wall a: the door reaches 838 mm along"), "{bad}");
    let floor = format!("{ROOM}\n stage skim: ceilings");
    let message = refused(&mut node, wish(&floor, true));
    assert!(message.contains("there is no stage \"ceilings\" of this job; it has "), "{message}");
    let mut elsewhere = wish(ROOM, true);
    if let Command::Measure(RoomCommand::Cost(wish)) = &mut elsewhere {
        wish.job = "BARN".to_owned();
    }
    assert!(refused(&mut node, elsewhere).contains("BARN"));
}

#[test]
fn money_is_for_the_office_alone() {
    let folder = tempfile::tempdir().unwrap();
    let mut laptop = laptop(folder.path());
    let mut phone = another(&mut laptop, folder.path(), "phone", "Tobi Larch", false);
    refused(&mut phone, wish(ROOM, false));
}

#[test]
fn every_figure_is_shown_with_its_source() {
    let shown = figures("set stud centres: 450").unwrap();
    let centres =
        shown["figures"].as_array().unwrap().iter().find(|figure| figure["name"] == "stud centres").unwrap();
    assert_eq!((centres["value"].as_str(), centres["default"].as_str()), (Some("450"), Some("600")));
    assert_eq!(centres["own"], true);
    assert!(centres["source"].as_str().unwrap().contains("NHBC"));
    assert!(figures("set stud centres: 4").is_err());
}

/// The room as an extra of the garage.
fn extra(key: &str, save: bool) -> Command {
    let Command::Measure(RoomCommand::Cost(room)) = wish(ROOM, save) else { panic!("a costed room") };
    Command::Measure(RoomCommand::Cost(CostedRoom { extra: Some(key.to_owned()), ..room }))
}

#[test]
fn an_extra_is_priced_as_a_line_of_the_quote_is() {
    let folder = tempfile::tempdir().unwrap();
    let mut node = laptop(folder.path());
    let (shown, before) = (run(&mut node, wish(ROOM, false)).unwrap(), lines_of(&node));
    let price = shown["costing"]["price"].clone();
    let asked = [("kind", "asked"), ("job", "GARAGE"), ("stage", "move the door"), ("what", "board it out")];
    let asked = log(&mut node, &asked);

    // Asked for, it is shown; then its price is noted and nothing comes into the costing, which would bill it.
    let answer = run(&mut node, extra(&asked, false)).unwrap();
    assert_eq!((&answer["extra"]["what"], &answer["costing"]["price"]), (&json!("board it out"), &price));
    let stages: BTreeSet<&str> = answer["costing"]["lines"]
        .as_array()
        .unwrap()
        .iter()
        .filter_map(|line| line["stage"].as_str())
        .collect();
    assert_eq!(stages, BTreeSet::from(["move the door"]));
    let answer = run(&mut node, extra(&asked, true)).unwrap();
    assert_eq!((&answer["extra"]["amount"], &answer["extra"]["lines_saved"]), (&price, &json!(false)));
    assert_eq!(lines_of(&node), before);

    // Once they said yes the lines stand under its own stage, and the price that they said yes to stays.
    let yes = [("kind", "agreed"), ("job", "GARAGE"), ("of", asked.as_str()), ("what", "at a price")];
    log(&mut node, &yes);
    run(&mut node, Command::PriceExtra { entry: asked.clone(), amount: pounds("500") }).unwrap();
    let answer = run(&mut node, extra(&asked, true)).unwrap();
    let told = &answer["extra"];
    assert_eq!(
        (&told["amount"], &told["stays"], &told["lines_saved"]),
        (&json!("500.00"), &json!(true), &json!(true))
    );
    let own = |(stage, _, _): &&(String, String, String)| stage == "move the door";
    let (had, has) = (before.iter().filter(own).count(), lines_of(&node));
    let costed = answer["costing"]["lines"].as_array().unwrap().len();
    assert!(costed > 2 && has.iter().filter(own).count() > had, "{has:?}");
    assert_eq!(has.len() - has.iter().filter(own).count(), before.len() - had, "no other stage is touched");
}

#[test]
fn an_extra_of_another_job_or_for_nothing_is_not_priced() {
    let folder = tempfile::tempdir().unwrap();
    let mut node = laptop(folder.path());
    let other = log(&mut node, &[("kind", "asked"), ("job", "MILL"), ("what", "a shelf")]);
    assert!(refused(&mut node, extra(&other, true)).contains("one of MILL, not of GARAGE"));
    let free = log(&mut node, &[("kind", "agreed"), ("job", "GARAGE"), ("what", "free"), ("note", "a hook")]);
    assert!(refused(&mut node, extra(&free, true)).contains("agreed for nothing"));
    let no_stage = [("kind", "agreed"), ("job", "GARAGE"), ("what", "at a price"), ("note", "a shelf")];
    let no_stage = log(&mut node, &no_stage);
    assert!(refused(&mut node, extra(&no_stage, true)).contains("no stage of its own"));
}
