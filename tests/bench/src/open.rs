//! Opening a large ledger, with its checkpoint and without what is derived, and the memory that it takes.

use std::error::Error;
use std::fs;
use std::path::Path;
use std::time::{Duration, Instant};

use store::{Store, StoreOptions};

use crate::journal::Writer;
use crate::{BATCH_EVENTS, per_second, ratio};

/// Writes the ledger, opens it with a checkpoint, then without checkpoint and index.
pub(crate) fn open(folder: &Path, thousands: u32) -> Result<(), Box<dyn Error>> {
    let folder = folder.join("large");
    let mut writer = Writer::create(&folder)?;
    for _ in 0..thousands {
        writer.append(BATCH_EVENTS)?;
    }
    // The store's own part of a start. What ledger and book add to it is measured through the node.
    writer.store.write_checkpoint("bench", b"no state")?;
    drop(writer);

    println!("\nopening {thousands},000 events, files in the page cache");
    let with_checkpoint = timed_open(&folder)?;
    show("with checkpoint and index", &with_checkpoint);
    fs::remove_dir_all(folder.join("index"))?;
    fs::remove_dir_all(folder.join("checkpoints"))?;
    let without = timed_open(&folder)?;
    show("journal alone", &without);
    let (bytes, limit) = read_everything(&folder)?;
    println!("  only reading {} MB of files {limit:>10.1?}", bytes / 1_000_000);
    let events = u64::from(thousands) * u64::from(BATCH_EVENTS);
    println!("  journal alone: {} events/s, ", per_second(events, without.time));
    println!("  which is {} of only reading", ratio(without.time, limit));
    Ok(())
}

struct Opening {
    time: Duration,
    peak: String,
    index: String,
}

fn timed_open(folder: &Path) -> Result<Opening, Box<dyn Error>> {
    forget_peak();
    let began = Instant::now();
    let store = Store::open(StoreOptions::folder(folder)?)?;
    let time = began.elapsed();
    Ok(Opening { time, peak: peak_memory(), index: format!("{:?}", store.opening().index) })
}

fn show(what: &str, opening: &Opening) {
    let Opening { time, peak, index } = opening;
    println!("  {what:<26}{time:>12.1?}   peak memory {peak}, index {index}");
}

/// Reads every byte of the journal's files and keeps none: the limit of a start that has nothing else.
fn read_everything(folder: &Path) -> Result<(u64, Duration), Box<dyn Error>> {
    let (mut bytes, mut folders) = (0, vec![folder.to_owned()]);
    let began = Instant::now();
    while let Some(folder) = folders.pop() {
        for entry in fs::read_dir(folder)? {
            let path = entry?.path();
            if path.is_dir() {
                if path.file_name().is_none_or(|name| name != "index") {
                    folders.push(path);
                }
            } else {
                bytes += fs::read(path)?.len() as u64;
            }
        }
    }
    Ok((bytes, began.elapsed()))
}

/// Lets the kernel's record of this process's peak begin anew. Where it can't, the peak is that of the
/// whole run, which is never too low.
pub(crate) fn forget_peak() {
    if let Err(error) = fs::write("/proc/self/clear_refs", "5") {
        println!("  (the peak can't be reset here, so it is that of the whole run: {error})");
    }
}

/// The peak of this process's memory, by Linux; "unknown" elsewhere.
pub(crate) fn peak_memory() -> String {
    peak_memory_of("self")
}

/// The peak of another process's memory.
pub(crate) fn peak_memory_of(process: &str) -> String {
    fs::read_to_string(format!("/proc/{process}/status"))
        .ok()
        .and_then(|status| {
            let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:"))?;
            Some(line.trim().to_owned())
        })
        .unwrap_or_else(|| "unknown".to_owned())
}
