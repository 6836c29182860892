//! What tells from outside whether a node is well: counts, sizes and ages, without a name, a job or a sum.

use std::fs;
use std::path::Path;
use std::time::UNIX_EPOCH;

use crate::backup::segments_of;
use crate::holding::Holding;
use crate::verified::checkpoint_of;

/// Why nothing is saved until the next start, if so.
#[must_use]
pub fn stopped(holding: &Holding) -> Option<String> {
    holding.with(|node| node.stopped().map(str::to_owned))
}

/// The figures of a moment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Measures {
    /// Events held, of all devices.
    pub events: u64,
    /// Chains held.
    pub chains: u64,
    /// Devices of the crew that are not taken off, this one among them.
    pub devices: u64,
    /// Devices that are connected now.
    pub connected: u64,
    /// When another device was met last, milliseconds since 1970; none if never.
    pub last_met_ms: Option<i64>,
    /// Bytes of the journal's files.
    pub journal_bytes: u64,
    /// Bytes that are free for this program on the disk of the data folder; none if the system does not tell.
    pub free_bytes: Option<u64>,
    /// When the last checkpoint was written, milliseconds since 1970; none if there is none.
    pub checkpoint_ms: Option<i64>,
    /// Photos of which more is kept here than has come yet.
    pub photos_to_come: u64,
    /// Questions that wait for somebody.
    pub questions: u64,
    /// Why nothing is saved until the next start, if so.
    pub stopped: Option<String>,
}

impl Measures {
    /// The figures now. Waits for whoever has the node.
    #[must_use]
    pub fn of(holding: &Holding) -> Self {
        let connected = u64::try_from(holding.connected()).unwrap_or(u64::MAX);
        holding.with(|node| Self {
            events: node.ledger().chains().map(|chain| chain.tip.next_seq).sum(),
            chains: count(node.ledger().chains()),
            devices: count(node.ledger().roster().devices().filter(|device| !device.retired)),
            connected,
            last_met_ms: node.device().peers.iter().filter_map(|peer| peer.met_ms).max(),
            journal_bytes: bytes_below(&segments_of(node.folder())),
            free_bytes: fs4::available_space(node.folder()).ok(),
            checkpoint_ms: written_ms(&checkpoint_of(node.folder())),
            photos_to_come: node.album().to_come(node.carried_photos().into_iter()),
            questions: count(projections::questions(node.book()).into_iter()),
            stopped: node.stopped().map(str::to_owned),
        })
    }
}

fn count<T>(of: impl Iterator<Item = T>) -> u64 {
    u64::try_from(of.count()).unwrap_or(u64::MAX)
}

/// The bytes of a folder's files, as far as they can be read.
fn bytes_below(folder: &Path) -> u64 {
    let entries = fs::read_dir(folder).into_iter().flatten().map_while(Result::ok);
    entries.filter_map(|entry| entry.metadata().ok()).map(|about| about.len()).sum()
}

/// When a file was last written, in milliseconds since 1970; none if there is none.
fn written_ms(file: &Path) -> Option<i64> {
    let written = fs::metadata(file).ok()?.modified().ok()?;
    i64::try_from(written.duration_since(UNIX_EPOCH).ok()?.as_millis()).ok()
}
