//! Folders, for the tests of several crates: each takes in this file by its path.

use std::fs;
use std::path::Path;

/// Copies a folder with all that is in it to where nothing is yet.
pub(crate) fn copy(from: &Path, to: &Path) {
    fs::create_dir(to).unwrap();
    for entry in fs::read_dir(from).unwrap().map(Result::unwrap) {
        let target = to.join(entry.file_name());
        if entry.file_type().unwrap().is_dir() {
            copy(&entry.path(), &target);
        } else {
            fs::copy(entry.path(), target).unwrap();
        }
    }
}
