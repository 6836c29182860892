//! Copying files so that either the old or the new one is there, whole, with the hash of what was copied.

use std::fs::{self, File, OpenOptions};
use std::io::{Read, Write as _};
use std::path::Path;

use super::PART;
use crate::error::NodeError;

/// Bytes that are copied at a time.
const STEP: usize = 256 * 1024;

/// Makes a folder that its owner alone enters, unless it is there.
pub(super) fn make_private(folder: &Path) -> Result<(), NodeError> {
    let mut maker = fs::DirBuilder::new();
    maker.recursive(true);
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut maker, 0o700);
    maker.create(folder).map_err(|error| NodeError::folder(folder, &error))
}

/// Writes a small file unless it is there as it is. Gives how many bytes were written.
pub(super) fn write_small(path: &Path, bytes: &[u8]) -> Result<u64, NodeError> {
    if fs::read(path).is_ok_and(|held| held == bytes) {
        return Ok(0);
    }
    super::write_private(path, bytes)?;
    Ok(u64::try_from(bytes.len()).unwrap_or(u64::MAX))
}

/// The length and hash of a file, or of its first bytes.
pub(super) fn hash(path: &Path, length: Option<u64>) -> Result<(u64, String), NodeError> {
    let file = File::open(path).map_err(|error| NodeError::folder(path, &error))?;
    pass(file, length, |_| Ok(())).map_err(|error| NodeError::folder(path, &error))
}

/// Copies a file, or its first bytes: beside, synced, renamed. Gives what was copied: its length and hash.
pub(super) fn copy(from: &Path, to: &Path, length: Option<u64>) -> Result<(u64, String), NodeError> {
    let source = File::open(from).map_err(|error| NodeError::folder(from, &error))?;
    let failed = |error: std::io::Error| NodeError::folder(to, &error);
    let mut beside = to.as_os_str().to_owned();
    beside.push(PART);
    let mut options = OpenOptions::new();
    options.write(true).create(true).truncate(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let mut out = options.open(&beside).map_err(failed)?;
    let copied = pass(source, length, |bytes| out.write_all(bytes)).map_err(failed)?;
    out.sync_all().map_err(failed)?;
    fs::rename(&beside, to).map_err(failed)?;
    sync_names(to).map_err(failed)?;
    Ok(copied)
}

/// Reads a file to its end, or so far, and hashes what is read.
fn pass(
    mut file: File,
    length: Option<u64>,
    mut each: impl FnMut(&[u8]) -> std::io::Result<()>,
) -> std::io::Result<(u64, String)> {
    let mut hasher = blake3::Hasher::new();
    let mut buffer = vec![0; STEP];
    let mut left = length.unwrap_or(u64::MAX);
    while left > 0 {
        let step = usize::try_from(left).unwrap_or(STEP).min(STEP);
        let read = file.read(buffer.get_mut(..step).unwrap_or_default())?;
        let Some(bytes) = buffer.get(..read).filter(|bytes| !bytes.is_empty()) else { break };
        hasher.update(bytes);
        each(bytes)?;
        left -= u64::try_from(read).unwrap_or(left);
    }
    if length.is_some() && left > 0 {
        return Err(std::io::ErrorKind::UnexpectedEof.into());
    }
    Ok((hasher.count(), hasher.finalize().to_hex().to_string()))
}

/// Makes the names of a file's folder durable; other systems journal them by themselves.
fn sync_names(file: &Path) -> std::io::Result<()> {
    #[cfg(unix)]
    if let Some(folder) = file.parent() {
        File::open(folder)?.sync_all()?;
    }
    #[cfg(not(unix))]
    let _ = file;
    Ok(())
}
