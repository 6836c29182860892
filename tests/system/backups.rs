//! Backups, rehearsed: one is taken while people log, the laptop is lost, and a new one goes on from it.

mod device;

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;
use std::sync::atomic::{AtomicBool, Ordering};

use device::{Device, lists_only, wait_for};
use serde_json::Value;

/// A laptop with the lists, that runs.
fn laptop(folder: &Path) -> Device {
    let mut laptop = Device::new(folder, "laptop");
    laptop.found();
    laptop.import(&lists_only(folder));
    laptop.start(&[]);
    laptop
}

fn note(device: &Device, words: &str) {
    device.ask(&["log", "note", "--job", "GARAGE", "--note", words]);
}

fn photo(device: &Device, folder: &Path, words: &str) {
    let file = folder.join("wall.jpg");
    fs::write(&file, [b"\xff\xd8\xff\xe0 ", words.as_bytes()].concat()).unwrap();
    let file = file.to_str().unwrap();
    device.ask(&["log", "photo", "--job", "GARAGE", "--photo", file, "--note", words]);
}

/// Every file below a folder, with its bytes.
fn all_of(folder: &Path) -> BTreeMap<String, Vec<u8>> {
    let mut files = BTreeMap::new();
    for entry in fs::read_dir(folder).unwrap().map(Result::unwrap) {
        let name = entry.file_name().into_string().unwrap();
        if entry.file_type().unwrap().is_dir() {
            let below = all_of(&entry.path()).into_iter();
            files.extend(below.map(|(file, bytes)| (format!("{name}/{file}"), bytes)));
        } else {
            files.insert(name, fs::read(entry.path()).unwrap());
        }
    }
    files
}

fn chains(device: &Device) -> Vec<Value> {
    device.ask(&["status"])["chains"].as_array().unwrap().clone()
}

fn events(device: &Device) -> u64 {
    chains(device).iter().map(|chain| chain["events"].as_u64().unwrap()).sum()
}

#[test]
fn a_backup_taken_while_people_log_brings_a_lost_laptop_back_and_nothing_is_lost() {
    let folder = tempfile::tempdir().unwrap();
    let mut laptop = laptop(folder.path());
    let mut phone = Device::new(folder.path(), "tobi-phone");
    phone.ask(&["join", &laptop.invite("Tobi Larch"), "--device", "tobi-phone"]);
    phone.start(&[laptop.address]);
    photo(&laptop, folder.path(), "the wall before boarding");
    note(&laptop, "well before the backup");
    let backup = folder.path().join("stick");
    let dir = backup.to_str().unwrap();

    // People go on logging, and each acknowledged note that came before a backup was asked for must be in it.
    let done = AtomicBool::new(false);
    let (made, before) = std::thread::scope(|scope| {
        let logging = scope.spawn(|| {
            let mut count = 0;
            while !done.load(Ordering::Relaxed) {
                note(&laptop, &format!("while it was written {count}"));
                count += 1;
            }
            count
        });
        // Several, so that some fall into the middle of a group; each brings the one before up to date.
        let mut made = Value::Null;
        let mut before = 0;
        for _ in 0..5 {
            before = events(&laptop);
            made = laptop.ask(&["backup", dir]);
            std::thread::sleep(std::time::Duration::from_millis(150));
        }
        done.store(true, Ordering::Relaxed);
        assert!(logging.join().unwrap() > 5, "nobody logged meanwhile");
        (made, before)
    });
    assert_eq!(made["photos"], 1);
    let kept = all_of(&backup);
    let checked = laptop.ask(&["backup", dir, "--check"]);
    assert_eq!((&checked["events"], &checked["frontier"]), (&made["events"], &made["frontier"]));
    assert_eq!(all_of(&backup), kept, "a check changes nothing");

    // What is logged after the backup is with the phone when the laptop falls into the mixer.
    note(&laptop, "after the backup");
    wait_for("the phone to have it", || phone.frontier() == laptop.frontier());
    let chains_before = chains(&laptop);
    laptop.kill();
    fs::remove_dir_all(&laptop.data).unwrap();

    let mut new = Device::new(folder.path(), "new-laptop");
    let restored = new.ask(&["restore", dir]);
    assert_eq!((&restored["events"], &restored["photos"]), (&made["events"], &made["photos"]));
    assert_eq!(all_of(&backup), kept, "the backup is as it was");
    let held = events(&new);
    assert!(before > 50 && held >= before, "{held} of {before} events that were acknowledged before");
    assert_eq!(new.times_noted("well before the backup"), 1);
    assert_eq!(new.times_noted("after the backup"), 0);
    let photos: Vec<_> = fs::read_dir(new.data.join("photos")).unwrap().collect();
    assert_eq!(photos.len(), 1);
    // It works on at once, in a chain of its own, and gets back from the phone what is newer.
    note(&new, "on the new laptop");
    let is_new = |chain: &&Value| !chains_before.iter().any(|known| known["chain"] == chain["chain"]);
    assert_eq!(chains(&new).iter().filter(is_new).count(), 1);
    phone.stop();
    new.start(&[]);
    phone.start(&[new.address]);
    wait_for("the two to hold the same", || {
        new.frontier() == phone.frontier() && new.times_noted("after the backup") == 1
    });
    assert_eq!(phone.times_noted("on the new laptop"), 1);
    for device in [&mut new, &mut phone] {
        device.stop();
        assert_eq!(device.ask(&["verify"])["damage"], serde_json::json!([]));
    }
}

#[test]
fn a_backup_is_brought_up_to_date_by_what_changed_alone() {
    let folder = tempfile::tempdir().unwrap();
    let mut laptop = laptop(folder.path());
    photo(&laptop, folder.path(), "the wall before boarding");
    let backup = folder.path().join("stick");
    let dir = backup.to_str().unwrap();
    let first = laptop.ask(&["backup", dir]);
    assert_eq!(first["bytes"], first["bytes_copied"]);
    let nothing_new = laptop.ask(&["backup", dir]);
    assert_eq!((nothing_new["bytes_copied"].as_u64(), &nothing_new["bytes"]), (Some(0), &first["bytes"]));
    note(&laptop, "one more");
    let second = laptop.ask(&["backup", dir]);
    assert_eq!(second["events"].as_u64().unwrap(), first["events"].as_u64().unwrap() + 1);
    let photo_bytes = 5 + "the wall before boarding".len() as u64;
    let (copied, all) = (second["bytes_copied"].as_u64().unwrap(), second["bytes"].as_u64().unwrap());
    assert!(copied > 0 && copied + photo_bytes <= all, "{copied} of {all}");
    laptop.ask(&["backup", dir, "--check"]);
    // The same without a daemon.
    laptop.stop();
    let stopped = laptop.ask(&["backup", dir]);
    assert_eq!(stopped["events"], second["events"]);
    laptop.ask(&["backup", dir, "--check"]);
}

#[test]
fn a_backup_that_is_not_whole_is_told_by_name_and_restores_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let laptop = laptop(folder.path());
    photo(&laptop, folder.path(), "the wall before boarding");
    let backup = folder.path().join("stick");
    let dir = backup.to_str().unwrap();
    laptop.ask(&["backup", dir]);
    let whole = all_of(&backup);
    let new = Device::new(folder.path(), "new-laptop");
    for (name, bytes) in whole.iter().filter(|(name, _)| *name != "backup.json") {
        let path = backup.join(name);
        // A bit flips, or the file is gone.
        let mut broken = bytes.clone();
        let middle = broken.len() / 2;
        broken[middle] ^= 1;
        fs::write(&path, broken).unwrap();
        let said = laptop.refused(&["backup", dir, "--check"]);
        assert!(said.contains(name.as_str()) && said.contains("changed since"), "{name}: {said}");
        assert!(new.refused(&["restore", dir]).contains("use another backup"));
        fs::remove_file(&path).unwrap();
        let said = laptop.refused(&["backup", dir, "--check"]);
        assert!(said.contains(name.as_str()), "{name}: {said}");
        new.refused(&["restore", dir]);
        assert!(!new.data.exists(), "something was left of a restore that failed");
        fs::write(&path, bytes).unwrap();
    }
    let beside: Vec<_> =
        fs::read_dir(folder.path()).unwrap().map(|entry| entry.unwrap().file_name()).collect();
    assert!(!beside.iter().any(|name| name.to_string_lossy().contains("restoring")), "{beside:?}");
    laptop.ask(&["backup", dir, "--check"]);

    // One that was broken off says so, and is finished by the next.
    fs::rename(backup.join("backup.json"), backup.join("backup-unfinished.json")).unwrap();
    assert!(laptop.refused(&["backup", dir, "--check"]).contains("not finished"));
    laptop.ask(&["backup", dir]);
    laptop.ask(&["backup", dir, "--check"]);
    // A list that names a place outside is not followed.
    let list = String::from_utf8(whole["backup.json"].clone()).unwrap();
    fs::write(backup.join("backup.json"), list.replace("device.json", "../device.json")).unwrap();
    assert!(new.refused(&["restore", dir]).contains("no place within a backup"));

    // What is no backup is left alone.
    let other = folder.path().join("papers");
    fs::create_dir(&other).unwrap();
    fs::write(other.join("lease.txt"), "keep me").unwrap();
    assert!(laptop.refused(&["backup", other.to_str().unwrap()]).contains("holds other files"));
    let within = laptop.data.join("backup");
    assert!(laptop.refused(&["backup", within.to_str().unwrap()]).contains("within the data folder"));
    assert!(laptop.refused(&["restore", dir]).contains("holds a ledger already"));
    assert!(new.refused(&["restore", other.to_str().unwrap()]).contains("no backup that fivebar made"));
}
