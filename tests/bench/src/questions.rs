//! Everything to sort out in a long ledger, beside all the figures that are read from the same book.

use std::error::Error;
use std::hint::black_box;
use std::time::Instant;

use ledger::office::{ItemPriced, PersonRated};
use ledger::roster::Standing;
use ledger::roster_events::{PersonListed, Role};
use ledger::site::{
    Amount, Bound, Changes, Corrected, Hours, ItemListed, JobListed, Note, Place, SignedOff, Site,
    StageListed, Test, Used, WasteCount, Wasted, Whose, Worked,
};
use ledger::{
    Act, Audience, Body, ChainId, EntryId, EntryRef, EventHash, ItemId, JobId, Payload, PersonId, StageId,
};
use projections::{Book, Taken};
use trade::{Moment, Quantity, Rate};

use crate::ratio;

const PEOPLE: u8 = 6;
const JOBS: u8 = 50;
const STAGES: u8 = 8;
const ITEMS: u8 = 40;
const ENTRIES_A_DAY: u64 = 100;
const MINUTE_MS: i64 = 60_000;
const DAY_MINUTES: u64 = 24 * 60;

/// Asks every question of a book with so many thousand entries.
pub(crate) fn questions(thousands: u32) -> Result<(), Box<dyn Error>> {
    let mut filling = Filling { book: Book::new(Audience::Office), seq: 0 };
    filling.lists()?;
    let count = u64::from(thousands) * 1_000;
    for number in 0..count {
        filling.entry(number)?;
    }
    let book = filling.book;

    let began = Instant::now();
    black_box(projections::reconcile(&book));
    let reading = began.elapsed();
    let began = Instant::now();
    let found = black_box(projections::questions(&book));
    let asking = began.elapsed();

    println!("\neverything to sort out among {count} entries");
    println!("  {} found in {asking:.1?}", found.len());
    println!("  that is {} times the reading of all figures, {reading:.1?}", ratio(asking, reading));
    Ok(())
}

/// A book on its way to be full. Events are filed as they would be after they were checked.
struct Filling {
    book: Book,
    seq: u64,
}

impl Filling {
    fn lists(&mut self) -> Result<(), Box<dyn Error>> {
        for number in 0..PEOPLE {
            let person = PersonId([number; 16]);
            let listed = PersonListed { person, name: format!("hand {number}"), role: Role::Hand };
            self.list(Body::PersonListed(listed))?;
            let (cost_rate, charge_rate) = ("20".parse()?, "36".parse()?);
            let rated = PersonRated { person, job: None, trade: String::new(), cost_rate, charge_rate };
            self.list(Body::PersonRated(rated))?;
        }
        for number in 0..ITEMS {
            let item = ItemId([number; 16]);
            self.list(Body::ItemListed(ItemListed {
                item,
                name: format!("item {number}"),
                unit: "each".to_owned(),
                pack: "box".to_owned(),
                pack_size: "10".parse()?,
            }))?;
            self.list(Body::ItemPriced(ItemPriced { item, pack_cost: Rate::new(4.into())? }))?;
        }
        for number in 0..JOBS {
            let job = JobId([number; 16]);
            self.list(Body::JobListed(JobListed {
                job,
                code: format!("JOB {number}"),
                title: String::new(),
                customer: String::new(),
                site_address: String::new(),
                time_zone: "Europe/London".to_owned(),
            }))?;
            for order in 0..STAGES {
                self.list(Body::StageListed(StageListed {
                    stage: stage(number, order),
                    job,
                    name: format!("stage {order}"),
                    order: order.into(),
                    trades: Vec::new(),
                    after: order.checked_sub(1).map(|before| stage(number, before)).into_iter().collect(),
                    wait_minutes: 0,
                    covers: Vec::new(),
                    needs_tests: vec!["pressure test".to_owned()],
                    needs_photo: false,
                }))?;
            }
        }
        Ok(())
    }

    fn list(&mut self, body: Body) -> Result<(), Box<dyn Error>> {
        let key = u64::MAX - self.seq;
        self.write(PersonId([0; 16]), key, Moment::new(1_000_000_000_000, 0)?, body)
    }

    /// Of twenty entries eleven are hours, and one in fifty is changed later.
    fn entry(&mut self, number: u64) -> Result<(), Box<dyn Error>> {
        let person = PersonId([u8::try_from(number % u64::from(PEOPLE))?; 16]);
        let (job, order) = (u8::try_from(number / 7 % u64::from(JOBS))?, u8::try_from(number / 3 % 8)?);
        let place = Place::default();
        let site = Site { job: JobId([job; 16]), stage: Some(stage(job, order)), place };
        let day = 1_100_000_000_000 / MINUTE_MS
            + i64::try_from(number / ENTRIES_A_DAY * DAY_MINUTES + number % ENTRIES_A_DAY * 5)?;
        let at = Moment::new(day * MINUTE_MS, 0)?;
        let item = ItemId([u8::try_from(number % u64::from(ITEMS))?; 16]);
        let amount = Amount { quantity: Quantity::new((number % 30 + 1).into())?, said: None };
        let body = match number % 20 {
            0..11 => {
                let to = Moment::new(at.utc_ms() + 5 * MINUTE_MS, 0)?;
                let worked = Worked::Span { from: at, to, break_minutes: 0 };
                Body::Hours(Hours { site, activity: String::new(), worked })
            }
            11..16 => Body::Used(Used { site, item, amount, whose: Whose::Ours, bought: None }),
            16 => Body::Wasted(Wasted {
                site,
                item,
                amount,
                counts: WasteCount::OutOfUsed,
                cost_to: Whose::Ours,
            }),
            17 => Body::Test(Test {
                site,
                what: "pressure test".to_owned(),
                bound: Bound::Exactly,
                value: "4.5".parse()?,
                unit: "bar".to_owned(),
                method: String::new(),
                instrument: String::new(),
                limit: None,
                outside: None,
                photos: Vec::new(),
            }),
            18 => Body::Note(Note { site, photos: Vec::new() }),
            _ => Body::SignedOff(SignedOff { site, evidence: Vec::new() }),
        };
        self.write(person, number, at, body)?;
        if number.is_multiple_of(50) {
            let of = EntryRef { person, entry: entry_id(number) };
            let changes = Changes { minutes: Some(5), ..Changes::default() };
            let body = Body::Corrected(Corrected { of, changes: changes.into() });
            self.write(person, u64::MAX / 2 - number, at, body)?;
        }
        Ok(())
    }

    fn write(&mut self, person: PersonId, key: u64, at: Moment, body: Body) -> Result<(), Box<dyn Error>> {
        let act = Act {
            person,
            author: person,
            entry: entry_id(key),
            done_on: at.day(),
            done_at: None,
            logged_at: at,
            row_key: String::new(),
            said: String::new(),
            note: String::new(),
            replaces: Vec::new(),
        };
        let mut hash = [0; 32];
        // Hashes come in no order, as the real ones do.
        hash[..8].copy_from_slice(&self.seq.wrapping_mul(0x9E37_79B9_7F4A_7C15).to_le_bytes());
        self.book.take_in(Taken {
            hash: EventHash(hash),
            chain: ChainId(person.0),
            seq: self.seq,
            made_at: at.utc_ms(),
            standing: Standing::Counted,
            payload: Payload { act, body },
        });
        self.seq += 1;
        Ok(())
    }
}

const fn stage(job: u8, order: u8) -> StageId {
    let mut id = [job; 16];
    id[0] = order;
    StageId(id)
}

fn entry_id(key: u64) -> EntryId {
    let mut id = [0; 16];
    // Ids are random, so they don't come in order.
    id[..8].copy_from_slice(&key.wrapping_mul(0x9E37_79B9_7F4A_7C15).to_le_bytes());
    EntryId(id)
}
