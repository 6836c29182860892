//! The recovery words at the command line: how they are printed, asked for, and used to come back. They are
//! never an argument, which other programs and the shell's history could see.

use std::io::{BufRead as _, IsTerminal as _, Write as _};
use std::path::Path;

use daemon::{Back, NodeError, RecoverySecret, Return};
use serde_json::Value;

use crate::args::ComeBack;
use crate::pages::text;

/// What is printed once.
pub(crate) fn paper(words: &RecoverySecret) -> String {
    let words = words.words();
    let third = words.len().div_ceil(3);
    let line = |at: usize| {
        let cell = |place: usize| words.get(place).map(|word| format!("{:>4}  {word:<10}", place + 1));
        let line: String = [at, at + third, at + 2 * third].into_iter().filter_map(cell).collect();
        line.trim_end().to_owned()
    };
    let lines: Vec<String> = (0..third).map(line).collect();
    format!(
        "Your recovery words. Write them on paper now: they are shown this once and kept nowhere.\n\n{}\n\n\
         If all your phones and laptops are lost, these words make you the boss again on a new one:\n\
         `fivebar come-back`. They also take a stolen laptop off the crew: `fivebar retire NAME --words`.\n\
         Whoever has them can do the same, so keep the paper at home, away from the laptop; not in a photo.\n\
         To try them: `fivebar words --check`.",
        lines.join("\n")
    )
}

/// When they were printed, or that the ones that were typed are right.
pub(crate) fn printed(answer: &Value) -> String {
    let printed = format!(
        "The recovery words were printed on {}, when {} founded the crew on {}. They are kept on paper alone.",
        text(answer, "printed"),
        text(answer, "by"),
        text(answer, "on")
    );
    if answer["right"] == true { format!("These are the crew's recovery words.\n{printed}") } else { printed }
}

/// The words as somebody types them. A file or another program may give them, too.
pub(crate) fn ask_for_words() -> Result<String, NodeError> {
    if std::io::stdin().is_terminal() {
        println!("The twelve recovery words, with spaces between them, in one line or more:");
    }
    let mut words = String::new();
    for line in std::io::stdin().lock().lines() {
        let line = line.map_err(|error| NodeError::BadInput(vec![format!("no words: {error}")]))?;
        words.push_str(&line);
        words.push(' ');
        let is_word = |word: &&str| word.chars().any(char::is_alphabetic);
        if words.split_whitespace().filter(is_word).count() >= daemon::RECOVERY_WORDS {
            break;
        }
    }
    Ok(words)
}

/// Comes back by the words that are asked for.
pub(crate) fn come_back(folder: &Path, wish: &ComeBack) -> Result<Back, NodeError> {
    let words = RecoverySecret::from_words(&ask_for_words()?)?;
    let said = Return { words: &words, name: &wish.device, person: wish.person.as_deref(), at: &wish.at };
    let bar = crate::fetching();
    let lost = |theirs: &[String]| {
        bar.suspend(|| match (wish.all_lost, wish.lost.is_empty()) {
            (true, _) => Ok(theirs.to_vec()),
            (false, false) => Ok(wish.lost.clone()),
            (false, true) => ask_which(theirs),
        })
    };
    let back = daemon::come_back(folder, &said, lost, |progress| {
        bar.set_length(progress.announced.max(progress.held));
        bar.set_position(progress.held);
    });
    bar.finish_and_clear();
    back
}

/// Asks which devices are lost; where nobody can be asked, none is.
fn ask_which(theirs: &[String]) -> Result<Vec<String>, NodeError> {
    if !std::io::stdin().is_terminal() {
        return Ok(Vec::new());
    }
    print!(
        "Your phones and laptops: {}.\nWhich are lost? (names with commas, `all`, or Enter for none) ",
        theirs.join(", ")
    );
    let mut line = String::new();
    let read = std::io::stdout().flush().and_then(|()| std::io::stdin().read_line(&mut line));
    read.map_err(|error| NodeError::BadInput(vec![format!("no answer: {error}")]))?;
    if line.trim() == "all" {
        return Ok(theirs.to_vec());
    }
    Ok(line.split(',').map(str::trim).filter(|name| !name.is_empty()).map(str::to_owned).collect())
}

/// Somebody is back.
pub(crate) fn back(back: &Back) -> String {
    let mut page = format!(
        "{} is back as a boss of {}. {} events fetched and checked.",
        back.person, back.crew_name, back.events
    );
    if back.retired.is_empty() {
        page += "\nNothing was taken off. For a lost device: `fivebar retire NAME --words`.";
    } else {
        page += &format!("\nTaken off the crew: {}.", back.retired.join(", "));
    }
    page + "\nNext: `fivebar run` meets the others; the words are still good, so put the paper back."
}
