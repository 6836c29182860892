//! The photos of a device: files in its data folder, each named by the hash of its bytes.
//!
//! A file is a photo by what is in it, never by its name. What a camera wrote into a file that is kept by [`keep`]
//! about the place stays in it; [`pictures`] writes the picture alone.
//!
//! The [`Album`] says what is here, and how far what is on its way has come; the keeper gives and takes for the network.
//! Where a photo lies decides nothing about the ledger, and no photo is ever thrown away.

mod album;
mod files;
mod keeper;
pub mod pictures;
mod whereabouts;

use std::fs;
use std::io::Read as _;
use std::path::{Path, PathBuf};

use ledger::PhotoHash;

use crate::device::write_private;
use crate::error::NodeError;
use crate::import::PhotoFile;

pub use album::{Album, Coming};
pub(crate) use keeper::Keeper;
pub use sync::photos::Portion;
pub use whereabouts::{Elsewhere, KeepPhotos};
pub(crate) use whereabouts::{photos, read_setting};

/// The largest photo that is kept, in bytes.
pub const MAX_PHOTO_BYTES: u64 = sync::photos::MAX_PHOTO;

/// Where photos are within the data folder.
const FOLDER: &str = "photos";

/// Where a photo is kept on this device, whether or not it has come yet.
#[must_use]
pub fn path_of(data: &Path, photo: PhotoHash) -> PathBuf {
    data.join(FOLDER).join(photo.to_string())
}

/// Keeps a copy of a file as a photo. One that is kept already is left as it is.
///
/// # Errors
/// [`NodeError::BadInput`] for what is no photo or too large, [`NodeError::Folder`] when the disk says no.
pub fn keep(data: &Path, file: &Path) -> Result<PhotoFile, NodeError> {
    let bytes = read(file).map_err(|why| NodeError::bad_input(format!("{}: {why}", file.display())))?;
    keep_bytes(data, &bytes)
}

/// Keeps bytes as a photo.
///
/// # Errors
/// As [`keep`].
pub fn keep_bytes(data: &Path, bytes: &[u8]) -> Result<PhotoFile, NodeError> {
    let photo = checked(bytes).map_err(NodeError::bad_input)?;
    let path = path_of(data, photo.hash);
    // The name is the hash of the bytes, so a file that has it and this length is this one.
    let is_kept = fs::metadata(&path).is_ok_and(|held| held.len() == photo.bytes);
    if !is_kept {
        let folder = data.join(FOLDER);
        // Only within a data folder that is there: a wrong --data must not make one.
        match fs::create_dir(&folder) {
            Err(error) if error.kind() != std::io::ErrorKind::AlreadyExists => {
                return Err(NodeError::folder(&folder, &error));
            }
            Ok(()) | Err(_) => {}
        }
        write_private(&path, bytes)?;
    }
    Ok(photo)
}

/// What a file is as a photo, without keeping it.
pub(crate) fn look_at(file: &Path) -> Result<PhotoFile, String> {
    read(file).and_then(|bytes| checked(&bytes)).map_err(|why| format!("{}: {why}", file.display()))
}

/// A photo that is kept already.
pub(crate) fn kept(data: &Path, photo: PhotoHash) -> Result<PhotoFile, String> {
    let held = fs::metadata(path_of(data, photo));
    held.map(|held| PhotoFile { hash: photo, bytes: held.len() })
        .map_err(|_| format!("the photo {} is not on this device", photo.short()))
}

/// The bytes of a photo in a data folder, where its file is there and still is that photo.
pub(crate) fn read_whole(data: &Path, photo: PhotoHash) -> Option<Vec<u8>> {
    let bytes = read(&path_of(data, photo)).ok()?;
    checked(&bytes).is_ok_and(|found| found.hash == photo).then_some(bytes)
}

/// What the name of a photo's file ends in, and how long it is, where the file is here and still is that photo.
pub(crate) fn whole(data: &Path, photo: PhotoHash) -> Option<(&'static str, u64)> {
    let bytes = read_whole(data, photo)?;
    let ending = match bytes.first() {
        Some(0xff) => "jpg",
        Some(b'R') => "webp",
        Some(_) | None => "png",
    };
    Some((ending, u64::try_from(bytes.len()).ok()?))
}

fn read(file: &Path) -> Result<Vec<u8>, String> {
    let mut bytes = Vec::new();
    // One byte more than is allowed shows a file that is too large, even one that grows meanwhile.
    let opened = fs::File::open(file).map(|opened| opened.take(MAX_PHOTO_BYTES + 1));
    opened.and_then(|mut opened| opened.read_to_end(&mut bytes)).map_err(|error| error.to_string())?;
    Ok(bytes)
}

/// The formats' own first bytes: JPEG (ISO/IEC 10918-1, B.1.1.3), PNG (W3C PNG, 5.2), WebP (RFC 9649, 2.4).
fn checked(bytes: &[u8]) -> Result<PhotoFile, String> {
    let is_jpeg = bytes.starts_with(&[0xff, 0xd8, 0xff]);
    let is_png = bytes.starts_with(b"\x89PNG\r\n\x1a\n");
    let is_webp = bytes.starts_with(b"RIFF") && bytes.get(8..12) == Some(b"WEBP");
    if !(is_jpeg || is_png || is_webp) {
        return Err("this is no photo that can be kept; make it JPEG, PNG or WebP".to_owned());
    }
    let length = u64::try_from(bytes.len()).unwrap_or(u64::MAX);
    if length > MAX_PHOTO_BYTES {
        return Err("this photo is larger than 20 MB; take it smaller".to_owned());
    }
    Ok(PhotoFile { hash: PhotoHash(*blake3::hash(bytes).as_bytes()), bytes: length })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_photo_is_known_by_its_bytes_and_kept_under_their_hash() {
        let data = tempfile::tempdir().unwrap();
        let riff = b"RIFF\x04\x00\x00\x00WEBP".as_slice();
        for bytes in [b"\xff\xd8\xff\xe0 wall".as_slice(), b"\x89PNG\r\n\x1a\n wall", riff] {
            let photo = keep_bytes(data.path(), bytes).unwrap();
            assert_eq!(fs::read(path_of(data.path(), photo.hash)).unwrap(), bytes);
            assert_eq!(photo.hash.to_string(), blake3::hash(bytes).to_hex().to_string());
            assert_eq!(kept(data.path(), photo.hash), Ok(photo));
            assert_eq!(keep_bytes(data.path(), bytes).unwrap(), photo);
        }
        assert_eq!(fs::read_dir(data.path().join(FOLDER)).unwrap().count(), 3);
    }

    #[test]
    fn what_is_no_photo_or_too_large_is_refused_and_not_kept() {
        let data = tempfile::tempdir().unwrap();
        let named = data.path().join("wall.jpg");
        fs::write(&named, "GIF89a is not taken").unwrap();
        assert!(keep(data.path(), &named).unwrap_err().to_string().contains("JPEG, PNG or WebP"));
        let mut large = b"\xff\xd8\xff".to_vec();
        large.resize(usize::try_from(MAX_PHOTO_BYTES).unwrap() + 1, 0);
        assert!(keep_bytes(data.path(), &large).unwrap_err().to_string().contains("20 MB"));
        large.pop();
        assert!(keep_bytes(data.path(), &large).is_ok());
        assert_eq!(fs::read_dir(data.path().join(FOLDER)).unwrap().count(), 1);
        assert!(keep(data.path(), &data.path().join("nowhere.png")).is_err());
    }
}
