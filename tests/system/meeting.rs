//! Three devices that log apart and meet on the loopback interface, as real processes.

mod device;

use std::fs;
use std::path::Path;

use device::{Device, expected, lists_only, scenario, wait_for};

/// A laptop with the lists, and two phones that joined it; none of them running.
fn crew(folder: &Path) -> [Device; 3] {
    let mut laptop = Device::new(folder, "laptop");
    laptop.found();
    laptop.import(&lists_only(folder));
    laptop.start(&[]);
    let phones = [("Tobi Larch", "tobi-phone"), ("Ines Quill", "ines-phone")].map(|(person, name)| {
        let phone = Device::new(folder, name);
        phone.ask(&["join", &laptop.invite(person), "--device", name]);
        phone
    });
    laptop.stop();
    let [tobi, ines] = phones;
    [laptop, tobi, ines]
}

/// Starts all three; the phones look for the laptop.
fn bring_together([laptop, tobi, ines]: &mut [Device; 3]) {
    laptop.start(&[]);
    for phone in [tobi, ines] {
        phone.start(&[laptop.address]);
    }
}

#[test]
fn three_devices_log_apart_and_agree_when_they_meet() {
    let folder = tempfile::tempdir().unwrap();
    let mut crew = crew(folder.path());
    let [laptop, tobi, ines] = &crew;
    laptop.import_entries(&scenario(), &["maren-laptop", "maren-phone"]);
    tobi.import_entries(&scenario(), &["tobi-phone"]);
    ines.import_entries(&scenario(), &["ines-phone"]);
    assert_ne!(laptop.frontier(), tobi.frontier());
    assert_ne!(laptop.ask(&["reconcile"])["time_on_job"], expected()["time_on_job"]);

    bring_together(&mut crew);
    let [laptop, tobi, ines] = &crew;
    wait_for("the three to hold the same", || {
        let held = laptop.frontier();
        held == tobi.frontier() && held == ines.frontier()
    });
    let (expected, figures) = (expected(), laptop.ask(&["reconcile"]));
    for table in ["time_on_job", "labour", "materials"] {
        assert_eq!(figures[table], expected[table], "{table}");
    }
    let preview = laptop.ask(&["invoice", "preview", "--until", "2026-11-08"]);
    assert_eq!(preview["invoices"], expected["invoices"]);
    let minutes = |device: &Device| {
        let figures = device.ask(&["reconcile"]);
        let lines = figures["labour"].as_array().unwrap().clone();
        lines.iter().map(|line| line["minutes"].as_u64().unwrap()).sum::<u64>()
    };
    assert_eq!(minutes(tobi), minutes(laptop));
    for device in &mut crew {
        device.stop();
        assert_eq!(device.ask(&["verify"])["damage"].as_array().unwrap().len(), 0);
    }
}

#[test]
fn a_code_is_used_once() {
    let folder = tempfile::tempdir().unwrap();
    let mut laptop = Device::new(folder.path(), "laptop");
    laptop.found();
    laptop.start(&[]);
    let code = laptop.invite("Tobi Larch");
    Device::new(folder.path(), "first").ask(&["join", &code, "--device", "first"]);
    let second = Device::new(folder.path(), "second");
    let complaint = second.refused(&["join", &code, "--device", "second"]);
    assert!(complaint.contains("42") && complaint.contains("once"), "{complaint}");
    let roster = laptop.ask(&["roster"]);
    assert_eq!(roster["devices"].as_array().unwrap().len(), 2, "{roster}");
}

#[test]
fn a_lost_phone_brings_nothing_more() {
    let folder = tempfile::tempdir().unwrap();
    let mut crew = crew(folder.path());
    let log = |device: &Device, note: &str| {
        device.ask(&["log", "note", "--job", "GARAGE", "--note", note]);
    };
    log(&crew[1], "before the loss");
    bring_together(&mut crew);
    wait_for("the first entry", || crew[0].times_noted("before the loss") == 1);

    crew[1].stop();
    crew[0].ask(&["retire", "tobi-phone", "--reason", "left on the bus"]);
    log(&crew[1], "after the loss");
    let address = crew[0].address;
    crew[1].start(&[address]);
    wait_for("the laptop to turn the phone away", || {
        fs::read_to_string(crew[0].log()).unwrap().contains("a peer must not be a retired device")
    });
    log(&crew[2], "from the phone that is still there");
    wait_for("the other phone's entry", || crew[0].times_noted("from the phone that is still there") == 1);
    assert_eq!(crew[0].times_noted("after the loss"), 0);
    assert_eq!(crew[2].times_noted("after the loss"), 0);
    assert_eq!(crew[0].times_noted("before the loss"), 1);
}
