//! Bills against the invented week, against hand-worked roundings, and against a model that sees all.

mod applications;
mod cis;
mod from_book;
mod from_book_money;
mod history;
mod money;
mod papers;
mod priced;
mod set_aside;
mod steps;
mod week;
mod worktime;

use std::collections::{BTreeMap, BTreeSet};

use ledger::office::{
    Basis, BillableUnit, CustomerKind, EarlierPaper, FirmListed, InvoiceCredited, JobTerms,
};
use ledger::site::LineKind;
use ledger::{EntryId, EntryRef, EventHash, InvoiceId, JobId, PersonId, StageId};
use trade::{Day, Quantity, Rate, UnitCost};

use super::*;
use crate::extras::Answer;

fn day(number: i32) -> Day {
    Day::from_number(20_759 + number).unwrap() // 20,759 days after 1970-01-01 is 2026-11-02, a Monday.
}

fn rate(text: &str) -> Rate {
    text.parse().unwrap()
}

fn quantity(text: &str) -> Quantity {
    text.parse().unwrap()
}

fn hash(number: u16) -> EventHash {
    let mut bytes = [0; 32];
    bytes[..2].copy_from_slice(&number.to_be_bytes());
    EventHash(bytes)
}

fn id(number: u16) -> [u8; 16] {
    let mut bytes = [0; 16];
    bytes[..2].copy_from_slice(&number.to_be_bytes());
    bytes
}

const TOBI: PersonId = PersonId([1; 16]);
const INES: PersonId = PersonId([2; 16]);

fn entry(person: PersonId, number: u16) -> EntryRef {
    EntryRef { person, entry: EntryId(id(number)) }
}

fn firm() -> FirmListed {
    FirmListed {
        name: "Maren Oake".into(),
        trading_as: "Oake Rooms".into(),
        address: "The Lean-to, 2 Saltmarsh Lane, Wexcombe, WX4 4ZZ".into(),
        vat_number: "GB000000001".into(),
        vat_from: Some("2021-04-01".parse().unwrap()),
        tax_reference: "0000000000".into(),
        bank: "Example Bank".into(),
        sort_code: "00-00-00".into(),
        account_number: "00000000".into(),
        terms_days: 14,
        next_invoice_number: 41,
    }
}

fn garage_terms() -> JobTerms {
    JobTerms {
        job: JobId([1; 16]),
        customer_kind: CustomerKind::Householder,
        basis: Basis::Fixed,
        vat_percent: rate("20"),
        reverse_charge: Some(false),
        cis_percent: rate("0"),
        retention_percent: rate("0"),
        markup_percent: rate("15"),
        billing_address: "4 Saltmarsh Lane, Wexcombe, WX4 4ZZ".into(),
        customer_vat_number: String::new(),
        customer_cis: Some(false),
        end_user_statement: None,
        terms_days: Some(14),
        order_number: String::new(),
        customer_country: String::new(),
    }
}

fn mill_terms() -> JobTerms {
    JobTerms {
        job: JobId([2; 16]),
        customer_kind: CustomerKind::Contractor,
        basis: Basis::Daywork,
        reverse_charge: Some(true),
        cis_percent: rate("20"),
        retention_percent: rate("5"),
        markup_percent: rate("12.5"),
        billing_address: "Unit 9, Weir Yard, Wexcombe, WX1 9ZZ".into(),
        customer_vat_number: "GB000000000".into(),
        customer_cis: Some(true),
        terms_days: Some(30),
        ..garage_terms()
    }
}

fn job(code: &str, customer: &str, terms: JobTerms, stages: &[&str]) -> JobWork {
    let stages = (0..).zip(stages).map(|(number, name)| StageWork {
        stage: StageId(id(number)),
        name: (*name).to_owned(),
        steps: Vec::new(),
        answer: Some(Answer::Yes),
        limit: None,
    });
    JobWork {
        job: terms.job,
        code: code.into(),
        title: "Two rooms".into(),
        site_address: "Old Mill, Millrace Road, Wexcombe, WX2 2ZZ".into(),
        customer: customer.into(),
        terms,
        firm: Some(firm()),
        stages: stages.collect(),
        lines: Vec::new(),
        entries: Vec::new(),
        material_costs: Vec::new(),
        papers: Vec::new(),
        also_called: BTreeMap::new(),
        markups: BTreeSet::new(),
        ended: BTreeMap::new(),
        points: Vec::new(),
        extras: Vec::new(),
        deposits: Vec::new(),
        completion: None,
        vat_rates: BTreeMap::new(),
        applications: Vec::new(),
        self_billing: None,
        set_aside: BTreeSet::new(),
    }
}

fn mill() -> JobWork {
    job("MILL", "Tollgate Contracting", mill_terms(), &["patching", "skim"])
}

impl JobWork {
    fn stage(&self, name: &str) -> StageId {
        self.stages.iter().find(|work| work.name == name).unwrap().stage
    }

    fn work(&mut self, number: u16, stage: &str, day: Day, person: (PersonId, &str, &str), minutes: i64) {
        let (person, name, charge_rate) = person;
        self.entries.push(ClockEntry {
            entry: entry(person, number),
            unit: BillableUnit::Entry(entry(person, number)),
            revision: hash(number),
            stage: Some(self.stage(stage)),
            done_on: day,
            measure: Measure::Labour {
                person: name.into(),
                minutes,
                worked: minutes,
                charge_rate: Some(rate(charge_rate)),
                per_minutes: 60,
            },
        });
    }

    /// Uses material (or brings it back, below nought), at a pack's cost and size.
    fn material(&mut self, number: u16, stage: &str, day: Day, item: &str, count: &str, pack: (&str, &str)) {
        let cost = UnitCost::of_pack(rate(pack.0), quantity(pack.1)).unwrap();
        self.entries.push(ClockEntry {
            entry: entry(TOBI, number),
            unit: BillableUnit::Entry(entry(TOBI, number)),
            revision: hash(number),
            stage: Some(self.stage(stage)),
            done_on: day,
            measure: Measure::Material {
                item: item.into(),
                unit: "each".into(),
                quantity: quantity(count),
                packs: None,
                unit_cost: Some(cost),
            },
        });
        self.material_costs.push(MaterialCost {
            stage: Some(self.stage(stage)),
            done_on: day,
            quantity: quantity(count),
            pack_cost: rate(pack.0),
            pack_size: quantity(pack.1),
        });
    }

    fn step(&mut self, stage: &str, number: u16, done_on: Day, signed_off: bool) {
        let work = self.stages.iter_mut().find(|work| work.name == stage).unwrap();
        let progress = if signed_off { Progress::SignedOff } else { Progress::Reopened };
        work.steps.push(StageStep { revision: hash(number), done_on, progress });
    }

    fn set_minutes(&mut self, number: u16, to: i64) {
        let work = self.entries.iter_mut().find(|work| work.entry.entry == EntryId(id(number))).unwrap();
        match &mut work.measure {
            Measure::Labour { minutes, .. } => *minutes = to,
            Measure::Material { .. } | Measure::Counted { .. } => panic!("no hours"),
        }
    }

    fn strike(&mut self, number: u16) {
        self.entries.retain(|work| work.entry.entry != EntryId(id(number)));
    }

    fn next(&self) -> PaperNumber {
        let documents = self.papers.iter().map(|paper| &paper.document);
        let number = next_number(&firm(), "", documents);
        PaperNumber { invoice: InvoiceId(id(u16::try_from(number).unwrap())), series: String::new(), number }
    }

    /// Issues what a preview up to `until` shows, on that day.
    fn bill(&mut self, until: Day) -> InvoiceId {
        let preview = preview(self, Some(until)).unwrap();
        let document = issue(self, &preview, self.next(), dates(until)).unwrap();
        let (event, invoice) = (self.event(), document.invoice);
        self.papers.push(IssuedPaper { event, document, credits: None, voided: false });
        invoice
    }

    fn credit(&mut self, credit: &ProposedCredit, on: Day) -> InvoiceId {
        let InvoiceCredited { of, document } = credit_note(self, credit, self.next(), dates(on)).unwrap();
        let (event, invoice) = (self.event(), document.invoice);
        self.papers.push(IssuedPaper { event, document: *document, credits: Some(of), voided: false });
        invoice
    }

    fn event(&self) -> EventHash {
        hash(10_000 + u16::try_from(self.papers.len()).unwrap())
    }
}

fn dates(on: Day) -> PaperDates {
    PaperDates { today: on, issued_on: on, tax_point: on }
}
