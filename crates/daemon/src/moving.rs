//! Moving a device to another folder, as to a new disk or a new laptop: it stays the same device and goes on in its
//! chains.
//!
//! A copy would be a second folder of one device, and leave its chains. So the old folder gives up the device's secret
//! before the new one is marked as the one that is written: at every moment at most one of the two goes on. Whatever breaks
//! it off, nothing is lost: the old folder is whole until the last step, and its journal even then.

use std::fs;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::copying::{copy, hash, make_private, sync_name};
use crate::device::{DeviceFile, write_private};
use crate::error::NodeError;
use crate::machine::{Machine, now_ms};
use crate::mark;
use crate::node::Node;

/// What stands in a folder that was moved away.
const MOVED: &str = "moved.json";
/// What belongs to one place and is made anew in another.
const LEFT_BEHIND: [&str; 4] = ["lock", "index", "index-aside", MOVED];

/// Where a folder was moved.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct MovedAway {
    /// The new folder.
    pub(crate) to: PathBuf,
    /// When, milliseconds since 1970.
    at_ms: i64,
}

/// What was moved.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Moved {
    /// The new folder.
    pub to: PathBuf,
    /// How many files.
    pub files: u64,
    /// Their bytes.
    pub bytes: u64,
}

/// Where the device of a folder without a device went, if it was moved away.
///
/// # Errors
/// [`NodeError::Folder`].
pub(crate) fn moved_away(machine: &dyn Machine) -> Result<Option<MovedAway>, NodeError> {
    let text = machine.read(MOVED)?;
    Ok(text.and_then(|text| serde_json::from_slice(&text).ok()))
}

/// Moves the device of a folder that nothing uses into another, which must not exist yet. `say` is told how many
/// bytes are copied, of how many.
///
/// # Errors
/// Why it was not moved. The old folder goes on as before, unless the error says that it gave up the secret.
pub fn move_to(from: &Path, to: &Path, say: &dyn Fn(u64, u64)) -> Result<Moved, NodeError> {
    if to.exists() {
        return Err(NodeError::bad_input(format!(
            "{} is there already; name a folder that is not",
            to.display()
        )));
    }
    let to = std::path::absolute(to).map_err(|error| NodeError::folder(to, &error))?;
    let inside = std::path::absolute(from).is_ok_and(|from| to.starts_with(from));
    if inside {
        return Err(NodeError::bad_input("a folder can't be moved into itself"));
    }
    // Nobody else writes while it is held open, and what it had to settle is settled.
    let mut node = Node::open(from)?;
    node.write_checkpoint()?;
    let files = files_of(from)?;
    let bytes = files.iter().map(|(_, bytes)| bytes).sum();
    let beside = beside(&to);
    // What a try left behind that was broken off.
    let _ = fs::remove_dir_all(&beside);
    let copied = copy_all(from, &beside, &files, &|done| say(done, bytes));
    if let Err(error) = copied {
        // What was copied so far is of no use, and the whole is where it was.
        let _ = fs::remove_dir_all(&beside);
        return Err(error);
    }
    fs::rename(&beside, &to).and_then(|()| sync_name(&to)).map_err(|error| NodeError::folder(&to, &error))?;
    let away = serde_json::to_vec_pretty(&MovedAway { to: to.clone(), at_ms: now_ms() })
        .map_err(|error| NodeError::folder(from, &error))?;
    write_private(&from.join(MOVED), &away)?;
    // From here on the old folder can write no more; until the new one is marked it would leave its chains.
    let secret = from.join(DeviceFile::NAME);
    fs::remove_file(&secret).map_err(|error| NodeError::folder(&secret, &error))?;
    sync_name(&secret).map_err(|error| {
        let gave_up = format!("{error}. The device's secret was given up here: go on with {}", to.display());
        NodeError::folder(&secret, &gave_up)
    })?;
    drop(node);
    mark::write(&to)?;
    Ok(Moved { to, files: files.len() as u64, bytes })
}

/// The folder under which it is gathered until it is whole.
fn beside(to: &Path) -> PathBuf {
    let mut name = to.file_name().unwrap_or_default().to_owned();
    name.push(".moving");
    to.with_file_name(name)
}

/// The files that are moved, by their place within the folder, with their lengths.
fn files_of(folder: &Path) -> Result<Vec<(PathBuf, u64)>, NodeError> {
    let mut found = Vec::new();
    let mut folders = vec![PathBuf::new()];
    while let Some(inner) = folders.pop() {
        let path = folder.join(&inner);
        let failed = |error: &std::io::Error| NodeError::folder(&path, error);
        for entry in fs::read_dir(&path).map_err(|error| failed(&error))? {
            let entry = entry.map_err(|error| failed(&error))?;
            let name = entry.file_name();
            if LEFT_BEHIND.iter().any(|left| name == *left) {
                continue;
            }
            let about = entry.metadata().map_err(|error| failed(&error))?;
            if about.is_dir() {
                folders.push(inner.join(name));
            } else if about.is_file() {
                found.push((inner.join(name), about.len()));
            }
        }
    }
    found.sort();
    Ok(found)
}

fn copy_all(from: &Path, to: &Path, files: &[(PathBuf, u64)], say: &dyn Fn(u64)) -> Result<(), NodeError> {
    make_private(to)?;
    let mut done = 0;
    for (file, _) in files {
        let target = to.join(file);
        target.parent().map_or(Ok(()), make_private)?;
        let copied = copy(&from.join(file), &target, None, &mut |bytes| {
            done += bytes;
            say(done);
        })?;
        if hash(&target, None, &mut |_| ())? != copied {
            return Err(NodeError::folder(
                &target,
                &"what was written there reads back otherwise; is the disk sound?",
            ));
        }
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_moved_device_goes_on_in_its_chains_and_the_old_folder_only_says_where_it_went() {
        let home = tempfile::tempdir().unwrap();
        let (old, new) = (home.path().join("old"), home.path().join("new"));
        let (node, _) = Node::found(&old, "Oake Rooms", "Maren Oake", "laptop").unwrap();
        let (key, chain) = (node.key(), node.device().crew_chain);
        crate::photos::keep_bytes(&old, b"\xff\xd8\xff\xe0 wall").unwrap();
        assert!(move_to(&old, &new, &|_, _| ()).is_err(), "a device that is in use stays");
        assert!(!new.exists());
        drop(node);
        assert!(move_to(&old, &old.join("inner"), &|_, _| ()).is_err());
        let said = std::cell::RefCell::new(Vec::new());
        let moved = move_to(&old, &new, &|done, of| said.borrow_mut().push((done, of))).unwrap();
        assert_eq!(said.borrow().last(), Some(&(moved.bytes, moved.bytes)));

        #[cfg(unix)]
        for file in files_of(&new).unwrap().into_iter().map(|(file, _)| new.join(file)) {
            use std::os::unix::fs::PermissionsExt as _;
            let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
            assert_eq!((mode(&file), mode(file.parent().unwrap())), (0o600, 0o700), "{}", file.display());
            assert_eq!(mode(&old), 0o700, "where it was founded");
        }
        let node = Node::open(&new).unwrap();
        assert_eq!((node.key(), node.device().crew_chain), (key, chain), "it is no copy");
        assert_eq!(fs::read_dir(new.join("photos")).unwrap().count(), 1);
        let error = Node::open(&old).map(drop).unwrap_err().to_string();
        assert!(error.contains("was moved to") && error.contains("new"), "{error}");
        assert!(!fs::exists(old.join(DeviceFile::NAME)).unwrap());
        drop(node);
        assert!(move_to(&home.path().join("elsewhere"), &old, &|_, _| ()).is_err());
        // And back again, elsewhere.
        let third = home.path().join("third");
        move_to(&new, &third, &|_, _| ()).unwrap();
        assert_eq!(Node::open(&third).unwrap().device().crew_chain, chain);
    }

    #[test]
    fn broken_off_before_the_end_no_two_folders_write_the_same_chain() {
        let home = tempfile::tempdir().unwrap();
        let (old, new) = (home.path().join("old"), home.path().join("new"));
        drop(Node::found(&old, "Oake Rooms", "Maren Oake", "laptop").unwrap());
        // All was copied, and then the power went: the old one goes on, the new one is a copy.
        copy_all(&old, &new, &files_of(&old).unwrap(), &|_| ()).unwrap();
        assert!(Node::open(&old).unwrap().device().crew_chain.is_some());
        assert_eq!(Node::open(&new).unwrap().device().crew_chain, None);
        // A try that was broken off leaves nothing that the next one trips over.
        fs::create_dir_all(home.path().join("third.moving/journal")).unwrap();
        assert!(move_to(&old, &home.path().join("third"), &|_, _| ()).is_ok());
    }
}
