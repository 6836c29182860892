//! What tells from outside whether a node is well: counts, sizes and ages, without a name, a job or a sum.

use std::fs;

use crate::backup::segments_of;
use crate::holding::Holding;

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
            questions: count(projections::questions(node.book()).into_iter()),
            stopped: node.stopped().map(str::to_owned),
        })
    }
}

fn count<T>(of: impl Iterator<Item = T>) -> u64 {
    u64::try_from(of.count()).unwrap_or(u64::MAX)
}

/// The bytes of a folder's files, as far as they can be read.
fn bytes_below(folder: &std::path::Path) -> u64 {
    let entries = fs::read_dir(folder).into_iter().flatten().map_while(Result::ok);
    entries.filter_map(|entry| entry.metadata().ok()).map(|about| about.len()).sum()
}
