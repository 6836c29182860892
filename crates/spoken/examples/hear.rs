//! Lines on standard input, and what is heard in them, for trying sentences out.

use std::io::BufRead as _;

#[path = "../tests/crew/mod.rs"]
mod crew;

fn main() {
    let (vocabulary, now) = (crew::vocabulary(), crew::now());
    for line in std::io::stdin().lock().lines().map_while(Result::ok) {
        println!("{}", crew::told(&line, &spoken::understand(&line, &vocabulary, &now, None)));
    }
}
