//! Real devices on real networks: each host is a network namespace with cables of its own, and nothing leaves them.
//!
//! This program prints what it does and what it measured. Where the privilege or the kernel lacks what it takes, it
//! says NOT CHECKED and why.

mod device;
#[path = "networks/lab.rs"]
mod lab;

use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

use device::{Device, lists_only, wait_for};
use lab::Lab;

/// What is checked: its name, and what does it in a folder of its own.
type Check = (&'static str, fn(&Path));

const CHECKS: [Check; 5] = [
    ("a_slow_road_that_loses_frames_loses_no_entry", a_slow_road_that_loses_frames_loses_no_entry),
    ("three_are_cut_apart_and_joined_while_people_log", three_are_cut_apart_and_joined_while_people_log),
    ("a_device_that_changes_its_address_is_not_lost", a_device_that_changes_its_address_is_not_lost),
    ("two_networks_at_once_by_both_kinds_of_address", two_networks_at_once_by_both_kinds_of_address),
    ("mates_find_each_other_nearby_and_name_nobody", mates_find_each_other_nearby_and_name_nobody),
];

fn main() {
    if let Some(reason) = lab::why_not() {
        println!("NOT CHECKED  networks: no network namespaces can be made here ({reason})");
        return;
    }
    // As of any test program: what is named is done, and nothing else.
    let wanted: Vec<String> = std::env::args().skip(1).filter(|word| !word.starts_with('-')).collect();
    for (name, check) in CHECKS {
        if wanted.is_empty() || wanted.iter().any(|word| name.contains(word.as_str())) {
            let (folder, since) = (tempfile::tempdir().unwrap(), Instant::now());
            println!("network {name}");
            let _last_words = LastWords(folder.path());
            check(folder.path());
            println!("network {name} ... ok, {:.1} s", since.elapsed().as_secs_f32());
        }
    }
}

/// Shows what the devices said last, if a check fails.
struct LastWords<'a>(&'a Path);

impl Drop for LastWords<'_> {
    fn drop(&mut self) {
        if !std::thread::panicking() {
            return;
        }
        for entry in fs::read_dir(self.0).unwrap().map_while(Result::ok) {
            if entry.path().extension().is_some_and(|kind| kind == "log") {
                let log = fs::read_to_string(entry.path()).unwrap_or_default();
                let lines: Vec<&str> = log.lines().filter(|line| line.contains("net::")).collect();
                println!("--- the end of {}", entry.path().display());
                lines.iter().skip(lines.len().saturating_sub(40)).for_each(|line| println!("{line}"));
            }
        }
    }
}

/// A device on a host, which listens by all its addresses.
fn device(folder: &Path, name: &str, host: &str) -> Device {
    let mut device = Device::new(folder, name);
    device.host = Some(host.to_owned());
    device.address = "[::]:5105".parse().unwrap();
    device
}

/// A laptop that founded the crew and runs.
fn laptop(folder: &Path, host: &str) -> Device {
    let mut laptop = device(folder, "laptop", host);
    laptop.found();
    laptop.import(&lists_only(folder));
    laptop.start(&[]);
    laptop
}

/// A mate's phone that joins by a code with the laptop's own addresses, as `fivebar invite` finds them.
fn phone(folder: &Path, (laptop, host): (&Device, &str), (person, name): (&str, &str)) -> Device {
    let code = laptop.ask(&["invite", "--person", person])["code"].as_str().unwrap().to_owned();
    let phone = device(folder, name, host);
    phone.ask(&["join", &code, "--device", name]);
    phone
}

fn log(device: &Device, note: &str) {
    device.ask(&["log", "note", "--job", "GARAGE", "--note", note]);
}

fn log_of(device: &Device) -> String {
    fs::read_to_string(device.log()).unwrap()
}

/// Waits until all hold the same, and gives how long that took.
#[track_caller]
fn agree(devices: &[&Device]) -> Duration {
    let since = Instant::now();
    wait_for("all to hold the same", || {
        let first = devices[0].frontier();
        devices[1..].iter().all(|device| device.frontier() == first)
    });
    since.elapsed()
}

fn a_slow_road_that_loses_frames_loses_no_entry(folder: &Path) {
    let mut lab = Lab::new("slow");
    let (at_home, on_site) = (lab.host("home"), lab.host("site"));
    lab.cable(&at_home, "lap");
    lab.cable(&on_site, "pho");
    let (delay_ms, loss_percent) = (60, 4);
    let by = lab.poor_road(&[(&at_home, "lap"), (&on_site, "pho")], delay_ms, loss_percent);
    lab.address(&at_home, "lap", "10.77.1.1/24");
    lab.address(&on_site, "pho", "10.77.1.2/24");

    let laptop = laptop(folder, &at_home);
    let since = Instant::now();
    let mut phone = phone(folder, (&laptop, &on_site), ("Tobi Larch", "tobi-phone"));
    let joined = since.elapsed();
    phone.start(&[]);
    for round in 0..4 {
        log(&laptop, &format!("from home {round}"));
        log(&phone, &format!("from the site {round}"));
    }
    let took = agree(&[&laptop, &phone]);
    for round in 0..4 {
        assert_eq!(laptop.times_noted(&format!("from the site {round}")), 1);
        assert_eq!(phone.times_noted(&format!("from home {round}")), 1);
    }
    println!(
        "  {delay_ms} ms each way, {loss_percent} of 100 frames lost (by {by}): joined in {:.1} s, all agreed {:.1} s \
         after the last entry",
        joined.as_secs_f32(),
        took.as_secs_f32()
    );
}

fn three_are_cut_apart_and_joined_while_people_log(folder: &Path) {
    let mut lab = Lab::new("cut");
    let hosts = ["home", "tobi", "ines"].map(|name| lab.host(name));
    let cables = ["lap", "tob", "ine"];
    for (place, (host, cable)) in hosts.iter().zip(cables).enumerate() {
        lab.cable(host, cable);
        lab.address(host, cable, &format!("10.77.1.{}/24", place + 1));
    }
    lab.switch("house", &cables);
    let laptop = laptop(folder, &hosts[0]);
    let mut tobi = phone(folder, (&laptop, &hosts[1]), ("Tobi Larch", "tobi-phone"));
    let mut ines = phone(folder, (&laptop, &hosts[2]), ("Ines Quill", "ines-phone"));
    tobi.start(&[]);
    ines.start(&[]);
    agree(&[&laptop, &tobi, &ines]);

    let cut = Instant::now();
    lab.pull("tob");
    for round in 0..3 {
        log(&tobi, &format!("in the cellar {round}"));
        log(&laptop, &format!("in the office {round}"));
        log(&ines, &format!("on the scaffold {round}"));
    }
    // One of them is started anew in the cellar, and so has to call when it heals.
    tobi.stop();
    tobi.start(&[]);
    let apart = agree(&[&laptop, &ines]);
    assert_eq!(laptop.times_noted("in the cellar 0"), 0, "the cut is none");
    assert_eq!(tobi.times_noted("in the office 0"), 0, "the cut is none");
    let apart_for = cut.elapsed();
    lab.put_back("tob", "house");
    let healed = agree(&[&laptop, &tobi, &ines]);
    for device in [&laptop, &tobi, &ines] {
        for place in ["in the cellar 2", "in the office 2", "on the scaffold 2"] {
            assert_eq!(device.times_noted(place), 1, "{place}");
        }
    }
    println!(
        "  cut for {:.0} s: the two that were left agreed in {:.1} s, all three {:.1} s after it healed",
        apart_for.as_secs_f32(),
        apart.as_secs_f32(),
        healed.as_secs_f32()
    );
    for mut device in [laptop, tobi, ines] {
        device.stop();
        assert_eq!(device.ask(&["verify"])["damage"], serde_json::json!([]));
    }
}

/// A laptop's host and a phone's on one network.
fn two_hosts(lab: &mut Lab) -> (String, String) {
    let (at_home, on_site) = (lab.host("home"), lab.host("site"));
    lab.cable(&at_home, "lap");
    lab.cable(&on_site, "pho");
    lab.switch("house", &["lap", "pho"]);
    lab.address(&at_home, "lap", "10.77.1.1/24");
    lab.address(&on_site, "pho", "10.77.1.2/24");
    (at_home, on_site)
}

fn a_device_that_changes_its_address_is_not_lost(folder: &Path) {
    let mut lab = Lab::new("move");
    let (at_home, on_site) = two_hosts(&mut lab);
    let laptop = laptop(folder, &at_home);
    let mut phone = phone(folder, (&laptop, &on_site), ("Tobi Larch", "tobi-phone"));
    phone.start(&[]);
    log(&phone, "before");
    agree(&[&laptop, &phone]);
    let meetings = |device: &Device| log_of(device).matches("met a device of the crew").count();
    wait_for("one connection to be left", || log_of(&phone).contains("met a device of the crew"));
    let before = meetings(&laptop);

    // Who dialled moves: the connection goes on from the other address.
    lab.no_address(&on_site, "pho", "10.77.1.2/24");
    lab.address(&on_site, "pho", "10.77.1.72/24");
    log(&phone, "from another address");
    let moved = agree(&[&laptop, &phone]);
    assert!(log_of(&phone).contains("on other networks than before") || moved < Duration::from_secs(3));
    assert_eq!(meetings(&laptop), before, "the connection was made anew");

    // Who was dialled moves: nobody reaches it where it was, and it calls itself.
    lab.no_address(&at_home, "lap", "10.77.1.1/24");
    lab.address(&at_home, "lap", "10.77.1.71/24");
    log(&laptop, "from the office upstairs");
    let found = agree(&[&laptop, &phone]);
    assert_eq!(phone.times_noted("from the office upstairs"), 1);
    println!(
        "  the phone moved and went on after {:.1} s on the same connection; the laptop moved and was met after {:.1} s",
        moved.as_secs_f32(),
        found.as_secs_f32()
    );
}

fn two_networks_at_once_by_both_kinds_of_address(folder: &Path) {
    let mut lab = Lab::new("two");
    let (at_home, tobis, iness) = (lab.host("home"), lab.host("tobi"), lab.host("ines"));
    for (host, cable) in [(&at_home, "lapa"), (&at_home, "lapb"), (&tobis, "tob"), (&iness, "ine")] {
        lab.cable(host, cable);
    }
    lab.switch("house", &["lapa", "tob"]);
    lab.switch("site", &["lapb", "ine"]);
    lab.address(&at_home, "lapa", "10.77.1.1/24");
    lab.address(&tobis, "tob", "10.77.1.2/24");
    lab.address(&at_home, "lapb", "fd77::1/64");
    lab.address(&iness, "ine", "fd77::2/64");
    let laptop = laptop(folder, &at_home);
    let mut tobi = phone(folder, (&laptop, &tobis), ("Tobi Larch", "tobi-phone"));
    let mut ines = phone(folder, (&laptop, &iness), ("Ines Quill", "ines-phone"));
    tobi.start(&[]);
    ines.start(&[]);
    log(&tobi, "by the old kind of address");
    log(&ines, "by the new kind of address");
    let took = agree(&[&laptop, &tobi, &ines]);
    assert_eq!(tobi.times_noted("by the new kind of address"), 1);
    println!("  IPv4 on one and IPv6 on the other: all three agreed in {:.1} s", took.as_secs_f32());
}

fn mates_find_each_other_nearby_and_name_nobody(folder: &Path) {
    let mut lab = Lab::new("near");
    let (at_home, on_site) = two_hosts(&mut lab);
    let mut laptop = laptop(folder, &at_home);
    let mut phone = phone(folder, (&laptop, &on_site), ("Tobi Larch", "tobi-phone"));
    laptop.stop();
    // Both are somewhere else than where they last met, and no router gave the old addresses to anybody.
    for (host, cable, place) in [(&at_home, "lap", 1), (&on_site, "pho", 2)] {
        lab.no_address(host, cable, &format!("10.77.1.{place}/24"));
        lab.address(host, cable, &format!("10.78.9.{place}/24"));
    }
    let heard = folder.join("heard");
    let mut ear = lab.listen(&on_site, "pho", &heard);
    laptop.start(&[]);
    phone.start(&[]);
    log(&phone, "found by nothing but a shout");
    let took = agree(&[&laptop, &phone]);
    let is_announced = || fs::read(&heard).unwrap().windows(8).any(|bytes| bytes == b"_fivebar");
    wait_for("an announcement to be heard", is_announced);
    let _ = ear.kill();
    let _ = ear.wait();
    let heard = fs::read(&heard).unwrap();
    let key = laptop.ask(&["status"])["key"].as_str().unwrap().to_owned();
    let crew = laptop.ask(&["status"])["crew"].as_str().unwrap().to_owned();
    let bare = String::from_utf8_lossy(&heard).to_lowercase();
    for named in ["oake", "maren", "tobi", "larch", "laptop", "phone", &key[..8], &crew[..8]] {
        assert!(!bare.contains(named), "{named} can be read in what was announced");
    }
    println!("  on a network where neither knew the other's address: agreed in {:.1} s", took.as_secs_f32());
}
