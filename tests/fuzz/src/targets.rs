//! The targets, one a decoder.

use std::io::Cursor;
use std::sync::Arc;

use ledger::{ChainStart, Excerpt, OfficeKeys, Payload, Run};
use net::Invite;
use net::pairing::{Admission, Opening};
use store::{Disk, MemoryDisk, Record, RecordKind, Store, StoreOptions};
use sync::FrameReader;

use crate::peer;

/// A target: it takes any bytes, and panics where something is wrong.
pub type Target = fn(&[u8]);

/// All targets by name.
pub const TARGETS: &[(&str, Target)] = &[
    ("run", run),
    ("chain_start", chain_start),
    ("payload", payload),
    ("excerpt", excerpt),
    ("frames", frames),
    ("session", peer::session),
    ("segment", segment),
    ("checkpoint", checkpoint),
    ("invite", invite),
    ("pairing", pairing),
    ("handover", handover),
];

/// A run as it stands on disk and wire.
pub fn run(bytes: &[u8]) {
    let Ok(run) = Run::decode(bytes.to_vec()) else { return };
    assert_eq!(run.bytes(), bytes);
    assert_eq!(run.events().count() as u64, u64::from(run.count()));
    let middle = run.first_seq() + u64::from(run.count()) / 2;
    if let Some(rest) = run.clone().starting_at(middle) {
        let again = Run::decode(rest.bytes().to_vec());
        assert_eq!(again.as_ref(), Ok(&rest), "what is left of a run is a run");
    }
}

/// A chain's start.
pub fn chain_start(bytes: &[u8]) {
    if let Ok(start) = ChainStart::decode(bytes) {
        assert_eq!(start.encode().as_slice(), bytes);
    }
}

/// A payload behind two bytes for its kind: in the clear, and as one that is sealed.
pub fn payload(bytes: &[u8]) {
    let Some((kind, payload)) = bytes.split_first_chunk() else { return };
    let kind = u16::from_le_bytes(*kind);
    if let Ok(decoded) = Payload::decode(kind, ledger::event::KIND_VERSION, payload)
        && let Ok(encoded) = decoded.encode()
    {
        assert_eq!(encoded, payload, "only what is canonical is read");
    }
    let view =
        ledger::run::EventView { made_at: 0, kind, kind_version: ledger::event::KIND_VERSION, payload };
    let _ = Payload::open(ledger::ChainId([7; 16]), 1, &view, &OfficeKeys::default());
}

/// An excerpt of a handover.
pub fn excerpt(bytes: &[u8]) {
    if let Ok(excerpt) = Excerpt::decode(bytes) {
        assert_eq!(excerpt.encode(), bytes);
        let _ = excerpt.prove();
    }
}

/// A stream that is cut into frames.
pub fn frames(bytes: &[u8]) {
    let mut reader = FrameReader::default();
    for mut piece in bytes.chunks(97) {
        while !piece.is_empty() {
            match reader.take_in(&mut piece) {
                Ok(Some(frame)) => assert!(frame.len() <= sync::MAX_FRAME),
                Ok(None) => {}
                Err(_) => return,
            }
        }
    }
    let _ = reader.finish();
}

/// A journal with one segment of these bytes: it opens or says why, and then goes on.
pub fn segment(bytes: &[u8]) {
    let disk = MemoryDisk::new();
    disk.put("journal/0000000001.segment", bytes.to_vec());
    open_and_go_on(&disk);
}

/// A checkpoint of these bytes beside a journal that is whole.
pub fn checkpoint(bytes: &[u8]) {
    let disk = crate::corpus::journal();
    disk.put("checkpoints/verified.checkpoint", bytes.to_vec());
    let before = events(&disk);
    open_and_go_on(&disk);
    assert!(events(&disk) >= before, "a checkpoint takes nothing away");
}

fn options(disk: &MemoryDisk) -> StoreOptions {
    StoreOptions::disk(Arc::new(disk.clone())).with_segment_bytes(4096).with_fill_bytes(256)
}

fn events(disk: &MemoryDisk) -> u64 {
    let mut store = Store::open(options(disk)).expect("the journal is whole");
    store.verify_deep().expect("a disk in memory").events
}

fn open_and_go_on(disk: &MemoryDisk) {
    let Ok(mut store) = Store::open(options(disk)) else { return };
    let (start, run) = crate::corpus::founding();
    let start = start.encode();
    let group = [
        Record { kind: RecordKind::ChainDeclaration, bytes: &start },
        Record { kind: RecordKind::Run, bytes: run.bytes() },
    ];
    if store.stopped().is_some() {
        return;
    }
    store.append(&group).expect("a disk in memory takes a group");
    let end = store.end();
    drop(store);
    let again = Store::open(options(disk)).expect("what was appended to opens");
    assert_eq!(again.end(), end, "what was acknowledged is there");
    assert!(disk.list("journal").is_ok_and(|files| !files.is_empty()));
}

/// An invite's code, as somebody types it.
pub fn invite(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    if let Ok(invite) = Invite::from_code(&text) {
        assert_eq!(Invite::from_code(&invite.code()), Ok(invite));
    }
}

/// What is said in pairing.
pub fn pairing(bytes: &[u8]) {
    if let Ok(opening) = Opening::decode(bytes) {
        assert_eq!(opening.encode().as_deref(), Ok(bytes));
    }
    if let Ok(admission) = Admission::decode(bytes) {
        assert_eq!(admission.encode().as_slice(), bytes);
    }
}

/// A handover as a zip.
pub fn handover(bytes: &[u8]) {
    let _ = documents::handing_over::check_zip(&mut Cursor::new(bytes));
}
