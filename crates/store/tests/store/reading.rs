//! A journal that is only read: everything whole in it is found, whatever is broken, and not a byte of it changes.

use std::collections::BTreeMap;
use std::fs;

use proptest::prelude::*;
use store::{AppendError, Disk, FaultyDisk, LockError, OpenError, Store, StoreOptions, Survival};

use crate::support::{CREW, Kept, chain, groups, options, records, replay, run};

/// Every file of a disk, with its bytes.
fn files(disk: &FaultyDisk) -> BTreeMap<String, Vec<u8>> {
    let mut files = BTreeMap::new();
    for folder in ["journal", "checkpoints", "cut"] {
        for name in disk.list(folder).expect("lists") {
            let file = format!("{folder}/{name}");
            let bytes = disk.contents(&file).expect("it is there");
            files.insert(file, bytes);
        }
    }
    files
}

proptest! {
    #[test]
    fn it_gives_what_a_usual_start_gives_and_is_left_as_it_was(
        groups in groups(2..14),
        flips in prop::collection::vec((any::<prop::sample::Index>(), any::<prop::sample::Index>()), 0..4),
        torn in prop::option::of(any::<prop::sample::Index>()),
        begun in any::<bool>(),
    ) {
        let disk = FaultyDisk::new();
        let mut store = Store::create(options(&disk), CREW).expect("the disk is empty");
        for group in &groups {
            store.append(&records(group)).expect("the disk works");
        }
        let end = store.end();
        drop(store);
        let last = format!("journal/{:010}.segment", end.segment);
        if let Some(torn) = torn {
            let mut bytes = disk.contents(&last).expect("it is there");
            bytes.truncate(52 + torn.index(end.offset as usize - 51));
            disk.put(&last, Some(bytes));
        }
        for (file, bit) in flips {
            let names = disk.list("journal").expect("lists");
            let file = format!("journal/{}", names[file.index(names.len())]);
            let bits = disk.contents(&file).expect("it is there").len() as u64 * 8;
            disk.flip_bit(&file, bit.index(bits as usize) as u64).expect("it is there");
        }
        if begun {
            disk.put(&format!("journal/{:010}.segment", end.segment + 1), Some(b"half a header".to_vec()));
        }

        let before = files(&disk);
        let read = Store::open(options(&disk).only_reading().taken_for(CREW));
        let usual = Store::open(options(&disk.crash(Survival::Everything)));
        match (read, usual) {
            (Ok(mut read), Ok(usual)) => {
                prop_assert_eq!((read.crew(), read.end()), (usual.crew(), usual.end()));
                let (found, _) = replay(&read, None);
                prop_assert_eq!(&found, &replay(&usual, None).0);
                let is_torn = !usual.opening().cut.is_empty();
                let told = read.opening().damage.len();
                prop_assert_eq!(told, usual.opening().damage.len() + usual.opening().cut.len(), "{}", is_torn);
                for (_, bytes) in &found {
                    let span = store::RunSpan::of(bytes).expect("a run");
                    let stored = read.read_run(span.chain, span.first_seq).expect("reads").expect("is there");
                    prop_assert_eq!(&stored.bytes, bytes);
                }
                let more = [run(chain(9), 0, 1, b"written on")];
                let refused = read.append(&records(&more));
                prop_assert!(matches!(refused, Err(AppendError::Stopped { .. })), "{refused:?}");
            }
            // Where nothing says whose journal it is, only who reads it for a crew goes on.
            (Ok(read), Err(OpenError::NoHeader)) => prop_assert_eq!(read.crew(), CREW),
            (Err(OpenError::Empty), Err(OpenError::Empty)) => {}
            (read, usual) => prop_assert!(false, "{:?} and {:?}", read.err(), usual.err()),
        }
        prop_assert_eq!(files(&disk), before);
    }
}

#[test]
fn a_folder_that_is_in_use_is_not_read_and_in_one_that_is_not_nothing_is_made() {
    let folder = tempfile::tempdir().expect("a folder");
    let mut store =
        Store::create(StoreOptions::folder(folder.path()).expect("locks"), CREW).expect("it is empty");
    let kept: Vec<Kept> = vec![run(chain(1), 0, 1, b"studs up")];
    store.append(&records(&kept)).expect("the disk works");
    let taken = StoreOptions::reading(folder.path()).err();
    assert!(matches!(taken, Some(OpenError::Lock(LockError::Taken { .. }))), "{taken:?}");
    drop(store);

    fs::remove_file(folder.path().join("lock")).expect("it is there");
    fs::remove_dir_all(folder.path().join("index")).expect("it is there");
    let read = Store::open(StoreOptions::reading(folder.path()).expect("free")).expect("it opens");
    assert_eq!(replay(&read, None).0, kept);
    let names: Vec<_> =
        fs::read_dir(folder.path()).expect("lists").map(|entry| entry.expect("lists").file_name()).collect();
    assert_eq!(names, ["journal"]);
    drop(read);

    // While it is read nobody begins to write it.
    drop(Store::open(StoreOptions::folder(folder.path()).expect("locks")).expect("it opens"));
    let read = StoreOptions::reading(folder.path()).expect("free");
    assert!(matches!(StoreOptions::folder(folder.path()), Err(OpenError::Lock(LockError::Taken { .. }))));
    drop(read);
    let nowhere = folder.path().join("nowhere");
    let read = Store::open(StoreOptions::reading(&nowhere).expect("free")).err();
    assert!(matches!(read, Some(OpenError::Empty)) && !nowhere.exists(), "{read:?}");
}
