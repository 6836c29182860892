//! What the recovery words are for: every device of the boss is lost, or her laptop is stolen. Real processes,
//! on the loopback interface.

mod device;

use std::fs;
use std::process::Output;

use device::{Device, lists_only, wait_for};
use serde_json::Value;
use tempfile::TempDir;

/// A laptop with the lists and a note, a hand's phone that has them too, and the words on the paper.
fn crew(folder: &TempDir) -> (Device, Device, String) {
    let mut laptop = Device::new(folder.path(), "laptop");
    let words = laptop.found();
    laptop.import(&lists_only(folder.path()));
    laptop.ask(&["log", "note", "--job", "GARAGE", "--note", "keys under the pot"]);
    laptop.start(&[]);
    let phone = Device::new(folder.path(), "tobi-phone");
    phone.ask(&["join", &laptop.invite("Tobi Larch"), "--device", "tobi-phone"]);
    laptop.stop();
    assert_eq!(laptop.frontier(), phone.frontier());
    (laptop, phone, words)
}

/// Comes back on a device by what is typed, from the one that listens there.
fn come_back(new: &Device, typed: &str, from: &Device, more: &[&str]) -> Output {
    let at = from.address.to_string();
    new.typing(typed, &[&["--json", "come-back", "--at", &at, "--device", "new-laptop"], more].concat())
}

#[track_caller]
fn answer(output: &Output) -> Value {
    let complaint = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{complaint}");
    serde_json::from_slice(&output.stdout).unwrap()
}

#[track_caller]
fn complaint(output: &Output) -> String {
    assert!(!output.status.success(), "should have been refused");
    String::from_utf8(output.stderr.clone()).unwrap()
}

/// Whether a device of the roster was taken off; none if it is not there.
fn is_off(device: &Device, name: &str) -> Option<bool> {
    let roster = device.ask(&["roster"]);
    let devices = roster["devices"].as_array().unwrap();
    devices.iter().find(|device| device["name"] == name).map(|device| device["retired"] == true)
}

#[test]
fn all_her_devices_are_lost_and_the_boss_comes_back_on_a_new_laptop() {
    let folder = tempfile::tempdir().unwrap();
    let (mut lost, mut phone, words) = crew(&folder);
    phone.ask(&["log", "hours", "--job", "GARAGE", "--stage", "skim", "--minutes", "90"]);
    phone.start(&[]);
    let figures = |device: &Device| device.ask(&["reconcile"])["materials"].clone();
    let priced = figures(&lost);
    assert_ne!(figures(&phone), priced, "the hand's phone carries the prices and can't read them");

    let mut new = Device::new(folder.path(), "new-laptop");
    let back = answer(&come_back(&new, &words, &phone, &["--all-lost"]));
    assert_eq!((&back["person"], &back["name"]), (&"Maren Oake".into(), &"Oake Rooms".into()));
    assert_eq!(back["retired"], serde_json::json!(["maren-laptop"]));
    // The hand's phone has heard of it, and both hold the same.
    assert_eq!(is_off(&phone, "maren-laptop"), Some(true));
    assert_eq!(is_off(&phone, "new-laptop"), Some(false));
    assert_eq!(new.frontier(), phone.frontier());
    assert_eq!(new.times_noted("keys under the pot"), 1);
    assert_eq!(figures(&new), priced, "the words open what the phone carried");
    // She is the boss: she changes roles, and brings phones in.
    new.ask(&["role", "Tobi Larch", "lead"]);
    new.start(&[phone.address]);
    let ines = Device::new(folder.path(), "ines-phone");
    ines.ask(&["join", &new.invite("Ines Quill"), "--device", "ines-phone"]);
    wait_for("the hand's phone to take in what she says", || is_off(&phone, "ines-phone") == Some(false));

    // Who found the old laptop may write on it; nobody takes anything of it.
    lost.ask(&["log", "note", "--job", "GARAGE", "--note", "it was me"]);
    lost.start(&[phone.address]);
    wait_for("the lost laptop to be refused", || {
        fs::read_to_string(lost.log()).unwrap().contains("a peer must not be a retired device")
    });
    assert_eq!(phone.times_noted("it was me"), 0);
    // Whoever comes back twice is told so, and nothing changes.
    let again = answer(&come_back(&Device::new(folder.path(), "another"), &words, &phone, &[]));
    assert_eq!(again["retired"], serde_json::json!([]));
    for device in [&mut new, &mut phone, &mut lost] {
        device.stop();
    }
}

#[test]
fn words_that_are_mistyped_or_anothers_bring_nobody_back() {
    let folder = tempfile::tempdir().unwrap();
    let (_, mut phone, words) = crew(&folder);
    let elsewhere = Device::new(folder.path(), "elsewhere");
    let others = elsewhere.found();
    phone.start(&[]);
    let new = Device::new(folder.path(), "new-laptop");

    let mut typed: Vec<&str> = words.split(' ').collect();
    typed[4] = "plasterboard";
    let said = complaint(&come_back(&new, &typed.join(" "), &phone, &[]));
    assert!(said.contains("word 5, \"plasterboard\", is not a recovery word"), "{said}");
    let said = complaint(&come_back(&new, "garage door", &phone, &[]));
    assert!(said.contains("are 12, and these are 2"), "{said}");
    let said = complaint(&come_back(&new, &others, &phone, &[]));
    assert!(said.contains("not this crew's recovery words"), "{said}");
    assert!(!new.data.exists(), "nothing was begun");
    // Where the ledger is held, the words can be tried at leisure, and a single wrong one is found.
    assert!(phone.typing(&words, &["words", "--check"]).status.success());
    let wrong = if typed[0] == "zoo" { "zone" } else { "zoo" };
    let mut misread: Vec<&str> = words.split(' ').collect();
    misread[0] = wrong;
    let said = complaint(&phone.typing(&misread.join(" "), &["words", "--check"]));
    assert!(said.contains("word 1 is another one on the paper"), "{said}");
    phone.stop();
}

#[test]
fn a_stolen_laptop_is_taken_off_by_the_words_from_a_phone_below_it() {
    let folder = tempfile::tempdir().unwrap();
    let (mut laptop, _, words) = crew(&folder);
    laptop.start(&[]);
    let mut phone = Device::new(folder.path(), "maren-phone");
    phone.ask(&["join", &laptop.invite("Maren Oake"), "--device", "maren-phone"]);
    laptop.stop();
    // The laptop brought the phone in, so the phone can't take it off; the paper can.
    let said = phone.refused(&["retire", "maren-laptop", "--reason", "stolen"]);
    assert!(said.contains("--words"), "{said}");
    let retire = ["--json", "retire", "maren-laptop", "--reason", "stolen", "--words"];
    answer(&phone.typing(&words, &retire));
    assert_eq!(is_off(&phone, "maren-laptop"), Some(true));
    phone.ask(&["log", "note", "--job", "GARAGE", "--note", "after the theft"]);
    // The thief, who knows nothing of it yet, takes the phone off; where both are known the paper holds.
    laptop.ask(&["retire", "maren-phone"]);
    laptop.start(&[]);
    phone.start(&[laptop.address]);
    wait_for("the two to meet", || {
        fs::read_to_string(phone.log()).unwrap().contains("a peer must not be a retired device")
            || fs::read_to_string(laptop.log()).unwrap().contains("a peer must not be a retired device")
    });
    assert_eq!(is_off(&phone, "maren-phone"), Some(false));
    laptop.stop();
    phone.stop();
}
