//! What is written into a folder that somebody named: all of it for other programs, or a backup.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};

/// What is written, and where.
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
}
