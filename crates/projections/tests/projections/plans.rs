//! What is ready and what is missing, what to load and to get, what fits a gap, and what slips.

use ledger::site::{
    Away, Bought, ExtraAsked, FillInListed, FillInState, HireBegan, HireEnded, LeftOff, NeedKind, NeedListed,
    NeedState, PaidBy, PartDone, Reach, SignedOff, StockPlace, WorkStarted,
};
use ledger::{Body, EventHash};
use projections::day_plan::{DayPlan, PlanLine};
use projections::readiness::{Missing, Readiness};
use projections::{Gap, QuestionKind, day_plan, fill_ins, questions, readiness, slips, wet};
use trade::Day;

use crate::world::{World, amount, at, day, entry, item, job, person, site, span, stage, used};

const MAREN: &str = "Maren Oake";
const TOBI: &str = "Tobi Larch";

/// Monday to Friday of the week begin on 2 November 2026.
const MONDAY: &str = "2026-11-02T07:00";

/// Studs, then boards, then skim with a wait of two hours; boards and screws are priced.
fn rooms() -> World {
    let mut world = World::with_crew();
    world.stage("GARAGE", "studs", |listed| listed.order = 1);
    world.stage("GARAGE", "boards", |listed| {
        (listed.order, listed.after) = (2, vec![stage("GARAGE", "studs")]);
    });
    world.stage("GARAGE", "skim", |listed| {
        (listed.order, listed.after, listed.wait_minutes) = (3, vec![stage("GARAGE", "boards")], 120);
        listed.trades = vec!["plastering".to_owned()];
    });
    world.item("board", "each", "1", "11.40");
    world.item("screw", "each", "1000", "13.20");
    world.line("GARAGE", "studs", "", "16", "22");
    world.line("GARAGE", "boards", "", "8", "22");
    world.line("GARAGE", "boards", "board", "14", "11.40");
    world.line("GARAGE", "boards", "screw", "500", "0.02");
    world.line("GARAGE", "skim", "", "12", "22");
    world
}

fn need(world: &mut World, key: &str, name: &str, kind: NeedKind, what: &str, count: u32) {
    let (job, stage, what) = (job("GARAGE"), stage("GARAGE", name), what.to_owned());
    let state = NeedState::Open;
    world.list(key, "2026-11-01", Body::NeedListed(NeedListed { job, stage, kind, what, count, state }));
}

fn sign_off(world: &mut World, name: &str, when: &str) -> EventHash {
    let body = Body::SignedOff(SignedOff { site: site("GARAGE", name), evidence: Vec::new() });
    world.log(MAREN, &format!("sign {name}"), when, body)
}

fn buy(world: &mut World, key: &str, to: StockPlace, what: &str, much: &str) {
    let bought = Bought {
        to,
        supplier: String::new(),
        ticket: String::new(),
        items: vec![(item(what), amount(much))],
        paid_by: PaidBy::Account,
        photos: Vec::new(),
    };
    world.log(TOBI, key, MONDAY, Body::Bought(bought));
}

fn of(world: &World, name: &str, now: &str) -> Readiness {
    let book = world.office();
    let found = readiness(&book, &book.lists(), at(now));
    found.into_iter().find(|found| found.stage == stage("GARAGE", name)).unwrap()
}

fn line(plan: &DayPlan, name: &str) -> PlanLine {
    plan.stages.iter().find(|line| line.stage == name).unwrap().clone()
}

fn words(plan: &DayPlan, name: &str) -> Vec<String> {
    line(plan, name).missing.into_iter().map(|missing| missing.what).collect()
}

#[test]
fn free_is_not_ready_and_each_missing_thing_is_named() {
    let mut world = rooms();
    let boards = of(&world, "boards", MONDAY);
    assert!(!boards.is_free && boards.missing[0] == Missing::SignOff(stage("GARAGE", "studs")), "{boards:?}");
    sign_off(&mut world, "studs", "2026-11-02T16:00");
    need(&mut world, "n1", "boards", NeedKind::People, "", 3);
    need(&mut world, "n2", "boards", NeedKind::HiredGear, "Board lift", 0);
    need(&mut world, "n3", "boards", NeedKind::CustomersChoice, "which ceiling", 0);
    need(&mut world, "n4", "boards", NeedKind::Inspector, "building control", 0);
    world.log(TOBI, "ill", "2026-11-03T06:30", Body::Away(Away { until: day("2026-11-04") }));
    let morning = "2026-11-03T07:00";
    let plan = day_plan(&world.office(), at(morning));
    let boards = line(&plan, "boards");
    assert_eq!((boards.free, boards.ready, boards.earliest), (true, false, Some(day("2026-11-03"))));
    assert_eq!(
        words(&plan, "boards"),
        [
            "3 people; 2 not away",
            "Board lift on hire",
            "the customer’s choice: which ceiling",
            "building control to look first",
            "14 packs board",
            "½ pack screw",
        ]
    );
    assert_eq!(plan.customer.iter().map(|line| line.what.as_str()).collect::<Vec<_>>(), ["which ceiling"]);

    // Each goes as it is met; what is on the van is there.
    let hire = HireBegan {
        site: site("GARAGE", ""),
        what: "board lift".to_owned(),
        supplier: String::new(),
        at: at(morning),
    };
    world.log(TOBI, "lift", morning, Body::HireBegan(hire));
    for (key, kind, what) in [
        ("n3 met", NeedKind::CustomersChoice, "which ceiling"),
        ("n4 met", NeedKind::Inspector, "building control"),
    ] {
        let state = NeedState::Met("said on site".to_owned());
        let (job, stage, what) = (job("GARAGE"), stage("GARAGE", "boards"), what.to_owned());
        let met = NeedListed { job, stage, kind, what, count: 0, state };
        world.list(key, "2026-11-03", Body::NeedListed(met));
    }
    buy(&mut world, "b1", StockPlace::Job(job("GARAGE")), "board", "9");
    buy(&mut world, "b2", StockPlace::Van, "board", "3");
    buy(&mut world, "b3", StockPlace::Van, "screw", "1000");
    let back = "2026-11-05T07:00";
    let plan = day_plan(&world.office(), at(back));
    assert_eq!(words(&plan, "boards"), ["2 packs board"]);
    let load: Vec<_> = plan.load.iter().map(|line| (line.what.as_str(), line.on_van.to_string())).collect();
    assert_eq!(load, [("5 packs board", "3".to_owned()), ("½ pack screw", "500".to_owned())]);
    let get: Vec<_> = plan.to_get.iter().map(|line| (line.what.as_str(), line.by)).collect();
    assert_eq!(get, [("2 packs board", Some(day("2026-11-05")))]);
    buy(&mut world, "b4", StockPlace::Van, "board", "2");
    assert!(line(&day_plan(&world.office(), at(back)), "boards").ready);

    // Off hire again, it is missing again.
    let ended = HireEnded { hire: entry(TOBI, "lift"), at: at(back) };
    world.log(TOBI, "lift back", back, Body::HireEnded(ended));
    assert_eq!(words(&day_plan(&world.office(), at(back)), "boards"), ["Board lift on hire"]);
}

#[test]
fn what_is_used_is_needed_no_more_and_one_board_serves_one_stage() {
    let mut world = rooms();
    world.stage("GARAGE", "boxing", |listed| {
        (listed.order, listed.after) = (4, vec![stage("GARAGE", "skim")]);
    });
    world.line("GARAGE", "boxing", "board", "2", "11.40");
    sign_off(&mut world, "studs", "2026-11-02T16:00");
    buy(&mut world, "b", StockPlace::Job(job("GARAGE")), "board", "15");
    world.log(TOBI, "u", "2026-11-03T12:00", used("GARAGE", "boards", "board", "4"));
    let now = "2026-11-03T13:00";
    // Ten are still wanted and eleven lie there: one is left for the boxing, which wants two.
    let (boards, boxing) = (of(&world, "boards", now), of(&world, "boxing", now));
    assert!(!boards.to_bring.iter().any(|found| found.item == item("board")), "{boards:?}");
    let lacking = boxing.to_bring.iter().find(|found| found.item == item("board")).unwrap();
    assert_eq!(lacking.to_get.to_string(), "1");
}

#[test]
fn a_wait_is_missing_until_it_is_over_and_says_no_more_than_that() {
    let mut world = rooms();
    sign_off(&mut world, "studs", "2026-11-02T16:00");
    sign_off(&mut world, "boards", "2026-11-03T10:00");
    let before = of(&world, "skim", "2026-11-03T11:59");
    assert_eq!((before.is_free, before.missing), (false, vec![Missing::Wait(at("2026-11-03T12:00"))]));
    let after = of(&world, "skim", "2026-11-03T12:00");
    assert!(after.is_free && after.is_ready());
    let said = words(&day_plan(&world.office(), at("2026-11-03T11:00")), "skim");
    assert!(said[0].ends_with("at the earliest; check by eye and touch"), "{said:?}");
}

#[test]
fn an_extra_without_an_answer_waits_on_the_customer() {
    let mut world = rooms();
    let asked =
        ExtraAsked { site: site("GARAGE", ""), what: "outside tap".to_owned(), asked_by: String::new() };
    world.log(TOBI, "tap", "2026-11-02T09:00", Body::ExtraAsked(asked));
    let plan = day_plan(&world.office(), at("2026-11-03T07:00"));
    assert_eq!(plan.customer[0].what, "yes or no to the extra: outside tap");
}

fn fill_in(world: &mut World, what: &str, minutes: u32, can_be_dropped: bool, dusty: bool, reach: Reach) {
    let listed = FillInListed {
        job: job("GARAGE"),
        what: what.to_owned(),
        stage: None,
        room: String::new(),
        minutes,
        can_be_dropped,
        dusty,
        reach,
        state: FillInState::Open,
    };
    world.list(&format!("fill {what}"), "2026-11-01", Body::FillInListed(listed));
}

#[test]
fn the_hour_while_plaster_sets() {
    let mut world = rooms();
    fill_in(&mut world, "cut the beads", 30, false, false, Reach::SameRoom);
    fill_in(&mut world, "clip the cables", 300, true, false, Reach::WithinEarshot);
    fill_in(&mut world, "sand the frame", 20, true, true, Reach::WithinEarshot);
    fill_in(&mut world, "load the tip run", 45, true, false, Reach::OutOfEarshot);
    fill_in(&mut world, "hang the door", 150, false, false, Reach::WithinEarshot);
    let now = at("2026-11-05T10:00");
    let found = |world: &World| {
        wet(
            &world.office(),
            &world.office().lists(),
            &world.office().stages(&world.office().lists()),
            job("GARAGE"),
            now,
        )
    };
    assert_eq!(found(&world), []);
    let left = LeftOff {
        site: site("GARAGE", "skim"),
        off_or_live: String::new(),
        wet_until: Some(at("2026-11-05T11:30")),
        carries_on: Some(person(TOBI)),
        photos: Vec::new(),
    };
    world.log(MAREN, "left", "2026-11-05T09:30", Body::LeftOff(left));
    let setting = found(&world);
    assert_eq!((setting.len(), setting[0].minutes), (1, Some(90)));
    let book = world.office();
    let tasks = |gap| {
        let found = fill_ins(&book.lists(), Some(job("GARAGE")), gap);
        let fits = found.into_iter().filter(|task| task.unfit.is_none());
        fits.map(|task| task.what).collect::<Vec<_>>()
    };
    // What fits whole stands before what would have to be dropped.
    assert_eq!(tasks(Gap { minutes: 90, wet: true }), ["cut the beads", "clip the cables"]);
    assert_eq!(
        tasks(Gap { minutes: 90, wet: false }),
        ["load the tip run", "cut the beads", "sand the frame", "clip the cables"]
    );
    assert_eq!(tasks(Gap { minutes: 150, wet: true }), ["hang the door", "cut the beads", "clip the cables"]);
    // A coat that is going on is wet, too, without an end.
    let started =
        WorkStarted { site: site("GARAGE", "skim"), activity: String::new(), at: at("2026-11-05T09:45") };
    world.log(TOBI, "start", "2026-11-05T09:45", Body::WorkStarted(started));
    assert_eq!(found(&world)[1].until, None);
}

#[test]
fn the_earliest_days_follow_the_work_that_is_left() {
    let mut world = rooms();
    let days = |world: &World, now: &str| {
        ["studs", "boards", "skim"].map(|name| of(world, name, now).earliest.map(|day: Day| day.to_string()))
    };
    let some = |days: [&str; 3]| days.map(|day| Some(day.to_owned()));
    // 16 h of studs on Monday and Tuesday, 8 h of boards on Wednesday, two hours' wait into the evening.
    assert_eq!(days(&world, MONDAY), some(["2026-11-02", "2026-11-04", "2026-11-05"]));
    // Two people halve the studs.
    need(&mut world, "two", "studs", NeedKind::People, "", 2);
    assert_eq!(days(&world, MONDAY), some(["2026-11-02", "2026-11-03", "2026-11-04"]));
    // Eight hours of the sixteen were worked on Monday: four are left for each of the two on Tuesday.
    world.log(
        TOBI,
        "h",
        "2026-11-02T16:00",
        span("GARAGE", "studs", "2026-11-02T08:00", "2026-11-02T16:00", 0),
    );
    assert_eq!(days(&world, "2026-11-03T07:00"), some(["2026-11-03", "2026-11-03", "2026-11-04"]));
    // The owner says three quarters are done.
    let part = PartDone { site: site("GARAGE", "studs"), percent: "75".parse().unwrap() };
    world.log(MAREN, "p", "2026-11-02T17:00", Body::PartDone(part));
    assert_eq!(days(&world, "2026-11-03T07:00"), some(["2026-11-03", "2026-11-03", "2026-11-04"]));
    // Two hours from Friday at two end the week; boards are Monday, skim follows on Tuesday.
    assert_eq!(days(&world, "2026-11-06T14:00"), some(["2026-11-06", "2026-11-09", "2026-11-10"]));
}

#[test]
fn what_slips_and_what_has_time_to_spare() {
    let mut world = rooms();
    world.stage("GARAGE", "door", |listed| {
        (listed.order, listed.after) = (5, vec![stage("GARAGE", "studs")]);
    });
    world.line("GARAGE", "door", "", "4", "22");
    let slip = |world: &World, name: &str, hours: u32| {
        slips(&world.office(), job("GARAGE"), stage("GARAGE", name), hours * 60, at("2026-11-02T08:00"))
            .unwrap()
    };
    let studs = slip(&world, "studs", 8);
    let moved: Vec<_> = studs.stages.iter().map(|slip| slip.stage.as_str()).collect();
    assert_eq!(moved, ["boards", "skim", "door"]);
    assert_eq!((studs.to_spare_hours, studs.end), (0, Some((day("2026-11-06"), day("2026-11-09")))));
    let door = slip(&world, "door", 8);
    assert_eq!(door.stages, []);
    assert!(door.to_spare_hours > 8, "{door:?}");
    assert_eq!(door.end.map(|(before, after)| before == after), Some(true));

    // A circle, as two devices can make one, is named and nothing else is made of it.
    assert!(questions(&world.office()).iter().all(|asked| asked.kind != QuestionKind::InACircle));
    world.stage_from("GARAGE", "studs", "2026-11-02", |listed| listed.after = vec![stage("GARAGE", "skim")]);
    let circle = slips(&world.office(), job("GARAGE"), stage("GARAGE", "skim"), 60, at(MONDAY)).unwrap_err();
    for name in ["studs", "boards", "skim"] {
        assert!(circle.to_string().contains(name), "{circle}");
    }
    assert!(!circle.to_string().contains("door"), "{circle}");
    assert_eq!(of(&world, "skim", MONDAY).earliest, None);
    let asked = questions(&world.office());
    let asked: Vec<_> = asked.iter().filter(|asked| asked.kind == QuestionKind::InACircle).collect();
    assert_eq!(asked.len(), 1);
    assert!(asked[0].text.contains("boards, then skim, then studs come"), "{}", asked[0].text);
}
