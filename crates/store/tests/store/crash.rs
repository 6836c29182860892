//! The power goes at every byte: what was acknowledged is there, and the rest is whole or absent.

use proptest::prelude::*;
use store::{FaultPlan, FaultyDisk, OpenError, Store, Survival};

use crate::support::{CREW, Kept, chain, groups, options, records, replay, run};

/// Appends until the power goes. Returns how many groups were acknowledged; none if the store was not
/// even made.
fn work(disk: &FaultyDisk, groups: &[Vec<Kept>], fill_bytes: u64) -> Option<usize> {
    let mut store = Store::create(options(disk).with_fill_bytes(fill_bytes), CREW).ok()?;
    Some(groups.iter().take_while(|group| store.append(&records(group)).is_ok()).count())
}

/// Checks what is found after the power cut, twice, and that work goes on.
fn check(disk: &FaultyDisk, groups: &[Vec<Kept>], acknowledged: Option<usize>, fill_bytes: u64) {
    let options = || options(disk).with_fill_bytes(fill_bytes);
    let mut store = match Store::open(options()) {
        Ok(store) => store,
        Err(OpenError::Empty) => {
            assert_eq!(acknowledged, None, "an acknowledged store was lost");
            Store::create(options(), CREW).expect("a start that failed is no hindrance");
            return;
        }
        Err(error) => panic!("the store does not open: {error}"),
    };
    let (found, damage) = replay(&store, None);
    let acknowledged = acknowledged.unwrap_or(0);
    let allowed = [acknowledged, (acknowledged + 1).min(groups.len())].map(|count| groups[..count].concat());
    assert!(allowed.contains(&found), "{acknowledged} groups were acknowledged, not {} records", found.len());
    assert_eq!((damage, &store.opening().damage), (Vec::new(), &Vec::new()));
    assert_eq!(store.stopped(), None);
    for cut in &store.opening().cut {
        assert_eq!(disk.contents(&cut.file).map(|bytes| bytes.len() as u64), Some(cut.length));
    }

    let next = run(chain(9), 0, 1, b"the day after");
    store.append(&records(std::slice::from_ref(&next))).expect("the disk works again");
    drop(store);
    let store = Store::open(options()).expect("it is whole");
    assert!(store.opening().cut.is_empty(), "the torn tail was cut off the first time");
    assert_eq!(replay(&store, None), ([found, vec![next]].concat(), Vec::new()));
}

#[test]
fn at_every_byte() {
    let groups: Vec<Vec<Kept>> = (0..6)
        .map(|number| vec![run(chain(1), number, 1, &vec![number as u8; 150 * number as usize])])
        .collect();
    for fill_bytes in [0, 700] {
        let whole = FaultyDisk::new();
        whole.plan(FaultPlan::default());
        assert_eq!(work(&whole, &groups, fill_bytes), Some(6));
        for cut_power_after_bytes in 0..whole.written_bytes() {
            let disk = FaultyDisk::new();
            disk.plan(FaultPlan {
                cut_power_after_bytes: Some(cut_power_after_bytes),
                ..FaultPlan::default()
            });
            let acknowledged = work(&disk, &groups, fill_bytes);
            assert_ne!(acknowledged, Some(6), "the power was cut");
            let seed = cut_power_after_bytes;
            for survival in [Survival::Nothing, Survival::Everything, Survival::Sectors { seed }] {
                check(&disk.crash(survival), &groups, acknowledged, fill_bytes);
            }
        }
    }
}

proptest! {
    #[test]
    fn with_any_groups_and_any_sectors_lost(
        groups in groups(1..12),
        cut_power_after_bytes in 0..16_000_u64,
        fill_bytes in prop_oneof![Just(0_u64), Just(512), Just(4096)],
        seed in any::<u64>(),
    ) {
        let disk = FaultyDisk::new();
        disk.plan(FaultPlan { cut_power_after_bytes: Some(cut_power_after_bytes), ..FaultPlan::default() });
        let acknowledged = work(&disk, &groups, fill_bytes);
        for survival in [Survival::Nothing, Survival::Everything, Survival::Sectors { seed }] {
            check(&disk.crash(survival), &groups, acknowledged, fill_bytes);
        }
    }

    #[test]
    fn a_torn_tail_is_moved_and_reported(groups in groups(2..6), torn in 1..2000_usize) {
        let disk = FaultyDisk::new();
        let options = || options(&disk).with_fill_bytes(0).with_segment_bytes(1 << 20);
        let mut store = Store::create(options(), CREW).expect("the disk is empty");
        let (last, rest) = groups.split_last().expect("not empty");
        for group in rest {
            store.append(&records(group)).expect("the disk works");
        }
        let end = store.end();
        let torn = torn.min(records(last).iter().map(|record| record.bytes.len() + 8).sum::<usize>());
        disk.plan(FaultPlan { cut_power_after_bytes: Some(torn as u64), ..FaultPlan::default() });
        store.append(&records(last)).expect_err("the power went");
        let after = disk.crash(Survival::Everything);
        let file = "journal/0000000001.segment";
        let tail = after.contents(file).expect("it is there")[end.offset as usize..].to_vec();

        let store = Store::open(crate::support::options(&after)).expect("it opens");
        let [cut] = &store.opening().cut[..] else { panic!("one torn tail: {:?}", store.opening()) };
        let written = tail.iter().rposition(|byte| *byte != 0).map_or(0, |last| last + 1);
        prop_assert_eq!((cut.place, cut.length), (end, written as u64));
        prop_assert_eq!(after.contents(&cut.file), Some(tail[..written].to_vec()));
        prop_assert_eq!(after.contents(file).map(|bytes| bytes.len() as u64), Some(end.offset));
    }
}
