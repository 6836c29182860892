//! What can go wrong, one small type for each thing the store is asked to do.

use crate::disk::DiskError;
use crate::frame::{GROUP_BYTES_MAX, RECORD_BYTES_MAX};
use crate::lock::LockError;
use crate::recovery::Damage;

/// Why a store could not be opened or made.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    /// The disk failed.
    #[error(transparent)]
    Disk(#[from] DiskError),
    /// Another process has the folder, or it can't be locked.
    #[error(transparent)]
    Lock(#[from] LockError),
    /// There is no journal here yet.
    #[error("no ledger here yet: found a crew or join one first")]
    Empty,
    /// A journal is here already.
    #[error("there is a ledger here already: open it, or use another folder")]
    NotEmpty,
    /// The journal was written by a later program.
    #[error("{file} has format {format}, which this version can't read: update fivebar first")]
    TooNew {
        /// The segment's file.
        file: String,
        /// Its format number.
        format: u16,
    },
    /// No segment and no checkpoint says any more whose journal this is.
    #[error("the first bytes of every journal file are damaged: copy the folder from another device")]
    NoHeader,
}

/// Why a group was not appended. Nothing of it counts.
#[derive(Debug, thiserror::Error)]
pub enum AppendError {
    /// The disk failed. The group was not acknowledged, and the writer has stopped.
    #[error("nothing was stored: {0}")]
    Disk(#[from] DiskError),
    /// An earlier failure stopped the writer; reading goes on.
    #[error("nothing is stored until the next start, because of this: {cause}")]
    Stopped {
        /// What failed, in words.
        cause: String,
    },
    /// A group needs a record.
    #[error("a group of no records can't be appended")]
    EmptyGroup,
    /// A record is too long.
    #[error("a record of {bytes} bytes is over the limit of {RECORD_BYTES_MAX}")]
    RecordTooLarge {
        /// Its length in bytes.
        bytes: usize,
    },
    /// The group is too long.
    #[error("a group of {bytes} bytes is over the limit of {GROUP_BYTES_MAX}")]
    GroupTooLarge {
        /// Its length in bytes.
        bytes: usize,
    },
    /// A record of kind run does not begin as a run does.
    #[error("record {number} of the group is no run")]
    NotARun {
        /// Its place in the group; the first is 0.
        number: usize,
    },
    /// The kind's number is kept for the journal itself.
    #[error("record {number} of the group has a kind that no record may have")]
    ReservedKind {
        /// Its place in the group; the first is 0.
        number: usize,
    },
}

/// Why something could not be read.
#[derive(Debug, thiserror::Error)]
pub enum ReadError {
    /// The disk failed.
    #[error(transparent)]
    Disk(#[from] DiskError),
    /// The bytes are not what was written.
    #[error("damaged in the journal: {0}; it has to be fetched from another device")]
    Damaged(Damage),
    /// The index failed, and failed again after it was rebuilt.
    #[error("the index does not work: {reason}")]
    Index {
        /// What it said.
        reason: String,
    },
}

/// Why a checkpoint was not written. The one before it, if any, still stands.
#[derive(Debug, thiserror::Error)]
pub enum CheckpointError {
    /// The disk failed.
    #[error("no checkpoint: {0}")]
    Disk(#[from] DiskError),
    /// The name can't be a file's.
    #[error("a checkpoint's name is small letters only, and {name:?} is not")]
    BadName {
        /// The name.
        name: String,
    },
}
