//! What a job gives to billing: its terms, its work as it now stands, and the papers issued so far.

use std::collections::{BTreeMap, BTreeSet};

use ledger::office::{Application, Basis, BillableUnit, Document, FirmListed, JobTerms, VatRateSet};
use ledger::site::LineKind;
use ledger::{EntryRef, EventHash, InvoiceId, JobId, PointId, StageId};
use rust_decimal::Decimal;
use trade::{Day, Pence, Quantity, Rate, UnitCost};

use crate::extras::Answer;
use crate::lists::Completion;

/// What papers print for work that belongs to no stage.
const GENERAL: &str = "general";

/// One job, with everything that its invoices follow from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct JobWork {
    /// The job.
    pub job: JobId,
    /// The short code people call it by.
    pub code: String,
    /// What is being done.
    pub title: String,
    /// Where the work is.
    pub site_address: String,
    /// The customer's name.
    pub customer: String,
    /// How it is paid for.
    pub terms: JobTerms,
    /// The crew as a business, once it has said who it is.
    pub firm: Option<FirmListed>,
    /// Its stages, in their order.
    pub stages: Vec<StageWork>,
    /// Its costing lines, in their order.
    pub lines: Vec<CostingLine>,
    /// The entries that are billed by time and materials, without what was crossed out.
    pub entries: Vec<ClockEntry>,
    /// What material cost the crew on any stage, billed by the clock or not. CIS follows from it.
    pub material_costs: Vec<MaterialCost>,
    /// The invoices and credit notes of this job, in any order.
    pub papers: Vec<IssuedPaper>,
    /// For items that were listed under several names: all of them, by the one that papers print
    /// now. A paper with another of them bills the same item.
    pub also_called: BTreeMap<String, BTreeSet<String>>,
    /// Every mark-up that its terms ever had, in per cent. A new one holds for what is billed from
    /// now on, and never makes a paper wrong.
    pub markups: BTreeSet<Rate>,
    /// For what is worth nothing any more: the event that crossed it out, moved or reopened it.
    pub ended: BTreeMap<BillableUnit, EventHash>,
    /// The payment points of its quote, in their order. Where there are any, they bill the quote, the
    /// extras at a price and what was left out, and its stages bill nothing.
    pub points: Vec<PointWork>,
    /// What the customer said yes to at a price, and what was left out.
    pub extras: Vec<ExtraWork>,
    /// The deposits that were asked for, oldest first.
    pub deposits: Vec<DepositWork>,
    /// Its practical completion.
    pub completion: Option<Completion>,
    /// The rates of VAT that were set, by stage, or for all else.
    pub vat_rates: BTreeMap<Option<StageId>, VatRateSet>,
    /// Its applications for payment, by number.
    pub applications: Vec<ApplicationWork>,
    /// The agreement that the customer issues its invoices.
    pub self_billing: Option<SelfBilling>,
    /// The events of the crew that a fork of a chain has set aside.
    pub set_aside: BTreeSet<EventHash>,
}

/// An application for payment.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ApplicationWork {
    /// The entry.
    pub entry: EntryRef,
    /// The event that made it.
    pub revision: EventHash,
    /// All that it prints.
    pub application: Application,
    /// What the customer will pay of it, once they said so.
    pub certified: Option<Certified>,
}

/// What a customer will pay of an application.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Certified {
    /// The day on which they said so.
    pub on: Day,
    /// Without VAT, after what is held back.
    pub sum: Pence,
    /// The number of their certificate, or empty.
    pub reference: String,
    /// The event that says so.
    pub revision: EventHash,
}

/// An agreement by which the customer issues the invoices of a job in the crew's name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct SelfBilling {
    /// The first day.
    pub from: Day,
    /// The last day.
    pub until: Day,
    /// The event that says so.
    pub revision: EventHash,
}

impl SelfBilling {
    /// Whether an invoice of this day is for the customer to issue.
    #[must_use]
    pub fn holds_on(&self, day: Day) -> bool {
        self.from <= day && day <= self.until
    }
}

/// A payment point.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PointWork {
    /// The point.
    pub point: PointId,
    /// What it says on the invoice.
    pub label: String,
    /// Without VAT.
    pub amount: Pence,
    /// The stage at whose sign-off it falls due.
    pub stage: Option<StageId>,
    /// When the owner said that it is due, and by which event.
    pub said_due: Option<(Day, EventHash)>,
}

/// An extra at a price, or something that is left out, with the customer's yes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ExtraWork {
    /// The entry it is known by.
    pub extra: EntryRef,
    /// The event of the yes.
    pub revision: EventHash,
    /// What it is.
    pub what: String,
    /// Something is left out, and its price comes off.
    pub left_out: bool,
    /// Without VAT, never below nought; none while no price was set.
    pub amount: Option<Pence>,
    /// Its stage: it falls due at the sign-off. Without one it is billed by name.
    pub stage: Option<StageId>,
    /// The day of the yes.
    pub agreed_on: Day,
}

/// A deposit that was asked for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DepositWork {
    /// The entry.
    pub entry: EntryRef,
    /// The event that said last how much it is.
    pub revision: EventHash,
    /// Without VAT.
    pub amount: Pence,
    /// The day it was asked for.
    pub asked_on: Day,
}

/// A stage, and when it was signed off and reopened.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct StageWork {
    /// The stage.
    pub stage: StageId,
    /// What it is called.
    pub name: String,
    /// Its sign-offs and reopenings, in the order in which they were done.
    pub steps: Vec<StageStep>,
    /// What the customer said to it, where it is an extra and they said anything.
    pub answer: Option<Answer>,
    /// Up to which sum without VAT they said yes, where it is an extra on the clock.
    pub limit: Option<Pence>,
}

/// A sign-off, a reopening, or word of how much is done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct StageStep {
    /// Its event.
    pub revision: EventHash,
    /// The day it was done.
    pub done_on: Day,
    /// What was said.
    pub progress: Progress,
}

/// How far a stage came by one step.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Progress {
    /// It was signed off.
    SignedOff,
    /// It was opened again.
    Reopened,
    /// So many per cent are done.
    PartDone(Quantity),
}

impl StageWork {
    fn known(&self, until: Option<Day>) -> impl Iterator<Item = StageStep> {
        self.steps.iter().copied().filter(move |step| until.is_none_or(|until| step.done_on <= until))
    }

    /// The sign-off that held at the end of `until`, or holds now.
    pub(super) fn sign_off(&self, until: Option<Day>) -> Option<StageStep> {
        let said = self.done(until).map(|(step, _)| step);
        said.filter(|step| step.progress == Progress::SignedOff)
    }

    /// How much of it was done at the end of `until`, or is done now, from nought to one, and the step
    /// that says so. What is signed off is done, and what was opened again is not, until somebody says
    /// how much.
    pub(super) fn done(&self, until: Option<Day>) -> Option<(StageStep, Decimal)> {
        let mut said: Option<(StageStep, Decimal)> = None;
        for step in self.known(until) {
            let signed_off = said.is_some_and(|(step, _)| step.progress == Progress::SignedOff);
            match step.progress {
                Progress::SignedOff => said = Some((step, Decimal::ONE)),
                Progress::Reopened if signed_off => said = None,
                Progress::PartDone(percent) if !signed_off => {
                    let share = percent.value() * Decimal::new(1, 2);
                    said = Some((step, share.clamp(Decimal::ZERO, Decimal::ONE)));
                }
                Progress::Reopened | Progress::PartDone(_) => {}
            }
        }
        said
    }
}

/// A costing line with its price.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CostingLine {
    /// The stage it belongs to.
    pub stage: StageId,
    /// Labour or material.
    pub kind: LineKind,
    /// What it says.
    pub what: String,
    /// How much, as written.
    pub quantity: Quantity,
    /// Pounds a unit that the customer pays, as written; none while no price was set.
    pub unit_price: Option<Rate>,
    /// The stage is billed by time and materials.
    pub on_the_clock: bool,
}

/// An entry that is billed by time and materials, as it now stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ClockEntry {
    /// The entry.
    pub entry: EntryRef,
    /// What of it is billed here: hours that are overtime are a unit of their own.
    pub unit: BillableUnit,
    /// The event that said last what it is worth.
    pub revision: EventHash,
    /// The stage, or none.
    pub stage: Option<StageId>,
    /// The day it was done.
    pub done_on: Day,
    /// Hours or material.
    pub measure: Measure,
}

/// How much an entry is, and at what price.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Measure {
    /// Time worked.
    Labour {
        /// Who worked, as printed, and as what where that is no ordinary hour.
        person: String,
        /// Minutes that are billed, never below nought. At a rate for the day: the share of a day.
        minutes: i64,
        /// Minutes that were worked.
        worked: i64,
        /// Pounds on that day; none while no rate was set.
        charge_rate: Option<Rate>,
        /// The minutes that the rate is for: 60 for an hour, a day's for a day.
        per_minutes: i64,
    },
    /// What is counted at a price of its own, without a mark-up: a call-out, miles.
    Counted {
        /// What, as printed.
        what: String,
        /// Its unit, or empty.
        unit: String,
        /// How many.
        quantity: Quantity,
        /// Pounds for one.
        price: Option<Rate>,
    },
    /// Material of ours.
    Material {
        /// The item, as printed.
        item: String,
        /// The unit it is counted in.
        unit: String,
        /// What was used. Below nought for what takes off from that: a return, or waste out of it.
        quantity: Quantity,
        /// The same in packs, and what a pack is called, where it comes out in whole packs or quarters of them.
        packs: Option<(Quantity, String)>,
        /// What a unit cost on that day; none while no price was set.
        unit_cost: Option<UnitCost>,
    },
}

/// Material whose cost the crew bears; a quantity below nought for what went back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct MaterialCost {
    /// The stage, or none.
    pub stage: Option<StageId>,
    /// The day it was done.
    pub done_on: Day,
    /// How much is gone. Waste is in it.
    pub quantity: Quantity,
    /// Pounds for a pack.
    pub pack_cost: Rate,
    /// Units in a pack; more than nought.
    pub pack_size: Quantity,
}

/// An invoice, or a credit note, that was issued.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct IssuedPaper {
    /// The event that issued it.
    pub event: EventHash,
    /// All that it prints.
    pub document: Document,
    /// For a credit note: the invoice that it reduces.
    pub credits: Option<InvoiceId>,
    /// It was voided: the number stands and bills nothing.
    pub voided: bool,
}

impl JobWork {
    /// The name of a stage as papers print it. What belongs to no stage is setting up, loading,
    /// the merchant's or waiting: general work.
    pub(super) fn stage_name(&self, stage: Option<StageId>) -> &str {
        self.stages.iter().find(|work| Some(work.stage) == stage).map_or(GENERAL, |work| work.name.as_str())
    }

    /// Whether a stage of a fixed job is billed by time and materials.
    pub(super) fn is_on_the_clock(&self, stage: StageId) -> bool {
        self.lines.iter().any(|line| line.stage == stage && line.on_the_clock) && !self.is_an_extra(stage)
    }

    /// Whether a stage is that of an extra with a price: the price bills it, and nothing else.
    pub(super) fn is_an_extra(&self, stage: StageId) -> bool {
        let priced =
            |extra: &ExtraWork| extra.stage == Some(stage) && !extra.left_out && extra.amount.is_some();
        self.extras.iter().any(priced)
    }

    /// The extras by the clock: stages on the clock in a job that is otherwise at a quote.
    pub(super) fn extras_on_the_clock(&self) -> impl Iterator<Item = &StageWork> {
        let at_a_quote = match self.terms.basis {
            Basis::Fixed | Basis::Valuation => self.lines.iter().any(|line| !line.on_the_clock),
            Basis::Daywork => false,
        };
        self.stages.iter().filter(move |work| at_a_quote && self.is_on_the_clock(work.stage))
    }
}
