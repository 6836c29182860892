//! What can go wrong in a node, in one type: what happened, and what to do next.

use std::fmt::Display;
use std::path::Path;

use ledger::event::NotWritable;
use ledger::recovery::WordFault;
use ledger::roster::Lacking;
use ledger::{Kind, Refusal};
use trade::Day;

/// What somebody does whose device has lost its key.
const GO_ON: &str = "What was logged here still stands in the journal, so keep the folder. If there is a backup, copy \
    its device.json and its mark.json into the folder, and the device goes on in new chains. If there is none: first join \
    the crew anew in another folder (--data) by an invite of the boss (fivebar join); a boss without another phone or \
    laptop comes back by the recovery words (fivebar come-back), and does not name this device as lost yet. There take \
    in what was logged here (fivebar salvage, and this folder). Only then have this device taken off (fivebar retire): \
    what nobody holds at that moment does not count";

/// Why a command was not done.
#[derive(Debug, thiserror::Error)]
pub enum NodeError {
    /// A file of the data folder can't be read or written.
    #[error("{path}: {cause}")]
    Folder {
        /// The file.
        path: String,
        /// Why.
        cause: String,
    },
    /// The file with the device's secret key is not as it was written.
    #[error("{0} is damaged, and with it this device's key; nothing was changed. {GO_ON}")]
    DeviceDamaged(String),
    /// The file with the device's secret key is gone, and a journal lies beside where it was.
    #[error(
        "{0} is missing, and a journal lies beside it. If founding or joining was broken off here, do it once more. If \
         not, this device's key is lost. {GO_ON}"
    )]
    DeviceMissing(String),
    /// The device's file and the journal beside it are of two crews.
    #[error(
        "{0} is not of the crew whose journal lies beside it; put back the file that belongs here, from a backup of it"
    )]
    OtherCrew(String),
    /// The folder holds no ledger.
    #[error("no ledger in {0}. Found a crew with `fivebar found`, or join one with `fivebar join`")]
    NoLedger(String),
    /// The device that this folder was of is in another one.
    #[error("this device was moved to {0}; start it there, with --data")]
    Moved(String),
    /// The folder holds a ledger already.
    #[error("{0} holds a ledger already. Choose another folder with --data")]
    AlreadyFounded(String),
    /// The store can't be opened.
    #[error("the ledger can't be opened: {0}")]
    Open(#[from] store::OpenError),
    /// Nothing was appended.
    #[error("not saved: {0}")]
    Append(#[from] store::AppendError),
    /// The journal can't be read.
    #[error("the ledger can't be read: {0}")]
    Read(#[from] store::ReadError),
    /// The disk fails.
    #[error("the disk fails: {0}")]
    Disk(#[from] store::DiskError),
    /// A checkpoint can't be written.
    #[error("the checkpoint can't be written: {0}")]
    Checkpoint(#[from] store::CheckpointError),
    /// A run was refused.
    #[error("refused ({number}): {0}", number = .0.number())]
    Refused(#[from] Refusal),
    /// An entry breaks a rule of the format.
    #[error("not saved, because {0}")]
    NotWritable(#[from] NotWritable),
    /// The person or the device may not do it.
    #[error("not saved, because {}", explain(*.lacking))]
    NotAllowed {
        /// What was to be done.
        kind: Kind,
        /// What is missing for it.
        lacking: Lacking,
    },
    /// Rows of a file or words of a command are wrong.
    #[error("nothing was saved:\n{}", .0.join("\n"))]
    BadInput(Vec<String>),
    /// A backup is not what it says.
    #[error("the backup is not whole:\n{}", .0.join("\n"))]
    Backup(Vec<String>),
    /// They are not the crew's recovery words.
    #[error("{0}")]
    Words(#[from] WordFault),
    /// The machine gives no randomness.
    #[error("the machine gives no random bytes: {0}")]
    NoRandomness(String),
    /// The network.
    #[error("{0}")]
    Network(String),
}

impl NodeError {
    /// A file that can't be read or written.
    pub fn folder(path: &Path, cause: &dyn Display) -> Self {
        Self::Folder { path: path.display().to_string(), cause: cause.to_string() }
    }

    /// One thing that is wrong with a command.
    pub(crate) fn bad_input(what: impl Into<String>) -> Self {
        Self::BadInput(vec![what.into()])
    }

    /// What a layer below refused, in its own words: they name what is wrong and what to do.
    pub(crate) fn refused(refusal: impl Display) -> Self {
        Self::bad_input(refusal.to_string())
    }
}

/// Refuses a day that an option names and that is still ahead.
///
/// # Errors
/// [`NodeError::BadInput`], with the option and both days.
pub(crate) fn has_come(option: &str, day: Option<Day>, today: Day) -> Result<(), NodeError> {
    match day {
        Some(day) if day > today => {
            Err(NodeError::bad_input(format!("{option}: {day} has not come yet; it is {today} today")))
        }
        Some(_) | None => Ok(()),
    }
}

/// What is missing, in a person's words.
pub(crate) const fn explain(lacking: Lacking) -> &'static str {
    match lacking {
        Lacking::BeyondCut => "this phone or laptop was taken off the crew; ask the boss",
        Lacking::Forked => "this device wrote twice from the same place; start it anew and enter it again",
        Lacking::Admission => "this phone or laptop is not of the crew yet",
        Lacking::Person => "that person is not of the crew; the boss adds people",
        Lacking::Vouching => "this phone or laptop does not log for that person",
        Lacking::Role => "that is for the boss or the foreman",
        Lacking::Audience => "that does not belong in this list",
    }
}
