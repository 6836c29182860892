//! What is said of backups, and of what is left of a device.

use serde_json::Value;

use crate::pages::{list, text};

/// A backup was made.
pub(crate) fn made(answer: &Value) -> String {
    format!(
        "{} entries and {} photos are in the backup at {}; {} bytes were copied.\n\
         Whoever has it is this device: keep it like a house key. `fivebar backup --check` rehearses it.",
        text(answer, "events"),
        text(answer, "photos"),
        text(answer, "dir"),
        text(answer, "bytes_copied")
    )
}

/// A backup was checked.
pub(crate) fn checked(answer: &Value) -> String {
    format!(
        "Whole: {} files, {} photos, {} entries. Going on with it was rehearsed, and all of them were read.",
        text(answer, "files"),
        text(answer, "photos"),
        text(answer, "events")
    )
}

/// A folder was made of a backup.
pub(crate) fn restored(answer: &Value) -> String {
    format!(
        "Restored into {}: {} entries and {} photos. It goes on in new chains; what is newer comes from the other \
         devices when `fivebar run` meets them. Phones join its page anew. If the folder that the backup is of is \
         still in use, let one of the two into the crew as a device of its own (`fivebar invite`).",
        text(answer, "data"),
        text(answer, "events"),
        text(answer, "photos")
    )
}

/// What another folder held was taken in.
pub(crate) fn salvaged(answer: &Value) -> String {
    let photos = &answer["photos"];
    let entries = |value: &Value, name| counted(value, name, "entry", "entries");
    let photo = |name| counted(photos, name, "photo", "photos");
    let mut page = format!(
        "New here and taken in: {} and {}. Here already: {}.",
        entries(answer, "new"),
        photo("new"),
        entries(answer, "held")
    );
    for left in list(answer, "left") {
        let device = left["device"].as_str().unwrap_or("a device that is not known here");
        let (left_there, why, next) = (entries(left, "events"), text(left, "why"), text(left, "next"));
        page += &format!("\nNot taken in: {left_there} of {device}: {why}.\n  Next: {next}.");
        for said in list(left, "said") {
            page += &format!("\n  {} {}: {}", text(said, "day"), text(said, "person"), text(said, "what"));
        }
    }
    for place in list(answer, "damage") {
        page += &format!("\nDamaged there and passed over: {}", place.as_str().unwrap_or_default());
    }
    if answer["of_later"].as_u64().unwrap_or(0) > 0 {
        page += "\nSome of it only a later version can read: update fivebar, then do the same once more.";
    }
    if photos["damaged"].as_u64().unwrap_or(0) > 0 {
        page += &format!("\nDamaged there and left: {}.", photo("damaged"));
    }
    if photos["left"].as_u64().unwrap_or(0) > 0 {
        let why = photos["why"].as_str().unwrap_or(
            "this device keeps no whole photos (`fivebar photos --keep all`, then do the same once more)",
        );
        page += &format!("\nLeft there: {}: {why}.", photo("left"));
    }
    page
}

/// So many of a thing.
fn counted(value: &Value, name: &str, one: &str, more: &str) -> String {
    match value[name].as_u64().unwrap_or(0) {
        1 => format!("1 {one}"),
        count => format!("{count} {more}"),
    }
}
