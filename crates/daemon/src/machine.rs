//! What a node needs of the machine that it runs on: its small files, the disk of its journal, a clock, and random
//! bytes. A node asks the machine and nothing else, so that a node on an invented machine is the same node: how it
//! keeps its word when the power goes or the clock is wrong is tried on such machines, from a seed.
//!
//! A machine decides nothing and keeps no rule of the ledger.

use std::path::{Path, PathBuf};

use store::StoreOptions;
use trade::{Day, Moment};

use crate::copying::make_private;
use crate::device::write_private;
use crate::error::NodeError;
use crate::mark;
use crate::node::OF_THE_FOLDER;

/// Where the journal is within the data folder.
pub(crate) const JOURNAL: &str = "journal";

/// A machine.
pub trait Machine: Send + Sync {
    /// What the wall clock shows, in milliseconds since 1970.
    fn now_ms(&self) -> i64;

    /// Fills all of `bytes` at random.
    ///
    /// # Errors
    /// [`NodeError::NoRandomness`].
    fn fill_random(&self, bytes: &mut [u8]) -> Result<(), NodeError>;

    /// The data folder, for what only a real machine keeps: photos and papers.
    fn folder(&self) -> &Path;

    /// The bytes of one of the small files beside the journal; none if there is no such file.
    ///
    /// # Errors
    /// [`NodeError::Folder`].
    fn read(&self, file: &str) -> Result<Option<Vec<u8>>, NodeError>;

    /// Writes a small file so that either the old or the new one is there, whatever happens, and durably.
    ///
    /// # Errors
    /// [`NodeError::Folder`]; the file is then as it was.
    fn write(&self, file: &str, bytes: &[u8]) -> Result<(), NodeError>;

    /// Whether this is a copy of the folder that was marked, or one that came back from a backup. A folder without
    /// a mark is marked.
    ///
    /// # Errors
    /// [`NodeError::Folder`].
    fn is_copied(&self) -> Result<bool, NodeError>;

    /// Marks the folder as the one that is written from now on.
    ///
    /// # Errors
    /// [`NodeError::Folder`].
    fn mark(&self) -> Result<(), NodeError>;

    /// What the store of the journal is opened on, taken for this process alone.
    ///
    /// # Errors
    /// Why it can't be had.
    fn journal(&self) -> Result<StoreOptions, NodeError>;

    /// Whether a journal lies in the data folder.
    ///
    /// # Errors
    /// [`NodeError::Folder`].
    fn has_journal(&self) -> Result<bool, NodeError>;

    /// A journal without a device file is what a founding or joining left that was broken off before it was
    /// done: nobody has the key to it. It is put aside, not deleted, and the folder can be used again.
    ///
    /// # Errors
    /// [`NodeError::Folder`].
    fn put_unfinished_aside(&self) -> Result<(), NodeError>;
}

impl dyn Machine + '_ {
    /// Random bytes.
    pub(crate) fn random<const N: usize>(&self) -> Result<[u8; N], NodeError> {
        let mut bytes = [0; N];
        self.fill_random(&mut bytes)?;
        Ok(bytes)
    }
}

/// The machine that this program runs on, with a folder of its file system.
#[derive(Debug, Clone)]
pub struct ThisMachine {
    folder: PathBuf,
}

impl ThisMachine {
    /// With this data folder, which is made when something is written.
    #[must_use]
    pub fn new(folder: &Path) -> Self {
        Self { folder: folder.to_owned() }
    }
}

impl Machine for ThisMachine {
    fn now_ms(&self) -> i64 {
        now_ms()
    }

    fn fill_random(&self, bytes: &mut [u8]) -> Result<(), NodeError> {
        getrandom::fill(bytes).map_err(|error| NodeError::NoRandomness(error.to_string()))
    }

    fn folder(&self) -> &Path {
        &self.folder
    }

    fn read(&self, file: &str) -> Result<Option<Vec<u8>>, NodeError> {
        let path = self.folder.join(file);
        match std::fs::read(&path) {
            Ok(bytes) => Ok(Some(bytes)),
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => Ok(None),
            Err(error) => Err(NodeError::folder(&path, &error)),
        }
    }

    fn write(&self, file: &str, bytes: &[u8]) -> Result<(), NodeError> {
        write_private(&self.folder.join(file), bytes)
    }

    fn is_copied(&self) -> Result<bool, NodeError> {
        mark::is_copied(&self.folder)
    }

    fn mark(&self) -> Result<(), NodeError> {
        mark::write(&self.folder)
    }

    fn journal(&self) -> Result<StoreOptions, NodeError> {
        // The journal names everybody's hours, and the key lies beside it.
        make_private(&self.folder)?;
        Ok(StoreOptions::folder(&self.folder.join(JOURNAL))?)
    }

    fn has_journal(&self) -> Result<bool, NodeError> {
        let journal = self.folder.join(JOURNAL);
        journal.try_exists().map_err(|error| NodeError::folder(&journal, &error))
    }

    fn put_unfinished_aside(&self) -> Result<(), NodeError> {
        if !self.has_journal()? {
            return Ok(());
        }
        let journal = self.folder.join(JOURNAL);
        let aside = self.folder.join(format!("{JOURNAL}-unfinished-{}", now_ms()));
        std::fs::rename(&journal, &aside).map_err(|error| NodeError::folder(&journal, &error))?;
        tracing::warn!(
            target: OF_THE_FOLDER,
            "Take note: a journal whose device is not known was put aside as {}. If it is more than a beginning that was \
             broken off, `fivebar salvage` takes in what it holds",
            aside.display()
        );
        Ok(())
    }
}

/// Random bytes from this machine.
pub(crate) fn random<const N: usize>() -> Result<[u8; N], NodeError> {
    <dyn Machine>::random(&ThisMachine::new(Path::new("")))
}

/// What this machine's wall clock shows, in milliseconds since 1970.
pub(crate) fn now_ms() -> i64 {
    let since = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH);
    since.ok().and_then(|since| i64::try_from(since.as_millis()).ok()).unwrap_or(0)
}

/// Today on this machine.
pub(crate) fn today() -> Result<Day, NodeError> {
    Ok(moment(now_ms())?.day())
}

/// An instant as a node's clock shows it. The site's zone is the crew's, wherever the machine stands.
pub(crate) fn moment(now_ms: i64) -> Result<Moment, NodeError> {
    Moment::in_zone(now_ms, "Europe/London")
        .map_err(|error| NodeError::bad_input(format!("the clock: {error}")))
}
