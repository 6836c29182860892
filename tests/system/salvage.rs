//! What is left of a device is taken in by another: of a phone whose key was damaged, of a journal with damage in it, of
//! an old copy that went on; and whatever breaks it off, it is done again.

mod device;

use std::collections::BTreeMap;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Stdio;
use std::thread::sleep;
use std::time::Duration;

use device::folders::copy;
use device::{Device, lists_only, scenario, wait_for};
use serde_json::{Value, json};

/// A laptop with the lists and a phone that joined it, neither running.
fn laptop_and_phone(folder: &Path) -> (Device, Device) {
    let mut laptop = Device::new(folder, "laptop");
    laptop.found();
    laptop.import(&lists_only(folder));
    let phone = joined(&mut laptop, folder, "tobi-phone");
    (laptop, phone)
}

/// A phone of Tobi's that joined the laptop.
fn joined(laptop: &mut Device, folder: &Path, name: &str) -> Device {
    laptop.start(&[]);
    let phone = Device::new(folder, name);
    phone.ask(&["join", &laptop.invite("Tobi Larch"), "--device", name]);
    laptop.stop();
    phone
}

#[track_caller]
fn note(device: &Device, words: &str) {
    device.ask(&["log", "note", "--job", "GARAGE", "--note", words]);
}

#[track_caller]
fn salvage(device: &Device, old: &Path) -> Value {
    device.ask(&["salvage", old.to_str().unwrap()])
}

/// The two meet until both hold the same.
#[track_caller]
fn meet(laptop: &mut Device, other: &mut Device) {
    laptop.start(&[]);
    other.start(&[laptop.address]);
    wait_for("the two to hold the same", || laptop.frontier() == other.frontier());
    other.stop();
    laptop.stop();
}

/// How many entries with these words count.
#[track_caller]
fn counting(device: &Device, words: &str) -> usize {
    let log = device.ask(&["entries"]);
    let rows = log["entries"].as_array().unwrap().iter();
    rows.filter(|row| row["text"].as_str().unwrap().contains(words) && row["state"] != "does not count")
        .count()
}

/// Turns one bit of a file, at the first place with these bytes.
fn damage(file: &Path, words: &str) {
    let mut bytes = fs::read(file).unwrap();
    let place = bytes.windows(words.len()).position(|window| window == words.as_bytes()).unwrap();
    bytes[place] ^= 1;
    fs::write(file, bytes).unwrap();
}

fn segment(data: &Path) -> PathBuf {
    data.join("journal/journal/0000000001.segment")
}

/// Every file below a folder, with its bytes.
fn all_of(folder: &Path) -> BTreeMap<PathBuf, Vec<u8>> {
    let mut files = BTreeMap::new();
    for path in fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()) {
        if path.is_dir() {
            files.extend(all_of(&path));
        } else {
            files.insert(path.clone(), fs::read(&path).unwrap());
        }
    }
    files
}

#[test]
fn what_only_a_phone_held_whose_key_was_damaged_reaches_the_boss_and_counts() {
    let folder = tempfile::tempdir().unwrap();
    let (mut laptop, mut old) = laptop_and_phone(folder.path());
    note(&old, "known to the laptop");
    meet(&mut laptop, &mut old);
    let photo = folder.path().join("wall.jpg");
    fs::write(&photo, b"\xff\xd8\xff\xe0 the pipe behind the board").unwrap();
    note(&old, "in the cellar");
    old.ask(&["log", "hours", "--job", "GARAGE", "--stage", "skim", "--minutes", "95"]);
    old.ask(&["log", "photo", "--job", "GARAGE", "--photo", photo.to_str().unwrap(), "--note", "the pipe"]);
    damage(&old.data.join("device.json"), "seed");
    let said = old.refused(&["status"]);
    for next in ["fivebar join", "fivebar come-back", "fivebar salvage", "fivebar retire"] {
        assert!(said.contains(next), "{next}: {said}");
    }

    let mut new = joined(&mut laptop, folder.path(), "tobi-new-phone");
    let before = all_of(&old.data);
    let taken = salvage(&new, &old.data);
    assert_eq!((&taken["new"], &taken["left"], &taken["damage"]), (&json!(3), &json!([]), &json!([])));
    assert!(taken["held"].as_u64().unwrap() > 3, "{taken}");
    assert_eq!(taken["photos"], json!({ "new": 1, "damaged": 0, "left": 0, "why": null }));
    assert_eq!(all_of(&old.data), before, "nothing in the old folder is changed");
    let again = salvage(&new, &old.data);
    assert_eq!((&again["new"], &again["photos"]["new"], &again["left"]), (&json!(0), &json!(0), &json!([])));
    assert_eq!(again["held"], json!(taken["held"].as_u64().unwrap() + 3));

    let minutes = |device: &Device| device.ask(&["reconcile"])["time_on_job"][0]["minutes"].clone();
    assert_ne!(minutes(&laptop), minutes(&new));
    meet(&mut laptop, &mut new);
    assert_eq!(minutes(&laptop), minutes(&new));
    for words in ["known to the laptop", "in the cellar", "the pipe"] {
        assert_eq!(counting(&laptop, words), 1, "{words}");
    }
    // What it held counts also once it is taken off; and a folder whose file is gone is told of as one that is damaged.
    laptop.ask(&["retire", "tobi-phone"]);
    assert_eq!(counting(&laptop, "in the cellar"), 1);
    fs::remove_file(old.data.join("device.json")).unwrap();
    let said = old.refused(&["status"]);
    assert!(said.contains("is missing") && said.contains("fivebar salvage"), "{said}");
    assert_eq!(salvage(&laptop, &old.data)["left"], json!([]));
}

#[test]
fn while_devices_run_what_is_taken_in_goes_on_to_the_others_at_once() {
    let folder = tempfile::tempdir().unwrap();
    let (mut laptop, old) = laptop_and_phone(folder.path());
    note(&old, "in the cellar");
    fs::remove_file(old.data.join("device.json")).unwrap();
    let mut new = joined(&mut laptop, folder.path(), "tobi-new-phone");
    laptop.start(&[]);
    new.start(&[laptop.address]);
    wait_for("the two to hold the same", || laptop.frontier() == new.frontier());
    // By a path that is not the daemon's own.
    let mut command = new.fivebar(["--json", "salvage", "tobi-phone"]);
    let done = command.current_dir(folder.path()).output().unwrap();
    let taken: Value = serde_json::from_slice(&done.stdout).unwrap();
    assert_eq!(taken["new"], 1, "{taken}");
    wait_for("the laptop to have it", || laptop.times_noted("in the cellar") == 1);
    let page = String::from_utf8(new.output(&["salvage", old.data.to_str().unwrap()]).stdout).unwrap();
    assert!(page.starts_with("New here and taken in: 0 entries and 0 photos. Here already: "), "{page}");
    new.stop();
    laptop.stop();
}

#[test]
fn what_is_not_this_crews_or_is_in_use_is_refused() {
    let folder = tempfile::tempdir().unwrap();
    let (laptop, mut phone) = laptop_and_phone(folder.path());
    let other = Device::new(folder.path(), "other");
    other.ask(&["found", "--crew", "Quill Tiling", "--person", "Ines Quill"]);
    let before = laptop.ask(&["status"]);
    let refused = |dir: &Path| laptop.refused(&["salvage", dir.to_str().unwrap()]);
    assert!(refused(&other.data).contains("another crew's"), "{}", refused(&other.data));
    // Where nothing says whose it is, each entry is asked.
    let mut bytes = fs::read(segment(&other.data)).unwrap();
    bytes[20] ^= 1;
    fs::write(segment(&other.data), bytes).unwrap();
    let taken = salvage(&laptop, &other.data);
    assert_eq!((&taken["new"], &taken["held"]), (&json!(0), &json!(0)), "{taken}");
    assert_eq!(taken["left"][0]["events"], 1, "{taken}");

    assert!(refused(&laptop.data).contains("this device's own folder"));
    assert!(refused(folder.path()).contains("no journal in"));
    assert!(refused(&folder.path().join("nowhere")).contains("no journal in"));
    phone.start(&[]);
    assert!(refused(&phone.data).contains("another fivebar is using"), "{}", refused(&phone.data));
    phone.stop();
    assert_eq!(laptop.ask(&["status"]), before);
    assert_eq!(salvage(&laptop, &phone.data)["left"], json!([]));
}

#[test]
fn damage_is_passed_over_and_two_broken_copies_make_up_a_whole_one() {
    let folder = tempfile::tempdir().unwrap();
    let (mut laptop, old) = laptop_and_phone(folder.path());
    let copied = folder.path().join("copied");
    note(&old, "before it");
    note(&old, "on the damaged page");
    copy(&old.data, &copied);
    note(&old, "behind it");
    let mut new = joined(&mut laptop, folder.path(), "tobi-new-phone");
    // The phone's key and a page of its journal are gone, and its first bytes, which say whose it is; of the copy, another
    // page.
    fs::remove_file(old.data.join("device.json")).unwrap();
    damage(&segment(&old.data), "fivebarJ");
    damage(&segment(&old.data), "on the damaged page");
    damage(&segment(&copied), "tobi-phone");
    for data in [&old.data, &copied] {
        let _ = fs::remove_dir_all(data.join("journal/checkpoints"));
    }
    let before = all_of(folder.path());

    let taken = salvage(&new, &old.data);
    assert_eq!((&taken["new"], taken["damage"].as_array().unwrap().len()), (&json!(1), 2), "{taken}");
    let left = &taken["left"][0];
    assert_eq!((&left["device"], &left["events"]), (&json!("tobi-phone"), &json!(1)), "{taken}");
    assert!(left["why"].as_str().unwrap().contains("damaged there and is not here"), "{taken}");
    let page = String::from_utf8(new.output(&["salvage", old.data.to_str().unwrap()]).stdout).unwrap();
    for words in
        ["Not taken in: 1 entry of tobi-phone: ", "do the same once more", "Damaged there and passed over: "]
    {
        assert!(page.contains(words), "{words}: {page}");
    }
    assert_eq!(salvage(&new, &copied)["new"], 1);
    let taken = salvage(&new, &old.data);
    assert_eq!((&taken["new"], &taken["left"]), (&json!(1), &json!([])), "{taken}");
    let is_left = |path: &PathBuf| path.starts_with(&old.data) || path.starts_with(&copied);
    let after = all_of(folder.path());
    assert!(
        before.iter().filter(|(path, _)| is_left(path)).all(|(path, bytes)| after.get(path) == Some(bytes))
    );
    assert_eq!(
        before.keys().filter(|path| is_left(path)).count(),
        after.keys().filter(|path| is_left(path)).count()
    );
    meet(&mut laptop, &mut new);
    for words in ["before it", "on the damaged page", "behind it"] {
        assert_eq!(counting(&laptop, words), 1, "{words}");
    }
}

#[test]
fn an_old_copy_that_went_on_shows_a_fork_and_nothing_that_either_wrote_is_lost() {
    let folder = tempfile::tempdir().unwrap();
    let (mut laptop, mut phone) = laptop_and_phone(folder.path());
    note(&phone, "before the snapshot");
    let (snapshot, old) = (folder.path().join("snapshot"), folder.path().join("old"));
    copy(&phone.data, &snapshot);
    for words in ["on the old disk, one", "on the old disk, two", "on the old disk, three"] {
        note(&phone, words);
    }
    // The whole disk is set back, mark and all, and the phone writes on; the crew has that.
    fs::rename(&phone.data, &old).unwrap();
    fs::rename(&snapshot, &phone.data).unwrap();
    fs::rename(old.join("mark.json"), phone.data.join("mark.json")).unwrap();
    for words in ["on the new disk, one", "on the new disk, two"] {
        note(&phone, words);
    }
    meet(&mut laptop, &mut phone);
    assert_eq!(counting(&laptop, "on the new disk"), 2);

    // Of the old line there is more than of the one that is held, and the other way round.
    for (device, forked) in [(&laptop, 3), (&phone, 3)] {
        let taken = salvage(device, &old);
        assert_eq!((&taken["new"], &taken["left"][0]["events"]), (&json!(0), &json!(forked)), "{taken}");
        assert!(taken["left"][0]["next"].as_str().unwrap().contains("fivebar set-aside"), "{taken}");
        assert_eq!(device.ask(&["set-aside"])["set_aside"].as_array().unwrap().len(), 5);
        assert_eq!(counting(device, "disk, one"), 0);
        let held = device.ask(&["status"]);
        assert_eq!(salvage(device, &old), taken, "the same once more");
        assert_eq!(device.ask(&["status"]), held);
    }
    note(&phone, "in a new chain");
    assert_eq!(laptop.ask(&["set-aside", "--all-again"])["entered"], 5);
    meet(&mut laptop, &mut phone);
    for device in [&laptop, &phone] {
        assert_eq!((counting(device, "on the old disk"), counting(device, "on the new disk")), (3, 2));
        assert_eq!(counting(device, "in a new chain"), 1);
    }
}

#[test]
fn a_device_that_finds_more_of_its_own_in_an_old_folder_goes_on_in_new_chains() {
    let folder = tempfile::tempdir().unwrap();
    let (mut laptop, mut phone) = laptop_and_phone(folder.path());
    let (snapshot, old) = (folder.path().join("snapshot"), folder.path().join("old"));
    note(&phone, "before the snapshot");
    copy(&phone.data, &snapshot);
    note(&phone, "after it");
    fs::rename(&phone.data, &old).unwrap();
    fs::rename(&snapshot, &phone.data).unwrap();
    fs::rename(old.join("mark.json"), phone.data.join("mark.json")).unwrap();
    assert_eq!(salvage(&phone, &old)["new"], 1);
    note(&phone, "and on");
    meet(&mut laptop, &mut phone);
    // Should the old folder come to life again, nothing is written twice from one place.
    let mut again = Device::new(folder.path(), "old");
    note(&again, "on the old one");
    meet(&mut laptop, &mut again);
    for words in ["after it", "and on", "on the old one"] {
        assert_eq!(counting(&laptop, words), 1, "{words}");
    }
    assert_eq!(laptop.ask(&["set-aside"])["set_aside"], json!([]));
}

#[test]
fn what_was_written_beyond_a_cut_does_not_count_and_is_told_word_for_word() {
    let folder = tempfile::tempdir().unwrap();
    let (mut laptop, mut old) = laptop_and_phone(folder.path());
    note(&old, "known to the laptop");
    meet(&mut laptop, &mut old);
    note(&old, "nobody knew of it");
    laptop.ask(&["retire", "tobi-phone"]);
    fs::remove_file(old.data.join("device.json")).unwrap();
    let taken = salvage(&laptop, &old.data);
    let left = &taken["left"][0];
    assert_eq!(
        (&taken["new"], &left["device"], &left["events"]),
        (&json!(0), &json!("tobi-phone"), &json!(1))
    );
    assert!(left["why"].as_str().unwrap().contains("taken off the crew"), "{taken}");
    assert_eq!(left["said"][0]["person"], "Tobi Larch");
    assert!(left["said"][0]["what"].as_str().unwrap().contains("nobody knew of it"), "{taken}");
    assert_eq!(counting(&laptop, "nobody knew of it"), 0);
}

#[test]
fn what_the_office_wrote_stays_sealed_on_its_way() {
    let folder = tempfile::tempdir().unwrap();
    let (mut laptop, mut tobi) = laptop_and_phone(folder.path());
    laptop.start(&[]);
    let mut phone = Device::new(folder.path(), "maren-phone");
    let at = laptop.address.to_string();
    let invite = laptop.ask(&["invite", "--person", "Maren Oake", "--office", "--at", &at]);
    phone.ask(&["join", invite["code"].as_str().unwrap(), "--device", "maren-phone"]);
    laptop.stop();
    laptop.ask(&["price", "finish plaster", "11.37"]);
    fs::remove_file(laptop.data.join("device.json")).unwrap();
    let taken = salvage(&tobi, &laptop.data);
    assert_eq!(
        (&taken["new"], &taken["left"]),
        (&json!(3), &json!([])),
        "who was let in, with which key, and the price"
    );
    let exported = |device: &Device, name: &str| {
        let out = folder.path().join(name);
        device.ask(&["export", out.to_str().unwrap()]);
        fs::read_to_string(out.join("events.jsonl")).unwrap()
    };
    assert!(!exported(&tobi, "by-tobi").contains("11.37"));
    meet(&mut phone, &mut tobi);
    assert!(exported(&phone, "by-maren").contains("11.37"));
}

#[test]
fn killed_in_the_middle_it_is_done_again_and_all_is_there_once() {
    let folder = tempfile::tempdir().unwrap();
    let mut laptop = Device::new(folder.path(), "laptop");
    laptop.found();
    let phone = joined(&mut laptop, folder.path(), "tobi-phone");
    laptop.import(&scenario());
    let held = laptop.frontier();
    fs::remove_file(laptop.data.join("device.json")).unwrap();
    let dir = laptop.data.to_str().unwrap();
    for ms in (0..400).step_by(10) {
        let mut command = phone.fivebar(["salvage", dir]);
        let mut command = command.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
        sleep(Duration::from_millis(ms));
        let _ = command.kill();
        if command.wait().unwrap().success() {
            break;
        }
    }
    let taken = salvage(&phone, &laptop.data);
    assert_eq!((&taken["left"], &taken["damage"]), (&json!([]), &json!([])), "{taken}");
    assert_eq!(phone.frontier(), held);
    assert_eq!(salvage(&phone, &laptop.data)["new"], 0);
    let verified = phone.ask(&["verify"]);
    assert_eq!((&verified["damage"], &verified["events"]), (&json!([]), &verified["events_verified"]));
}
