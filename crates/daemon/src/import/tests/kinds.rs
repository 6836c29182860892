//! Every kind of row, with the columns that it alone takes.

use ledger::site::{Bound, ExpenseKind, ExtraTerms, PaidBy, SaidHow, StockPlace, Surface, WasteCount, Whose};
use ledger::{Audience, office::PricePaid};
use trade::Pence;

use super::*;

const MORE: &str = "of,out_of,into,supplier,ticket,paid_by,net,vat,total,per,minimum,photo,whose";

/// An `entries.csv` of rows by column and value; all are Maren's, logged one minute after the other.
fn rows(rows: &[&[(&str, &str)]]) -> Files {
    let mut columns: Vec<&str> = HEADER.split(',').collect();
    let more = rows.iter().flat_map(|row| row.iter().map(|(column, _)| *column));
    for column in more {
        if !columns.contains(&column) {
            columns.push(column);
        }
    }
    let mut lines = vec![columns.join(",")];
    for (at, row) in rows.iter().enumerate() {
        let cell = |column: &str| match (column, row.iter().find(|(named, _)| *named == column)) {
            (_, Some((_, value))) => format!("\"{value}\""),
            ("entry", None) => format!("k{at}"),
            ("device", None) => "laptop".to_owned(),
            ("person", None) => "Maren Oake".to_owned(),
            ("at", None) => format!("2026-11-05T16:{at:02}"),
            (_, None) => String::new(),
        };
        lines.push(columns.iter().map(|column| cell(column)).collect::<Vec<_>>().join(","));
    }
    Files { entries: Some(lines.join("\n").into_bytes()), ..scenario() }
}

/// The entries of a plan, without the lists.
fn planned(files: &Files) -> Vec<Planned> {
    let plan = plan_of(files).unwrap_or_else(|bad| panic!("{bad:?}"));
    assert_eq!(plan.warnings, Vec::<String>::new());
    plan.writes.into_iter().filter(|write| write.payload.act.row_key.starts_with('k')).collect()
}

fn body_of(row: &[(&str, &str)]) -> Body {
    planned(&rows(&[row])).swap_remove(0).payload.body
}

fn refused(row: &[(&str, &str)]) -> Vec<String> {
    let bad = plan_of(&rows(&[row])).unwrap_err();
    bad.into_iter().map(|bad| format!("{}: {}", bad.column, bad.reason)).collect()
}

fn garage() -> JobId {
    JobId::named(&CREW, "GARAGE")
}

#[test]
fn a_purchase_keeps_its_paper_and_the_office_its_sum() {
    let writes = planned(&rows(&[&[
        ("kind", "bought"),
        ("job", "GARAGE"),
        ("what", "finish plaster"),
        ("quantity", "6"),
        ("unit", "bag"),
        ("supplier", "the merchant"),
        ("ticket", "4471"),
        ("paid_by", "own"),
        ("net", "45.25"),
        ("vat", "9.05"),
        ("total", "54.30"),
        ("photo", "wall.jpg"),
    ]]));
    let [bought, paid] = &writes[..] else { panic!("{writes:?}") };
    let Body::Bought(body) = &bought.payload.body else { panic!("{bought:?}") };
    assert_eq!((body.supplier.as_str(), body.ticket.as_str()), ("the merchant", "4471"));
    assert_eq!((body.paid_by, &body.photos[..]), (PaidBy::OwnPocket, &[PHOTO.hash][..]));
    assert_eq!((body.to, bought.audience), (StockPlace::Job(garage()), Audience::Crew));
    assert_eq!(paid.audience, Audience::Office);
    let of = bought.payload.act.entry_ref();
    let (net, vat, minimum) = (Pence(4_525), Pence(905), Pence::ZERO);
    let price = PricePaid { of, items: Vec::new(), net, vat, per: String::new(), minimum };
    assert_eq!(paid.payload.body, Body::PricePaid(price));
    assert!(!serde_json::to_string(&bought.payload.body).unwrap().contains("45"), "no sum for the crew");
}

#[test]
fn the_least_that_a_purchase_says_is_a_job_its_paper_and_a_sum() {
    let least = [("kind", "bought"), ("job", "MILL"), ("photo", "wall.jpg"), ("net", "12")];
    assert!(matches!(body_of(&least), Body::Bought(bought) if bought.items.is_empty()));
    for missing in ["photo", "net"] {
        let row: Vec<_> = least.iter().copied().filter(|(column, _)| *column != missing).collect();
        assert!(refused(&row).iter().any(|bad| bad.starts_with("what: ")), "{missing}");
    }
    let to_the_van = [("kind", "bought"), ("into", "van"), ("ticket", "7"), ("net", "12")];
    assert!(matches!(body_of(&to_the_van), Body::Bought(bought) if bought.to == StockPlace::Van));
    assert!(refused(&[("kind", "bought"), ("ticket", "7"), ("net", "12")])[0].starts_with("job: "));
}

#[test]
fn sums_that_contradict_each_other_are_refused() {
    let row = |more: &[(&'static str, &'static str)]| {
        let least = [("kind", "expense"), ("job", "MILL"), ("what", "tip")];
        refused(&[&least, more].concat())
    };
    assert!(row(&[("net", "10"), ("vat", "2"), ("total", "12.01")])[0].starts_with("total: "));
    assert!(row(&[("vat", "2")])[0].starts_with("net: "));
    assert!(row(&[("net", "-1")])[0].starts_with("net: "));
    assert!(row(&[("net", "13"), ("total", "12")])[0].starts_with("total: "));
    let only_total = rows(&[&[
        ("kind", "expense"),
        ("job", "MILL"),
        ("what", "tip"),
        ("total", "12"),
        ("paid_by", "card"),
    ]]);
    let plan = plan_of(&only_total).unwrap();
    assert!(plan.warnings[0].contains("only the total is known"), "{:?}", plan.warnings);
}

#[test]
fn a_hire_is_off_hired_by_its_own_key() {
    let hired = [
        ("kind", "hire-on"),
        ("job", "GARAGE"),
        ("what", "tower"),
        ("supplier", "the yard"),
        ("net", "30"),
        ("per", "week"),
        ("minimum", "60"),
        ("from", "2026-11-05T09:00"),
    ];
    let writes = planned(&rows(&[&hired, &[("kind", "hire-off"), ("of", "k0")]]));
    let [on, paid, off] = &writes[..] else { panic!("{writes:?}") };
    let Body::HireBegan(began) = &on.payload.body else { panic!("{on:?}") };
    assert_eq!((began.what.as_str(), began.at.to_string().as_str()), ("tower", "2026-11-05T09:00"));
    let Body::PricePaid(price) = &paid.payload.body else { panic!("{paid:?}") };
    assert_eq!((price.per.as_str(), price.minimum), ("week", Pence(6_000)));
    assert!(matches!(&off.payload.body, Body::HireEnded(ended) if ended.hire == on.payload.act.entry_ref()));
    assert!(refused(&[("kind", "hire-off")])[0].starts_with("of: "));
    let no_per: Vec<_> = hired.iter().copied().filter(|(column, _)| *column != "per").collect();
    assert!(refused(&no_per)[0].starts_with("per: "));
    let of_a_note =
        rows(&[&[("kind", "note"), ("job", "MILL"), ("note", "x")], &[("kind", "hire-off"), ("of", "k0")]]);
    assert!(plan_of(&of_a_note).unwrap_err()[0].reason.contains("is not a hire"));
}

#[test]
fn material_goes_from_place_to_place() {
    let moved = |from: &'static str, to: &'static str| {
        [
            ("kind", "moved"),
            ("job", "GARAGE"),
            ("what", "finish plaster"),
            ("quantity", "2"),
            ("unit", "bag"),
            ("out_of", from),
            ("into", to),
        ]
    };
    let places = |row: &[(&str, &str)]| match body_of(row) {
        Body::Moved(moved) => (moved.from, moved.to),
        other => panic!("{other:?}"),
    };
    let (garage, mill) = (StockPlace::Job(garage()), StockPlace::Job(JobId::named(&CREW, "MILL")));
    assert_eq!(places(&moved("van", "job")), (StockPlace::Van, garage));
    assert_eq!(places(&moved("job", "MILL")), (garage, mill));
    assert_eq!(places(&moved("merchant's", "skip")), (StockPlace::Merchant, StockPlace::Skip));
    assert_eq!(places(&moved("customer", "van")), (StockPlace::Customer, StockPlace::Van));
    assert!(refused(&moved("van", "van"))[0].starts_with("into: "));
    assert!(refused(&moved("shed", "van"))[0].contains("is no place"));
    assert!(refused(&moved("", "van"))[0].starts_with("out_of: "));
}

#[test]
fn what_is_seen_told_and_taken_has_its_own_columns() {
    let photo =
        [("kind", "photo"), ("job", "GARAGE"), ("photo", "wall.jpg"), ("behind", "yes"), ("surface", "wall")];
    let Body::Photo(taken) = body_of(&photo) else { panic!() };
    assert_eq!((taken.photo, taken.size, taken.behind), (PHOTO.hash, PHOTO.bytes, true));
    assert_eq!(taken.site.unwrap().place.surface, Some(Surface::Wall));
    assert!(
        matches!(body_of(&[("kind", "photo"), ("photo", "wall.jpg")]), Body::Photo(photo) if photo.site.is_none())
    );
    assert!(refused(&[("kind", "photo"), ("photo", "nowhere.jpg")])[0].contains("no such file"));

    let reading = [
        ("kind", "reading"),
        ("job", "MILL"),
        ("what", "insulation"),
        ("quantity", ">200"),
        ("unit", "megohm"),
        ("limit", ">1"),
        ("limit_source", "the drawing"),
        ("by", "R. Birch"),
        ("certificate", "17"),
        ("method", "500 V"),
    ];
    let Body::Test(test) = body_of(&reading) else { panic!() };
    let limit = test.limit.unwrap();
    assert_eq!((limit.bound, limit.source.as_str()), (Bound::Above, "the drawing"));
    assert_eq!(test.outside.unwrap().certificate, "17");
    let no_source: Vec<_> = reading.iter().copied().filter(|(column, _)| *column != "limit_source").collect();
    assert!(refused(&no_source)[0].starts_with("limit_source: "));

    let back = [
        ("kind", "called-back"),
        ("job", "MILL"),
        ("note", "tap drips"),
        ("cause", "washer"),
        ("whose", "maker"),
    ];
    assert!(
        matches!(body_of(&back), Body::CalledBack(back) if back.cause == "washer" && back.whose == Whose::Makers)
    );

    let left = [
        ("kind", "left-off"),
        ("job", "MILL"),
        ("note", "second coat"),
        ("until", "2026-11-05T20:00"),
        ("carries_on", "Maren Oake"),
        ("off_or_live", "ring is off"),
    ];
    let Body::LeftOff(left) = body_of(&left) else { panic!() };
    assert_eq!((left.carries_on, left.off_or_live.as_str()), (Some(maren()), "ring is off"));

    let waste = [
        ("kind", "wasted"),
        ("job", "GARAGE"),
        ("what", "finish plaster"),
        ("quantity", "1"),
        ("unit", "bag"),
        ("counts", "out of used"),
        ("whose", "customer"),
    ];
    assert!(matches!(body_of(&waste), Body::Wasted(wasted)
        if wasted.counts == WasteCount::OutOfUsed && wasted.cost_to == Whose::Customers));
    let expense =
        [("kind", "expense"), ("job", "MILL"), ("what", "skip"), ("ticket", "W9"), ("paid_by", "account")];
    assert!(matches!(body_of(&expense), Body::Expense(spent) if spent.kind == ExpenseKind::Skip));
}

#[test]
fn an_entry_is_named_by_the_key_of_a_row_or_of_the_ledger() {
    let first = rows(&[
        &[("kind", "snag"), ("job", "MILL"), ("note", "nail pops")],
        &[("kind", "snag-cleared"), ("of", "k0")],
        &[("kind", "left-off"), ("job", "MILL"), ("note", "wet till six")],
        &[("kind", "asked"), ("job", "MILL"), ("what", "outside tap"), ("by", "the customer")],
    ]);
    let mut shelf = Shelf::with_founder();
    let plan_first = plan(&first, &context(&shelf, "2026-11-09")).unwrap();
    shelf.take(plan_first);
    let second = rows(&[
        &[("entry", "k10"), ("kind", "seen"), ("of", "k0; k2")],
        &[
            ("entry", "k11"),
            ("kind", "agreed"),
            ("job", "MILL"),
            ("of", "k3"),
            ("what", "by the hour"),
            ("how", "signature"),
            ("reopens", "skim"),
        ],
        &[("entry", "k12"), ("kind", "declined"), ("job", "MILL"), ("of", "k3")],
    ]);
    let plan = plan(&second, &context(&shelf, "2026-11-09")).unwrap();
    let bodies: Vec<_> = plan.writes.iter().map(|write| &write.payload.body).collect();
    let [Body::Seen(seen), Body::ExtraAgreed(agreed), Body::ExtraDeclined(declined)] = bodies[..] else {
        panic!("{bodies:?}")
    };
    assert_eq!(seen.entries.len(), 2);
    assert_eq!(
        (agreed.extra, agreed.how, agreed.terms),
        (declined.extra, SaidHow::Signature, ExtraTerms::OnTheClock)
    );
    assert_eq!(agreed.reopens, [StageId::named(&CREW, "MILL", "skim")]);
    assert!(refused(&[("kind", "seen"), ("of", "nothing")])[0].contains("key of no entry"));
}

#[test]
fn days_away_and_part_done_are_checked() {
    let away = planned(&rows(&[&[
        ("kind", "away"),
        ("done_on", "2026-11-09"),
        ("until", "2026-11-10"),
        ("note", "ill"),
    ]]));
    assert_eq!((away[0].payload.act.done_on, away[0].payload.act.note.as_str()), (day("2026-11-09"), "ill"));
    assert!(matches!(&away[0].payload.body, Body::Away(away) if away.until == day("2026-11-10")));
    assert!(refused(&[("kind", "away"), ("until", "2026-11-01")])[0].starts_with("until: "));
    let part = |quantity| [("kind", "part-done"), ("job", "MILL"), ("stage", "skim"), ("quantity", quantity)];
    assert!(matches!(body_of(&part("60")), Body::PartDone(part) if part.percent == "60".parse().unwrap()));
    assert!(refused(&part("101"))[0].starts_with("quantity: "));
    assert!(matches!(
        body_of(&[("kind", "ready"), ("job", "MILL"), ("stage", "skim")]),
        Body::ReadyForChecking(_)
    ));
    assert!(refused(&[("kind", "ready"), ("job", "MILL")])[0].starts_with("stage: "));
}

#[test]
fn a_row_with_a_price_is_imported_once_also_where_no_price_is_read() {
    let files = rows(&[&[("kind", "expense"), ("job", "MILL"), ("what", "parking"), ("net", "8.40")]]);
    for crew_only in [false, true] {
        let mut shelf = Shelf { crew_only, ..Shelf::with_founder() };
        let first = plan(&files, &context(&shelf, "2026-11-09")).unwrap();
        shelf.take(first);
        if crew_only {
            shelf.events.retain(|(_, event)| !matches!(event.body, Body::PricePaid(_)));
        }
        let again = plan(&files, &context(&shelf, "2026-11-09")).unwrap();
        assert_eq!(again.writes, [], "{crew_only}");
    }
    let mut shelf = Shelf::with_founder();
    let first = plan(&files, &context(&shelf, "2026-11-09")).unwrap();
    shelf.take(first);
    let other = rows(&[&[("kind", "expense"), ("job", "MILL"), ("what", "parking"), ("net", "9.40")]]);
    assert!(plan(&other, &context(&shelf, "2026-11-09")).unwrap_err()[0].reason.contains("fivebar paid k0"));
}

#[test]
fn the_plain_columns_are_enough_and_the_rest_may_stand_in_any_order() {
    assert!(HEADER.split(',').all(|column| !MORE.split(',').any(|more| more == column)));
    let plain = with_entries("a1,p,Maren Oake,2026-11-02T16:35,,note,MILL,,,,,,,,,,,x");
    assert!(plan_of(&plain).unwrap().warnings.is_empty());
    let idle = rows(&[&[("kind", "note"), ("job", "MILL"), ("note", "x"), ("supplier", "the yard")]]);
    assert!(plan_of(&idle).unwrap().warnings[0].contains("note has no use for column supplier"));
}

#[test]
fn rows_are_counted_as_they_are_read() {
    let shelf = Shelf::with_founder();
    let said = std::cell::RefCell::new(Vec::new());
    let say = |rows: Rows| said.borrow_mut().push(rows);
    let context = Context { say: &say, ..context(&shelf, "2026-11-09") };
    plan(&scenario(), &context).unwrap();
    let last = said.borrow().last().copied().unwrap();
    assert_eq!(last.read, last.of);
    assert!(last.of > 80, "{last:?}");
}

#[test]
fn more_stages_go_behind_and_make_no_circle() {
    let mut shelf = Shelf::with_founder();
    let first = plan(&scenario(), &context(&shelf, "2026-11-09")).unwrap();
    shelf.take(first);
    let header = "job,stage,trade,after,wait_hours,covers,needs_reading,needs_photo";
    let one = |row: &str| Files { stages: Some(format!("{header}\n{row}").into_bytes()), ..Files::default() };
    let more = Context { lists: ListRows::More, ..context(&shelf, "2026-11-10") };
    let last = shelf.stages_of(garage()).iter().map(|stage| stage.order).max().unwrap();
    let added = plan(&one("GARAGE,snagging,,skim,,,,"), &more).unwrap();
    let [Planned { payload, .. }] = &added.writes[..] else { panic!("{added:?}") };
    assert!(matches!(&payload.body, Body::StageListed(stage) if stage.order == last + 1));
    let stud_walls = shelf.stages_of(garage()).into_iter().find(|stage| stage.name == "stud walls").unwrap();
    let changed = plan(&one("GARAGE,stud walls,joinery,,,,,yes"), &more).unwrap();
    assert!(
        matches!(&changed.writes[0].payload.body, Body::StageListed(stage) if stage.order == stud_walls.order)
    );
    let circle = plan(&one("GARAGE,stud walls,joinery,skim,,,,"), &more).unwrap_err();
    assert!(circle[0].reason.contains("in a circle: "), "{circle:?}");
}

#[test]
fn a_stage_without_a_wait_gets_the_usual_one_and_says_so() {
    let mut shelf = Shelf::with_founder();
    let first = plan(&scenario(), &context(&shelf, "2026-11-09")).unwrap();
    shelf.take(first);
    let header = "job,stage,trade,after,wait_hours,covers,needs_reading,needs_photo";
    let more = Context { lists: ListRows::More, ..context(&shelf, "2026-11-10") };
    for (wait, minutes, said) in [
        ("", 5 * 24 * 60, "5 days at the earliest: new plaster before paint"),
        ("0", 0, ""),
        ("36", 36 * 60, ""),
        ("3 days", 3 * 24 * 60, ""),
        ("1.5 d", 36 * 60, ""),
    ] {
        let row = format!("{header}\nGARAGE,mist coat,painting,skim;tanking,{wait},,,");
        let files = Files { stages: Some(row.into_bytes()), ..Files::default() };
        let planned = plan(&files, &more).unwrap();
        let [Planned { payload, .. }] = &planned.writes[..] else { panic!("{planned:?}") };
        let Body::StageListed(listed) = &payload.body else { panic!("{payload:?}") };
        assert_eq!(listed.wait_minutes, minutes, "{wait}");
        assert_eq!(planned.warnings.len(), usize::from(!said.is_empty()), "{planned:?}");
        assert!(planned.warnings.iter().all(|warning| warning.contains(said)), "{planned:?}");
    }
}

#[test]
fn no_fall_is_a_value_and_a_unit_is_kept_as_instruments_write_it() {
    let mut shelf = Shelf::with_founder();
    let first = plan(&scenario(), &context(&shelf, "2026-11-09")).unwrap();
    shelf.take(first);
    for (what, quantity, unit, wanted) in [
        ("pressure test", "no fall in 60 min", "", ("0", "bar fall in 60 min")),
        ("pressure test", "no drop in 1 h", "mbar", ("0", "mbar fall in 60 min")),
        ("insulation resistance", ">200", "MΩ", ("200", "megohm")),
        ("how it looks", "3", "points", ("3", "points")),
    ] {
        let row =
            format!("k1,p,Maren Oake,2026-11-09T16:35,,test,MILL,skim,{what},{quantity},{unit},,,,,,,\n");
        let planned = plan(&with_entries(&row), &context(&shelf, "2026-11-10")).unwrap();
        let test = planned.writes.iter().find_map(|planned| match &planned.payload.body {
            Body::Test(test) => Some((test.value.to_string(), test.unit.clone())),
            _ => None,
        });
        assert_eq!(test, Some((wanted.0.to_owned(), wanted.1.to_owned())), "{what} {quantity} {unit}");
    }
}
