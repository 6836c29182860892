//! Every byte that the ledger writes, held against files that are kept beside the format's text.
//!
//! A changed byte fails here. `FIVEBAR_WRITE_VECTORS=1` writes the files anew; that is right for a
//! new kind, and wrong for a kind that anybody has ever written.

#![expect(clippy::disallowed_methods, reason = "the kept vectors are files; the ledger itself opens none")]

mod common;

use std::collections::BTreeSet;
use std::path::{Path, PathBuf};

use common::{CREW, MONDAY_MS, act, chain_id, samples, secret};
use ledger::chain::head_bytes;
use ledger::event::KIND_VERSION;
use ledger::recovery::is_certificate;
use ledger::roster_events::OfficeKeysGiven;
use ledger::{
    Audience, Body, ChainStart, CrewId, DeviceSecret, EntryId, ItemId, JobId, Kind, LineId, OfficeKey,
    OfficeKeys, Payload, PersonId, RecoverySecret, Run, RunBuilder, StageId, Tip, Unreadable,
};
use serde_json::{Value, json};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../proto/vectors")
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

fn kind_name(kind: Kind) -> String {
    serde_json::to_value(kind).unwrap().as_str().unwrap().to_owned()
}

/// The content alone: the name of the kind around it is said elsewhere.
fn content(body: &Body) -> Value {
    let named = serde_json::to_value(body).unwrap();
    named.get(kind_name(body.kind())).unwrap().clone()
}

/// Compares values, not text: the order of a JSON object's keys says nothing.
fn compare(name: &str, made: &Value) {
    let path = folder().join(name);
    if std::env::var_os("FIVEBAR_WRITE_VECTORS").is_some() {
        std::fs::write(&path, format!("{}\n", serde_json::to_string_pretty(made).unwrap())).unwrap();
        return;
    }
    let kept = std::fs::read_to_string(&path).unwrap_or_else(|error| panic!("{name} is missing: {error}"));
    let kept: Value = serde_json::from_str(&kept).unwrap();
    assert!(
        kept == *made,
        "{name} differs from what this version writes; a format, once used, never changes"
    );
}

fn file_name(kind: Kind) -> String {
    format!("payload-{:03}-{}.json", kind.number(), kind_name(kind))
}

#[test]
fn every_kind_writes_the_bytes_that_are_kept() {
    let samples = samples();
    for kind in Kind::ALL.iter().copied() {
        let of_kind: Vec<&Payload> = samples.iter().filter(|sample| sample.body.kind() == kind).collect();
        assert!(!of_kind.is_empty(), "{kind:?} has no sample");
        let written: Vec<Value> = of_kind
            .iter()
            .map(|sample| {
                let bytes = sample.encode().unwrap();
                let read = Payload::decode(kind.number(), KIND_VERSION, &bytes);
                assert_eq!(read.as_ref(), Ok(*sample));
                json!({ "bytes": hex(&bytes), "act": sample.act, "content": content(&sample.body) })
            })
            .collect();
        let made = json!({
            "kind": kind.number(),
            "name": kind_name(kind),
            "version": KIND_VERSION,
            "samples": written,
        });
        compare(&file_name(kind), &made);
    }
}

/// A file that no kind accounts for would look checked and not be.
#[test]
fn no_file_is_kept_for_a_kind_that_is_gone() {
    let expected: BTreeSet<String> = Kind::ALL.iter().copied().map(file_name).collect();
    let kept =
        std::fs::read_dir(folder()).unwrap().map(|file| file.unwrap().file_name().into_string().unwrap());
    let left_over: Vec<String> =
        kept.filter(|name| name.starts_with("payload-") && !expected.contains(name)).collect();
    assert_eq!(left_over, Vec::<String>::new());
}

/// People's JSON leads back to the same content.
#[test]
fn the_form_for_people_leads_back() {
    for sample in samples() {
        let text = serde_json::to_string(&sample.body).unwrap();
        let read: Body = serde_json::from_str(&text).unwrap();
        assert_eq!(read, sample.body);
        let text = serde_json::to_string(&sample.act).unwrap();
        assert_eq!(serde_json::from_str::<ledger::Act>(&text).unwrap(), sample.act);
    }
}

#[test]
fn derived_ids_are_those_that_are_kept() {
    let id = |what: &str, words: &[&str], id: String| json!({ "what": what, "words": words, "id": id });
    let made = json!({
        "crew": CREW,
        "ids": [
            id("person", &["Inés Quill"], PersonId::named(&CREW, "Inés Quill").to_string()),
            id("job", &["GARAGE"], JobId::named(&CREW, "GARAGE").to_string()),
            id("stage", &["GARAGE", "skim"], StageId::named(&CREW, "GARAGE", "skim").to_string()),
            id("item", &[""], ItemId::named(&CREW, "").to_string()),
            id(
                "costing line",
                &["GARAGE", "skim", "labour", "hours"],
                LineId::named(&CREW, "GARAGE", "skim", "labour", "hours").to_string(),
            ),
            id("row", &["entries", "e017"], EntryId::of_row(&CREW, "entries", "e017").to_string()),
        ],
    });
    compare("ids.json", &made);
}

/// The words of a paper, the key that they derive, and a certificate that it signs.
#[test]
fn a_certificate_of_the_recovery_words_has_the_bytes_that_are_kept() {
    let entropy = [0x7f; 16];
    let words = RecoverySecret::from_entropy(entropy);
    let start = ChainStart { chain: chain_id(0xa4), device: secret(9).public(), audience: Audience::Crew };
    let mut act = act(Kind::Recovered, 0);
    act.replaces = vec![common::event(3), common::event(4)];
    let sample = samples().into_iter().find_map(|sample| match sample.body {
        Body::Recovered(recovered) => Some(recovered),
        _ => None,
    });
    let sample = sample.unwrap();
    let named = (sample.name, sample.person);
    let recovered = words.certify(&CREW, &start, &act.replaces, named, sample.retires).unwrap();
    let payload = Payload { act, body: Body::Recovered(recovered) };
    assert!(is_certificate(&CREW, &words.public(), &start, &payload));
    let made = json!({
        "entropy": hex(&entropy),
        "words": words.words().join(" "),
        "recovery_key": words.public(),
        "crew": CREW,
        "start": hex(&start.encode()),
        "payload": hex(&payload.encode().unwrap()),
    });
    compare("recovery.json", &made);
}

/// A key of the office, given to a device, and a run that is sealed with it.
#[test]
fn what_is_sealed_has_the_bytes_that_are_kept() {
    let key = OfficeKey::from_random([0x0e; 32]);
    let given = key.give(secret(2).public(), &secret(8)).unwrap();
    let start = ChainStart { chain: chain_id(0xa5), device: secret(1).public(), audience: Audience::Office };
    let samples = samples().into_iter().filter(|sample| sample.body.kind() == Kind::PersonRated);
    let mut builder = RunBuilder::new(start, start.tip(&CREW));
    let mut plain = Vec::new();
    for (number, sample) in (0_u8..).zip(samples) {
        let (kind, bytes) = (sample.body.kind().number(), sample.encode().unwrap());
        let sealed = (&key, &[number; 24]);
        builder.push_sealed(MONDAY_MS, (kind, KIND_VERSION), &bytes, sealed).unwrap();
        plain.push(bytes);
    }
    let (run, _) = builder.finish(&CREW, &secret(1)).unwrap();
    let received = OfficeKeysGiven { keys: vec![given] };
    let keys = OfficeKeys::received([(&secret(1).public(), &received)], &secret(2));
    for ((seq, view), plain) in (0..).zip(run.events()).zip(&plain) {
        let opened = Payload::open(start.chain, seq, &view, &keys).unwrap();
        assert_eq!(opened.encode().as_ref(), Ok(plain));
        assert_eq!(Payload::open(start.chain, seq + 1, &view, &keys), Err(Unreadable::Malformed));
        assert_eq!(Payload::open(start.chain, seq, &view, &OfficeKeys::default()), Err(Unreadable::Sealed));
    }
    let plain: Vec<String> = plain.iter().map(|bytes| hex(bytes)).collect();
    let made = json!({
        "key": hex(&[0x0e; 32]),
        "device_seed": hex(&secret(2).seed()[..]),
        "given": given,
        "run": hex(run.bytes()),
        "payloads": plain,
    });
    compare("sealed.json", &made);
}

/// Builds runs on one chain and writes down what a reader must find in them.
struct Writer {
    start: ChainStart,
    secret: DeviceSecret,
    tip: Tip,
    now_ms: i64,
}

impl Writer {
    fn new(start: ChainStart, secret: DeviceSecret, tip: Tip) -> Self {
        Self { start, secret, tip, now_ms: MONDAY_MS }
    }

    fn run(&mut self, crew: &CrewId, bodies: &[Body]) -> (Run, Value) {
        let before = self.tip;
        let mut builder = RunBuilder::new(self.start, before);
        for (place, body) in (0_u8..).zip(bodies) {
            let payload = Payload { act: act(body.kind(), place), body: body.clone() };
            self.now_ms += 61_007;
            let bytes = payload.encode().unwrap();
            builder.push(self.now_ms, body.kind().number(), KIND_VERSION, &bytes).unwrap();
        }
        let (run, after) = builder.finish(crew, &self.secret).unwrap();
        assert_eq!(Run::decode(run.bytes().to_vec()).as_ref(), Ok(&run));
        assert_eq!(run.verify(crew, &self.start, &before), Ok(after));
        self.tip = after;
        let value = self.describe(crew, &before, &run);
        (run, value)
    }

    fn describe(&self, crew: &CrewId, before: &Tip, run: &Run) -> Value {
        let events: Vec<Value> = run
            .placed_events(before.hash)
            .zip(run.events())
            .map(|(placed, view)| {
                let payload = Payload::decode(view.kind, view.kind_version, view.payload).unwrap();
                json!({
                    "seq": placed.seq,
                    "hash": placed.hash,
                    "made_at": view.made_at,
                    "kind": view.kind,
                    "kind_version": view.kind_version,
                    "act": payload.act,
                    "content": content(&payload.body),
                })
            })
            .collect();
        let seq = self.tip.next_seq - 1;
        json!({
            "chain": self.start.chain,
            "bytes": hex(run.bytes()),
            "hash_before": before.hash,
            "events": events,
            "head": { "seq": seq, "hash": self.tip.hash },
            "head_bytes": hex(&head_bytes(crew, &self.start.chain, seq, &self.tip.hash)),
        })
    }
}

fn start_value(start: &ChainStart, anchor_crew: &CrewId) -> Value {
    json!({
        "bytes": hex(&start.encode()),
        "chain": start.chain,
        "device": start.device,
        "audience": start.audience,
        "anchor": start.anchor(anchor_crew),
    })
}

/// The whole of a small ledger: the founding, lists on the founder's chain, hours on a mate's
/// phone, and prices on the office's chain.
#[test]
fn a_small_ledger_has_the_bytes_that_are_kept() {
    let bodies: Vec<Body> = samples().into_iter().map(|sample| sample.body).collect();
    let first = |kind: Kind| bodies.iter().find(|body| body.kind() == kind).unwrap().clone();
    let no_crew = CrewId([0; 32]);

    // The crew id is the hash of the founding event, and the head that signs it names the crew.
    let laptop = ChainStart { chain: chain_id(0xa1), device: secret(1).public(), audience: Audience::Crew };
    let mut founding = RunBuilder::new(laptop, laptop.tip(&no_crew));
    let founded = Payload { act: act(Kind::CrewFounded, 0), body: first(Kind::CrewFounded) };
    let kind = Kind::CrewFounded.number();
    let hash = founding.push(MONDAY_MS, kind, KIND_VERSION, &founded.encode().unwrap()).unwrap();
    let crew = CrewId(hash.0);
    let (founding, founded_tip) = founding.finish(&crew, &secret(1)).unwrap();

    let (ledger, start, run) =
        ledger::Ledger::found(laptop.chain, &secret(1), MONDAY_MS, &founded.encode().unwrap()).unwrap();
    assert_eq!((ledger.crew(), start, &run), (crew, laptop, &founding));

    let mut on_laptop = Writer::new(laptop, secret(1), founded_tip);
    let founding_value = on_laptop.describe(&crew, &laptop.tip(&no_crew), &founding);
    let lists =
        [Kind::PersonListed, Kind::DeviceAdmitted, Kind::JobListed, Kind::StageListed, Kind::ItemListed];
    let (_, lists) = on_laptop.run(&crew, &lists.map(first));

    let phone = ChainStart { chain: chain_id(0xa2), device: secret(2).public(), audience: Audience::Crew };
    let mut on_phone = Writer::new(phone, secret(2), phone.tip(&crew));
    let (_, morning) = on_phone.run(&crew, &[Kind::Hours, Kind::Used, Kind::Test].map(first));
    let (_, evening) = on_phone.run(&crew, &[Kind::Corrected].map(first));

    let office = ChainStart { chain: chain_id(0xa3), device: secret(1).public(), audience: Audience::Office };
    let mut in_office = Writer::new(office, secret(1), office.tip(&crew));
    let kinds = [Kind::FirmListed, Kind::PersonRated, Kind::ItemPriced, Kind::InvoiceIssued];
    let (_, prices) = in_office.run(&crew, &kinds.map(first));

    let made = json!({
        "crew": crew,
        "secret_seeds": {
            "laptop": hex(&secret(1).seed()[..]),
            "phone": hex(&secret(2).seed()[..]),
        },
        "chains": [start_value(&laptop, &no_crew), start_value(&phone, &crew), start_value(&office, &crew)],
        "runs": [founding_value, lists, morning, evening, prices],
    });
    compare("ledger.json", &made);
}
