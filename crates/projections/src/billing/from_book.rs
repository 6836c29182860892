//! From the book to what billing needs: each job's work as its entries, lists and papers now say.

use std::collections::{BTreeMap, BTreeSet};

use ledger::office::{Application, Basis, BillableUnit, JobTerms, VatRateSet};
use ledger::site::{ExtraTerms, WasteCount};
use ledger::{Body, EntryRef, EventHash, ItemId, JobId, StageId};
use trade::{Day, Quantity, Rate, UnitCost};

use super::hours::{add_hours, add_miles};
use super::set_aside::{PaperOf, paper_of};
use super::spent::{add_expenses, add_hires};
use super::work::{
    ApplicationWork, Certified, ClockEntry, CostingLine, DepositWork, ExtraWork, IssuedPaper, JobWork,
    MaterialCost, Measure, PointWork, Progress, SelfBilling, StageStep, StageWork,
};
use crate::book::Book;
use crate::entry::Entry;
use crate::extras::{AgreedExtra, agreed_of, answers};
use crate::lists::Lists;
use crate::materials::{MaterialUse, Movement, uses_of};
use crate::places::PlaceWords;
use crate::quotes;
use crate::row::RowKey;
use crate::set_aside;
use crate::stages::DoneAt;
use crate::words::packs_of;

/// Every job that has terms, with all that its bills follow from, by code.
///
/// Only the office's book knows terms and prices; the crew's gives no job.
#[must_use]
pub fn job_works(book: &Book, lists: &Lists<'_>) -> Vec<JobWork> {
    let mut works: BTreeMap<JobId, JobWork> = BTreeMap::new();
    let also_called = also_called(book, lists);
    let set_aside = set_aside::forked(book);
    let entries: Vec<_> = book.entries().collect();
    let agreed = agreed_of(&entries);
    for (job, terms) in &lists.terms {
        works.extend(lists.jobs.get(job).map(|listed| {
            let work = JobWork {
                job: *job,
                code: listed.code.clone(),
                title: listed.title.clone(),
                site_address: listed.site_address.clone(),
                customer: listed.customer.clone(),
                terms: JobTerms::clone(terms),
                firm: lists.firm.cloned(),
                stages: stages(lists, *job),
                lines: lines(lists, *job),
                entries: Vec::new(),
                material_costs: Vec::new(),
                papers: Vec::new(),
                also_called: also_called.clone(),
                markups: markups(book, *job),
                ended: BTreeMap::new(),
                points: points(lists, *job),
                extras: extras(&agreed, lists, *job),
                deposits: Vec::new(),
                completion: lists.completed.get(job).copied(),
                vat_rates: vat_rates(lists, *job),
                applications: Vec::new(),
                self_billing: self_billing(lists, *job),
                set_aside: set_aside.clone(),
            };
            (*job, work)
        }));
    }
    add_steps(&entries, &mut works);
    add_answers(&entries, &mut works);
    add_limits(&agreed, lists, &mut works);
    add_hours(&entries, lists, &mut works);
    add_miles(&entries, lists, &mut works);
    add_materials(book, &entries, lists, &mut works);
    add_hires(&entries, lists, &mut works);
    add_expenses(&entries, lists, &mut works);
    add_deposits(&entries, &mut works);
    add_papers(&entries, &mut works);
    add_applications(&entries, lists, &mut works);
    for work in works.values_mut() {
        work.ended = ended(book, work);
    }
    let mut works: Vec<_> = works.into_values().collect();
    works.sort_by(|one, other| (&one.code, one.job).cmp(&(&other.code, other.job)));
    works
}

fn stages(lists: &Lists<'_>, job: JobId) -> Vec<StageWork> {
    let mut listed: Vec<_> = lists.stages.values().copied().filter(|stage| stage.job == job).collect();
    listed.sort_by_key(|stage| (stage.order, stage.stage));
    let stage = |stage: &ledger::site::StageListed| StageWork {
        stage: stage.stage,
        name: stage.name.clone(),
        steps: Vec::new(),
        answer: None,
        limit: None,
    };
    listed.into_iter().map(stage).collect()
}

fn lines(lists: &Lists<'_>, job: JobId) -> Vec<CostingLine> {
    let mut listed: Vec<_> = lists.lines.values().copied().filter(|line| line.job == job).collect();
    listed.sort_by_key(|line| (line.order, line.line));
    let line = |line: &ledger::site::LineListed| CostingLine {
        stage: line.stage,
        kind: line.kind,
        what: line.what.clone(),
        quantity: line.quantity,
        unit_price: lists.line_money.get(&line.line).map(|money| money.unit_price),
        on_the_clock: line.on_the_clock,
    };
    listed.into_iter().map(line).collect()
}

fn points(lists: &Lists<'_>, job: JobId) -> Vec<PointWork> {
    let point = |point: &ledger::office::PaymentPointSet| PointWork {
        point: point.point,
        label: point.label.clone(),
        amount: point.amount,
        stage: point.stage,
        said_due: lists.points_due.get(&point.point).copied(),
    };
    quotes::points(lists, job).into_iter().map(point).collect()
}

/// What was agreed at a price, and what was left out.
fn extras(agreed: &BTreeMap<EntryRef, AgreedExtra>, lists: &Lists<'_>, job: JobId) -> Vec<ExtraWork> {
    let extra = |extra: &AgreedExtra| {
        let left_out = match extra.terms {
            ExtraTerms::AtAPrice => false,
            ExtraTerms::LeftOut => true,
            ExtraTerms::OnTheClock | ExtraTerms::Free => return None,
        };
        Some(ExtraWork {
            extra: extra.key,
            revision: extra.revision,
            what: extra.what.clone(),
            left_out,
            amount: lists.extras.get(&extra.key).map(|priced| priced.amount),
            stage: extra.stage,
            agreed_on: extra.agreed_on,
        })
    };
    agreed.values().filter(|extra| extra.job == job).filter_map(extra).collect()
}

fn vat_rates(lists: &Lists<'_>, job: JobId) -> BTreeMap<Option<StageId>, VatRateSet> {
    let own = lists.vat_rates.iter().filter(|((of, _), _)| *of == job);
    own.map(|((_, stage), set)| (*stage, VatRateSet::clone(set))).collect()
}

fn add_deposits(entries: &[Entry<'_>], works: &mut BTreeMap<JobId, JobWork>) {
    for entry in entries {
        let Body::DepositAsked(asked) = entry.body.as_ref() else { continue };
        let deposit = DepositWork {
            entry: entry.entry_ref(),
            revision: entry.revision(),
            amount: asked.amount,
            asked_on: entry.act.done_on,
        };
        works.entry(asked.job).and_modify(|work| work.deposits.push(deposit));
    }
    for work in works.values_mut() {
        work.deposits.sort_by_key(|deposit| (deposit.asked_on, deposit.entry));
    }
}

/// Sign-offs and reopenings, in the order in which [`Book::stages`] reads them.
fn add_steps(entries: &[Entry<'_>], works: &mut BTreeMap<JobId, JobWork>) {
    let mut steps: BTreeMap<StageId, Vec<_>> = BTreeMap::new();
    for entry in entries {
        let own = entry.site().and_then(|site| site.stage);
        let (stages, progress): (Vec<_>, _) = match entry.body.as_ref() {
            // A sign-off of one place does not end the stage.
            Body::SignedOff(signed) if !PlaceWords::of(&signed.site.place).is_unknown() => continue,
            Body::SignedOff(_) => (own.into_iter().collect(), Progress::SignedOff),
            Body::PartDone(part) => (own.into_iter().collect(), Progress::PartDone(part.percent)),
            Body::Reopened(_) => (own.into_iter().collect(), Progress::Reopened),
            Body::ExtraAgreed(agreed) => (agreed.reopens.clone(), Progress::Reopened),
            _ => continue,
        };
        let done_on = entry.act.done_on;
        let step = StageStep { revision: entry.revision(), done_on, progress };
        let written = (entry.act.logged_at, entry.act.row_key.clone(), entry.logged.hash);
        for stage in stages {
            steps.entry(stage).or_default().push((DoneAt::of(entry), written.clone(), step));
        }
    }
    for stage in works.values_mut().flat_map(|work| &mut work.stages) {
        let mut own = steps.remove(&stage.stage).unwrap_or_default();
        own.sort_by(|(at, written, _), (other_at, other, _)| (at, written).cmp(&(other_at, other)));
        stage.steps = own.into_iter().map(|(_, _, step)| step).collect();
    }
}

fn add_answers(entries: &[Entry<'_>], works: &mut BTreeMap<JobId, JobWork>) {
    let answers = answers(entries);
    for stage in works.values_mut().flat_map(|work| &mut work.stages) {
        stage.answer = answers.get(&stage.stage).copied();
    }
}

/// Up to which sum the customer said yes to what is on the clock.
fn add_limits(
    agreed: &BTreeMap<EntryRef, AgreedExtra>,
    lists: &Lists<'_>,
    works: &mut BTreeMap<JobId, JobWork>,
) {
    for extra in agreed.values().filter(|extra| extra.terms == ExtraTerms::OnTheClock) {
        let own = works.get_mut(&extra.job).into_iter().flat_map(|work| &mut work.stages);
        for stage in own.filter(|stage| Some(stage.stage) == extra.stage) {
            stage.limit = lists.extras.get(&extra.key).map(|priced| priced.amount).or(stage.limit);
        }
    }
}

/// Every mark-up that the terms of a job ever had.
fn markups(book: &Book, job: JobId) -> BTreeSet<Rate> {
    let terms = book.ever_listed(RowKey::Terms(job));
    let markups = terms.filter_map(|body| match body {
        Body::JobTerms(terms) => Some(terms.markup_percent),
        _ => None,
    });
    markups.collect()
}

/// The names of each item that was ever listed under more than one.
fn also_called(book: &Book, lists: &Lists<'_>) -> BTreeMap<String, BTreeSet<String>> {
    let names = lists.items.iter().map(|(item, now)| {
        let names = book.ever_listed(RowKey::Item(*item)).filter_map(|body| match body {
            Body::ItemListed(listed) => Some(listed.name.clone()),
            _ => None,
        });
        (now.name.clone(), names.collect::<BTreeSet<_>>())
    });
    names.filter(|(_, names)| names.len() > 1).collect()
}

impl Book {
    /// All versions of a row of the lists, in no order that means anything.
    fn ever_listed(&self, key: RowKey) -> impl Iterator<Item = &Body> {
        self.rows.get(&key).into_iter().flat_map(|versions| versions.values()).map(|row| &row.body)
    }
}

impl JobWork {
    /// Whether what is done there is billed by time and materials.
    pub(crate) fn bills_by_the_clock(&self, stage: Option<StageId>) -> bool {
        match self.terms.basis {
            Basis::Daywork => true,
            Basis::Fixed | Basis::Valuation => stage.is_some_and(|stage| self.is_on_the_clock(stage)),
        }
    }
}

/// Where an item is used, to find what it cost when some of it comes back.
type Shelf = (JobId, Option<StageId>, ItemId);

/// The cost of a pack and its size, with the day of the use.
type CostOnDay = (Day, (Rate, Quantity));

fn add_materials(
    book: &Book,
    entries: &[Entry<'_>],
    lists: &Lists<'_>,
    works: &mut BTreeMap<JobId, JobWork>,
) {
    let uses = uses_of(entries, lists);
    let mut used_at: BTreeMap<Shelf, Vec<CostOnDay>> = BTreeMap::new();
    for entry in uses.iter().filter(|entry| matches!(entry.what, Movement::Used(_))) {
        let cost = cost_of(book, entry, lists).map(|cost| (entry.day, cost));
        used_at.entry(entry.key).or_default().extend(cost);
    }
    used_at.values_mut().for_each(|costs| costs.sort_unstable());
    for entry in &uses {
        let (job, stage, item) = entry.key;
        let Some(work) = works.get_mut(&job) else { continue };
        let (billed, gone) = signs(entry.what);
        // What came back comes off at the price of the last use before it.
        let before = used_at.get(&entry.key).filter(|_| billed == Sign::Off || gone == Sign::Off);
        let before = before
            .and_then(|costs| costs.get(costs.partition_point(|(day, _)| *day <= entry.day).wrapping_sub(1)));
        let pack = before.map(|(_, cost)| *cost).or_else(|| cost_of(book, entry, lists));
        let unit_cost = pack.and_then(|(cost, size)| UnitCost::of_pack(cost, size).ok());
        if let (Some(quantity), Some(_), Some((pack_cost, pack_size))) = (gone.of(entry), unit_cost, pack) {
            work.material_costs.push(MaterialCost {
                stage,
                done_on: entry.day,
                quantity,
                pack_cost,
                pack_size,
            });
        }
        if let (Some(quantity), Some(&revision), true) =
            (billed.of(entry), entry.hashes.last(), work.bills_by_the_clock(stage))
        {
            let listed = lists.items.get(&item);
            let unit = listed.map_or_else(String::new, |item| item.unit.clone());
            let packs = listed.and_then(|item| Some((packs_of(item, quantity)?, item.pack.clone())));
            work.entries.push(ClockEntry {
                entry: entry.entry,
                unit: BillableUnit::Entry(entry.entry),
                revision,
                stage,
                done_on: entry.day,
                measure: Measure::Material { item: lists.item(item), unit, quantity, packs, unit_cost },
            });
        }
    }
}

/// What a pack cost the crew and its size. The price that was paid is with VAT where the crew is not registered: so it
/// is for CIS (HMRC COG909250 and CISR13070; heightsaccountancy.co.uk/?p=671 for a crew that is not; so CIS 340, from
/// memory), and VAT that nobody gives back is part of a cost (FRS 102, 13.6, from memory).
fn cost_of(book: &Book, entry: &MaterialUse, lists: &Lists<'_>) -> Option<(Rate, Quantity)> {
    let (cost, size) = book.pack_cost(entry, lists)?;
    let cost = if lists.gets_vat_back(entry.day) { cost } else { book.pack_cost_with_vat(entry, lists)? };
    Some((cost, size))
}

/// Whether a movement adds to a sum, takes off from it, or leaves it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Sign {
    On,
    Off,
    None,
}

impl Sign {
    fn of(self, entry: &MaterialUse) -> Option<Quantity> {
        match self {
            Self::On => Some(entry.quantity),
            Self::Off => Quantity::new(-entry.quantity.value()).ok(),
            Self::None => None,
        }
    }
}

/// What a movement does to what is billed, and to what the crew's material cost.
const fn signs(what: Movement) -> (Sign, Sign) {
    match what {
        Movement::Used(_) => (Sign::On, Sign::On),
        Movement::Wasted(WasteCount::OnTop) => (Sign::None, Sign::On),
        Movement::Wasted(WasteCount::OutOfUsed) => (Sign::Off, Sign::None),
        Movement::WastedForOthers(WasteCount::OutOfUsed) | Movement::Returned(_) => (Sign::Off, Sign::Off),
        Movement::WastedForOthers(WasteCount::OnTop)
        | Movement::UsedOfCustomers
        | Movement::Delivered
        | Movement::Bought(_) => (Sign::None, Sign::None),
    }
}

fn add_papers(entries: &[Entry<'_>], works: &mut BTreeMap<JobId, JobWork>) {
    // An adopted paper keeps the event that issued it, and is one paper however often it comes.
    let mut papers: BTreeMap<EventHash, PaperOf<'_>> = BTreeMap::new();
    let mut voided = BTreeSet::new();
    for entry in entries {
        if let Body::InvoiceVoided(void) = &entry.logged.body {
            voided.insert(void.invoice);
        }
        let Some(paper) = paper_of(entry.logged) else { continue };
        if paper.event == entry.logged.hash {
            papers.insert(paper.event, paper);
        } else {
            papers.entry(paper.event).or_insert(paper);
        }
    }
    for PaperOf { event, document, credits } in papers.into_values() {
        let voided = voided.contains(&document.invoice);
        let paper = IssuedPaper { event, document: document.clone(), credits, voided };
        if let Some(work) = works.get_mut(&document.job) {
            work.papers.push(paper);
        }
    }
}

fn self_billing(lists: &Lists<'_>, job: JobId) -> Option<SelfBilling> {
    let (from, agreed, revision) = *lists.self_billing.get(&job)?;
    Some(SelfBilling { from, until: agreed.until, revision })
}

/// The applications for payment, each with what was certified of it.
fn add_applications(entries: &[Entry<'_>], lists: &Lists<'_>, works: &mut BTreeMap<JobId, JobWork>) {
    for entry in entries {
        let Body::PaymentApplied(applied) = entry.body.as_ref() else { continue };
        let own = entry.entry_ref();
        let certified = lists.certified.get(&own).map(|&(on, certified, revision)| Certified {
            on,
            sum: certified.certified,
            reference: certified.reference.clone(),
            revision,
        });
        let application = Application::clone(&applied.application);
        let work = ApplicationWork { entry: own, revision: entry.revision(), application, certified };
        works.entry(applied.application.job).and_modify(|job| job.applications.push(work));
    }
    for work in works.values_mut() {
        work.applications.sort_by_key(|applied| (applied.application.number, applied.entry));
    }
}

/// For each unit that a paper claims and that is worth nothing now: the event that says so.
fn ended(book: &Book, work: &JobWork) -> BTreeMap<BillableUnit, EventHash> {
    let claims = work.papers.iter().flat_map(|paper| &paper.document.lines).flat_map(|line| &line.claims);
    let ended = |unit: BillableUnit| match unit {
        BillableUnit::Entry(entry) | BillableUnit::Overtime(entry) => entry_ended(book, &entry),
        BillableUnit::Stage(stage) => {
            let steps = work.stages.iter().find(|work| work.stage == stage).map(|work| &work.steps);
            steps.and_then(|steps| steps.last()).map(|step| step.revision)
        }
        BillableUnit::Extra(extra) | BillableUnit::Deposit(extra) => entry_ended(book, &extra),
        BillableUnit::Point(_)
        | BillableUnit::Retention(_)
        | BillableUnit::CallOut { .. }
        | BillableUnit::Uncertified(_) => None,
    };
    claims.filter_map(|claim| Some((claim.unit, ended(claim.unit)?))).collect()
}

fn entry_ended(book: &Book, entry: &EntryRef) -> Option<EventHash> {
    if let Some(standing) = book.entry(entry) {
        return Some(standing.revision());
    }
    let history = book.history(entry);
    history.iter().rev().find(|said| matches!(said.body, Body::Struck(_))).map(|strike| strike.hash)
}
