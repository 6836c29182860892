//! The words of the command line for backups, and for what is left of a device.

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

/// A backup that a folder is made of.
#[derive(Debug, Clone, Args)]
pub(crate) struct Restore {
    /// The backup.
    pub(crate) dir: PathBuf,
}

/// The folder that something is left in.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
  fivebar salvage /media/stick/tobi-old-phone

When a phone or laptop says that its device.json is damaged or missing, what was logged on it
still stands in its journal. Join with a new one (`fivebar join`, or `fivebar come-back`), then
salvage the old folder there. Only after that take the old device off (`fivebar retire`): what
nobody holds at that moment does not count.

Any device of the crew can do it, with any folder: one copied off a broken phone, a backup, an
old copy. Each entry is checked as if a mate's phone had sent it. Nothing in that folder is
changed, and to do it twice changes nothing.")]
pub(crate) struct Salvage {
    /// The folder: the one that has `journal` in it.
    pub(crate) dir: PathBuf,
}
