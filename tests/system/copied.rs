//! Folders that were copied, put back from a backup, or damaged at the end: the device works on, and when it meets
//! the crew again nothing that was logged is lost and no chain has two lines.

mod device;

use std::fs;
use std::path::{Path, PathBuf};

use device::folders::copy;
use device::{Device, lists_only, wait_for};

/// A laptop with the lists and a phone that joined it, neither running.
fn laptop_and_phone(folder: &Path) -> (Device, Device) {
    let mut laptop = Device::new(folder, "laptop");
    laptop.found();
    laptop.import(&lists_only(folder));
    laptop.start(&[]);
    let phone = Device::new(folder, "tobi-phone");
    phone.ask(&["join", &laptop.invite("Tobi Larch"), "--device", "tobi-phone"]);
    laptop.stop();
    (laptop, phone)
}

/// Logs a note and gives what was said beside it.
#[track_caller]
fn note(device: &Device, words: &str) -> String {
    let output = device.output(&["log", "note", "--job", "GARAGE", "--note", words]);
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(output.status.success(), "{said}");
    said
}

/// The two meet until both hold each of these notes, and the same.
#[track_caller]
fn meet(laptop: &mut Device, other: &mut Device, notes: &[&str]) {
    laptop.start(&[]);
    other.start(&[laptop.address]);
    wait_for("the two to hold the same", || laptop.frontier() == other.frontier());
    for device in [&*laptop, &*other] {
        for note in notes {
            assert_eq!(device.times_noted(note), 1, "{note}");
        }
    }
    other.stop();
    laptop.stop();
}

/// Puts a folder back to what it was, mark and all, as a snapshot of the whole disk does.
fn set_back(data: &Path, former: &Path, lost: &Path) {
    fs::rename(data, lost).unwrap();
    fs::rename(former, data).unwrap();
    fs::rename(lost.join("mark.json"), data.join("mark.json")).unwrap();
}

/// The newest segment of the journal.
fn last_segment(data: &Path) -> PathBuf {
    let folder = fs::read_dir(data.join("journal/journal")).unwrap();
    folder.map(|entry| entry.unwrap().path()).max().unwrap()
}

#[test]
fn a_copy_and_its_original_both_log_and_nothing_is_lost() {
    let folder = tempfile::tempdir().unwrap();
    let (mut laptop, mut phone) = laptop_and_phone(folder.path());
    assert_eq!(note(&phone, "before the copy"), "");
    let mut copied = Device::new(folder.path(), "tobi-copy");
    copy(&phone.data, &copied.data);

    assert_eq!(note(&phone, "on the original"), "");
    let said = note(&copied, "on the copy");
    assert!(said.contains("is a copy") && said.contains("fivebar invite"), "{said}");
    assert_eq!(note(&copied, "on the copy again"), "", "it is said once");

    meet(&mut laptop, &mut phone, &["before the copy", "on the original"]);
    meet(
        &mut laptop,
        &mut copied,
        &["before the copy", "on the original", "on the copy", "on the copy again"],
    );
    meet(&mut laptop, &mut phone, &["on the copy again"]);
}

#[test]
fn a_backup_that_looks_like_the_same_folder_is_noticed_when_a_peer_is_met() {
    let folder = tempfile::tempdir().unwrap();
    let (mut laptop, mut phone) = laptop_and_phone(folder.path());
    note(&phone, "before the backup");
    let (backup, lost) = (folder.path().join("backup"), folder.path().join("lost"));
    copy(&phone.data, &backup);
    note(&phone, "after the backup");
    meet(&mut laptop, &mut phone, &["before the backup", "after the backup"]);

    // The mark is the very file that it was, as after a snapshot of the whole disk.
    set_back(&phone.data, &backup, &lost);
    assert_eq!(phone.times_noted("after the backup"), 0);
    meet(&mut laptop, &mut phone, &["before the backup", "after the backup"]);
    assert!(fs::read_to_string(phone.log()).unwrap().contains("as after a restored backup"));

    note(&phone, "after coming back");
    meet(&mut laptop, &mut phone, &["before the backup", "after the backup", "after coming back"]);
}

#[test]
fn a_phone_set_back_that_writes_on_forks_and_nothing_it_wrote_is_lost() {
    let folder = tempfile::tempdir().unwrap();
    let (mut laptop, mut phone) = laptop_and_phone(folder.path());
    note(&phone, "before the snapshot");
    let (snapshot, lost) = (folder.path().join("snapshot"), folder.path().join("lost"));
    copy(&phone.data, &snapshot);
    note(&phone, "lost with the disk, one");
    note(&phone, "lost with the disk, two");
    meet(&mut laptop, &mut phone, &["lost with the disk, one", "lost with the disk, two"]);

    // The whole disk is set back, and the phone writes on in the cellar: as much as it had written before, and more.
    set_back(&phone.data, &snapshot, &lost);
    for words in ["written anew, one", "written anew, two", "written anew, three"] {
        assert_eq!(note(&phone, words), "", "nothing tells it so far");
    }
    meet(&mut laptop, &mut phone, &["before the snapshot"]);
    assert!(fs::read_to_string(phone.log()).unwrap().contains("wrote twice from the same place"));
    // Both lines are set aside, on both devices, and nothing of them counts.
    let written =
        ["lost with the disk, one", "lost with the disk, two", "written anew, one", "written anew, three"];
    for device in [&laptop, &phone] {
        let aside = device.ask(&["set-aside"]);
        assert_eq!(aside["set_aside"].as_array().unwrap().len(), 5, "{aside}");
        for words in written {
            assert!(aside.to_string().contains(words), "{words}: {aside}");
            assert_eq!(standing(device, words), 0, "{words}");
        }
        assert!(device.ask(&["sort-out"]).to_string().contains("5 entries of Tobi Larch are set aside"));
    }
    // One entry is named by its key, and no other is entered again.
    let aside = phone.ask(&["set-aside"]);
    let key_of = |words: &str| {
        let mut rows = aside["set_aside"].as_array().unwrap().iter();
        let row = rows.find(|row| row["what"].as_str().unwrap().contains(words)).unwrap();
        row["key"].as_str().unwrap().to_owned()
    };
    let key = key_of("written anew, two");
    assert!(phone.refused(&["set-aside", "--again", &key, "--again", "0000beef"]).contains("0000beef"));
    assert_eq!(standing(&phone, "written anew, two"), 0, "nothing is entered where a key is unknown");
    let answer = phone.ask(&["set-aside", "--again", &key]);
    assert_eq!((&answer["entered"], answer["set_aside"].as_array().unwrap().len()), (&1.into(), 4));
    assert_eq!(standing(&phone, "written anew, two"), 1);
    assert_eq!(written.map(|words| standing(&phone, words)), [0; 4]);
    assert!(phone.refused(&["set-aside", "--again", &key]).contains(&key), "it waits no more");
    // The phone enters the rest again, and the laptop all, before they meet: it is there once, and no longer asked about.
    for (device, waiting) in [(&laptop, 5), (&phone, 4)] {
        assert_eq!(device.ask(&["set-aside", "--all-again"])["entered"], waiting);
    }
    note(&phone, "after it all");
    meet(&mut laptop, &mut phone, &["after it all"]);
    fs::remove_dir_all(laptop.data.join("journal/checkpoints")).ok();
    for device in [&laptop, &phone] {
        for words in written {
            assert_eq!(standing(device, words), 1, "{words}");
        }
        assert_eq!(device.ask(&["set-aside"])["set_aside"].as_array().unwrap().len(), 0);
        assert!(!device.ask(&["sort-out"]).to_string().contains("set aside"));
    }
    meet(&mut laptop, &mut phone, &["before the snapshot", "after it all"]);
    assert_eq!(laptop.ask(&["verify"])["damage"].as_array().unwrap().len(), 0);
}

/// How many entries with these words count.
#[track_caller]
fn standing(device: &Device, words: &str) -> usize {
    let log = device.ask(&["entries"]);
    let rows = log["entries"].as_array().unwrap();
    rows.iter()
        .filter(|row| row["text"].as_str().unwrap().contains(words) && row["state"] != "does not count")
        .count()
}

#[test]
fn a_damaged_end_is_left_behind_and_comes_back_from_a_peer() {
    let folder = tempfile::tempdir().unwrap();
    let (mut laptop, mut phone) = laptop_and_phone(folder.path());
    note(&phone, "long before");
    note(&phone, "on the damaged page");
    meet(&mut laptop, &mut phone, &["long before", "on the damaged page"]);

    let segment = last_segment(&phone.data);
    let mut bytes = fs::read(&segment).unwrap();
    let words = b"on the damaged page";
    let place = bytes.windows(words.len()).rposition(|window| window == words).unwrap();
    bytes[place] ^= 1;
    fs::write(&segment, bytes).unwrap();
    let _ = fs::remove_dir_all(phone.data.join("journal/checkpoints"));

    let said = note(&phone, "in the cellar");
    assert!(said.contains("was damaged"), "{said}");
    assert_eq!(phone.times_noted("on the damaged page"), 0);
    meet(&mut laptop, &mut phone, &["long before", "on the damaged page", "in the cellar"]);
}

/// Turns one bit of what stands in a journal.
fn damage(data: &Path, words: &str) {
    let segment = last_segment(data);
    let mut bytes = fs::read(&segment).unwrap();
    let place = bytes.windows(words.len()).position(|window| window == words.as_bytes()).unwrap();
    bytes[place] ^= 1;
    fs::write(&segment, bytes).unwrap();
}

#[test]
fn damage_in_the_middle_is_put_right_and_what_stood_there_comes_back_from_a_peer() {
    let folder = tempfile::tempdir().unwrap();
    let (mut laptop, mut phone) = laptop_and_phone(folder.path());
    let notes = ["long before", "on the damaged page", "after it"];
    notes.iter().for_each(|words| drop(note(&phone, words)));
    meet(&mut laptop, &mut phone, &notes);
    damage(&phone.data, "on the damaged page");
    let _ = fs::remove_dir_all(phone.data.join("journal/checkpoints"));

    assert!(note(&phone, "in the cellar").contains("part of the journal was damaged"));
    assert_eq!(fs::read_dir(phone.data.join("journal/cut")).unwrap().count(), 1);
    assert_eq!(note(&phone, "in the cellar again"), "", "it is said once, and its chains are left once");
    assert_eq!(phone.ask(&["verify"])["damage"].as_array().unwrap().len(), 0);
    let all = [&notes[..], &["in the cellar", "in the cellar again"]].concat();
    meet(&mut laptop, &mut phone, &all);

    // Found while the device runs, too: what is lost is fetched from the other at once.
    laptop.start(&[]);
    phone.start(&[laptop.address]);
    wait_for("the two to hold the same", || laptop.frontier() == phone.frontier());
    let before = phone.frontier();
    damage(&phone.data, "long before");
    let found = phone.ask(&["verify"]);
    assert_eq!(found["damage"].as_array().unwrap().len(), 1, "{found}");
    assert!(found["put_right"] == true && found["missing"].as_u64().unwrap() > 0, "{found}");
    wait_for("what was lost to come back", || phone.frontier() == before);
    all.iter().for_each(|words| assert_eq!(phone.times_noted(words), 1, "{words}"));
    let found = phone.ask(&["verify"]);
    assert_eq!((found["damage"].as_array().unwrap().len(), &found["missing"]), (0, &serde_json::json!(0)));
}

#[test]
fn a_device_that_lost_the_roster_itself_gets_it_back_from_those_it_has_met() {
    let folder = tempfile::tempdir().unwrap();
    let (mut laptop, mut phone) = laptop_and_phone(folder.path());
    note(&phone, "before the damage");
    meet(&mut laptop, &mut phone, &["before the damage"]);
    // The founding event, without which nothing counts: first on the laptop that founded the crew, then on the phone.
    let before = laptop.frontier();
    damage(&laptop.data, "Oake Rooms");
    let _ = fs::remove_dir_all(laptop.data.join("journal/checkpoints"));
    assert_ne!(laptop.frontier(), before);
    meet(&mut laptop, &mut phone, &["before the damage"]);
    damage(&phone.data, "Oake Rooms");
    let _ = fs::remove_dir_all(phone.data.join("journal/checkpoints"));
    meet(&mut laptop, &mut phone, &["before the damage"]);
    note(&phone, "and on");
    note(&laptop, "and on, at home");
    meet(&mut laptop, &mut phone, &["before the damage", "and on", "and on, at home"]);
}
