//! Checkpoints save time and never change an answer.

use proptest::prelude::*;
use store::{CheckpointError, FaultPlan, FaultyDisk, MemoryDisk, Store, Survival};

use crate::support::{CREW, groups, options, records, replay};

#[test]
fn a_name_is_small_letters() {
    let mut store = Store::create(options(&MemoryDisk::new()), CREW).expect("the disk is empty");
    for name in ["", "Figures", "../figures", "figures.2", "two words"] {
        let error = store.write_checkpoint(name, b"state").expect_err("it is no name");
        assert!(matches!(error, CheckpointError::BadName { .. }), "{error}");
    }
    assert_eq!(store.read_checkpoint("figures").expect("reads"), None);
}

proptest! {
    #[test]
    fn state_and_the_rest_of_the_journal_are_everything(
        groups in groups(2..12),
        at in any::<prop::sample::Index>(),
        later in any::<prop::sample::Index>(),
    ) {
        let disk = MemoryDisk::new();
        let mut store = Store::create(options(&disk), CREW).expect("the disk is empty");
        let (at, later) = (at.index(groups.len()), later.index(groups.len()));
        for (number, group) in groups.iter().enumerate() {
            if number == at {
                store.write_checkpoint("figures", b"state at").expect("the disk works");
            }
            if number == later {
                store.write_checkpoint("places", b"").expect("the disk works");
            }
            store.append(&records(group)).expect("the disk works");
        }
        drop(store);
        let store = Store::open(options(&disk)).expect("it is whole");
        for (name, number, bytes) in [("figures", at, &b"state at"[..]), ("places", later, b"")] {
            let checkpoint = store.read_checkpoint(name).expect("reads").expect("is there");
            prop_assert_eq!(&checkpoint.bytes, bytes);
            prop_assert_eq!(replay(&store, Some(checkpoint.position)).0, groups[number..].concat());
        }
    }

    #[test]
    fn a_damaged_one_is_not_used(groups in groups(1..4), bit in 0..(76 + 20) * 8_u64) {
        let disk = FaultyDisk::new();
        let mut store = Store::create(options(&disk), CREW).expect("the disk is empty");
        for group in &groups {
            store.append(&records(group)).expect("the disk works");
        }
        store.write_checkpoint("figures", &[3; 20]).expect("the disk works");
        disk.flip_bit("checkpoints/figures.checkpoint", bit).expect("it is there");
        prop_assert_eq!(store.read_checkpoint("figures").expect("reads"), None);
        drop(store);
        let store = Store::open(options(&disk)).expect("it is whole");
        prop_assert_eq!(store.read_checkpoint("figures").expect("reads"), None);
        prop_assert_eq!(replay(&store, None), (groups.concat(), Vec::new()));
    }

    #[test]
    fn the_old_one_or_the_new_one_survives_a_power_cut(cut in 0..200_u64, seed in any::<u64>()) {
        let disk = FaultyDisk::new();
        let mut store = Store::create(options(&disk), CREW).expect("the disk is empty");
        store.write_checkpoint("figures", b"old").expect("the disk works");
        disk.plan(FaultPlan { cut_power_after_bytes: Some(cut), ..FaultPlan::default() });
        let written = store.write_checkpoint("figures", &[8; 100]).is_ok();
        for survival in [Survival::Nothing, Survival::Everything, Survival::Sectors { seed }] {
            let store = Store::open(options(&disk.crash(survival))).expect("it is whole");
            let found = store.read_checkpoint("figures").expect("reads").expect("one survives");
            prop_assert!(found.bytes == [8; 100] || (!written && found.bytes == b"old"));
        }
    }
}

#[test]
fn one_that_is_ahead_of_the_journal_is_not_used() {
    let disk = MemoryDisk::new();
    let mut store = Store::create(options(&disk), CREW).expect("the disk is empty");
    let group = vec![crate::support::run(crate::support::chain(1), 0, 1, b"first")];
    store.append(&records(&group)).expect("the disk works");
    let older = disk.copy();
    let group = vec![crate::support::run(crate::support::chain(1), 1, 1, b"lost")];
    store.append(&records(&group)).expect("the disk works");
    store.write_checkpoint("figures", b"holds what was lost").expect("the disk works");
    let file = "checkpoints/figures.checkpoint";
    older.put(file, disk.contents(file).expect("it is there"));

    let mut store = Store::open(options(&older)).expect("it is whole");
    assert_eq!(store.read_checkpoint("figures").expect("reads"), None);
    // Nor when other bytes of the same length come to stand there.
    let group = vec![crate::support::run(crate::support::chain(1), 1, 1, b"else")];
    store.append(&records(&group)).expect("the disk works");
    assert_eq!(store.read_checkpoint("figures").expect("reads"), None);
}
