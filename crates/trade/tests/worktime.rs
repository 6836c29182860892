//! How time is counted, by tables that a foreman can read. The ways of counting are common practice without a
//! source; every figure here is computed by hand from what the table says was agreed.

mod table;

use proptest::prelude::*;
use table::rows;
use trade::worktime::{Band, CallOut, DayParts, DayRate, Overtime, Part, Stretch, TimeTerms, Uplift, count};
use trade::{Day, Rate};

fn rate(text: &str) -> Rate {
    text.parse().unwrap()
}

/// 2 November 2026 is a Monday.
fn day(number: i32) -> Day {
    "2026-11-02".parse::<Day>().unwrap().plus_days(number)
}

fn overtime(day_minutes: Option<u32>, week_minutes: Option<u32>) -> TimeTerms {
    let rate = Uplift::Times(rate("1.5"));
    TimeTerms { overtime: Some(Overtime { day_minutes, week_minutes, rate }), ..TimeTerms::default() }
}

fn by_the_day(parts: DayParts) -> TimeTerms {
    TimeTerms { day: Some(DayRate { minutes: 480, rate: rate("260"), parts }), ..TimeTerms::default() }
}

fn terms(words: &str) -> TimeTerms {
    let eight = overtime(Some(480), None);
    let weekend = TimeTerms {
        saturday: Some(Uplift::Times(rate("1.5"))),
        sunday: Some(Uplift::Hour(rate("70"))),
        holiday: Some(Uplift::Times(rate("2"))),
        holidays: vec![day(2)],
        ..eight.clone()
    };
    let call_out = CallOut { sum: "85.00".parse().unwrap(), covers_minutes: 60 };
    match words {
        "plain" => TimeTerms::default(),
        "8 h a day" => eight,
        "40 h a week" => overtime(None, Some(2_400)),
        "9 a day, 40 a week" => overtime(Some(540), Some(2_400)),
        "weekend" => weekend,
        "call-out" => TimeTerms { call_out: Some(call_out), ..eight },
        "travel" => TimeTerms { travel: Some(rate("20")), ..eight },
        "day, halves" => by_the_day(DayParts::Halves),
        "day, quarters" => by_the_day(DayParts::Quarters),
        "day and overtime" => TimeTerms { overtime: eight.overtime, ..by_the_day(DayParts::Quarters) },
        other => panic!("no terms called {other:?}"),
    }
}

/// "Mon 300, Mon 240t": minutes by day, t for travelling.
fn stretches<'t>(words: &str, terms: &'t TimeTerms) -> Vec<Stretch<'t>> {
    let days = ["Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun", "Mon2"];
    let stretch = |word: &str| {
        let (name, minutes) = word.trim().split_once(' ').unwrap();
        let number = days.iter().position(|known| *known == name).unwrap();
        Stretch {
            day: day(i32::try_from(number).unwrap()),
            minutes: minutes.trim_end_matches('t').parse().unwrap(),
            travelling: minutes.ends_with('t'),
            terms: Some(terms),
        }
    };
    words.split(',').map(stretch).collect()
}

fn said(parts: &[Part]) -> String {
    let said = parts.iter().map(|part| {
        let band = match part.band {
            Band::Ordinary => "",
            Band::Day => "d",
            Band::Overtime => "o",
            Band::Saturday => "sat",
            Band::Sunday => "sun",
            Band::Holiday => "hol",
            Band::Travel => "t",
            Band::CallOut => "c",
        };
        format!("{}{band}", part.minutes)
    });
    said.collect::<Vec<_>>().join("+")
}

#[test]
fn hours_are_counted_as_was_agreed() {
    for [agreed, worked, expected, source] in rows(
        "agreed             | worked                                     | counted as                    | source
         plain              | Mon 630                                    | 630                           | computed: nothing else was agreed
         8 h a day          | Mon 480                                    | 480                           | computed: eight hours are no overtime
         8 h a day          | Mon 481                                    | 480+1o                        | computed: the minute after is
         8 h a day          | Mon 300, Mon 240, Tue 300                  | 300, 180+60o, 300             | computed: the day is counted in its order
         40 h a week        | Mon 600, Tue 600, Wed 600, Thu 600, Fri 60 | 600, 600, 600, 600, 60o       | computed: 40 h are full on Thursday
         40 h a week        | Thu 2400, Mon2 60                          | 2400, 60                      | computed: a week begins on Monday
         9 a day, 40 a week | Mon 600, Tue 600, Wed 600, Thu 600, Fri 600| 540+60o, 540+60o, 540+60o, 540+60o, 240+360o | computed: what is overtime already does not count for the week
         weekend            | Fri 540, Sat 540, Sun 60                   | 480+60o, 540sat, 60sun        | computed: a day with a rate of its own has it for every hour
         weekend            | Wed 120                                    | 120hol                        | computed: the named day
         call-out           | Tue 45                                     | 45c                           | computed: all inside the first hour
         call-out           | Tue 45, Tue 30, Tue 450                    | 45c, 15c+15, 405+45o          | computed: the covered hour counts towards the day
         travel             | Mon 40t, Mon 490, Mon 40t                  | 40t, 480+10o, 40t             | computed: travelling is no part of the eight hours
         8 h a day          | Mon 40t, Mon 470                           | 40, 440+30o                   | computed: without a rate of its own it is time like any other
         day, halves        | Mon 480                                    | 480d                          | computed: a day
         day, halves        | Mon 600                                    | 480d                          | computed: a day is a day
         day, halves        | Mon 370                                    | 480d                          | computed: 0.77 is nearer to one than to a half
         day, halves        | Mon 350                                    | 240d                          | computed: 0.73 is nearer to a half
         day, halves        | Mon 20                                     | 240d                          | computed: no less than one part
         day, quarters      | Mon 300                                    | 360d                          | computed: 0.625 of a day, half a quarter goes up: 0.75
         day, quarters      | Mon 299                                    | 240d                          | computed: under half a quarter: 0.5
         day, quarters      | Mon 300, Mon 180                           | 300d, 180d                    | computed: one day over two stretches
         day, quarters      | Mon 100, Mon 330                           | 111d, 369d                    | computed: 430 count as 480, by what each is of it; 111.6 goes down
         day and overtime   | Mon 600                                    | 480d+120o                     | computed: what is longer than the day",
    ) {
        let terms = terms(agreed);
        let counted: Vec<_> = count(&stretches(worked, &terms)).iter().map(|parts| said(parts)).collect();
        assert_eq!(counted.join(", "), expected, "{agreed}: {worked}: {source}");
    }
}

#[test]
fn a_rate_is_a_multiple_or_pounds() {
    for [uplift, ordinary, expected, source] in rows(
        "uplift | ordinary | rate    | source
         x1.5   | 34       | 51      | computed
         x1.5   | 33.33    | 49.995  | computed: a rate is no sum, and keeps its digits
         x1.333 | 33.33333 | 44.4333 | computed: 44.43332889, to four decimals of a pound
         48     | 34       | 48      | computed: pounds do not ask
         48     |          | 48      | computed: nor need an ordinary rate
         x2     |          | none    | computed: a multiple of nothing known",
    ) {
        let own = match uplift.strip_prefix('x') {
            Some(times) => Uplift::Times(rate(times)),
            None => Uplift::Hour(rate(uplift)),
        };
        let found = own.on(ordinary.parse().ok()).map_or("none".to_owned(), |rate| rate.to_string());
        assert_eq!(found, expected, "{uplift} of {ordinary}: {source}");
    }
}

proptest! {
    /// No minute is lost or counted twice, and a day at a rate for the day never comes to more than a day.
    #[test]
    fn what_is_counted_is_what_was_worked(
        worked in proptest::collection::vec((0..14_i32, 0..900_i64, proptest::bool::weighted(0.2)), 0..25),
        agreed in 0..10_usize,
    ) {
        let names = ["plain", "8 h a day", "40 h a week", "9 a day, 40 a week", "weekend", "call-out", "travel",
            "day, halves", "day, quarters", "day and overtime"];
        let terms = terms(names[agreed]);
        let mut worked = worked;
        worked.sort_by_key(|(day, _, _)| *day);
        let stretches: Vec<_> = worked.iter().map(|(number, minutes, travelling)| Stretch {
            day: day(*number), minutes: *minutes, travelling: *travelling, terms: Some(&terms),
        }).collect();
        let counted = count(&stretches);
        prop_assert_eq!(counted.len(), stretches.len());
        for (stretch, parts) in stretches.iter().zip(&counted) {
            prop_assert_eq!(parts.iter().map(|part| part.worked).sum::<i64>(), stretch.minutes);
            prop_assert!(parts.iter().all(|part| part.minutes >= 0));
        }
        let mut days = std::collections::BTreeMap::<Day, i64>::new();
        for (stretch, parts) in stretches.iter().zip(&counted) {
            let of_day = parts.iter().filter(|part| part.band == Band::Day).map(|part| part.minutes);
            *days.entry(stretch.day).or_default() += of_day.sum::<i64>();
        }
        prop_assert!(days.values().all(|minutes| *minutes <= 480 && minutes % 120 == 0));
    }
}
