//! Words for the photos of the crew, and how many of them a device keeps.

use clap::{Args, ValueEnum};
use daemon::Command;
use daemon::photos::KeepPhotos;

const EXAMPLES: &str = "  Photos come after the entries, one by one, and go on where they were cut off.
  A phone that is short of room:  fivebar photos --keep small";

/// Which photos are where.
#[derive(Debug, Clone, Args)]
#[command(after_help = EXAMPLES)]
pub(crate) struct Photos {
    /// How many this device keeps from now on. What is here already stays.
    #[arg(long, value_enum)]
    keep: Option<KeepWord>,
}

impl Photos {
    pub(crate) fn command(self) -> Command {
        Command::Photos { keep: self.keep.map(Into::into) }
    }
}

/// How many of the photos a device keeps.
#[derive(Debug, Clone, Copy, ValueEnum)]
enum KeepWord {
    /// Every photo, whole.
    All,
    /// A small picture of each, made by a device that has the photo.
    Small,
    /// Only those taken with this device.
    None,
}

impl From<KeepWord> for KeepPhotos {
    fn from(word: KeepWord) -> Self {
        match word {
            KeepWord::All => Self::All,
            KeepWord::Small => Self::Small,
            KeepWord::None => Self::None,
        }
    }
}
