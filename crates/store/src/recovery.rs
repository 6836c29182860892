//! What a start finds in the journal: where its last whole group ends, what was torn, what is damaged.
//!
//! A torn tail is copied to `cut/` before it is cut off. Damage in front of a whole group is reported
//! and left where it is; the groups behind it stay readable. Healing it is another module's.

use std::fmt;

use ledger::CrewId;

use crate::Position;
use crate::disk::{Disk, DiskError, DiskFile, Tried};
use crate::error::OpenError;
use crate::frame::{self, COMMIT_FRAME_BYTES, GroupFound};
use crate::index::IndexState;
use crate::scanner::{Scanner, Step};
use crate::segment::{self, FIRST_GROUP, HeaderFound, segment_file};

/// The folder of what was cut off.
const CUT_FOLDER: &str = "cut";

/// How much is copied at once.
const COPY_BYTES: u64 = 1024 * 1024;

/// Bytes of the journal that are not what was written, with whole groups behind them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Damage {
    /// Where it begins.
    pub place: Position,
    /// How many bytes; 0 if the whole file is missing.
    pub length: u64,
}

impl fmt::Display for Damage {
    fn fmt(&self, formatter: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self.length {
            0 => write!(formatter, "segment {} is missing", self.place.segment),
            length => write!(formatter, "{length} bytes at {}", self.place),
        }
    }
}

/// A torn write at the journal's end, which was never acknowledged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CutTail {
    /// Where it stood.
    pub place: Position,
    /// How many bytes.
    pub length: u64,
    /// The file that now holds them, relative to the disk's root.
    pub file: String,
}

/// What a start found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OpenReport {
    /// Torn writes that were moved to `cut/`: one, or two if a new segment was begun as well.
    pub cut: Vec<CutTail>,
    /// Damage met while reading the journal's tail. Older segments are not read at a start.
    pub damage: Vec<Damage>,
    /// Why nothing can be appended until the next start, if a torn tail could not be moved.
    pub stopped: Option<String>,
    /// What became of the index.
    pub index: IndexState,
}

/// The end of a group, and the group's checksum to recognise it by: the journal up to here, in brief.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Mark {
    pub(crate) end: Position,
    /// 0 if the segment has no group before `end`.
    pub(crate) checksum: u32,
}

impl Mark {
    /// The mark of a segment without groups.
    pub(crate) fn first_of(segment: u32) -> Mark {
        Mark { end: Position { segment, offset: FIRST_GROUP }, checksum: 0 }
    }

    /// Whether the journal on this disk really has this group ending there.
    pub(crate) fn holds(&self, disk: &dyn Disk) -> Result<bool, DiskError> {
        let name = segment_file(self.end.segment);
        let file = match disk.open(&name) {
            Ok(file) => file,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(false),
            Err(error) => return Err(error).tried("open", &name),
        };
        if *self == Mark::first_of(self.end.segment) {
            return Ok(matches!(segment::read_header(&*file, self.end.segment)?, HeaderFound::Sound(_)));
        }
        let before_frame = self.end.offset.checked_sub(COMMIT_FRAME_BYTES as u64);
        let Some(before_frame) = before_frame.filter(|before| *before >= FIRST_GROUP) else {
            return Ok(false);
        };
        if file.length().tried("measure", &name)? < self.end.offset {
            return Ok(false);
        }
        let mut frame = [0; COMMIT_FRAME_BYTES];
        file.read_at(before_frame, &mut frame).tried("read", &name)?;
        let Some(start) = frame::group_start(&frame, self.end) else {
            return Ok(false);
        };
        let mut group = vec![0; (self.end.offset - start.offset) as usize];
        file.read_at(start.offset, &mut group).tried("read", &name)?;
        Ok(matches!(frame::find_group(&group, start),
            GroupFound::Whole { checksum, .. } if checksum == self.checksum))
    }
}

/// A journal's last segment, ready to be written on.
pub(crate) struct Tail {
    pub(crate) file: Box<dyn DiskFile>,
    pub(crate) mark: Mark,
    /// The file's length: zeros from `mark.end` to here, unless the tail could not be cut.
    pub(crate) filled: u64,
    pub(crate) stopped: Option<String>,
}

/// Finds the crew that a journal belongs to, from the newest segment whose header is sound.
pub(crate) fn find_crew(disk: &dyn Disk, segments: &[u32]) -> Result<Option<CrewId>, OpenError> {
    for number in segments.iter().rev() {
        let name = segment_file(*number);
        let file = disk.open(&name).tried("open", &name)?;
        match segment::read_header(&*file, *number)? {
            HeaderFound::Sound(crew) => return Ok(Some(crew)),
            HeaderFound::TooNew(format) => return Err(OpenError::TooNew { file: name, format }),
            HeaderFound::Broken => {}
        }
    }
    Ok(None)
}

/// Finds the end of the journal and cuts off what is torn there. Segments that were begun and hold
/// nothing whole are taken away, and `segments` is what remains. Of a journal that is only read nothing is
/// cut off or taken away; it is reported as damage.
///
/// `known` is the newest mark that holds; the segment is read from there on.
pub(crate) fn find_tail(
    disk: &dyn Disk,
    segments: &mut Vec<u32>,
    known: Option<Mark>,
    only_reads: bool,
    report: &mut OpenReport,
) -> Result<Option<Tail>, DiskError> {
    while let Some(number) = segments.last().copied() {
        let name = segment_file(number);
        let file = disk.open(&name).tried("open", &name)?;
        let header = segment::read_header(&*file, number)?;
        let mut mark = known.filter(|mark| mark.end.segment == number).unwrap_or(Mark::first_of(number));
        let mut groups_seen = mark.checksum != 0;
        let mut damage = Vec::new();
        let mut scanner = Scanner::new(&*file, mark.end, u64::MAX)?;
        let torn_bytes = loop {
            match scanner.step()? {
                Step::Group { end, checksum, .. } => {
                    mark = Mark { end, checksum };
                    groups_seen = true;
                }
                Step::Damage(found) => damage.push(found),
                Step::End { torn_bytes, .. } => break torn_bytes,
            }
        };
        let length = file.length().tried("measure", &name)?;
        if groups_seen || matches!(header, HeaderFound::Sound(_)) {
            if !matches!(header, HeaderFound::Sound(_)) {
                let place = Position { segment: number, offset: 0 };
                report.damage.push(Damage { place, length: FIRST_GROUP });
            }
            report.damage.append(&mut damage);
            let mut tail = Tail { file, mark, filled: length, stopped: None };
            if only_reads {
                tail.stopped = Some("this journal is only read".to_owned());
                report
                    .damage
                    .extend((torn_bytes > 0).then_some(Damage { place: mark.end, length: torn_bytes }));
                return Ok(Some(tail));
            }
            if torn_bytes > 0 {
                cut_tail(disk, &mut tail, torn_bytes, report);
            }
            // Groups that were found here may have been written and never synced before the last stop.
            tail.file.sync_data().tried("sync", &name)?;
            return Ok(Some(tail));
        }
        let place = Position { segment: number, offset: 0 };
        let written = written_length(&*file, &name, length)?;
        if only_reads {
            report.damage.extend((written > 0).then_some(Damage { place, length: written }));
            segments.pop();
            continue;
        }
        if written > 0 {
            let cut = copy_to_cut(disk, &*file, place, written)?;
            tracing::warn!(
                file = cut.file,
                length = cut.length,
                "a segment that was never finished was moved"
            );
            report.cut.push(cut);
        }
        disk.remove(&name).tried("remove", &name)?;
        disk.sync_folder(segment::JOURNAL_FOLDER).tried("sync", segment::JOURNAL_FOLDER)?;
        segments.pop();
    }
    Ok(None)
}

/// Moves the torn bytes to `cut/`. If that fails nothing is lost: they stay, and the writer is stopped.
fn cut_tail(disk: &dyn Disk, tail: &mut Tail, torn_bytes: u64, report: &mut OpenReport) {
    let end = tail.mark.end;
    let moved = copy_to_cut(disk, &*tail.file, end, torn_bytes).and_then(|cut| {
        let name = segment_file(end.segment);
        tail.file.truncate(end.offset).tried("shorten", &name)?;
        Ok(cut)
    });
    match moved {
        Ok(cut) => {
            tracing::warn!(place = %cut.place, length = cut.length, file = cut.file, "a torn write was cut off");
            tail.filled = end.offset;
            report.cut.push(cut);
        }
        Err(error) => {
            let cause = format!("the torn write at {end} could not be moved to {CUT_FOLDER}/: {error}");
            tracing::error!(cause, "the journal can be read and not written");
            report.stopped = Some(cause.clone());
            tail.stopped = Some(cause);
        }
    }
}

/// Copies bytes of a segment to a new, synced file in `cut/`.
pub(crate) fn copy_to_cut(
    disk: &dyn Disk,
    from: &dyn DiskFile,
    place: Position,
    length: u64,
) -> Result<CutTail, DiskError> {
    let names = disk.list(CUT_FOLDER).tried("list", CUT_FOLDER)?;
    let free = (1..=u32::MAX)
        .map(|copy| format!("{:010}-{:010}-{copy}.torn", place.segment, place.offset))
        .find(|name| !names.contains(name));
    let file = format!("{CUT_FOLDER}/{}", free.unwrap_or_default());
    let to = disk.create(&file).tried("create", &file)?;
    let copied = copy_bytes(from, &*to, place, length, &file)
        .and_then(|()| disk.sync_folder(CUT_FOLDER).tried("sync", CUT_FOLDER));
    match copied {
        Ok(()) => Ok(CutTail { place, length, file }),
        Err(error) => {
            // Half a copy is of no use; the bytes are still where they were.
            disk.remove(&file).unwrap_or_else(|left| tracing::warn!(file, %left, "half a copy stays"));
            Err(error)
        }
    }
}

fn copy_bytes(
    from: &dyn DiskFile,
    to: &dyn DiskFile,
    place: Position,
    length: u64,
    file: &str,
) -> Result<(), DiskError> {
    let mut copied = 0;
    while copied < length {
        let mut bytes = vec![0; COPY_BYTES.min(length - copied) as usize];
        from.read_at(place.offset + copied, &mut bytes).tried("read", &segment_file(place.segment))?;
        to.write_at(copied, &bytes).tried("write", file)?;
        copied += bytes.len() as u64;
    }
    to.sync_data().tried("sync", file)
}

/// A file's length without the zeros at its end.
fn written_length(file: &dyn DiskFile, name: &str, length: u64) -> Result<u64, DiskError> {
    let mut end = length;
    while end > 0 {
        let start = end.saturating_sub(COPY_BYTES);
        let mut bytes = vec![0; (end - start) as usize];
        file.read_at(start, &mut bytes).tried("read", name)?;
        if let Some(last) = bytes.iter().rposition(|byte| *byte != 0) {
            return Ok(start + last as u64 + 1);
        }
        end = start;
    }
    Ok(0)
}
