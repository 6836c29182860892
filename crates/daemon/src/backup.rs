//! A backup of a data folder, taken while the ledger is in use; its check; and a folder restored from it.
//!
//! A backup is a data folder of its own: journal, photos and the small files, with a list of them and their hashes
//! (`backup.json`), and a mark by which whoever opens it or a copy of it goes on in new chains. What only saves time
//! (index, checkpoints) is left out. Taken again into the same folder, only what changed is written; whenever that is
//! broken off, what is there is still a journal without gaps. It holds the device's secret, as the data folder does.

mod list;

use std::fs;
use std::io::ErrorKind;
use std::path::{Path, PathBuf};

use serde_json::{Value, json};

use crate::copying::{self, copy, make_private, write_small};
use crate::device::DeviceFile;
use crate::error::NodeError;
use crate::local::Door;
use crate::machine::random;
use crate::mark;
use crate::node::{Node, WholeRead};
use list::{List, Listed, frontier_of};

/// Where segments of the journal are within a data folder.
const SEGMENTS: &str = "journal/journal";
/// Where photos are.
const PHOTOS: &str = "photos";

/// Where the segments of a data folder's journal are.
pub(crate) fn segments_of(folder: &Path) -> PathBuf {
    folder.join(SEGMENTS)
}

/// A backup that was begun: what it will hold is settled, and nothing is copied yet. The ledger may go on meanwhile.
#[derive(Debug)]
pub struct Backup {
    from: PathBuf,
    to: PathBuf,
    list: List,
    small: Vec<(String, Vec<u8>)>,
    /// The last segment, and how many bytes of it are durable.
    last: (u32, u64),
}

impl Backup {
    /// Settles what a backup into a folder will hold: all that is durable now.
    ///
    /// # Errors
    /// A folder that holds something else, or the disk.
    pub(crate) fn begin(node: &Node, to: &Path) -> Result<Self, NodeError> {
        let from = node.folder().to_owned();
        check_target(node, to)?;
        let mut small = Vec::new();
        for name in files_in(&from)? {
            // A door is of this process, a mark of this folder, and what is half written is nothing.
            let is_passing = name == Door::FILE || name == mark::FILE || name.ends_with(".new");
            if !is_passing {
                let path = from.join(&name);
                let bytes = fs::read(&path).map_err(|error| NodeError::folder(&path, &error))?;
                small.push((name, bytes));
            }
        }
        small.push((mark::FILE.to_owned(), mark::of_a_backup()));
        let end = node.journal_end();
        let list = List {
            layout: list::LAYOUT,
            program: env!("CARGO_PKG_VERSION").to_owned(),
            made_ms: node.now_ms(),
            crew: node.crew(),
            device: node.key(),
            events: node.ledger().chains().map(|chain| chain.tip.next_seq).sum(),
            frontier: frontier_of(node),
            files: Vec::new(),
        };
        Ok(Self { from, to: to.to_owned(), list, small, last: (end.segment, end.offset) })
    }

    /// Copies what changed since the last backup into the folder. `say` is told how many bytes are there, of how many.
    ///
    /// # Errors
    /// [`NodeError::Folder`]; do the same once more.
    pub fn write(mut self, say: &dyn Fn(u64, u64)) -> Result<Value, NodeError> {
        let former = list::begin(&self.to)?;
        for folder in ["", "journal", SEGMENTS, PHOTOS] {
            make_private(&self.to.join(folder))?;
        }
        let large = self.large()?;
        let small_bytes: u64 = self.small.iter().map(|(_, bytes)| bytes.len() as u64).sum();
        let of = small_bytes + large.iter().map(|(_, bytes)| bytes).sum::<u64>();
        let (mut copied, mut done) = (0, 0);
        for (name, bytes) in std::mem::take(&mut self.small) {
            copied += write_small(&self.to.join(&name), &bytes)?;
            done += bytes.len() as u64;
            self.list.files.push(Listed::of(name, &bytes));
        }
        say(done, of);
        for (name, bytes) in large {
            copied += self.take(name, bytes, &former, &mut |more| {
                done += more;
                say(done, of);
            })?;
        }
        self.list.files.sort_by(|one, other| one.name.cmp(&other.name));
        list::finish(&self.to, &self.list)?;
        let photos = self.list.files.iter().filter(|file| file.is_photo()).count();
        Ok(json!({ "dir": self.to, "events": self.list.events, "photos": photos,
            "bytes": self.list.bytes(|_| true), "bytes_copied": copied, "frontier": self.list.frontier }))
    }

    /// The segments and photos, each with how many bytes of it the backup holds.
    fn large(&self) -> Result<Vec<(String, u64)>, NodeError> {
        let mut large = Vec::new();
        for segment in files_in(&self.from.join(SEGMENTS))? {
            let number = segment.strip_suffix(".segment").and_then(|number| number.parse::<u32>().ok());
            let name = format!("{SEGMENTS}/{segment}");
            match number {
                Some(number) if number < self.last.0 => large.push(with_length(&self.from, name)?),
                Some(number) if number == self.last.0 => large.push((name, self.last.1)),
                // Begun after this backup was, or none of ours.
                Some(_) | None => {}
            }
        }
        for photo in files_in(&self.from.join(PHOTOS))?.into_iter().filter(|name| is_hash(name)) {
            large.push(with_length(&self.from, format!("{PHOTOS}/{photo}"))?);
        }
        Ok(large)
    }

    /// Takes a file in, unless the folder has it as it is. Gives how many bytes were copied; `say` is told of all that
    /// are there.
    fn take(
        &mut self,
        name: String,
        length: u64,
        former: &[Listed],
        say: &mut dyn FnMut(u64),
    ) -> Result<u64, NodeError> {
        let (from, to) = (self.from.join(&name), self.to.join(&name));
        let had = former.iter().find(|file| file.name == name);
        let had = had.filter(|had| had.bytes == length && is_as_long(&to, length));
        // A photo's name is the hash of its bytes, so one that is there is not read again; the check reads it.
        let is_same = |had: &&Listed| -> Result<bool, NodeError> {
            Ok(had.is_photo() || copying::hash(&from, Some(length), &mut |_| ())?.1 == had.blake3)
        };
        if let Some(had) = had
            && is_same(&had)?
        {
            self.list.files.push(had.clone());
            say(length);
            return Ok(0);
        }
        let (bytes, blake3) = copy(&from, &to, Some(length), say)?;
        self.list.files.push(Listed { name, bytes, blake3 });
        Ok(bytes)
    }
}

/// Checks a backup: reads every file of it, and rehearses going on with it, in a folder for the time being. Nothing
/// of the backup is changed. `say` is told how many bytes are read, of how many.
///
/// # Errors
/// What is missing or changed, or why the rehearsal failed.
pub fn check(dir: &Path, say: &dyn Fn(u64, u64)) -> Result<Value, NodeError> {
    let list = list::read(dir)?;
    let is_rehearsed = |file: &Listed| !file.is_photo();
    let (mut done, of) = (0, list.bytes(|_| true) + list.bytes(is_rehearsed));
    let mut more = |bytes| {
        done += bytes;
        say(done, of);
    };
    list::verify(dir, &list, &mut more)?;
    let stage = Stage::new()?;
    let rehearsed = stage.0.join("data");
    put_together(dir, &rehearsed, &list, is_rehearsed, &mut more)?;
    let (events, runs) = open_and_compare(&rehearsed, &list)?;
    let photos = list.files.iter().filter(|file| file.is_photo()).count();
    Ok(
        json!({ "dir": dir, "made_ms": list.made_ms, "files": list.files.len(), "photos": photos, "events": events,
        "runs": runs, "frontier": list.frontier }),
    )
}

/// Makes a data folder of a backup. Whoever uses it from then on writes new chains. `say` is told how many bytes are
/// copied, of how many.
///
/// # Errors
/// A folder that holds a ledger already, a backup that is not whole, or the disk. Nothing is left half done.
pub fn restore(dir: &Path, data: &Path, say: &dyn Fn(u64, u64)) -> Result<Value, NodeError> {
    if DeviceFile::read(data)?.is_some() {
        return Err(NodeError::AlreadyFounded(data.display().to_string()));
    }
    if !files_in(data)?.is_empty() {
        let what = format!(
            "{} holds other files. Choose a folder that does not exist yet with --data",
            data.display()
        );
        return Err(NodeError::bad_input(what));
    }
    let list = list::read(dir)?;
    let beside = beside(data)?;
    let (mut done, of) = (0, list.bytes(|_| true));
    let mut more = |bytes| {
        done += bytes;
        say(done, of);
    };
    let restored = put_together(dir, &beside, &list, |_| true, &mut more)
        .and_then(|()| open_and_compare(&beside, &list))
        .and_then(|found| {
            // An empty folder may stand where it is to be.
            let _ = fs::remove_dir(data);
            fs::rename(&beside, data).map_err(|error| NodeError::folder(data, &error))?;
            Ok(found)
        });
    if restored.is_err() {
        let _ = fs::remove_dir_all(&beside);
    }
    let (events, _) = restored?;
    let photos = list.files.iter().filter(|file| file.is_photo()).count();
    Ok(json!({ "data": data, "made_ms": list.made_ms, "events": events, "photos": photos }))
}

/// Copies the listed files into a new folder, and compares each with the list on the way.
fn put_together(
    dir: &Path,
    to: &Path,
    list: &List,
    is_wanted: impl Fn(&Listed) -> bool,
    say: &mut dyn FnMut(u64),
) -> Result<(), NodeError> {
    for folder in ["", "journal", SEGMENTS, PHOTOS] {
        make_private(&to.join(folder))?;
    }
    for file in list.files.iter().filter(|file| is_wanted(file)) {
        let from = dir.join(&file.name);
        let found = copy(&from, &to.join(&file.name), None, say)?;
        if found != (file.bytes, file.blake3.clone()) {
            return Err(NodeError::folder(&from, &"changed since the backup was made; use another backup"));
        }
    }
    Ok(())
}

/// Opens what was put together, reads all of it, and compares it with what the backup says.
fn open_and_compare(folder: &Path, list: &List) -> Result<(u64, u64), NodeError> {
    let mut node = Node::open(folder)?;
    let WholeRead { report, verified: events, .. } = node.verify()?;
    let damage = report.damage.len();
    let frontier = frontier_of(&node);
    node.leave();
    if damage > 0 || events != list.events || frontier != list.frontier || list.crew != node_crew(folder)? {
        let what = format!(
            "the backup does not hold what it says: {events} of {} events can be read, and {damage} places are \
             damaged; use another backup",
            list.events
        );
        return Err(NodeError::bad_input(what));
    }
    Ok((events, report.runs))
}

fn node_crew(folder: &Path) -> Result<ledger::CrewId, NodeError> {
    let file = DeviceFile::read(folder)?;
    file.map(|file| file.crew).ok_or_else(|| NodeError::NoLedger(folder.display().to_string()))
}

/// Refuses a folder that something else is in.
fn check_target(node: &Node, to: &Path) -> Result<(), NodeError> {
    let absolute = |path: &Path| std::path::absolute(path).unwrap_or_else(|_| path.to_owned());
    if absolute(to).starts_with(absolute(node.folder())) {
        return Err(NodeError::bad_input(
            "a backup within the data folder would be lost with it; choose another place",
        ));
    }
    if files_in(to)?.is_empty() {
        return Ok(());
    }
    let former = list::read_any(to)?;
    if former.is_some_and(|former| former.device == node.key() && former.crew == node.crew()) {
        return Ok(());
    }
    let what = format!(
        "{} holds other files than a backup of this device; choose a folder that does not exist yet",
        to.display()
    );
    Err(NodeError::bad_input(what))
}

/// The names of the files in a folder; none if there is no such folder.
fn files_in(folder: &Path) -> Result<Vec<String>, NodeError> {
    let failed = |error: std::io::Error| NodeError::folder(folder, &error);
    let entries = match fs::read_dir(folder) {
        Ok(entries) => entries,
        Err(error) if error.kind() == ErrorKind::NotFound => return Ok(Vec::new()),
        Err(error) => return Err(failed(error)),
    };
    let mut names = Vec::new();
    for entry in entries {
        let entry = entry.map_err(failed)?;
        if let (true, Ok(name)) =
            (entry.file_type().map_err(failed)?.is_file(), entry.file_name().into_string())
        {
            names.push(name);
        }
    }
    names.sort_unstable();
    Ok(names)
}

/// A file of a folder, with its length.
fn with_length(folder: &Path, name: String) -> Result<(String, u64), NodeError> {
    let path = folder.join(&name);
    let about = fs::metadata(&path).map_err(|error| NodeError::folder(&path, &error))?;
    Ok((name, about.len()))
}

fn is_hash(name: &str) -> bool {
    name.len() == 64 && name.bytes().all(|byte| byte.is_ascii_hexdigit())
}

fn is_as_long(path: &Path, bytes: u64) -> bool {
    fs::metadata(path).is_ok_and(|about| about.len() == bytes)
}

/// A folder beside the one that is to be made, on the same disk, so that it can take its name at once.
fn beside(data: &Path) -> Result<PathBuf, NodeError> {
    let mut name = data.file_name().unwrap_or_default().to_owned();
    name.push(format!(".restoring-{}", hex::encode(random::<4>()?)));
    Ok(data.with_file_name(name))
}

/// A folder for the time being, gone when this is dropped.
struct Stage(PathBuf);

impl Stage {
    fn new() -> Result<Self, NodeError> {
        let folder = std::env::temp_dir().join(format!("fivebar-rehearsal-{}", hex::encode(random::<8>()?)));
        make_private(&folder)?;
        Ok(Self(folder))
    }
}

impl Drop for Stage {
    fn drop(&mut self) {
        if let Err(error) = fs::remove_dir_all(&self.0) {
            tracing::warn!(folder = %self.0.display(), %error, "what a rehearsal left could not be removed");
        }
    }
}
