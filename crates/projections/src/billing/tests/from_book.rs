//! From events to bills, by the book.

use ledger::office::{InvoiceIssued, InvoiceVoided, ItemPriced, LinePriced, PersonRated};
use ledger::roster::Standing;
use ledger::site::{
    Amount, Changes, Corrected, Hours, ItemListed, JobListed, LineListed, Place, Reopened, Returned,
    SignedOff, Site, StageListed, StockPlace, Struck, Used, Whose, Worked,
};
use ledger::{Act, Audience, Body, ChainId, ItemId, LineId, Payload};
use trade::Moment;

use super::*;
use crate::{Book, Taken};

const STUD: ItemId = ItemId([7; 16]);
const JOB: JobId = JobId([1; 16]);

/// Everything that was said, in its order; the number of a saying is its entry and its hash.
#[derive(Default)]
struct Said(Vec<(u16, PersonId, Day, Body)>);

impl Said {
    fn say(&mut self, person: PersonId, day: Day, body: Body) -> u16 {
        let number = u16::try_from(self.0.len()).unwrap() + 1;
        self.0.push((number, person, day, body));
        number
    }

    fn book(&self) -> Book {
        let mut book = Book::new(Audience::Office);
        for (number, person, day, body) in self.0.iter().rev() {
            let act = Act {
                person: *person,
                author: *person,
                entry: EntryId(id(*number)),
                done_on: *day,
                done_at: None,
                logged_at: Moment::new(1_793_600_000_000 + i64::from(*number) * 60_000, 0).unwrap(),
                row_key: String::new(),
                said: String::new(),
                note: String::new(),
                replaces: Vec::new(),
            };
            book.take_in(Taken {
                hash: hash(*number),
                chain: ChainId([1; 16]),
                seq: u64::from(*number),
                made_at: 0,
                standing: Standing::Counted,
                payload: Payload { act, body: body.clone() },
            });
        }
        book
    }

    fn work(&self) -> JobWork {
        let book = self.book();
        job_works(&book, &book.lists()).remove(0)
    }
}

fn at(stage: u16) -> Site {
    Site { job: JOB, stage: Some(StageId(id(stage))), place: Place::default() }
}

fn listed() -> Said {
    let mut said = Said::default();
    let mut list = |body| said.say(TOBI, day(-30), body);
    list(Body::FirmListed(firm()));
    list(Body::JobListed(JobListed {
        job: JOB,
        code: "GARAGE".into(),
        title: String::new(),
        customer: "J. Marrable".into(),
        site_address: String::new(),
        time_zone: "Europe/London".into(),
    }));
    list(Body::JobTerms(garage_terms()));
    for (number, name, on_the_clock) in [(1, "skim", false), (2, "move the door", true)] {
        let (stage, line) = (StageId(id(number)), LineId(id(number)));
        list(Body::StageListed(StageListed {
            stage,
            job: JOB,
            name: name.into(),
            order: number.into(),
            trades: Vec::new(),
            after: Vec::new(),
            wait_minutes: 0,
            covers: Vec::new(),
            needs_tests: Vec::new(),
            needs_photo: false,
        }));
        list(Body::LineListed(LineListed {
            line,
            job: JOB,
            stage,
            order: number.into(),
            kind: LineKind::Labour,
            what: format!("{name} labour"),
            item: None,
            quantity: quantity("12"),
            unit: "hour".into(),
            on_the_clock,
        }));
        list(Body::LinePriced(LinePriced { line, unit_cost: rate("23"), unit_price: rate("40.00") }));
    }
    list(Body::ItemListed(ItemListed {
        item: STUD,
        name: "stud 95x38x2400".into(),
        unit: "each".into(),
        pack: "each".into(),
        pack_size: quantity("1"),
    }));
    list(Body::ItemPriced(ItemPriced { item: STUD, pack_cost: rate("4.86") }));
    list(Body::PersonRated(PersonRated {
        person: TOBI,
        job: None,
        trade: String::new(),
        cost_rate: rate("21.50"),
        charge_rate: rate("36.00"),
    }));
    said
}

fn hours(minutes: u32, stage: u16) -> Body {
    Body::Hours(Hours { site: at(stage), activity: String::new(), worked: Worked::Length { minutes } })
}

fn studs(count: &str) -> Amount {
    Amount { quantity: quantity(count), said: None }
}

fn used(count: &str) -> Body {
    let amount = studs(count);
    Body::Used(Used { site: at(2), item: STUD, amount, whose: Whose::Ours, bought: None })
}

fn signed_off() -> Body {
    Body::SignedOff(SignedOff { site: at(1), evidence: Vec::new() })
}

#[test]
fn entries_corrections_strikes_and_returns_reach_the_bill() {
    let mut said = listed();
    let door = said.say(TOBI, day(3), hours(200, 2));
    let changes = Changes { minutes: Some(230), ..Changes::default() };
    said.say(TOBI, day(4), Body::Corrected(Corrected { of: entry(TOBI, door), changes: Box::new(changes) }));
    said.say(TOBI, day(3), used("7"));
    let twice = said.say(TOBI, day(3), used("9"));
    said.say(TOBI, day(3), Body::Struck(Struck { of: entry(TOBI, twice) }));
    let (site, amount) = (at(2), studs("2"));
    said.say(TOBI, day(3), Body::Returned(Returned { site, item: STUD, amount, to: StockPlace::Van }));
    said.say(TOBI, day(3), hours(600, 1)); // on a quoted stage: not billed by the hour
    let bill = preview(&said.work(), None).unwrap();
    let shown: Vec<_> =
        bill.lines.iter().map(|line| (line.quantity.to_string(), line.amount.to_string())).collect();
    assert_eq!(shown, [("3.83".into(), "137.88".into()), ("5.000".into(), "27.95".into())]);

    said.say(TOBI, day(5), signed_off());
    assert_eq!(preview(&said.work(), Some(day(4))).unwrap().totals.net.to_string(), "165.83");
    assert_eq!(preview(&said.work(), None).unwrap().totals.net.to_string(), "645.83");
    said.say(TOBI, day(6), Body::Reopened(Reopened { site: at(1) }));
    assert_eq!(preview(&said.work(), Some(day(5))).unwrap().totals.net.to_string(), "645.83");
    assert_eq!(preview(&said.work(), None).unwrap().totals.net.to_string(), "165.83");
}

#[test]
fn an_issued_invoice_is_read_back_and_a_strike_is_credited_naming_it() {
    let mut said = listed();
    let door = said.say(TOBI, day(3), hours(230, 2));
    let work = said.work();
    let document = issue(&work, &preview(&work, Some(day(3))).unwrap(), work.next(), dates(day(3))).unwrap();
    let invoice = document.invoice;
    said.say(TOBI, day(3), Body::InvoiceIssued(InvoiceIssued { document: Box::new(document) }));
    assert_eq!((preview(&said.work(), None), proposed_credits(&said.work())), (None, vec![]));
    let strike = said.say(TOBI, day(4), Body::Struck(Struck { of: entry(TOBI, door) }));
    let credit = proposed_credits(&said.work()).remove(0);
    assert_eq!(credit.lines[0].claims[0].revision, hash(strike));
    assert_eq!(credit.totals.net.to_string(), "137.88");
    said.say(TOBI, day(4), Body::InvoiceVoided(InvoiceVoided { invoice }));
    assert_eq!(proposed_credits(&said.work()), vec![]);
}

#[test]
fn the_crews_book_bills_nothing() {
    let book = Book::new(Audience::Crew);
    assert_eq!(job_works(&book, &book.lists()), vec![]);
}
