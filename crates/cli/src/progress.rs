//! How far a command has come, as a bar on the terminal. Where standard error is no terminal, nothing is
//! printed.

use std::time::Duration;

use daemon::command::Step;
use daemon::{Command, Progress};
use indicatif::{ProgressBar, ProgressStyle};

/// The bar of a command that takes its time; for others one that never shows.
pub(crate) fn bar(command: &Command) -> ProgressBar {
    if !matches!(command, Command::Import { .. } | Command::Verify | Command::Folder(_)) {
        return ProgressBar::hidden();
    }
    let bar = ProgressBar::new_spinner();
    bar.set_message("working through the ledger…");
    bar.enable_steady_tick(Duration::from_millis(120));
    bar
}

/// Moves the bar to where the command is.
pub(crate) fn show(bar: &ProgressBar, reached: Progress) {
    if bar.length() != Some(reached.of) {
        let words = "{human_pos} of {human_len} {msg} {wide_bar} {eta} to go";
        if let Ok(style) = ProgressStyle::with_template(words) {
            bar.set_style(style);
        }
        bar.set_length(reached.of);
    }
    bar.set_message(match reached.step {
        Step::RowsRead => "rows read and checked",
        Step::EventsWritten => "events written",
    });
    bar.set_position(reached.done);
}

/// A bar of bytes that are copied.
pub(crate) fn copying() -> ProgressBar {
    let bar = ProgressBar::new(0);
    if let Ok(style) = ProgressStyle::with_template("{bytes} of {total_bytes} copied {wide_bar} {eta} to go")
    {
        bar.set_style(style);
    }
    bar
}
