//! The bytes of records, groups and commit frames; the layout is written down in `proto/FORMAT.md`.
//!
//! A *record* is one byte of kind and up to [`RECORD_BYTES_MAX`] bytes, with a checksum of its own so
//! that it can be read alone. A *group* is one or more records and a commit frame. The commit frame says
//! how long its group is, so a reader that lost its place finds the next whole group by looking for
//! frames. Its checksums take in the segment's number and the group's offset: a frame that lies in the
//! wrong place, or inside a record, is not a frame. Nothing here touches a disk.

use std::ops::Range;

use crate::Position;

/// The longest record: a run of 1 MiB from a relay, and 64 KiB of room for what surrounds it.
pub const RECORD_BYTES_MAX: usize = 1024 * 1024 + 64 * 1024;

/// The longest group, its headers and commit frame counted in.
pub const GROUP_BYTES_MAX: usize = 4 * 1024 * 1024;

/// Kind (1), length (3) and checksum (4) of a record.
pub(crate) const RECORD_HEADER_BYTES: usize = 8;

/// Magic (4), length (4), checksum of the group (4) and of the frame (4).
pub(crate) const COMMIT_FRAME_BYTES: usize = 16;

/// The first byte is the kind that no record may have.
pub(crate) const COMMIT_MAGIC: [u8; 4] = [0xFF, b'e', b'n', b'd'];

/// What a record holds. Numbers are append-only: a retired one keeps its place.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum RecordKind {
    /// 1: who owns a chain and for which audience.
    ChainDeclaration,
    /// 2: events that follow each other on one chain, up to a signed head.
    Run,
    /// 3: a branch of a forked chain; the two of a fork follow each other in one group.
    Branch,
    /// 4: nothing, in place of bytes that were damaged and moved away.
    Lost,
    /// Any other number from 5 to 254: written by a later version, kept and passed on.
    Unknown(u8),
}

impl RecordKind {
    /// The number on disk.
    pub fn number(self) -> u8 {
        match self {
            RecordKind::ChainDeclaration => 1,
            RecordKind::Run => 2,
            RecordKind::Branch => 3,
            RecordKind::Lost => 4,
            RecordKind::Unknown(number) => number,
        }
    }

    /// The kind with a number; none for 0, which marks unused room, and 255, which marks a commit.
    pub fn from_number(number: u8) -> Option<RecordKind> {
        match number {
            0 | 0xFF => None,
            1 => Some(RecordKind::ChainDeclaration),
            2 => Some(RecordKind::Run),
            3 => Some(RecordKind::Branch),
            4 => Some(RecordKind::Lost),
            other => Some(RecordKind::Unknown(other)),
        }
    }
}

/// One record: what kind, and its bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Record<'a> {
    /// What the bytes are.
    pub kind: RecordKind,
    /// At most [`RECORD_BYTES_MAX`] bytes, opaque to the journal.
    pub bytes: &'a [u8],
}

/// The checksum that stands for where a group begins; every checksum in the group continues it.
fn seed(start: Position) -> u32 {
    let segment = crc32c::crc32c(&start.segment.to_le_bytes());
    crc32c::crc32c_append(segment, &start.offset.to_le_bytes())
}

fn record_checksum(kind_and_length: &[u8], bytes: &[u8]) -> u32 {
    crc32c::crc32c_append(crc32c::crc32c(kind_and_length), bytes)
}

/// Four bytes as a little-endian number; none if there are fewer.
fn u32_at(bytes: &[u8], offset: usize) -> Option<u32> {
    Some(u32::from_le_bytes(*bytes.get(offset..)?.first_chunk()?))
}

/// The length of a group with these records, its headers and commit frame counted in.
pub(crate) fn group_bytes(records: &[Record<'_>]) -> usize {
    records.iter().map(|record| RECORD_HEADER_BYTES + record.bytes.len()).sum::<usize>() + COMMIT_FRAME_BYTES
}

/// Appends to `out` the group of these records as it stands at `start`, and returns its checksum.
///
/// The caller has checked the limits on records and groups.
pub(crate) fn write_group(records: &[Record<'_>], start: Position, out: &mut Vec<u8>) -> u32 {
    let group_start = out.len();
    for record in records {
        let kind_and_length = (record.bytes.len() as u32) << 8 | u32::from(record.kind.number());
        let kind_and_length = kind_and_length.to_le_bytes();
        out.extend_from_slice(&kind_and_length);
        out.extend_from_slice(&record_checksum(&kind_and_length, record.bytes).to_le_bytes());
        out.extend_from_slice(record.bytes);
    }
    let group = &out[group_start..];
    let frame = commit_frame(start, group.len() as u32, crc32c::crc32c_append(seed(start), group));
    out.extend_from_slice(&frame);
    frame_checksum(&frame)
}

fn commit_frame(start: Position, length: u32, group_checksum: u32) -> [u8; COMMIT_FRAME_BYTES] {
    let mut frame = [0; COMMIT_FRAME_BYTES];
    frame[..4].copy_from_slice(&COMMIT_MAGIC);
    frame[4..8].copy_from_slice(&length.to_le_bytes());
    frame[8..12].copy_from_slice(&group_checksum.to_le_bytes());
    let checksum = crc32c::crc32c_append(seed(start), &frame[..12]);
    frame[12..].copy_from_slice(&checksum.to_le_bytes());
    frame
}

/// The frame's own checksum, which follows from the whole group and its place: it names the group.
pub(crate) fn frame_checksum(frame: &[u8; COMMIT_FRAME_BYTES]) -> u32 {
    u32::from_le_bytes([frame[12], frame[13], frame[14], frame[15]])
}

/// Reads the frame that ends at `end`: where its group begins, if the frame is sound.
pub(crate) fn group_start(frame: &[u8], end: Position) -> Option<Position> {
    let length = u32_at(frame, 4)?;
    let offset = end.offset.checked_sub(u64::from(length) + COMMIT_FRAME_BYTES as u64)?;
    let start = Position { segment: end.segment, offset };
    let sound = frame.len() == COMMIT_FRAME_BYTES
        && length as usize <= GROUP_BYTES_MAX - COMMIT_FRAME_BYTES
        && commit_frame(start, length, u32_at(frame, 8)?) == frame;
    sound.then_some(start)
}

/// What the bytes at a place turned out to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum GroupFound {
    /// A whole group: the length of its records, and its name by checksum.
    Whole { record_bytes: usize, checksum: u32 },
    /// It may be a group, but so many bytes are needed to tell.
    Short { needed_bytes: usize },
    /// It is not a group.
    Broken,
}

/// Judges the bytes that begin at `start`.
pub(crate) fn find_group(bytes: &[u8], start: Position) -> GroupFound {
    let mut offset = 0;
    loop {
        let Some(first) = bytes.get(offset) else {
            return GroupFound::Short { needed_bytes: offset + RECORD_HEADER_BYTES };
        };
        if *first == COMMIT_MAGIC[0] {
            break;
        }
        let Some(kind_and_length) = u32_at(bytes, offset) else {
            return GroupFound::Short { needed_bytes: offset + RECORD_HEADER_BYTES };
        };
        let length = (kind_and_length >> 8) as usize;
        if RecordKind::from_number(*first).is_none() || length > RECORD_BYTES_MAX {
            return GroupFound::Broken;
        }
        offset += RECORD_HEADER_BYTES + length;
        if offset > GROUP_BYTES_MAX - COMMIT_FRAME_BYTES {
            return GroupFound::Broken;
        }
    }
    let Some(frame) = bytes.get(offset..offset + COMMIT_FRAME_BYTES) else {
        return GroupFound::Short { needed_bytes: offset + COMMIT_FRAME_BYTES };
    };
    let group_checksum = crc32c::crc32c_append(seed(start), &bytes[..offset]);
    let right = commit_frame(start, offset as u32, group_checksum);
    if offset == 0 || frame != right {
        return GroupFound::Broken;
    }
    GroupFound::Whole { record_bytes: offset, checksum: frame_checksum(&right) }
}

/// Where the records of a group begin that ends at `end`.
pub(crate) fn places(group: &[Record<'_>], end: Position) -> impl Iterator<Item = Position> {
    let mut offset = end.offset.saturating_sub(group_bytes(group) as u64);
    group.iter().map(move |record| {
        let place = Position { offset, ..end };
        offset += (RECORD_HEADER_BYTES + record.bytes.len()) as u64;
        place
    })
}

/// The records of a whole group, each with its distance from the group's start.
pub(crate) fn records(group: &[u8]) -> impl Iterator<Item = (u64, Record<'_>)> {
    let mut offset = 0;
    std::iter::from_fn(move || {
        let kind = RecordKind::from_number(*group.get(offset)?)?;
        let length = (u32_at(group, offset)? >> 8) as usize;
        let bytes = group.get(offset + RECORD_HEADER_BYTES..)?.get(..length)?;
        let at = offset as u64;
        offset += RECORD_HEADER_BYTES + length;
        Some((at, Record { kind, bytes }))
    })
}

/// A record found in a piece of the journal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct LooseRecord {
    pub(crate) kind: RecordKind,
    /// Where its header begins in the piece.
    pub(crate) start: usize,
    /// Where its bytes are in the piece.
    pub(crate) bytes: Range<usize>,
    /// Whether its checksum holds.
    pub(crate) sound: bool,
}

/// The records of a piece that begins with one and ends behind one, whatever commit frames lie between.
/// Where there is neither a record nor a frame comes a none, and nothing after it.
pub(crate) fn loose_records(piece: &[u8]) -> impl Iterator<Item = Option<LooseRecord>> {
    let mut offset = 0;
    std::iter::from_fn(move || {
        while piece.get(offset..)?.starts_with(&COMMIT_MAGIC) {
            offset += COMMIT_FRAME_BYTES;
        }
        if offset >= piece.len() {
            return None;
        }
        let record = loose_record(piece, offset);
        offset = record.as_ref().map_or(piece.len(), |record| record.bytes.end);
        Some(record)
    })
}

fn loose_record(piece: &[u8], start: usize) -> Option<LooseRecord> {
    let kind_and_length = piece.get(start..)?.first_chunk::<4>()?;
    let kind = RecordKind::from_number(kind_and_length[0])?;
    let length = (u32::from_le_bytes(*kind_and_length) >> 8) as usize;
    let checksum = u32_at(piece, start + 4)?;
    let bytes = start + RECORD_HEADER_BYTES..start + RECORD_HEADER_BYTES + length;
    let sound = record_checksum(kind_and_length, piece.get(bytes.clone())?) == checksum;
    Some(LooseRecord { kind, start, bytes, sound })
}

#[cfg(test)]
mod tests {
    use super::*;

    const START: Position = Position { segment: 7, offset: 52 };

    fn group(records: &[Record<'_>]) -> Vec<u8> {
        let mut out = Vec::new();
        write_group(records, START, &mut out);
        out
    }

    #[test]
    fn crc32c_is_the_published_one() {
        // RFC 3720 (iSCSI), appendix B.4: 32 bytes of zeros give AA 36 91 8A, sent low byte first.
        assert_eq!(crc32c::crc32c(&[0; 32]), 0x8A91_36AA);
    }

    #[test]
    fn a_group_reads_back() {
        let sent = [
            Record { kind: RecordKind::ChainDeclaration, bytes: b"who" },
            Record { kind: RecordKind::Run, bytes: b"" },
            Record { kind: RecordKind::Unknown(9), bytes: b"from a later version" },
        ];
        let bytes = group(&sent);
        assert_eq!(bytes.len(), group_bytes(&sent));
        let GroupFound::Whole { record_bytes, .. } = find_group(&bytes, START) else {
            panic!("the group is whole");
        };
        let read: Vec<Record<'_>> = records(&bytes[..record_bytes]).map(|(_, record)| record).collect();
        assert_eq!(read, sent);
    }

    #[test]
    fn one_record_costs_24_bytes_beyond_its_own() {
        assert_eq!(group(&[Record { kind: RecordKind::Run, bytes: &[5; 100] }]).len(), 124);
    }

    #[test]
    fn every_flipped_bit_breaks_the_group() {
        let bytes = group(&[Record { kind: RecordKind::Run, bytes: b"plaster" }]);
        for bit in 0..bytes.len() * 8 {
            let mut bent = bytes.clone();
            bent[bit / 8] ^= 1 << (bit % 8);
            assert!(!matches!(find_group(&bent, START), GroupFound::Whole { .. }), "bit {bit}");
        }
    }

    #[test]
    fn a_group_is_none_in_another_place() {
        let bytes = group(&[Record { kind: RecordKind::Run, bytes: b"plaster" }]);
        let elsewhere = Position { segment: 7, offset: 53 };
        assert_eq!(find_group(&bytes, elsewhere), GroupFound::Broken);
        let other_segment = Position { segment: 8, offset: 52 };
        assert_eq!(find_group(&bytes, other_segment), GroupFound::Broken);
    }

    #[test]
    fn a_part_of_a_group_asks_for_more() {
        let bytes = group(&[Record { kind: RecordKind::Run, bytes: b"plaster" }]);
        for length in 0..bytes.len() {
            let found = find_group(&bytes[..length], START);
            assert!(matches!(found, GroupFound::Short { needed_bytes } if needed_bytes > length), "{length}");
        }
    }

    #[test]
    fn a_frame_tells_where_its_group_begins() {
        let bytes = group(&[Record { kind: RecordKind::Run, bytes: b"plaster" }]);
        let end = Position { segment: 7, offset: 52 + bytes.len() as u64 };
        let frame = &bytes[bytes.len() - COMMIT_FRAME_BYTES..];
        assert_eq!(group_start(frame, end), Some(START));
        assert_eq!(group_start(frame, START), None);
    }
}
