//! What is written into a folder that somebody named: all of it for other programs, or a backup.

use std::path::PathBuf;

use serde::{Deserialize, Serialize};
use serde_json::Value;

use crate::backup::Backup;
use crate::error::NodeError;
use crate::export;
use crate::node::Node;

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

/// Writes it, while nobody else uses the node.
pub(super) fn write(node: &mut Node, command: FolderCommand) -> Result<Value, NodeError> {
    match command {
        FolderCommand::Export { dir } => export::write(node, &dir),
        FolderCommand::BackUp { dir } => Backup::begin(node, &dir)?.write(),
    }
}
