//! Time, cost and material. Figures of the week of 2 November 2026 are those of the demo's own
//! independent working; the others are worked out beside the check.

use ledger::office::{FirmListed, PricePaid, TimeSide, TimeTermsSet};
use ledger::site::{
    Expense, ExpenseKind, HireBegan, HireEnded, Mileage, PaidBy, Returned, StockPlace, WasteCount, Wasted,
    Whose, WorkStarted, WorkStopped, WorkSwitched,
};
use ledger::{Audience, Body};
use projections::{OtherCosts, reconcile};
use trade::{Pence, TimeTerms};

use crate::world::{World, amount, at, day, entry, item, job, person, site, span, stage, used};

#[test]
fn time_is_added_up_by_stage_and_person_and_costed_once() {
    let mut world = World::with_crew();
    world.stage("GARAGE", "first fix water", |_| {});
    let water = |from, to| span("GARAGE", "first fix water", from, to, 0);
    world.log("Tobi Larch", "e007", "2026-11-03T12:31", water("2026-11-03T07:50", "2026-11-03T12:30"));
    world.log("Tobi Larch", "e008", "2026-11-03T16:46", water("2026-11-03T13:00", "2026-11-03T16:45"));
    let found = reconcile(&world.office());
    let [row] = found.time_on_job.as_slice() else { panic!("one row: {found:?}") };
    assert_eq!((row.minutes, row.cost.as_deref()), (505, Some("180.96")));
    assert_eq!((row.person.as_str(), row.stage.as_str()), ("Tobi Larch", "first fix water"));
}

/// 10 min at 20.05 and 10 min at 20.06 are 3.341666… and 3.343333…, together 6.685: 6.69. Rounded
/// one by one they would be 6.68.
#[test]
fn each_day_has_its_own_rate_and_the_sum_is_rounded_once() {
    let mut world = World::with_crew();
    world.rate("r1", "Tobi Larch", "2026-11-02", "20.05", "36");
    world.rate("r2", "Tobi Larch", "2026-11-03", "20.06", "36");
    for (key, on) in [("a", "2026-11-02"), ("b", "2026-11-03")] {
        let body = span("MILL", "", &format!("{on}T08:00"), &format!("{on}T08:10"), 0);
        world.log("Tobi Larch", key, &format!("{on}T17:00"), body);
    }
    let found = reconcile(&world.office());
    assert_eq!(found.time_on_job[0].cost.as_deref(), Some("6.69"));
    assert_eq!(found.time_on_job[0].stage, "");
}

/// The clocks go back at 02:00 on 25 October 2026 (tz database, Europe/London).
#[test]
fn a_night_shift_over_the_clock_change_is_as_long_as_it_was() {
    let mut world = World::with_crew();
    world.log(
        "Tobi Larch",
        "n",
        "2026-10-24T22:00",
        span("MILL", "", "2026-10-24T22:00", "2026-10-25T06:00", 0),
    );
    assert_eq!(world.office().spells()[0].minutes, 9 * 60);
}

#[test]
fn timers_are_time_once_they_are_stopped() {
    let mut world = World::with_crew();
    let (activity, tobi) = (String::new(), "Tobi Larch");
    let started =
        WorkStarted { site: site("MILL", "skim"), activity: activity.clone(), at: at("2026-11-06T08:00") };
    world.log(tobi, "start", "2026-11-06T08:00", Body::WorkStarted(started));
    let book = world.office();
    assert_eq!((book.spells().len(), book.running().len()), (0, 1));
    let switched = WorkSwitched {
        running: entry(tobi, "start"),
        site: site("MILL", "patching"),
        activity,
        at: at("2026-11-06T10:00"),
        break_minutes: 15,
    };
    world.log(tobi, "switch", "2026-11-06T10:00", Body::WorkSwitched(switched));
    let stopped =
        WorkStopped { running: entry(tobi, "switch"), at: at("2026-11-06T12:30"), break_minutes: 30 };
    world.log(tobi, "stop", "2026-11-06T12:30", Body::WorkStopped(stopped));
    let book = world.office();
    assert!(book.running().is_empty());
    let mut minutes: Vec<_> = book.spells().iter().map(|spell| (spell.site.stage, spell.minutes)).collect();
    minutes.sort_unstable();
    let mut wanted = [(Some(stage("MILL", "skim")), 105), (Some(stage("MILL", "patching")), 120)];
    wanted.sort_unstable();
    assert_eq!(minutes, wanted);
}

/// Item, pack size, pack cost, priced (quantity and unit cost), used, wasted on top, returned;
/// then gone, price variance and usage variance.
#[test]
fn material_against_the_price() {
    let table = [
        ("stud", "1", "4.86", Some(("34", "4.75")), "37", "2", "0", "39.000", "4.29", "23.75"),
        ("pipe", "50", "46.50", Some(("45", "0.95")), "50", "0", "8.5", "41.500", "-0.83", "-3.33"),
        ("screw", "1000", "13.20", Some(("640", "0.013")), "750", "0", "0", "750.000", "0.15", "1.43"),
        ("scrim", "90", "3.90", Some(("70", "0.05")), "64", "0", "0", "64.000", "-0.43", "-0.30"),
        ("plaster", "25", "9.75", Some(("125", "0.39")), "112.5", "5", "0", "117.500", "0.00", "-2.93"),
        ("downlight", "1", "8.40", Some(("9", "8.40")), "0", "0", "0", "0.000", "0.00", "-75.60"),
        ("door stud", "1", "4.86", None, "5", "0", "0", "5.000", "0.00", "24.30"),
    ];
    for (name, size, cost, priced, up, wasted, back, gone, price, usage) in table {
        let mut world = World::with_crew();
        world.item(name, "each", size, cost);
        world.stage("GARAGE", "walls", |_| {});
        if let Some((quantity, unit_cost)) = priced {
            world.line("GARAGE", "walls", name, quantity, unit_cost);
        }
        if up != "0" {
            world.log("Tobi Larch", "up", "2026-11-02T12:00", used("GARAGE", "walls", name, up));
        }
        if wasted != "0" {
            let body = Body::Wasted(Wasted {
                site: site("GARAGE", "walls"),
                item: item(name),
                amount: amount(wasted),
                counts: WasteCount::OnTop,
                cost_to: Whose::Ours,
            });
            world.log("Tobi Larch", "wasted", "2026-11-02T12:01", body);
        }
        if back != "0" {
            let site = site("GARAGE", "walls");
            let body = Body::Returned(Returned {
                site,
                item: item(name),
                amount: amount(back),
                to: StockPlace::Van,
            });
            world.log("Tobi Larch", "back", "2026-11-02T12:02", body);
        }
        let found = reconcile(&world.office()).materials;
        let [line] = found.as_slice() else { panic!("{name}: one line, not {found:?}") };
        assert_eq!(line.used, gone, "{name}");
        assert_eq!(line.price_variance.as_deref(), Some(price), "{name}");
        assert_eq!(line.usage_variance.as_deref(), Some(usage), "{name}");
    }
}

/// 10 at 1.00 and 10 at 2.00 cost 30.00. Half of the second ten goes back after a third price was
/// set, and comes off at the 2.00 it was used at: 20.00 for 15.
#[test]
fn each_use_has_its_days_price_and_what_comes_back_comes_off_at_the_price_of_its_use() {
    let mut world = World::with_crew();
    world.item("board", "each", "1", "1.00");
    world.price("board", "2026-11-03", "2.00");
    world.price("board", "2026-11-05", "9.00");
    world.log("Tobi Larch", "a", "2026-11-02T12:00", used("MILL", "", "board", "10"));
    world.log("Tobi Larch", "b", "2026-11-03T12:00", used("MILL", "", "board", "10"));
    let back =
        Returned { site: site("MILL", ""), item: item("board"), amount: amount("5"), to: StockPlace::Van };
    world.log("Tobi Larch", "c", "2026-11-05T12:00", Body::Returned(back));
    let book = world.office();
    let rows = book.materials(&book.lists());
    let row = &rows[&(job("MILL"), None, item("board"))];
    assert_eq!((row.gone.to_string(), row.cost.unwrap().to_string()), ("15".into(), "20.00".into()));
}

#[test]
fn the_crews_book_holds_no_money_and_the_same_minutes() {
    let mut world = World::with_crew();
    world.item("board", "each", "1", "1.00");
    world.log("Tobi Larch", "a", "2026-11-02T12:00", used("MILL", "", "board", "10"));
    world.log(
        "Tobi Larch",
        "h",
        "2026-11-02T17:00",
        span("MILL", "", "2026-11-02T08:00", "2026-11-02T16:00", 0),
    );
    let found = reconcile(&world.book(Audience::Crew));
    let json = serde_json::to_string(&found).unwrap();
    for word in ["cost", "variance", "172.00"] {
        assert!(!json.contains(word), "{word} in {json}");
    }
    assert_eq!(found.time_on_job[0].minutes, 480);
    assert_eq!(reconcile(&world.office()).time_on_job[0].cost.as_deref(), Some("172.00"));
}

#[test]
fn every_figure_names_its_entries() {
    let mut world = World::with_crew();
    world.stage("MILL", "skim", |_| {});
    let hash = world.log(
        "Tobi Larch",
        "h",
        "2026-11-02T17:00",
        span("MILL", "skim", "2026-11-02T08:00", "2026-11-02T16:00", 0),
    );
    world.log(
        "Ines Quill",
        "i",
        "2026-11-02T17:00",
        span("MILL", "", "2026-11-02T08:00", "2026-11-02T16:00", 0),
    );
    let book = world.office();
    let because = projections::why(&book, "MILL", Some("skim"), Some("Tobi Larch"));
    assert_eq!(because.len(), 1);
    assert_eq!((because[0].entry, &because[0].events), (entry("Tobi Larch", "h"), &vec![hash]));
    assert_eq!(because[0].done_on, day("2026-11-02"));
    let stage = Some(stage("MILL", "skim"));
    assert_eq!(book.why_time(&book.lists(), job("MILL"), stage, Some(person("Ines Quill"))), []);
    assert!(projections::why(&book, "GARAGE", None, None).is_empty());
}

/// 24 miles at 0.45 are 10.80; a skip for 180.00; a saw for two days begun at 22.50 is 45.00: 235.80 in all.
#[test]
fn miles_skips_and_hired_gear_are_part_of_what_a_job_cost() {
    let (mut world, maren) = (World::with_crew(), "Maren Oake");
    let costs = |world: &World| {
        let book = world.office();
        OtherCosts::of(&book, &book.lists(), job("MILL"))
    };
    let driven = |code: &str| Mileage { site: site(code, ""), miles: "24".parse().unwrap() };
    world.log(maren, "m1", "2026-11-02T17:00", Body::Mileage(driven("MILL")));
    world.log(maren, "m2", "2026-11-02T17:01", Body::Mileage(driven("GARAGE")));
    assert_eq!(costs(&world).all(), Some(Pence::ZERO), "nothing is paid for a mile");
    let terms = TimeTerms { mile: Some("0.45".parse().unwrap()), ..TimeTerms::default() };
    let (side, terms) = (TimeSide::Paid, Box::new(terms));
    let set = TimeTermsSet { side, job: None, person: None, terms };
    world.list("mile", "2026-11-01", Body::TimeTermsSet(set));
    assert_eq!(costs(&world).miles, Pence(1080));

    let skip = Expense {
        site: site("MILL", ""),
        kind: ExpenseKind::Skip,
        supplier: String::new(),
        ticket: String::new(),
        paid_by: PaidBy::Card,
        photos: Vec::new(),
    };
    world.log(maren, "skip", "2026-11-03T09:00", Body::Expense(skip));
    let saw = HireBegan {
        site: site("MILL", ""),
        what: "saw".to_owned(),
        supplier: String::new(),
        at: at("2026-11-03T08:00"),
    };
    world.log(maren, "saw", "2026-11-03T08:00", Body::HireBegan(saw));
    let back = HireEnded { hire: entry(maren, "saw"), at: at("2026-11-04T16:00") };
    world.log(maren, "back", "2026-11-04T16:00", Body::HireEnded(back));
    assert_eq!(costs(&world).all(), None, "what the skip and the saw cost is not known yet");
    let paid = |key: &str, net: i64, per: &str| PricePaid {
        of: entry(maren, key),
        items: Vec::new(),
        net: Pence(net),
        vat: Pence(net / 5),
        per: per.to_owned(),
        minimum: Pence::ZERO,
    };
    world.list("p1", "2026-11-03", Body::PricePaid(paid("skip", 18_000, "")));
    world.list("p2", "2026-11-03", Body::PricePaid(paid("saw", 2_250, "day")));
    let found = costs(&world);
    assert_eq!((found.expenses, found.hires), (Some(Pence(18_000)), Some(Pence(4_500))));
    assert_eq!(found.all(), Some(Pence(23_580)));

    // A crew that gets no VAT back pays 36.00 more for the skip and 9.00 more for the saw.
    let unregistered = FirmListed {
        name: "Oake Rooms".to_owned(),
        trading_as: String::new(),
        address: String::new(),
        vat_number: String::new(),
        vat_from: None,
        tax_reference: String::new(),
        bank: String::new(),
        sort_code: String::new(),
        account_number: String::new(),
        terms_days: 14,
        next_invoice_number: 1,
    };
    world.list("firm", "2026-11-01", Body::FirmListed(unregistered));
    assert_eq!(costs(&world).all(), Some(Pence(23_580 + 3_600 + 900)));
}
