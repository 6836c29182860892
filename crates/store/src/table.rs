//! The index's table: a sled database on disk, which may fail in any way without harm, or its twin in memory.
//!
//! Every call into sled goes through [`guarded`], which turns errors and panics alike into
//! [`IndexLost`]. The table holds no truth and makes no promise; see the crate's page for why.

use std::fmt::Debug;
use std::fs;
use std::io;
use std::panic::{AssertUnwindSafe, catch_unwind};
use std::path::{Path, PathBuf};
use std::sync::mpsc;
use std::time::Duration;

use ledger::ChainId;

use crate::Position;
use crate::index::{Entry, Key};
use crate::recovery::Mark;

/// sled's page cache. The entries of many million events fit.
const CACHE_BYTES: u64 = 16 * 1024 * 1024;

const KEY_BYTES: usize = 36;
const VALUE_BYTES: usize = 8;

/// The one key that is no extent's, and too short to be one.
const COVERAGE_KEY: &[u8] = b"coverage";

/// The table gave up: an error, a panic or bytes that make no sense.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct IndexLost(pub(crate) String);

/// How much of the journal the table covers. Written together with the entries it speaks of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Coverage {
    /// Every run before this place is in the table.
    pub(crate) mark: Mark,
    /// The most events that any extent in the table has.
    pub(crate) longest_extent: u32,
}

/// A table that is open.
pub(crate) trait Table: Debug + Send {
    /// How much of the journal it covers; nothing of it if that was never written.
    fn coverage(&self) -> Result<Option<Coverage>, IndexLost>;

    /// Puts entries in, and with them what the table then covers.
    fn put(&self, entries: &mut dyn Iterator<Item = Entry>, coverage: Coverage) -> Result<(), IndexLost>;

    /// Asks for what it holds to be written out; a wish, not a promise.
    fn flush(&self) -> Result<(), IndexLost>;

    /// The entries from `first` to `last`, both counted in, in order, `limit` at most.
    fn entries(&self, first: &Key, last: &Key, limit: usize) -> Result<Vec<Entry>, IndexLost>;

    /// The last entry from `first` to `last`, both counted in, that `wanted` agrees to.
    fn last_entry(
        &self,
        first: &Key,
        last: &Key,
        wanted: &dyn Fn(&Entry) -> bool,
    ) -> Result<Option<Entry>, IndexLost>;

    /// Closes it and puts what it holds out of the way.
    fn set_aside(self: Box<Self>);
}

/// A sled database.
#[derive(Debug)]
pub(crate) struct SledTable {
    db: sled::Db,
    folder: PathBuf,
}

/// Runs a call into sled so that neither its errors nor its panics go further.
fn guarded<T>(call: impl FnOnce() -> sled::Result<T>) -> Result<T, IndexLost> {
    match catch_unwind(AssertUnwindSafe(call)) {
        Ok(Ok(answer)) => Ok(answer),
        Ok(Err(error)) => Err(IndexLost(format!("the index failed: {error}"))),
        Err(_) => Err(IndexLost("the index panicked".to_owned())),
    }
}

impl SledTable {
    /// Opens the table in `folder`, made if missing. Gives up after `patience`.
    pub(crate) fn open(folder: &Path, patience: Duration) -> Result<SledTable, IndexLost> {
        let (sender, receiver) = mpsc::channel();
        let config = sled::Config::new()
            .path(folder)
            .cache_capacity(CACHE_BYTES)
            .flush_every_ms(None)
            .use_compression(false);
        // A thread of its own, because there is no other way to stop waiting for sled. If it comes
        // back too late nobody listens, and the database it opened is closed again.
        let opener = move || sender.send(guarded(|| config.open())).unwrap_or_default();
        std::thread::Builder::new()
            .name("index".to_owned())
            .spawn(opener)
            .map_err(|error| IndexLost(format!("no thread to open the index: {error}")))?;
        let opened = receiver
            .recv_timeout(patience)
            .map_err(|_| IndexLost(format!("the index was not open after {} ms", patience.as_millis())))?;
        Ok(SledTable { db: opened?, folder: folder.to_owned() })
    }
}

impl Table for SledTable {
    fn coverage(&self) -> Result<Option<Coverage>, IndexLost> {
        let value = guarded(|| self.db.get(COVERAGE_KEY))?;
        value.map(|value| decode_coverage(&value).ok_or_else(bad_bytes)).transpose()
    }

    fn put(&self, entries: &mut dyn Iterator<Item = Entry>, coverage: Coverage) -> Result<(), IndexLost> {
        let mut batch = sled::Batch::default();
        for entry in entries {
            batch.insert(encode_key(&entry.key).as_slice(), encode_value(&entry).as_slice());
        }
        batch.insert(COVERAGE_KEY, encode_coverage(&coverage));
        guarded(|| self.db.apply_batch(batch))
    }

    fn flush(&self) -> Result<(), IndexLost> {
        guarded(|| self.db.flush()).map(|_| ())
    }

    fn entries(&self, first: &Key, last: &Key, limit: usize) -> Result<Vec<Entry>, IndexLost> {
        let range = encode_key(first)..=encode_key(last);
        let pairs: Vec<_> = guarded(|| self.db.range(range).take(limit).collect())?;
        pairs.iter().map(|(key, value)| decode_entry(key, value).ok_or_else(bad_bytes)).collect()
    }

    fn last_entry(
        &self,
        first: &Key,
        last: &Key,
        wanted: &dyn Fn(&Entry) -> bool,
    ) -> Result<Option<Entry>, IndexLost> {
        let mut pairs = guarded(|| Ok(self.db.range(encode_key(first)..=encode_key(last))))?.rev();
        while let Some(pair) = guarded(|| pairs.next().transpose())? {
            let entry = decode_entry(&pair.0, &pair.1).ok_or_else(bad_bytes)?;
            if wanted(&entry) {
                return Ok(Some(entry));
            }
        }
        Ok(None)
    }

    /// The folder gets another name.
    fn set_aside(self: Box<Self>) {
        let SledTable { db, folder } = *self;
        guarded(|| {
            drop(db);
            Ok(())
        })
        .unwrap_or_else(|lost| tracing::warn!(reason = lost.0, "while closing the index"));
        set_folder_aside(&folder);
    }
}

/// Renames an index folder. One older folder that was put aside is kept for whoever wants to look, and
/// no more than one.
pub(crate) fn set_folder_aside(folder: &Path) {
    if !folder.exists() {
        return;
    }
    let mut aside = folder.as_os_str().to_owned();
    aside.push("-aside");
    let aside = PathBuf::from(aside);
    let renamed = match fs::remove_dir_all(&aside) {
        Err(error) if error.kind() != io::ErrorKind::NotFound => Err(error),
        Ok(()) | Err(_) => fs::rename(folder, &aside),
    };
    match renamed {
        Ok(()) => tracing::warn!(aside = %aside.display(), "the index was put aside"),
        Err(error) => tracing::warn!(%error, "the index could not be put aside"),
    }
}

fn bad_bytes() -> IndexLost {
    IndexLost("the index holds bytes that make no sense".to_owned())
}

/// Chain (16), first sequence number (8), segment (4), offset (8). Numbers are big-endian, so that
/// bytes order as keys do.
fn encode_key(key: &Key) -> [u8; KEY_BYTES] {
    let mut bytes = [0; KEY_BYTES];
    bytes[..16].copy_from_slice(&key.chain.0);
    bytes[16..24].copy_from_slice(&key.first_seq.to_be_bytes());
    bytes[24..28].copy_from_slice(&key.place.segment.to_be_bytes());
    bytes[28..].copy_from_slice(&key.place.offset.to_be_bytes());
    bytes
}

/// Length of the extent (4), number of events (4), little-endian.
fn encode_value(entry: &Entry) -> [u8; VALUE_BYTES] {
    let mut bytes = [0; VALUE_BYTES];
    bytes[..4].copy_from_slice(&entry.length.to_le_bytes());
    bytes[4..].copy_from_slice(&entry.event_count.to_le_bytes());
    bytes
}

fn decode_entry(key: &[u8], value: &[u8]) -> Option<Entry> {
    let (chain, key) = key.split_first_chunk()?;
    let (first_seq, key) = key.split_first_chunk()?;
    let (segment, key) = key.split_first_chunk()?;
    let (length, value) = value.split_first_chunk()?;
    let place =
        Position { segment: u32::from_be_bytes(*segment), offset: u64::from_be_bytes(key.try_into().ok()?) };
    let key = Key { chain: ChainId(*chain), first_seq: u64::from_be_bytes(*first_seq), place };
    let event_count = u32::from_le_bytes(value.try_into().ok()?);
    let entry = Entry { key, length: u32::from_le_bytes(*length), event_count };
    (event_count > 0).then_some(entry)
}

/// Segment (4), offset (8), group checksum (4), most events of an extent (4), little-endian.
fn encode_coverage(coverage: &Coverage) -> Vec<u8> {
    let mut bytes = coverage.mark.end.segment.to_le_bytes().to_vec();
    bytes.extend_from_slice(&coverage.mark.end.offset.to_le_bytes());
    bytes.extend_from_slice(&coverage.mark.checksum.to_le_bytes());
    bytes.extend_from_slice(&coverage.longest_extent.to_le_bytes());
    bytes
}

fn decode_coverage(bytes: &[u8]) -> Option<Coverage> {
    let (segment, bytes) = bytes.split_first_chunk()?;
    let (offset, bytes) = bytes.split_first_chunk()?;
    let (checksum, bytes) = bytes.split_first_chunk()?;
    let end = Position { segment: u32::from_le_bytes(*segment), offset: u64::from_le_bytes(*offset) };
    let mark = Mark { end, checksum: u32::from_le_bytes(*checksum) };
    Some(Coverage { mark, longest_extent: u32::from_le_bytes(bytes.try_into().ok()?) })
}
