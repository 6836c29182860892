//! What was set aside, and entering it again.

use clap::Args;
use daemon::Command;
use daemon::command::SetAsideWish;

/// Which of it to enter again; none only lists it.
#[derive(Debug, Clone, Args)]
#[command(
    after_help = "  fivebar set-aside\n  fivebar set-aside --again 7f3a02\n  fivebar set-aside --all-again"
)]
pub(crate) struct SetAside {
    /// Enter this again; as often as needed.
    #[arg(long, value_name = "KEY")]
    again: Vec<String>,
    /// Enter all of it again that can be.
    #[arg(long, conflicts_with = "again")]
    all_again: bool,
}

impl SetAside {
    pub(crate) fn command(self) -> Command {
        Command::SetAside(match (self.all_again, self.again.is_empty()) {
            (true, _) => SetAsideWish::AllAgain,
            (false, true) => SetAsideWish::List,
            (false, false) => SetAsideWish::Again(self.again),
        })
    }
}
