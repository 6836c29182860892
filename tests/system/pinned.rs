//! Journals that earlier versions wrote still open, and say what they said then. `scripts/pin` pins another.

mod device;

use std::fs;
use std::path::Path;

use device::Device;
use serde_json::Value;

/// Whether all that was answered then is answered now. A later version may answer more.
#[track_caller]
fn holds(then: &Value, now: &Value, place: &str) {
    match (then, now) {
        (Value::Object(then), Value::Object(_)) => {
            then.iter().for_each(|(name, value)| holds(value, &now[name], &format!("{place}.{name}")));
        }
        (Value::Array(then), Value::Array(now)) => {
            assert_eq!(then.len(), now.len(), "{place}: {then:?} became {now:?}");
            then.iter()
                .zip(now)
                .enumerate()
                .for_each(|(row, (then, now))| holds(then, now, &format!("{place}[{row}]")));
        }
        _ => assert_eq!(then, now, "{place}"),
    }
}

#[test]
fn what_earlier_versions_wrote_is_read_and_says_the_same() {
    let pinned = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../tests/system/pinned");
    let mut versions = 0;
    for version in fs::read_dir(&pinned).unwrap().map(Result::unwrap) {
        versions += 1;
        let folder = tempfile::tempdir().unwrap();
        let device = Device::new(folder.path(), "laptop");
        // Every byte is compared with its hash, every chain and signature is checked, and the frontier is.
        device.ask(&["restore", version.path().join("backup").to_str().unwrap()]);
        for (answer, words) in [
            ("status", &["status"][..]),
            ("reconcile", &["reconcile"]),
            ("stages", &["stages"]),
            ("preview", &["invoice", "preview", "--until", "2026-11-08"]),
            ("invoices", &["invoice", "list"]),
        ] {
            let then = fs::read(version.path().join("answers").join(format!("{answer}.json"))).unwrap();
            let place = format!("{}: {answer}", version.file_name().display());
            holds(&serde_json::from_slice(&then).unwrap(), &device.ask(words), &place);
        }
        // And it is gone on with.
        device.ask(&["log", "note", "--job", "GARAGE", "--note", "with a later version"]);
        assert_eq!(device.times_noted("with a later version"), 1);
        assert_eq!(device.ask(&["verify"])["damage"], serde_json::json!([]));
    }
    assert!(versions > 0, "nothing is pinned");
}

#[test]
#[should_panic(expected = "row[1].pence")]
fn a_figure_that_is_another_is_noticed() {
    let then = serde_json::json!({ "row": [{ "pence": 1 }, { "pence": 2 }] });
    holds(&then, &serde_json::json!({ "row": [{ "pence": 1, "more": 0 }, { "pence": 3 }] }), "");
}
