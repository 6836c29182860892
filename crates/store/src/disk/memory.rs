//! A disk in memory, for tests and for nodes that keep nothing.

use std::collections::BTreeMap;
use std::io;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};

use super::{Disk, DiskFile, folder_of};

/// The bytes of one file, shared by the disk and every open handle.
type Bytes = Arc<Mutex<Vec<u8>>>;

/// Files in memory. A clone is a second handle to the same files, so that a test can drop a store and
/// open it again.
#[derive(Debug, Clone, Default)]
pub struct MemoryDisk {
    files: Arc<Mutex<BTreeMap<String, Bytes>>>,
}

impl MemoryDisk {
    /// An empty disk.
    pub fn new() -> MemoryDisk {
        MemoryDisk::default()
    }

    /// A disk of its own with the same files: what a copied folder is.
    pub fn copy(&self) -> MemoryDisk {
        let files = lock(&self.files)
            .iter()
            .map(|(name, bytes)| (name.clone(), Arc::new(Mutex::new(lock(bytes).clone()))))
            .collect();
        MemoryDisk { files: Arc::new(Mutex::new(files)) }
    }

    /// The bytes of a file, or nothing if there is no such file.
    pub fn contents(&self, file: &str) -> Option<Vec<u8>> {
        lock(&self.files).get(file).map(|bytes| lock(bytes).clone())
    }

    /// Puts bytes in place of a file, made if it is missing, as someone else might have.
    pub fn put(&self, file: &str, bytes: Vec<u8>) {
        lock(&self.files).insert(file.to_owned(), Arc::new(Mutex::new(bytes)));
    }

    fn find(&self, file: &str) -> io::Result<Bytes> {
        lock(&self.files).get(file).cloned().ok_or_else(|| io::ErrorKind::NotFound.into())
    }
}

/// A panic elsewhere can't leave a byte vector half changed, so a poisoned lock is taken over.
pub(crate) fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Copies the bytes at `offset` into `buffer`.
pub(super) fn read_from(bytes: &[u8], offset: u64, buffer: &mut [u8]) -> io::Result<()> {
    let start = usize::try_from(offset).map_err(|_| io::ErrorKind::UnexpectedEof)?;
    let end = start.checked_add(buffer.len()).ok_or(io::ErrorKind::UnexpectedEof)?;
    buffer.copy_from_slice(bytes.get(start..end).ok_or(io::ErrorKind::UnexpectedEof)?);
    Ok(())
}

/// Writes `new` at `offset`, with zeros in any gap before it.
pub(super) fn write_into(bytes: &mut Vec<u8>, offset: u64, new: &[u8]) -> io::Result<()> {
    let start = usize::try_from(offset).map_err(|_| io::ErrorKind::FileTooLarge)?;
    let end = start.checked_add(new.len()).ok_or(io::ErrorKind::FileTooLarge)?;
    if bytes.len() < end {
        bytes.resize(end, 0);
    }
    bytes[start..end].copy_from_slice(new);
    Ok(())
}

/// The names directly in `folder`, without it.
pub(super) fn names_in<'a>(files: impl Iterator<Item = &'a String>, folder: &str) -> Vec<String> {
    files
        .filter(|name| folder_of(name) == folder)
        .map(|name| name.rsplit_once('/').map_or(name.as_str(), |(_, last)| last).to_owned())
        .collect()
}

impl Disk for MemoryDisk {
    fn list(&self, folder: &str) -> io::Result<Vec<String>> {
        Ok(names_in(lock(&self.files).keys(), folder))
    }

    fn open(&self, file: &str) -> io::Result<Box<dyn DiskFile>> {
        Ok(Box::new(MemoryFile { bytes: self.find(file)? }))
    }

    fn create(&self, file: &str) -> io::Result<Box<dyn DiskFile>> {
        let mut files = lock(&self.files);
        if files.contains_key(file) {
            return Err(io::ErrorKind::AlreadyExists.into());
        }
        let bytes = Bytes::default();
        files.insert(file.to_owned(), Arc::clone(&bytes));
        Ok(Box::new(MemoryFile { bytes }))
    }

    fn rename(&self, from: &str, to: &str) -> io::Result<()> {
        let mut files = lock(&self.files);
        let bytes = files.remove(from).ok_or(io::ErrorKind::NotFound)?;
        files.insert(to.to_owned(), bytes);
        Ok(())
    }

    fn remove(&self, file: &str) -> io::Result<()> {
        lock(&self.files).remove(file).map(|_| ()).ok_or_else(|| io::ErrorKind::NotFound.into())
    }

    fn sync_folder(&self, _folder: &str) -> io::Result<()> {
        Ok(())
    }
}

#[derive(Debug)]
struct MemoryFile {
    bytes: Bytes,
}

impl DiskFile for MemoryFile {
    fn length(&self) -> io::Result<u64> {
        Ok(lock(&self.bytes).len() as u64)
    }

    fn read_at(&self, offset: u64, buffer: &mut [u8]) -> io::Result<()> {
        read_from(&lock(&self.bytes), offset, buffer)
    }

    fn write_at(&self, offset: u64, bytes: &[u8]) -> io::Result<()> {
        write_into(&mut lock(&self.bytes), offset, bytes)
    }

    fn truncate(&self, length: u64) -> io::Result<()> {
        if let Ok(length) = usize::try_from(length) {
            lock(&self.bytes).truncate(length);
        }
        Ok(())
    }

    fn sync_data(&self) -> io::Result<()> {
        Ok(())
    }
}
