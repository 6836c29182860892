//! Checkpoints: folded state on disk, with the place in the journal up to which it holds.
//!
//! A checkpoint only saves time. One that is missing, damaged, of another crew or not of this journal
//! is left aside, and the journal is read from further back. What the bytes mean is the caller's.

use ledger::CrewId;

use crate::Position;
use crate::disk::{Disk, DiskError, Tried};
use crate::error::CheckpointError;
use crate::recovery::Mark;

/// The folder of checkpoint files.
const CHECKPOINT_FOLDER: &str = "checkpoints";

const ENDING: &str = ".checkpoint";
const MAGIC: [u8; 8] = *b"fivebarC";
const FORMAT: u16 = 1;

/// Magic (8), format (2), nothing (2), segment (4), offset (8), group checksum (4), payload checksum (4),
/// payload length (8), crew id (32), checksum of all that (4).
const HEADER_BYTES: usize = 76;

/// Folded state, as it was given.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Checkpoint {
    /// The state holds everything in the journal before this place.
    pub position: Position,
    /// The state, opaque to the store.
    pub bytes: Vec<u8>,
}

/// A checkpoint's header.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Header {
    pub(crate) mark: Mark,
    pub(crate) crew: CrewId,
    payload_checksum: u32,
    payload_length: u64,
}

impl Header {
    fn to_bytes(self) -> [u8; HEADER_BYTES] {
        let mut bytes = [0; HEADER_BYTES];
        bytes[..8].copy_from_slice(&MAGIC);
        bytes[8..10].copy_from_slice(&FORMAT.to_le_bytes());
        bytes[12..16].copy_from_slice(&self.mark.end.segment.to_le_bytes());
        bytes[16..24].copy_from_slice(&self.mark.end.offset.to_le_bytes());
        bytes[24..28].copy_from_slice(&self.mark.checksum.to_le_bytes());
        bytes[28..32].copy_from_slice(&self.payload_checksum.to_le_bytes());
        bytes[32..40].copy_from_slice(&self.payload_length.to_le_bytes());
        bytes[40..72].copy_from_slice(&self.crew.0);
        let checksum = crc32c::crc32c(&bytes[..72]);
        bytes[72..].copy_from_slice(&checksum.to_le_bytes());
        bytes
    }

    fn from_bytes(bytes: &[u8; HEADER_BYTES]) -> Option<Header> {
        let number = |offset: usize| bytes[offset..].first_chunk().map(|four| u32::from_le_bytes(*four));
        let long = |offset: usize| bytes[offset..].first_chunk().map(|eight| u64::from_le_bytes(*eight));
        let end = Position { segment: number(12)?, offset: long(16)? };
        let header = Header {
            mark: Mark { end, checksum: number(24)? },
            crew: CrewId(*bytes[40..].first_chunk()?),
            payload_checksum: number(28)?,
            payload_length: long(32)?,
        };
        // Written again, a sound header comes out the same, its magic, format and checksum too.
        (header.to_bytes() == *bytes).then_some(header)
    }
}

/// The names and headers of the checkpoints whose headers are sound.
pub(crate) fn list(disk: &dyn Disk) -> Result<Vec<(String, Header)>, DiskError> {
    let files = disk.list(CHECKPOINT_FOLDER).tried("list", CHECKPOINT_FOLDER)?;
    let mut found = Vec::new();
    for name in files.iter().filter_map(|file| file.strip_suffix(ENDING)) {
        match read_header(disk, name)? {
            Some(header) => found.push((name.to_owned(), header)),
            None => tracing::warn!(name, "a checkpoint is damaged or of another version: not used"),
        }
    }
    Ok(found)
}

fn read_header(disk: &dyn Disk, name: &str) -> Result<Option<Header>, DiskError> {
    let file_name = file_of(name);
    let file = match disk.open(&file_name) {
        Ok(file) => file,
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
        Err(error) => return Err(error).tried("open", &file_name),
    };
    let length = file.length().tried("measure", &file_name)?;
    let mut bytes = [0; HEADER_BYTES];
    if length < HEADER_BYTES as u64 {
        return Ok(None);
    }
    file.read_at(0, &mut bytes).tried("read", &file_name)?;
    // The length is checked here too, so that it can be trusted to make room for the payload.
    let fits = |header: &Header| header.payload_length == length - HEADER_BYTES as u64;
    Ok(Header::from_bytes(&bytes).filter(fits))
}

/// Reads a checkpoint; none if it is missing, damaged or of another journal.
pub(crate) fn read(disk: &dyn Disk, name: &str, crew: &CrewId) -> Result<Option<Checkpoint>, DiskError> {
    let Some(header) = read_header(disk, name)? else {
        return Ok(None);
    };
    if header.crew != *crew || !header.mark.holds(disk)? {
        tracing::warn!(name, position = %header.mark.end, "a checkpoint is not of this journal: not used");
        return Ok(None);
    }
    let file_name = file_of(name);
    let file = disk.open(&file_name).tried("open", &file_name)?;
    let mut bytes = vec![0; header.payload_length as usize];
    file.read_at(HEADER_BYTES as u64, &mut bytes).tried("read", &file_name)?;
    if crc32c::crc32c(&bytes) != header.payload_checksum {
        tracing::warn!(name, "a checkpoint is damaged: not used");
        return Ok(None);
    }
    Ok(Some(Checkpoint { position: header.mark.end, bytes }))
}

/// Writes a checkpoint in place of the one before it, which stands until the new one is durable.
pub(crate) fn write(
    disk: &dyn Disk,
    name: &str,
    crew: CrewId,
    mark: Mark,
    payload: impl Iterator<Item = Vec<u8>>,
) -> Result<(), CheckpointError> {
    if name.is_empty() || !name.bytes().all(|byte| byte.is_ascii_lowercase()) {
        return Err(CheckpointError::BadName { name: name.to_owned() });
    }
    let file_name = file_of(name);
    let beside = format!("{CHECKPOINT_FOLDER}/{name}.new");
    match disk.remove(&beside) {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => {
            return Err(error).tried("remove", &beside)?;
        }
        Ok(()) | Err(_) => {}
    }
    let written = write_beside(disk, &beside, (crew, mark), payload);
    if let Err(error) = written {
        disk.remove(&beside).unwrap_or_else(|left| tracing::warn!(beside, %left, "half a checkpoint stays"));
        return Err(error.into());
    }
    disk.rename(&beside, &file_name).tried("rename", &beside)?;
    disk.sync_folder(CHECKPOINT_FOLDER).tried("sync", CHECKPOINT_FOLDER)?;
    Ok(())
}

fn write_beside(
    disk: &dyn Disk,
    beside: &str,
    (crew, mark): (CrewId, Mark),
    payload: impl Iterator<Item = Vec<u8>>,
) -> Result<(), DiskError> {
    let file = disk.create(beside).tried("create", beside)?;
    let mut header = Header { mark, crew, payload_checksum: 0, payload_length: 0 };
    for piece in payload {
        file.write_at(HEADER_BYTES as u64 + header.payload_length, &piece).tried("write", beside)?;
        header.payload_checksum = crc32c::crc32c_append(header.payload_checksum, &piece);
        header.payload_length += piece.len() as u64;
    }
    file.write_at(0, &header.to_bytes()).tried("write", beside)?;
    file.sync_data().tried("sync", beside)
}

fn file_of(name: &str) -> String {
    format!("{CHECKPOINT_FOLDER}/{name}{ENDING}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_header_reads_back_and_every_flipped_bit_breaks_it() {
        let header = Header {
            mark: Mark { end: Position { segment: 2, offset: 99 }, checksum: 5 },
            crew: CrewId([7; 32]),
            payload_checksum: 8,
            payload_length: 1 << 40,
        };
        let bytes = header.to_bytes();
        assert_eq!(Header::from_bytes(&bytes), Some(header));
        for bit in 0..HEADER_BYTES * 8 {
            let mut bent = bytes;
            bent[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(Header::from_bytes(&bent), None, "bit {bit}");
        }
    }
}
