//! Segment files: their names and the header that each begins with.
//!
//! A header says what the file is, which format it has, its number and whose journal it belongs to.
//! It never changes once it is written.

use ledger::CrewId;

use crate::disk::{Disk, DiskError, DiskFile, Tried};

/// The folder of segment files.
pub(crate) const JOURNAL_FOLDER: &str = "journal";

/// The format that this program writes.
const FORMAT: u16 = 1;

const MAGIC: [u8; 8] = *b"fivebarJ";

/// Magic (8), format (2), nothing (2), segment number (4), crew id (32), checksum (4).
pub(crate) const SEGMENT_HEADER_BYTES: usize = 52;

/// The offset of a segment's first group.
pub(crate) const FIRST_GROUP: u64 = SEGMENT_HEADER_BYTES as u64;

/// What a segment's first bytes turned out to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum HeaderFound {
    /// A sound header of this crew.
    Sound(CrewId),
    /// A sound header of a later format.
    TooNew(u16),
    /// Too short, damaged, or of another segment.
    Broken,
}

/// The file of a segment.
pub(crate) fn segment_file(number: u32) -> String {
    format!("{JOURNAL_FOLDER}/{number:010}.segment")
}

/// The numbers of the segments on a disk, in order.
pub(crate) fn list_segments(disk: &dyn Disk) -> Result<Vec<u32>, DiskError> {
    let names = disk.list(JOURNAL_FOLDER).tried("list", JOURNAL_FOLDER)?;
    let mut numbers: Vec<u32> = names
        .iter()
        .filter_map(|name| name.strip_suffix(".segment")?.parse().ok())
        .filter(|number| names.binary_search(&format!("{number:010}.segment")).is_ok())
        .collect();
    numbers.sort_unstable();
    Ok(numbers)
}

/// The bytes of a header.
pub(crate) fn header_bytes(number: u32, crew: &CrewId) -> [u8; SEGMENT_HEADER_BYTES] {
    let mut header = [0; SEGMENT_HEADER_BYTES];
    header[..8].copy_from_slice(&MAGIC);
    header[8..10].copy_from_slice(&FORMAT.to_le_bytes());
    header[12..16].copy_from_slice(&number.to_le_bytes());
    header[16..48].copy_from_slice(&crew.0);
    let checksum = crc32c::crc32c(&header[..48]);
    header[48..].copy_from_slice(&checksum.to_le_bytes());
    header
}

/// Reads the header of an open segment.
pub(crate) fn read_header(file: &dyn DiskFile, number: u32) -> Result<HeaderFound, DiskError> {
    let name = segment_file(number);
    if file.length().tried("measure", &name)? < FIRST_GROUP {
        return Ok(HeaderFound::Broken);
    }
    let mut header = [0; SEGMENT_HEADER_BYTES];
    file.read_at(0, &mut header).tried("read", &name)?;
    Ok(judge_header(&header, number))
}

fn judge_header(header: &[u8; SEGMENT_HEADER_BYTES], number: u32) -> HeaderFound {
    let (body, checksum) = header.split_at(48);
    if body[..8] != MAGIC || crc32c::crc32c(body).to_le_bytes() != checksum {
        return HeaderFound::Broken;
    }
    let format = u16::from_le_bytes([body[8], body[9]]);
    if format != FORMAT {
        return HeaderFound::TooNew(format);
    }
    let mut crew = CrewId([0; 32]);
    crew.0.copy_from_slice(&body[16..48]);
    if header_bytes(number, &crew) == *header { HeaderFound::Sound(crew) } else { HeaderFound::Broken }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::disk::MemoryDisk;

    #[test]
    fn a_header_reads_back_and_every_flipped_bit_breaks_it() {
        let header = header_bytes(3, &CrewId([9; 32]));
        assert_eq!(judge_header(&header, 3), HeaderFound::Sound(CrewId([9; 32])));
        assert_eq!(judge_header(&header, 4), HeaderFound::Broken);
        for bit in 0..SEGMENT_HEADER_BYTES * 8 {
            let mut bent = header;
            bent[bit / 8] ^= 1 << (bit % 8);
            assert_eq!(judge_header(&bent, 3), HeaderFound::Broken, "bit {bit}");
        }
    }

    #[test]
    fn a_later_format_is_told_apart_from_damage() {
        let mut header = header_bytes(3, &CrewId([9; 32]));
        header[8] = 2;
        let checksum = crc32c::crc32c(&header[..48]);
        header[48..].copy_from_slice(&checksum.to_le_bytes());
        assert_eq!(judge_header(&header, 3), HeaderFound::TooNew(2));
    }

    #[test]
    fn only_segments_are_listed() {
        let disk = MemoryDisk::new();
        for name in ["0000000002.segment", "10.segment", "notes.txt", "0000000001.segment", "x.segment"] {
            disk.put(&format!("{JOURNAL_FOLDER}/{name}"), Vec::new());
        }
        assert_eq!(list_segments(&disk).unwrap(), [1, 2]);
    }
}
