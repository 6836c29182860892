//! Checks before closing up: by place, until the evidence comes or it is opened up.

use ledger::site::{Bound, Limit, Photo, Place, Reopened, SignOffTold, SignedOff, Surface, Test};
use ledger::{Body, PhotoHash};
use projections::closing::checks_before;
use projections::{Evidence, Question, QuestionKind, questions};

use crate::questions::{covered, sign_off};
use crate::world::{World, person, site, span, stage, test, used};

const TOBI: &str = "Tobi Larch";
const INES: &str = "Ines Quill";
const MAREN: &str = "Maren Oake";

fn asked(world: &World) -> Vec<Question> {
    let mut found = questions(&world.office());
    found.retain(|question| question.kind == QuestionKind::ClosedUp);
    found
}

fn at_place(mut body: Body, words: &str) -> Body {
    let place = Place { words: words.to_owned(), ..Place::default() };
    match &mut body {
        Body::Test(test) => test.site.place = place,
        Body::Used(used) => used.site.place = place,
        Body::Photo(photo) => photo.site.iter_mut().for_each(|site| site.place = place.clone()),
        Body::Hours(hours) => hours.site.place = place,
        Body::SignedOff(signed) => signed.site.place = place,
        Body::Reopened(reopened) => reopened.site.place = place,
        other => panic!("{other:?} has no place here"),
    }
    body
}

fn photo() -> Body {
    let (site, photo) = (Some(site("GARAGE", "water")), PhotoHash([1; 32]));
    Body::Photo(Photo { site, photo, size: 1, behind: true })
}

fn boarded(world: &mut World, key: &str, words: &str) {
    let body = at_place(used("GARAGE", "boards", "board", "2"), words);
    world.log(INES, key, "2026-11-04T12:00", body);
}

/// What is open, as the question says it; empty for no question.
fn open(world: &World) -> String {
    match asked(world).as_slice() {
        [] => String::new(),
        [one] => one.text.split("with no ").nth(1).unwrap().split(" heard of").next().unwrap().to_owned(),
        more => panic!("{more:?}"),
    }
}

#[test]
fn it_is_asked_about_until_the_evidence_is_there() {
    let mut world = covered();
    assert_eq!(open(&world), "");
    let boards = span("GARAGE", "boards", "2026-11-04T10:00", "2026-11-04T15:00", 0);
    world.log(INES, "b", "2026-11-04T16:00", boards);
    assert_eq!(open(&world), "Pressure test and photo and sign-off");
    let question = &asked(&world)[0];
    assert_eq!((question.stage, question.person), (Some(stage("GARAGE", "boards")), Some(person(INES))));
    // Logging was never refused; each piece of evidence counts when it comes.
    world.log(TOBI, "t", "2026-11-04T16:30", test("GARAGE", "water", "pressure test"));
    assert_eq!(open(&world), "photo and sign-off");
    world.log(TOBI, "p", "2026-11-04T16:31", photo());
    assert_eq!(open(&world), "sign-off");
    sign_off(&mut world, "s", "2026-11-04T17:00");
    assert_eq!(open(&world), "");
}

#[test]
fn opening_it_up_answers_it_and_closing_it_again_asks_again() {
    let mut world = covered();
    boarded(&mut world, "b", "");
    assert_ne!(open(&world), "");
    world.log(MAREN, "r", "2026-11-05T08:00", Body::Reopened(Reopened { site: site("GARAGE", "boards") }));
    assert_eq!(open(&world), "");
    world.log(INES, "again", "2026-11-05T09:00", used("GARAGE", "boards", "board", "1"));
    assert_ne!(open(&world), "");
}

#[test]
fn boarding_a_wall_asks_only_for_what_runs_in_it() {
    let mut world = covered();
    let tested = |world: &mut World, key: &str, words: &str| {
        let body = at_place(test("GARAGE", "water", "pressure test"), words);
        world.log(TOBI, key, "2026-11-04T09:00", body);
    };
    tested(&mut world, "t", "south wall");
    world.log(TOBI, "p", "2026-11-04T09:05", at_place(photo(), "south wall"));
    // Nothing runs in the north wall, as far as was said; in the south wall only the sign-off is open.
    boarded(&mut world, "north", "north wall");
    assert_eq!(asked(&world), []);
    boarded(&mut world, "south", "the south wall, utility room");
    assert_eq!(open(&world), "sign-off");
    assert!(asked(&world)[0].text.contains("south wall"), "{:?}", asked(&world));
    // Pipe in the north wall as well: neither the test nor the photo of the south wall is of it.
    world.log(TOBI, "pipe", "2026-11-04T09:10", at_place(used("GARAGE", "water", "pipe", "3"), "north wall"));
    let texts: Vec<String> = asked(&world).into_iter().map(|question| question.text).collect();
    assert_eq!(texts.len(), 2, "{texts:?}");
    assert!(
        texts
            .iter()
            .any(|text| text.contains("north wall")
                && text.contains("no Pressure test and photo and sign-off"))
    );
    // A gauge that was said to be nowhere in particular is on the whole of the pipe; a photo is of its wall.
    world.log(TOBI, "whole", "2026-11-04T09:20", test("GARAGE", "water", "pressure test"));
    world.log(TOBI, "p2", "2026-11-04T09:21", at_place(photo(), "north wall"));
    sign_off(&mut world, "s", "2026-11-04T09:50");
    assert_eq!(asked(&world), []);
}

/// Water that runs in the kitchen and in the bathroom, with whatever else is logged of it.
fn piped(logged: &[(&str, Body)]) -> World {
    let mut world = covered();
    for room in ["kitchen", "bathroom"] {
        let pipe = at_place(used("GARAGE", "water", "pipe", "3"), room);
        world.log(TOBI, room, "2026-11-03T15:00", pipe);
    }
    for (key, body) in logged {
        world.log(MAREN, key, "2026-11-04T09:00", body.clone());
    }
    world
}

fn tested() -> Body {
    test("GARAGE", "water", "pressure test")
}

fn signed() -> Body {
    Body::SignedOff(SignedOff { site: site("GARAGE", "water"), evidence: Vec::new() })
}

/// What is open behind the boards of each place, as `place: what`.
fn open_by_place(world: &World) -> Vec<String> {
    let said = |question: Question| {
        let what = question.text.split("with no ").nth(1)?.split(" heard of").next()?.to_owned();
        let place = question.text.split("boards, ").nth(1)?.split(", was begun").next()?.to_owned();
        Some(format!("{place}: {what}"))
    };
    asked(world).into_iter().map(|question| said(question).unwrap()).collect()
}

#[test]
fn evidence_in_one_room_is_none_for_another() {
    let kitchen = [("t", at_place(tested(), "kitchen")), ("p", at_place(photo(), "kitchen, north wall"))];
    let mut world = piped(&kitchen);
    boarded(&mut world, "b", "kitchen north wall");
    assert_eq!(open_by_place(&world), ["kitchen, north wall: sign-off"]);
    boarded(&mut world, "b2", "bathroom");
    let both = ["kitchen, north wall: sign-off", "bathroom: Pressure test and photo and sign-off"];
    let mut found = open_by_place(&world);
    found.sort_by_key(|line| !line.starts_with("kitchen"));
    assert_eq!(found, both);
}

#[test]
fn boarding_of_no_place_is_over_every_place_that_was_said() {
    let mut world = piped(&[("t", at_place(tested(), "kitchen")), ("p", at_place(photo(), "kitchen"))]);
    boarded(&mut world, "b", "");
    let mut found = open_by_place(&world);
    found.sort();
    assert_eq!(found, ["bathroom: Pressure test and photo and sign-off", "kitchen: sign-off"]);
}

#[test]
fn a_gauge_of_no_place_is_of_the_whole_and_a_photo_only_of_the_only_place() {
    // In two rooms nobody can tell of which of them the photo is.
    let mut world = piped(&[("t", tested()), ("p", photo()), ("s", signed())]);
    boarded(&mut world, "b", "bathroom");
    assert_eq!(open_by_place(&world), ["bathroom: photo"]);
    let mut world = covered();
    let pipe = at_place(used("GARAGE", "water", "pipe", "3"), "bathroom");
    world.log(TOBI, "pipe", "2026-11-03T15:00", pipe);
    for (key, body) in [("t", tested()), ("p", photo()), ("s", signed())] {
        world.log(MAREN, key, "2026-11-04T09:00", body);
    }
    boarded(&mut world, "b", "bathroom");
    assert_eq!(asked(&world), []);
}

#[test]
fn a_sign_off_that_says_where_is_of_that_place_alone() {
    let all = [("t", tested()), ("p", at_place(photo(), "kitchen")), ("p2", at_place(photo(), "bathroom"))];
    let mut world = piped(&all);
    world.log(MAREN, "s", "2026-11-04T09:30", at_place(signed(), "kitchen"));
    boarded(&mut world, "b", "kitchen");
    boarded(&mut world, "b2", "bathroom");
    assert_eq!(open_by_place(&world), ["bathroom: sign-off"]);
    let water = |world: &World| {
        let book = world.office();
        let stages = book.stages(&book.lists());
        stages.into_iter().find(|found| found.stage == stage("GARAGE", "water")).unwrap()
    };
    // All of it is not signed off, so nothing that follows it is free.
    assert_eq!(water(&world).signed_off, None);
    let places: Vec<_> =
        water(&world).signed_off_places.into_iter().map(|signed| (signed.place, signed.missing)).collect();
    assert_eq!(places, [("kitchen".to_owned(), vec![])]);
    // Opened up in the kitchen, the kitchen is asked about again; signed off as a whole, nothing is.
    let opened = Body::Reopened(Reopened { site: site("GARAGE", "water") });
    world.log(MAREN, "r", "2026-11-04T13:00", at_place(opened, "kitchen"));
    let mut found = open_by_place(&world);
    found.sort();
    assert_eq!(found, ["bathroom: sign-off", "kitchen: sign-off"]);
    assert_eq!(water(&world).signed_off_places, []);
    world.log(MAREN, "s2", "2026-11-04T14:00", signed());
    assert_eq!(asked(&world), []);
    assert_eq!(water(&world).condition, projections::stages::Condition::SignedOff);
}

#[test]
fn opening_a_wall_up_answers_for_that_wall() {
    let mut world = piped(&[]);
    boarded(&mut world, "b", "kitchen");
    boarded(&mut world, "b2", "bathroom");
    let opened = at_place(Body::Reopened(Reopened { site: site("GARAGE", "boards") }), "bathroom");
    world.log(MAREN, "r", "2026-11-05T08:00", opened);
    assert_eq!(open_by_place(&world), ["kitchen: Pressure test and photo and sign-off"]);
}

#[test]
fn a_sign_off_is_asked_for_what_each_place_lacks() {
    let without = |world: &World| -> Vec<String> {
        let mut found = questions(&world.office());
        found.retain(|question| question.kind == QuestionKind::SignedOffWithout);
        let said = |text: &str| text.split("was signed off on ").nth(1).unwrap().to_owned();
        found.into_iter().map(|question| said(&question.text)).collect()
    };
    let mut world = piped(&[("t", at_place(tested(), "kitchen")), ("s", signed())]);
    let text =
        "2026-11-04 without Pressure test and a photo (bathroom); a photo (kitchen). Is there one to log?";
    assert_eq!(without(&world), [text]);
    world.log(TOBI, "p", "2026-11-04T09:02", at_place(photo(), "kitchen"));
    world.log(TOBI, "t2", "2026-11-04T09:03", at_place(tested(), "bathroom"));
    assert_eq!(without(&world), ["2026-11-04 without a photo (bathroom). Is there one to log?"]);
    world.log(TOBI, "p2", "2026-11-04T09:04", at_place(photo(), "bathroom, behind the basin"));
    assert_eq!(without(&world), Vec::<String>::new());
    // Where the sign-off is of one place, only that place is judged.
    let mut world = piped(&[("t", at_place(tested(), "kitchen"))]);
    world.log(MAREN, "s", "2026-11-04T09:30", at_place(signed(), "kitchen"));
    assert_eq!(without(&world), ["2026-11-04 without a photo. Is there one to log?"]);
    world.log(TOBI, "p", "2026-11-04T09:02", at_place(photo(), "kitchen"));
    assert_eq!(without(&world), Vec::<String>::new());
}

#[test]
fn a_test_outside_its_limit_is_no_evidence() {
    let mut world = covered();
    boarded(&mut world, "b", "");
    world.log(TOBI, "p", "2026-11-04T09:05", photo());
    sign_off(&mut world, "s", "2026-11-04T09:50");
    let Body::Test(tested) = test("GARAGE", "water", "pressure test") else { panic!("a test") };
    let limit = Limit { bound: Bound::Above, value: "6".parse().unwrap(), source: "the maker".to_owned() };
    let low = Test { limit: Some(Box::new(limit)), ..tested };
    world.log(TOBI, "low", "2026-11-04T09:00", Body::Test(low));
    assert_eq!(open(&world), "Pressure test");
}

#[test]
fn being_told_is_said_and_clears_itself_when_the_sign_off_comes() {
    let mut world = covered();
    boarded(&mut world, "b", "");
    world.log(TOBI, "t", "2026-11-04T09:00", test("GARAGE", "water", "pressure test"));
    world.log(TOBI, "p", "2026-11-04T09:05", photo());
    let told = SignOffTold { site: site("GARAGE", "water"), by: person(MAREN) };
    world.log(INES, "told", "2026-11-04T09:30", Body::SignOffTold(told));
    let text = asked(&world)[0].text.clone();
    assert!(text.contains("Ines Quill was told of the sign-off by Maren Oake"), "{text}");
    sign_off(&mut world, "s", "2026-11-04T10:00");
    assert_eq!(asked(&world), []);
}

#[test]
fn before_it_is_closed_each_place_says_what_is_there() {
    let mut world = covered();
    let checks = |world: &World| {
        let book = world.office();
        let (entries, lists) = (book.entries().collect::<Vec<_>>(), book.lists());
        let boards = lists.stages[&stage("GARAGE", "boards")];
        checks_before(&Evidence::of(&entries, &lists), &lists, boards)
    };
    assert_eq!(checks(&world)[0].open(), ["Pressure test", "photo", "sign-off"]);
    world.log(TOBI, "t", "2026-11-04T09:00", test("GARAGE", "water", "pressure test"));
    world.log(TOBI, "p", "2026-11-04T09:05", at_place(photo(), "south wall"));
    let mut north = at_place(used("GARAGE", "water", "pipe", "3"), "north");
    if let Body::Used(used) = &mut north {
        used.site.place.surface = Some(Surface::Wall);
    }
    world.log(TOBI, "n", "2026-11-04T09:06", north);
    let found: Vec<_> =
        checks(&world).into_iter().map(|check| (check.place.clone(), check.missing)).collect();
    assert_eq!(
        found,
        [("north, wall".to_owned(), vec!["photo".to_owned()]), ("south wall".to_owned(), vec![])]
    );
}
