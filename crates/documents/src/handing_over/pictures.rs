//! Photos made small, as they stand on the paper of a handover.
//!
//! Each is a file of the handover beside the photo that it was made of, so that whoever checks the paper makes it
//! again from the very bytes that were signed, and no decoder of another machine can make another picture of them.

use std::collections::BTreeMap;
use std::io::Cursor;

use image::codecs::jpeg::JpegEncoder;
use image::metadata::Orientation;
use image::{DynamicImage, ImageDecoder as _, ImageReader, Limits};
use ledger::PhotoHash;
use projections::handover::{HandedPhoto, Handover};

/// Where pictures stand among the files.
const FOLDER: &str = "pictures/";
/// Most pictures on a paper. What is behind walls goes first; the photos themselves are all there.
const MOST: usize = 48;
/// Longest side of a picture, in pixels.
const LONG_SIDE: u32 = 900;
/// The quality of its JPEG, of 100.
const QUALITY: u8 = 72;
/// Longest side of a photo that is read, in pixels, and the most bytes that reading may take: a small file can say
/// that it is as large as a field.
const MAX_SIDE: u32 = 16_384;
const MAX_MEMORY: u64 = 256 * 1024 * 1024;

/// Pictures by the photos that they were made of.
pub type Pictures = BTreeMap<PhotoHash, Vec<u8>>;

/// The photos that stand on the paper as pictures, in the order of their places.
pub(super) fn shown(handover: &Handover) -> Vec<&HandedPhoto> {
    let photos = || handover.places.iter().flat_map(|place| &place.photos);
    let is_there = |photo: &&HandedPhoto| !photo.file.is_empty();
    let behind = photos().filter(is_there).filter(|photo| photo.behind);
    let others = photos().filter(is_there).filter(|photo| !photo.behind);
    let chosen: Vec<PhotoHash> = behind.chain(others).take(MOST).map(|photo| photo.photo).collect();
    photos().filter(is_there).filter(|photo| chosen.contains(&photo.photo)).collect()
}

/// The photos of a handover that pictures are wanted of.
#[must_use]
pub fn wanted_pictures(handover: &Handover) -> Vec<PhotoHash> {
    shown(handover).into_iter().map(|photo| photo.photo).collect()
}

/// A photo made small and turned upright, with nothing else of its file in it. None for what is no picture, or too
/// large to read.
#[must_use]
pub fn picture_of(photo: &[u8]) -> Option<Vec<u8>> {
    let mut reader = ImageReader::new(Cursor::new(photo)).with_guessed_format().ok()?;
    let mut limits = Limits::default();
    limits.max_image_width = Some(MAX_SIDE);
    limits.max_image_height = Some(MAX_SIDE);
    limits.max_alloc = Some(MAX_MEMORY);
    reader.limits(limits);
    let mut decoder = reader.into_decoder().ok()?;
    if decoder.total_bytes() > MAX_MEMORY {
        return None;
    }
    let orientation = decoder.orientation().unwrap_or(Orientation::NoTransforms);
    let mut picture = DynamicImage::from_decoder(decoder).ok()?;
    picture.apply_orientation(orientation);
    if picture.width().max(picture.height()) > LONG_SIDE {
        picture = picture.thumbnail(LONG_SIDE, LONG_SIDE);
    }
    let mut bytes = Vec::new();
    let encoder = JpegEncoder::new_with_quality(&mut bytes, QUALITY);
    picture.to_rgb8().write_with_encoder(encoder).ok()?;
    Some(bytes)
}

/// What the picture of a photo is called among the files.
pub(super) fn name_of(photo: PhotoHash) -> String {
    format!("{FOLDER}{photo}.jpg")
}

/// The photo that a file is the picture of, by its name.
pub(super) fn photo_of(name: &str) -> Option<PhotoHash> {
    name.strip_prefix(FOLDER)?.strip_suffix(".jpg")?.parse().ok()
}
