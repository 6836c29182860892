//! The words for the handover of a job.

use std::path::PathBuf;

use clap::Args;
use daemon::Command;
use daemon::handing_over::HandOverWish;

/// Which job, and where to.
#[derive(Debug, Clone, Args)]
#[command(
    after_help = "  fivebar handover GARAGE\n  fivebar handover GARAGE --to papers --folder\n  fivebar verify \
    handover-GARAGE.zip\n\nIt holds a PDF and the same as open data: stages and who signed them off, tests with \
    their limits, photos by place, extras agreed, materials with what was noted of their batch, certificates held \
    and missing, what to mind. Behind them stand the entries as they were signed on site.\n\nThe customer reads \
    what was noted with these entries. No hours, rates, costs, tickets or invoices go with it, and nothing of \
    another job; of sums only the prices of extras that they agreed to. What is open is no hindrance: the cover \
    says it."
)]
pub(crate) struct Handover {
    /// The job.
    job: String,
    /// Into which folder.
    #[arg(long, value_name = "DIR", default_value = ".")]
    to: PathBuf,
    /// As a plain folder instead of one zip.
    #[arg(long)]
    folder: bool,
}

impl Handover {
    pub(crate) fn command(self) -> Command {
        let Self { job, to, folder } = self;
        Command::HandOver(HandOverWish { job, dir: super::absolute(&to), as_folder: folder })
    }
}
