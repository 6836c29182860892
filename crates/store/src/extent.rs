//! The runs of one extent, found again in its bytes.
//!
//! An *extent* is a piece of one segment, at most [`EXTENT_BYTES`] long or a single run, in which runs of
//! one chain follow each other without a gap; records of other chains may lie between. The index keeps
//! one entry an extent: a phone signs every event it logs, and a million entries are more than sled can
//! open in time.

use std::ops::Range;

use bytes::Bytes;

use crate::Position;
use crate::frame::{self, RecordKind};
use crate::index::Entry;
use crate::recovery::Damage;
use crate::span::RunSpan;

/// The length in bytes that an extent of several runs may reach. To find one run all of it is read.
pub(crate) const EXTENT_BYTES: u64 = 64 * 1024;

/// An extent that was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Extent {
    pub(crate) runs: Vec<PlacedRun>,
    /// The bytes that the runs are in.
    pub(crate) bytes: Vec<u8>,
}

/// A run of an extent.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct PlacedRun {
    pub(crate) span: RunSpan,
    pub(crate) place: Position,
    /// Where its bytes are in the extent's, unless they are damaged.
    pub(crate) bytes: Result<Range<usize>, Damage>,
}

impl Extent {
    /// The runs, each with its bytes unless they are damaged. They are not copied.
    pub(crate) fn into_runs(self) -> impl Iterator<Item = (RunSpan, Position, Result<Bytes, Damage>)> {
        let bytes = Bytes::from(self.bytes);
        self.runs.into_iter().map(move |run| (run.span, run.place, run.bytes.map(|range| bytes.slice(range))))
    }
}

/// Finds the runs of an extent in its bytes; none if they are not all there, so that the entry is wrong.
/// Runs that must be in a damaged record come as one that spans what is missing.
pub(crate) fn runs_in(entry: &Entry, piece: &[u8]) -> Option<Vec<PlacedRun>> {
    let (chain, first) = (entry.key.chain, entry.key.place);
    let mut next_seq = entry.key.first_seq;
    let end_seq = next_seq.checked_add(u64::from(entry.event_count))?;
    let mut runs = Vec::new();
    let mut damaged: Option<Damage> = None;
    let missing = |from_seq: u64, to_seq: u64, damage: Damage| {
        let event_count = u32::try_from(to_seq - from_seq).ok()?;
        let span = RunSpan { chain, first_seq: from_seq, event_count };
        Some(PlacedRun { span, place: damage.place, bytes: Err(damage) })
    };
    for record in frame::loose_records(piece) {
        let record = record?;
        let place = Position { offset: first.offset + record.start as u64, ..first };
        if !record.sound {
            let length = (record.bytes.end - record.start) as u64;
            damaged = damaged.or(Some(Damage { place, length }));
            continue;
        }
        let span = RunSpan::of(piece.get(record.bytes.clone())?);
        let Some(span) = span.filter(|span| {
            record.kind == RecordKind::Run
                && span.chain == chain
                && (next_seq..end_seq).contains(&span.first_seq)
        }) else {
            continue;
        };
        if span.first_seq > next_seq {
            // Without damage this is a run ahead of a gap, which has an entry of its own.
            let Some(damage) = damaged.take() else { continue };
            runs.push(missing(next_seq, span.first_seq, damage)?);
        }
        next_seq = span.last_seq().saturating_add(1);
        runs.push(PlacedRun { span, place, bytes: Ok(record.bytes) });
    }
    if next_seq < end_seq {
        runs.push(missing(next_seq, end_seq, damaged?)?);
    }
    Some(runs)
}
