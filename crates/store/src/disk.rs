//! The disk as the store sees it: two small traits and three disks that keep them.
//!
//! [`RealDisk`] is a folder, [`MemoryDisk`] forgets when the last handle goes, and [`FaultyDisk`]
//! breaks on purpose and on plan, for tests. Names are relative to the disk's root, with `/` between
//! a folder and its file, and a folder is never more than one deep. A disk decides nothing: it never
//! retries, never repairs and never hides an error.

mod faulty;
mod memory;
mod real;

use std::fmt;
use std::io;

pub use faulty::{FaultPlan, FaultyDisk, Survival};
pub use memory::MemoryDisk;
pub(crate) use memory::lock;
pub use real::RealDisk;

/// A place for files. All calls block until the operating system has answered.
pub trait Disk: Send + Sync {
    /// The names (without the folder) of the files in `folder`, in order; none if there is no such folder.
    fn list(&self, folder: &str) -> io::Result<Vec<String>>;

    /// Opens a file that exists for reading and writing.
    fn open(&self, file: &str) -> io::Result<Box<dyn DiskFile>>;

    /// Makes an empty file, and its folder if that is missing. Fails if the file exists.
    ///
    /// The file's name is durable only after [`Disk::sync_folder`].
    fn create(&self, file: &str) -> io::Result<Box<dyn DiskFile>>;

    /// Gives a file another name in the same folder, in place of any file that had it.
    fn rename(&self, from: &str, to: &str) -> io::Result<()>;

    /// Removes a file.
    fn remove(&self, file: &str) -> io::Result<()>;

    /// Makes the names in `folder` durable: files made, renamed and removed.
    fn sync_folder(&self, folder: &str) -> io::Result<()>;
}

/// An open file.
pub trait DiskFile: Send + Sync {
    /// The file's length in bytes.
    fn length(&self) -> io::Result<u64>;

    /// Fills `buffer` with the bytes at `offset`, or fails with `UnexpectedEof`.
    fn read_at(&self, offset: u64, buffer: &mut [u8]) -> io::Result<()>;

    /// Writes all of `bytes` at `offset`, extending the file if need be. After an error any part of
    /// them may be written.
    fn write_at(&self, offset: u64, bytes: &[u8]) -> io::Result<()>;

    /// Shortens the file to `length` bytes.
    fn truncate(&self, length: u64) -> io::Result<()>;

    /// Makes the file's bytes and length durable.
    fn sync_data(&self) -> io::Result<()>;
}

/// A disk operation that failed: what was tried, on which file, and what the system said.
#[derive(Debug)]
pub struct DiskError {
    /// What was tried, as a verb: "read", "write", "sync".
    pub act: &'static str,
    /// The file or folder, relative to the disk's root.
    pub file: String,
    /// The system's answer.
    pub source: io::Error,
}

impl DiskError {
    /// Whether the cause is that the disk, or the user's share of it, has no room left.
    pub fn is_full(&self) -> bool {
        matches!(self.source.kind(), io::ErrorKind::StorageFull | io::ErrorKind::QuotaExceeded)
    }
}

impl fmt::Display for DiskError {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (act, file, source) = (self.act, &self.file, &self.source);
        if self.is_full() {
            write!(formatter, "disk full: could not {act} {file} ({source}); free some space and start again")
        } else {
            write!(formatter, "could not {act} {file}: {source}")
        }
    }
}

impl std::error::Error for DiskError {
    fn source(&self) -> Option<&(dyn std::error::Error + 'static)> {
        Some(&self.source)
    }
}

/// Says what was tried, and on which file, when a disk operation fails.
pub(crate) trait Tried<T> {
    /// Turns an operating-system error into a [`DiskError`].
    fn tried(self, act: &'static str, file: &str) -> Result<T, DiskError>;
}

impl<T> Tried<T> for io::Result<T> {
    fn tried(self, act: &'static str, file: &str) -> Result<T, DiskError> {
        self.map_err(|source| DiskError { act, file: file.to_owned(), source })
    }
}

/// The folder part of a file's name on a disk, empty for a file at the root.
fn folder_of(file: &str) -> &str {
    file.rsplit_once('/').map_or("", |(folder, _)| folder)
}
