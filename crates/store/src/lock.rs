//! One process a folder: a file that the operating system locks for as long as the process lives.
//!
//! The system lets go of the lock when the process ends, however it ends, so a lock is never stale and
//! never broken by hand.

use std::fs::{File, OpenOptions, TryLockError};
use std::io;
use std::path::{Path, PathBuf};

/// Holds a folder for this process until it is dropped.
#[derive(Debug)]
pub struct FolderLock {
    /// Closing the file is what frees the folder.
    _file: File,
}

/// Why a folder could not be locked.
#[derive(Debug, thiserror::Error)]
pub enum LockError {
    /// Another process holds it.
    #[error("another fivebar is using {folder}: stop it, or work in another folder")]
    Taken {
        /// The folder.
        folder: PathBuf,
    },
    /// The lock file can't be made or locked.
    #[error("could not lock {folder}: {source}")]
    Failed {
        /// The folder.
        folder: PathBuf,
        /// The system's answer.
        source: io::Error,
    },
}

impl FolderLock {
    /// Takes the lock of a folder that exists, without waiting.
    pub fn take(folder: &Path) -> Result<FolderLock, LockError> {
        let failed = |source| LockError::Failed { folder: folder.to_owned(), source };
        let options = OpenOptions::new().read(true).write(true).create(true).truncate(false).clone();
        let file = options.open(folder.join("lock")).map_err(failed)?;
        match file.try_lock() {
            Ok(()) => Ok(FolderLock { _file: file }),
            Err(TryLockError::WouldBlock) => Err(LockError::Taken { folder: folder.to_owned() }),
            Err(TryLockError::Error(source)) => Err(failed(source)),
        }
    }

    /// Keeps whoever would write away from a folder that is only read. Nothing is made for it: none where no process
    /// ever locked the folder.
    pub fn share(folder: &Path) -> Result<Option<FolderLock>, LockError> {
        let failed = |source| LockError::Failed { folder: folder.to_owned(), source };
        let file = match File::open(folder.join("lock")) {
            Ok(file) => file,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
            Err(error) => return Err(failed(error)),
        };
        match file.try_lock_shared() {
            Ok(()) => Ok(Some(FolderLock { _file: file })),
            Err(TryLockError::WouldBlock) => Err(LockError::Taken { folder: folder.to_owned() }),
            Err(TryLockError::Error(source)) => Err(failed(source)),
        }
    }
}
