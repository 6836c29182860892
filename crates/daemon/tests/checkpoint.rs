//! A checkpoint makes a start faster and changes nothing else: whatever became of it, the node holds what
//! its journal says, the same as one that verifies everything and as one that folded event by event.

#[path = "../../../tests/folders.rs"]
mod folders;

use std::fs;
use std::path::{Path, PathBuf};

use daemon::Node;
use daemon::device::DeviceFile;
use daemon::node::{WholeRead, Write};
use folders::copy;
use ledger::office::PricePaid;
use ledger::roster_events::{DeviceAdmitted, PersonListed, Role, RoleChanged};
use ledger::site::{Changes, Corrected, Hours, Place, Site, Struck, Worked};
use ledger::{Audience, Body, ChainStart, DeviceSecret, EntryRef, JobId, Payload, PersonId, Run};
use proptest::prelude::*;
use tempfile::TempDir;
use trade::Pence;

/// A folder with a crew that Maren founded.
fn founded() -> (TempDir, Node) {
    let folder = tempfile::tempdir().unwrap();
    let (node, _) = Node::found(folder.path(), "Oake Rooms", "Maren Oake", "laptop").unwrap();
    (folder, node)
}

fn hours(node: &Node, minutes: u32) -> Write {
    let site = Site { job: JobId::named(&node.crew(), "MILL"), stage: None, place: Place::default() };
    let activity = "loading".to_owned();
    let body = Body::Hours(Hours { site, activity, worked: Worked::Length { minutes } });
    written(node, Audience::Crew, body)
}

fn written(node: &Node, audience: Audience, body: Body) -> Write {
    let act = node.act(node.device().person).unwrap();
    Write { audience, payload: Payload { act, body } }
}

fn entry_of(write: &Write) -> EntryRef {
    write.payload.act.entry_ref()
}

/// All that a node holds, as text: every field of every event in its order.
fn everything(node: &Node) -> String {
    format!("{:?}\n{:?}", node.ledger().frontier(None), node.book())
}

fn checkpoint(folder: &Path) -> PathBuf {
    folder.join("journal/checkpoints/verified.checkpoint")
}

/// Opens the folder with what is there, then without a checkpoint, and compares. Gives what is held and
/// how many events the checkpoint vouched for.
fn opened(folder: &Path) -> (String, usize) {
    let node = Node::open(folder).unwrap();
    let (held, believed) = (everything(&node), node.verified_before());
    drop(node);
    let kept = fs::read(checkpoint(folder)).ok();
    let _ = fs::remove_file(checkpoint(folder));
    let anew = Node::open(folder).unwrap();
    assert_eq!(anew.verified_before(), 0);
    assert_eq!(everything(&anew), held);
    drop(anew);
    kept.inspect(|bytes| fs::write(checkpoint(folder), bytes).unwrap());
    (held, believed)
}

/// A crew's beginning: hours, a correction, a strike and a price, in several runs. With the founding and the
/// key that the price is sealed with these are seven events.
fn some_work(node: &mut Node) {
    let (first, second) = (hours(node, 30), hours(node, 45));
    let changes = Box::new(Changes { minutes: Some(50), ..Changes::default() });
    let corrected = Body::Corrected(Corrected { of: entry_of(&first), changes });
    let struck = Body::Struck(Struck { of: entry_of(&second) });
    let paid = PricePaid {
        of: entry_of(&first),
        items: Vec::new(),
        net: Pence(1_250),
        vat: Pence::ZERO,
        per: String::new(),
        minimum: Pence::ZERO,
    };
    let changes = [written(node, Audience::Crew, corrected), written(node, Audience::Crew, struck)];
    let paid = written(node, Audience::Office, Body::PricePaid(paid));
    node.append(&[first, second]).unwrap();
    node.append(&changes).unwrap();
    node.append(&[paid]).unwrap();
}

#[test]
fn a_node_writes_a_checkpoint_when_it_is_closed_and_begins_there() {
    let (folder, mut node) = founded();
    some_work(&mut node);
    let many: Vec<Write> = (0..600).map(|minutes| hours(&node, minutes)).collect();
    node.append(&many).unwrap();
    let held = everything(&node);
    drop(node);
    assert!(checkpoint(folder.path()).exists());
    assert_eq!(opened(folder.path()), (held, 607));
}

#[test]
fn what_came_after_the_checkpoint_is_verified_and_held() {
    let (folder, mut node) = founded();
    some_work(&mut node);
    node.write_checkpoint().unwrap();
    some_work(&mut node);
    let held = everything(&node);
    drop(node);
    assert_eq!(opened(folder.path()), (held, 7));
}

#[test]
fn a_checkpoint_that_is_cut_short_or_has_a_flipped_bit_is_not_used() {
    let (folder, mut node) = founded();
    some_work(&mut node);
    node.write_checkpoint().unwrap();
    let held = everything(&node);
    drop(node);
    let path = checkpoint(folder.path());
    let sound = fs::read(&path).unwrap();
    for length in (0..sound.len()).step_by(23) {
        fs::write(&path, &sound[..length]).unwrap();
        assert_eq!(opened(folder.path()), (held.clone(), 0), "{length} bytes");
    }
    for bit in (0..sound.len() * 8).step_by(131) {
        let mut bent = sound.clone();
        bent[bit / 8] ^= 1 << (bit % 8);
        fs::write(&path, &bent).unwrap();
        assert_eq!(opened(folder.path()), (held.clone(), 0), "bit {bit}");
    }
    fs::write(&path, &sound).unwrap();
    assert_eq!(opened(folder.path()), (held, 7));
}

/// Writes other bytes as the state, with all checksums right.
fn replace_state(folder: &Path, change: impl FnOnce(&mut Vec<u8>)) {
    let options = store::StoreOptions::folder(&folder.join("journal")).unwrap();
    let mut store = store::Store::open(options).unwrap();
    let mut bytes = store.read_checkpoint("verified").unwrap().unwrap().bytes;
    change(&mut bytes);
    store.write_checkpoint("verified", &bytes).unwrap();
}

#[test]
fn a_state_that_is_of_another_version_or_does_not_fit_is_not_used() {
    let (folder, mut node) = founded();
    some_work(&mut node);
    node.write_checkpoint().unwrap();
    let held = everything(&node);
    drop(node);
    let path = checkpoint(folder.path());
    let sound = fs::read(&path).unwrap();
    // The version; the first run's place, first event and count; the second run's.
    let in_runs = [0, 12, 16, 24, 32, 36, 48, 56];
    let last_hash = sound.len() - 76 - 1;
    for at in in_runs.into_iter().chain([last_hash]) {
        fs::write(&path, &sound).unwrap();
        replace_state(folder.path(), |bytes| bytes[at] ^= 1);
        assert_eq!(opened(folder.path()), (held.clone(), 0), "byte {at}");
    }
    // A run fewer.
    fs::write(&path, &sound).unwrap();
    replace_state(folder.path(), |bytes| {
        let runs = u64::from_le_bytes(bytes[4..12].try_into().unwrap());
        let last = 12 + usize::try_from(runs).unwrap() * 24 - 24;
        bytes.truncate(bytes.len() - 32);
        bytes.drain(last..last + 24);
        bytes[4..12].copy_from_slice(&(runs - 1).to_le_bytes());
    });
    assert_eq!(opened(folder.path()), (held.clone(), 0));
    fs::write(&path, &sound).unwrap();
    replace_state(folder.path(), |_| ());
    assert_eq!(opened(folder.path()), (held, 7));
}

#[test]
fn a_checkpoint_ahead_of_a_journal_that_lost_its_tail_is_not_used() {
    let (folder, mut node) = founded();
    some_work(&mut node);
    let held = everything(&node);
    drop(node);
    let beside = tempfile::tempdir().unwrap();
    let elsewhere = beside.path().join("elsewhere");
    copy(folder.path(), &elsewhere);

    let mut node = Node::open(folder.path()).unwrap();
    some_work(&mut node);
    node.write_checkpoint().unwrap();
    drop(node);
    let ahead = fs::read(checkpoint(folder.path())).unwrap();
    fs::create_dir_all(elsewhere.join("journal/checkpoints")).unwrap();
    fs::write(checkpoint(&elsewhere), &ahead).unwrap();
    assert_eq!(opened(&elsewhere), (held, 0));
    // And where the lost tail was written over by something else.
    let mut node = Node::open(&elsewhere).unwrap();
    for _ in 0..3 {
        some_work(&mut node);
    }
    let other = everything(&node);
    drop(node);
    fs::write(checkpoint(&elsewhere), &ahead).unwrap();
    assert_eq!(opened(&elsewhere), (other, 0));
}

/// What `from` holds and `to` lacks, run by run.
fn bring(from: &mut Node, to: &mut Node) {
    let chains: Vec<ChainStart> = from.ledger().chains().map(|chain| chain.start).collect();
    let mut runs: Vec<Run> = Vec::new();
    for start in &chains {
        let mut seq = to.ledger().chain(&start.chain).map_or(0, |chain| chain.tip.next_seq);
        while let Some(run) = from.read_run(start.chain, seq).unwrap() {
            seq = run.next_seq();
            runs.push(run);
        }
    }
    let start_of = |chain: &_| chains.iter().find(|start| start.chain == *chain).copied();
    assert!(to.store_runs(start_of, &runs).unwrap().iter().all(Result::is_ok));
}

#[test]
fn a_device_that_becomes_the_offices_reads_what_it_could_not_and_begins_with_it() {
    let (_folder, mut maren) = founded();
    let tobi = PersonId::named(&maren.crew(), "Tobi Larch");
    let secret = DeviceSecret::from_seed(&[5; 32]);
    let listed = PersonListed { person: tobi, name: "Tobi Larch".to_owned(), role: Role::Hand };
    let admitted = DeviceAdmitted {
        device: secret.public(),
        name: "phone".to_owned(),
        person: tobi,
        shared: false,
        office: false,
    };
    let roster = [Body::PersonListed(listed), Body::DeviceAdmitted(admitted)];
    let writes = roster.map(|body| written(&maren, Audience::Crew, body));
    maren.append(&writes).unwrap();
    let folder = tempfile::tempdir().unwrap();
    let file = DeviceFile::new(&secret, maren.crew(), "phone".to_owned(), tobi);
    let mut phone = Node::join(folder.path(), file).unwrap();
    bring(&mut maren, &mut phone);
    some_work(&mut phone);
    phone.write_checkpoint().unwrap();
    let paid = "PricePaid";
    assert!(!everything(&phone).contains(paid), "the crew's book holds no price");
    let held = everything(&phone);
    drop(phone);
    assert_eq!(opened(folder.path()).0, held);

    let raised = RoleChanged { person: tobi, role: Role::Owner, positions: Vec::new() };
    let write = written(&maren, Audience::Crew, Body::RoleChanged(raised));
    maren.append(&[write]).unwrap();
    let mut phone = Node::open(folder.path()).unwrap();
    let crews = phone.book().audience();
    bring(&mut maren, &mut phone);
    assert_eq!((crews, phone.book().audience()), (Audience::Crew, Audience::Office));
    let held = everything(&phone);
    assert!(held.contains(paid), "an owner's book does");
    drop(phone);
    let (again, believed) = opened(folder.path());
    assert_eq!(again, held);
    assert!(believed > 0, "the checkpoint is older than the change and is used all the same");
}

#[test]
fn verifying_looks_at_everything_whatever_the_checkpoint_says() {
    let (folder, mut node) = founded();
    some_work(&mut node);
    node.write_checkpoint().unwrap();
    drop(node);
    let mut node = Node::open(folder.path()).unwrap();
    assert_eq!(node.verified_before(), 7);
    let held = everything(&node);
    let WholeRead { report, verified: events, .. } = node.verify().unwrap();
    assert_eq!((report.damage.len(), report.events, events), (0, 7, 7));
    assert_eq!(everything(&node), held);
}

/// What a person or the machine does next.
#[derive(Debug, Clone, Copy)]
enum Deed {
    Log(u8),
    Correct(usize),
    Strike(usize),
    Checkpoint,
    Reopen,
    ForgetCheckpoint,
    List(u8),
}

fn deed() -> impl Strategy<Value = Deed> {
    prop_oneof![
        4 => (1..5_u8).prop_map(Deed::Log),
        2 => any::<usize>().prop_map(Deed::Correct),
        1 => any::<usize>().prop_map(Deed::Strike),
        2 => Just(Deed::Checkpoint),
        2 => Just(Deed::Reopen),
        1 => Just(Deed::ForgetCheckpoint),
        1 => any::<u8>().prop_map(Deed::List),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(12) })]

    #[test]
    fn folded_event_by_event_opened_with_a_checkpoint_and_verified_anew_are_the_same(
        deeds in prop::collection::vec(deed(), 1..16)
    ) {
        let (folder, mut node) = founded();
        let mut logged: Vec<EntryRef> = vec![EntryRef { person: node.device().person, entry: ledger::EntryId([9; 16]) }];
        for deed in deeds {
            match deed {
                Deed::Log(count) => {
                    let writes: Vec<Write> = (0..count).map(|minutes| hours(&node, minutes.into())).collect();
                    node.append(&writes).unwrap();
                    logged.extend(writes.iter().map(entry_of));
                }
                Deed::Correct(which) => {
                    let changes = Box::new(Changes { minutes: Some(7), ..Changes::default() });
                    let of = logged[which % logged.len()];
                    let write = written(&node, Audience::Crew, Body::Corrected(Corrected { of, changes }));
                    node.append(&[write]).unwrap();
                }
                Deed::Strike(which) => {
                    let of = logged[which % logged.len()];
                    let write = written(&node, Audience::Crew, Body::Struck(Struck { of }));
                    node.append(&[write]).unwrap();
                }
                Deed::List(byte) => {
                    let person = PersonListed { person: PersonId([byte; 16]), name: "Ines Quill".to_owned(), role: Role::Hand };
                    let write = written(&node, Audience::Crew, Body::PersonListed(person));
                    node.append(&[write]).unwrap();
                }
                Deed::Checkpoint => node.write_checkpoint().unwrap(),
                Deed::Reopen => {
                    let held = everything(&node);
                    drop(node);
                    node = Node::open(folder.path()).unwrap();
                    prop_assert_eq!(everything(&node), held);
                }
                Deed::ForgetCheckpoint => drop(fs::remove_file(checkpoint(folder.path()))),
            }
        }
        let held = everything(&node);
        drop(node);
        prop_assert_eq!(opened(folder.path()).0, held);
    }
}
