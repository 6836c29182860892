//! The mark of a data folder: a small file that says which file it is. A copy of it, or one that came back from a
//! backup, is another file that says the same, and so a folder that was copied or restored is told from the one
//! that this device wrote last.
//!
//! What is compared is what a copy can't take along: when the file came to be and, where the system has one, its
//! number on the disk. A copy of a whole disk is not noticed; a peer that holds more than we do tells of it.

use std::fs::{File, OpenOptions};
use std::io::{self, Read as _, Write as _};
use std::path::Path;
use std::time::UNIX_EPOCH;

use serde::{Deserialize, Serialize};

use crate::error::NodeError;

pub(crate) const FILE: &str = "mark.json";

/// What tells one file from its copies.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct Mark {
    /// When the file came to be, nanoseconds since 1970; none where the file system does not keep it.
    born_ns: Option<u64>,
    /// The file's number on its disk; none where the system has no such number.
    number: Option<u64>,
}

/// Whether this is the folder that was written last, or a copy of it. A folder without a mark is marked.
///
/// # Errors
/// [`NodeError::Folder`].
pub(crate) fn is_copied(folder: &Path) -> Result<bool, NodeError> {
    let path = folder.join(FILE);
    let failed = |error: io::Error| NodeError::folder(&path, &error);
    match OpenOptions::new().read(true).open(&path) {
        Ok(mut file) => {
            let mut text = String::new();
            file.read_to_string(&mut text).map_err(failed)?;
            // The power may have gone between making the file and writing into it.
            match serde_json::from_str::<Mark>(&text) {
                Ok(said) => Ok(said != Mark::of(&file).map_err(failed)?),
                Err(_) => Ok(begin(folder)),
            }
        }
        Err(error) if error.kind() == io::ErrorKind::NotFound => Ok(begin(folder)),
        Err(error) => Err(failed(error)),
    }
}

/// Marks a folder that has no mark, which is no copy. A full disk keeps nobody from reading: the next start marks it.
fn begin(folder: &Path) -> bool {
    write(folder).unwrap_or_else(|error| tracing::warn!(%error, "the folder could not be marked"));
    false
}

/// Marks a folder as the one that is written from now on.
///
/// # Errors
/// [`NodeError::Folder`].
pub(crate) fn write(folder: &Path) -> Result<(), NodeError> {
    let path = folder.join(FILE);
    let written = (|| {
        // It says what itself is, so it is written in place; a torn one counts as none.
        let mut file = OpenOptions::new().write(true).create(true).truncate(true).open(&path)?;
        let text = serde_json::to_string(&Mark::of(&file)?)?;
        file.write_all(text.as_bytes())?;
        file.sync_all()
    })();
    written.map_err(|error| NodeError::folder(&path, &error))
}

/// What a backup is marked with: whoever opens it, or a copy of it, is told that it is one. No file came to be in
/// 1970, and none has the number nought.
pub(crate) fn of_a_backup() -> Vec<u8> {
    br#"{"born_ns":0,"number":0}"#.to_vec()
}

impl Mark {
    fn of(file: &File) -> io::Result<Self> {
        let about = file.metadata()?;
        let born = about.created().ok().and_then(|born| born.duration_since(UNIX_EPOCH).ok());
        let born_ns = born.and_then(|born| u64::try_from(born.as_nanos()).ok());
        #[cfg(unix)]
        let number = Some(std::os::unix::fs::MetadataExt::ino(&about));
        #[cfg(not(unix))]
        let number = None;
        Ok(Self { born_ns, number })
    }
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    #[test]
    fn a_copy_is_told_from_what_it_was_copied_from() {
        let folder = tempfile::tempdir().unwrap();
        let copy = tempfile::tempdir().unwrap();
        assert!(!is_copied(folder.path()).unwrap(), "a folder without a mark is marked");
        assert!(!is_copied(folder.path()).unwrap(), "and stays the same folder");
        fs::copy(folder.path().join(FILE), copy.path().join(FILE)).unwrap();
        assert!(is_copied(copy.path()).unwrap());
        assert!(is_copied(copy.path()).unwrap(), "until it is marked as the one that is written");
        write(copy.path()).unwrap();
        assert!(!is_copied(copy.path()).unwrap());

        // A folder that is renamed as a whole is the same one; a file that was put back from a backup is not.
        let moved = folder.path().join("moved");
        fs::create_dir(&moved).unwrap();
        fs::rename(folder.path().join(FILE), moved.join(FILE)).unwrap();
        assert!(!is_copied(&moved).unwrap());
        let kept = fs::read(moved.join(FILE)).unwrap();
        fs::remove_file(moved.join(FILE)).unwrap();
        fs::write(folder.path().join("between"), b"takes the number that was free").unwrap();
        fs::write(moved.join(FILE), kept).unwrap();
        assert!(is_copied(&moved).unwrap());

        // A backup's own mark is no folder's.
        fs::write(moved.join(FILE), of_a_backup()).unwrap();
        assert!(is_copied(&moved).unwrap());

        // Half a mark is none.
        fs::write(moved.join(FILE), b"{\"born").unwrap();
        assert!(!is_copied(&moved).unwrap());
    }
}
