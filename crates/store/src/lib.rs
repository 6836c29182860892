//! The store: a crew's truth on disk, and what is derived from it to find things fast.
//!
//! **The journal is the truth**: append-only segment files of records in groups, each group ended by a
//! commit frame and synced before anything is acknowledged. The **index** (offsets of runs) and the
//! **checkpoints** (what a caller made of it) are derived: without them a start takes longer and nothing
//! else changes.
//!
//! The store never judges what it holds: signatures, chains and rights are the ledger's. It never asks
//! the clock what came first, never repairs by guessing, and never drops bytes without a copy in `cut/`
//! and a word in its report.
//!
//! The index is a sled database and stays on sled 0.34.7: `flush()` of that version calls
//! `sync_file_range` on Linux, which is no promise across a power cut, so nothing is believed beyond a
//! checkpoint and whatever it lost is read again from the journal; and the 1.0 alphas list open deadlocks
//! and failing crash tests in their own source. If it errs, panics or is slow to open, its folder is put
//! aside and an index in memory takes its place.

mod checkpoint;
mod disk;
mod error;
mod extent;
mod frame;
mod healing;
mod index;
mod journal;
mod lock;
mod options;
mod recovery;
mod runs;
mod scanner;
mod segment;
mod span;
mod store;
mod table;
mod twin;

pub use checkpoint::Checkpoint;
pub use disk::{Disk, DiskError, DiskFile, FaultPlan, FaultyDisk, MemoryDisk, RealDisk, Survival};
pub use error::{AppendError, CheckpointError, OpenError, ReadError};
pub use frame::{GROUP_BYTES_MAX, RECORD_BYTES_MAX, Record, RecordKind};
pub use healing::Healed;
pub use index::IndexState;
pub use lock::{FolderLock, LockError};
pub use options::StoreOptions;
pub use recovery::{CutTail, Damage, OpenReport};
pub use runs::Runs;
pub use span::RunSpan;
pub use store::{CheckpointWriter, DeepReport, ReplayReport, Store, StoredRun};
pub use twin::{IndexTrouble, IndexTwin};

/// A place in the journal: a segment's number and a distance from that file's start in bytes.
/// Places order as the journal was written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Position {
    /// The segment's number; the first is 1.
    pub segment: u32,
    /// The distance from the file's start in bytes.
    pub offset: u64,
}

impl std::fmt::Display for Position {
    fn fmt(&self, formatter: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(formatter, "segment {} byte {}", self.segment, self.offset)
    }
}
