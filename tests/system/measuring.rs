//! Measuring up by the program itself: a room's file in, quantities, drawings and costing out, with and
//! without a ledger and through `fivebar run`.

mod device;

use std::fs;

use device::{Device, lists_only};

const ROOM: &str = "\
room: Garage
wall back: 4100 x 2400, studs from left, board from right, skim
  door: 838 x 2032 at 1500
cable lights: 9400, of 1.5, 6 A, lighting
";

#[test]
fn a_room_is_measured_without_a_ledger_and_drawn() {
    let folder = tempfile::tempdir().unwrap();
    let laptop = Device::new(folder.path(), "laptop");
    let room = folder.path().join("garage.txt");
    fs::write(&room, ROOM).unwrap();
    let (room, drawings) = (room.to_str().unwrap(), folder.path().join("drawings"));
    let answer = laptop.ask(&["measure", room, "--drawings", drawings.to_str().unwrap()]);
    let lines = answer["lines"].as_array().unwrap();
    let studs = lines.iter().find(|line| line["work"] == "stud walls").unwrap();
    assert!(studs["working"].as_str().unwrap().contains("uprights"), "{studs}");
    let drawn = fs::read_to_string(drawings.join("garage-wall-back.svg")).unwrap();
    assert!(drawn.starts_with("<svg") && drawn.contains("stud centres from the left end"));
    assert!(!laptop.data.exists(), "nothing is founded by it");

    let printed = laptop.output(&["measure", room]);
    let page = String::from_utf8(printed.stdout).unwrap();
    for part in ["plasterboard 2400x1200x12.5", "Cutting plasterboard", "Worked out", "To mind"] {
        assert!(page.contains(part), "{part:?} is missing:\n{page}");
    }
    assert!(page.lines().count() > 20);
}

#[test]
fn own_figures_and_lines_of_the_command_count_and_bad_ones_are_named() {
    let folder = tempfile::tempdir().unwrap();
    let laptop = Device::new(folder.path(), "laptop");
    fs::create_dir(&laptop.data).unwrap();
    fs::write(laptop.data.join("measuring.txt"), "set skim minutes: 10\n").unwrap();
    let room = ["measure", "--line", "room: Store", "--line", "wall a: 3m x 2400, skim"];
    let hours = laptop.ask(&room)["hours"].clone();
    assert_eq!(hours[0]["working"], "7.2 m2 at 10 min/m2 (your own)");
    let figures = laptop.ask(&["measure", "--figures"]);
    let skim = figures["figures"]
        .as_array()
        .unwrap()
        .iter()
        .find(|row| row["name"] == "skim minutes")
        .unwrap()
        .clone();
    assert_eq!((skim["value"].as_str(), skim["default"].as_str()), (Some("10"), Some("17")));

    let bad = ["measure", "--line", "room: Store", "--line", "wall a: 3 furlongs x 2400"];
    let complaint = laptop.refused(&bad);
    assert!(
        complaint.contains("line 2: wall a: \"furlongs\" in \"3 furlongs\" is not a unit of length"),
        "{complaint}"
    );
    assert!(laptop.refused(&["measure", "nowhere.txt"]).contains("nowhere.txt: it can't be read"));
    assert!(laptop.refused(&["measure"]).contains("<FILE>"));
}

#[test]
fn a_room_goes_into_the_costing_through_the_daemon() {
    let folder = tempfile::tempdir().unwrap();
    let mut laptop = Device::new(folder.path(), "laptop");
    laptop.found();
    laptop.import(&lists_only(folder.path()));
    let room = folder.path().join("garage.txt");
    fs::write(&room, format!("{ROOM}item cable clip: back box 35\n")).unwrap();
    let room = room.to_str().unwrap();
    laptop.start(&[]);
    let shown = laptop.ask(&["measure", room, "--job", "GARAGE"]);
    assert!(shown["costing"]["saved"].is_null());
    let saved = laptop.ask(&["measure", room, "--job", "GARAGE", "--save"]);
    assert!(saved["costing"]["saved"]["written"].as_u64().unwrap() > 0);
    laptop.stop();
    // Straight, too, the same room says nothing new.
    let again = laptop.ask(&["measure", room, "--job", "GARAGE", "--save"]);
    assert_eq!(again["costing"]["saved"]["written"], 0);
}

#[test]
fn a_room_is_kept_with_the_job_and_measured_anew() {
    let folder = tempfile::tempdir().unwrap();
    let mut laptop = Device::new(folder.path(), "laptop");
    laptop.found();
    laptop.import(&lists_only(folder.path()));
    laptop.start(&[]);
    let room =
        |length: &str| ["room: Store".to_owned(), format!("wall back: {length} x 2400, studs, board, skim")];
    let keep = |laptop: &Device, [name, wall]: [String; 2]| {
        laptop.ask(&["measure", "--job", "GARAGE", "--keep", "--line", &name, "--line", &wall])
    };
    assert_eq!(keep(&laptop, room("3600"))["kept"], true);
    // The same name in other letters is the same room, measured anew.
    let again = keep(&laptop, ["room: STORE".to_owned(), room("4800")[1].clone()]);
    let rooms = laptop.ask(&["measure", "--job", "GARAGE", "--rooms"])["rooms"].clone();
    assert_eq!(rooms.as_array().unwrap().len(), 1, "{rooms}");
    assert_eq!(rooms[0]["text"], "room: STORE\nwall back: 4800 x 2400, studs, board, skim");
    let costed = laptop.ask(&[
        "measure",
        "--job",
        "GARAGE",
        "--kept",
        "store",
        "--hour-cost",
        "19",
        "--hour-charge",
        "36",
    ]);
    assert_eq!(costed["lines"], again["lines"]);
    assert!(costed["costing"]["lines"].as_array().unwrap().len() > 2, "{costed}");
    let complaint = laptop.refused(&["measure", "--job", "GARAGE", "--kept", "shed"]);
    assert!(complaint.contains("there is no room \"shed\" on GARAGE; there are: STORE"), "{complaint}");
    let complaint = laptop.refused(&[
        "measure",
        "--job",
        "GARAGE",
        "--keep",
        "--line",
        "room: Store",
        "--line",
        "wall a: 0 x 2400",
    ]);
    assert!(complaint.contains("line 2"), "{complaint}");
    let left = laptop.ask(&["measure", "--job", "GARAGE", "--drop", "Store"]);
    assert_eq!(left["rooms"].as_array().unwrap().len(), 0, "{left}");
    laptop.stop();
}

#[test]
fn the_usual_waits_are_told_with_who_states_them() {
    let folder = tempfile::tempdir().unwrap();
    let laptop = Device::new(folder.path(), "laptop");
    laptop.found();
    let waits = laptop.ask(&["waits"])["waits"].clone();
    let tiles =
        waits.as_array().unwrap().iter().find(|wait| wait["what"] == "new plaster before tiles").unwrap();
    assert_eq!((tiles["length"].as_str(), tiles["minutes"].as_u64()), (Some("28 days"), Some(40_320)));
    assert!(tiles["source"].as_str().unwrap().contains("BS 5385"), "{tiles}");
}
