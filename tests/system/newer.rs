//! A crew in which one device is newer than the others: what it writes is kept, passed on, asked about,
//! and counts for nothing; and nothing is billed past it.

mod device;

use device::{Device, lists_only, scenario, wait_for};
use ledger::RunBuilder;
use serde_json::Value;

/// A number that no kind has.
const KIND_OF_LATER: u16 = 60_000;

/// Writes what a later program might write: an event of a kind that this one does not know, well-formed,
/// chained and signed by the device itself. The program has no way to do this.
fn write_as_later_program(device: &Device) {
    let mut node = daemon::Node::open(&device.data).unwrap();
    let own = node.ledger().chain(&node.device().crew_chain.unwrap()).unwrap().clone();
    let mut run = RunBuilder::new(own.start, own.tip);
    run.push(own.tip.made_at, KIND_OF_LATER, 1, b"\0what only a later program reads").unwrap();
    let (run, _) = run.finish(&node.crew(), &node.secret()).unwrap();
    assert_eq!(node.store_runs(|_| None, &[run]).unwrap(), [Ok(())]);
}

/// The questions about events that can't be read.
fn unreadable(device: &Device) -> Vec<Value> {
    let answer = device.ask(&["sort-out"]);
    let questions = answer["questions"].as_array().unwrap().iter();
    questions.filter(|question| question["kind"] == "unreadable").cloned().collect()
}

#[test]
fn what_a_newer_program_wrote_is_passed_on_and_nothing_is_billed_past_it() {
    let folder = tempfile::tempdir().unwrap();
    let mut laptop = Device::new(folder.path(), "laptop");
    laptop.found();
    laptop.import(&lists_only(folder.path()));
    laptop.start(&[]);
    let [mut tobi, mut ines] =
        [("Tobi Larch", "tobi-phone"), ("Ines Quill", "ines-phone")].map(|(person, name)| {
            let phone = Device::new(folder.path(), name);
            phone.ask(&["join", &laptop.invite(person), "--device", name]);
            phone
        });
    laptop.import(&scenario());
    tobi.ask(&["log", "note", "--job", "GARAGE", "--note", "before the update"]);
    let meets_laptop = |phone: &mut Device| {
        phone.start(&[laptop.address]);
        wait_for("the phone and the laptop to hold the same", || phone.frontier() == laptop.frontier());
        phone.stop();
    };
    meets_laptop(&mut tobi);
    meets_laptop(&mut ines);
    let figures = |device: &Device| device.ask(&["reconcile"]);
    let before = (figures(&laptop), figures(&ines));
    assert!(unreadable(&laptop).is_empty());

    write_as_later_program(&tobi);
    meets_laptop(&mut tobi);
    // Tobi's phone is off now, so Ines can have it from the laptop only.
    meets_laptop(&mut ines);
    assert_eq!(ines.frontier(), tobi.frontier());
    for device in [&laptop, &ines] {
        let questions = unreadable(device);
        let [question] = questions.as_slice() else { panic!("one question, not {questions:?}") };
        assert!(question["text"].as_str().unwrap().contains("newer program"), "{question}");
    }
    assert_eq!((figures(&laptop), figures(&ines)), before);

    let to_bill = laptop.ask(&["invoice", "preview", "--until", "2026-11-08"]);
    let jobs: Vec<_> =
        to_bill["invoices"].as_array().unwrap().iter().map(|invoice| &invoice["job"]).collect();
    assert!(jobs.contains(&&"GARAGE".into()), "without something to bill, a refusal would show nothing");
    let complaint = laptop.refused(&["invoice", "issue", "GARAGE", "--until", "2026-11-06"]);
    assert!(complaint.contains("newer") && complaint.contains("Update"), "{complaint}");
    assert_eq!(laptop.ask(&["invoice", "list"])["invoices"], Value::Array(Vec::new()));
}
