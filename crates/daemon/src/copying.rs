//! Copying the files of a data folder, which are as secret as the device's key among them: what is made is for its
//! owner alone, whatever it was before. A file is there whole or not at all, and durable, names too.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Read, Write as _};
use std::path::Path;

use crate::device::write_private;
use crate::error::NodeError;

/// What a file that is not whole yet ends in.
const PART: &str = ".part";
/// Bytes that are copied at a time.
const STEP: usize = 1024 * 1024;

/// Makes a folder that its owner alone enters, and those above it, unless they are there.
pub(crate) fn make_private(folder: &Path) -> Result<(), NodeError> {
    if folder.as_os_str().is_empty() || folder.is_dir() {
        return Ok(());
    }
    folder.parent().map_or(Ok(()), make_private)?;
    let mut maker = fs::DirBuilder::new();
    #[cfg(unix)]
    std::os::unix::fs::DirBuilderExt::mode(&mut maker, 0o700);
    let made = maker.create(folder).and_then(|()| sync_name(folder));
    made.map_err(|error| NodeError::folder(folder, &error))
}

/// Writes a small file unless it is there as it is. Gives how many bytes were written.
pub(crate) fn write_small(path: &Path, bytes: &[u8]) -> Result<u64, NodeError> {
    if fs::read(path).is_ok_and(|held| held == bytes) {
        return Ok(0);
    }
    write_private(path, bytes)?;
    Ok(u64::try_from(bytes.len()).unwrap_or(u64::MAX))
}

/// The length and hash of a file, or of its first bytes. `say` is told of each so many bytes that were read.
pub(crate) fn hash(
    path: &Path,
    length: Option<u64>,
    say: &mut dyn FnMut(u64),
) -> Result<(u64, String), NodeError> {
    let file = File::open(path).map_err(|error| NodeError::folder(path, &error))?;
    let read = pass(file, length, |bytes| {
        say(bytes.len() as u64);
        Ok(())
    });
    read.map_err(|error| NodeError::folder(path, &error))
}

/// Copies a file, or its first bytes: beside, synced, renamed. Gives what was copied: its length and hash. `say` is
/// told of each so many bytes that were written.
pub(crate) fn copy(
    from: &Path,
    to: &Path,
    length: Option<u64>,
    say: &mut dyn FnMut(u64),
) -> Result<(u64, String), NodeError> {
    let source = File::open(from).map_err(|error| NodeError::folder(from, &error))?;
    let failed = |error: io::Error| NodeError::folder(to, &error);
    let mut beside = to.as_os_str().to_owned();
    beside.push(PART);
    let mut options = OpenOptions::new();
    options.write(true).create(true).truncate(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let mut out = options.open(&beside).map_err(failed)?;
    let written = pass(source, length, |bytes| {
        out.write_all(bytes)?;
        say(bytes.len() as u64);
        Ok(())
    });
    let copied = written.map_err(failed)?;
    out.sync_all().map_err(failed)?;
    fs::rename(&beside, to).map_err(failed)?;
    sync_name(to).map_err(failed)?;
    Ok(copied)
}

/// Reads a file to its end, or so far, and hashes what is read.
fn pass(
    mut file: File,
    length: Option<u64>,
    mut each: impl FnMut(&[u8]) -> io::Result<()>,
) -> io::Result<(u64, String)> {
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
        return Err(io::ErrorKind::UnexpectedEof.into());
    }
    Ok((hasher.count(), hasher.finalize().to_hex().to_string()))
}

/// Makes the name of a file or folder durable in the folder that it is in; other systems journal names by themselves.
pub(crate) fn sync_name(path: &Path) -> io::Result<()> {
    #[cfg(unix)]
    if let Some(folder) = path.parent() {
        let here = folder.as_os_str().is_empty();
        File::open(if here { Path::new(".") } else { folder })?.sync_all()?;
    }
    #[cfg(not(unix))]
    let _ = path;
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_copied_is_for_its_owner_alone_and_told_of_as_it_comes() {
        let home = tempfile::tempdir().unwrap();
        let (from, folder) = (home.path().join("from"), home.path().join("a/b"));
        let bytes: Vec<u8> = (0..STEP * 2 + 7).map(|at| (at % 251) as u8).collect();
        fs::write(&from, &bytes).unwrap();
        make_private(&folder).unwrap();
        make_private(&folder).unwrap();
        let to = folder.join("to");
        let (mut said, mut read) = (Vec::new(), 0);
        let copied = copy(&from, &to, None, &mut |more| said.push(more)).unwrap();
        assert_eq!(said, [STEP as u64, STEP as u64, 7]);
        assert_eq!(copied, (bytes.len() as u64, blake3::hash(&bytes).to_hex().to_string()));
        assert_eq!(hash(&to, None, &mut |more| read += more).unwrap(), copied);
        assert_eq!(read, copied.0);
        assert_eq!(fs::read_dir(&folder).unwrap().count(), 1);

        // The first bytes alone; a file that has fewer is not what was wanted.
        copy(&from, &to, Some(5), &mut |_| ()).unwrap();
        assert_eq!(fs::read(&to).unwrap(), bytes[..5]);
        assert!(copy(&to, &folder.join("more"), Some(6), &mut |_| ()).is_err());
        assert!(!folder.join("more").exists());
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt as _;
            let mode = |path: &Path| fs::metadata(path).unwrap().permissions().mode() & 0o777;
            fs::set_permissions(&from, fs::Permissions::from_mode(0o644)).unwrap();
            copy(&from, &to, None, &mut |_| ()).unwrap();
            let modes = [&home.path().join("a"), &folder, &to].map(|path| mode(path));
            assert_eq!(modes, [0o700, 0o700, 0o600]);
        }
    }
}
