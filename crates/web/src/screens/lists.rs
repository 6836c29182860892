//! *Lists from files*: what is wrong in the files that were sent, or what would be taken in of them.

use askama::Template;

use crate::frame::{Frame, Tab};
use crate::lists_in::Waiting;
use crate::look::Look;

/// Most bad rows on the screen; the rest is counted.
const MOST_BAD: usize = 200;

/// The screen.
#[derive(Template)]
#[template(path = "lists.html")]
pub(crate) struct ListsIn {
    pub(crate) frame: Frame,
    /// Files wait.
    waits: bool,
    /// What would be taken in: a kind, and how many.
    kinds: Vec<(String, u64)>,
    /// How many are there already; empty for none.
    there_already: String,
    warnings: Vec<String>,
    /// Every bad row: file, line, column, reason.
    bad: Vec<String>,
    more_bad: usize,
}

/// Fills the screen.
pub(crate) fn lists(look: &Look<'_>, waiting: &Waiting) -> ListsIn {
    let title = look.job.map_or_else(|| "Lists from files".to_owned(), |job| format!("{} · lists", job.code));
    let mut screen = ListsIn {
        frame: look.frame(Tab::Job, title),
        waits: !matches!(waiting, Waiting::Nothing),
        kinds: Vec::new(),
        there_already: String::new(),
        warnings: Vec::new(),
        bad: Vec::new(),
        more_bad: 0,
    };
    match waiting {
        Waiting::Nothing => {}
        Waiting::Sound(answer) => {
            let rows = answer["kinds"].as_array().into_iter().flatten();
            let count = |row: &serde_json::Value| row["count"].as_u64().unwrap_or(0);
            screen.kinds =
                rows.map(|row| (row["kind"].as_str().unwrap_or_default().to_owned(), count(row))).collect();
            let held = answer["already_held"].as_u64().filter(|held| *held > 0);
            screen.there_already = held.map(|held| held.to_string()).unwrap_or_default();
            let warnings = answer["warnings"].as_array().into_iter().flatten();
            screen.warnings = warnings.filter_map(|text| text.as_str().map(str::to_owned)).collect();
        }
        Waiting::Bad(rows) => {
            screen.bad = rows.iter().take(MOST_BAD).cloned().collect();
            screen.more_bad = rows.len().saturating_sub(MOST_BAD);
        }
    }
    screen
}
