//! Usual waits: each by the names that people give to stages, with its source.

use trade::Day;
use trade::waits::{WAITS, length, usual_wait};

mod table;

#[test]
fn each_wait_is_found_by_what_people_call_the_stages() {
    let table = "
        after              | before              | wait     | source
        skim, plastering   | mist coat, painting | 5 days   | seen: simmondsdecorating, 3 to 6 days
        Skim, plastering   | wall tiling, tiling | 28 days  | seen+comp: TN 16.23, 4 weeks
        lining dot and dab | tiling              | 10 days  | seen+comp: NHBC 9.2.5
        patching           | skim                | 2 hours  | common practice
        tanking, tiling    | tiling              | 1 day    | seen: 24 to 48 h
        tiling             | grouting            | 1 day    | seen+comp: fixed 17:00, grout from 17:00 next day
        grouting           | shower in use       | 14 days  | seen+comp: TN 16.23
        stud walls         | boarding            | none     | nothing dries
        boarding           | skim                | none     | nothing dries";
    let on: Day = "2026-11-25".parse().unwrap();
    for [after, before, wanted, source] in table::rows::<4>(table) {
        let found = usual_wait(after, before, on).map_or("none".to_owned(), |wait| length(wait.minutes));
        assert_eq!(found, wanted, "{after} → {before} ({source})");
    }
}

#[test]
fn a_wait_never_says_that_a_thing_is_ready() {
    for wait in WAITS {
        assert!(wait.minutes > 0 && !wait.source.is_empty() && wait.from.parse::<Day>().is_ok(), "{wait:?}");
        for text in [wait.what, wait.look_for] {
            for word in ["ready", "is dry", "safe", "cured"] {
                assert!(!text.contains(word), "{text}");
            }
        }
    }
}

#[test]
fn lengths_as_they_are_said() {
    for (minutes, words) in [
        (0, "no wait"),
        (60, "1 hour"),
        (90, "1 hour 30 minutes"),
        (1_440, "1 day"),
        (2_160, "36 hours"),
        (40_320, "28 days"),
    ] {
        assert_eq!(length(minutes), words);
    }
}
