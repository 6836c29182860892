//! The checks before closing up, as a program reads them.

use super::*;

#[test]
fn before_closing_up_each_place_says_what_was_not_heard_of() {
    let folder = tempfile::tempdir().unwrap();
    let mut node = laptop(folder.path());
    for room in ["kitchen", "bathroom"] {
        log(
            &mut node,
            &[
                ("kind", "used"),
                ("job", "GARAGE"),
                ("stage", "first fix water"),
                ("what", "elbow 15 push-fit"),
                ("quantity", "2"),
                ("unit", "each"),
                ("room", room),
            ],
        );
    }
    let off = [("kind", "signed-off"), ("job", "GARAGE"), ("stage", "first fix water"), ("room", "kitchen")];
    log(&mut node, &off);
    let closing = |stage: &str| {
        let stage = Some(stage.to_owned());
        Command::Plan(PlanCommand::Closing { job: "GARAGE".to_owned(), stage })
    };
    let answer = run(&mut node, closing("boarding")).unwrap();
    let water: Vec<_> = answer["checks"]
        .as_array()
        .unwrap()
        .iter()
        .filter(|check| check["covers"] == "first fix water")
        .map(|check| (check["place"].as_str().unwrap(), check["signed_off"] == true))
        .collect();
    assert_eq!(water, [("bathroom", false), ("kitchen", true)], "{answer:#}");
    assert!(refused(&mut node, closing("cellar")).contains("cellar"));
}
