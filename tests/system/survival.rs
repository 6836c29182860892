//! What must not be lost, and what must not be let in: processes killed at any moment, two processes on
//! one folder, files with mistakes, and people who may not do a thing.
//!
//! Killing a process shows that nothing acknowledged waits in its memory. It can't show what a power cut
//! does to the disk's own cache; the store's tests do that with a disk that forgets.

mod device;

use std::collections::hash_map::RandomState;
use std::fs;
use std::hash::{BuildHasher as _, Hasher as _};
use std::process::{Command, Stdio};
use std::thread::{scope, sleep};
use std::time::{Duration, Instant};

use device::{Device, PATIENCE, lists_only, scenario};
use tempfile::TempDir;

/// A laptop with the lists.
fn laptop(folder: &TempDir) -> Device {
    let laptop = Device::new(folder.path(), "laptop");
    laptop.found();
    laptop.import(&lists_only(folder.path()));
    laptop
}

/// Up to so many milliseconds, another each time. Whatever it is, the test must pass.
fn a_moment(most: u64) -> Duration {
    Duration::from_millis(RandomState::new().build_hasher().finish() % most)
}

/// Checks that each acknowledged entry is there once, no entry is there twice, and nothing is damaged.
fn check(laptop: &Device, acknowledged: &[String], tried: &[String]) {
    assert!(!acknowledged.is_empty(), "nothing was acknowledged, so nothing was tested");
    let verified = laptop.ask(&["verify"]);
    assert_eq!(verified["damage"].as_array().unwrap().len(), 0, "{verified}");
    for note in tried {
        let times = laptop.times_noted(note);
        assert!(times <= 1, "{note} is there {times} times");
        assert!(times == 1 || !acknowledged.contains(note), "{note} was acknowledged and is lost");
    }
}

#[test]
fn what_a_killed_daemon_acknowledged_is_there() {
    let folder = tempfile::tempdir().unwrap();
    let mut laptop = laptop(&folder);
    let (mut acknowledged, mut tried) = (Vec::new(), Vec::new());
    for round in 0..4 {
        laptop.start(&[]);
        let first = format!("kept {round}");
        laptop.ask(&["log", "note", "--job", "GARAGE", "--note", &first]);
        acknowledged.push(first.clone());
        tried.push(first);
        let notes: Vec<String> = (0..6).map(|entry| format!("kept {round}-{entry}")).collect();
        // Clients of their own, so that the kill falls into the midst of their calls.
        let clients: Vec<_> = notes
            .iter()
            .map(|note| {
                let words = ["log", "note", "--job", "GARAGE", "--note", note];
                let mut client = laptop.fivebar(words);
                let client = client.stdout(Stdio::null()).stderr(Stdio::null()).spawn().unwrap();
                sleep(a_moment(30));
                client
            })
            .collect();
        sleep(a_moment(150));
        laptop.kill();
        for (note, mut client) in notes.into_iter().zip(clients) {
            if client.wait().unwrap().success() {
                acknowledged.push(note.clone());
            }
            tried.push(note);
        }
    }
    check(&laptop, &acknowledged, &tried);
}

#[test]
fn what_a_killed_command_acknowledged_is_there() {
    let folder = tempfile::tempdir().unwrap();
    let laptop = laptop(&folder);
    let (mut acknowledged, mut tried) = (Vec::new(), Vec::new());
    for entry in 0..12 {
        let note = format!("kept {entry}");
        let words = ["log", "note", "--job", "GARAGE", "--note", &note];
        let mut command = laptop.fivebar(words).stdout(Stdio::null()).spawn().unwrap();
        // Every fourth is left alone, so that there is something that was acknowledged.
        if entry % 4 != 0 {
            sleep(a_moment(120));
            // It may have ended already; then there is nothing to kill.
            let _ = command.kill();
        }
        if command.wait().unwrap().success() {
            acknowledged.push(note.clone());
        }
        tried.push(note);
    }
    check(&laptop, &acknowledged, &tried);
}

/// A limit on the size of files stands for a disk that takes no more; the rest of the machine does not feel it.
#[cfg(unix)]
#[test]
fn a_disk_that_takes_no_more_costs_nothing_that_was_acknowledged() {
    let folder = tempfile::tempdir().unwrap();
    let laptop = laptop(&folder);
    let segment = laptop.data.join("journal/journal/0000000001.segment");
    let blocks = fs::metadata(segment).unwrap().len().div_ceil(512);
    let filling = "x".repeat(16_000);
    let (mut acknowledged, mut tried, mut complaint) = (Vec::new(), Vec::new(), String::new());
    while complaint.is_empty() {
        let note = format!("note {} {filling}", tried.len());
        assert!(tried.len() < 500, "the limit was never reached, so nothing was tested");
        let log = laptop.fivebar(["log", "note", "--job", "GARAGE", "--note", &note]);
        let limited = format!("ulimit -f {blocks}; trap '' XFSZ; exec \"$0\" \"$@\"");
        let mut shell = std::process::Command::new("sh");
        shell.args(["-c", &limited]).arg(log.get_program()).args(log.get_args());
        let output = shell.output().unwrap();
        if output.status.success() {
            acknowledged.push(note.clone());
        } else {
            complaint = String::from_utf8(output.stderr).unwrap();
        }
        tried.push(note);
    }
    assert!(complaint.contains("not saved: nothing was stored"), "{complaint}");
    assert!(complaint.contains("0000000001.segment"), "{complaint}");
    laptop.ask(&["stages"]);
    laptop.ask(&["log", "note", "--job", "GARAGE", "--note", "there is room again"]);
    acknowledged.push("there is room again".to_owned());
    check(&laptop, &acknowledged, &tried);
}

#[test]
fn commands_at_once_are_all_done_by_the_one_daemon() {
    let folder = tempfile::tempdir().unwrap();
    let mut laptop = laptop(&folder);
    laptop.start(&[]);
    let notes: Vec<String> = (0..6).map(|entry| format!("at once {entry}")).collect();
    scope(|scope| {
        for note in &notes {
            scope.spawn(|| laptop.ask(&["log", "note", "--job", "GARAGE", "--note", note]));
        }
    });
    check(&laptop, &notes, &notes);
    laptop.stop();
}

#[test]
fn a_daemon_that_is_told_to_stop_the_moment_it_can_be_found_ends_in_order() {
    let folder = tempfile::tempdir().unwrap();
    let laptop = laptop(&folder);
    let door = laptop.data.join("daemon.json");
    for _ in 0..20 {
        let words = ["run", "--listen", &laptop.address.to_string(), "--page", "127.0.0.1:0"];
        let quiet = laptop.fivebar(words).stdout(Stdio::null()).stderr(Stdio::null()).spawn();
        let mut daemon = quiet.unwrap();
        // Not `wait_for`: that looks ten times a second, which is far too late.
        let since = Instant::now();
        while !door.exists() {
            assert!(since.elapsed() < PATIENCE, "`fivebar run` never opened its door");
            sleep(Duration::from_micros(200));
        }
        let told = Command::new("kill").args(["-INT", &daemon.id().to_string()]).status().unwrap();
        assert!(told.success());
        let ended = daemon.wait().unwrap();
        assert!(ended.success(), "`fivebar run` ended with {ended}");
        assert!(!door.exists(), "the door is taken away again");
    }
}

#[test]
fn a_second_process_on_a_folder_is_told_so() {
    let folder = tempfile::tempdir().unwrap();
    let mut laptop = laptop(&folder);
    laptop.start(&[]);
    fs::remove_file(laptop.data.join("daemon.json")).unwrap();
    let complaint = laptop.refused(&["status"]);
    assert!(complaint.contains("another fivebar is using"), "{complaint}");
    laptop.stop();
    laptop.ask(&["status"]);
}

#[test]
fn a_file_with_mistakes_is_refused_whole() {
    let folder = tempfile::tempdir().unwrap();
    let laptop = laptop(&folder);
    let week = fs::read_to_string(scenario().join("entries.csv")).unwrap();
    let logged = "laptop,Maren Oake,2026-11-02T16:35";
    let rows = [
        week.lines().next().unwrap().to_owned(),
        format!("x1,{logged},,used,GARAGE,stud walls,stud 95x38x2400,2,each,,,,,,,"),
        format!("x2,{logged},2026-11-31,used,GARAGE,stud walls,stud 95x38x2400,2,each,,,,,,,"),
        format!("x3,{logged},,used,GARAGE,stud wals,stud 95x38x2400,2,each,,,,,,,"),
        format!("x4,{logged},,used,GARAGE,stud walls,stud 95x38x2400,\"2,5\",each,,,,,,,"),
    ];
    let bad = folder.path().join("bad");
    fs::create_dir(&bad).unwrap();
    fs::write(bad.join("entries.csv"), rows.join("\n")).unwrap();
    let before = laptop.ask(&["status"]);
    let complaint = laptop.refused(&["import", bad.to_str().unwrap()]);
    for place in ["line 3, column done_on", "line 4, column stage", "line 5, column quantity"] {
        assert!(complaint.contains(&format!("entries.csv {place}")), "{place} is missing in: {complaint}");
    }
    assert!(!complaint.contains("line 2"), "{complaint}");
    assert_eq!(laptop.ask(&["status"]), before);

    fs::write(bad.join("entries.csv"), rows[..2].join("\n")).unwrap();
    assert_eq!(laptop.import(&bad)["written"], 1);
}

#[test]
fn a_hand_neither_lists_nor_signs_off() {
    let folder = tempfile::tempdir().unwrap();
    let mut laptop = laptop(&folder);
    laptop.start(&[]);
    let tobi = Device::new(folder.path(), "tobi-phone");
    tobi.ask(&["join", &laptop.invite("Tobi Larch"), "--device", "tobi-phone"]);
    let before = tobi.ask(&["status"]);
    let jobs = fs::read_to_string(scenario().join("jobs.csv")).unwrap();
    let changed = folder.path().join("changed");
    fs::create_dir(&changed).unwrap();
    fs::write(changed.join("jobs.csv"), jobs.replace("GARAGE,", "ANNEXE,")).unwrap();
    // A folder may hold the crew's lists beside the phone's own entries, so the lists are left out, aloud.
    let answer = tobi.import(&changed);
    assert_eq!(answer["written"], 0, "{answer}");
    assert!(answer["warnings"].to_string().contains("left out"), "{answer}");
    let complaint = tobi.refused(&["log", "signed-off", "--job", "GARAGE", "--stage", "skim"]);
    assert!(complaint.contains("boss"), "{complaint}");
    assert_eq!(tobi.ask(&["status"]), before);
    tobi.ask(&["log", "hours", "--job", "GARAGE", "--stage", "skim", "--minutes", "90"]);
}

#[test]
fn a_job_that_is_not_listed_is_named() {
    let folder = tempfile::tempdir().unwrap();
    let laptop = laptop(&folder);
    let complaint = laptop.refused(&["log", "hours", "--job", "GARRAGE", "--minutes", "30"]);
    assert!(complaint.contains("GARRAGE") && complaint.contains("--job"), "{complaint}");
}
