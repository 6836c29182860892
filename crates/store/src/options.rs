//! Where a store keeps its files and how large they grow.

use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use ledger::CrewId;

use crate::disk::{Disk, RealDisk, Tried};
use crate::error::OpenError;
use crate::index::IndexPlace;
use crate::journal::Sizes;
use crate::lock::FolderLock;
use crate::twin::IndexTwin;

/// Segment files end at about this length.
const SEGMENT_BYTES: u64 = 64 * 1024 * 1024;

/// Room is made ready in steps of this length.
const FILL_BYTES: u64 = 1024 * 1024;

/// How long a start waits for sled before it goes on without it. Reading the whole journal again takes
/// about as long for a million events.
const INDEX_PATIENCE: Duration = Duration::from_secs(3);

/// What a store is opened on.
pub struct StoreOptions {
    pub(crate) disk: Arc<dyn Disk>,
    pub(crate) index: IndexPlace,
    pub(crate) sizes: Sizes,
    pub(crate) lock: Option<FolderLock>,
    pub(crate) only_reads: bool,
    pub(crate) taken_for: Option<CrewId>,
}

impl StoreOptions {
    /// A folder, made if missing, and locked for this process until the store is dropped.
    ///
    /// # Errors
    /// [`OpenError::Lock`] if another process has it, [`OpenError::Disk`] if it can't be made.
    pub fn folder(folder: &Path) -> Result<StoreOptions, OpenError> {
        let disk = RealDisk::new(folder).tried("make", &folder.display().to_string())?;
        let lock = FolderLock::take(folder)?;
        let mut options = StoreOptions::disk(Arc::new(disk)).with_index_folder(&folder.join("index"));
        options.lock = Some(lock);
        Ok(options)
    }

    /// Any disk, with the index in memory.
    pub fn disk(disk: Arc<dyn Disk>) -> StoreOptions {
        let sizes = Sizes { segment_bytes: SEGMENT_BYTES, fill_bytes: FILL_BYTES };
        StoreOptions {
            disk,
            index: IndexPlace::Memory,
            sizes,
            lock: None,
            only_reads: false,
            taken_for: None,
        }
    }

    /// A folder that another device left, of which nothing is changed. Nobody can write it while it is read.
    ///
    /// # Errors
    /// [`OpenError::Lock`] if another process has it.
    pub fn reading(folder: &Path) -> Result<StoreOptions, OpenError> {
        let lock = FolderLock::share(folder)?;
        let mut options = StoreOptions::disk(Arc::new(RealDisk::reading(folder))).only_reading();
        options.lock = lock;
        Ok(options)
    }

    /// Changes nothing on the disk. What is torn at the journal's end is damage like any other, and nothing can be
    /// appended.
    #[must_use]
    pub fn only_reading(mut self) -> StoreOptions {
        self.only_reads = true;
        self
    }

    /// Where nothing in the journal says any more whose it is, it is taken for this crew's.
    #[must_use]
    pub fn taken_for(mut self, crew: CrewId) -> StoreOptions {
        self.taken_for = Some(crew);
        self
    }

    /// Keeps the index in a folder of the file system.
    #[must_use]
    pub fn with_index_folder(mut self, folder: &Path) -> StoreOptions {
        self.index = IndexPlace::Folder { folder: folder.to_owned(), patience: INDEX_PATIENCE };
        self
    }

    /// Keeps the index in memory beyond the store's own life; for tests.
    #[must_use]
    pub fn with_index_twin(mut self, twin: &IndexTwin) -> StoreOptions {
        self.index = IndexPlace::Twin(twin.clone());
        self
    }

    /// Ends segments at about this length in bytes.
    #[must_use]
    pub fn with_segment_bytes(mut self, bytes: u64) -> StoreOptions {
        self.sizes.segment_bytes = bytes;
        self
    }

    /// Makes room ready in steps of so many bytes; 0 for never.
    #[must_use]
    pub fn with_fill_bytes(mut self, bytes: u64) -> StoreOptions {
        self.sizes.fill_bytes = bytes;
        self
    }
}
