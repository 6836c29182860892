//! From events to bills, by the book.

use ledger::office::{InvoiceIssued, InvoiceVoided, ItemPriced, LinePriced, PersonRated};
use ledger::roster::{Lacking, Standing};
use ledger::roster_events::{PersonListed, Role};
use ledger::site::{
    Amount, Changes, Corrected, ExtraAgreed, ExtraDeclined, ExtraTerms, Hours, ItemListed, JobListed,
    LineListed, Place, Reopened, Returned, SaidHow, SignedOff, Site, StageListed, StockPlace, Struck, Used,
    Whose, Worked,
};
use ledger::{Act, Audience, Body, ChainId, ItemId, LineId, Payload};
use trade::Moment;

use super::*;
use crate::{Book, Taken};

const STUD: ItemId = ItemId([7; 16]);
const BATTEN: ItemId = ItemId([8; 16]);
pub(super) const JOB: JobId = JobId([1; 16]);

/// Everything that was said, in its order; the number of a saying is its entry and its hash. Then what a fork set aside.
#[derive(Default)]
pub(super) struct Said(pub(super) Vec<(u16, PersonId, Day, Body)>, pub(super) BTreeSet<u16>);

impl Said {
    pub(super) fn say(&mut self, person: PersonId, day: Day, body: Body) -> u16 {
        let number = u16::try_from(self.0.len()).unwrap() + 1;
        self.0.push((number, person, day, body));
        number
    }

    pub(super) fn book(&self) -> Book {
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
                standing: self.standing(*number),
                payload: Payload { act, body: body.clone() },
            });
        }
        book
    }

    fn standing(&self, number: u16) -> Standing {
        let is_aside = self.1.contains(&number);
        if is_aside { Standing::Without(Lacking::Forked) } else { Standing::Counted }
    }

    pub(super) fn work(&self) -> JobWork {
        let book = self.book();
        job_works(&book, &book.lists()).remove(0)
    }
}

pub(super) fn at(stage: u16) -> Site {
    Site { job: JOB, stage: Some(StageId(id(stage))), place: Place::default() }
}

/// The job and its lists, and the customer's yes to the extra.
pub(super) fn listed() -> Said {
    let mut said = without_a_yes();
    said.say(TOBI, day(-1), yes(ExtraTerms::OnTheClock));
    said
}

pub(super) fn yes(terms: ExtraTerms) -> Body {
    Body::ExtraAgreed(ExtraAgreed {
        site: at(2),
        extra: None,
        said_by: "J. Marrable".into(),
        how: SaidHow::Message,
        terms,
        reopens: Vec::new(),
    })
}

pub(super) fn without_a_yes() -> Said {
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
    for (item, name, pack_cost) in [(STUD, "stud 95x38x2400", "4.86"), (BATTEN, "batten", "2.00")] {
        list(named(item, name));
        list(Body::ItemPriced(ItemPriced { item, pack_cost: rate(pack_cost) }));
    }
    let name = "Tobi Larch".into();
    list(Body::PersonListed(PersonListed { person: TOBI, name, role: Role::Hand }));
    list(rated("36.00"));
    said
}

fn named(item: ItemId, name: &str) -> Body {
    let (unit, pack, pack_size) = ("each".into(), "each".into(), quantity("1"));
    Body::ItemListed(ItemListed { item, name: name.into(), unit, pack, pack_size })
}

fn rated(charge_rate: &str) -> Body {
    let (job, trade, cost_rate) = (None, String::new(), rate("21.50"));
    Body::PersonRated(PersonRated { person: TOBI, job, trade, cost_rate, charge_rate: rate(charge_rate) })
}

pub(super) fn hours(minutes: u32, stage: u16) -> Body {
    Body::Hours(Hours { site: at(stage), activity: String::new(), worked: Worked::Length { minutes } })
}

fn studs_of(count: &str) -> Amount {
    Amount { quantity: quantity(count), said: None }
}

fn used(count: &str) -> Body {
    let amount = studs_of(count);
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
    let (site, amount) = (at(2), studs_of("2"));
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

impl Said {
    pub(super) fn correct(&mut self, number: u16, changes: Changes) {
        let corrected = Corrected { of: entry(TOBI, number), changes: Box::new(changes) };
        self.say(TOBI, day(4), Body::Corrected(corrected));
    }

    /// Issues what there is to bill.
    pub(super) fn bill(&mut self) -> u16 {
        let work = self.work();
        let document =
            issue(&work, &preview(&work, Some(day(5))).unwrap(), work.next(), dates(day(5))).unwrap();
        self.say(TOBI, day(5), Body::InvoiceIssued(InvoiceIssued { document: Box::new(document) }))
    }

    /// Credits what is proposed, which must be one paper, and says what it printed.
    fn credit(&mut self) -> Vec<String> {
        let work = self.work();
        let [credit] = &proposed_credits(&work)[..] else { panic!("not one credit note") };
        let credited = credit_note(&work, credit, work.next(), dates(day(5))).unwrap();
        self.say(TOBI, day(5), Body::InvoiceCredited(credited));
        said(&credit.lines)
    }

    /// What is to bill.
    pub(super) fn to_bill(&self) -> Vec<String> {
        preview(&self.work(), None).map_or_else(Vec::new, |preview| said(&preview.printed))
    }
}

fn said(lines: &[ledger::office::InvoiceLine]) -> Vec<String> {
    let line = |line: &ledger::office::InvoiceLine| {
        format!("{}: {} {} = {}", line.stage, line.quantity, line.what, line.amount)
    };
    lines.iter().map(line).collect()
}

#[test]
fn another_item_is_credited_as_the_first_and_billed_as_the_second() {
    let mut told = listed();
    let studs = told.say(TOBI, day(3), used("7"));
    told.bill();
    told.correct(studs, Changes { item: Some(BATTEN), ..Changes::default() });
    assert_eq!(told.to_bill(), ["move the door: 7.000 batten = 16.10"]);
    assert_eq!(told.credit(), ["move the door: 7.000 stud 95x38x2400 = 39.12"]);
    told.bill();
    let work = told.work();
    assert_eq!((told.to_bill(), proposed_credits(&work), double_claims(&work)), (vec![], vec![], vec![]));

    // Back again, and one less.
    let amount = Some(studs_of("6"));
    told.correct(studs, Changes { item: Some(STUD), amount, ..Changes::default() });
    assert_eq!(told.credit(), ["move the door: 7.000 batten = 16.10"]);
    assert_eq!(told.to_bill(), ["move the door: 6.000 stud 95x38x2400 = 33.53"]);
}

#[test]
fn another_rate_or_price_of_that_day_is_credited_and_billed_anew() {
    let mut told = listed();
    told.say(TOBI, day(3), hours(60, 2));
    told.say(TOBI, day(3), used("2"));
    told.bill();
    // Later rates and prices leave the day alone.
    told.say(TOBI, day(4), rated("50.00"));
    told.say(TOBI, day(4), Body::ItemPriced(ItemPriced { item: STUD, pack_cost: rate("9.00") }));
    assert_eq!((told.to_bill(), proposed_credits(&told.work())), (vec![], vec![]));
    told.say(TOBI, day(2), rated("40.00"));
    assert_eq!(told.credit(), ["move the door: 1.00 Tobi Larch = 36.00"]);
    assert_eq!(told.to_bill(), ["move the door: 1.00 Tobi Larch = 40.00"]);
    told.bill();
    told.say(TOBI, day(2), Body::ItemPriced(ItemPriced { item: STUD, pack_cost: rate("4.00") }));
    assert_eq!(told.credit(), ["move the door: 2.000 stud 95x38x2400 = 11.18"]);
    assert_eq!(told.to_bill(), ["move the door: 2.000 stud 95x38x2400 = 9.20"]);
}

#[test]
fn a_new_name_or_markup_makes_no_paper_wrong() {
    let mut told = listed();
    let studs = told.say(TOBI, day(3), used("7"));
    told.bill();
    told.say(TOBI, day(4), named(STUD, "stud 2400"));
    told.say(TOBI, day(4), Body::JobTerms(JobTerms { markup_percent: rate("20"), ..garage_terms() }));
    assert_eq!((told.to_bill(), proposed_credits(&told.work())), (vec![], vec![]));
    told.correct(studs, Changes { amount: Some(studs_of("8")), ..Changes::default() });
    assert_eq!(told.to_bill(), ["move the door: 1.000 stud 2400 = 5.83"]);
    told.correct(studs, Changes { amount: Some(studs_of("5")), ..Changes::default() });
    assert_eq!(told.credit(), ["move the door: 2.000 stud 95x38x2400 = 11.18"]);
}

#[test]
fn an_extra_waits_apart_for_a_yes_and_is_billed_when_it_is_named() {
    let mut told = without_a_yes();
    told.say(TOBI, day(3), hours(60, 2));
    told.say(TOBI, day(3), signed_off());
    let work = told.work();
    let apart = preview(&work, Some(day(3))).unwrap();
    assert_eq!((said(&apart.printed).len(), apart.totals.net.to_string()), (1, "480.00".into()));
    let waits: Vec<_> = apart
        .waiting
        .iter()
        .map(|extra| (extra.extra.as_str(), extra.why.as_str(), extra.net.to_string()))
        .collect();
    assert_eq!(waits, [("move the door", "waiting for a yes", "36.00".into())]);
    let shown = serde_json::to_value(&apart).unwrap();
    assert_eq!(shown["waiting"][0]["lines"][0]["amount"], "36.00");

    let named = BTreeSet::from([extra_called(&work, "move the door").unwrap()]);
    let all = preview_of(&work, &Wish { until: Some(day(3)), named, ..Wish::default() }).unwrap();
    assert_eq!((all.waiting.len(), all.totals.net.to_string()), (0, "516.00".into()));
    let no_extra = extra_called(&work, "skim").unwrap_err().to_string();
    assert_eq!(no_extra, "GARAGE has no extra called \"skim\"; there are: move the door");

    told.bill();
    let work = told.work();
    let only = issue(&work, &preview(&work, Some(day(5))).unwrap(), work.next(), dates(day(5))).unwrap_err();
    assert_eq!(only, NotIssued::OnlyWaiting(vec!["move the door".into()]));
    assert!(only.to_string().contains("waits for the customer's yes: move the door"), "{only}");
    let why =
        |said: &Said| preview(&said.work(), None).unwrap().waiting.first().map(|extra| extra.why.clone());
    let no = ExtraDeclined { site: at(2), extra: None, said_by: String::new() };
    told.say(TOBI, day(4), Body::ExtraDeclined(no));
    assert_eq!(why(&told), Some("the customer said no".to_owned()));
    told.say(TOBI, day(5), yes(ExtraTerms::Free));
    assert_eq!(why(&told), Some("agreed for nothing".to_owned()));
    told.say(TOBI, day(6), yes(ExtraTerms::OnTheClock));
    assert_eq!((why(&told), told.to_bill().len()), (None, 1));
}

/// Daywork is agreed as a whole, and work that belongs to no stage is printed as general.
#[test]
fn daywork_needs_no_further_yes_and_prints_no_empty_stage() {
    let mut told = without_a_yes();
    told.say(TOBI, day(0), Body::JobTerms(JobTerms { basis: Basis::Daywork, ..garage_terms() }));
    let site = Site { stage: None, ..at(2) };
    let worked = Worked::Length { minutes: 30 };
    told.say(TOBI, day(3), Body::Hours(Hours { site, activity: "loading".into(), worked }));
    told.say(TOBI, day(3), hours(60, 2));
    let lines = ["general: 0.50 Tobi Larch = 18.00", "move the door: 1.00 Tobi Larch = 36.00"];
    assert_eq!(told.to_bill(), lines);
}

#[test]
fn the_crews_book_bills_nothing() {
    let book = Book::new(Audience::Crew);
    assert_eq!(job_works(&book, &book.lists()), vec![]);
}
