//! The store itself: the journal, its index and its checkpoints, opened together.
//!
//! Bytes are truth once [`Store::append`] has returned, and not before. Everything else here finds them
//! again: by chain and sequence number, in order from a place, or all of them to be checked.

use std::collections::BTreeSet;
use std::sync::Arc;

use bytes::Bytes;
use ledger::sabotage::Fault;
use ledger::{ChainId, CrewId};

use crate::Position;
use crate::checkpoint::{self, Checkpoint};
use crate::disk::{Disk, DiskError};
use crate::error::{AppendError, CheckpointError, OpenError, ReadError};
use crate::extent::{self, Extent};
use crate::frame::{self, RECORD_HEADER_BYTES, Record, RecordKind};
use crate::healing::Healed;
use crate::index::{Entry, Index, IndexPlace, IndexState};
use crate::journal::Journal;
use crate::lock::FolderLock;
use crate::options::StoreOptions;
use crate::recovery::{self, Damage, Mark, OpenReport};
use crate::runs::Runs;
use crate::segment::{self, FIRST_GROUP};
use crate::span::RunSpan;
use crate::table::IndexLost;

/// Where every replay of the whole journal begins.
const JOURNAL_START: Position = Position { segment: 1, offset: FIRST_GROUP };

/// A run as it lies in the journal.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StoredRun {
    /// Its chain and events.
    pub span: RunSpan,
    /// Where its record begins.
    pub place: Position,
    /// The encoded run.
    pub bytes: Bytes,
}

/// What a replay met on its way.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ReplayReport {
    /// Where it ended: the place to replay from next time.
    pub end: Position,
    /// What could not be read and was passed over.
    pub damage: Vec<Damage>,
}

/// What reading everything showed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DeepReport {
    /// Segment files.
    pub segments: u64,
    /// Whole groups.
    pub groups: u64,
    /// Records in them.
    pub records: u64,
    /// Runs among the records.
    pub runs: u64,
    /// Events in the runs.
    pub events: u64,
    /// Bytes of the whole groups.
    pub bytes: u64,
    /// What could not be read.
    pub damage: Vec<Damage>,
    /// Whether the index disagreed with the journal and was rebuilt.
    pub index_rebuilt: bool,
}

/// A checkpoint that was begun. One of a name is written at a time.
pub struct CheckpointWriter {
    disk: Arc<dyn Disk>,
    crew: CrewId,
    mark: Mark,
}

impl CheckpointWriter {
    /// Stores folded state that holds everything appended before this was begun, and nothing behind it. It comes in
    /// pieces, so that it need not be in memory whole.
    ///
    /// # Errors
    /// As [`Store::write_checkpoint`].
    pub fn write(self, name: &str, pieces: impl Iterator<Item = Vec<u8>>) -> Result<(), CheckpointError> {
        checkpoint::write(&*self.disk, name, self.crew, self.mark, pieces)
    }
}

/// One crew's journal with its index and checkpoints.
pub struct Store {
    disk: Arc<dyn Disk>,
    journal: Journal,
    index: Index,
    opening: OpenReport,
    /// Dropped last, so that no other process comes in while files are open.
    _lock: Option<FolderLock>,
}

impl Store {
    /// Makes an empty store for a crew.
    ///
    /// # Errors
    /// [`OpenError::NotEmpty`] if there is one already, [`OpenError::Disk`] if it can't be made.
    pub fn create(options: StoreOptions, crew: CrewId) -> Result<Store, OpenError> {
        let StoreOptions { disk, index, sizes, lock, .. } = options;
        if !segment::list_segments(&*disk)?.is_empty() {
            return Err(OpenError::NotEmpty);
        }
        let journal = Journal::create(Arc::clone(&disk), crew, sizes)?;
        let opening =
            OpenReport { cut: Vec::new(), damage: Vec::new(), stopped: None, index: IndexState::Rebuilt };
        let mut store = Store { disk, journal, index: Index::default(), opening, _lock: lock };
        store.open_index(&index, None)?;
        Ok(store)
    }

    /// Opens the store that is there. Only the journal's tail since the newest checkpoint is read, unless
    /// the index has to be made anew. What was found is in [`Store::opening`].
    ///
    /// # Errors
    /// [`OpenError::Empty`] if nothing was ever stored, [`OpenError::TooNew`] or [`OpenError::NoHeader`]
    /// if the journal can't be read, [`OpenError::Disk`] if the disk fails.
    pub fn open(options: StoreOptions) -> Result<Store, OpenError> {
        let StoreOptions { disk, index, sizes, lock, only_reads, taken_for } = options;
        let mut segments = segment::list_segments(&*disk)?;
        let found_crew = recovery::find_crew(&*disk, &segments)?;
        let checkpoints = checkpoint::list(&*disk)?;
        let mut newest: Option<Mark> = None;
        for (name, header) in &checkpoints {
            if found_crew.is_some_and(|crew| crew != header.crew) || !header.mark.holds(&*disk)? {
                tracing::warn!(name, "a checkpoint is not of this journal: not used");
            } else if newest.is_none_or(|newest| newest.end < header.mark.end) {
                newest = Some(header.mark);
            }
        }
        let mut opening =
            OpenReport { cut: Vec::new(), damage: Vec::new(), stopped: None, index: IndexState::Kept };
        let tail = recovery::find_tail(&*disk, &mut segments, newest, only_reads, &mut opening)?;
        let tail = tail.ok_or(OpenError::Empty)?;
        // Where every segment's header is gone a checkpoint still knows whose journal this is.
        let crew = found_crew.or_else(|| checkpoints.first().map(|(_, header)| header.crew));
        let crew = crew.or(taken_for).ok_or(OpenError::NoHeader)?;
        let journal = Journal::new(Arc::clone(&disk), crew, sizes, segments, tail);
        let mut store = Store { disk, journal, index: Index::default(), opening, _lock: lock };
        store.open_index(&index, newest)?;
        Ok(store)
    }

    /// Opens the index and adds to it what the journal holds since `newest`, the newest checkpoint.
    fn open_index(&mut self, place: &IndexPlace, newest: Option<Mark>) -> Result<(), DiskError> {
        let (mut index, mut covered, mut state) = Index::open(place);
        if let Some(mark) = covered
            && (mark.end > self.journal.mark().end || !mark.holds(&*self.disk)?)
        {
            tracing::warn!("the index is not of this journal: made anew");
            index.begin_again();
            (index, covered, state) = Index::open(place);
            if state == IndexState::Kept {
                // It could not be put aside, so it is not used.
                let reason = "the index is of another journal and could not be moved".to_owned();
                (index, covered, state) = (Index::default(), None, IndexState::InMemory { reason });
            }
        }
        let believed = covered.zip(newest).map(|(covered, newest)| covered.end.min(newest.end));
        self.index = index;
        self.opening.index = state;
        let mut damage: BTreeSet<Damage> = self.opening.damage.drain(..).collect();
        let all = Fault::BelieveIndex.is_set().then(|| self.journal.mark().end);
        let from = all.or(believed).unwrap_or(JOURNAL_START);
        damage.extend(self.fill_index(from)?);
        self.opening.damage = damage.into_iter().collect();
        Ok(())
    }

    /// Adds every run from `from` on to the index.
    fn fill_index(&mut self, from: Position) -> Result<Vec<Damage>, DiskError> {
        let index = &mut self.index;
        let mut reached: Option<Position> = None;
        self.journal.scan(from, |start, end, records| {
            if reached
                .replace(end)
                .is_some_and(|reached| reached.segment == start.segment && reached != start)
            {
                index.goes_on_behind_damage(start);
            }
            for (distance, record) in frame::records(records) {
                add_to_index(index, Position { offset: start.offset + distance, ..start }, &record);
            }
            Ok(())
        })
    }

    /// Whose journal this is.
    pub fn crew(&self) -> CrewId {
        self.journal.crew()
    }

    /// What the start found.
    pub fn opening(&self) -> &OpenReport {
        &self.opening
    }

    /// The end of the last acknowledged group.
    pub fn end(&self) -> Position {
        self.journal.mark().end
    }

    /// How long the journal is, in bytes.
    ///
    /// # Errors
    /// The disk's.
    pub fn length(&self) -> Result<u64, DiskError> {
        self.journal.length()
    }

    /// Why nothing is appended until the next start, if so.
    pub fn stopped(&self) -> Option<&str> {
        self.journal.stopped()
    }

    /// Appends a group: all of its records or none. When this returns they are durable. Returns the
    /// group's end.
    ///
    /// # Errors
    /// [`AppendError`]; nothing of the group counts then. After [`AppendError::Disk`] every append fails
    /// with [`AppendError::Stopped`] until the store is opened anew.
    pub fn append(&mut self, group: &[Record<'_>]) -> Result<Position, AppendError> {
        self.journal.append(group)?;
        let mark = self.journal.mark();
        for (place, record) in frame::places(group, mark.end).zip(group) {
            add_to_index(&mut self.index, place, record);
        }
        self.index.covers(mark);
        Ok(mark.end)
    }

    /// Where the records of the group lie that was appended last: the places that a replay gives with them.
    pub fn places<'a>(&self, group: &'a [Record<'a>]) -> impl Iterator<Item = Position> + use<'a> {
        frame::places(group, self.end())
    }

    /// A stored run that holds an event; none if no run does. Where several do, as on a forked chain, it
    /// is one of them, and [`Store::runs`] has them all. An index that fails, or says what is not so, is
    /// rebuilt and asked once more.
    ///
    /// # Errors
    /// [`ReadError::Damaged`] if the run is there and its bytes are not what was written.
    pub fn read_run(&mut self, chain: ChainId, seq: u64) -> Result<Option<StoredRun>, ReadError> {
        let mut reason = "it names runs that are not in the journal".to_owned();
        for _ in 0..2 {
            match self.index.extent_holding(chain, seq) {
                Ok(None) => return Ok(None),
                Ok(Some(entry)) => {
                    if let Some(extent) = self.read_extent(&entry)? {
                        let mut runs = extent.into_runs();
                        let holding =
                            runs.find(|(span, ..)| (span.first_seq..=span.last_seq()).contains(&seq));
                        let stored = holding.map(|(span, place, bytes)| {
                            bytes.map(|bytes| StoredRun { span, place, bytes }).map_err(ReadError::Damaged)
                        });
                        return stored.transpose();
                    }
                }
                Err(IndexLost(lost)) => reason = lost,
            }
            self.rebuild_index(&reason)?;
        }
        Err(ReadError::Index { reason })
    }

    /// The stored runs of a chain that reach event `from_seq`, ordered by their first event; each branch
    /// of a forked chain is among them. A damaged run is an error in its place, and the next follows.
    pub fn runs(&mut self, chain: ChainId, from_seq: u64) -> Runs<'_> {
        Runs::new(self, chain, from_seq)
    }

    pub(crate) fn index(&self) -> &Index {
        &self.index
    }

    /// The extent that an entry names; none if the entry is wrong.
    pub(crate) fn read_extent(&mut self, entry: &Entry) -> Result<Option<Extent>, DiskError> {
        let bytes = self.journal.read_piece(entry.key.place, entry.length)?;
        Ok(bytes.and_then(|bytes| Some(Extent { runs: extent::runs_in(entry, &bytes)?, bytes })))
    }

    /// The caller knows of a run that the index does not: it is made anew, unless it was made from the journal since
    /// the start. Gives whether it was.
    ///
    /// # Errors
    /// The disk's.
    pub fn distrust_index(&mut self) -> Result<bool, DiskError> {
        let has_table = self.index.has_table();
        if has_table {
            self.rebuild_index("it lacks a run of the journal")?;
        }
        Ok(has_table)
    }

    /// Makes the index anew, in memory, from the whole journal.
    pub(crate) fn rebuild_index(&mut self, reason: &str) -> Result<(), DiskError> {
        tracing::warn!(reason, "the index is rebuilt in memory");
        self.index.begin_again();
        self.opening.index = IndexState::InMemory { reason: reason.to_owned() };
        self.fill_index(JOURNAL_START).map(|_| ())
    }

    /// Gives every record from `from` on to `visit`, in the order they were appended, with its place.
    /// `from` is an end that [`Store::append`], a replay or a checkpoint gave; none is the beginning.
    ///
    /// # Errors
    /// The first error of `visit`, or the disk's. Damage is no error: it is passed over and reported.
    pub fn replay<E: From<DiskError>>(
        &self,
        from: Option<Position>,
        mut visit: impl FnMut(Position, Record<'_>) -> Result<(), E>,
    ) -> Result<ReplayReport, E> {
        let damage = self.journal.scan(from.unwrap_or(JOURNAL_START), |start, _, records| {
            frame::records(records).try_for_each(|(distance, record)| {
                visit(Position { offset: start.offset + distance, ..start }, record)
            })
        })?;
        Ok(ReplayReport { end: self.end(), damage })
    }

    /// Stores folded state that holds everything appended so far, in place of the one of that name. The
    /// next start reads the journal from here.
    ///
    /// # Errors
    /// [`CheckpointError`]; the checkpoint before it then still stands, and the writer goes on.
    pub fn write_checkpoint(&mut self, name: &str, bytes: &[u8]) -> Result<(), CheckpointError> {
        self.begin_checkpoint().write(name, std::iter::once(bytes.to_vec()))
    }

    /// Begins a checkpoint of what is appended by now. Its bytes may be written while more is appended.
    pub fn begin_checkpoint(&mut self) -> CheckpointWriter {
        let mark = self.journal.mark();
        self.index.flush(mark);
        CheckpointWriter { disk: Arc::clone(&self.disk), crew: self.journal.crew(), mark }
    }

    /// The state stored under a name; none if it is missing, damaged or not of this journal.
    ///
    /// # Errors
    /// The disk's.
    pub fn read_checkpoint(&self, name: &str) -> Result<Option<Checkpoint>, ReadError> {
        Ok(checkpoint::read(&*self.disk, name, &self.journal.crew())?)
    }

    /// Puts damaged segments right: what can't be read is moved to `cut/`, and the next start finds no damage any
    /// more. What stood there is to come from a peer. A place that reads well by now is left alone.
    ///
    /// # Errors
    /// The disk's. The segments before that are put right, and the others are as they were.
    pub fn heal(&mut self, damage: &[Damage]) -> Result<Vec<Healed>, DiskError> {
        let segments: BTreeSet<u32> = damage.iter().map(|damage| damage.place.segment).collect();
        let mut healed = Vec::new();
        for segment in segments {
            healed.extend(self.journal.heal(segment)?);
        }
        if !healed.is_empty() {
            self.rebuild_index("damage in the journal was put right")?;
        }
        Ok(healed)
    }

    /// Reads the whole journal, compares the index with it if nothing is damaged, and says what is there.
    /// An index that disagrees is rebuilt. Whether the runs are truly signed is the ledger's to check.
    ///
    /// # Errors
    /// The disk's, or [`ReadError::Index`] if the index fails even when new.
    pub fn verify_deep(&mut self) -> Result<DeepReport, ReadError> {
        let mut report = DeepReport {
            segments: self.journal.segment_count() as u64,
            groups: 0,
            records: 0,
            runs: 0,
            events: 0,
            bytes: 0,
            damage: Vec::new(),
            index_rebuilt: false,
        };
        let mut chains = BTreeSet::new();
        let mut in_journal = Tally::default();
        report.damage = self.journal.scan(JOURNAL_START, |start, end, records| {
            report.groups += 1;
            report.bytes += end.offset - start.offset;
            for (distance, record) in frame::records(records) {
                report.records += 1;
                if let Some(span) = run_span(&record) {
                    report.events += u64::from(span.event_count);
                    chains.insert(span.chain);
                    in_journal.add(span, Position { offset: start.offset + distance, ..start });
                }
            }
            Ok::<(), DiskError>(())
        })?;
        report.runs = in_journal.runs;
        // The index rightly knows runs in damaged groups, so only a whole journal can be compared with it.
        if report.damage.is_empty() {
            let before = self.opening.index.clone();
            let mut by_index = Tally::default();
            for chain in chains {
                for run in self.runs(chain, 0) {
                    let run = run?;
                    by_index.add(run.span, run.place);
                }
            }
            if by_index != in_journal {
                self.rebuild_index("it does not have the runs of the journal")?;
            }
            report.index_rebuilt = self.opening.index != before || by_index != in_journal;
        }
        Ok(report)
    }
}

/// The span of a record that is a run.
fn run_span(record: &Record<'_>) -> Option<RunSpan> {
    if record.kind == RecordKind::Run { RunSpan::of(record.bytes) } else { None }
}

fn add_to_index(index: &mut Index, place: Position, record: &Record<'_>) {
    if let Some(span) = run_span(record) {
        index.insert(span, place, (RECORD_HEADER_BYTES + record.bytes.len()) as u32);
    }
}

/// A count of runs and a sum that tells one set of runs from another, whatever their order.
#[derive(Debug, Default, Clone, Copy, PartialEq, Eq)]
struct Tally {
    runs: u64,
    sum: u64,
}

impl Tally {
    fn add(&mut self, span: RunSpan, place: Position) {
        let mut checksum = crc32c::crc32c(&span.chain.0);
        for number in [span.first_seq, span.event_count.into(), place.segment.into(), place.offset] {
            checksum = crc32c::crc32c_append(checksum, &number.to_le_bytes());
        }
        self.runs += 1;
        self.sum = self.sum.wrapping_add(u64::from(checksum));
    }
}
