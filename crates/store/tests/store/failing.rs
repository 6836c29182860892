//! A full disk and a sync that fails: the cause is said, reading goes on, the next start is whole.

use std::sync::Arc;

use store::{AppendError, CheckpointError, FaultPlan, FaultyDisk, Store, StoreOptions, Survival};

use crate::support::{CREW, Kept, chain, options, records, replay, run};

fn group(seq: u64) -> Vec<Kept> {
    vec![run(chain(1), seq, 1, &[seq as u8; 200])]
}

/// Appends until it fails, and checks all that must hold from then on and after the next start.
fn fail(disk: &FaultyDisk, plan: FaultPlan, cause: &str) {
    let mut store = Store::create(options(disk), CREW).expect("the disk is empty");
    store.append(&records(&group(0))).expect("the disk works");
    disk.plan(plan);
    let mut acknowledged = group(0);
    let error = loop {
        let next = group(acknowledged.len() as u64);
        match store.append(&records(&next)) {
            Ok(_) => acknowledged.extend(next),
            Err(error) => break error,
        }
    };
    assert!(matches!(error, AppendError::Disk(_)), "{error}");
    assert!(error.to_string().contains(cause), "{error}");
    assert!(store.stopped().is_some_and(|why| why.contains(cause)));
    let error = store.append(&records(&group(99))).expect_err("the writer has stopped");
    assert!(matches!(error, AppendError::Stopped { .. }) && error.to_string().contains(cause), "{error}");
    assert_eq!(replay(&store, None), (acknowledged.clone(), Vec::new()));
    assert!(store.read_run(chain(1), 0).expect("reading goes on").is_some());
    drop(store);

    // Started again at once, with the disk still as it is; and after a power cut.
    for disk in [disk.clone(), disk.crash(Survival::Nothing), disk.crash(Survival::Sectors { seed: 1 })] {
        let store = Store::open(options(&disk)).expect("it opens");
        assert!(store.opening().cut.is_empty() && store.opening().damage.is_empty());
        assert_eq!(replay(&store, None), (acknowledged.clone(), Vec::new()));
    }
    disk.plan(FaultPlan::default());
    let mut store = Store::open(options(disk)).expect("it opens");
    store.append(&records(&group(99))).expect("there is room again");
}

#[test]
fn a_disk_that_fills_up_wherever_it_does() {
    for full_after_bytes in (0..9000).step_by(37) {
        let plan = FaultPlan { full_after_bytes: Some(full_after_bytes), ..FaultPlan::default() };
        fail(&FaultyDisk::new(), plan, "disk full");
    }
}

#[test]
fn every_sync() {
    for fail_sync in 0..40 {
        let plan = FaultPlan { fail_sync: Some(fail_sync), ..FaultPlan::default() };
        fail(&FaultyDisk::new(), plan, "the disk did not take the bytes");
    }
}

#[test]
fn a_torn_tail_on_a_full_disk_stays_where_it_is() {
    let disk = FaultyDisk::new();
    let no_fill = || options(&disk).with_fill_bytes(0);
    let mut store = Store::create(no_fill(), CREW).expect("the disk is empty");
    store.append(&records(&group(0))).expect("the disk works");
    disk.plan(FaultPlan { cut_power_after_bytes: Some(100), ..FaultPlan::default() });
    store.append(&records(&group(1))).expect_err("the power went");
    let disk = disk.crash(Survival::Everything);
    let torn = disk.contents("journal/0000000001.segment");

    disk.plan(FaultPlan { full_after_bytes: Some(50), ..FaultPlan::default() });
    let mut store = Store::open(options(&disk)).expect("it opens to be read");
    assert_eq!(replay(&store, None), (group(0), Vec::new()));
    assert!(store.opening().stopped.as_ref().is_some_and(|why| why.contains("disk full")));
    assert!(matches!(store.append(&records(&group(1))), Err(AppendError::Stopped { .. })));
    assert_eq!(disk.contents("journal/0000000001.segment"), torn, "nothing is thrown away");
    drop(store);

    disk.plan(FaultPlan::default());
    let mut store = Store::open(options(&disk)).expect("it opens");
    assert_eq!((store.opening().cut.len(), store.opening().cut[0].length), (1, 100));
    store.append(&records(&group(1))).expect("there is room again");
}

#[test]
fn a_checkpoint_without_room_leaves_the_old_one_and_the_writer() {
    let disk = FaultyDisk::new();
    let mut store = Store::create(options(&disk), CREW).expect("the disk is empty");
    store.append(&records(&group(0))).expect("the disk works");
    store.write_checkpoint("figures", b"old").expect("there is room");
    disk.plan(FaultPlan { full_after_bytes: Some(80), ..FaultPlan::default() });
    let error = store.write_checkpoint("figures", &[1; 500]).expect_err("there is no room");
    assert!(matches!(error, CheckpointError::Disk(_)) && error.to_string().contains("disk full"), "{error}");
    let old = store.read_checkpoint("figures").expect("reads").expect("it stands");
    assert_eq!(old.bytes, b"old");
    assert_eq!(store.stopped(), None);
}

#[test]
fn a_first_segment_without_room_is_no_hindrance_later() {
    for full_after_bytes in 0..52 {
        let disk = FaultyDisk::new();
        disk.plan(FaultPlan { full_after_bytes: Some(full_after_bytes), ..FaultPlan::default() });
        let made = Store::create(StoreOptions::disk(Arc::new(disk.clone())), CREW);
        assert!(made.err().is_some_and(|error| error.to_string().contains("disk full")));
        disk.plan(FaultPlan::default());
        Store::create(options(&disk), CREW).expect("there is room again");
    }
}
