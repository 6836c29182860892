//! Reads one segment group by group, and finds its place again behind damage.
//!
//! The scanner says what it finds and leaves the judgement to its caller: bytes at the end that are no
//! group are a torn write in the last segment, and damage in any other. It never reads past the limit
//! that it is given, so a group that was written but never acknowledged stays unseen.

use crate::Position;
use crate::disk::{DiskError, DiskFile, Tried};
use crate::frame::{self, COMMIT_FRAME_BYTES, COMMIT_MAGIC, GroupFound};
use crate::recovery::Damage;
use crate::segment::segment_file;

/// How much is read at once.
const WINDOW_BYTES: usize = 1024 * 1024;

/// What comes next in a segment.
pub(crate) enum Step<'a> {
    /// A whole group: where it begins and ends, its records' bytes, and its name by checksum.
    Group { start: Position, end: Position, records: &'a [u8], checksum: u32 },
    /// Bytes that are no group, and a whole group behind them.
    Damage(Damage),
    /// No whole group any more. `torn_bytes` from here are written and no group; the rest is zeros.
    End { at: Position, torn_bytes: u64 },
}

/// A place in a segment that moves on group by group.
pub(crate) struct Scanner<'a> {
    file: &'a dyn DiskFile,
    name: String,
    at: Position,
    limit: u64,
    window: Vec<u8>,
    window_start: u64,
}

impl<'a> Scanner<'a> {
    /// Begins at `at`, where a group or nothing must begin, and ends at `limit` or the file's end.
    pub(crate) fn new(file: &'a dyn DiskFile, at: Position, limit: u64) -> Result<Scanner<'a>, DiskError> {
        let name = segment_file(at.segment);
        // A file may end before its first group should begin.
        let limit = limit.min(file.length().tried("measure", &name)?).max(at.offset);
        Ok(Scanner { file, name, at, limit, window: Vec::new(), window_start: at.offset })
    }

    /// Where the scanner ends: no byte from here on is read.
    pub(crate) fn limit(&self) -> u64 {
        self.limit
    }

    /// Finds what comes next, and moves behind it.
    pub(crate) fn step(&mut self) -> Result<Step<'_>, DiskError> {
        let start = self.at;
        if let Some((record_bytes, checksum)) = self.group_at(start.offset)? {
            self.at.offset += (record_bytes + COMMIT_FRAME_BYTES) as u64;
            let from = (start.offset - self.window_start) as usize;
            let records = &self.window[from..from + record_bytes];
            return Ok(Step::Group { start, end: self.at, records, checksum });
        }
        let written = self.written_bytes_from(start.offset)?;
        if written > 0
            && let Some(next) = self.next_group_after(start.offset, written)?
        {
            self.at.offset = next;
            return Ok(Step::Damage(Damage { place: start, length: next - start.offset }));
        }
        Ok(Step::End { at: start, torn_bytes: written })
    }

    /// The group that begins at `offset`, if it is whole: its records' length and its checksum.
    fn group_at(&mut self, offset: u64) -> Result<Option<(usize, u32)>, DiskError> {
        let start = Position { offset, ..self.at };
        let mut needed_bytes = 1;
        loop {
            let bytes = self.read_window(offset, needed_bytes)?;
            if bytes.len() < needed_bytes {
                return Ok(None);
            }
            match frame::find_group(bytes, start) {
                GroupFound::Whole { record_bytes, checksum } => return Ok(Some((record_bytes, checksum))),
                GroupFound::Short { needed_bytes: more } => needed_bytes = more,
                GroupFound::Broken => return Ok(None),
            }
        }
    }

    /// The bytes from `offset` on that are in memory, after reading until there are `needed_bytes` or
    /// the limit is reached.
    fn read_window(&mut self, offset: u64, needed_bytes: usize) -> Result<&[u8], DiskError> {
        let window_end = self.window_start + self.window.len() as u64;
        if offset < self.window_start || offset > window_end {
            self.window.clear();
            self.window_start = offset;
        }
        let held = self.window_start + self.window.len() as u64 - offset;
        if held < needed_bytes as u64 {
            self.window.drain(..(offset - self.window_start) as usize);
            self.window_start = offset;
            let from = offset + held;
            let more = (needed_bytes.max(WINDOW_BYTES) as u64).min(self.limit.saturating_sub(from));
            self.window.resize((held + more) as usize, 0);
            if more > 0 {
                let new = &mut self.window[held as usize..];
                self.file.read_at(from, new).tried("read", &self.name)?;
            }
        }
        Ok(&self.window[(offset - self.window_start) as usize..])
    }

    /// How many bytes from `offset` on, up to the last that is not zero.
    fn written_bytes_from(&mut self, offset: u64) -> Result<u64, DiskError> {
        let mut written = 0;
        let mut from = offset;
        while from < self.limit {
            let bytes = self.read_window(from, 1)?;
            if let Some(last) = bytes.iter().rposition(|byte| *byte != 0) {
                written = from + last as u64 + 1 - offset;
            }
            from += bytes.len() as u64;
        }
        Ok(written)
    }

    /// Looks behind broken bytes for the first commit frame whose group is whole, and says where that
    /// group begins.
    fn next_group_after(&mut self, broken: u64, written: u64) -> Result<Option<u64>, DiskError> {
        let (segment, end) = (self.at.segment, broken + written);
        let mut from = broken;
        while from + COMMIT_FRAME_BYTES as u64 <= end {
            let bytes = self.read_window(from, COMMIT_FRAME_BYTES)?;
            let mut starts: Vec<u64> = Vec::new();
            for (index, frame) in bytes.windows(COMMIT_FRAME_BYTES).enumerate() {
                if frame[..4] == COMMIT_MAGIC {
                    let frame_end = from + (index + COMMIT_FRAME_BYTES) as u64;
                    let frame_end = Position { segment, offset: frame_end };
                    let start = frame::group_start(frame, frame_end).map(|start| start.offset);
                    starts.extend(start.filter(|start| *start > broken));
                }
            }
            from += (bytes.len() + 1 - COMMIT_FRAME_BYTES) as u64;
            for start in starts {
                if self.group_at(start)?.is_some() {
                    return Ok(Some(start));
                }
            }
        }
        Ok(None)
    }
}
