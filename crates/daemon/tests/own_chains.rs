//! A device that may not go on writing its chains begins new ones, and goes on vouching for the phones on its page.

use std::cell::Cell;
use std::fs;
use std::path::Path;

use daemon::command::FolderCommand;
use daemon::page::TokenMeans;
use daemon::{Command, Node, NodeError, Role, command};
use ledger::roster::Standing;
use ledger::{ChainId, PersonId};

const ORIGIN: &str = "http://127.0.0.1:5180";

/// The chains that were written from here, and how many events each has.
fn written(node: &Node) -> Vec<(ChainId, u64)> {
    let own = node.ledger().chains().filter(|chain| chain.start.device == node.key());
    own.map(|chain| (chain.start.chain, chain.tip.next_seq)).collect()
}

fn note(node: &mut Node, author: PersonId, words: &str) {
    let row = [("kind", "note"), ("job", "MILL"), ("note", words)];
    let row = row.into_iter().map(|(cell, says)| (cell.to_owned(), says.to_owned())).collect();
    command::run_for(node, author, Command::Log { row }).unwrap();
}

/// The notes that count.
fn counted(node: &Node) -> Vec<&str> {
    let entries = node.book().entries().filter(|entry| entry.logged.standing == Standing::Counted);
    entries.map(|entry| entry.logged.act.note.as_str()).filter(|note| !note.is_empty()).collect()
}

/// A crew with a job and an open session of Tobi's on its page.
fn with_page(folder: &Path) -> (Node, PersonId, String) {
    let lists = folder.join("lists");
    fs::create_dir(&lists).unwrap();
    for name in ["crew.csv", "jobs.csv", "stages.csv"] {
        let from = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/scenario").join(name);
        fs::copy(from, lists.join(name)).unwrap();
    }
    let (mut node, _) = Node::found(&folder.join("data"), "Oake Rooms", "Maren Oake", "laptop").unwrap();
    command::run(&mut node, Command::Import { dir: lists, devices: Vec::new() }).unwrap();
    let link = node.make_page_link(node.device().person, "Tobi Larch", Role::Hand).unwrap();
    let opened = node.open_page_session(&link.token, "phone", ORIGIN).unwrap();
    let tobi = PersonId::named(&node.crew(), "Tobi Larch");
    (node, tobi, opened.token)
}

fn back_up(dir: &Path) -> Command {
    Command::Folder(FolderCommand::BackUp { dir: dir.to_owned() })
}

/// Takes bytes off the journal's end, as a disk that lost its last sync.
fn tear(data: &Path) {
    let segments = fs::read_dir(data.join("journal/journal")).unwrap();
    let last = segments.map(|entry| entry.unwrap().path()).max().unwrap();
    let bytes = fs::read(&last).unwrap();
    let written = bytes.iter().rposition(|byte| *byte != 0).unwrap();
    fs::write(&last, &bytes[..written - 3]).unwrap();
}

#[test]
fn a_new_chain_goes_on_vouching_for_the_phones_on_the_page() {
    let folder = tempfile::tempdir().unwrap();
    let (mut node, tobi, token) = with_page(folder.path());
    note(&mut node, tobi, "kept");
    note(&mut node, tobi, "torn");
    let before = written(&node);
    drop(node);
    tear(&folder.path().join("data"));

    let mut node = Node::open(&folder.path().join("data")).unwrap();
    assert_eq!(counted(&node), ["kept"]);
    let held = written(&node);
    note(&mut node, tobi, "after");
    assert_eq!(counted(&node).len(), 2, "{:?}", counted(&node));
    let after = written(&node);
    assert_eq!(after.len(), before.len() + 1, "a new chain for the crew");
    assert!(held.iter().all(|old| after.contains(old)), "the old ones are as they were found");
    assert!(matches!(node.page_session(&token, ORIGIN), TokenMeans::Open(_)));
    // Undo finds what stands in the chain before.
    let mut undone = || command::run_for(&mut node, tobi, Command::Undo { back: false }).unwrap();
    assert_eq!(undone()["struck"]["note"], "after");
    assert_eq!(undone()["struck"]["note"], "kept");
    drop(node);

    let node = Node::open(&folder.path().join("data")).unwrap();
    assert_eq!(written(&node).len(), after.len(), "and a sound folder goes on in the same");
}

#[test]
fn a_copy_has_no_phones_on_its_page() {
    let folder = tempfile::tempdir().unwrap();
    let (node, _, token) = with_page(folder.path());
    drop(node);
    let data = folder.path().join("data");
    // A copy is another file that says the same.
    let mark = fs::read(data.join("mark.json")).unwrap();
    fs::rename(data.join("mark.json"), data.join("mark.former")).unwrap();
    fs::write(data.join("mark.json"), mark).unwrap();
    let mut node = Node::open(&data).unwrap();
    assert!(matches!(node.page_session(&token, ORIGIN), TokenMeans::Nothing));
    assert_eq!(node.page_sessions().count(), 0);
}

#[test]
fn a_damaged_device_file_is_told_of_and_one_from_a_backup_goes_on_with_all_that_was_logged() {
    let folder = tempfile::tempdir().unwrap();
    let (mut node, _, _) = with_page(folder.path());
    let maren = node.device().person;
    note(&mut node, maren, "before the backup");
    let (data, backup) = (folder.path().join("data"), folder.path().join("stick"));
    command::run(&mut node, back_up(&backup)).unwrap();
    note(&mut node, maren, "after the backup");
    let (before, key) = (written(&node), node.key());
    drop(node);
    let device = data.join("device.json");
    let whole = fs::read(&device).unwrap();
    let mut damaged = whole.clone();
    damaged[20] ^= 1;
    fs::write(&device, &damaged).unwrap();

    let told = Node::open(&data).map(drop).unwrap_err();
    assert!(matches!(told, NodeError::DeviceDamaged(_)), "{told}");
    // Nothing takes the folder for an empty one.
    let told = Node::found(&data, "Oake Rooms", "Maren Oake", "laptop").map(drop).unwrap_err();
    assert!(matches!(told, NodeError::DeviceDamaged(_)), "{told}");
    let told = daemon::backup::restore(&backup, &data, &|_, _| ()).unwrap_err();
    assert!(matches!(told, NodeError::DeviceDamaged(_)), "{told}");
    assert_eq!(fs::read(&device).unwrap(), damaged);

    // Another crew's file is none of this folder's.
    let others = folder.path().join("others");
    drop(Node::found(&others, "Quill Tiling", "Ines Quill", "laptop").unwrap());
    fs::copy(others.join("device.json"), &device).unwrap();
    let told = Node::open(&data).map(drop).unwrap_err();
    assert!(matches!(told, NodeError::OtherCrew(_)), "{told}");

    for file in ["device.json", "mark.json"] {
        fs::copy(backup.join(file), data.join(file)).unwrap();
    }
    let mut node = Node::open(&data).unwrap();
    let mut noted = counted(&node);
    noted.sort_unstable();
    assert_eq!((node.key(), noted), (key, vec!["after the backup", "before the backup"]));
    note(&mut node, maren, "after the damage");
    let after = written(&node);
    assert_eq!(after.len(), before.len() + 1, "it goes on in a new chain");
    assert!(before.iter().all(|old| after.contains(old)), "and writes the old ones no more");
}

#[test]
fn copying_says_how_far_it_is_up_to_the_last_byte() {
    let folder = tempfile::tempdir().unwrap();
    let (mut node, _, _) = with_page(folder.path());
    daemon::photos::keep_bytes(node.folder(), b"\xff\xd8\xff\xe0 wall").unwrap();
    let (backup, new) = (folder.path().join("stick"), folder.path().join("new"));
    let said = Cell::new((0, 0));
    let say = |done, of| {
        let (before, _) = said.replace((done, of));
        assert!(before <= done && done <= of, "{before}, then {done} of {of}");
    };
    let bytes = |answer: serde_json::Value| answer["bytes"].as_u64().unwrap();
    // Taken again, what is there already is counted, too.
    for _ in 0..2 {
        said.set((0, 0));
        let answer =
            command::run_saying(&mut node, back_up(&backup), &|reached| say(reached.done, reached.of));
        let all = bytes(answer.unwrap());
        assert_eq!(said.get(), (all, all));
    }
    let whole = |copied: Result<serde_json::Value, NodeError>| {
        copied.unwrap();
        let (done, of) = said.replace((0, 0));
        assert!(done > 0 && done == of, "{done} of {of}");
    };
    said.set((0, 0));
    whole(daemon::backup::check(&backup, &say));
    whole(daemon::backup::restore(&backup, &new, &say));
}
