//! A folder of the operating system's file system.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Seek, SeekFrom, Write};
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use super::{Disk, DiskFile, folder_of};

/// A disk whose root is a folder.
#[derive(Debug, Clone)]
pub struct RealDisk {
    root: PathBuf,
    only_reads: bool,
}

impl RealDisk {
    /// Uses `root`, which is made if it does not exist.
    pub fn new(root: &Path) -> io::Result<RealDisk> {
        if !root.is_dir() {
            fs::create_dir_all(root)?;
            if let Some(parent) = root.parent().filter(|parent| !parent.as_os_str().is_empty()) {
                sync_names(parent)?;
            }
        }
        Ok(RealDisk { root: root.to_owned(), only_reads: false })
    }

    /// Uses `root` as it is: whatever would change it is refused.
    pub fn reading(root: &Path) -> RealDisk {
        RealDisk { root: root.to_owned(), only_reads: true }
    }

    fn may_change(&self) -> io::Result<()> {
        if self.only_reads { Err(io::ErrorKind::ReadOnlyFilesystem.into()) } else { Ok(()) }
    }
}

impl Disk for RealDisk {
    fn list(&self, folder: &str) -> io::Result<Vec<String>> {
        let entries = match fs::read_dir(self.root.join(folder)) {
            Ok(entries) => entries,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(Vec::new()),
            Err(error) => return Err(error),
        };
        let mut names = Vec::new();
        for entry in entries {
            let entry = entry?;
            // A name that is not UTF-8 was not written by us.
            if let (true, Ok(name)) = (entry.file_type()?.is_file(), entry.file_name().into_string()) {
                names.push(name);
            }
        }
        names.sort_unstable();
        Ok(names)
    }

    fn open(&self, file: &str) -> io::Result<Box<dyn DiskFile>> {
        let handle = OpenOptions::new().read(true).write(!self.only_reads).open(self.root.join(file))?;
        Ok(Box::new(RealFile { handle: Mutex::new(handle) }))
    }

    fn create(&self, file: &str) -> io::Result<Box<dyn DiskFile>> {
        self.may_change()?;
        let folder = self.root.join(folder_of(file));
        if !folder.is_dir() {
            fs::create_dir_all(&folder)?;
            sync_names(&self.root)?;
        }
        let handle = OpenOptions::new().read(true).write(true).create_new(true).open(self.root.join(file))?;
        Ok(Box::new(RealFile { handle: Mutex::new(handle) }))
    }

    fn rename(&self, from: &str, to: &str) -> io::Result<()> {
        self.may_change()?;
        fs::rename(self.root.join(from), self.root.join(to))
    }

    fn remove(&self, file: &str) -> io::Result<()> {
        self.may_change()?;
        fs::remove_file(self.root.join(file))
    }

    fn sync_folder(&self, folder: &str) -> io::Result<()> {
        sync_names(&self.root.join(folder))
    }
}

/// Makes a folder's names durable.
#[cfg(unix)]
fn sync_names(folder: &Path) -> io::Result<()> {
    File::open(folder)?.sync_all()
}

/// Other systems journal names by themselves and don't let a folder be opened as a file.
#[cfg(not(unix))]
fn sync_names(_folder: &Path) -> io::Result<()> {
    Ok(())
}

/// The handle is locked around seek and read or write, because positioned reads exist only in
/// operating-system extensions, and one seek is nothing beside the sync that follows a write.
#[derive(Debug)]
struct RealFile {
    handle: Mutex<File>,
}

impl RealFile {
    /// A panic elsewhere can't leave a file handle half changed, so a poisoned lock is taken over.
    fn handle(&self) -> MutexGuard<'_, File> {
        self.handle.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

impl DiskFile for RealFile {
    fn length(&self) -> io::Result<u64> {
        Ok(self.handle().metadata()?.len())
    }

    fn read_at(&self, offset: u64, buffer: &mut [u8]) -> io::Result<()> {
        let mut handle = self.handle();
        handle.seek(SeekFrom::Start(offset))?;
        handle.read_exact(buffer)
    }

    fn write_at(&self, offset: u64, bytes: &[u8]) -> io::Result<()> {
        let mut handle = self.handle();
        handle.seek(SeekFrom::Start(offset))?;
        handle.write_all(bytes)
    }

    fn truncate(&self, length: u64) -> io::Result<()> {
        self.handle().set_len(length)
    }

    fn sync_data(&self) -> io::Result<()> {
        self.handle().sync_data()
    }
}
