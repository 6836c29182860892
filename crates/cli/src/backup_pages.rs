//! What is said of backups.

use serde_json::Value;

use crate::pages::text;

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
