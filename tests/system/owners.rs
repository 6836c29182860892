//! Two bosses who work apart, a shared machine that only passes things on, and a laptop that is replaced, as real
//! processes.

mod device;

use std::fs;
use std::path::Path;

use device::{Device, scenario, wait_for};
use serde_json::Value;

/// Maren's laptop with the week, and the laptop of Tobi, who is a boss by now; neither running.
fn two_bosses(folder: &Path) -> (Device, Device) {
    let mut first = Device::new(folder, "maren-laptop");
    first.found();
    first.import(&scenario());
    first.ask(&["role", "Tobi Larch", "owner"]);
    first.start(&[]);
    let second = Device::new(folder, "tobi-laptop");
    second.ask(&["join", &first.invite("Tobi Larch"), "--device", "tobi-laptop"]);
    first.stop();
    (first, second)
}

/// The two meet until both hold the same.
#[track_caller]
fn meet(one: &mut Device, other: &mut Device) {
    one.start(&[]);
    other.start(&[one.address]);
    // What the office wrote comes after what the crew's frontier counts, so the invoices are compared, too.
    wait_for("the two to hold the same", || {
        one.frontier() == other.frontier() && invoices(one) == invoices(other)
    });
    other.stop();
    one.stop();
}

/// Number, job and sum of each paper, in no order that means anything.
fn invoices(device: &Device) -> Vec<[String; 3]> {
    let listed = device.ask(&["invoice", "list"]);
    let mut papers: Vec<[String; 3]> = listed["invoices"].as_array().unwrap().iter().map(row).collect();
    papers.sort();
    papers
}

fn row(paper: &Value) -> [String; 3] {
    ["number", "job", "total"].map(|name| paper[name].to_string())
}

fn to_bill(device: &Device) -> Vec<String> {
    let preview = device.ask(&["invoice", "preview", "--until", "2026-11-08"]);
    let invoices = preview["invoices"].as_array().unwrap().iter();
    invoices.map(|invoice| invoice["job"].as_str().unwrap().to_owned()).collect()
}

#[test]
fn two_bosses_bill_apart_and_what_both_billed_is_owed_until_one_is_credited() {
    let folder = tempfile::tempdir().unwrap();
    let (mut first, mut second) = two_bosses(folder.path());
    meet(&mut first, &mut second);
    assert_eq!(to_bill(&second), ["GARAGE", "MILL"], "the second boss reads the office's prices");

    // In the cellar: both bill the garage, the second also the mill.
    first.ask(&["invoice", "issue", "GARAGE", "--until", "2026-11-06"]);
    second.ask(&["invoice", "issue", "GARAGE", "--until", "2026-11-06"]);
    second.ask(&["invoice", "issue", "MILL", "--until", "2026-11-08"]);
    meet(&mut first, &mut second);
    let papers = invoices(&first);
    let numbers: std::collections::BTreeSet<_> = papers.iter().map(|[number, ..]| number).collect();
    assert_eq!((papers.len(), numbers.len()), (3, 3), "no number twice: {papers:?}");
    for device in [&first, &second] {
        assert_eq!(to_bill(device), Vec::<String>::new());
        let asked = device.ask(&["sort-out"]).to_string();
        assert!(asked.contains("bill the same work"), "the double invoice is asked about: {asked}");
    }
    // One of them credits hers, and it is billed once.
    first.ask(&["invoice", "credit", "41", "--whole"]);
    meet(&mut first, &mut second);
    for device in [&first, &second] {
        assert!(!device.ask(&["sort-out"]).to_string().contains("bill the same work"));
        assert_eq!(to_bill(device), Vec::<String>::new(), "the other invoice still bills it");
    }
}

#[test]
fn nobody_takes_off_whoever_let_them_in() {
    let folder = tempfile::tempdir().unwrap();
    let (mut first, mut second) = two_bosses(folder.path());
    meet(&mut first, &mut second);
    let complaint = second.refused(&["retire", "maren-laptop"]);
    assert!(complaint.contains("recovery words"), "{complaint}");
    second.ask(&["log", "note", "--job", "GARAGE", "--note", "before the quarrel"]);
    meet(&mut first, &mut second);
    first.ask(&["retire", "tobi-laptop", "--reason", "sold"]);
    second.ask(&["log", "note", "--job", "GARAGE", "--note", "after the quarrel"]);
    first.start(&[]);
    second.start(&[first.address]);
    wait_for("the laptop to be turned away", || {
        fs::read_to_string(first.log()).unwrap().contains("a peer must not be a retired device")
    });
    assert_eq!((first.times_noted("before the quarrel"), first.times_noted("after the quarrel")), (1, 0));
}

#[test]
fn a_shared_machine_without_the_office_passes_on_what_it_cannot_read() {
    let folder = tempfile::tempdir().unwrap();
    let (mut first, mut second) = two_bosses(folder.path());
    meet(&mut first, &mut second);
    first.start(&[]);
    let mut stand = Device::new(folder.path(), "stand");
    let at = first.address.to_string();
    let invited = ["invite", "--person", "Ines Quill", "--shared", "--at", at.as_str()];
    let code = first.ask(&invited)["code"].as_str().unwrap().to_owned();
    stand.ask(&["join", &code, "--device", "stand"]);
    // Whoever has not heard of the stand turns it away.
    second.start(&[first.address]);
    wait_for("the second to hear of the stand", || second.frontier() == first.frontier());
    second.stop();
    first.ask(&["invoice", "issue", "GARAGE", "--until", "2026-11-06"]);
    stand.start(&[first.address]);
    wait_for("the stand to hold the same", || stand.frontier() == first.frontier());
    // The first is off now; the second gets the invoice from the stand, which can't read it.
    let chains = |device: &Device| device.ask(&["status"])["chains"].as_array().unwrap().clone();
    let office = |device: &Device| -> Vec<(String, u64)> {
        let rows = chains(device);
        let office = rows.iter().filter(|chain| chain["audience"] == "office");
        let mut held: Vec<_> =
            office.map(|chain| (chain["chain"].to_string(), chain["events"].as_u64().unwrap())).collect();
        held.sort();
        held
    };
    wait_for("the stand to hold the office's chains", || office(&stand) == office(&first));
    first.stop();
    second.start(&[stand.address]);
    wait_for("the invoice to come by way of the stand", || invoices(&second).len() == 1);
    assert_eq!(invoices(&stand).len(), 0);
}

#[test]
fn a_laptop_that_is_replaced_stays_the_same_device() {
    let folder = tempfile::tempdir().unwrap();
    let (mut first, mut second) = two_bosses(folder.path());
    let mut replaced = Device::new(folder.path(), "new-disk");
    let complaint = {
        first.start(&[]);
        let complaint = first.refused(&["move", replaced.data.to_str().unwrap()]);
        first.stop();
        complaint
    };
    assert!(complaint.contains("another fivebar is using"), "{complaint}");
    let before = first.ask(&["status"]);
    first.ask(&["move", replaced.data.to_str().unwrap()]);
    assert_eq!(replaced.ask(&["status"]), before);
    assert!(first.refused(&["status"]).contains("was moved to"));
    replaced.ask(&["log", "note", "--job", "GARAGE", "--note", "on the new disk"]);
    let chains = |status: &Value| status["chains"].as_array().unwrap().len();
    assert_eq!(chains(&replaced.ask(&["status"])), chains(&before), "it goes on in its chains");
    meet(&mut replaced, &mut second);
    assert_eq!(second.times_noted("on the new disk"), 1);
}
