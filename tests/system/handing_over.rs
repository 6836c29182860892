//! The handover of a job by the program itself: made from the week's files, straight and through a daemon, and checked
//! in a folder that holds no ledger.

mod device;

use std::fs;
use std::path::Path;
use std::process::{Command, Output};

use device::{Device, scenario, wait_for};
use serde_json::Value;
use tempfile::TempDir;

/// Checks a file as whoever was given it does: elsewhere, with no ledger and no words about one.
fn verify(elsewhere: &TempDir, file: &Path, more: &[&str]) -> Output {
    let mut command = Command::new(env!("CARGO_BIN_EXE_fivebar"));
    command.current_dir(elsewhere.path()).env_remove("FIVEBAR_DATA").arg("verify").arg(file).args(more);
    command.output().unwrap()
}

fn says(output: &Output) -> String {
    String::from_utf8(output.stdout.clone()).unwrap()
}

/// A laptop with the week, and a photo of what was closed up.
fn week(folder: &TempDir) -> Device {
    let laptop = Device::new(folder.path(), "laptop");
    laptop.found();
    laptop.import(&scenario());
    let photo = folder.path().join("wall.jpg");
    fs::write(&photo, b"\xff\xd8\xff\xe0 the north wall before the boards").unwrap();
    let photo = photo.to_str().unwrap();
    let log =
        ["log", "photo", "--job", "GARAGE", "--stage", "first fix water", "--at", "north wall", "--behind"];
    laptop.ask(&[log.as_slice(), &["--photo", photo, "--on", "2026-11-03"]].concat());
    laptop
}

#[test]
fn a_job_is_handed_over_and_checked_where_there_is_no_ledger() {
    let (folder, elsewhere) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let mut laptop = week(&folder);
    let to = folder.path().join("out");
    let to = to.to_str().unwrap();
    let made = laptop.ask(&["handover", "GARAGE", "--to", to]);
    assert_eq!(made["photos"], 1);
    let open: Vec<_> = made["open"].as_array().unwrap().iter().map(|open| open.as_str().unwrap()).collect();
    for words in ["tanking: not signed off", "first fix electrics: no photo is logged"] {
        assert!(open.contains(&words), "{open:?}");
    }
    let file = Path::new(made["file"].as_str().unwrap()).to_owned();
    let checked = verify(&elsewhere, &file, &[]);
    let page = says(&checked);
    assert!(checked.status.success(), "{page}");
    for words in ["GARAGE", "J. Marrable", "Oake Rooms", "maren-laptop", "does not tell who the crew is"] {
        assert!(page.contains(words), "{words}: {page}");
    }
    assert!(page.contains(made["crew_code"].as_str().unwrap()), "{page}");
    let report: Value = serde_json::from_slice(&verify(&elsewhere, &file, &["--json"]).stdout).unwrap();
    assert_eq!((&report["is_as_signed"], &report["signed"]["job"]), (&Value::Bool(true), &"GARAGE".into()));
    assert_eq!(fs::read_dir(elsewhere.path()).unwrap().count(), 0, "a check leaves nothing behind");

    // A daemon that has the ledger open makes the same.
    let straight = fs::read(&file).unwrap();
    laptop.start(&[]);
    laptop.ask(&["handover", "GARAGE", "--to", to]);
    laptop.stop();
    assert!(fs::read(&file).unwrap() == straight);

    // One flipped bit in a file of it, and the file is named.
    let words = b"4.5 bar";
    let at = straight.windows(words.len()).position(|window| window == words).unwrap();
    let mut flipped = straight.clone();
    flipped[at] ^= 1;
    let changed = folder.path().join("changed.zip");
    fs::write(&changed, &flipped).unwrap();
    let checked = verify(&elsewhere, &changed, &[]);
    let page = says(&checked);
    assert_eq!(checked.status.code(), Some(1), "{page}");
    assert!(
        page.contains("NOT AS IT WAS SIGNED") && page.contains("handover.json: it was changed"),
        "{page}"
    );
}

#[test]
fn a_folder_is_checked_file_by_file_and_holds_nothing_of_the_other_job_or_the_office() {
    let (folder, elsewhere) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let laptop = week(&folder);
    let to = folder.path().join("out");
    let to = to.to_str().unwrap();
    let made = laptop.ask(&["handover", "GARAGE", "--to", to, "--folder"]);
    let handed = Path::new(made["file"].as_str().unwrap()).to_owned();
    assert!(verify(&elsewhere, &handed, &[]).status.success());
    // A second one is not laid over it.
    assert!(laptop.refused(&["handover", "GARAGE", "--to", to, "--folder"]).contains("handover-GARAGE"));
    assert!(laptop.refused(&["handover", "SHED", "--to", to]).contains("SHED"));

    let mut files = 0;
    for entry in fs::read_dir(&handed).unwrap() {
        let path = entry.unwrap().path();
        if path.is_dir() || path.extension().is_some_and(|ending| ending == "pdf") {
            continue;
        }
        files += 1;
        let bytes = fs::read(&path).unwrap();
        // The other job, its customer, and what only the crew or the office knows.
        for words in ["MILL", "Tollgate", "patching", "charge_rate", "13.05", "entered twice by mistake"] {
            let holds = bytes.windows(words.len()).any(|window| window == words.as_bytes());
            assert!(!holds, "{}: {words}", path.display());
        }
    }
    assert!(files > 5, "{files}");

    let photos: Vec<_> =
        fs::read_dir(handed.join("photos")).unwrap().map(|entry| entry.unwrap().path()).collect();
    fs::remove_file(&photos[0]).unwrap();
    fs::write(handed.join("more.txt"), "put in").unwrap();
    let page = says(&verify(&elsewhere, &handed, &[]));
    let name = photos[0].file_name().unwrap().to_str().unwrap();
    assert!(
        page.contains(&format!("photos/{name}: it is missing")) && page.contains("more.txt: it was added"),
        "{page}"
    );
}

#[test]
fn a_photo_that_is_not_on_the_device_is_named_as_missing() {
    let (folder, elsewhere) = (tempfile::tempdir().unwrap(), tempfile::tempdir().unwrap());
    let laptop = week(&folder);
    let photos = folder.path().join("laptop").join("photos");
    for photo in fs::read_dir(photos).unwrap() {
        fs::remove_file(photo.unwrap().path()).unwrap();
    }
    let to = folder.path().join("out");
    let made = laptop.ask(&["handover", "GARAGE", "--to", to.to_str().unwrap()]);
    let open = made["open"].to_string();
    assert!(open.contains("its file is missing"), "{open}");
    assert_eq!(made["photos"], 0);
    assert!(verify(&elsewhere, Path::new(made["file"].as_str().unwrap()), &[]).status.success());
}

#[test]
fn what_is_no_handover_is_said_to_be_none() {
    let elsewhere = tempfile::tempdir().unwrap();
    let file = elsewhere.path().join("notes.zip");
    fs::write(&file, "some notes").unwrap();
    let checked = verify(&elsewhere, &file, &[]);
    assert_eq!(checked.status.code(), Some(1));
    assert!(says(&checked).contains("this is no whole zip"), "{}", says(&checked));
    let checked = verify(&elsewhere, Path::new("nowhere.zip"), &[]);
    assert_eq!(checked.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&checked.stderr).contains("nowhere.zip"));
}

/// Whoever hands a job over reads its photos, and a slow stick keeps nobody from logging: here a pipe stands in for the
/// photo, from which nothing comes before somebody has logged.
#[cfg(target_os = "linux")]
#[test]
fn others_log_while_photos_are_read_for_a_handover() {
    use std::io::Write as _;
    use std::os::unix::fs::OpenOptionsExt as _;

    let folder = tempfile::tempdir().unwrap();
    let mut laptop = week(&folder);
    let kept = fs::read_dir(laptop.data.join("photos")).unwrap().map(|entry| entry.unwrap().path());
    let [photo] = kept.collect::<Vec<_>>().try_into().unwrap();
    laptop.start(&[]);
    let aside = folder.path().join("aside.jpg");
    fs::rename(&photo, &aside).unwrap();
    assert!(Command::new("mkfifo").arg(&photo).status().unwrap().success());
    let out = folder.path().join("out");
    let made = std::thread::scope(|scope| {
        let handover = scope.spawn(|| laptop.ask(&["handover", "GARAGE", "--to", out.to_str().unwrap()]));
        // A pipe that is not waited for opens for writing once somebody reads (fifo(7), Linux).
        let o_nonblock = 0o4000;
        let mut pipe = None;
        wait_for("the handover to read the photo", || {
            pipe = fs::OpenOptions::new().write(true).custom_flags(o_nonblock).open(&photo).ok();
            pipe.is_some()
        });
        let (said, heard) = std::sync::mpsc::channel();
        let laptop = &laptop;
        scope.spawn(move || {
            laptop.ask(&["log", "note", "--job", "MILL", "--note", "while the photo was read"]);
            let _ = said.send(());
        });
        let logged = heard.recv_timeout(std::time::Duration::from_secs(60));
        // Whatever came of it, the handover goes on: this time from the pipe, then from the photo.
        fs::rename(&aside, &photo).unwrap();
        pipe.unwrap().write_all(&fs::read(&photo).unwrap()).unwrap();
        assert!(logged.is_ok(), "nobody could log while a photo was read");
        handover.join().unwrap()
    });
    assert_eq!(made["photos"], 1);
    assert_eq!(laptop.times_noted("while the photo was read"), 1);
}
