//! What honest programs write, for a fuzzer to begin with.

use std::collections::BTreeSet;
use std::path::Path;
use std::sync::Arc;

use ledger::roster_events::{CrewFounded, PersonListed, Role};
use ledger::{
    Act, Body, ChainId, ChainStart, DeviceSecret, EntryId, Excerpt, FrontBuilder, Ledger, Payload, PersonId,
    RecoverySecret, Run, RunBuilder, TakenIn,
};
use net::pairing::{Admission, Opening};
use net::{Invite, InviteId};
use serde_json::Value;
use store::{MemoryDisk, Record, RecordKind, Store, StoreOptions};

const NOW_MS: i64 = 1_783_321_200_000;
const VECTORS: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../proto/vectors");

/// The device that founded the crew.
#[must_use]
pub fn founder() -> DeviceSecret {
    DeviceSecret::from_seed(&[1; 32])
}

fn act(person: PersonId, entry: u8) -> Act {
    let golden = vector("payload-040-hours.json");
    let act = golden["samples"][0]["act"].clone();
    let mut act: Act = serde_json::from_value(act).expect("a golden act");
    (act.person, act.author, act.entry) = (person, person, EntryId([entry; 16]));
    (act.replaces, act.row_key) = (Vec::new(), String::new());
    act
}

/// A crew as its founder holds it, with the runs of its one chain.
#[must_use]
pub fn crew() -> (Ledger, ChainStart, Vec<Run>) {
    let content = CrewFounded {
        crew: "Oake Rooms".to_owned(),
        founder: "Maren Oake".to_owned(),
        device: "laptop".to_owned(),
        seed: [3; 32],
        recovery_key: RecoverySecret::from_entropy([4; 16]).public(),
    };
    let payload = Payload { act: act(PersonId([0; 16]), 1), body: Body::CrewFounded(content) };
    let payload = payload.encode().expect("a founding event");
    let founded = Ledger::found(ChainId([2; 16]), &founder(), NOW_MS, &payload);
    let (mut ledger, start, run) = founded.expect("a crew is founded");
    let mut runs = vec![run];
    let owner = PersonId::named(&ledger.crew(), "Maren Oake");
    for (number, name) in (2..).zip(["Tobi Larch", "Ines Quill", "Sef Moor"]) {
        let person = PersonId::named(&ledger.crew(), name);
        let body = Body::PersonListed(PersonListed { person, name: name.to_owned(), role: Role::Lead });
        let payload = Payload { act: act(owner, number), body }.encode().expect("a person");
        let tip = ledger.chain(&start.chain).expect("the founding chain").tip;
        let mut builder = RunBuilder::new(start, tip);
        builder.push(NOW_MS, 2, ledger::event::KIND_VERSION, &payload).expect("it is small");
        let (run, _) = builder.finish(&ledger.crew(), &founder()).expect("it holds an event");
        if let Ok(TakenIn::New(checked)) = ledger.check_run(&run) {
            ledger.take_in(&checked);
        }
        runs.push(run);
    }
    (ledger, start, runs)
}

/// The first run of a crew, with its chain.
#[must_use]
pub fn founding() -> (ChainStart, Run) {
    let (_, start, mut runs) = crew();
    (start, runs.swap_remove(0))
}

/// A journal with the crew's runs, and a checkpoint of it.
#[must_use]
pub fn journal() -> MemoryDisk {
    let (ledger, start, runs) = crew();
    let disk = MemoryDisk::new();
    let options = StoreOptions::disk(Arc::new(disk.clone())).with_fill_bytes(256);
    let mut store = Store::create(options, ledger.crew()).expect("a disk in memory");
    let start = start.encode();
    let mut group = vec![Record { kind: RecordKind::ChainDeclaration, bytes: &start }];
    for run in &runs {
        group.push(Record { kind: RecordKind::Run, bytes: run.bytes() });
        store.append(&group).expect("a disk in memory");
        group.clear();
    }
    store.write_checkpoint("verified", b"what was verified").expect("a disk in memory");
    disk
}

fn vector(name: &str) -> Value {
    let text = std::fs::read(Path::new(VECTORS).join(name)).unwrap_or_default();
    serde_json::from_slice(&text).unwrap_or_default()
}

fn hex(text: &str) -> Vec<u8> {
    let digits: Vec<u8> =
        text.chars().filter_map(|digit| digit.to_digit(16)).map(|digit| digit as u8).collect();
    digits.chunks_exact(2).map(|pair| pair[0] << 4 | pair[1]).collect()
}

/// The payloads of the golden files, each behind its kind.
fn payloads() -> Vec<Vec<u8>> {
    let mut names: Vec<String> = std::fs::read_dir(VECTORS)
        .into_iter()
        .flatten()
        .filter_map(|file| file.ok()?.file_name().into_string().ok())
        .filter(|name| name.starts_with("payload-"))
        .collect();
    names.sort_unstable();
    let of_file = |name: &String| {
        let golden = vector(name);
        let kind = golden["kind"].as_u64().and_then(|kind| u16::try_from(kind).ok()).unwrap_or_default();
        let samples = golden["samples"].as_array().cloned().unwrap_or_default();
        let bytes = samples.iter().filter_map(|sample| sample["bytes"].as_str()).map(hex);
        bytes.map(|bytes| [&kind.to_le_bytes()[..], &bytes].concat()).collect::<Vec<_>>()
    };
    names.iter().flat_map(of_file).collect()
}

/// What a target begins with.
#[must_use]
pub fn of(target: &str) -> Vec<Vec<u8>> {
    let (ledger, start, runs) = crew();
    let found: Vec<Vec<u8>> = match target {
        "run" => runs.iter().map(|run| run.bytes().to_vec()).collect(),
        "chain_start" => vec![start.encode().to_vec()],
        "payload" => payloads(),
        "excerpt" => {
            let shown = BTreeSet::from([0, 1, 3]);
            let mut front = FrontBuilder::new(start, &shown);
            runs.iter().for_each(|run| front.add(run));
            vec![Excerpt::new(ledger.crew(), front.finish()).encode()]
        }
        "frames" => crate::peer::recorded(),
        // The first byte says which side hears it.
        "session" => {
            let either = |said: &Vec<u8>| [0_u8, 1].map(|side| [&[side], said.as_slice()].concat());
            crate::peer::recorded().iter().flat_map(either).collect()
        }
        "segment" => journal().contents("journal/0000000001.segment").into_iter().collect(),
        "checkpoint" => journal().contents("checkpoints/verified.checkpoint").into_iter().collect(),
        "invite" => {
            let address = [([192, 0, 2, 1], 5105).into()];
            let invite = Invite::make(ledger.crew(), founder().public(), address.to_vec(), NOW_MS);
            invite.map(|invite| invite.code().into_bytes()).into_iter().collect()
        }
        "pairing" => {
            let opening = Opening { id: InviteId([5; 16]), proof: [6; 32], name: "tobi-phone".to_owned() };
            let admission =
                Admission { crew: ledger.crew(), person: PersonId([7; 16]), shared: false, office: true };
            opening.encode().into_iter().chain([admission.encode().to_vec()]).collect()
        }
        _ => Vec::new(),
    };
    if found.is_empty() { vec![b"PK\x03\x04\x14\0\0\0\0\0".to_vec()] } else { found }
}
