//! The week on one device, by the program itself: files in, figures, questions and a bill out. The
//! figures are those of a second, independent program (`tests/scenario/expected.json`).

mod device;

use std::fs;

use device::{Device, expected, scenario};
use serde_json::Value;
use tempfile::TempDir;

/// A laptop that has taken in the whole week.
fn week(folder: &TempDir) -> Device {
    let laptop = Device::new(folder.path(), "laptop");
    laptop.found();
    laptop.import(&scenario());
    laptop
}

#[test]
fn the_figures_are_those_of_the_second_program() {
    let folder = tempfile::tempdir().unwrap();
    let laptop = week(&folder);
    let (expected, figures) = (expected(), laptop.ask(&["reconcile"]));
    for table in ["time_on_job", "labour", "materials"] {
        assert_eq!(figures[table], expected[table], "{table}");
    }
    let preview = laptop.ask(&["invoice", "preview", "--until", "2026-11-08"]);
    assert_eq!(preview["invoices"], expected["invoices"]);
}

#[test]
fn importing_again_writes_nothing() {
    let folder = tempfile::tempdir().unwrap();
    let laptop = week(&folder);
    let before = laptop.ask(&["status"]);
    let again = laptop.import(&scenario());
    assert_eq!(again["written"], 0);
    assert_eq!(laptop.ask(&["status"]), before);
}

#[test]
fn the_week_raises_its_questions() {
    let folder = tempfile::tempdir().unwrap();
    let answer = week(&folder).ask(&["sort-out"]);
    let asked = |kind: &str, person: &str, day: &str| {
        let same = |question: &&Value| {
            question["kind"] == kind && question["person"] == person && question["day"] == day
        };
        answer["questions"].as_array().unwrap().iter().filter(same).count()
    };
    let no_hours = "no hours that day";
    assert_eq!(asked(no_hours, "Ines Quill", "2026-11-03"), 1);
    for day in ["2026-11-02", "2026-11-04", "2026-11-06"] {
        assert_eq!(asked(no_hours, "Maren Oake", day), 1, "{day}");
    }
    assert_eq!(asked(no_hours, "Maren Oake", "2026-11-03"), 0);
    assert_eq!(asked("work logged before the day's first hours", "Tobi Larch", "2026-11-04"), 1);
}

#[test]
fn what_is_issued_is_billed_once_and_takes_the_firms_next_number() {
    let folder = tempfile::tempdir().unwrap();
    let laptop = week(&folder);
    let jobs = || -> Vec<String> {
        let preview = laptop.ask(&["invoice", "preview", "--until", "2026-11-08"]);
        let invoices = preview["invoices"].as_array().unwrap();
        invoices.iter().map(|invoice| invoice["job"].as_str().unwrap().to_owned()).collect()
    };
    assert_eq!(jobs(), ["GARAGE", "MILL"]);
    laptop.ask(&["invoice", "issue", "GARAGE", "--until", "2026-11-06"]);
    assert_eq!(jobs(), ["MILL"]);
    let listed = laptop.ask(&["invoice", "list"]);
    let [invoice] = listed["invoices"].as_array().unwrap().as_slice() else { panic!("{listed}") };
    assert_eq!((&invoice["number"], &invoice["job"]), (&"41".into(), &"GARAGE".into()));
    assert!(laptop.refused(&["invoice", "issue", "GARAGE", "--until", "2026-11-06"]).contains("no number"));
}

#[test]
fn papers_are_written_to_files_in_the_forms_that_are_wanted() {
    let folder = tempfile::tempdir().unwrap();
    let laptop = week(&folder);
    laptop.ask(&["invoice", "issue", "MILL", "--until", "2026-11-06"]);
    let papers = folder.path().join("papers");
    let to = papers.to_str().unwrap();
    let forms = ["--as", "pdf", "--as", "ubl", "--as", "cii", "--as", "csv", "--as", "text"];
    let written = laptop.ask(&[["print", "invoice", "41", "--to", to].as_slice(), &forms].concat());
    assert_eq!(written["files"].as_array().unwrap().len(), 5);
    let text = fs::read_to_string(papers.join("invoice-41.txt")).unwrap();
    // The sums of the second program, and the trade's words for them.
    let expected = expected();
    let mill = expected["invoices"].as_array().unwrap().iter().find(|one| one["job"] == "MILL").unwrap();
    for sum in ["net", "retention", "taxable", "vat_stated", "total", "cis", "cis_materials", "to_pay"] {
        let figure = mill[sum].as_str().unwrap();
        assert!(text.replace(',', "").contains(figure), "{sum} {figure} in\n{text}");
    }
    for words in
        ["Reverse charge: VAT Act 1994 Section 55A applies", "4.33 h (4 h 20)", "Tollgate Contracting"]
    {
        assert!(text.contains(words), "{words} in\n{text}");
    }
    assert!(fs::read(papers.join("invoice-41.pdf")).unwrap().starts_with(b"%PDF-1.7"));

    let sheet = [
        "print",
        "daywork",
        "MILL",
        "--from",
        "2026-11-02",
        "--until",
        "2026-11-06",
        "--as",
        "text",
        "--to",
        to,
    ];
    laptop.ask(&sheet);
    let sheet = fs::read_to_string(papers.join("daywork-MILL-2026-11-06.txt")).unwrap();
    // One and a half bags went, and that is what whoever signs counted.
    assert!(sheet.contains("1.5 bags ("), "{sheet}");
    assert!(
        sheet.contains("Hours in all: 19 h 20") && sheet.contains("For the customer") && !sheet.contains('£'),
        "{sheet}"
    );

    laptop.ask(&["quote", "give", "GARAGE", "9850", "--included", "boards, skim", "--excluded", "paint"]);
    laptop.ask(&["print", "quote", "GARAGE", "--as", "text", "--to", to]);
    let quote = fs::read_to_string(papers.join("quote-GARAGE.txt")).unwrap();
    // To a householder the last and largest figure is the one with VAT: 9,850.00 and 20 %.
    assert!(quote.contains("Price with VAT £         11,820.00"), "{quote}");
    assert!(laptop.refused(&["print", "quote", "GARAGE", "--as", "ubl"]).contains("pdf and text"));

    laptop.ask(&["print", "statement", "MILL", "--as", "text", "--to", to]);
    let statement = fs::read_to_string(papers.join("statement-MILL.txt")).unwrap();
    assert!(statement.contains("Invoice 41") && statement.contains("Owed £"), "{statement}");
    laptop.ask(&["print", "pay-out", "--of", "2026-11-06", "--as", "text", "--to", to]);
    let pay = fs::read_to_string(papers.join("pay-out-2026-11-08.txt")).unwrap();
    assert!(pay.contains("Tobi Larch") && pay.contains("To people £"), "{pay}");

    laptop.ask(&["invoice", "void", "41", "never sent"]);
    assert!(laptop.refused(&["print", "invoice", "41", "--to", to]).contains("voided"));
    assert!(laptop.refused(&["print", "invoice", "99"]).contains("no invoice 99"));
}

#[test]
fn the_export_holds_every_event_and_the_ledger_is_whole() {
    let folder = tempfile::tempdir().unwrap();
    let laptop = week(&folder);
    let status = laptop.ask(&["status"]);
    let held: u64 =
        status["chains"].as_array().unwrap().iter().map(|chain| chain["events"].as_u64().unwrap()).sum();
    let out = folder.path().join("out");
    let out_word = out.to_str().unwrap();
    assert_eq!(laptop.ask(&["export", out_word])["events"], held);
    let lines = fs::read_to_string(out.join("events.jsonl")).unwrap();
    assert_eq!(lines.lines().count() as u64, held);
    assert!(lines.lines().all(|line| serde_json::from_str::<Value>(line).unwrap()["unreadable"].is_null()));
    laptop.refused(&["export", out_word]);
    let verified = laptop.ask(&["verify"]);
    assert_eq!(verified["damage"].as_array().unwrap().len(), 0);
    assert_eq!(verified["events_verified"], held);
}
