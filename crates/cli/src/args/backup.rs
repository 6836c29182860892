//! The words of the command line for backups.

use std::path::PathBuf;

use clap::Args;

/// A backup that is made or checked.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
  fivebar backup /media/stick/fivebar          photos too; treat it like a house key
  fivebar backup /media/stick/fivebar --check
  fivebar restore /media/stick/fivebar --data new-folder

A device that was restored goes on in new chains, and fetches what is newer from the others.")]
pub(crate) struct Backup {
    /// The folder: a new one, or the last backup of this device, of which only what changed is copied.
    pub(crate) dir: PathBuf,
    /// Read all of a backup, and rehearse going on with it.
    #[arg(long)]
    pub(crate) check: bool,
}
