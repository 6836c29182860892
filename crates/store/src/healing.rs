//! Putting a damaged segment right: what can't be read goes to `cut/`, and records that say so take its place.
//!
//! What stood there is not brought back here. It comes from a peer and is appended like anything else. The places of
//! all that is whole stay as they are. A segment is written beside and renamed, never patched.

use ledger::CrewId;

use crate::Position;
use crate::disk::{Disk, DiskError, DiskFile, Tried};
use crate::frame::{self, COMMIT_FRAME_BYTES, RECORD_BYTES_MAX, RECORD_HEADER_BYTES, Record, RecordKind};
use crate::recovery::{CutTail, Damage, copy_to_cut};
use crate::scanner::{Scanner, Step};
use crate::segment::{self, FIRST_GROUP, HeaderFound, JOURNAL_FOLDER, segment_file};

/// The shortest group: one record that holds nothing.
const LEAST: u64 = (RECORD_HEADER_BYTES + COMMIT_FRAME_BYTES) as u64;
/// The longest that is put in place of damage.
const MOST: u64 = LEAST + RECORD_BYTES_MAX as u64;

/// What became of one damaged place.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Healed {
    /// What was damaged.
    pub damage: Damage,
    /// What now holds those bytes; none for a segment that was missing.
    pub cut: Option<CutTail>,
}

/// Writes a segment anew up to `end`, with everything whole in its place. `end` is where its last group ends if more is
/// appended to it, and none otherwise. Gives nothing if it turns out to be whole.
pub(crate) fn heal_segment(
    disk: &dyn Disk,
    crew: &CrewId,
    number: u32,
    end: Option<u64>,
) -> Result<Vec<Healed>, DiskError> {
    let place = Position { segment: number, offset: 0 };
    let name = segment_file(number);
    let file = match disk.open(&name) {
        Ok(file) => Some(file),
        Err(error) if error.kind() == std::io::ErrorKind::NotFound => None,
        Err(error) => return Err(error).tried("open", &name),
    };
    let Some(file) = file else {
        replace(disk, number, &segment::header_bytes(number, crew))?;
        return Ok(vec![Healed { damage: Damage { place, length: 0 }, cut: None }]);
    };
    let damage = damage_in(&*file, crew, number, end)?;
    if damage.is_empty() {
        return Ok(Vec::new()); // It reads well now.
    }
    let length = file.length().tried("measure", &name)?;
    let kept = end.unwrap_or(length).min(length);
    let mut bytes = vec![0; kept as usize];
    file.read_at(0, &mut bytes).tried("read", &name)?;
    let mut healed = Vec::new();
    for damage in damage {
        // A header may be cut short by the file's end.
        let held = damage.length.min(length.saturating_sub(damage.place.offset));
        let cut = copy_to_cut(disk, &*file, damage.place, held)?;
        fill(&mut bytes, damage, crew);
        healed.push(Healed { damage, cut: Some(cut) });
    }
    replace(disk, number, &bytes)?;
    Ok(healed)
}

/// The damage of one segment, read once more: a disk may misread once and not again.
fn damage_in(
    file: &dyn DiskFile,
    crew: &CrewId,
    number: u32,
    end: Option<u64>,
) -> Result<Vec<Damage>, DiskError> {
    let mut damage = Vec::new();
    if segment::read_header(file, number)? != HeaderFound::Sound(*crew) {
        damage.push(Damage { place: Position { segment: number, offset: 0 }, length: FIRST_GROUP });
    }
    let start = Position { segment: number, offset: FIRST_GROUP };
    let mut scanner = Scanner::new(file, start, end.unwrap_or(u64::MAX))?;
    loop {
        match scanner.step()? {
            Step::Group { .. } => {}
            Step::Damage(found) => damage.push(found),
            Step::End { at, .. } => {
                let length = scanner.limit() - at.offset;
                damage.extend((length > 0).then_some(Damage { place: at, length }));
                return Ok(damage);
            }
        }
    }
}

/// Puts whole groups in the place of damaged bytes.
fn fill(bytes: &mut Vec<u8>, damage: Damage, crew: &CrewId) {
    let (from, until) = (damage.place.offset as usize, (damage.place.offset + damage.length) as usize);
    if damage.place.offset < FIRST_GROUP {
        bytes.resize(bytes.len().max(until), 0);
        bytes[from..until].copy_from_slice(&segment::header_bytes(damage.place.segment, crew));
        return;
    }
    if damage.length < LEAST {
        bytes.truncate(from); // Too short for a group, as only what hangs over at the end can be.
        return;
    }
    let mut groups = Vec::new();
    while (groups.len() as u64) < damage.length {
        let left = damage.length - groups.len() as u64;
        // What is left behind a group must again have room for one.
        let length = if left <= MOST { left } else { MOST.min(left - LEAST) };
        let start = Position { offset: damage.place.offset + groups.len() as u64, ..damage.place };
        let nothing = vec![0; (length - LEAST) as usize];
        frame::write_group(&[Record { kind: RecordKind::Lost, bytes: &nothing }], start, &mut groups);
    }
    bytes[from..until].copy_from_slice(&groups);
}

/// Writes a segment beside, syncs it, and gives it the name.
fn replace(disk: &dyn Disk, number: u32, bytes: &[u8]) -> Result<(), DiskError> {
    let (name, beside) = (segment_file(number), format!("{JOURNAL_FOLDER}/{number:010}.new"));
    // One that an earlier try left behind.
    disk.remove(&beside).or_else(|error| {
        if error.kind() == std::io::ErrorKind::NotFound {
            Ok(())
        } else {
            Err(error).tried("remove", &beside)
        }
    })?;
    let file = disk.create(&beside).tried("create", &beside)?;
    file.write_at(0, bytes).tried("write", &beside)?;
    file.sync_data().tried("sync", &beside)?;
    disk.rename(&beside, &name).tried("rename", &beside)?;
    disk.sync_folder(JOURNAL_FOLDER).tried("sync", JOURNAL_FOLDER)
}
