//! What was verified of a journal: where each run lies that the ledger took in, and its events' hashes.
//!
//! Hashing events and checking signatures is most of the work of a start. A checkpoint keeps the outcome,
//! so that the next start only reads. It holds nothing that anybody said: entries and the roster are read
//! from the journal at every start, so a checkpoint can make a start faster and can't change a figure.
//! One that does not fit the journal to the last run is not used. A checkpoint of the folded entries would be
//! several times as large, and a second place where they stand.

use std::path::{Path, PathBuf};
use std::sync::Arc;

use ledger::EventHash;
use ledger::frontier::Checked;
use store::{CheckpointError, CheckpointWriter, Position, ReadError, Store};

/// The checkpoint's name in the store.
const NAME: &str = "verified";
/// The version of the state's bytes. A program that meets another one verifies anew.
const VERSION: u32 = 1;
/// Bytes of a run: segment, offset, first sequence number, number of events.
const RUN_BYTES: usize = 24;
/// Bytes of an event's hash.
const HASH_BYTES: usize = 32;
/// Runs and hashes that are written at a time, so that not all of them are in memory twice.
const RUNS_AT_ONCE: usize = 16 * 1024;
const HASHES_AT_ONCE: usize = 16 * 1024;
/// A checkpoint is due once so many events are not in it,
const DUE_EVENTS: usize = 500;
/// and so large a part of all: one in a hundred.
const DUE_PART: usize = 100;

/// Where the checkpoint is in a data folder.
pub(crate) fn checkpoint_of(folder: &Path) -> PathBuf {
    folder.join(format!("journal/checkpoints/{NAME}.checkpoint"))
}

/// A run that was verified.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct VerifiedRun {
    /// Where its record begins.
    pub(crate) place: Position,
    /// The first of its events that was new. The record may begin with ones that were held already.
    pub(crate) first_seq: u64,
    /// How many events were new: at least one.
    pub(crate) count: u32,
}

/// A run that was verified, and the hashes of those of its events.
type WithHashes = (VerifiedRun, Arc<[EventHash]>);

/// The verified runs of a journal in the order in which they lie.
#[derive(Debug, Default, PartialEq, Eq)]
pub(crate) struct Verified {
    runs: Vec<WithHashes>,
    /// How many events they have.
    events: usize,
    /// How many events the last checkpoint holds.
    kept: usize,
    /// How many events were taken from a checkpoint at the start.
    believed: usize,
}

impl Verified {
    /// Adds a run that the ledger took in.
    pub(crate) fn add(&mut self, place: Position, checked: &Checked) {
        let (first_seq, count) = (checked.run().first_seq(), checked.run().count());
        self.runs.push((VerifiedRun { place, first_seq, count }, Arc::clone(checked.hashes())));
        self.events += checked.hashes().len();
    }

    /// Adds what was verified behind all of this.
    pub(crate) fn extend(&mut self, behind: Self) {
        self.runs.extend(behind.runs);
        self.events += behind.events;
    }

    /// Each run with the hashes of its events.
    pub(crate) fn runs(&self) -> impl Iterator<Item = &WithHashes> {
        self.runs.iter()
    }

    fn at(&self, place: Position) -> Option<&WithHashes> {
        let at = self.runs.binary_search_by_key(&place, |(run, _)| run.place).ok()?;
        self.runs.get(at)
    }

    /// Whether a run lies at this place that the ledger took in: what it left aside is stored, too.
    pub(crate) fn has(&self, place: Position) -> bool {
        self.at(place).is_some()
    }

    /// The hash of an event in a run that lies at this place.
    pub(crate) fn hash_of(&self, place: Position, seq: u64) -> Option<EventHash> {
        let (run, hashes) = self.at(place)?;
        let at = usize::try_from(seq.checked_sub(run.first_seq)?).ok()?;
        hashes.get(at).copied()
    }

    /// Reads the checkpoint, with the place up to which it holds the journal. None if there is none that
    /// can be read.
    pub(crate) fn read(store: &Store) -> Result<Option<(Self, Position)>, ReadError> {
        let Some(checkpoint) = store.read_checkpoint(NAME)? else { return Ok(None) };
        let verified = Self::decode(&checkpoint.bytes, checkpoint.position);
        if verified.is_none() {
            tracing::warn!("the checkpoint is of another version: everything is verified anew");
        }
        Ok(verified.map(|verified| (verified, checkpoint.position)))
    }

    /// The checkpoint that should now be written, if so much is new that it is worth it.
    pub(crate) fn due(&mut self, store: &mut Store) -> Option<Pending> {
        let behind = self.events.saturating_sub(self.kept);
        if behind < DUE_EVENTS.max(self.events / DUE_PART) {
            return None;
        }
        Some(self.begin(store))
    }

    /// A checkpoint of all that is verified by now.
    pub(crate) fn begin(&mut self, store: &mut Store) -> Pending {
        // One that can't be written is tried again after as many events, not at once.
        self.kept = self.events;
        Pending { writer: store.begin_checkpoint(), runs: self.runs.clone() }
    }

    /// Takes note that all of this was taken from the checkpoint.
    pub(crate) const fn believe(&mut self) {
        (self.kept, self.believed) = (self.events, self.events);
    }

    /// How many events were verified.
    pub(crate) const fn events(&self) -> usize {
        self.events
    }

    /// How many events were taken from a checkpoint at the start.
    pub(crate) const fn believed(&self) -> usize {
        self.believed
    }

    /// Reads what [`encode`] writes; none unless it is that to the last byte, with its runs in
    /// the journal's order and before `end`.
    fn decode(bytes: &[u8], end: Position) -> Option<Self> {
        let (version, rest) = bytes.split_first_chunk()?;
        let (count, rest) = rest.split_first_chunk()?;
        let runs_length = usize::try_from(u64::from_le_bytes(*count)).ok()?.checked_mul(RUN_BYTES)?;
        let (run_bytes, hash_bytes) = rest.split_at_checked(runs_length)?;
        let (hashes, []) = hash_bytes.as_chunks::<HASH_BYTES>() else { return None };
        let mut runs = Vec::with_capacity(run_bytes.len() / RUN_BYTES);
        let mut left = hashes;
        for bytes in run_bytes.as_chunks().0 {
            let run = read_run(bytes)?;
            let (own, behind) =
                left.split_at_checked(run.count as usize).filter(|(own, _)| !own.is_empty())?;
            runs.push((run, own.iter().copied().map(EventHash).collect()));
            left = behind;
        }
        let ascend = runs.is_sorted_by(|(one, _): &WithHashes, (other, _)| one.place < other.place);
        let all_before_end = runs.last().is_none_or(|(last, _)| last.place < end);
        let fits = *version == VERSION.to_le_bytes() && ascend && all_before_end && left.is_empty();
        fits.then_some(Self { runs, events: hashes.len(), kept: 0, believed: 0 })
    }
}

/// The bytes of a checkpoint, piece by piece: the version, how many runs, the runs, and the hashes of all their events.
fn encode(runs: &[WithHashes]) -> impl Iterator<Item = Vec<u8>> {
    let head = [&VERSION.to_le_bytes()[..], &(runs.len() as u64).to_le_bytes()].concat();
    let runs_bytes = runs
        .chunks(RUNS_AT_ONCE)
        .map(|some| some.iter().map(|(run, _)| run_bytes(run)).collect::<Vec<_>>().into_flattened());
    let mut all = runs.iter().flat_map(|(_, hashes)| hashes.iter());
    let hashes = std::iter::from_fn(move || {
        let some: Vec<_> = all.by_ref().take(HASHES_AT_ONCE).map(|hash| hash.0).collect();
        (!some.is_empty()).then(|| some.into_flattened())
    });
    std::iter::once(head).chain(runs_bytes).chain(hashes)
}

fn run_bytes(run: &VerifiedRun) -> [u8; RUN_BYTES] {
    let mut bytes = [0; RUN_BYTES];
    bytes[..4].copy_from_slice(&run.place.segment.to_le_bytes());
    bytes[4..12].copy_from_slice(&run.place.offset.to_le_bytes());
    bytes[12..20].copy_from_slice(&run.first_seq.to_le_bytes());
    bytes[20..].copy_from_slice(&run.count.to_le_bytes());
    bytes
}

fn read_run(bytes: &[u8; RUN_BYTES]) -> Option<VerifiedRun> {
    let (segment, rest) = bytes.split_first_chunk()?;
    let (offset, rest) = rest.split_first_chunk()?;
    let (first_seq, rest) = rest.split_first_chunk()?;
    Some(VerifiedRun {
        place: Position { segment: u32::from_le_bytes(*segment), offset: u64::from_le_bytes(*offset) },
        first_seq: u64::from_le_bytes(*first_seq),
        count: u32::from_le_bytes(*rest.first_chunk()?),
    })
}

/// A checkpoint that is to be written, while others may go on appending.
pub(crate) struct Pending {
    writer: CheckpointWriter,
    runs: Vec<WithHashes>,
}

impl Pending {
    /// Writes it, durably.
    pub(crate) fn write(self) -> Result<(), CheckpointError> {
        self.writer.write(NAME, encode(&self.runs))
    }

    /// Writes it, and warns if that fails: what is missing costs time at the next start and nothing else.
    pub(crate) fn write_or_warn(self) {
        if let Err(error) = self.write() {
            tracing::warn!(%error, "the checkpoint could not be written; the next start takes longer");
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const END: Position = Position { segment: 3, offset: 100 };

    fn verified() -> Verified {
        let run = |segment, offset, first_seq, count| VerifiedRun {
            place: Position { segment, offset },
            first_seq,
            count,
        };
        let hashes = |bytes: std::ops::Range<u8>| bytes.map(|byte| EventHash([byte; HASH_BYTES])).collect();
        let runs = vec![
            (run(1, 52, 0, 1), hashes(0..1)),
            (run(1, 900, 1, 3), hashes(1..4)),
            (run(3, 52, 0, 2), hashes(4..6)),
        ];
        Verified { runs, events: 6, kept: 0, believed: 0 }
    }

    fn bytes(verified: &Verified) -> Vec<u8> {
        encode(&verified.runs).flatten().collect()
    }

    #[test]
    fn it_reads_back_and_nothing_else_is_taken() {
        let bytes = bytes(&verified());
        assert_eq!(Verified::decode(&bytes, END), Some(verified()));
        let given: Vec<usize> = verified().runs().map(|(_, hashes)| hashes.len()).collect();
        assert_eq!(given, [1, 3, 2]);
        for length in 0..bytes.len() {
            assert_eq!(Verified::decode(&bytes[..length], END), None, "{length} bytes");
        }
        assert_eq!(Verified::decode(&[&bytes[..], &[0]].concat(), END), None);
        let mut newer = bytes.clone();
        newer[0] = 2;
        assert_eq!(Verified::decode(&newer, END), None);
        assert_eq!(Verified::decode(&bytes, Position { segment: 3, offset: 52 }), None, "beyond its end");
    }

    #[test]
    fn runs_out_of_order_or_without_events_are_not_taken() {
        let mut turned = verified();
        turned.runs.swap(0, 2);
        assert_eq!(Verified::decode(&bytes(&turned), END), None);
        let mut empty = verified();
        (empty.runs[0].0.count, empty.runs[1].0.count) = (0, 4);
        assert_eq!(Verified::decode(&bytes(&empty), END), None);
    }
}
