//! The journal: groups of records, appended to segment files and synced before they count.
//!
//! There is one writer. A write or sync that fails stops it until the next start, because after a failed
//! sync the kernel may have dropped the bytes and say nothing the second time; reading goes on. Nothing
//! that was acknowledged is ever written over.

use std::collections::BTreeMap;
use std::sync::Arc;

use ledger::CrewId;
use ledger::sabotage::Fault;

use crate::Position;
use crate::disk::{Disk, DiskError, DiskFile, Tried};
use crate::error::AppendError;
use crate::frame::{self, GROUP_BYTES_MAX, RECORD_BYTES_MAX, RECORD_HEADER_BYTES, Record, RecordKind};
use crate::healing::{Healed, heal_segment};
use crate::recovery::{Damage, Mark, Tail};
use crate::scanner::{Scanner, Step};
use crate::segment::{self, FIRST_GROUP, HeaderFound, JOURNAL_FOLDER, segment_file};
use crate::span::RunSpan;

/// Groups up to this length are written with zeros behind them, into which the next ones fit. Longer
/// groups gain nothing by it: the sync costs them less than the zeros would.
const FILL_BEHIND_BYTES: usize = 64 * 1024;

/// Open files kept for reading.
const OPEN_SEGMENTS: usize = 16;

/// How large segments grow, and how much room is made ready at a time.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Sizes {
    /// A group that would pass this begins a new segment.
    pub(crate) segment_bytes: u64,
    /// Zeros are written ahead up to the next multiple of this. A write into bytes that exist leaves
    /// the file's length as it is, and the sync after it has one thing less to make durable.
    pub(crate) fill_bytes: u64,
}

/// The segment files of one crew, and the one writer.
pub(crate) struct Journal {
    disk: Arc<dyn Disk>,
    crew: CrewId,
    sizes: Sizes,
    segments: Vec<u32>,
    readers: BTreeMap<u32, Box<dyn DiskFile>>,
    tail: Tail,
    /// Where a group is put together; kept to save making it anew.
    group: Vec<u8>,
}

impl Journal {
    /// Goes on writing behind `tail`.
    pub(crate) fn new(
        disk: Arc<dyn Disk>,
        crew: CrewId,
        sizes: Sizes,
        segments: Vec<u32>,
        tail: Tail,
    ) -> Journal {
        Journal { disk, crew, sizes, segments, readers: BTreeMap::new(), tail, group: Vec::new() }
    }

    /// Makes the first segment, durably, with no group yet.
    pub(crate) fn create(disk: Arc<dyn Disk>, crew: CrewId, sizes: Sizes) -> Result<Journal, DiskError> {
        let first = segment::header_bytes(1, &crew);
        let file = create_segment(&*disk, 1, &first)?;
        let tail = Tail { file, mark: Mark::first_of(1), filled: FIRST_GROUP, stopped: None };
        Ok(Journal::new(disk, crew, sizes, vec![1], tail))
    }

    /// Whose journal this is.
    pub(crate) fn crew(&self) -> CrewId {
        self.crew
    }

    /// The end of the last acknowledged group.
    pub(crate) fn mark(&self) -> Mark {
        self.tail.mark
    }

    /// Why nothing is appended, if so.
    pub(crate) fn stopped(&self) -> Option<&str> {
        self.tail.stopped.as_deref()
    }

    /// How many segment files there are.
    pub(crate) fn segment_count(&self) -> usize {
        self.segments.len()
    }

    /// How long all segments are together, in bytes.
    pub(crate) fn length(&self) -> Result<u64, DiskError> {
        let last = self.tail.mark.end;
        let mut length = last.offset;
        for number in self.segments.iter().filter(|number| **number != last.segment) {
            let name = segment_file(*number);
            length += self.disk.open(&name).tried("open", &name)?.length().tried("measure", &name)?;
        }
        Ok(length)
    }

    /// Appends one group and syncs it. Returns where it begins; [`Journal::mark`] is then its end.
    pub(crate) fn append(&mut self, records: &[Record<'_>]) -> Result<Position, AppendError> {
        if let Some(cause) = &self.tail.stopped {
            return Err(AppendError::Stopped { cause: cause.clone() });
        }
        let length = check_group(records)? as u64;
        // Below this line only the disk can fail.
        let end = self.tail.mark.end;
        let written = if end.offset + length > self.sizes.segment_bytes && end.offset > FIRST_GROUP {
            self.write_into_new_segment(records)
        } else {
            self.write_behind(records, length)
        };
        written.map_err(|error| {
            tracing::error!(%error, "the journal's writer stops");
            self.tail.stopped = Some(error.to_string());
            AppendError::Disk(error)
        })
    }

    fn write_behind(&mut self, records: &[Record<'_>], length: u64) -> Result<Position, DiskError> {
        let start = self.tail.mark.end;
        self.group.clear();
        let checksum = frame::write_group(records, start, &mut self.group);
        let end = Position { offset: start.offset + length, ..start };
        let mut filled = self.tail.filled;
        if end.offset > filled {
            filled = fill_behind(&mut self.group, end.offset, self.sizes);
        }
        let name = segment_file(start.segment);
        let written = self.tail.file.write_at(start.offset, &self.group).tried("write", &name);
        let synced = match written {
            Ok(()) if Fault::AcknowledgeBeforeSync.is_set() => Ok(()),
            written => written.and_then(|()| self.tail.file.sync_data().tried("sync", &name)),
        };
        if let Err(error) = synced {
            // None of it was acknowledged. Taken away at once, it needs no room in `cut/` at the next
            // start of a full disk, and no later start can take it for durable.
            let removed = self.tail.file.truncate(start.offset).and_then(|()| self.tail.file.sync_data());
            removed.unwrap_or_else(|left| tracing::warn!(%left, "a part of the failed write may remain"));
            return Err(error);
        }
        self.tail.filled = filled;
        self.tail.mark = Mark { end, checksum };
        Ok(start)
    }

    fn write_into_new_segment(&mut self, records: &[Record<'_>]) -> Result<Position, DiskError> {
        let old = self.tail.mark.end;
        let old_name = segment_file(old.segment);
        if self.tail.filled > old.offset {
            self.tail.file.truncate(old.offset).tried("shorten", &old_name)?;
            self.tail.filled = old.offset;
            self.tail.file.sync_data().tried("sync", &old_name)?;
        }
        let start = Position { segment: old.segment + 1, offset: FIRST_GROUP };
        self.group.clear();
        self.group.extend_from_slice(&segment::header_bytes(start.segment, &self.crew));
        let checksum = frame::write_group(records, start, &mut self.group);
        let end = Position { offset: self.group.len() as u64, ..start };
        let filled = fill_behind(&mut self.group, end.offset, self.sizes);
        let file = create_segment(&*self.disk, start.segment, &self.group)?;
        self.segments.push(start.segment);
        self.tail = Tail { file, mark: Mark { end, checksum }, filled, stopped: None };
        Ok(start)
    }

    /// Reads `length` bytes from `place` on; none if the journal has no such place.
    pub(crate) fn read_piece(&mut self, place: Position, length: u32) -> Result<Option<Vec<u8>>, DiskError> {
        let end = place.offset.saturating_add(u64::from(length));
        let known_end = self.tail.mark.end;
        let beyond_tail = place.segment == known_end.segment && end > known_end.offset;
        let too_long = length as usize > RECORD_HEADER_BYTES + RECORD_BYTES_MAX;
        if beyond_tail || too_long || self.segments.binary_search(&place.segment).is_err() {
            return Ok(None);
        }
        let name = segment_file(place.segment);
        let file = self.reader(place.segment)?;
        if end > file.length().tried("measure", &name)? {
            return Ok(None);
        }
        let mut piece = vec![0; length as usize];
        file.read_at(place.offset, &mut piece).tried("read", &name)?;
        Ok(Some(piece))
    }

    /// Puts whole groups in place of what is damaged in a segment. What is appended meanwhile waits.
    pub(crate) fn heal(&mut self, number: u32) -> Result<Vec<Healed>, DiskError> {
        let tail = self.tail.mark.end;
        let is_tail = number == tail.segment;
        let healed = heal_segment(&*self.disk, &self.crew, number, is_tail.then_some(tail.offset))?;
        if healed.is_empty() {
            return Ok(healed);
        }
        self.readers.remove(&number);
        if let Err(place) = self.segments.binary_search(&number) {
            self.segments.insert(place, number);
        }
        if is_tail {
            let name = segment_file(number);
            self.tail.file = self.disk.open(&name).tried("open", &name)?;
            self.tail.filled = tail.offset;
        }
        Ok(healed)
    }

    fn reader(&mut self, number: u32) -> Result<&dyn DiskFile, DiskError> {
        if self.readers.len() >= OPEN_SEGMENTS && !self.readers.contains_key(&number) {
            self.readers.clear();
        }
        let file = match self.readers.entry(number) {
            std::collections::btree_map::Entry::Occupied(held) => held.into_mut(),
            std::collections::btree_map::Entry::Vacant(free) => {
                let name = segment_file(number);
                free.insert(self.disk.open(&name).tried("open", &name)?)
            }
        };
        Ok(&**file)
    }

    /// Reads every whole group from `from`, which must be a group's begin or end, to the last one that
    /// was acknowledged, and returns the damage met on the way.
    pub(crate) fn scan<E: From<DiskError>>(
        &self,
        from: Position,
        mut visit: impl FnMut(Position, Position, &[u8]) -> Result<(), E>,
    ) -> Result<Vec<Damage>, E> {
        let last = self.tail.mark.end;
        let mut damage = Vec::new();
        for number in from.segment.max(1)..=last.segment {
            let place = Position { segment: number, offset: 0 };
            if self.segments.binary_search(&number).is_err() {
                damage.push(Damage { place, length: 0 });
                continue;
            }
            let name = segment_file(number);
            let file = self.disk.open(&name).tried("open", &name)?;
            let mut start = Position { segment: number, offset: FIRST_GROUP };
            if number == from.segment && from.offset > FIRST_GROUP {
                start = from;
            } else if segment::read_header(&*file, number)? != HeaderFound::Sound(self.crew) {
                damage.push(Damage { place, length: FIRST_GROUP });
            }
            let limit = if number == last.segment { last.offset } else { u64::MAX };
            let mut scanner = Scanner::new(&*file, start, limit)?;
            loop {
                match scanner.step()? {
                    Step::Group { start, end, records, .. } => visit(start, end, records)?,
                    Step::Damage(found) => damage.push(found),
                    Step::End { at, .. } => {
                        // A segment was shortened to its last group before the next was begun, so even
                        // zeros are damage here.
                        let length = scanner.limit() - at.offset;
                        damage.extend((length > 0).then_some(Damage { place: at, length }));
                        break;
                    }
                }
            }
        }
        Ok(damage)
    }
}

/// Refuses a group that is not one, and returns its length on disk.
fn check_group(records: &[Record<'_>]) -> Result<usize, AppendError> {
    if records.is_empty() {
        return Err(AppendError::EmptyGroup);
    }
    for (number, record) in records.iter().enumerate() {
        if record.bytes.len() > RECORD_BYTES_MAX {
            return Err(AppendError::RecordTooLarge { bytes: record.bytes.len() });
        }
        if RecordKind::from_number(record.kind.number()) != Some(record.kind) {
            return Err(AppendError::ReservedKind { number });
        }
        if record.kind == RecordKind::Run && RunSpan::of(record.bytes).is_none() {
            return Err(AppendError::NotARun { number });
        }
    }
    let length = frame::group_bytes(records);
    if length > GROUP_BYTES_MAX { Err(AppendError::GroupTooLarge { bytes: length }) } else { Ok(length) }
}

/// Adds zeros behind a short group whose end is `end` in the file, and returns where they end.
fn fill_behind(group: &mut Vec<u8>, end: u64, sizes: Sizes) -> u64 {
    if group.len() > FILL_BEHIND_BYTES || sizes.fill_bytes == 0 {
        return end;
    }
    let filled = end.next_multiple_of(sizes.fill_bytes).min(sizes.segment_bytes.max(end));
    group.resize(group.len() + (filled - end) as usize, 0);
    filled
}

/// Makes a segment with its first bytes, and syncs both the bytes and the name.
fn create_segment(disk: &dyn Disk, number: u32, bytes: &[u8]) -> Result<Box<dyn DiskFile>, DiskError> {
    let name = segment_file(number);
    let file = disk.create(&name).tried("create", &name)?;
    let durable = file
        .write_at(0, bytes)
        .tried("write", &name)
        .and_then(|()| file.sync_data().tried("sync", &name))
        .and_then(|()| disk.sync_folder(JOURNAL_FOLDER).tried("sync", JOURNAL_FOLDER));
    if let Err(error) = durable {
        let removed = disk.remove(&name).and_then(|()| disk.sync_folder(JOURNAL_FOLDER));
        removed.unwrap_or_else(|left| tracing::warn!(%left, "a part of the failed write may remain"));
        return Err(error);
    }
    Ok(file)
}
