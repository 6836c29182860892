//! Machines that don't exist: a disk that breaks on plan, a clock that may be wrong, and dice for chance.

use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicI64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use daemon::NodeError;
use daemon::machine::Machine;
use store::{Disk as _, FaultPlan, FaultyDisk, IndexTwin, StoreOptions, Survival};

use crate::dice::Dice;

/// Where the small files are on the disk; the journal's folders stand beside it.
const SMALL_FILES: &str = "small";
/// Where the store keeps its segments.
const JOURNAL: &str = "journal";
/// The small file that says which machine it was written on.
const MARK: &str = "mark";

/// A machine from when it is switched on to when it is switched off.
pub struct InventedMachine {
    folder: PathBuf,
    disk: FaultyDisk,
    /// The index, which is written beside the disk and promises nothing.
    index: IndexTwin,
    /// What a copy of the folder can't take along.
    identity: u64,
    /// Segment files end at about so many bytes.
    segment_bytes: u64,
    world_ms: Arc<AtomicI64>,
    /// How far the clock is from the world's, in milliseconds.
    skew_ms: AtomicI64,
    dice: Mutex<Dice>,
}

impl InventedMachine {
    /// A machine with this disk, in the world whose time is `world_ms`.
    #[must_use]
    pub fn new(
        name: &str,
        disk: FaultyDisk,
        identity: u64,
        world_ms: &Arc<AtomicI64>,
        mut dice: Dice,
    ) -> Self {
        Self {
            folder: PathBuf::from(name),
            disk,
            index: IndexTwin::default(),
            identity,
            segment_bytes: 2048 << dice.below(6),
            world_ms: Arc::clone(world_ms),
            skew_ms: AtomicI64::new(0),
            dice: Mutex::new(dice),
        }
    }

    /// The same machine when it is switched on again, with what a loss of power left on its disk.
    #[must_use]
    pub fn switched_on_again(&self, survival: Survival, dice: Dice) -> Self {
        let index = match survival {
            Survival::Everything => self.index.clone(),
            // What was put there last may be there and may not.
            Survival::Nothing | Survival::Sectors { .. } => self.index.before(dice.clone().below(3)),
        };
        self.set_back_to(self.disk.crash(survival), index, dice)
    }

    /// The same machine with another disk, which is no other to whoever looks: a snapshot of all of it.
    #[must_use]
    pub fn set_back_to(&self, disk: FaultyDisk, index: IndexTwin, dice: Dice) -> Self {
        let name = self.folder.display().to_string();
        let again = Self::new(&name, disk, self.identity, &self.world_ms, dice);
        again.skew_ms.store(self.skew_ms.load(Ordering::Relaxed), Ordering::Relaxed);
        Self { index, ..again }
    }

    /// The disk.
    #[must_use]
    pub const fn disk(&self) -> &FaultyDisk {
        &self.disk
    }

    /// The index.
    #[must_use]
    pub const fn index(&self) -> &IndexTwin {
        &self.index
    }

    /// Which machine it is.
    #[must_use]
    pub const fn identity(&self) -> u64 {
        self.identity
    }

    /// Sets what shall go wrong with the disk from now on.
    pub fn plan(&self, plan: FaultPlan) {
        self.disk.plan(plan);
    }

    /// Turns the clock.
    pub fn turn_clock(&self, skew_ms: i64) {
        self.skew_ms.store(skew_ms, Ordering::Relaxed);
    }

    fn failed(&self, file: &str, error: &io::Error) -> NodeError {
        NodeError::folder(&self.folder.join(file), error)
    }

    fn whole(&self, name: &str) -> io::Result<Option<Vec<u8>>> {
        let file = match self.disk.open(name) {
            Ok(file) => file,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
            Err(error) => return Err(error),
        };
        let mut bytes = vec![0; usize::try_from(file.length()?).unwrap_or_default()];
        file.read_at(0, &mut bytes)?;
        Ok(Some(bytes))
    }

    /// Beside, synced, renamed, the folder synced: as a real machine does it.
    fn replace(&self, file: &str, bytes: &[u8]) -> io::Result<()> {
        let (name, beside) = (format!("{SMALL_FILES}/{file}"), format!("{SMALL_FILES}/{file}.new"));
        match self.disk.remove(&beside) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
            Ok(()) | Err(_) => {}
        }
        let new = self.disk.create(&beside)?;
        new.write_at(0, bytes)?;
        new.sync_data()?;
        self.disk.rename(&beside, &name)?;
        self.disk.sync_folder(SMALL_FILES)
    }

    /// In place, as a real machine writes its mark.
    fn write_mark(&self) -> io::Result<()> {
        let name = format!("{SMALL_FILES}/{MARK}");
        let file = match self.disk.open(&name) {
            Ok(file) => file,
            Err(error) if error.kind() == io::ErrorKind::NotFound => self.disk.create(&name)?,
            Err(error) => return Err(error),
        };
        file.truncate(0)?;
        file.write_at(0, format!("machine {}.", self.identity).as_bytes())?;
        file.sync_data()?;
        self.disk.sync_folder(SMALL_FILES)
    }
}

impl Machine for InventedMachine {
    fn now_ms(&self) -> i64 {
        self.world_ms.load(Ordering::Relaxed) + self.skew_ms.load(Ordering::Relaxed)
    }

    fn fill_random(&self, bytes: &mut [u8]) -> Result<(), NodeError> {
        self.dice.lock().unwrap_or_else(PoisonError::into_inner).fill(bytes);
        Ok(())
    }

    fn folder(&self) -> &Path {
        &self.folder
    }

    fn read(&self, file: &str) -> Result<Option<Vec<u8>>, NodeError> {
        self.whole(&format!("{SMALL_FILES}/{file}")).map_err(|error| self.failed(file, &error))
    }

    fn write(&self, file: &str, bytes: &[u8]) -> Result<(), NodeError> {
        self.replace(file, bytes).map_err(|error| self.failed(file, &error))
    }

    fn is_copied(&self) -> Result<bool, NodeError> {
        let said = self.read(MARK)?.and_then(|bytes| String::from_utf8(bytes).ok());
        let said = said.as_deref().and_then(|said| said.strip_prefix("machine ")?.strip_suffix('.'));
        match said {
            Some(said) => Ok(said != self.identity.to_string()),
            // None, or half of one: the folder is marked, and a full disk keeps nobody from reading.
            None => {
                let _ = self.write_mark();
                Ok(false)
            }
        }
    }

    fn mark(&self) -> Result<(), NodeError> {
        self.write_mark().map_err(|error| self.failed(MARK, &error))
    }

    fn journal(&self) -> Result<StoreOptions, NodeError> {
        let options = StoreOptions::disk(Arc::new(self.disk.clone()));
        let options = options.with_index_twin(&self.index);
        Ok(options.with_segment_bytes(self.segment_bytes).with_fill_bytes(1024))
    }

    fn has_journal(&self) -> Result<bool, NodeError> {
        let segments = self.disk.list(JOURNAL).map_err(|error| self.failed(JOURNAL, &error))?;
        Ok(!segments.is_empty())
    }

    fn put_unfinished_aside(&self) -> Result<(), NodeError> {
        let segments = self.disk.list(JOURNAL).map_err(|error| self.failed(JOURNAL, &error))?;
        for segment in segments {
            let name = format!("{JOURNAL}/{segment}");
            self.disk.remove(&name).map_err(|error| self.failed(&name, &error))?;
        }
        self.disk.sync_folder(JOURNAL).map_err(|error| self.failed(JOURNAL, &error))
    }
}
