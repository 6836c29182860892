//! Days by timer and by hand, put right afterwards.

use super::super::{Command, run};
use super::*;
use crate::timers::tests::{found, refused};
use crate::timers::{start, stop, switch};

fn ms(text: &str) -> i64 {
    Moment::parse(text, "Europe/London").unwrap().utc_ms()
}

/// A day by timer: walls from 8 to 12:12 with half an hour's break, boarding until 16:30.
fn with_a_day(folder: &std::path::Path) -> (Node, PersonId) {
    let mut node = found(folder);
    let maren = node.device().person;
    start(&mut node, maren, "GARAGE", Some("stud walls"), ms("2026-07-06T08:00")).unwrap();
    switch(&mut node, maren, "GARAGE", Some("boarding"), 30, ms("2026-07-06T12:12")).unwrap();
    stop(&mut node, maren, 0, None, ms("2026-07-06T16:30")).unwrap();
    (node, maren)
}

/// Stage, clock times and minutes of each stretch, in the order of the day.
fn day(node: &Node) -> Vec<(String, String, i64)> {
    let lists = node.book().lists();
    let mut spells = node.book().spells();
    spells.sort_by_key(|spell| spell.clock);
    let row = |spell: &Spell| {
        let clock = spell
            .clock
            .map(|(from, to)| format!("{}-{}", &from.to_string()[11..16], &to.to_string()[11..16]));
        (lists.stage(spell.site.stage), clock.unwrap_or_default(), spell.minutes)
    };
    spells.iter().map(row).collect()
}

fn key(node: &Node, stage: &str) -> String {
    let lists = node.book().lists();
    let spells = node.book().spells();
    let found = spells.iter().find(|spell| lists.stage(spell.site.stage) == stage);
    found.unwrap().entry.entry.to_string()
}

fn row(stage: &str, clock: &str, minutes: i64) -> (String, String, i64) {
    (stage.to_owned(), clock.to_owned(), minutes)
}

#[test]
fn a_timer_s_times_are_put_right_and_the_day_stays_without_gaps() {
    let folder = tempfile::tempdir().unwrap();
    let (mut node, maren) = with_a_day(folder.path());
    let walls = key(&node, "stud walls");
    let wish = SpellChange {
        entry: walls.clone(),
        from: Some("07:45".to_owned()),
        to: Some("12:00".to_owned()),
        break_minutes: Some(15),
        ..SpellChange::default()
    };
    change(&mut node, maren, &wish).unwrap();
    assert_eq!(day(&node), [row("stud walls", "07:45-12:00", 240), row("boarding", "12:00-16:30", 270)]);
    let elsewhere = SpellChange {
        entry: key(&node, "boarding"),
        stage: Some("-".to_owned()),
        from: Some("12:30".to_owned()),
        ..SpellChange::default()
    };
    change(&mut node, maren, &elsewhere).unwrap();
    assert_eq!(day(&node), [row("stud walls", "07:45-12:30", 270), row("no stage", "12:30-16:30", 240)]);
    let late = SpellChange { entry: walls, to: Some("17:00".to_owned()), ..SpellChange::default() };
    let message = refused(change(&mut node, maren, &late));
    assert!(message.contains("what comes after it"), "{message}");
}

#[test]
fn a_day_is_split_to_the_minute_and_closes_on_its_total() {
    let folder = tempfile::tempdir().unwrap();
    let (mut node, maren) = with_a_day(folder.path());
    let wish = SpellSplit {
        entry: key(&node, "boarding"),
        at: Some("14:07".to_owned()),
        stage: "skim".to_owned(),
        ..SpellSplit::default()
    };
    let parts = split(&mut node, maren, &wish).unwrap();
    assert_eq!(parts["minutes"], 258);
    assert_eq!(
        day(&node),
        [
            row("stud walls", "08:00-12:12", 222),
            row("boarding", "12:12-14:07", 115),
            row("skim", "14:07-16:30", 143)
        ]
    );
    let outside = SpellSplit { entry: key(&node, "boarding"), at: Some("15:00".to_owned()), ..wish };
    let message = refused(split(&mut node, maren, &outside));
    assert!(message.contains("is not between"), "{message}");
    // The second part crossed out leaves the first as it was.
    let skim = key(&node, "skim");
    strike(&mut node, maren, &skim).unwrap();
    assert_eq!(day(&node).last(), Some(&row("boarding", "12:12-14:07", 115)));
    assert!(node.book().running().is_empty());
    // And the first part can reach as far as the whole did, and further.
    let long =
        SpellChange { entry: key(&node, "boarding"), to: Some("17:00".to_owned()), ..SpellChange::default() };
    change(&mut node, maren, &long).unwrap();
    assert_eq!(day(&node).last(), Some(&row("boarding", "12:12-17:00", 288)));
}

#[test]
fn hours_that_were_typed_are_split_with_their_break() {
    let folder = tempfile::tempdir().unwrap();
    let mut node = found(folder.path());
    let maren = node.device().person;
    let mut log = |fields: &[(&str, &str)]| {
        let row = fields.iter().map(|(column, value)| ((*column).to_owned(), (*value).to_owned()));
        let logged = run(&mut node, Command::Log { row: row.collect() }).unwrap();
        logged["key"].as_str().unwrap().to_owned()
    };
    let on = [("kind", "hours"), ("job", "GARAGE"), ("stage", "stud walls"), ("done_on", "2026-07-06")];
    let span = log(&[on.as_slice(), &[("from", "08:00"), ("to", "16:30"), ("break_min", "30")]].concat());
    let length = log(&[on.as_slice(), &[("minutes", "200")]].concat());
    let wish = SpellSplit {
        entry: span,
        at: Some("10:01".to_owned()),
        stage: "boarding".to_owned(),
        break_in_second: true,
        ..SpellSplit::default()
    };
    let parts = split(&mut node, maren, &wish).unwrap();
    assert_eq!((&parts["parts"][0]["minutes"], &parts["parts"][1]["minutes"]), (&json!(121), &json!(359)));
    assert_eq!(parts["minutes"], 480);
    let wish = SpellSplit {
        entry: length,
        minutes: Some(61),
        job: Some("MILL".to_owned()),
        stage: "-".to_owned(),
        ..SpellSplit::default()
    };
    let parts = split(&mut node, maren, &wish).unwrap();
    assert_eq!((&parts["parts"][1]["job"], &parts["parts"][1]["minutes"]), (&json!("MILL"), &json!(139)));
    assert_eq!(parts["minutes"], 200);
    assert!(refused(split(&mut node, maren, &wish)).contains("from 1 to 60 minutes"));
}
