//! Runs that only the store would take for such, and what a test does with many of them.

use std::sync::Arc;

use ledger::{ChainId, CrewId};
use proptest::prelude::*;
use store::{Disk, DiskError, Position, Record, RecordKind, Store, StoreOptions};

pub(crate) const CREW: CrewId = CrewId([7; 32]);

/// Kind and bytes of a record.
pub(crate) type Kept = (RecordKind, Vec<u8>);

pub(crate) fn chain(number: u8) -> ChainId {
    ChainId([number; 16])
}

/// The front of an encoded run, and `body` in place of events and head.
pub(crate) fn run(chain: ChainId, first_seq: u64, event_count: u32, body: &[u8]) -> Kept {
    let mut bytes = chain.0.to_vec();
    bytes.extend_from_slice(&first_seq.to_le_bytes());
    bytes.extend_from_slice(&event_count.to_le_bytes());
    bytes.extend_from_slice(body);
    (RecordKind::Run, bytes)
}

pub(crate) fn records(group: &[Kept]) -> Vec<Record<'_>> {
    group.iter().map(|(kind, bytes)| Record { kind: *kind, bytes }).collect()
}

/// Small segments, so that a short test has several.
pub(crate) fn options(disk: &(impl Disk + Clone + 'static)) -> StoreOptions {
    StoreOptions::disk(Arc::new(disk.clone())).with_segment_bytes(4096).with_fill_bytes(1024)
}

/// Every record from a place on, and the damage passed over.
pub(crate) fn replay(store: &Store, from: Option<Position>) -> (Vec<Kept>, Vec<store::Damage>) {
    let mut kept = Vec::new();
    let report = store.replay(from, |_, record| {
        kept.push((record.kind, record.bytes.to_vec()));
        Ok::<(), DiskError>(())
    });
    (kept, report.expect("the disk reads").damage)
}

/// Groups of one to three runs on one chain, one event after the other, with bodies that are zeros,
/// commit-like or anything.
pub(crate) fn groups(count: std::ops::Range<usize>) -> impl Strategy<Value = Vec<Vec<Kept>>> {
    let body = prop_oneof![
        4 => proptest::collection::vec(any::<u8>(), 0..300),
        1 => Just(vec![0; 700]),
        1 => Just(b"\xFFend\x10\0\0\0\xFFend\x10\0\0\0".repeat(20)),
        1 => Just(vec![0xFF; 1500]),
    ];
    let group = proptest::collection::vec((1..5_u32, body), 1..4);
    proptest::collection::vec(group, count).prop_map(|groups| {
        let mut seq = 0;
        let mut number_run = |(event_count, body): (u32, Vec<u8>)| {
            let numbered = run(chain(1), seq, event_count, &body);
            seq += u64::from(event_count);
            numbered
        };
        groups.into_iter().map(|group| group.into_iter().map(&mut number_run).collect()).collect()
    })
}
