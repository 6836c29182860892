//! Lines as a crew says them, and what is made of each. The tables are text, to be read by somebody
//! who knows the trade: the line, then proposals (`(waits)` where something is open or refused), then what
//! is asked (`?`, and `(?)` where it may be skipped), shown, cautioned, refused and not understood.

mod crew;

use crew::{now, told, vocabulary};
use spoken::understand;

fn check(table: &str) -> usize {
    let mut wrong = Vec::new();
    let mut count = 0;
    for wanted in table.split("\n\n").filter(|block| !block.trim().is_empty()) {
        let line = wanted
            .lines()
            .next()
            .and_then(|line| line.strip_prefix("> "))
            .expect("a block begins with its line");
        let heard = told(line, &understand(line, &vocabulary(), &now(), None));
        count += 1;
        if heard.trim_end() != wanted.trim_end() {
            wrong.push(format!("wanted\n{wanted}\nheard\n{heard}"));
        }
    }
    assert!(wrong.is_empty(), "{} of {count} lines:\n{}", wrong.len(), wrong.join("\n"));
    count
}

#[test]
fn the_crews_own_lines_become_what_they_mean() {
    assert_eq!(check(include_str!("lines/crew.txt")), 54);
}

#[test]
fn hours_are_read() {
    assert!(check(include_str!("lines/hours.txt")) >= 60);
}

#[test]
fn materials_are_read() {
    assert!(check(include_str!("lines/materials.txt")) >= 60);
}

#[test]
fn what_is_said_in_words_is_read() {
    assert!(check(include_str!("lines/words.txt")) >= 40);
}
