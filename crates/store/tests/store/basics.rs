//! Append, read, replay, reopen.

use ledger::{Audience, ChainId, ChainStart, DeviceSecret, RunBuilder};
use proptest::prelude::*;
use store::{
    AppendError, GROUP_BYTES_MAX, MemoryDisk, OpenError, RECORD_BYTES_MAX, Record, RecordKind, RunSpan,
    Store, StoreOptions,
};

use crate::support::{CREW, chain, groups, options, records, replay, run};

#[test]
fn a_store_is_made_once_and_opened_often() {
    let disk = MemoryDisk::new();
    assert!(matches!(Store::open(options(&disk)), Err(OpenError::Empty)));
    let store = Store::create(options(&disk), CREW).expect("the disk is empty");
    assert_eq!(store.crew(), CREW);
    drop(store);
    assert!(matches!(Store::create(options(&disk), CREW), Err(OpenError::NotEmpty)));
    let store = Store::open(options(&disk)).expect("it was made");
    assert_eq!((store.crew(), replay(&store, None)), (CREW, (Vec::new(), Vec::new())));
}

#[test]
fn a_ledger_run_costs_at_most_160_bytes_and_in_long_runs_60_an_event() {
    let secret = DeviceSecret::from_seed(&[3; 32]);
    let start = ChainStart { chain: ChainId([5; 16]), device: secret.public(), audience: Audience::Crew };
    for (event_count, limit) in [(1, 160), (16, 60 * 16), (100, 60 * 100)] {
        let mut builder = RunBuilder::new(start, start.tip(&CREW));
        for _ in 0..event_count {
            builder.push(0, 1, 1, &[9; 240]).expect("it fits");
        }
        let (run, _) = builder.finish(&CREW, &secret).expect("it has events");
        let span = RunSpan::of(run.bytes()).expect("it is a run");
        assert_eq!(
            (span.chain, span.first_seq, span.event_count),
            (run.chain(), run.first_seq(), run.count())
        );

        let disk = MemoryDisk::new();
        let mut store = Store::create(options(&disk), CREW).expect("the disk is empty");
        let before = store.end();
        let after = store.append(&[Record { kind: RecordKind::Run, bytes: run.bytes() }]).expect("appended");
        let beyond_payload = after.offset - before.offset - 240 * event_count;
        assert!(
            beyond_payload <= limit,
            "{event_count} events cost {beyond_payload} bytes more than they hold"
        );
    }
}

#[test]
fn what_is_no_group_is_refused_and_harms_nothing() {
    let disk = MemoryDisk::new();
    let mut store = Store::create(options(&disk), CREW).expect("the disk is empty");
    let end = store.end();
    assert!(matches!(store.append(&[]), Err(AppendError::EmptyGroup)));
    let long = vec![1; RECORD_BYTES_MAX + 1];
    let long = Record { kind: RecordKind::ChainDeclaration, bytes: &long };
    assert!(matches!(store.append(&[long]), Err(AppendError::RecordTooLarge { .. })));
    let longest = vec![1; RECORD_BYTES_MAX];
    let longest = Record { kind: RecordKind::ChainDeclaration, bytes: &longest };
    let many = vec![longest; GROUP_BYTES_MAX / RECORD_BYTES_MAX + 1];
    assert!(matches!(store.append(&many), Err(AppendError::GroupTooLarge { .. })));
    let no_run = Record { kind: RecordKind::Run, bytes: b"too short" };
    assert!(matches!(store.append(&[longest, no_run]), Err(AppendError::NotARun { number: 1 })));
    for number in [0, 1, 2, 255] {
        let reserved = Record { kind: RecordKind::Unknown(number), bytes: b"" };
        assert!(matches!(store.append(&[reserved]), Err(AppendError::ReservedKind { number: 0 })));
    }
    assert_eq!(store.end(), end);
    store.append(&many[1..]).expect("the longest records fit");
    let later = Record { kind: RecordKind::Unknown(77), bytes: b"from a later version" };
    store.append(&[later]).expect("kept, not judged");
    let store = Store::open(options(&disk)).expect("it is whole");
    assert_eq!(
        replay(&store, None).0.last(),
        Some(&(RecordKind::Unknown(77), b"from a later version".to_vec()))
    );
}

#[test]
fn every_branch_of_a_forked_chain_is_among_its_runs() {
    let disk = MemoryDisk::new();
    let mut store = Store::create(options(&disk), CREW).expect("the disk is empty");
    let written = [
        run(chain(1), 0, 10, b"the trunk"),
        run(chain(1), 10, 2, b"one branch"),
        run(chain(1), 10, 2, b"another"),
        run(chain(1), 4, 1, b"an old branch"),
        run(chain(2), 0, 99, b"another chain"),
    ];
    store.append(&records(&written)).expect("appended");
    let bodies = |store: &mut Store, from| -> Vec<Vec<u8>> {
        store.runs(chain(1), from).map(|run| run.expect("sound").bytes[28..].to_vec()).collect()
    };
    assert_eq!(bodies(&mut store, 0), [&b"the trunk"[..], b"an old branch", b"one branch", b"another"]);
    assert_eq!(bodies(&mut store, 5), [&b"the trunk"[..], b"one branch", b"another"]);
    assert_eq!(bodies(&mut store, 11), [&b"one branch"[..], b"another"]);
    assert_eq!(bodies(&mut store, 12), [[0_u8; 0]; 0]);
    let held = store.read_run(chain(1), 7).expect("reads").expect("the trunk holds it");
    assert_eq!(held.span.first_seq, 0);
    assert_eq!(store.read_run(chain(1), 12).expect("reads"), None);
    assert_eq!(store.read_run(chain(3), 0).expect("reads"), None);
}

proptest! {
    #[test]
    fn what_is_appended_is_read_however_often_it_is_reopened(
        groups in groups(1..20),
        reopenings in proptest::collection::vec(any::<bool>(), 20),
        fill_bytes in prop_oneof![Just(0_u64), Just(256), Just(4096)],
    ) {
        let disk = MemoryDisk::new();
        let options = || options(&disk).with_fill_bytes(fill_bytes);
        let mut store = Store::create(options(), CREW).expect("the disk is empty");
        let mut ends = vec![store.end()];
        for (group, reopen) in groups.iter().zip(reopenings) {
            let before = store.end();
            ends.push(store.append(&records(group)).expect("the disk works"));
            let mut placed = Vec::new();
            let visit = |place, _: Record<'_>| { placed.push(place); Ok::<(), store::DiskError>(()) };
            store.replay(Some(before), visit).expect("it reads");
            prop_assert_eq!(store.places(&records(group)).collect::<Vec<_>>(), placed);
            if reopen {
                drop(store);
                store = Store::open(options()).expect("it is whole");
                prop_assert_eq!(store.end(), *ends.last().expect("not empty"));
                prop_assert!(store.opening().cut.is_empty() && store.opening().damage.is_empty());
            }
        }
        for (count, end) in ends.iter().enumerate() {
            let rest: Vec<_> = groups[count..].concat();
            prop_assert_eq!(replay(&store, Some(*end)), (rest, Vec::new()));
        }
        let all = groups.concat();
        prop_assert_eq!(replay(&store, None).0, all.clone());
        for (_, bytes) in &all {
            let span = RunSpan::of(bytes).expect("a run");
            for seq in span.first_seq..=span.last_seq() {
                let read = store.read_run(span.chain, seq).expect("reads").expect("is there");
                prop_assert_eq!(&read.bytes, bytes);
            }
        }
        let read: Vec<Vec<u8>> = store.runs(chain(1), 0).map(|run| run.expect("sound").bytes.into()).collect();
        prop_assert_eq!(read, all.iter().map(|(_, bytes)| bytes.clone()).collect::<Vec<_>>());
        let deep = store.verify_deep().expect("reads");
        prop_assert_eq!((deep.groups, deep.runs), (groups.len() as u64, all.len() as u64));
        prop_assert!(deep.damage.is_empty() && !deep.index_rebuilt);
    }
}

#[test]
fn options_are_for_any_thread() {
    fn sendable<T: Send>() {}
    sendable::<Store>();
    sendable::<StoreOptions>();
}
