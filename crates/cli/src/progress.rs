//! How far a command has come, as a bar on the terminal. Where standard error is no terminal, nothing is
//! printed.

use std::time::Duration;

use daemon::command::Step;
use daemon::{Command, Progress};
use indicatif::{ProgressBar, ProgressStyle};

/// What a bar of bytes says.
const BYTES: &str = "{bytes} of {total_bytes} {msg} {wide_bar} {eta} to go";

/// The bar of a command that takes its time; for others one that never shows.
pub(crate) fn bar(command: &Command) -> ProgressBar {
    if !matches!(
        command,
        Command::Import { .. } | Command::Verify | Command::Folder(_) | Command::HandOver(_)
    ) {
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
        let words = match reached.step {
            Step::RowsRead | Step::EventsWritten | Step::PhotosTaken => {
                "{human_pos} of {human_len} {msg} {wide_bar} {eta} to go"
            }
            Step::BytesCopied | Step::BytesRead => BYTES,
        };
        if let Ok(style) = ProgressStyle::with_template(words) {
            bar.set_style(style);
        }
    }
    bar.set_message(match reached.step {
        Step::RowsRead => "rows read and checked",
        Step::EventsWritten => "events written",
        Step::BytesCopied => "copied",
        Step::BytesRead => "read and checked",
        Step::PhotosTaken => "photos taken over",
    });
    reach(bar, reached.done, reached.of);
}

/// Moves a bar to so many of so many.
pub(crate) fn reach(bar: &ProgressBar, done: u64, of: u64) {
    bar.set_length(of);
    bar.set_position(done);
}

/// A bar of bytes that are copied.
pub(crate) fn copying() -> ProgressBar {
    let bar = ProgressBar::new(0).with_message("copied");
    if let Ok(style) = ProgressStyle::with_template(BYTES) {
        bar.set_style(style);
    }
    bar
}
