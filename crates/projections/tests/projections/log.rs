//! What the list of entries shows, and what it says of each.

use ledger::roster::Standing;
use ledger::site::{Away, Bound, Changes, Corrected, Struck, Test, WorkStarted, WorkStopped};
use ledger::{Body, Kind};
use projections::log::State;
use projections::{kind_words, log};

use crate::world::{World, amount, at, day, entry, item, job, site, span, test, used};

const TOBI: &str = "Tobi Larch";
const MAREN: &str = "Maren Oake";

fn texts(world: &World) -> Vec<String> {
    log(&world.office(), None, None).into_iter().map(|line| line.text).collect()
}

fn world() -> World {
    let mut world = World::with_crew();
    world.item("stud", "each", "1", "4.86");
    world.item("batten", "each", "1", "2.00");
    world
}

#[test]
fn stops_and_absences_and_tests_are_listed_and_lists_are_not() {
    let mut world = world();
    assert_eq!(texts(&world), Vec::<String>::new());
    world.stage("GARAGE", "walls", |_| {});
    let started =
        WorkStarted { site: site("GARAGE", "walls"), activity: String::new(), at: at("2026-11-05T08:00") };
    world.log(TOBI, "a", "2026-11-05T08:00", Body::WorkStarted(started));
    let running = entry(TOBI, "a");
    let stopped = WorkStopped { running, at: at("2026-11-05T12:00"), break_minutes: 20 };
    world.log(TOBI, "b", "2026-11-05T12:00", Body::WorkStopped(stopped));
    let Body::Test(dial) = test("GARAGE", "walls", "insulation resistance") else { panic!("a test") };
    let dial = Test { bound: Bound::Above, unit: "megohm".to_owned(), ..dial };
    world.log(MAREN, "c", "2026-11-05T13:00", Body::Test(dial));
    world.log(TOBI, "d", "2026-11-06T08:00", Body::Away(Away { until: day("2026-11-09") }));
    let lines = log(&world.office(), None, None);
    let shown: Vec<_> = lines
        .iter()
        .map(|line| (line.person.as_str(), line.job.as_str(), line.stage.as_str(), line.text.as_str()))
        .collect();
    assert_eq!(
        shown,
        [
            (TOBI, "GARAGE", "walls", "started 08:00"),
            (TOBI, "GARAGE", "walls", "stopped 12:00, less 20 min"),
            (MAREN, "GARAGE", "walls", "insulation resistance >4.5 megohm"),
            (TOBI, "", "", "away until Mon 9 Nov"),
        ]
    );
    assert!(lines.iter().all(|line| line.state == State::AsLogged && line.history.is_empty()));
    let of = |code, on: Option<&str>| log(&world.office(), Some(job(code)), on.map(day)).len();
    assert_eq!((of("GARAGE", None), of("MILL", None), of("GARAGE", Some("2026-11-06"))), (3, 0, 0));
}

#[test]
fn what_was_changed_or_crossed_out_says_so_and_keeps_its_history() {
    let mut world = world();
    world.log(TOBI, "e", "2026-11-02T12:10", used("GARAGE", "", "stud", "22"));
    let changes = Changes { item: Some(item("batten")), amount: Some(amount("20")), ..Changes::default() };
    let corrected = Corrected { of: entry(TOBI, "e"), changes: Box::new(changes) };
    world.correct(MAREN, "c", "2026-11-03T08:00", &[], corrected);
    let line = log(&world.office(), None, None).remove(0);
    assert_eq!(line.state, State::Changed);
    assert_eq!(line.text, "used 20 packs batten; changed, was used 22 packs stud");
    let history: Vec<_> = line.history.iter().map(|said| (said.by.as_str(), said.text.as_str())).collect();
    assert_eq!(history, [(TOBI, "used 22 packs stud"), (MAREN, "changed: used 20 packs batten")]);

    world.log(TOBI, "s", "2026-11-04T08:00", Body::Struck(Struck { of: entry(TOBI, "e") }));
    let line = log(&world.office(), None, None).remove(0);
    assert_eq!((line.state, line.text.as_str()), (State::CrossedOut, "crossed out: used 22 packs stud"));
    assert_eq!(line.history.last().map(|said| said.text.as_str()), Some("crossed out"));

    // The crossing-out is crossed out.
    world.log(MAREN, "u", "2026-11-05T08:00", Body::Struck(Struck { of: entry(TOBI, "s") }));
    let line = log(&world.office(), None, None).remove(0);
    assert_eq!(line.state, State::Changed);
    assert_eq!(line.history.last().map(|said| said.text.as_str()), Some("crossed out; does not hold"));
}

#[test]
fn what_waits_is_proposed_until_it_is_crossed_out() {
    let mut world = world();
    let hours = || span("MILL", "", "2026-11-05T08:00", "2026-11-05T12:00", 0);
    let on = "2026-11-05";
    world.event(MAREN, TOBI, "p", on, "2026-11-05T17:00", &[], Standing::Proposed, hours());
    let line = log(&world.office(), None, None).remove(0);
    assert_eq!(line.text, "waits for a yes: 08:00–12:00: 4 h 00");
    assert_eq!(line.stage, "no stage");
    let keys = |world: &World| world.office().proposed().map(|logged| logged.key()).collect::<Vec<_>>();
    assert_eq!(keys(&world), ["p"]);
    world.log(TOBI, "s", "2026-11-05T18:00", Body::Struck(Struck { of: entry(TOBI, "p") }));
    assert_eq!((keys(&world).len(), texts(&world)[0].starts_with("crossed out: 08:00")), (0, true));
}

/// Two kinds of one name could not be told apart.
#[test]
fn every_kind_has_words_of_its_own() {
    let words: std::collections::BTreeSet<_> = Kind::ALL.iter().map(|kind| kind_words(*kind)).collect();
    assert_eq!(words.len(), Kind::ALL.len());
}
