//! What is done with a folder that somebody named: all is written into it, a backup is kept in it, or what it holds of the
//! crew's is taken in.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

/// What is done, and with which folder.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum FolderCommand {
    /// Everything as JSON Lines and CSV.
    Export {
        /// A folder that does not exist yet.
        dir: PathBuf,
    },
    /// A backup of the data folder.
    BackUp {
        /// A folder that does not exist yet, or the last backup of this device.
        dir: PathBuf,
    },
    /// Entries and photos of the crew that another data folder holds and this one lacks.
    Salvage {
        /// What is left of a device, a copy or a backup.
        dir: PathBuf,
    },
}
