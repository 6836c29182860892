//! Every kind of event has a way in from the command line. Each is written here by the program itself, once
//! straight and once through `fivebar run`, and read back from the export.

mod device;

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::{BufRead as _, BufReader, Write as _};
use std::net::TcpStream;

use device::{Device, lists_only, scenario};
use ledger::Kind;
use serde_json::{Value, json};

/// How an event of a kind comes about.
enum WayIn {
    /// By these lines. `@kind` stands for the key of the entry that was logged of that kind, and `@question`
    /// for a question's.
    Typed(&'static [&'static [&'static str]]),
    /// Not by a line that this one device can be given: why, and what tests it.
    Apart(&'static str),
}

use WayIn::{Apart, Typed};

const PLASTER: &[&str] = &["--what", "finish plaster", "--quantity", "1", "--unit", "bag"];

/// The lines that bring an event of a kind in. A new kind does not compile until it has some.
fn way_in(kind: Kind) -> WayIn {
    match kind {
        Kind::CrewFounded => Apart("`found`, which begins every test"),
        Kind::PersonListed => Typed(&[&["person", "add", "Sef Moor", "--cost", "17", "--charge", "30"]]),
        Kind::RoleChanged => Typed(&[&["role", "Ines Quill", "lead"]]),
        Kind::DeviceAdmitted => Apart("`invite` and `join` need a second device: meeting.rs"),
        Kind::DeviceRetired => Apart("`retire` needs a second device: meeting.rs"),
        Kind::SessionOpened | Kind::SessionClosed => {
            Apart("written by the page when somebody opens or leaves it")
        }
        Kind::Recovered => Apart("`come-back` needs a device that was lost: coming_back.rs"),
        Kind::OfficeKeysGiven => Apart("written beside what is sealed for the office: sealing.rs"),
        Kind::ItemListed => Typed(&[
            &[
                "item",
                "add",
                "lime putty",
                "--unit",
                "kg",
                "--pack",
                "bag",
                "--pack-size",
                "25",
                "--pack-cost",
                "11.40",
            ],
            &["item", "change", "lime putty", "--pack-size", "20"],
        ]),
        Kind::JobListed => Typed(&[&[
            "job",
            "add",
            "BARN",
            "--customer",
            "the Holts",
            "--customer-kind",
            "householder",
            "--basis",
            "fixed",
            "--vat-rate",
            "20",
            "--billing-address",
            "1 Mill Lane, Overby",
        ]]),
        Kind::StageListed => Typed(&[
            &["stage", "add", "BARN", "board"],
            &["stage", "add", "BARN", "skim", "--after", "board", "--wait-hours", "24"],
        ]),
        Kind::LineListed => Typed(&[&[
            "line",
            "add",
            "BARN",
            "skim",
            "--kind",
            "labour",
            "--what",
            "plasterer",
            "--quantity",
            "16",
            "--unit",
            "hour",
            "--unit-cost",
            "19",
            "--unit-price",
            "36",
        ]]),
        Kind::AliasTaught => {
            Typed(&[&["word", "means", "putty", "--item", "lime putty"], &["word", "forget", "putty"]])
        }
        Kind::Surveyed => Typed(&[&["survey", "BARN", "stopcock", "under the sink"]]),
        Kind::NeedListed => Typed(&[
            &["need", "BARN", "skim", "people", "2"],
            &["need", "BARN", "skim", "choice", "which ceiling"],
            &["need", "BARN", "skim", "choice", "which ceiling", "--met", "flat, by word"],
        ]),
        Kind::FillInListed => Typed(&[
            &["fill-in", "add", "BARN", "cut the beads", "--minutes", "30", "--can-drop"],
            &["fill-in", "done", "BARN", "cut the beads"],
        ]),
        Kind::LimitSet => {
            Typed(&[&["limit", "BARN", "timber moisture", "<18", "%", "--source", "the drawing"]])
        }
        Kind::RoomMeasured => Typed(&[&[
            "measure",
            "--job",
            "BARN",
            "--keep",
            "--line",
            "room: Store",
            "--line",
            "wall back: 3600 x 2400, studs, board, skim",
        ]]),
        Kind::Hours => Typed(&[&["log", "hours", "--job", "BARN", "--stage", "board", "--minutes", "90"]]),
        Kind::WorkStarted => Typed(&[&["start", "--job", "BARN", "--stage", "board"]]),
        Kind::WorkSwitched => Typed(&[&["switch", "--job", "BARN", "--stage", "skim"]]),
        Kind::WorkStopped => Typed(&[&["stop"]]),
        Kind::Away => {
            Typed(&[&["log", "away", "--on", "2026-11-09", "--until", "2026-11-10", "--note", "ill"]])
        }
        Kind::Bought => Typed(&[&["log", "bought", "--job", "BARN", "--ticket", "4471", "--total", "54.30"]]),
        Kind::Delivered => material("delivered", &["--ticket", "D7"]),
        Kind::Used => material("used", &[]),
        Kind::Wasted => material("wasted", &["--note", "gone off"]),
        Kind::Returned => material("returned", &["--into", "merchant"]),
        Kind::Moved => material("moved", &["--out-of", "van", "--into", "job"]),
        Kind::HireBegan => Typed(&[&[
            "log",
            "hire-on",
            "--job",
            "BARN",
            "--what",
            "tower",
            "--supplier",
            "the yard",
            "--net",
            "30",
            "--per",
            "week",
            "--minimum",
            "60",
        ]]),
        Kind::HireEnded => Typed(&[&["log", "hire-off", "--entry", "@hire_began"]]),
        Kind::Expense => {
            Typed(&[&["log", "expense", "--job", "BARN", "--what", "parking", "--total", "8.40"]])
        }
        Kind::Mileage => Typed(&[&["log", "mileage", "--job", "BARN", "--quantity", "24"]]),
        Kind::Test => Typed(&[&[
            "log",
            "reading",
            "--job",
            "BARN",
            "--what",
            "pressure test",
            "--quantity",
            "4.5",
            "--unit",
            "bar",
        ]]),
        Kind::Photo => {
            Typed(&[&["log", "photo", "--job", "BARN", "--stage", "board", "--photo", "@file", "--behind"]])
        }
        Kind::Note => Typed(&[&["log", "note", "--job", "BARN", "--note", "key is next door"]]),
        Kind::SnagRaised => {
            Typed(&[&["log", "snag", "--job", "BARN", "--at", "long wall", "--note", "nail pops"]])
        }
        Kind::SnagCleared => Typed(&[&["log", "snag-cleared", "--entry", "@snag_raised"]]),
        Kind::ExtraAsked => {
            Typed(&[&["log", "asked", "--job", "BARN", "--what", "outside tap", "--by", "Jo Holt"]])
        }
        Kind::ExtraAgreed => {
            Typed(&[&["log", "agreed", "--job", "BARN", "--entry", "@extra_asked", "--how", "message"]])
        }
        Kind::ExtraDeclined => Typed(&[&["log", "declined", "--job", "BARN", "--entry", "@extra_asked"]]),
        Kind::LeftOff => Typed(&[&[
            "log",
            "left-off",
            "--job",
            "BARN",
            "--note",
            "second coat tomorrow",
            "--carries-on",
            "Ines Quill",
        ]]),
        Kind::Seen => Typed(&[&["log", "seen", "--entry", "@left_off"]]),
        Kind::ReadyForChecking => Typed(&[&["log", "ready", "--job", "BARN", "--stage", "skim"]]),
        Kind::SignedOff => Typed(&[&["log", "signed-off", "--job", "BARN", "--stage", "skim"]]),
        Kind::PartDone => {
            Typed(&[&["log", "part-done", "--job", "BARN", "--stage", "board", "--quantity", "60"]])
        }
        Kind::Reopened => {
            Typed(&[&["log", "reopened", "--job", "BARN", "--stage", "board", "--note", "a crack"]])
        }
        Kind::CalledBack => Typed(&[&[
            "log",
            "called-back",
            "--job",
            "BARN",
            "--note",
            "tap drips",
            "--cause",
            "washer",
            "--whose",
            "maker",
        ]]),
        Kind::SignOffTold => {
            Typed(&[&["log", "told", "--job", "BARN", "--stage", "board", "--by", "Maren Oake"]])
        }
        Kind::Corrected => {
            Typed(&[&["log", "corrected", "--entry", "@note", "--note", "key is on the hook"]])
        }
        Kind::Struck => Typed(&[
            &["log", "struck", "--entry", "@away"],
            &["log", "note", "--job", "BARN", "--note", "a slip"],
            &["undo"],
            &["undo", "--back"],
        ]),
        Kind::Accepted => {
            Apart("`accept` needs a mate's device: what_a_mate_logged_counts_once_it_is_accepted")
        }
        Kind::QuestionSettled => Typed(&[&["settle", "@question", "looked at"]]),
        Kind::FirmListed => Typed(&[&["firm", "--terms-days", "21"]]),
        Kind::PersonRated => Typed(&[&["rate", "Tobi Larch", "--cost", "19", "--charge", "36"]]),
        Kind::ItemPriced => Typed(&[&["price", "finish plaster", "9.20"]]),
        Kind::JobTerms => Typed(&[&["job", "change", "BARN", "--markup-pct", "15"]]),
        Kind::LinePriced => Typed(&[&[
            "line",
            "add",
            "BARN",
            "board",
            "--kind",
            "material",
            "--what",
            "finish plaster",
            "--quantity",
            "50",
            "--unit",
            "kg",
            "--unit-cost",
            "0.35",
            "--unit-price",
            "0.60",
        ]]),
        Kind::QuoteGiven => Typed(&[&["quote", "give", "BARN", "4200", "--included", "boards, skim"]]),
        Kind::QuoteAgreed => Typed(&[&["quote", "agree", "BARN", "--by", "Jo Holt", "--how", "signature"]]),
        Kind::PaymentPointSet => {
            Typed(&[&["quote", "points", "BARN", "on starting=1200", "finished=3000@skim"]])
        }
        Kind::ExtraPriced => Typed(&[&["extra", "price", "@extra_asked", "180"]]),
        Kind::PricePaid => Typed(&[&["paid", "@bought", "--net", "45.25", "--vat", "9.05"]]),
        Kind::CostBorneBy => Typed(&[&["cost", "@wasted", "maker"]]),
        Kind::PointDue => Typed(&[&["quote", "due", "BARN", "on starting"]]),
        Kind::JobCompleted => Typed(&[&["job", "complete", "BARN", "--defects-until", "2030-01-31"]]),
        Kind::VatRateSet => Typed(&[&["job", "vat", "BARN", "standard"]]),
        Kind::PersonEngaged => Typed(&[&[
            "person",
            "engage",
            "Tobi Larch",
            "self-employed",
            "--cis",
            "20",
            "--verified-on",
            "2026-09-01",
        ]]),
        Kind::TimeTermsSet => Typed(&[
            &[
                "hours",
                "charge",
                "--job",
                "BARN",
                "--overtime",
                "x1.5",
                "--after-day",
                "8",
                "--call-out",
                "85",
                "--mile",
                "0.45",
            ],
            &["hours", "pay", "--person", "Tobi Larch", "--day", "150", "--parts", "quarters"],
            &["hours", "show"],
        ]),
        Kind::SelfBillingAgreed => Typed(&[&[
            "job",
            "self-billing",
            "BARN",
            "--from",
            "2020-01-06",
            "--until",
            "2020-12-31",
            "--evidence",
            "letter in the folder",
        ]]),
        Kind::InvoiceIssued => Typed(&[&["invoice", "issue", "BARN"]]),
        Kind::InvoiceCredited => Typed(&[&["invoice", "credit", "41", "--whole"]]),
        Kind::InvoiceVoided => {
            Typed(&[&["invoice", "issue", "BARN"], &["invoice", "void", "43", "never sent"]])
        }
        Kind::InvoiceAdopted => Apart(
            "`invoice adopt` needs a lost device: an_invoice_of_a_lost_device_is_adopted_where_it_came_before_the_cut",
        ),
        Kind::CreditAdopted => Apart(
            "`invoice adopt` needs a lost device: a_credit_note_of_a_lost_device_is_adopted_as_the_same_paper",
        ),
        Kind::DepositAsked => Typed(&[&["invoice", "deposit", "BARN", "500"]]),
        Kind::PaymentReceived => Typed(&[
            &["invoice", "issue", "BARN"],
            &["invoice", "pay", "44", "100", "--discount", "2", "--contra", "1.50"],
        ]),
        Kind::PaymentApplied => Typed(&[
            &["log", "hours", "--job", "MILL", "--minutes", "480"],
            &["application", "make", "MILL"],
            &["application", "list"],
        ]),
        Kind::PaymentCertified => {
            Typed(&[&["application", "certified", "MILL", "1", "200", "--reference", "PN-1"]])
        }
        Kind::InvoiceSelfBilled => Typed(&[
            &["job", "self-billing", "MILL", "--evidence", "letter in the folder"],
            &["invoice", "self-billed", "MILL", "TC-207", "200", "--application", "1", "--vat", "0"],
            &["invoice", "credit", "TC-207", "--whole", "--theirs", "TC-211"],
        ]),
    }
}

/// A line about one bag of plaster.
fn material(kind: &'static str, more: &[&'static str]) -> WayIn {
    let stage: &[&str] = if kind == "moved" { &[] } else { &["--stage", "skim"] };
    let line = [&["log", kind, "--job", "BARN"], stage, PLASTER, more].concat();
    Typed(Vec::leak(vec![&*Vec::leak(line)]))
}

/// Types one of each kind, and gives the kinds that were typed.
fn type_one_of_each(laptop: &Device) -> BTreeSet<Kind> {
    let file = laptop.data.with_extension("jpg");
    fs::write(&file, b"\xff\xd8\xff\xe0 a wall").unwrap();
    let mut keys: BTreeMap<String, String> = BTreeMap::new();
    keys.insert("file".to_owned(), file.to_str().unwrap().to_owned());
    let mut typed = BTreeSet::new();
    for kind in Kind::ALL {
        let lines = match way_in(*kind) {
            Typed(lines) => lines,
            Apart(why) => {
                println!("{kind:?} is not typed here: {why}");
                continue;
            }
        };
        typed.insert(*kind);
        for line in lines {
            if line.contains(&"@question") {
                let asked = laptop.ask(&["sort-out"]);
                keys.insert("question".to_owned(), asked["questions"][0]["key"].as_str().unwrap().to_owned());
            }
            let words: Vec<&str> = line
                .iter()
                .map(|word| {
                    word.strip_prefix('@').map_or(*word, |name| keys.get(name).map_or(*word, String::as_str))
                })
                .collect();
            let answer = laptop.ask(&words);
            if let Some(key) = answer["key"].as_str() {
                keys.insert(json!(kind).as_str().unwrap().to_owned(), key.to_owned());
            }
        }
    }
    typed
}

/// How many events of each kind the export holds.
fn exported(laptop: &Device, name: &str) -> BTreeMap<u16, usize> {
    let out = laptop.data.with_extension(name);
    laptop.ask(&["export", out.to_str().unwrap()]);
    let mut kinds = BTreeMap::new();
    for line in fs::read_to_string(out.join("events.jsonl")).unwrap().lines() {
        let event: Value = serde_json::from_str(line).unwrap();
        *kinds.entry(u16::try_from(event["kind"].as_u64().unwrap()).unwrap()).or_default() += 1;
    }
    kinds
}

#[test]
fn each_kind_is_written_by_its_line_and_read_back() {
    for by_daemon in [false, true] {
        let folder = tempfile::tempdir().unwrap();
        let mut laptop = Device::new(folder.path(), "laptop");
        laptop.found();
        laptop.import(&lists_only(folder.path()));
        let before = exported(&laptop, "before");
        if by_daemon {
            laptop.start(&[]);
        }
        let typed = type_one_of_each(&laptop);
        let after = exported(&laptop, "after");
        for kind in &typed {
            let count = |kinds: &BTreeMap<u16, usize>| kinds.get(&kind.number()).copied().unwrap_or(0);
            assert!(count(&after) > count(&before), "{kind:?} was typed and is not there");
        }
        let entries = laptop.ask(&["entries", "--job", "BARN"]);
        assert!(entries["entries"].as_array().unwrap().len() >= 20, "{entries}");
        let photos = fs::read_dir(laptop.data.join("photos")).unwrap();
        let names: Vec<_> = photos.map(|photo| photo.unwrap().file_name().into_string().unwrap()).collect();
        assert_eq!(names, [blake3_of(b"\xff\xd8\xff\xe0 a wall")]);
        assert_eq!(laptop.ask(&["verify"])["damage"], json!([]));
        laptop.stop();
    }
}

fn blake3_of(bytes: &[u8]) -> String {
    blake3::hash(bytes).to_hex().to_string()
}

#[test]
fn help_has_an_example_of_every_kind_that_is_logged() {
    let folder = tempfile::tempdir().unwrap();
    let laptop = Device::new(folder.path(), "laptop");
    let help = String::from_utf8(laptop.output(&["log", "--help"]).stdout).unwrap();
    for kind in Kind::ALL {
        let Typed(lines) = way_in(*kind) else { continue };
        for line in lines.iter().filter(|line| line[0] == "log") {
            let example = format!("fivebar log {} ", line[1]);
            assert!(help.contains(&example), "`log --help` has no example of {example}");
        }
    }
}

#[test]
fn an_import_says_by_the_socket_how_far_it_is_and_prints_no_bar_without_a_terminal() {
    let folder = tempfile::tempdir().unwrap();
    let mut laptop = Device::new(folder.path(), "laptop");
    laptop.found();
    let printed = laptop.output(&["import", lists_only(folder.path()).to_str().unwrap()]);
    assert!(printed.status.success());
    assert_eq!(String::from_utf8_lossy(&printed.stderr), "");
    laptop.start(&[]);
    let door: Value = serde_json::from_slice(&fs::read(laptop.data.join("daemon.json")).unwrap()).unwrap();
    let port = u16::try_from(door["port"].as_u64().unwrap()).unwrap();
    let mut socket = TcpStream::connect(("127.0.0.1", port)).unwrap();
    let command = json!({ "command": "import", "dir": scenario(), "devices": [] });
    writeln!(socket, "{}", json!({ "token": door["token"], "command": command })).unwrap();
    let lines: Vec<Value> =
        BufReader::new(socket).lines().map(|line| serde_json::from_str(&line.unwrap()).unwrap()).collect();
    let (end, progress) = lines.split_last().unwrap();
    let steps: BTreeSet<&str> =
        progress.iter().map(|line| line["progress"]["step"].as_str().unwrap()).collect();
    assert_eq!(steps, BTreeSet::from(["events_written", "rows_read"]));
    assert_eq!(progress.last().unwrap()["progress"]["done"], end["done"]["written"]);
    laptop.stop();
}
