//! Benchmarks: what the ledger and its store do, beside a peer or a limit in the same run.
//!
//! It prints figures and ratios and asserts nothing: a machine that is busy makes no test fail.

mod join;
mod join_peers;
mod journal;
mod node;
mod open;
mod peers;
mod photos;
mod questions;
mod rebuild;

use std::error::Error;
use std::path::PathBuf;
use std::time::Duration;

use clap::Parser;

/// Bytes of an event on disk: 16 of header and the payload.
const EVENT_BYTES: usize = 240;

/// Events in a batch that is made durable together.
const BATCH_EVENTS: u32 = 1_000;

/// Measures the ledger, its store and joining, beside SQLite, automerge and what disk and network can do.
#[derive(Parser)]
struct Arguments {
    /// Where to make the files, on the disk that is to be measured (a file system in memory syncs nothing).
    #[arg(long, default_value = "target")]
    folder: PathBuf,
    /// Single appends, each durable before the next.
    #[arg(long, default_value_t = 2_000)]
    appends: u32,
    /// Batches of 1,000 events, each durable before the next.
    #[arg(long, default_value_t = 100)]
    batches: u32,
    /// Events in the ledger that is opened, in thousands.
    #[arg(long, default_value_t = 1_000)]
    thousands: u32,
    /// Measures opening and rebuilding only.
    #[arg(long)]
    opening_only: bool,
    /// Measures joining only.
    #[arg(long)]
    joining_only: bool,
    /// Measures photos only.
    #[arg(long)]
    photos_only: bool,
    /// Photos that are fetched.
    #[arg(long, default_value_t = 200)]
    photos: u32,
    /// Bytes of a photo: as large as the page keeps them, if there is much to see.
    #[arg(long, default_value_t = 1_000_000)]
    photo_bytes: usize,
    /// What a process that this program starts does.
    #[command(subcommand)]
    part: Option<join::Part>,
}

/// As the program itself.
#[global_allocator]
static ALLOCATOR: mimalloc::MiMalloc = mimalloc::MiMalloc;

fn main() -> Result<(), Box<dyn Error>> {
    let arguments = Arguments::parse();
    if let Some(part) = arguments.part {
        return join::play(part);
    }
    let folder = tempfile::Builder::new().prefix("bench-").tempdir_in(&arguments.folder)?;
    if arguments.joining_only {
        return join::join(folder.path(), arguments.thousands);
    }
    if arguments.photos_only {
        return photos::photos(folder.path(), arguments.photos, arguments.photo_bytes);
    }
    if arguments.opening_only {
        node::open(folder.path(), arguments.thousands)?;
        return rebuild::rebuild(arguments.thousands);
    }
    journal::one_by_one(folder.path(), arguments.appends)?;
    journal::in_batches(folder.path(), arguments.batches)?;
    open::open(folder.path(), arguments.thousands)?;
    node::open(folder.path(), arguments.thousands)?;
    rebuild::rebuild(arguments.thousands)?;
    questions::questions(arguments.thousands / 10)?;
    questions::questions(arguments.thousands / 2)?;
    join::join(folder.path(), arguments.thousands)?;
    photos::photos(&folder.path().join("photos"), arguments.photos, arguments.photo_bytes)
}

/// Times taken, for their median and sum.
#[derive(Default)]
struct Times(Vec<Duration>);

impl Times {
    fn median(&self) -> Duration {
        let mut sorted = self.0.clone();
        sorted.sort();
        sorted.get(sorted.len() / 2).copied().unwrap_or_default()
    }

    fn sum(&self) -> Duration {
        self.0.iter().sum()
    }
}

/// How many times longer `long` took than `short`, to two places.
fn ratio(long: Duration, short: Duration) -> String {
    let hundredths = long.as_nanos() * 100 / short.as_nanos().max(1);
    format!("{}.{:02}", hundredths / 100, hundredths % 100)
}

fn per_second(count: u64, time: Duration) -> u128 {
    u128::from(count) * 1_000_000_000 / time.as_nanos().max(1)
}
