//! Another journal is believed no more than a peer: what is signed is taken, forks are found wherever they lie, and what
//! is not of the crew stays out.

#[path = "../../../tests/folders.rs"]
mod folders;

use std::fs;
use std::path::Path;
use std::sync::Arc;

use daemon::import::FileName;
use daemon::node::salvage::{Salvaged, WhyLeft};
use daemon::{Command, Node, command};
use folders::copy;
use ledger::{Audience, ChainId, ChainStart, DeviceSecret, Refusal, Run, RunBuilder};
use store::{MemoryDisk, Record, RecordKind, Store, StoreOptions};

fn row(cells: &[(&str, &str)]) -> std::collections::BTreeMap<String, String> {
    cells.iter().map(|(column, value)| ((*column).to_owned(), (*value).to_owned())).collect()
}

/// A crew with a job, on a laptop.
fn founded(data: &Path) -> Node {
    let (mut node, _) = Node::found(data, "Oake Rooms", "Maren Oake", "laptop").unwrap();
    let cells = [
        ("job", "MILL"),
        ("title", "Two rooms"),
        ("customer", "J. Marrable"),
        ("customer_kind", "householder"),
        ("basis", "daywork"),
        ("vat_rate", "20"),
        ("markup_pct", "10"),
        ("billing_address", "4 Saltmarsh Lane, Wexcombe, WX4 4ZZ"),
        ("terms_days", "14"),
    ];
    let add = command::ListChange::Add;
    command::run(&mut node, Command::List { list: FileName::Jobs, change: add, row: row(&cells) }).unwrap();
    node
}

fn notes(node: &mut Node, words: &str, count: u64) {
    for number in 0..count {
        let note = format!("{words} {number}");
        let row = row(&[("kind", "note"), ("job", "MILL"), ("note", &note)]);
        command::run(node, Command::Log { row }).unwrap();
    }
}

/// The chain that a device writes for the crew, and how many events it holds of it.
fn own(node: &Node) -> (ChainId, u64) {
    let own = node.ledger().chains().find(|chain| chain.start.audience == Audience::Crew);
    own.map(|chain| (chain.start.chain, chain.tip.next_seq)).unwrap()
}

fn open(data: &Path) -> Store {
    Store::open(StoreOptions::reading(&data.join("journal")).unwrap()).unwrap()
}

fn salvage(node: &mut Node, old: &mut Store) -> Salvaged {
    let salvaged = node.salvage(old, &|done, of| assert!(done <= of, "{done} of {of}")).unwrap();
    let again = node.salvage(old, &|_, _| ()).unwrap();
    let (all, left) = (salvaged.new + salvaged.held, salvaged.left.clone());
    assert_eq!((again.new, again.held, again.left), (0, all, left), "the same once more");
    salvaged
}

#[test]
fn a_fork_is_found_wherever_the_lines_part_and_its_proof_holds_both() {
    for (before, old_line, new_line) in [(0, 1, 1), (1, 9, 4), (13, 4, 30), (40, 30, 30), (64, 2, 1)] {
        let folder = tempfile::tempdir().unwrap();
        let (data, snapshot, old) =
            (folder.path().join("data"), folder.path().join("snapshot"), folder.path().join("old"));
        let mut node = founded(&data);
        notes(&mut node, "before", before);
        let (chain, base) = own(&node);
        let all: u64 = node.ledger().chains().map(|chain| chain.tip.next_seq).sum();
        drop(node);
        copy(&data, &snapshot);
        notes(&mut Node::open(&data).unwrap(), "on the old disk", old_line);
        // The whole disk is set back, and nothing tells.
        fs::rename(&data, &old).unwrap();
        fs::rename(&snapshot, &data).unwrap();
        fs::rename(old.join("mark.json"), data.join("mark.json")).unwrap();
        let mut node = Node::open(&data).unwrap();
        notes(&mut node, "on the new disk", new_line);

        let salvaged = salvage(&mut node, &mut open(&old));
        let told = format!("{before}, {old_line} and {new_line}: {salvaged:?}");
        assert_eq!((salvaged.new, salvaged.held, salvaged.left.len()), (0, all, 1), "{told}");
        let left = &salvaged.left[0];
        assert_eq!(
            (left.why, left.events, left.device),
            (WhyLeft::Forked, old_line, Some(node.key())),
            "{told}"
        );
        let fork = node.ledger().chain(&chain).unwrap().fork.clone().unwrap();
        assert_eq!(fork.proof().base().count, base, "{told}");
        assert_eq!(fork.proof().events().count() as u64, old_line + new_line, "{told}");
        assert_eq!(projections::set_aside(node.book()).len() as u64, old_line + new_line, "{told}");
        assert_eq!(node.device().crew_chain, None, "it goes on in new chains");
    }
}

/// A journal that somebody put together.
fn journal(crew: ledger::CrewId, records: &[(RecordKind, Vec<u8>)]) -> Store {
    let mut store = Store::create(StoreOptions::disk(Arc::new(MemoryDisk::new())), crew).unwrap();
    for (kind, bytes) in records {
        store.append(&[Record { kind: *kind, bytes }]).unwrap();
    }
    store
}

fn start(start: &ChainStart) -> (RecordKind, Vec<u8>) {
    (RecordKind::ChainDeclaration, start.encode().to_vec())
}

fn run(run: &Run) -> (RecordKind, Vec<u8>) {
    (RecordKind::Run, run.bytes().to_vec())
}

#[test]
fn what_no_device_of_the_crew_signed_or_what_has_a_gap_before_it_stays_out() {
    let folder = tempfile::tempdir().unwrap();
    let (data, copied) = (folder.path().join("data"), folder.path().join("copied"));
    let mut whole = founded(&data);
    drop(whole);
    copy(&data, &copied);
    whole = Node::open(&data).unwrap();
    notes(&mut whole, "later", 4);
    let mut node = Node::open(&copied).unwrap();
    let (chain, next_seq) = own(&node);
    let crew = node.crew();
    let mut from = |seq: u64| whole.read_run(chain, seq).unwrap().unwrap();
    let (next, later) = (from(next_seq), from(next_seq + 2));
    let declared = node.ledger().chain(&chain).unwrap().start;
    let status = |node: &Node| (node.ledger().frontier(None), node.ledger().chains().count());
    let before = status(&node);

    let mut forged = next.bytes().to_vec();
    let place = forged.windows(5).position(|window| window == b"later").unwrap();
    forged[place] ^= 1;
    let forged = Run::decode(forged).unwrap();
    let stranger = DeviceSecret::from_seed(&[9; 32]);
    let theirs = ChainStart { chain: ChainId([9; 16]), device: stranger.public(), audience: Audience::Crew };
    let mut built = RunBuilder::new(theirs, theirs.tip(&crew));
    built.push(1, 60_000, 1, b"let me in").unwrap();
    let (strange, _) = built.finish(&crew, &stranger).unwrap();
    let nobodys = DeviceSecret::from_seed(&[8; 32]);
    let cases = [
        (vec![run(&forged)], Refusal::Forked, 4, Some(declared.device)),
        (vec![start(&theirs), run(&strange)], Refusal::NotAdmitted, 1, Some(stranger.public())),
        (vec![run(&strange)], Refusal::UnknownChain, 1, None),
        (vec![start(&declared), run(&later)], Refusal::OutOfOrder, 2, Some(declared.device)),
    ];
    for (records, refusal, events, device) in cases {
        let salvaged = salvage(&mut node, &mut journal(crew, &records));
        assert_eq!((salvaged.new, salvaged.held), (0, 0), "{refusal:?}: {salvaged:?}");
        let [left] = &salvaged.left[..] else { panic!("{refusal:?}: {salvaged:?}") };
        assert_eq!((left.why, left.events, left.device), (WhyLeft::Refused(refusal), events, device));
        assert_eq!(status(&node), before, "{refusal:?}");
    }
    // Another crew's is not even looked at.
    let others = journal(ledger::CrewId(nobodys.public().0), &[run(&next)]);
    assert!(node.salvage(&mut { others }, &|_, _| ()).unwrap_err().to_string().contains("another crew's"));
    assert_eq!(status(&node), before);

    // What only a later program reads is told of, and what is around it is taken; and then what had the gap before it.
    let later_program = (RecordKind::Unknown(77), b"of later".to_vec());
    let records = [start(&theirs), run(&strange), later_program, run(&next)];
    let salvaged = salvage(&mut node, &mut journal(crew, &records));
    assert_eq!((salvaged.new, salvaged.held, salvaged.of_later, salvaged.left.len()), (4, 0, 1, 1));
    assert_eq!(node.ledger().chains().count(), before.1, "nothing is left of the stranger's");
    assert_eq!(node.ledger().frontier(None), whole.ledger().frontier(None));
    let salvaged = salvage(&mut node, &mut journal(crew, &[start(&declared), run(&later)]));
    assert_eq!((salvaged.new, salvaged.held, salvaged.left.len()), (0, 2, 0));
}
