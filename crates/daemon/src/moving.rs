//! Moving a device to another folder, as to a new disk or a new laptop: it stays the same device and goes on in its
//! chains.
//!
//! A copy would be a second folder of one device, and leave its chains. So the old folder gives up the device's secret
//! before the new one is marked as the one that is written: at every moment at most one of the two goes on. Whatever breaks
//! it off, nothing is lost: the old folder is whole until the last step, and its journal even then.

use std::fs;
use std::io::{Read as _, Write as _};
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};

use crate::device::{DeviceFile, write_private};
use crate::error::NodeError;
use crate::machine::{Machine, now_ms};
use crate::mark;
use crate::node::Node;

/// What stands in a folder that was moved away.
const MOVED: &str = "moved.json";
/// What belongs to one place and is made anew in another.
const LEFT_BEHIND: [&str; 4] = ["lock", "index", "index-aside", MOVED];
/// Bytes that are copied at once.
const AT_ONCE: usize = 1024 * 1024;

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
    fs::rename(&beside, &to).map_err(|error| NodeError::folder(&to, &error))?;
    sync_folder(to.parent().unwrap_or(&to));
    let away = serde_json::to_vec_pretty(&MovedAway { to: to.clone(), at_ms: now_ms() })
        .map_err(|error| NodeError::folder(from, &error))?;
    write_private(&from.join(MOVED), &away)?;
    // From here on the old folder can write no more; until the new one is marked it would leave its chains.
    let secret = from.join(DeviceFile::NAME);
    fs::remove_file(&secret).map_err(|error| NodeError::folder(&secret, &error))?;
    sync_folder(from);
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
    fs::create_dir_all(to).map_err(|error| NodeError::folder(to, &error))?;
    #[cfg(unix)]
    if let Ok(about) = fs::metadata(from) {
        fs::set_permissions(to, about.permissions()).map_err(|error| NodeError::folder(to, &error))?;
    }
    let mut done = 0;
    for (file, _) in files {
        let (source, target) = (from.join(file), to.join(file));
        if let Some(folder) = target.parent() {
            fs::create_dir_all(folder).map_err(|error| NodeError::folder(folder, &error))?;
        }
        let copied = copy_file(&source, &target, &mut |bytes| {
            done += bytes;
            say(done);
        });
        let hash = copied.map_err(|error| NodeError::folder(&target, &error))?;
        let read_back = hash_of(&target).map_err(|error| NodeError::folder(&target, &error))?;
        if read_back != hash {
            return Err(NodeError::folder(
                &target,
                &"what was written there reads back otherwise; is the disk sound?",
            ));
        }
    }
    let mut folders: Vec<PathBuf> =
        files.iter().filter_map(|(file, _)| to.join(file).parent().map(Path::to_owned)).collect();
    folders.dedup();
    folders.iter().for_each(|folder| sync_folder(folder));
    sync_folder(to);
    Ok(())
}

/// Copies one file durably, with its permissions, and gives the hash of what was read.
fn copy_file(from: &Path, to: &Path, say: &mut dyn FnMut(u64)) -> std::io::Result<blake3::Hash> {
    let (mut source, mut target) = (fs::File::open(from)?, fs::File::create_new(to)?);
    target.set_permissions(source.metadata()?.permissions())?;
    let mut hasher = blake3::Hasher::new();
    let mut buffer = vec![0; AT_ONCE];
    loop {
        let read = source.read(&mut buffer)?;
        let Some(bytes) = buffer.get(..read).filter(|bytes| !bytes.is_empty()) else { break };
        hasher.update(bytes);
        target.write_all(bytes)?;
        say(bytes.len() as u64);
    }
    target.sync_all()?;
    Ok(hasher.finalize())
}

fn hash_of(path: &Path) -> std::io::Result<blake3::Hash> {
    let mut hasher = blake3::Hasher::new();
    hasher.update_reader(fs::File::open(path)?)?;
    Ok(hasher.finalize())
}

/// Makes the names in a folder durable, where the system can.
fn sync_folder(folder: &Path) {
    #[cfg(unix)]
    if let Err(error) = fs::File::open(folder).and_then(|folder| folder.sync_all()) {
        tracing::warn!(%error, "the names in a folder could not be synced");
    }
    #[cfg(not(unix))]
    let _ = folder;
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
