//! Durable appends through the ledger and the store, one by one and in batches.

use std::error::Error;
use std::path::Path;
use std::time::{Duration, Instant};

use ledger::{Audience, ChainId, ChainStart, CrewId, DeviceSecret, Kind, RunBuilder, Tip};
use store::{Record, RecordKind, Store, StoreOptions};

use crate::peers::{BareFile, Sqlite};
use crate::{BATCH_EVENTS, EVENT_BYTES, Times, per_second, ratio};

const CREW: CrewId = CrewId([7; 32]);
const PAYLOAD_BYTES: usize = EVENT_BYTES - 16;

/// One device that writes one chain into one store.
pub(crate) struct Writer {
    pub(crate) store: Store,
    secret: DeviceSecret,
    start: ChainStart,
    tip: Tip,
}

impl Writer {
    pub(crate) fn create(folder: &Path) -> Result<Self, Box<dyn Error>> {
        let mut store = Store::create(StoreOptions::folder(folder)?, CREW)?;
        let secret = DeviceSecret::from_seed(&[3; 32]);
        let start = ChainStart { chain: ChainId([5; 16]), device: secret.public(), audience: Audience::Crew };
        store.append(&[Record { kind: RecordKind::ChainDeclaration, bytes: &start.encode() }])?;
        Ok(Self { store, secret, tip: start.tip(&CREW), start })
    }

    /// Chains, signs and appends so many events; durable when it returns.
    pub(crate) fn append(&mut self, events: u32) -> Result<(), Box<dyn Error>> {
        let mut builder = RunBuilder::new(self.start, self.tip);
        for _ in 0..events {
            builder.push(0, Kind::Note.number(), 1, &[b'n'; PAYLOAD_BYTES])?;
        }
        let (run, tip) = builder.finish(&CREW, &self.secret).ok_or("a run of no events")?;
        self.store.append(&[Record { kind: RecordKind::Run, bytes: run.bytes() }])?;
        self.tip = tip;
        Ok(())
    }
}

fn timed(act: impl FnOnce() -> Result<(), Box<dyn Error>>) -> Result<Duration, Box<dyn Error>> {
    let began = Instant::now();
    act()?;
    Ok(began.elapsed())
}

/// One event at a time. The three take turns, so that a busy moment of the disk falls on all of them.
pub(crate) fn one_by_one(folder: &Path, appends: u32) -> Result<(), Box<dyn Error>> {
    let mut writer = Writer::create(&folder.join("single"))?;
    let mut sqlite = Sqlite::open(&folder.join("single.sqlite"))?;
    let mut bare = BareFile::create(&folder.join("single.bare"), appends)?;
    let (mut ours, mut theirs, mut limit) = (Times::default(), Times::default(), Times::default());
    let bytes = [b'n'; EVENT_BYTES];
    for _ in 0..appends {
        ours.0.push(timed(|| writer.append(1))?);
        theirs.0.push(timed(|| sqlite.append(&bytes, 1))?);
        limit.0.push(timed(|| bare.append(&bytes))?);
    }
    let (ours, theirs, limit) = (ours.median(), theirs.median(), limit.median());
    println!("one durable append of {EVENT_BYTES} bytes, median of {appends}");
    println!("  chained, signed, stored   {ours:>12.1?}");
    println!("  SQLite, WAL, FULL         {theirs:>12.1?}   {} of ours", ratio(theirs, ours));
    println!("  bare write + fdatasync    {limit:>12.1?}   ours is {} of it", ratio(ours, limit));
    Ok(())
}

/// A batch at a time, in turns as above.
pub(crate) fn in_batches(folder: &Path, batches: u32) -> Result<(), Box<dyn Error>> {
    let mut writer = Writer::create(&folder.join("batches"))?;
    let mut sqlite = Sqlite::open(&folder.join("batches.sqlite"))?;
    let (mut ours, mut theirs) = (Times::default(), Times::default());
    for _ in 0..batches {
        ours.0.push(timed(|| writer.append(BATCH_EVENTS))?);
        theirs.0.push(timed(|| sqlite.append(&[b'n'; EVENT_BYTES], BATCH_EVENTS))?);
    }
    let (ours, theirs) = (ours.sum(), theirs.sum());
    let events = u64::from(batches) * u64::from(BATCH_EVENTS);
    println!("\n{batches} durable batches of {BATCH_EVENTS} events");
    println!("  chained, signed, stored   {:>12} events/s", per_second(events, ours));
    let (rate, ratio) = (per_second(events, theirs), ratio(theirs, ours));
    println!("  SQLite, WAL, FULL         {rate:>12} events/s   ours is {ratio} times as fast");
    Ok(())
}
