//! What a boss is asked, and what not.

use ledger::roster_events::{DeviceAdmitted, DeviceRetired, SessionClosed, SessionOpened};
use ledger::site::{
    Away, ExtraAgreed, ExtraTerms, NeedKind, NeedListed, NeedState, Photo, QuestionSettled, Reopened,
    SaidHow, SignedOff, WorkStarted,
};
use ledger::{Body, ChainId, DeviceKey, EventHash, PhotoHash, SessionId, Unreadable};
use projections::readiness::Missing;
use projections::stages::Condition;
use projections::{Question, QuestionKind, questions, readiness, timers_left_running};

use crate::world::{World, at, day, job, person, site, span, stage, test};

const TOBI: &str = "Tobi Larch";
const INES: &str = "Ines Quill";
const MAREN: &str = "Maren Oake";

fn asked(world: &World, kind: QuestionKind) -> Vec<(Option<String>, String)> {
    let found = questions(&world.office()).into_iter().filter(|question| question.kind == kind);
    found.map(|question| (question.person_name, question.day.unwrap().to_string())).collect()
}

fn hours(world: &mut World, who: &str, on: &str) {
    let body = span("GARAGE", "", &format!("{on}T10:00"), &format!("{on}T16:00"), 0);
    world.log(who, &format!("hours {who} {on}"), &format!("{on}T17:00"), body);
}

#[test]
fn weekdays_on_which_others_worked_and_somebody_did_not() {
    let mut world = World::with_crew();
    // Monday to Friday, then a Saturday that nobody has to explain.
    for on in ["2026-11-02", "2026-11-03", "2026-11-04", "2026-11-05", "2026-11-06", "2026-11-07"] {
        hours(&mut world, TOBI, on);
    }
    hours(&mut world, MAREN, "2026-11-03");
    hours(&mut world, MAREN, "2026-11-05");
    for on in ["2026-11-02", "2026-11-04", "2026-11-05", "2026-11-06"] {
        hours(&mut world, INES, on);
    }
    let wanted = [(MAREN, "2026-11-02"), (INES, "2026-11-03"), (MAREN, "2026-11-04"), (MAREN, "2026-11-06")];
    let wanted = wanted.map(|(who, on)| (Some(who.to_owned()), on.to_owned()));
    assert_eq!(asked(&world, QuestionKind::NoHours), wanted);

    world.log(MAREN, "away", "2026-11-04T08:00", Body::Away(Away { until: day("2026-11-06") }));
    assert_eq!(asked(&world, QuestionKind::NoHours), wanted[..2]);

    let open = questions(&world.office());
    let ines = open.iter().find(|question| question.person == Some(person(INES))).unwrap();
    let settled = QuestionSettled { question: ines.key.clone() };
    world.log(MAREN, "settled", "2026-11-09T08:00", Body::QuestionSettled(settled));
    assert_eq!(asked(&world, QuestionKind::NoHours), wanted[..1]);
}

/// A two-hour pressure test can't have ended at 09:45 where hours begin at 10:00.
#[test]
fn who_left_is_not_asked_for_hours_from_that_day_and_not_counted_on() {
    let mut world = World::with_crew();
    let (phone, page) = (DeviceKey([7; 32]), SessionId([8; 16]));
    let admitted = DeviceAdmitted {
        device: phone,
        name: "phone".to_owned(),
        person: person(INES),
        shared: false,
        office: false,
    };
    world.log(MAREN, "add", "2026-11-01T08:00", Body::DeviceAdmitted(admitted));
    let opened = SessionOpened { session: page, person: person(INES), name: "browser".to_owned() };
    world.log(MAREN, "open", "2026-11-01T08:01", Body::SessionOpened(opened));
    world.stage("GARAGE", "walls", |_| {});
    for on in ["2026-11-02", "2026-11-03", "2026-11-04"] {
        hours(&mut world, MAREN, on);
        hours(&mut world, TOBI, on);
    }
    let without = |world: &World| -> Vec<String> {
        asked(world, QuestionKind::NoHours).into_iter().map(|(_, day)| day).collect()
    };
    let three: Vec<String> = ["02", "03", "04"].map(|day| format!("2026-11-{day}")).to_vec();
    let retired = DeviceRetired { device: phone, cuts: Vec::new(), reason: "left".to_owned() };
    world.log(MAREN, "retire", "2026-11-03T12:00", Body::DeviceRetired(retired));
    assert_eq!(without(&world), three, "the page is still open");
    world.log(MAREN, "close", "2026-11-03T12:01", Body::SessionClosed(SessionClosed { session: page }));
    assert_eq!(without(&world), three[..1], "asked for the days before, and not from that day on");
    let wanted = |world: &World, on: &str| {
        let book = world.office();
        let ready = readiness(&book, &book.lists(), at(&format!("{on}T07:00")));
        ready[0].missing.iter().any(|missing| matches!(missing, Missing::People { there: 2, .. }))
    };
    let need = NeedListed {
        job: job("GARAGE"),
        stage: stage("GARAGE", "walls"),
        kind: NeedKind::People,
        what: String::new(),
        count: 3,
        state: NeedState::Open,
    };
    world.list("n", "2026-11-01", Body::NeedListed(need));
    assert!(!wanted(&world, "2026-11-02") && wanted(&world, "2026-11-03"));
    // Helped out once more, on a Saturday: there until then.
    hours(&mut world, INES, "2026-11-07");
    assert_eq!(without(&world), three);
    assert!(!wanted(&world, "2026-11-07") && wanted(&world, "2026-11-08"));
    // A new phone, and they are of the crew as before.
    let admitted = DeviceAdmitted {
        device: DeviceKey([9; 32]),
        name: "new phone".to_owned(),
        person: person(INES),
        shared: false,
        office: false,
    };
    world.log(MAREN, "add again", "2026-11-09T08:00", Body::DeviceAdmitted(admitted));
    assert!(!wanted(&world, "2026-11-10"));
}

#[test]
fn work_before_the_days_first_hours() {
    let mut world = World::with_crew();
    hours(&mut world, TOBI, "2026-11-04");
    let pressure = |world: &mut World, who, key, at| {
        world.log(who, key, at, test("GARAGE", "first fix water", "pressure test"));
    };
    pressure(&mut world, TOBI, "late enough", "2026-11-04T10:00");
    pressure(&mut world, MAREN, "no hours that day", "2026-11-04T09:20");
    assert_eq!(asked(&world, QuestionKind::BeforeHours), []);
    pressure(&mut world, TOBI, "e018", "2026-11-04T09:45");
    let wanted = [(Some(TOBI.to_owned()), "2026-11-04".to_owned())];
    assert_eq!(asked(&world, QuestionKind::BeforeHours), wanted);
}

#[test]
fn overlapping_hours_are_asked_about_and_adjoining_ones_are_not() {
    let mut world = World::with_crew();
    let shift = |world: &mut World, who, key, from, to| {
        world.log(who, key, "2026-11-04T17:00", span("GARAGE", "", from, to, 0));
    };
    shift(&mut world, TOBI, "morning", "2026-11-04T08:00", "2026-11-04T12:00");
    shift(&mut world, TOBI, "afternoon", "2026-11-04T12:00", "2026-11-04T16:00");
    shift(&mut world, INES, "meanwhile", "2026-11-04T08:00", "2026-11-04T16:00");
    assert_eq!(asked(&world, QuestionKind::Overlap), []);
    shift(&mut world, TOBI, "within", "2026-11-04T13:00", "2026-11-04T14:00");
    assert_eq!(asked(&world, QuestionKind::Overlap).len(), 1);
}

#[test]
fn a_timer_is_left_running_once_its_day_is_over() {
    let mut world = World::with_crew();
    let started = WorkStarted { site: site("MILL", ""), activity: String::new(), at: at("2026-11-05T08:00") };
    world.log(TOBI, "start", "2026-11-05T08:00", Body::WorkStarted(started));
    let book = world.office();
    assert_eq!(timers_left_running(&book, at("2026-11-05T23:59")), []);
    let found = timers_left_running(&book, at("2026-11-06T07:00"));
    assert_eq!(found.iter().map(|question| question.day).collect::<Vec<_>>(), [Some(day("2026-11-05"))]);
}

/// Water is covered by boards; its sign-off needs a test and a photo.
pub(crate) fn covered() -> World {
    let mut world = World::with_crew();
    world.stage("GARAGE", "water", |listed| {
        listed.needs_tests = vec!["Pressure test".to_owned()];
        listed.needs_photo = true;
    });
    world.stage("GARAGE", "boards", |listed| {
        listed.after = vec![stage("GARAGE", "water")];
        listed.wait_minutes = 120;
        listed.covers = vec![stage("GARAGE", "water")];
    });
    world
}

pub(crate) fn sign_off(world: &mut World, key: &str, at: &str) {
    let signed = SignedOff { site: site("GARAGE", "water"), evidence: Vec::new() };
    world.log(MAREN, key, at, Body::SignedOff(signed));
}

fn state(world: &World, name: &str) -> projections::stages::Stage {
    let book = world.office();
    let found = book.stages(&book.lists()).into_iter().find(|found| found.stage == stage("GARAGE", name));
    found.unwrap()
}

#[test]
fn a_stage_is_free_once_what_it_follows_is_signed_off() {
    let mut world = covered();
    assert_eq!(state(&world, "water").condition, Condition::Free);
    let boards = state(&world, "boards");
    assert_eq!((boards.condition, boards.waits_for), (Condition::Waiting, vec![stage("GARAGE", "water")]));
    sign_off(&mut world, "s", "2026-11-04T09:50");
    let boards = state(&world, "boards");
    assert_eq!((boards.condition, boards.wait_over), (Condition::Free, Some(at("2026-11-04T11:50"))));
    let reopened = Reopened { site: site("GARAGE", "water") };
    world.log(MAREN, "r", "2026-11-04T10:30", Body::Reopened(reopened));
    assert_eq!(state(&world, "water").condition, Condition::Reopened);
    assert_eq!(state(&world, "boards").condition, Condition::Waiting);
}

#[test]
fn a_sign_off_without_its_test_or_photo() {
    let mut world = covered();
    world.log(TOBI, "t", "2026-11-04T09:45", test("GARAGE", "water", "pressure test"));
    sign_off(&mut world, "s", "2026-11-04T09:50");
    let found = questions(&world.office());
    let [question] = found.as_slice() else { panic!("one question, not {found:?}") };
    assert_eq!(question.kind, QuestionKind::SignedOffWithout);
    assert!(question.text.contains("without a photo."), "{}", question.text);
    let photo =
        Photo { site: Some(site("GARAGE", "water")), photo: PhotoHash([1; 32]), size: 1, behind: true };
    world.log(TOBI, "p", "2026-11-04T09:46", Body::Photo(photo));
    assert_eq!(questions(&world.office()), Vec::<Question>::new());
}

#[test]
fn an_extra_on_the_clock_needs_a_yes() {
    let mut world = World::with_crew();
    world.stage("GARAGE", "walls", |_| {});
    world.stage("GARAGE", "move the door", |_| {});
    world.line("GARAGE", "walls", "", "14", "22.00");
    world.line("GARAGE", "move the door", "", "0", "0");
    let line = world.events.iter_mut().find_map(|taken| match &mut taken.payload.body {
        Body::LineListed(line) if line.stage == stage("GARAGE", "move the door") => Some(line),
        _ => None,
    });
    line.unwrap().on_the_clock = true;
    assert_eq!(asked(&world, QuestionKind::ExtraWithoutYes), []);
    let door = span("GARAGE", "move the door", "2026-11-05T08:10", "2026-11-05T12:00", 0);
    world.log(TOBI, "e035", "2026-11-05T12:05", door);
    assert_eq!(asked(&world, QuestionKind::ExtraWithoutYes), [(None, "2026-11-05".to_owned())]);
    let yes = ExtraAgreed {
        site: site("GARAGE", "move the door"),
        extra: None,
        said_by: "J. Marrable".to_owned(),
        how: SaidHow::Message,
        terms: ExtraTerms::OnTheClock,
        reopens: Vec::new(),
    };
    world.log(MAREN, "e045", "2026-11-05T08:09", Body::ExtraAgreed(yes));
    assert_eq!(asked(&world, QuestionKind::ExtraWithoutYes), []);
}

#[test]
fn what_can_not_be_read_is_asked_about() {
    let mut book = World::with_crew().office();
    let chain = ChainId([3; 16]);
    book.take_in_unreadable(EventHash([9; 32]), chain, 4, Unreadable::UnknownKind);
    book.take_in_unreadable(EventHash([9; 32]), chain, 4, Unreadable::UnknownKind);
    let found = questions(&book);
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].kind, QuestionKind::Unreadable);
}
