//! Photos, notes and snags.
//!
//! An event names a photo by the hash of its file and never holds the file.

use serde::{Deserialize, Serialize};

use super::Site;
use crate::ids::{EntryRef, PhotoHash};

/// A photo was taken.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Photo {
    /// Where; none until it is sorted.
    pub site: Option<Site>,
    /// The file.
    pub photo: PhotoHash,
    /// The size of the file in bytes.
    pub size: u64,
    /// It shows what will be closed up.
    pub behind: bool,
}

/// A note. Its text is the act's note.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Note {
    /// Where.
    pub site: Site,
    /// Photos.
    pub photos: Vec<PhotoHash>,
}

/// Something small is wrong and must be put right. The act's note says what.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SnagRaised {
    /// Where.
    pub site: Site,
    /// Photos.
    pub photos: Vec<PhotoHash>,
}

/// A snag was put right.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SnagCleared {
    /// The snag.
    pub snag: EntryRef,
}
