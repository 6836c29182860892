//! Photos between real devices: they come after the entries, as much of them as a device keeps, to whoever may have
//! them, and go on where they were cut off.

mod device;

use std::fs;
use std::path::{Path, PathBuf};

use device::{Device, lists_only, wait_for};
use serde_json::Value;
use tempfile::TempDir;

/// Bytes of a group, the unit in which photos are proved: proto/FORMAT-wire.md.
const GROUP: usize = 32 * 1024;

/// Maren's laptop, running, and a phone that has joined and is not.
fn crew(folder: &TempDir, person: &str) -> (Device, Device) {
    let mut laptop = Device::new(folder.path(), "laptop");
    laptop.found();
    laptop.import(&lists_only(folder.path()));
    laptop.start(&[]);
    let phone = Device::new(folder.path(), "phone");
    phone.ask(&["join", &laptop.invite(person), "--device", "phone"]);
    (laptop, phone)
}

/// A file that begins as a JPEG does, of so many bytes that no other has.
fn file(folder: &Path, number: u8, length: usize) -> PathBuf {
    let path = folder.join(format!("wall-{number}.jpg"));
    let mut bytes = vec![0xff, 0xd8, 0xff, number];
    let mut state = u64::from(number) + 1;
    while bytes.len() < length {
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        bytes.extend_from_slice(&state.to_le_bytes());
    }
    bytes.truncate(length);
    fs::write(&path, bytes).unwrap();
    path
}

/// A picture that can be shown.
fn picture() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../web/static/icon-512.png")
}

fn log_photo(device: &Device, file: &Path) {
    device.ask(&[
        "log",
        "photo",
        "--job",
        "GARAGE",
        "--stage",
        "boarding",
        "--photo",
        file.to_str().unwrap(),
    ]);
}

fn count(device: &Device, name: &str) -> u64 {
    device.ask(&["photos"])[name].as_u64().unwrap()
}

/// The photos of a device: each file that is named by a hash, with its bytes.
fn kept(device: &Device) -> Vec<(String, Vec<u8>)> {
    let Ok(files) = fs::read_dir(device.data.join("photos")) else { return Vec::new() };
    let mut kept: Vec<_> = files
        .map(|file| file.unwrap().path())
        .filter(|path| path.file_name().unwrap().len() == 64)
        .map(|path| (path.file_name().unwrap().to_str().unwrap().to_owned(), fs::read(path).unwrap()))
        .collect();
    kept.sort();
    kept
}

fn part(device: &Device) -> Option<PathBuf> {
    let mut files = fs::read_dir(device.data.join("photos")).ok()?;
    files.find_map(|file| {
        file.ok().map(|file| file.path()).filter(|path| path.extension().is_some_and(|end| end == "part"))
    })
}

/// How many groups of a photo were there when it was last asked for, as the log says.
fn went_on_behind(device: &Device, photo: &str) -> Option<usize> {
    let log = fs::read_to_string(device.log()).unwrap();
    let line = log.lines().rfind(|line| line.contains("a photo is fetched") && line.contains(photo))?;
    let words = line.split("groups=").nth(1)?;
    words.split_whitespace().next()?.parse().ok()
}

#[test]
fn a_photo_logged_on_one_device_comes_to_the_other_and_only_once() {
    let folder = tempfile::tempdir().unwrap();
    let (mut laptop, mut phone) = crew(&folder, "Tobi Larch");
    log_photo(&laptop, &file(folder.path(), 1, 700_001));
    phone.start(&[laptop.address]);
    wait_for("the photo", || count(&phone, "whole") == 1);
    assert_eq!(kept(&phone), kept(&laptop));
    // The other way, while both are connected.
    log_photo(&phone, &file(folder.path(), 2, 5));
    wait_for("the photo of the phone", || count(&laptop, "whole") == 2);
    assert_eq!(kept(&phone), kept(&laptop));
    // Each knows who else has them.
    let shown = laptop.ask(&["photos"]);
    assert_eq!(
        (&shown["devices"][0]["device"], &shown["devices"][0]["keeps"]),
        (&"phone".into(), &"all".into())
    );
    wait_for("the laptop to know", || laptop.ask(&["photos"])["devices"][0]["has"] == 2);
    laptop.stop();
    phone.stop();
}

#[test]
fn a_photo_that_was_cut_goes_on_behind_what_was_proved() {
    let folder = tempfile::tempdir().unwrap();
    let (laptop, mut phone) = crew(&folder, "Tobi Larch");
    let bytes = 300 * GROUP + 77;
    let wall = file(folder.path(), 1, bytes);
    log_photo(&laptop, &wall);
    let [(photo, _)] = &kept(&laptop)[..] else { panic!("one photo") };

    // What a power cut leaves: 200 groups that were written, and then what was never on the disk.
    let mut begun = fs::read(&wall).unwrap();
    begun.truncate(220 * GROUP + 9);
    begun[200 * GROUP..].fill(0);
    fs::create_dir(phone.data.join("photos")).unwrap();
    fs::write(phone.data.join("photos").join(format!("{photo}.part")), &begun).unwrap();
    phone.start(&[laptop.address]);
    wait_for("the photo", || count(&phone, "whole") == 1);
    assert_eq!(went_on_behind(&phone, photo), Some(220), "what lay there was read");
    assert_eq!(kept(&phone), kept(&laptop));
    assert_eq!(part(&phone), None);
}

#[test]
fn a_killed_device_goes_on_where_it_was() {
    let folder = tempfile::tempdir().unwrap();
    let (laptop, mut phone) = crew(&folder, "Tobi Larch");
    for number in 1..=6 {
        log_photo(&laptop, &file(folder.path(), number, 20 * 1024 * 1024 - usize::from(number)));
    }
    for _ in 0..3 {
        phone.start(&[laptop.address]);
        wait_for("a beginning of a photo, or all photos", || {
            let length = part(&phone).and_then(|part| fs::metadata(part).ok()).map_or(0, |part| part.len());
            length > 2 * 1024 * 1024 || kept(&phone).len() == 6
        });
        phone.kill();
        let left = part(&phone).map(|part| {
            (part.file_stem().unwrap().to_str().unwrap().to_owned(), fs::metadata(part).unwrap().len())
        });
        phone.start(&[laptop.address]);
        if let Some((photo, length)) = left {
            // It may have been killed before the first group was whole.
            wait_for("the photo to be asked for", || went_on_behind(&phone, &photo).is_some());
            let groups = usize::try_from(length).unwrap() / GROUP;
            assert_eq!(went_on_behind(&phone, &photo), Some(groups));
        }
        phone.kill();
    }
    phone.start(&[laptop.address]);
    wait_for("all photos", || count(&phone, "whole") == 6);
    assert_eq!(kept(&phone), kept(&laptop));
    assert_eq!(part(&phone), None);
}

#[test]
fn a_device_keeps_as_much_as_it_is_told_to() {
    let folder = tempfile::tempdir().unwrap();
    let (laptop, mut phone) = crew(&folder, "Tobi Larch");
    assert_eq!(phone.ask(&["photos", "--keep", "none"])["keeps"], "none");
    log_photo(&laptop, &picture());
    phone.start(&[laptop.address]);
    wait_for("the entry", || count(&phone, "named") == 1);
    // The entry is here. Nothing of the photo came, and what is known of it is shown.
    let shown = phone.ask(&["photos"]);
    assert_eq!(
        (&shown["missing"], &shown["not_whole"][0]["on"]),
        (&1.into(), &Value::from(vec!["maren-laptop"]))
    );
    assert_eq!(kept(&phone), []);

    phone.ask(&["photos", "--keep", "small"]);
    wait_for("the small picture", || count(&phone, "small") == 1);
    assert_eq!(kept(&phone), []);
    let printed = String::from_utf8(phone.output(&["photos"]).stdout).unwrap();
    assert!(printed.contains("a small picture, made by another device"), "{printed}");
    // It lasts over a new start.
    phone.stop();
    phone.start(&[laptop.address]);
    assert_eq!(phone.ask(&["photos"])["keeps"], "small");

    phone.ask(&["photos", "--keep", "all"]);
    wait_for("the photo", || count(&phone, "whole") == 1);
    assert_eq!(kept(&phone), kept(&laptop));
}

#[test]
fn devices_on_battery_hang_up_when_the_photos_are_there_too() {
    let folder = tempfile::tempdir().unwrap();
    let (mut laptop, mut phone) = crew(&folder, "Tobi Larch");
    laptop.stop();
    laptop.start_with(&[], &["--battery"]);
    for number in 1..=3 {
        log_photo(&laptop, &file(folder.path(), number, 2_000_000));
    }
    phone.start_with(&[laptop.address], &["--battery"]);
    wait_for("the photos", || count(&phone, "whole") == 3);
    assert_eq!(kept(&phone), kept(&laptop));
    wait_for("the phone to hang up", || {
        fs::read_to_string(phone.log()).unwrap().contains("hung up: both hold the same")
    });
}

#[test]
fn a_hands_phone_gets_no_ticket_of_another() {
    let folder = tempfile::tempdir().unwrap();
    let (laptop, mut phone) = crew(&folder, "Ines Quill");
    let ticket = file(folder.path(), 1, 4_000);
    let ticket = ticket.to_str().unwrap();
    laptop.ask(&["log", "expense", "--job", "GARAGE", "--what", "parking", "--photo", ticket]);
    log_photo(&laptop, &file(folder.path(), 2, 5_000));
    phone.start(&[laptop.address]);
    wait_for("the photo that is for everybody", || count(&phone, "whole") == 1);
    assert_eq!(count(&phone, "named"), 1);
    assert_eq!(kept(&phone).len(), 1);
    assert_eq!(kept(&phone)[0].1.len(), 5_000);
    // Her own ticket is hers, and the boss gets it.
    let own = file(folder.path(), 3, 6_000);
    phone.ask(&["log", "expense", "--job", "GARAGE", "--what", "parking", "--photo", own.to_str().unwrap()]);
    wait_for("her ticket", || count(&laptop, "whole") == 3);
    assert_eq!(count(&phone, "named"), 2);
}
