//! Opening a large ledger as the program does: ledger and book, with its checkpoint and without.

use std::error::Error;
use std::ffi::OsStr;
use std::fs;
use std::path::Path;
use std::time::Duration;

use daemon::Node;
use daemon::node::Write;
use ledger::event::KIND_VERSION;
use ledger::{Audience, DeviceSecret, Payload, PersonId, Run, RunBuilder};

use crate::join::start;
use crate::rebuild::{hours, payload};
use crate::{BATCH_EVENTS, EVENT_BYTES, per_second, ratio};

/// How often it is opened with its checkpoint. Before each time another process takes as much memory and gives it
/// back: in a virtual machine the host has to find what is touched for the first time, which takes longer than all
/// the rest, and what the very first opening took is printed beside.
const TIMES: usize = 5;

/// Opens a ledger of runs of 1,000 events, as an import or a peer brings them, and one a tenth as large of
/// runs of one event, as they come where each is logged by itself.
pub(crate) fn open(folder: &Path, thousands: u32) -> Result<(), Box<dyn Error>> {
    let many = folder.join("node");
    let (mut node, _) = Node::found(&many, "Oake Rooms", "Maren Oake", "laptop")?;
    for batch in 0..thousands {
        let from = u64::from(batch) * u64::from(BATCH_EVENTS);
        let writes: Result<Vec<Write>, _> = (from..from + u64::from(BATCH_EVENTS))
            .map(|number| entry(&node, number).map(|payload| Write { audience: Audience::Crew, payload }))
            .collect();
        node.append(&writes?)?;
    }
    drop(node);
    show(&many, u64::from(thousands) * u64::from(BATCH_EVENTS), "runs of 1,000")?;

    let single = folder.join("single-runs");
    let (mut node, _) = Node::found(&single, "Oake Rooms", "Maren Oake", "laptop")?;
    let secret: DeviceSecret = node.secret();
    let count = u64::from(thousands) * u64::from(BATCH_EVENTS) / 10;
    for from in (0..count).step_by(BATCH_EVENTS as usize) {
        let founding = node.ledger().chains().next().ok_or("the founding chain is there")?;
        let (start, mut tip) = (founding.start, founding.tip);
        let mut runs: Vec<Run> = Vec::new();
        for number in from..count.min(from + u64::from(BATCH_EVENTS)) {
            let payload = entry(&node, number)?;
            let mut builder = RunBuilder::new(start, tip);
            builder.push(0, payload.body.kind().number(), KIND_VERSION, &payload.encode()?)?;
            let (run, reached) = builder.finish(&node.crew(), &secret).ok_or("a run has events")?;
            runs.push(run);
            tip = reached;
        }
        node.store_runs(|_| None, &runs)?.into_iter().collect::<Result<Vec<()>, _>>()?;
    }
    drop(node);
    show(&single, count, "runs of one")
}

fn entry(node: &Node, number: u64) -> Result<Payload, Box<dyn Error>> {
    let person: PersonId = node.device().person;
    payload(person, number, ledger::Body::Hours(hours(number)?))
}

fn show(folder: &Path, events: u64, what: &str) -> Result<(), Box<dyn Error>> {
    println!("\nopening a node of {events} entries in {what}, {EVENT_BYTES} bytes each, ledger and book");
    let first = fresh_open(folder)?;
    let mut opened = Vec::with_capacity(TIMES);
    let mut touched = Vec::with_capacity(TIMES);
    for _ in 0..TIMES {
        touched.push(touch(first.kilobytes)?);
        opened.push(fresh_open(folder)?.time);
    }
    opened.sort_unstable();
    touched.sort_unstable();
    let (time, touching) = (opened[TIMES / 2], touched[TIMES / 2]);
    let Opened { believed, kilobytes, .. } = first;
    println!("  with checkpoint            {time:>10.1?}   median of {TIMES}; peak memory {kilobytes} kB");
    println!("    {believed} events were verified before; {} events/s", per_second(events, time));
    println!("    from {:.1?} to {:.1?}; the first {:.1?}", opened[0], opened[TIMES - 1], first.time);
    println!(
        "  only writing so much memory{touching:>10.1?}   opening takes {} of it",
        ratio(time, touching)
    );
    // The index is kept: it is made anew only where it is lost, and the store's figures are above.
    fs::remove_dir_all(folder.join("journal/checkpoints"))?;
    let Opened { time, kilobytes, .. } = fresh_open(folder)?;
    println!("  journal alone              {time:>10.1?}   peak memory {kilobytes} kB");
    println!("    hashed, verified, decoded, judged and filed: {} events/s", per_second(events, time));
    let length = checkpoint_length(folder)?;
    println!("  its checkpoint has {} kB, written again when it was closed", length / 1_000);
    Ok(())
}

/// What opening took in a process of its own.
struct Opened {
    time: Duration,
    /// How many events were verified before.
    believed: u64,
    /// The peak of the process's memory.
    kilobytes: u64,
}

/// Opens it in a fresh process, as a command does. Its memory is the machine's, not what an earlier part of this
/// program gave back.
fn fresh_open(folder: &Path) -> Result<Opened, Box<dyn Error>> {
    let words = part(&[OsStr::new("open"), folder.as_os_str()])?;
    let [nanoseconds, believed, kilobytes] = words.as_slice() else {
        return Err("opening told something else than its figures".into());
    };
    let time = Duration::from_nanos(*nanoseconds);
    Ok(Opened { time, believed: *believed, kilobytes: *kilobytes })
}

/// How long it takes a fresh process to have so much memory and write into it: the limit of an opening that
/// keeps what it reads.
pub(crate) fn touch(kilobytes: u64) -> Result<Duration, Box<dyn Error>> {
    let words = part(&[OsStr::new("touch"), OsStr::new(&kilobytes.to_string())])?;
    Ok(Duration::from_nanos(words.first().copied().ok_or("touching told no time")?))
}

/// The figures that a part of this program tells.
fn part(words: &[&OsStr]) -> Result<Vec<u64>, Box<dyn Error>> {
    let (mut child, line) = start(words)?;
    child.wait()?;
    Ok(line.split_whitespace().filter_map(|word| word.parse().ok()).collect())
}

fn checkpoint_length(folder: &Path) -> Result<u64, Box<dyn Error>> {
    let files = fs::read_dir(folder.join("journal/checkpoints"))?;
    files.map(|file| Ok(file?.metadata()?.len())).sum()
}
