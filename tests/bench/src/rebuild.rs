//! Rebuilding what people read from every event, beside only hashing and decoding the same bytes.

use std::error::Error;
use std::hint::black_box;
use std::time::Instant;

use ledger::event::KIND_VERSION;
use ledger::roster_events::CrewFounded;
use ledger::site::{Hours, Place, Site, Worked};
use ledger::{
    Act, Audience, Body, ChainId, DeviceSecret, EntryId, JobId, Ledger, Payload, PersonId, Run, RunBuilder,
    StageId,
};
use projections::{Book, Filing, Logged, Taken};
use trade::Moment;

use crate::node::touch;
use crate::{BATCH_EVENTS, EVENT_BYTES, per_second, ratio};

/// Bytes of an event in a run beside its payload.
const EVENT_HEADER: usize = 16;

/// How often it is folded in one go.
const FOLDINGS: usize = 3;

/// Folds a ledger of hours, in thousands of events.
pub(crate) fn rebuild(thousands: u32) -> Result<(), Box<dyn Error>> {
    let secret = DeviceSecret::from_seed(&[7; 32]);
    let founded = CrewFounded {
        crew: "Oake Rooms".to_owned(),
        founder: "Maren Oake".to_owned(),
        device: "laptop".to_owned(),
        seed: [7; 32],
        recovery_key: secret.public(),
    };
    let founding = payload(PersonId([0; 16]), 0, Body::CrewFounded(founded))?;
    let (mut ledger, start, _) = Ledger::found(ChainId([1; 16]), &secret, 0, &founding.encode()?)?;
    let person = PersonId::named(&ledger.crew(), "Maren Oake");
    let mut runs: Vec<(Run, ledger::EventHash)> = Vec::new();
    for batch in 0..thousands {
        let tip = ledger.chain(&start.chain).ok_or("the chain is there")?.tip;
        let mut builder = RunBuilder::new(start, tip);
        for number in 0..BATCH_EVENTS {
            let number = u64::from(batch) * u64::from(BATCH_EVENTS) + u64::from(number) + 1;
            let write = payload(person, number, Body::Hours(hours(number)?))?;
            builder.push(0, write.body.kind().number(), KIND_VERSION, &write.encode()?)?;
        }
        let (run, _) = builder.finish(&ledger.crew(), &secret).ok_or("a run has events")?;
        if let ledger::TakenIn::New(checked) = ledger.check_run(&run)? {
            ledger.take_in(&checked);
        }
        runs.push((run, tip.hash));
    }
    let count = u64::from(thousands) * u64::from(BATCH_EVENTS);

    let began = Instant::now();
    for (run, before) in &runs {
        for event in run.placed_events(*before) {
            let view = event.view;
            black_box(Payload::decode(view.kind, view.kind_version, view.payload)?);
        }
    }
    let decoding = began.elapsed();

    let judge =
        |logged: &Logged| ledger.roster().judge(&start, (logged.seq, logged.hash), &logged.act, &logged.body);
    let mut book = Book::new(Audience::Office);
    let mut foldings = Vec::with_capacity(FOLDINGS);
    for _ in 0..FOLDINGS {
        drop(book);
        // As before each opening: what is measured is the folding, not how the machine finds its memory.
        touch(count)?;
        let began = Instant::now();
        let mut filing = Filing::default();
        for (run, before) in &runs {
            for event in run.placed_events(*before) {
                let view = event.view;
                let payload = Payload::decode(view.kind, view.kind_version, view.payload)?;
                filing.add(event.hash, start.chain, event.seq, view.made_at, payload);
            }
        }
        book = Book::of(Audience::Office, [filing.judged(Audience::Office, judge)]);
        foldings.push(began.elapsed());
    }
    foldings.sort_unstable();
    let folding = foldings[FOLDINGS / 2];
    let began = Instant::now();
    let mut grown = Book::new(Audience::Office);
    for (run, before) in &runs {
        for event in run.placed_events(*before) {
            let view = event.view;
            let payload = Payload::decode(view.kind, view.kind_version, view.payload)?;
            let standing = ledger.roster().standing(&start, (event.seq, event.hash), &payload);
            let (hash, chain, seq, made_at) = (event.hash, start.chain, event.seq, view.made_at);
            grown.take_in(Taken { hash, chain, seq, made_at, standing, payload });
        }
    }
    let one_by_one = began.elapsed();
    drop(grown);
    let began = Instant::now();
    black_box(projections::reconcile(&book));
    let reading = began.elapsed();

    println!(
        "\nrebuilding what people read from {count} entries of hours of {EVENT_BYTES} bytes, one thread"
    );
    println!(
        "  hashed, decoded, judged, filed  {} events/s, median of {FOLDINGS}",
        per_second(count, folding)
    );
    println!("    from {:.1?} to {:.1?}", foldings[0], foldings[FOLDINGS - 1]);
    println!("  the same, each taken in by itself {} events/s", per_second(count, one_by_one));
    println!("  only hashed and decoded         {} events/s", per_second(count, decoding));
    println!(
        "  filing costs {} times the decoding; reading all figures then took {reading:.1?}",
        ratio(folding, decoding)
    );
    Ok(())
}

/// An entry with a note that fills the event up to its length.
pub(crate) fn payload(person: PersonId, number: u64, body: Body) -> Result<Payload, Box<dyn Error>> {
    let mut entry = [0; 16];
    // Ids are random, so they don't come in order.
    entry[..8].copy_from_slice(&number.wrapping_mul(0x9E37_79B9_7F4A_7C15).to_le_bytes());
    let logged_at = Moment::new(1_793_000_000_000, 0)?;
    let act = Act {
        person,
        author: person,
        entry: EntryId(entry),
        done_on: logged_at.day(),
        done_at: None,
        logged_at,
        row_key: String::new(),
        said: String::new(),
        note: String::new(),
        replaces: Vec::new(),
    };
    let mut payload = Payload { act, body };
    let length = EVENT_HEADER + payload.encode()?.len();
    payload.act.note = "n".repeat(EVENT_BYTES.saturating_sub(length));
    Ok(payload)
}

/// Hours that differ from their neighbours.
pub(crate) fn hours(number: u64) -> Result<Hours, Box<dyn Error>> {
    let stage = StageId([u8::try_from(number % 8)?; 16]);
    let site =
        Site { job: JobId([u8::try_from(number % 50)?; 16]), stage: Some(stage), place: Place::default() };
    Ok(Hours {
        site,
        activity: String::new(),
        worked: Worked::Length { minutes: u32::try_from(number % 480)? + 1 },
    })
}
