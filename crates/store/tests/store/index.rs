//! The index on disk may be deleted, damaged or foreign: the answers are the same.

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use ledger::ChainId;
use proptest::prelude::*;
use store::{DiskError, IndexState, LockError, OpenError, Position, RunSpan, Store, StoreOptions};

use crate::support::{CREW, Kept, chain, records, replay, run};

/// More runs than wait in memory, so that the table on disk has a part to play.
const RUNS: u64 = 9000;

fn open(folder: &Path) -> Store {
    Store::open(StoreOptions::folder(folder).expect("no one else is here")).expect("it is whole")
}

/// A store with a checkpoint two thirds through.
fn fill(folder: &Path, body: &[u8]) -> Vec<Kept> {
    let mut store =
        Store::create(StoreOptions::folder(folder).expect("no one else is here"), CREW).expect("empty");
    let runs: Vec<Kept> =
        (0..RUNS).map(|number| run(chain((number % 3) as u8), number * 2, 2, body)).collect();
    for (number, group) in runs.chunks(1000).enumerate() {
        store.append(&records(group)).expect("the disk works");
        if number == 5 {
            store.write_checkpoint("figures", b"state").expect("the disk works");
        }
    }
    runs
}

/// Every 97th run, one that is not there, and a walk along a chain.
fn check(store: &mut Store, runs: &[Kept]) {
    for (_, bytes) in runs.iter().step_by(97) {
        let span = RunSpan::of(bytes).expect("a run");
        for seq in [span.first_seq, span.last_seq()] {
            let read = store.read_run(span.chain, seq).expect("reads").expect("is there");
            assert_eq!(&read.bytes, bytes);
        }
        assert_eq!(store.read_run(span.chain, span.last_seq() + 1).expect("reads"), None);
    }
    let walked: Vec<Vec<u8>> =
        store.runs(chain(1), 6000).map(|run| run.expect("sound").bytes.into()).collect();
    let expected = runs.iter().map(|(_, bytes)| bytes).filter(|bytes| {
        RunSpan::of(bytes).is_some_and(|span| span.chain == chain(1) && span.last_seq() >= 6000)
    });
    assert!(walked.iter().eq(expected));
}

#[test]
fn kept_over_a_restart() {
    let folder = tempfile::tempdir().expect("a folder");
    let runs = fill(folder.path(), b"kept");
    for _ in 0..3 {
        let mut store = open(folder.path());
        assert_eq!(store.opening().index, IndexState::Kept);
        check(&mut store, &runs);
        let deep = store.verify_deep().expect("reads");
        assert_eq!((deep.runs, deep.events, deep.index_rebuilt), (RUNS, 2 * RUNS, false));
    }
}

#[test]
fn deleted() {
    let folder = tempfile::tempdir().expect("a folder");
    let runs = fill(folder.path(), b"kept");
    fs::remove_dir_all(folder.path().join("index")).expect("it is there");
    let mut store = open(folder.path());
    assert_eq!(store.opening().index, IndexState::Rebuilt);
    check(&mut store, &runs);
    store.write_checkpoint("figures", b"state").expect("the disk works");
    drop(store);
    let mut store = open(folder.path());
    assert_eq!(store.opening().index, IndexState::Kept);
    check(&mut store, &runs);
}

/// Puts `spoil`'s bytes in place of every file of the index.
fn spoiled(spoil: impl Fn(Vec<u8>) -> Vec<u8>) {
    let folder = tempfile::tempdir().expect("a folder");
    let runs = fill(folder.path(), b"kept");
    let mut spoiled = 0;
    for entry in fs::read_dir(folder.path().join("index")).expect("it is there") {
        let path = entry.expect("reads").path();
        if path.is_file() {
            fs::write(&path, spoil(fs::read(&path).expect("reads"))).expect("writes");
            spoiled += 1;
        }
    }
    assert!(spoiled > 0);
    let mut store = open(folder.path());
    check(&mut store, &runs);
    let deep = store.verify_deep().expect("reads");
    assert_eq!((deep.runs, deep.damage), (RUNS, Vec::new()));
    check(&mut store, &runs);
    store.append(&records(&[run(chain(200), 0, 1, b"the day after")])).expect("the disk works");
    drop(store);
    let mut store = open(folder.path());
    check(&mut store, &runs);
    assert!(store.read_run(chain(200), 0).expect("reads").is_some());
}

#[test]
fn filled_with_garbage() {
    spoiled(|bytes| bytes.iter().enumerate().map(|(at, _)| (at * 167 % 251) as u8).collect());
}

#[test]
fn filled_with_zeros() {
    spoiled(|bytes| vec![0; bytes.len()]);
}

#[test]
fn cut_in_half() {
    spoiled(|bytes| bytes[..bytes.len() / 2].to_vec());
}

#[test]
fn bent_here_and_there() {
    spoiled(|mut bytes| {
        bytes.iter_mut().step_by(1009).for_each(|byte| *byte ^= 0x10);
        bytes
    });
}

#[test]
fn a_file_in_its_place() {
    let folder = tempfile::tempdir().expect("a folder");
    let runs = fill(folder.path(), b"kept");
    fs::remove_dir_all(folder.path().join("index")).expect("it is there");
    fs::write(folder.path().join("index"), b"not a folder").expect("writes");
    let mut store = open(folder.path());
    assert!(matches!(store.opening().index, IndexState::InMemory { .. }));
    check(&mut store, &runs);
    drop(store);
    let mut store = open(folder.path());
    assert_eq!(store.opening().index, IndexState::Rebuilt, "the file was put aside");
    check(&mut store, &runs);
}

#[test]
fn of_another_journal() {
    let (here, there) = (tempfile::tempdir().expect("a folder"), tempfile::tempdir().expect("a folder"));
    let runs = fill(here.path(), b"kept");
    fill(there.path(), b"of others");
    fs::remove_dir_all(here.path().join("index")).expect("it is there");
    fs::rename(there.path().join("index"), here.path().join("index")).expect("moves");
    let mut store = open(here.path());
    assert_eq!(store.opening().index, IndexState::Rebuilt);
    check(&mut store, &runs);
    assert_eq!(replay(&store, None).0, runs);
}

/// Runs in (first event, place) order, as a walk along the chain must give them.
type Model = BTreeMap<ChainId, BTreeMap<(u64, Position), Vec<u8>>>;

fn walk(store: &mut Store, chain: ChainId, from_seq: u64) -> Vec<((u64, Position), Vec<u8>)> {
    let runs = store.runs(chain, from_seq).map(|run| run.expect("sound"));
    runs.map(|run| ((run.span.first_seq, run.place), run.bytes.into())).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// Chains interleave, fork and leave gaps; checkpoints come, and go missing, in any order; and the
    /// index is read from memory, from disk, from both, and from what a replay adds over what is there.
    #[test]
    fn a_walk_gives_every_run_once_whatever_the_index_went_through(
        steps in proptest::collection::vec(
            (0..3_u8, 1..4_u32, 0..12_u64, 0..3000_usize, 0..12_u8), 1..120,
        ),
    ) {
        let folder = tempfile::tempdir().expect("a folder");
        let options = || {
            let options = StoreOptions::folder(folder.path()).expect("no one else is here");
            options.with_segment_bytes(100_000).with_fill_bytes(512)
        };
        let mut store = Store::create(options(), CREW).expect("empty");
        let mut model = Model::new();
        let mut tips = [0_u64; 3];
        for (number, (which, event_count, back, body, act)) in steps.into_iter().enumerate() {
            // Mostly the run follows the tip; now and then it branches off earlier or leaves a gap.
            let tip = &mut tips[usize::from(which)];
            let first_seq = match back {
                0 => tip.saturating_sub(2),
                1 => *tip + 3,
                _ => *tip,
            };
            *tip = (*tip).max(first_seq + u64::from(event_count));
            let written = run(chain(which), first_seq, event_count, &vec![number as u8; body]);
            store.append(&records(std::slice::from_ref(&written))).expect("the disk works");
            let mut place = None;
            let from = store.end();
            store
                .replay(None, |at, _| {
                    place = Some(at);
                    Ok::<(), DiskError>(())
                })
                .expect("the disk works");
            let place = place.filter(|place| *place < from).expect("it was just written");
            model.entry(chain(which)).or_default().insert((first_seq, place), written.1);
            match act {
                0 => store.write_checkpoint("figures", b"state").expect("the disk works"),
                1 => store.write_checkpoint("places", b"state").expect("the disk works"),
                2 | 3 => {
                    drop(store);
                    if act == 3 {
                        let newest = folder.path().join("checkpoints/figures.checkpoint");
                        fs::remove_file(newest).unwrap_or_default();
                    }
                    store = Store::open(options()).expect("it is whole");
                }
                _ => {}
            }
        }
        for (chain, runs) in &model {
            let all: Vec<_> = runs.iter().map(|(order, bytes)| (*order, bytes.clone())).collect();
            prop_assert_eq!(walk(&mut store, *chain, 0), all.clone());
            for (_, bytes) in &all {
                let span = RunSpan::of(bytes).expect("a run");
                let held = store.read_run(*chain, span.last_seq()).expect("reads").expect("is there");
                prop_assert!((held.span.first_seq..=held.span.last_seq()).contains(&span.last_seq()));
                prop_assert!(all.iter().any(|(_, bytes)| *bytes == held.bytes));
                let reaching = |(_, bytes): &&(_, Vec<u8>)| {
                    RunSpan::of(bytes).is_some_and(|other| other.last_seq() >= span.first_seq)
                };
                let reaching: Vec<_> = all.iter().filter(reaching).cloned().collect();
                prop_assert_eq!(walk(&mut store, *chain, span.first_seq), reaching);
            }
        }
        prop_assert!(!store.verify_deep().expect("reads").index_rebuilt);
    }
}

#[test]
fn a_folder_has_one_store_at_a_time() {
    let folder = tempfile::tempdir().expect("a folder");
    fill(folder.path(), b"kept");
    let store = open(folder.path());
    let error = StoreOptions::folder(folder.path()).err().expect("it is taken");
    assert!(matches!(&error, OpenError::Lock(LockError::Taken { .. })), "{error}");
    assert!(error.to_string().contains("another fivebar is using"), "{error}");
    drop(store);
    open(folder.path());
}
