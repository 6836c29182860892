//! Overtime, days, call-outs and miles: billed and paid, by the book. The ways of counting are common practice
//! without a source; every sum is computed by hand.

use ledger::office::{BillableUnit, Engagement, PersonEngaged, TimeSide, TimeTermsSet};
use ledger::site::{Hours, Mileage, Worked};
use ledger::{Body, EntryId};
use trade::worktime::{CallOut, DayParts, DayRate, Overtime, TimeTerms, Uplift};
use trade::{Moment, Pence};

use super::from_book::{JOB, Said, at, listed};
use super::*;
use crate::pay::pay_list;

fn set(said: &mut Said, side: TimeSide, from: Day, terms: TimeTerms) {
    let job = (side == TimeSide::Charged).then_some(JOB);
    let set = TimeTermsSet { side, job, person: None, terms: Box::new(terms) };
    said.say(TOBI, from, Body::TimeTermsSet(set));
}

fn eight_hours() -> TimeTerms {
    let overtime = Overtime { day_minutes: Some(480), week_minutes: None, rate: Uplift::Times(rate("1.5")) };
    TimeTerms { overtime: Some(overtime), ..TimeTerms::default() }
}

/// Hours on the extra on the clock, which bills at 35 an hour and costs 21.50.
fn worked(said: &mut Said, on: Day, from_hour: i64, minutes: i64) -> u16 {
    let moment =
        |minutes: i64| Moment::new(i64::from(on.number()) * 86_400_000 + minutes * 60_000, 0).unwrap();
    let (from, to) = (moment(from_hour * 60), moment(from_hour * 60 + minutes));
    let worked = Worked::Span { from, to, break_minutes: 0 };
    said.say(TOBI, on, Body::Hours(Hours { site: at(2), activity: String::new(), worked }))
}

fn lines(work: &JobWork, until: Day) -> Vec<(String, String, String, String)> {
    let found = preview(work, Some(until)).map(|preview| preview.printed).unwrap_or_default();
    let line = |line: &ledger::office::InvoiceLine| {
        (line.what.clone(), line.quantity.to_string(), line.unit.clone(), line.amount.to_string())
    };
    found.iter().map(line).collect()
}

fn line(what: &str, quantity: &str, unit: &str, amount: &str) -> (String, String, String, String) {
    (what.to_owned(), quantity.to_owned(), unit.to_owned(), amount.to_owned())
}

#[test]
fn overtime_is_a_line_of_its_own_from_the_day_it_was_agreed() {
    let mut told = listed();
    set(&mut told, TimeSide::Charged, day(1), eight_hours());
    worked(&mut told, day(0), 8, 600);
    worked(&mut told, day(1), 8, 600);
    let person = told.book().lists().person(TOBI);
    let rate = told.work().entries.iter().find_map(|work| match work.measure {
        Measure::Labour { charge_rate, .. } => charge_rate,
        Measure::Material { .. } | Measure::Counted { .. } => None,
    });
    assert_eq!(rate.unwrap().to_string(), "36.00", "Tobi's hour");
    // 18 h at 36.00; 2 h at 54.00.
    let expected = [
        line(&person, "18.00", "hour", "648.00"),
        line(&format!("{person}, overtime"), "2.00", "hour", "108.00"),
    ];
    assert_eq!(lines(&told.work(), day(1)), expected);
}

/// An earlier stretch of a billed day comes in late: ordinary time is given back and billed as overtime, and
/// what is billed is in the end what it is worth, minute by minute.
#[test]
fn what_is_heard_of_late_moves_ordinary_time_into_overtime() {
    let mut told = listed();
    set(&mut told, TimeSide::Charged, day(-30), eight_hours());
    let late = worked(&mut told, day(1), 13, 360);
    let mut work = told.work();
    work.bill(day(1));
    let papers = work.papers.clone();
    worked(&mut told, day(1), 7, 240);
    let mut work = JobWork { papers, ..told.work() };
    let credits = proposed_credits(&work);
    assert_eq!(credits.len(), 1);
    assert_eq!(
        (credits[0].lines[0].quantity.to_string(), credits[0].totals.net.to_string()),
        ("2.00".to_owned(), "72.00".to_owned())
    );
    work.credit(&credits[0], day(2));
    let person = told.book().lists().person(TOBI);
    assert_eq!(
        lines(&work, day(2)),
        [
            line(&person, "4.00", "hour", "144.00"),
            line(&format!("{person}, overtime"), "2.00", "hour", "108.00")
        ]
    );
    work.bill(day(2));
    assert!(preview(&work, Some(day(2))).is_none() && proposed_credits(&work).is_empty());
    let billed = |unit| -> rust_decimal::Decimal {
        let lines = work.papers.iter().flat_map(|paper| &paper.document.lines);
        let own = lines.flat_map(|line| &line.claims).filter(|claim| claim.unit == unit);
        own.map(|claim| claim.quantity.value()).sum()
    };
    let entry = entry(TOBI, late);
    assert_eq!(entry.entry, EntryId(id(late)));
    assert_eq!(billed(BillableUnit::Entry(entry)), 240.into());
    assert_eq!(billed(BillableUnit::Overtime(entry)), 120.into());
}

#[test]
fn the_order_of_arrival_changes_nothing() {
    let mut one = listed();
    set(&mut one, TimeSide::Charged, day(-30), eight_hours());
    let mut other = listed();
    set(&mut other, TimeSide::Charged, day(-30), eight_hours());
    for (from, minutes) in [(6, 300), (12, 300), (18, 120)] {
        worked(&mut one, day(1), from, minutes);
    }
    for (from, minutes) in [(18, 120), (6, 300), (12, 300)] {
        worked(&mut other, day(1), from, minutes);
    }
    assert_eq!(lines(&one.work(), day(1)), lines(&other.work(), day(1)));
}

#[test]
fn a_day_is_billed_by_its_parts_and_given_back_by_them() {
    let mut told = listed();
    let by_day = DayRate { minutes: 480, rate: rate("260"), parts: DayParts::Quarters };
    set(&mut told, TimeSide::Charged, day(-30), TimeTerms { day: Some(by_day), ..TimeTerms::default() });
    worked(&mut told, day(1), 8, 470);
    let second = worked(&mut told, day(2), 8, 300);
    let person = told.book().lists().person(TOBI);
    let mut work = told.work();
    // 470 minutes are a day, 300 are 0.75 of one: 1.75 x 260.00.
    assert_eq!(lines(&work, day(2)), [line(&person, "1.75", "day", "455.00")]);
    work.bill(day(2));
    let strike = Body::Struck(ledger::site::Struck { of: entry(TOBI, second) });
    let papers = work.papers.clone();
    told.say(TOBI, day(3), strike);
    let work = JobWork { papers, ..told.work() };
    let credits = proposed_credits(&work);
    let given = &credits[0].lines[0];
    assert_eq!(
        (given.quantity.to_string(), given.amount.to_string()),
        ("0.75".to_owned(), "195.00".to_owned())
    );
}

#[test]
fn a_call_out_covers_the_first_hour_and_miles_have_their_rate() {
    let mut told = listed();
    let call_out = Some(CallOut { sum: "85.00".parse().unwrap(), covers_minutes: 60 });
    let terms = TimeTerms { call_out, mile: Some(rate("0.45")), ..eight_hours() };
    set(&mut told, TimeSide::Charged, day(-30), terms);
    worked(&mut told, day(1), 8, 90);
    worked(&mut told, day(1), 14, 30);
    told.say(TOBI, day(1), Body::Mileage(Mileage { site: at(2), miles: quantity("24.5") }));
    let person = told.book().lists().person(TOBI);
    let mut work = told.work();
    assert_eq!(
        lines(&work, day(1)),
        [
            line(&person, "1.00", "hour", "36.00"),
            line(&format!("{person}, call-out 2026-11-03, first 1 h 00 inside"), "1", "", "85.00"),
            // 24.5 x 0.45 = 11.025, half up.
            line(&format!("{person}, miles driven"), "24.5", "mile", "11.03"),
        ]
    );
    work.bill(day(1));
    assert!(preview(&work, None).is_none() && proposed_credits(&work).is_empty());
}

/// 10 h at 21.50 with 2 of them at 1.5: 8 x 21.50 + 2 x 32.25 = 236.50. 20 miles at 0.45 = 9.00. CIS at 20 % is
/// taken off both, because fuel for travelling is not among what stays out of it (gov.uk, what you must do as
/// a CIS contractor): 49.10.
#[test]
fn people_are_paid_as_was_agreed_over_all_jobs() {
    let mut told = listed();
    set(&mut told, TimeSide::Paid, day(-30), TimeTerms { mile: Some(rate("0.45")), ..eight_hours() });
    worked(&mut told, day(1), 8, 600);
    told.say(TOBI, day(1), Body::Mileage(Mileage { site: at(2), miles: quantity("20") }));
    let engaged = PersonEngaged {
        person: TOBI,
        engagement: Engagement::SelfEmployed,
        cis_percent: rate("20"),
        verified_on: Some(day(-60)),
        vat_number: String::new(),
    };
    told.say(TOBI, day(-30), Body::PersonEngaged(engaged));
    let pounds = |text: &str| text.parse::<Pence>().unwrap();
    let list = pay_list(&told.book(), day(0), day(6));
    let tobi = &list.people[0];
    assert_eq!((tobi.minutes, tobi.labour, tobi.mileage), (600, Some(pounds("236.50")), pounds("9.00")));
    assert_eq!((tobi.cis, tobi.net), (pounds("49.10"), Some(pounds("196.40"))));
    assert_eq!(tobi.counted.len(), 2);
    // The same hours cost the job the same.
    let book = told.book();
    let lists = book.lists();
    let cost: Vec<_> = book.time_on_job(&lists).iter().map(|row| row.cost).collect();
    assert_eq!(cost, [Some(pounds("236.50"))]);
    let because = crate::why(&book, "GARAGE", Some("move the door"), Some(&lists.person(TOBI)));
    assert!(because[0].text.contains("paid as 8 h 00 at 21.50 an hour + overtime 2 h 00 at 32.25 an hour"));
}
