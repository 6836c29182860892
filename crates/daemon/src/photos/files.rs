//! Files of photos, below the album: read for their outline, made for their owner alone.

use std::fs;
use std::io::{self, Read as _};
use std::path::Path;

use sync::photos::{GROUP, MAX_GROUPS, Outline, Outliner};

/// The outline of a file; none of one that is no photo by its length.
pub(super) fn outline_of(mut file: fs::File) -> io::Result<Option<Outline>> {
    let (mut outliner, mut group) = (Outliner::default(), Vec::with_capacity(GROUP));
    loop {
        group.clear();
        (&mut file).take(GROUP as u64).read_to_end(&mut group)?;
        if group.is_empty() || outliner.groups().len() > MAX_GROUPS {
            return Ok(outliner.finish());
        }
        outliner.push(&group);
    }
}

/// A file that only its owner reads, made if it is not there.
pub(super) fn private(path: &Path) -> io::Result<fs::File> {
    let mut options = fs::OpenOptions::new();
    options.write(true).create(true).truncate(false);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    options.open(path)
}

#[cfg_attr(
    not(unix),
    allow(unused_variables, clippy::unnecessary_wraps, reason = "other systems sync no folder")
)]
pub(super) fn sync_folder(path: &Path) -> io::Result<()> {
    #[cfg(unix)]
    if let Some(folder) = path.parent() {
        fs::File::open(folder)?.sync_all()?;
    }
    Ok(())
}
