//! Photos as they are kept: checked by content, turned upright, shrunk, and written anew, so that nothing
//! of the file that came in is left but the picture. Where it was taken goes with the rest.
//!
//! A photo is a file named by the BLAKE3 hash of its bytes. This module never trusts a name or a type that
//! a sender gave.

use std::fs;
use std::io::{Cursor, Write as _};
use std::path::{Path, PathBuf};

use image::codecs::jpeg::JpegEncoder;
use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder as _, ImageFormat, ImageReader, Limits};
use ledger::PhotoHash;

/// Largest file that is taken, in bytes.
pub const MAX_FILE: usize = 16 * 1024 * 1024;
/// Longest side of a photo that is kept, in pixels.
const LONG_SIDE: u32 = 1600;
/// Longest side of a thumbnail.
const THUMBNAIL_SIDE: u32 = 240;
/// Longest side of a photo that is read, and most bytes that reading may take: a small file can say that
/// it is a picture as large as a field.
const MAX_SIDE: u32 = 16_384;
const MAX_MEMORY: u64 = 256 * 1024 * 1024;
const MAX_PIXELS: u64 = 50_000_000;
const QUALITY: u8 = 82;
const THUMBNAIL_QUALITY: u8 = 70;

/// Why a file is not kept as a photo.
#[derive(Debug, thiserror::Error)]
pub enum PictureFault {
    /// It is none.
    #[error("that is not a photo that can be read here; a JPEG, PNG or WebP is wanted")]
    NotAPicture,
    /// It is too large to be read.
    #[error("that picture is too large; at most 50 million pixels are read")]
    TooLarge,
    /// The disk says no.
    #[error("the photo could not be kept: {0}")]
    Disk(#[from] std::io::Error),
}

/// A photo that is kept.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct KeptPicture {
    /// Its name.
    pub photo: PhotoHash,
    /// In bytes.
    pub size: u64,
}

/// The photos of a data folder.
fn folder(data: &Path) -> PathBuf {
    data.join(super::FOLDER)
}

/// Checks a file and keeps the photo in it, with a thumbnail.
///
/// # Errors
/// [`PictureFault`].
pub fn keep(data: &Path, file: &[u8]) -> Result<KeptPicture, PictureFault> {
    let picture = read(file)?;
    let picture = shrunk(picture, LONG_SIDE);
    let bytes = as_jpeg(&picture, QUALITY)?;
    let thumbnail = as_jpeg(&shrunk(picture, THUMBNAIL_SIDE), THUMBNAIL_QUALITY)?;
    let photo = PhotoHash(*blake3::hash(&bytes).as_bytes());
    let folder = folder(data);
    fs::create_dir_all(&folder)?;
    write(&small_path(data, photo), &thumbnail)?;
    write(&folder.join(photo.to_string()), &bytes)?;
    #[cfg(unix)]
    fs::File::open(&folder)?.sync_all()?;
    Ok(KeptPicture { photo, size: u64::try_from(bytes.len()).unwrap_or(u64::MAX) })
}

/// Where the small picture of a photo is kept.
pub(super) fn small_path(data: &Path, photo: PhotoHash) -> PathBuf {
    folder(data).join(format!("{photo}.thumbnail"))
}

/// A kept photo with its type, or nothing. A file that another program put there is shown only if it is a
/// picture, and its thumbnail is made when it is first asked for.
#[must_use]
pub fn find(data: &Path, photo: PhotoHash, small: bool) -> Option<(&'static str, Vec<u8>)> {
    let whole = folder(data).join(photo.to_string());
    let path = if small { small_path(data, photo) } else { whole.clone() };
    let bytes = match fs::read(&path) {
        Ok(bytes) => bytes,
        Err(_) if small => {
            let picture = shrunk(read(&fs::read(whole).ok()?).ok()?, THUMBNAIL_SIDE);
            let bytes = as_jpeg(&picture, THUMBNAIL_QUALITY).ok()?;
            if let Err(error) = write(&path, &bytes) {
                tracing::warn!(%error, "a thumbnail could not be kept");
            }
            bytes
        }
        Err(_) => return None,
    };
    Some((kind_of(&bytes)?.to_mime_type(), bytes))
}

/// The format by the first bytes, of the three that are taken.
fn kind_of(file: &[u8]) -> Option<ImageFormat> {
    image::guess_format(file)
        .ok()
        .filter(|kind| matches!(kind, ImageFormat::Jpeg | ImageFormat::Png | ImageFormat::WebP))
}

fn read(file: &[u8]) -> Result<DynamicImage, PictureFault> {
    let kind = kind_of(file).ok_or(PictureFault::NotAPicture)?;
    let mut reader = ImageReader::with_format(Cursor::new(file), kind);
    let mut limits = Limits::default();
    limits.max_image_width = Some(MAX_SIDE);
    limits.max_image_height = Some(MAX_SIDE);
    limits.max_alloc = Some(MAX_MEMORY);
    reader.limits(limits);
    let too_large = |error| match error {
        image::ImageError::Limits(_) => PictureFault::TooLarge,
        _ => PictureFault::NotAPicture,
    };
    let mut decoder = reader.into_decoder().map_err(too_large)?;
    let (width, height) = decoder.dimensions();
    if u64::from(width) * u64::from(height) > MAX_PIXELS || decoder.total_bytes() > MAX_MEMORY {
        return Err(PictureFault::TooLarge);
    }
    // A phone writes the picture as the chip lay, and beside it which way is up.
    let orientation = decoder.orientation().unwrap_or(Orientation::NoTransforms);
    let mut picture = DynamicImage::from_decoder(decoder).map_err(too_large)?;
    picture.apply_orientation(orientation);
    Ok(picture)
}

fn shrunk(picture: DynamicImage, side: u32) -> DynamicImage {
    if picture.width().max(picture.height()) <= side {
        return picture;
    }
    picture.thumbnail(side, side)
}

fn as_jpeg(picture: &DynamicImage, quality: u8) -> Result<Vec<u8>, PictureFault> {
    let mut bytes = Vec::new();
    let encoder = JpegEncoder::new_with_quality(&mut bytes, quality);
    let written = picture.to_rgb8().write_with_encoder(encoder);
    written.map_err(|_| PictureFault::NotAPicture)?;
    Ok(bytes)
}

/// Writes a file whole: beside, synced, renamed.
pub(super) fn write(path: &Path, bytes: &[u8]) -> std::io::Result<()> {
    let beside = path.with_extension("new");
    let mut file = fs::File::create(&beside)?;
    file.write_all(bytes)?;
    file.sync_all()?;
    fs::rename(&beside, path)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn png(width: u32, height: u32) -> Vec<u8> {
        let mut bytes = Vec::new();
        let picture = DynamicImage::new_rgb8(width, height);
        picture.write_to(&mut Cursor::new(&mut bytes), ImageFormat::Png).expect("a picture in memory");
        bytes
    }

    #[test]
    fn a_photo_is_shrunk_and_kept_under_the_hash_of_what_is_kept() {
        let data = tempfile::tempdir().expect("a folder");
        let kept = keep(data.path(), &png(3200, 800)).expect("a picture");
        let (kind, bytes) = find(data.path(), kept.photo, false).expect("it is kept");
        assert_eq!(kind, "image/jpeg");
        assert_eq!(kept.photo.0, *blake3::hash(&bytes).as_bytes());
        let again = read(&bytes).expect("a picture");
        assert_eq!((again.width(), again.height()), (1600, 400));
        let (_, small) = find(data.path(), kept.photo, true).expect("a thumbnail");
        assert_eq!(read(&small).expect("a picture").width(), 240);
    }

    /// A camera's file: orientation 6 (turn right by a quarter) and a GPS block, by EXIF 2.32 (CIPA
    /// DC-008-2019), tables 4 and 15.
    fn with_exif(jpeg: &[u8]) -> Vec<u8> {
        let mut exif = b"Exif\0\0MM\0\x2a\0\0\0\x08".to_vec();
        exif.extend(b"\0\x02"); // Two entries in the first directory.
        exif.extend(b"\x01\x12\0\x03\0\0\0\x01\0\x06\0\0"); // Orientation, one short: 6.
        exif.extend(b"\x88\x25\0\x04\0\0\0\x01\0\0\0\x26"); // Where the GPS directory is.
        exif.extend(b"\0\0\0\0");
        exif.extend(b"\0\x01\0\x01\0\x02\0\0\0\x02N\0\0\0\0\0\0\0"); // Latitude reference: N.
        let length = u16::try_from(exif.len() + 2).expect("a short block").to_be_bytes();
        [&jpeg[..2], &[0xff, 0xe1], &length, &exif, &jpeg[2..]].concat()
    }

    #[test]
    fn a_photo_stands_upright_and_says_not_where_it_was_taken() {
        let data = tempfile::tempdir().expect("a folder");
        let plain = as_jpeg(&DynamicImage::new_rgb8(300, 200), 90).expect("a picture");
        let taken = with_exif(&plain);
        assert!(taken.windows(4).any(|bytes| bytes == b"Exif"));
        let kept = keep(data.path(), &taken).expect("a picture");
        let (_, bytes) = find(data.path(), kept.photo, false).expect("it is kept");
        assert!(!bytes.windows(4).any(|bytes| bytes == b"Exif"));
        let upright = read(&bytes).expect("a picture");
        assert_eq!((upright.width(), upright.height()), (200, 300));
    }

    #[test]
    fn what_is_no_picture_or_claims_to_be_vast_is_not_kept() {
        let data = tempfile::tempdir().expect("a folder");
        for file in [&b"<!doctype html><script>1</script>"[..], b"", b"\xff\xd8\xff<script>"] {
            assert!(matches!(keep(data.path(), file), Err(PictureFault::NotAPicture)), "{file:?}");
        }
        // A few bytes that say they are 30,000 by 30,000 pixels (PNG, W3C, 11.2.2: width and height stand at
        // byte 16).
        let mut bomb = png(2, 2);
        bomb[16..20].copy_from_slice(&30_000_u32.to_be_bytes());
        bomb[20..24].copy_from_slice(&30_000_u32.to_be_bytes());
        let checksum = crc_of(&bomb[12..29]);
        bomb[29..33].copy_from_slice(&checksum.to_be_bytes());
        assert!(matches!(keep(data.path(), &bomb), Err(PictureFault::TooLarge)));
        assert!(!folder(data.path()).exists());
    }

    /// The checksum of a PNG chunk: W3C PNG, annex D.
    fn crc_of(bytes: &[u8]) -> u32 {
        !bytes.iter().fold(u32::MAX, |crc, byte| {
            (0..8).fold(crc ^ u32::from(*byte), |crc, _| {
                if crc & 1 == 1 { 0xedb8_8320 ^ (crc >> 1) } else { crc >> 1 }
            })
        })
    }
}
