//! Files of photos, below the album: read for their outline, made for their owner alone.

use std::collections::BTreeSet;
use std::fs;
use std::io::{self, Read as _};
use std::ops::Range;
use std::path::Path;
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Mutex, PoisonError};

use ledger::{DeviceKey, PhotoHash};
use sync::photos::{GROUP, MAX_GROUPS, Outline, Outliner};

use crate::copying::sync_name;

/// What the file of a peer's photos is called, before the peer's key.
pub(super) const ON_PEER: &str = "on-";

/// The outline of a file, and those of these groups that it has; none of one that is no photo by its length.
pub(super) fn outline_of(mut file: fs::File, groups: Range<usize>) -> io::Result<Option<(Outline, Vec<u8>)>> {
    let (mut outliner, mut group) = (Outliner::default(), Vec::with_capacity(GROUP));
    let mut kept = Vec::with_capacity(groups.len() * GROUP);
    loop {
        group.clear();
        (&mut file).take(GROUP as u64).read_to_end(&mut group)?;
        let number = outliner.groups().len();
        if group.is_empty() || number > MAX_GROUPS {
            return Ok(outliner.finish().map(|outline| (outline, kept)));
        }
        outliner.push(&group);
        if groups.contains(&number) {
            kept.extend_from_slice(&group);
        }
    }
}

/// Makes names in a folder durable: of many that are made side by side, one sync does for all that were there before
/// it began.
#[derive(Debug, Default)]
pub(super) struct Names {
    made: AtomicU64,
    synced: Mutex<u64>,
}

impl Names {
    /// Returns once the name of this file, which is there by now, is durable.
    pub(super) fn sync(&self, path: &Path) -> io::Result<()> {
        let own = self.made.fetch_add(1, Ordering::SeqCst) + 1;
        let mut synced = self.synced.lock().unwrap_or_else(PoisonError::into_inner);
        if *synced < own {
            let made = self.made.load(Ordering::SeqCst);
            sync_name(path)?;
            *synced = made;
        }
        Ok(())
    }
}

/// What peers said to have at an earlier time. A file that ends inside a hash was cut off there.
pub(super) fn read_peers(folder: &Path) -> impl Iterator<Item = (DeviceKey, BTreeSet<PhotoHash>)> {
    let peer_of = |file: &fs::DirEntry| file.file_name().to_str()?.strip_prefix(ON_PEER)?.parse().ok();
    let read = move |file: fs::DirEntry| {
        let (peer, bytes) = (peer_of(&file)?, fs::read(file.path()).ok()?);
        let (hashes, _) = bytes.as_chunks::<32>();
        Some((peer, hashes.iter().map(|hash| PhotoHash(*hash)).collect()))
    };
    fs::read_dir(folder).into_iter().flatten().flatten().filter_map(read)
}

/// A file that only its owner reads, made if it is not there.
pub(super) fn private(path: &Path) -> io::Result<fs::File> {
    let mut options = fs::OpenOptions::new();
    options.write(true).create(true).truncate(false);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(path)
}
