//! Bits that turn over: the place is reported, and everything else reads.

use proptest::prelude::*;
use store::{Damage, FaultyDisk, OpenError, Position, ReadError, RunSpan, Store};

use crate::support::{CREW, Kept, chain, groups, options, records, replay, run};

const HEADER_BYTES: u64 = 52;

fn segment_file(number: u32) -> String {
    format!("journal/{number:010}.segment")
}

/// A store with these groups, and where each begins and ends.
fn written(disk: &FaultyDisk, groups: &[Vec<Kept>]) -> (Store, Vec<(Position, Position)>) {
    let mut store = Store::create(options(disk), CREW).expect("the disk is empty");
    let mut places = Vec::new();
    for group in groups {
        let before = store.end();
        let end = store.append(&records(group)).expect("the disk works");
        let start = if before.segment == end.segment { before.offset } else { HEADER_BYTES };
        places.push((Position { offset: start, ..end }, end));
    }
    (store, places)
}

/// The places in `damage` that take in a byte.
fn takes_in(damage: &[Damage], segment: u32, byte: u64) -> bool {
    damage.iter().any(|found| {
        let from = found.place.offset;
        found.place.segment == segment && (from..from + found.length).contains(&byte)
    })
}

proptest! {
    #[test]
    fn what_is_damaged_is_moved_away_and_all_else_stays_where_it_is(
        groups in groups(2..14),
        flips in prop::collection::vec((any::<prop::sample::Index>(), any::<prop::sample::Index>()), 1..4),
        missing in any::<bool>(),
    ) {
        use store::Disk;
        let disk = FaultyDisk::new();
        let (store, places) = written(&disk, &groups);
        let end = store.end();
        drop(store);
        // Never the last group: that would be a torn tail.
        let mut lost = std::collections::BTreeSet::new();
        for (victim, bit) in flips {
            let victim = victim.index(groups.len() - 1);
            let (start, end) = places[victim];
            let bit = start.offset * 8 + bit.index(((end.offset - start.offset) * 8) as usize) as u64;
            if lost.insert(victim) {
                disk.flip_bit(&segment_file(start.segment), bit).expect("it is there");
            }
        }
        if missing && end.segment > 1 {
            disk.remove(&segment_file(1)).expect("it is there");
            lost.extend((0..groups.len()).filter(|group| places[*group].0.segment == 1));
        }
        let kept: Vec<Kept> =
            (0..groups.len()).filter(|group| !lost.contains(group)).flat_map(|group| groups[group].clone()).collect();

        let mut store = Store::open(options(&disk)).expect("it opens");
        let (_, damage) = replay(&store, None);
        let healed = store.heal(&damage).expect("the disk works");
        prop_assert_eq!(healed.len(), damage.len());
        let without_lost = |found: Vec<Kept>| -> Vec<Kept> {
            found.into_iter().filter(|kept| kept.0 != store::RecordKind::Lost).collect()
        };
        let (found, damage) = replay(&store, None);
        prop_assert_eq!((without_lost(found), damage), (kept.clone(), vec![]));
        prop_assert_eq!(store.end(), end);
        // It can be written on, and the next start finds nothing wrong.
        let more = vec![run(chain(9), 0, 1, b"written on")];
        store.append(&records(&more)).expect("the disk works");
        drop(store);
        let mut store = Store::open(options(&disk)).expect("it opens");
        prop_assert!(store.opening().damage.is_empty() && store.opening().cut.is_empty());
        let deep = store.verify_deep().expect("reads");
        prop_assert_eq!((deep.damage.len(), deep.index_rebuilt), (0, false));
        let (found, _) = replay(&store, None);
        prop_assert_eq!(without_lost(found), [&kept[..], &more[..]].concat());
    }

    #[test]
    fn a_flipped_bit_costs_its_own_group_and_no_other(
        groups in groups(2..12),
        victim in any::<prop::sample::Index>(),
        bit in any::<prop::sample::Index>(),
    ) {
        let disk = FaultyDisk::new();
        let (mut store, places) = written(&disk, &groups);
        let victim = victim.index(groups.len() - 1);
        let (start, end) = places[victim];
        let bit = start.offset * 8 + bit.index(((end.offset - start.offset) * 8) as usize) as u64;
        disk.flip_bit(&segment_file(start.segment), bit).expect("it is there");
        let others = [&groups[..victim], &groups[victim + 1..]].concat().concat();

        let (found, damage) = replay(&store, None);
        prop_assert_eq!(&found, &others);
        prop_assert!(takes_in(&damage, start.segment, bit / 8), "{damage:?} leaves out byte {}", bit / 8);
        prop_assert_eq!(damage, vec![Damage { place: start, length: end.offset - start.offset }]);

        let deep = store.verify_deep().expect("reads");
        prop_assert_eq!((deep.damage.len(), deep.groups), (1, groups.len() as u64 - 1));
        drop(store);

        let mut store = Store::open(options(&disk)).expect("it opens");
        prop_assert!(store.opening().cut.is_empty(), "damage is no torn tail");
        prop_assert_eq!(store.opening().damage.len(), 1);
        for (_, bytes) in &others {
            let span = RunSpan::of(bytes).expect("a run");
            let read = store.read_run(span.chain, span.first_seq).expect("reads").expect("is there");
            prop_assert_eq!(&read.bytes, bytes);
        }
        let next = run(chain(9), 0, 1, b"the day after");
        store.append(&records(std::slice::from_ref(&next))).expect("a damaged journal can be written on");
        prop_assert_eq!(replay(&store, None).0, [others, vec![next]].concat());
    }
}

#[test]
fn damage_under_an_open_store_is_an_error_of_that_run_alone() {
    let disk = FaultyDisk::new();
    let groups: Vec<Vec<Kept>> = (0..3).map(|seq| vec![run(chain(1), seq, 1, b"skim coat")]).collect();
    let (mut store, places) = written(&disk, &groups);
    let inside = places[1].0.offset + 8 + 30;
    disk.flip_bit(&segment_file(1), inside * 8).expect("it is there");
    let error = store.read_run(chain(1), 1).expect_err("it is damaged");
    let ReadError::Damaged(damage) = error else { panic!("{error}") };
    assert!(takes_in(&[damage], 1, inside));
    let read: Vec<Result<u64, ()>> =
        store.runs(chain(1), 0).map(|run| run.map(|run| run.span.first_seq).map_err(|_| ())).collect();
    assert_eq!(read, [Ok(0), Err(()), Ok(2)]);

    // A bent record header can't be told from a wrong index: after that the run is simply not there.
    disk.flip_bit(&segment_file(1), inside * 8).expect("turned back");
    disk.flip_bit(&segment_file(1), places[1].0.offset * 8 + 9).expect("it is there");
    assert_eq!(store.read_run(chain(1), 1).expect("reads"), None);
    assert!(store.read_run(chain(1), 2).expect("reads").is_some());
}

#[test]
fn damage_between_two_runs_of_a_chain_hides_neither() {
    let disk = FaultyDisk::new();
    let between = run(chain(2), 0, 1, b"of another");
    let groups =
        [vec![run(chain(1), 0, 1, b"first coat")], vec![between], vec![run(chain(1), 1, 1, b"second")]];
    let (mut store, places) = written(&disk, &groups);
    // Its record's length is another, so that nothing behind it is found by going from record to record.
    disk.flip_bit(&segment_file(1), places[1].0.offset * 8 + 9).expect("it is there");
    for seq in 0..2 {
        assert!(store.read_run(chain(1), seq).expect("reads").is_some(), "{seq}");
        assert_eq!(store.runs(chain(1), seq).filter_map(Result::ok).count(), usize::from(seq == 0) + 1);
    }
}

#[test]
fn the_last_group_damaged_is_a_torn_tail() {
    let disk = FaultyDisk::new();
    let groups: Vec<Vec<Kept>> = (0..3).map(|seq| vec![run(chain(1), seq, 1, b"skim coat")]).collect();
    let (store, places) = written(&disk, &groups);
    drop(store);
    disk.flip_bit(&segment_file(1), places[2].0.offset * 8 + 100).expect("it is there");
    let store = Store::open(options(&disk)).expect("it opens");
    assert_eq!(store.opening().cut.len(), 1);
    assert_eq!(replay(&store, None), (groups[..2].concat(), Vec::new()));
}

#[test]
fn zeros_in_place_of_an_older_segments_last_group_are_damage() {
    let disk = store::MemoryDisk::new();
    let mut store = Store::create(options(&disk), CREW).expect("the disk is empty");
    let groups: Vec<Vec<Kept>> = (0..4).map(|seq| vec![run(chain(1), seq, 1, &[5; 1500])]).collect();
    let ends: Vec<Position> =
        groups.iter().map(|group| store.append(&records(group)).expect("the disk works")).collect();
    assert_eq!((ends[1].segment, ends[2].segment), (1, 2));
    drop(store);
    let mut bytes = disk.contents(&segment_file(1)).expect("it is there");
    bytes[ends[0].offset as usize..].fill(0);
    disk.put(&segment_file(1), bytes);
    let store = Store::open(options(&disk)).expect("it opens");
    let lost = Damage { place: ends[0], length: ends[1].offset - ends[0].offset };
    assert_eq!(replay(&store, None), ([&groups[..1], &groups[2..]].concat().concat(), vec![lost]));
}

#[test]
fn a_missing_segment_is_reported_and_the_others_read() {
    use store::Disk;
    let disk = FaultyDisk::new();
    let groups: Vec<Vec<Kept>> = (0..6).map(|seq| vec![run(chain(1), seq, 1, &[5; 1500])]).collect();
    let (store, places) = written(&disk, &groups);
    drop(store);
    disk.remove(&segment_file(2)).expect("it is there");
    let store = Store::open(options(&disk)).expect("it opens");
    let missing = Damage { place: Position { segment: 2, offset: 0 }, length: 0 };
    let rest: Vec<Kept> = groups
        .iter()
        .zip(&places)
        .filter(|(_, place)| place.0.segment != 2)
        .map(|(group, _)| group[0].clone())
        .collect();
    assert_eq!(rest.len(), 4);
    assert_eq!(replay(&store, None), (rest, vec![missing]));
    assert_eq!(missing.to_string(), "segment 2 is missing");
}

#[test]
fn a_damaged_header_is_reported_and_its_segment_reads() {
    let groups: Vec<Vec<Kept>> = (0..6).map(|seq| vec![run(chain(1), seq, 1, &[5; 1500])]).collect();
    for segment in 1..=3 {
        let disk = FaultyDisk::new();
        drop(written(&disk, &groups));
        disk.flip_bit(&segment_file(segment), 77).expect("it is there");
        let store = Store::open(options(&disk)).expect("another segment says whose it is");
        assert_eq!(store.crew(), CREW);
        let header = Damage { place: Position { segment, offset: 0 }, length: HEADER_BYTES };
        assert_eq!(store.opening().damage, [header]);
        assert_eq!(replay(&store, None), (groups.concat(), vec![header]));
    }
}

#[test]
fn the_only_header_damaged_is_made_good_by_a_checkpoint() {
    let groups = vec![vec![run(chain(1), 0, 1, b"skim coat")]];
    for with_checkpoint in [false, true] {
        let disk = FaultyDisk::new();
        let (mut store, _) = written(&disk, &groups);
        if with_checkpoint {
            store.write_checkpoint("figures", b"state").expect("the disk works");
        }
        drop(store);
        disk.flip_bit(&segment_file(1), 77).expect("it is there");
        match Store::open(options(&disk)) {
            Ok(store) => assert_eq!((with_checkpoint, replay(&store, None).0), (true, groups.concat())),
            Err(error) => assert!(!with_checkpoint && matches!(error, OpenError::NoHeader), "{error}"),
        }
        assert!(disk.contents(&segment_file(1)).is_some(), "nothing is taken away");
    }
}

#[test]
fn a_later_format_is_refused_and_left_alone() {
    let disk = store::MemoryDisk::new();
    let mut header = [0_u8; 52];
    header[..8].copy_from_slice(b"fivebarJ");
    header[8] = 2;
    header[12] = 1;
    let checksum = crc32c::crc32c(&header[..48]);
    header[48..].copy_from_slice(&checksum.to_le_bytes());
    disk.put(&segment_file(1), header.to_vec());
    let error = Store::open(options(&disk)).err().expect("it is refused");
    assert!(matches!(error, OpenError::TooNew { format: 2, .. }), "{error}");
    assert_eq!(disk.contents(&segment_file(1)), Some(header.to_vec()));
}
