//! A disk that breaks on purpose, exactly as its plan says; for tests.
//!
//! It remembers what has been synced and what has not. A power cut keeps everything synced and as much
//! of the rest as the test chooses. It has no randomness of its own: the same plan breaks the same way.

use std::collections::BTreeMap;
use std::io;
use std::sync::{Arc, Mutex};

use super::memory::{lock, names_in, read_from, write_into};
use super::{Disk, DiskFile, folder_of};

/// The unit in which a real disk writes; a torn write keeps some sectors and loses others.
const SECTOR_BYTES: usize = 512;

/// What shall go wrong. Counts run from the moment the plan is set.
#[derive(Debug, Clone, Copy, Default)]
pub struct FaultPlan {
    /// The power goes after so many bytes are written: the write that crosses it is torn there, and
    /// everything after it fails.
    pub cut_power_after_bytes: Option<u64>,
    /// The disk is full after files have grown by so many bytes: the write that crosses it is torn there.
    pub full_after_bytes: Option<u64>,
    /// The sync of file data with this number (0 is the next one) fails, and leaves its bytes unsynced.
    pub fail_sync: Option<u64>,
}

/// What a power cut leaves of the bytes that were written but never synced.
#[derive(Debug, Clone, Copy)]
pub enum Survival {
    /// Nothing unsynced.
    Nothing,
    /// Everything, as when only the process is killed.
    Everything,
    /// Of each unsynced write, and of the unsynced names, those parts that the seed picks.
    Sectors {
        /// Equal seeds pick equally.
        seed: u64,
    },
}

/// A disk in memory with a [`FaultPlan`]. A clone is a second handle to the same disk.
#[derive(Debug, Clone, Default)]
pub struct FaultyDisk {
    state: Arc<Mutex<State>>,
}

#[derive(Debug, Default)]
struct State {
    plan: FaultPlan,
    written: u64,
    grown: u64,
    syncs: u64,
    dead: bool,
    /// Files by number: a name is only a reference to one.
    files: Vec<Content>,
    names: BTreeMap<String, usize>,
    durable_names: BTreeMap<String, usize>,
}

#[derive(Debug, Default)]
struct Content {
    now: Vec<u8>,
    durable: Vec<u8>,
    unsynced: Vec<Change>,
}

#[derive(Debug)]
enum Change {
    Write { offset: u64, bytes: Vec<u8> },
    Truncate { length: u64 },
}

impl FaultyDisk {
    /// An empty disk that works until it is told otherwise.
    pub fn new() -> FaultyDisk {
        FaultyDisk::default()
    }

    /// Sets what shall go wrong, and starts its counts.
    pub fn plan(&self, plan: FaultPlan) {
        let mut state = lock(&self.state);
        state.plan = plan;
        (state.written, state.grown, state.syncs, state.dead) = (0, 0, 0, false);
    }

    /// Bytes written since the plan was set.
    pub fn written_bytes(&self) -> u64 {
        lock(&self.state).written
    }

    /// Whether it works: the power has not gone yet.
    pub fn has_power(&self) -> bool {
        !lock(&self.state).dead
    }

    /// The power goes. Returns what is found at the next start, on a disk that works.
    pub fn crash(&self, survival: Survival) -> FaultyDisk {
        let state = lock(&self.state);
        let mut dice = Dice { state: if let Survival::Sectors { seed } = survival { seed } else { 0 } };
        let mut keep = || match survival {
            Survival::Nothing => false,
            Survival::Everything => true,
            Survival::Sectors { .. } => dice.toss(),
        };
        let contents: Vec<Vec<u8>> =
            state.files.iter().map(|content| surviving(content, &mut keep)).collect();
        let mut names = state.durable_names.clone();
        for (name, number) in &state.names {
            if names.get(name) != Some(number) && keep() {
                names.insert(name.clone(), *number);
            }
        }
        for name in state.durable_names.keys() {
            if !state.names.contains_key(name) && keep() {
                names.remove(name);
            }
        }
        let files = contents
            .into_iter()
            .map(|bytes| Content { durable: bytes.clone(), now: bytes, unsynced: Vec::new() })
            .collect();
        let state = State { files, names: names.clone(), durable_names: names, ..State::default() };
        FaultyDisk { state: Arc::new(Mutex::new(state)) }
    }

    /// The bytes of a file as they are now, or nothing if there is no such file.
    pub fn contents(&self, file: &str) -> Option<Vec<u8>> {
        let state = lock(&self.state);
        state.names.get(file).map(|number| state.files[*number].now.clone())
    }

    /// Puts bytes in place of a file, or takes it away, durably: as somebody else might have.
    pub fn put(&self, file: &str, bytes: Option<Vec<u8>>) {
        let mut state = lock(&self.state);
        let Some(bytes) = bytes else {
            state.names.remove(file);
            state.durable_names.remove(file);
            return;
        };
        let number = state.files.len();
        state.files.push(Content { durable: bytes.clone(), now: bytes, unsynced: Vec::new() });
        state.names.insert(file.to_owned(), number);
        state.durable_names.insert(file.to_owned(), number);
    }

    /// Turns over one bit of a file, durably, as an ageing disk does.
    pub fn flip_bit(&self, file: &str, bit: u64) -> io::Result<()> {
        let mut state = lock(&self.state);
        let number = *state.names.get(file).ok_or(io::ErrorKind::NotFound)?;
        let content = &mut state.files[number];
        let index = usize::try_from(bit / 8).map_err(|_| io::ErrorKind::InvalidInput)?;
        for bytes in [&mut content.now, &mut content.durable] {
            if let Some(byte) = bytes.get_mut(index) {
                *byte ^= 1 << (bit % 8);
            }
        }
        Ok(())
    }
}

/// A file's bytes after a power cut.
fn surviving(content: &Content, keep: &mut impl FnMut() -> bool) -> Vec<u8> {
    let mut bytes = content.durable.clone();
    for change in &content.unsynced {
        match change {
            Change::Truncate { length } => {
                if keep() {
                    bytes.truncate(*length as usize);
                }
            }
            Change::Write { offset, bytes: new } => {
                for (index, sector) in new.chunks(SECTOR_BYTES).enumerate() {
                    if keep() {
                        let at = offset + (index * SECTOR_BYTES) as u64;
                        write_into(&mut bytes, at, sector).unwrap_or_default();
                    }
                }
            }
        }
    }
    bytes
}

/// SplitMix64 (Steele, Lea and Flood, 2014): a seed in, repeatable tosses out.
struct Dice {
    state: u64,
}

impl Dice {
    fn toss(&mut self) -> bool {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.state;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        (mixed ^ (mixed >> 31)) & 1 == 1
    }
}

impl State {
    fn alive(&self) -> io::Result<()> {
        if self.dead { Err(io::Error::other("the power is gone")) } else { Ok(()) }
    }

    fn write(&mut self, number: usize, offset: u64, bytes: &[u8]) -> io::Result<()> {
        self.alive()?;
        let length = self.files[number].now.len() as u64;
        let growth = (offset + bytes.len() as u64).saturating_sub(length);
        let mut kept = bytes.len() as u64;
        let mut failure = None;
        if let Some(full) = self.plan.full_after_bytes
            && self.grown + growth > full
        {
            kept = kept.saturating_sub(self.grown + growth - full);
            failure = Some(io::Error::from(io::ErrorKind::StorageFull));
        }
        if let Some(cut) = self.plan.cut_power_after_bytes
            && self.written + kept > cut
        {
            kept = cut - self.written;
            self.dead = true;
            failure = Some(io::Error::other("the power went"));
        }
        let kept_bytes = &bytes[..kept as usize];
        let content = &mut self.files[number];
        write_into(&mut content.now, offset, kept_bytes)?;
        content.unsynced.push(Change::Write { offset, bytes: kept_bytes.to_vec() });
        self.written += kept;
        self.grown += self.files[number].now.len() as u64 - length;
        failure.map_or(Ok(()), Err)
    }

    fn sync_data(&mut self, number: usize) -> io::Result<()> {
        self.alive()?;
        let this = self.syncs;
        self.syncs += 1;
        if self.plan.fail_sync == Some(this) {
            return Err(io::Error::other("the disk did not take the bytes"));
        }
        let content = &mut self.files[number];
        content.durable.clone_from(&content.now);
        content.unsynced.clear();
        Ok(())
    }
}

impl Disk for FaultyDisk {
    fn list(&self, folder: &str) -> io::Result<Vec<String>> {
        Ok(names_in(lock(&self.state).names.keys(), folder))
    }

    fn open(&self, file: &str) -> io::Result<Box<dyn DiskFile>> {
        let number = *lock(&self.state).names.get(file).ok_or(io::ErrorKind::NotFound)?;
        Ok(Box::new(FaultyFile { state: Arc::clone(&self.state), number }))
    }

    fn create(&self, file: &str) -> io::Result<Box<dyn DiskFile>> {
        let mut state = lock(&self.state);
        state.alive()?;
        if state.names.contains_key(file) {
            return Err(io::ErrorKind::AlreadyExists.into());
        }
        let number = state.files.len();
        state.files.push(Content::default());
        state.names.insert(file.to_owned(), number);
        Ok(Box::new(FaultyFile { state: Arc::clone(&self.state), number }))
    }

    fn rename(&self, from: &str, to: &str) -> io::Result<()> {
        let mut state = lock(&self.state);
        state.alive()?;
        let number = state.names.remove(from).ok_or(io::ErrorKind::NotFound)?;
        state.names.insert(to.to_owned(), number);
        Ok(())
    }

    fn remove(&self, file: &str) -> io::Result<()> {
        let mut state = lock(&self.state);
        state.alive()?;
        state.names.remove(file).map(|_| ()).ok_or_else(|| io::ErrorKind::NotFound.into())
    }

    fn sync_folder(&self, folder: &str) -> io::Result<()> {
        let mut state = lock(&self.state);
        state.alive()?;
        let state = &mut *state;
        state.durable_names.retain(|name, _| folder_of(name) != folder);
        let names = state.names.iter().filter(|(name, _)| folder_of(name) == folder);
        state.durable_names.extend(names.map(|(name, number)| (name.clone(), *number)));
        Ok(())
    }
}

#[derive(Debug)]
struct FaultyFile {
    state: Arc<Mutex<State>>,
    number: usize,
}

impl DiskFile for FaultyFile {
    fn length(&self) -> io::Result<u64> {
        Ok(lock(&self.state).files[self.number].now.len() as u64)
    }

    fn read_at(&self, offset: u64, buffer: &mut [u8]) -> io::Result<()> {
        read_from(&lock(&self.state).files[self.number].now, offset, buffer)
    }

    fn write_at(&self, offset: u64, bytes: &[u8]) -> io::Result<()> {
        lock(&self.state).write(self.number, offset, bytes)
    }

    fn truncate(&self, length: u64) -> io::Result<()> {
        let mut state = lock(&self.state);
        state.alive()?;
        let content = &mut state.files[self.number];
        content.now.truncate(length as usize);
        content.unsynced.push(Change::Truncate { length });
        Ok(())
    }

    fn sync_data(&self) -> io::Result<()> {
        lock(&self.state).sync_data(self.number)
    }
}
