//! What a backup says it holds: `backup.json`, described in `proto/FORMAT-journal.md`.

use std::fs;
use std::path::{Component, Path};

use ledger::{CrewId, DeviceKey};
use serde::{Deserialize, Serialize};

use super::PHOTOS;
use crate::copying;
use crate::device::write_private;
use crate::error::NodeError;
use crate::node::Node;

/// The layout that this program writes.
pub(super) const LAYOUT: u32 = 1;
/// The list of a backup that is whole.
const FILE: &str = "backup.json";
/// The list of the one before it, while a backup is taken again.
const FORMER: &str = "backup-unfinished.json";

/// A file of a backup.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Listed {
    /// Its place within the folder, with `/` between names.
    pub(super) name: String,
    /// Its length.
    pub(super) bytes: u64,
    /// Its hash, in hex.
    pub(super) blake3: String,
}

impl Listed {
    pub(super) fn of(name: String, bytes: &[u8]) -> Self {
        let length = u64::try_from(bytes.len()).unwrap_or(u64::MAX);
        Self { name, bytes: length, blake3: blake3::hash(bytes).to_hex().to_string() }
    }

    pub(super) fn is_photo(&self) -> bool {
        Path::new(&self.name).starts_with(PHOTOS)
    }
}

/// What a backup holds.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub(super) struct List {
    pub(super) layout: u32,
    /// The version of the program that made it.
    pub(super) program: String,
    /// When it was begun, milliseconds since 1970.
    pub(super) made_ms: i64,
    pub(super) crew: CrewId,
    /// The device whose folder it is of.
    pub(super) device: DeviceKey,
    /// How many events it holds.
    pub(super) events: u64,
    /// The digest of the frontier of all chains, in hex.
    pub(super) frontier: String,
    pub(super) files: Vec<Listed>,
}

impl List {
    /// The bytes of those of its files that are wanted.
    pub(super) fn bytes(&self, is_wanted: impl Fn(&Listed) -> bool) -> u64 {
        self.files.iter().filter(|file| is_wanted(file)).map(|file| file.bytes).sum()
    }
}

/// The digest of what a node holds.
pub(super) fn frontier_of(node: &Node) -> String {
    hex::encode(node.ledger().frontier(None).digest())
}

/// Reads the list of a whole backup.
pub(super) fn read(dir: &Path) -> Result<List, NodeError> {
    if let Some(list) = read_list(&dir.join(FILE))? {
        return Ok(list);
    }
    let what = if dir.join(FORMER).exists() {
        "is a backup that was not finished; make it again"
    } else {
        "is no backup that fivebar made"
    };
    Err(NodeError::bad_input(format!("{} {what}", dir.display())))
}

/// Reads the list of a backup, whole or not; none if the folder is none.
pub(super) fn read_any(dir: &Path) -> Result<Option<List>, NodeError> {
    match read_list(&dir.join(FILE))? {
        Some(list) => Ok(Some(list)),
        None => read_list(&dir.join(FORMER)),
    }
}

fn read_list(path: &Path) -> Result<Option<List>, NodeError> {
    let failed = |error: &dyn std::fmt::Display| NodeError::folder(path, error);
    let bytes = match fs::read(path) {
        Ok(bytes) => bytes,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(failed(&error)),
    };
    let list: List = serde_json::from_slice(&bytes).map_err(|error| failed(&error))?;
    if list.layout != LAYOUT {
        return Err(failed(&format!(
            "its layout is {}, and this program reads {LAYOUT}: update fivebar",
            list.layout
        )));
    }
    // A list comes from outside: it must not name a file anywhere else.
    let is_within = |name: &str| {
        !name.is_empty() && Path::new(name).components().all(|part| matches!(part, Component::Normal(_)))
    };
    match list.files.iter().find(|file| !is_within(&file.name)) {
        Some(file) => Err(failed(&format!("it names {:?}, which is no place within a backup", file.name))),
        None => Ok(Some(list)),
    }
}

/// Marks the folder as one whose backup is under way, and gives what the former one held.
pub(super) fn begin(dir: &Path) -> Result<Vec<Listed>, NodeError> {
    let former = read_any(dir)?.map(|list| list.files).unwrap_or_default();
    let (list, aside) = (dir.join(FILE), dir.join(FORMER));
    if list.exists() {
        fs::rename(&list, &aside).map_err(|error| NodeError::folder(&list, &error))?;
    }
    Ok(former)
}

/// Writes the list of a backup that is whole now.
pub(super) fn finish(dir: &Path, list: &List) -> Result<(), NodeError> {
    let bytes = serde_json::to_vec_pretty(list).map_err(|error| NodeError::folder(dir, &error))?;
    write_private(&dir.join(FILE), &bytes)?;
    // One that stays behind is not looked at while the other is there.
    let _ = fs::remove_file(dir.join(FORMER));
    Ok(())
}

/// Reads every file of a backup and compares it with the list. `say` is told of each so many bytes that were read.
pub(super) fn verify(dir: &Path, list: &List, say: &mut dyn FnMut(u64)) -> Result<(), NodeError> {
    let mut wrong = Vec::new();
    for file in &list.files {
        match copying::hash(&dir.join(&file.name), None, say) {
            Ok(found) if found == (file.bytes, file.blake3.clone()) => {}
            Ok(_) => wrong.push(format!("{} was changed since the backup was made", file.name)),
            Err(error) => wrong.push(error.to_string()),
        }
    }
    if wrong.is_empty() { Ok(()) } else { Err(NodeError::Backup(wrong)) }
}
