//! What an invoice would say today.
//!
//! A preview shows the working: each costing line of a stage, each person, each item. The paper
//! that the customer gets says a stage at its price in one line; [`Preview::printed`] has that.

use std::collections::BTreeSet;

use ledger::office::{BillableUnit, InvoiceLine, InvoiceLineKind};
use ledger::{EntryRef, StageId};
use serde::ser::SerializeStruct;
use serde::{Serialize, Serializer};
use trade::{Day, InvoiceTotals, Pence, Quantity, Rate, VatShare};

use super::claims::{Claims, DoubleClaim, worths};
use super::deposits::{self, NoDeposit};
use super::priced::{self, PricedLine};
use super::sums::{cis_so_far, material_cost, totals};
use super::uncertified::{self, Certification};
use super::vat::{Vat, VatDecision, disregard, shares, vat_decision};
use super::work::{ExtraWork, JobWork, StageWork};
use super::{clock, held, limit};
use crate::extras::Answer;

/// What is to be previewed, and as on which day.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Wish {
    /// The last day that it bills; none for all that was done.
    pub until: Option<Day>,
    /// The tax point, which decides on the rates of VAT; none for the last day of which anything is known.
    pub tax_point: Option<Day>,
    /// Extras that the owner bills by name, see [`extra_called`].
    pub named: BTreeSet<BillableUnit>,
    /// The sum that the customer certified or billed, which it then comes to before VAT.
    pub certified: Option<Certification>,
}

/// An invoice that could be issued.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Preview {
    /// The job's code.
    pub job: String,
    /// The last day that it bills; none for all that was done.
    pub until: Option<Day>,
    /// The application for payment that it bills.
    pub application: Option<u32>,
    /// The working, line by line.
    pub lines: Vec<WorkingLine>,
    /// What the customer's paper prints, with what each line claims.
    pub printed: Vec<InvoiceLine>,
    /// What each VAT category and rate comes to.
    pub vat_shares: Vec<VatShare>,
    /// The sums, of either.
    pub totals: InvoiceTotals,
    /// Who accounts for the VAT.
    pub vat: VatDecision,
    /// The reverse charge is left aside, because it would apply to a small part of the paper only.
    pub disregarded: bool,
    /// Entries that are not on it because no rate or price was set for their day.
    pub without_a_price: Vec<EntryRef>,
    /// Units that are not on it because two papers contradict each other.
    pub double: Vec<DoubleClaim>,
    /// Extras that are not on it until the owner names them.
    pub waiting: Vec<WaitingExtra>,
}

/// An extra that is only billed if the owner names it: on the clock and nobody logged the customer's yes,
/// or at a price and without a stage whose sign-off would say that it is done.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct WaitingExtra {
    /// Its name.
    pub extra: String,
    /// How it stands, in words.
    pub why: String,
    /// Naming it bills it all the same; not so what is over a limit.
    pub by_name: bool,
    /// What there would be to bill.
    pub lines: Vec<WorkingLine>,
    /// The sum of that, without VAT.
    pub net: Pence,
}

/// A name that is no extra which can be billed by name.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{job} has no extra called {name:?}; there are: {}", or_none(.there_are))]
pub struct NoSuchExtra {
    /// The job's code.
    pub job: String,
    /// What was asked for.
    pub name: String,
    /// The extras there are.
    pub there_are: Vec<String>,
}

fn or_none(names: &[String]) -> String {
    if names.is_empty() { "none".to_owned() } else { names.join(", ") }
}

/// A line of the working.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct WorkingLine {
    /// Printed quantity × printed price, half-up.
    pub amount: Pence,
    /// Labour, material, or what the line prints.
    pub kind: InvoiceLineKind,
    /// In hours, or the item's unit.
    pub quantity: Quantity,
    /// The stage's name.
    pub stage: String,
    /// Pounds a unit.
    pub unit_price: Rate,
    /// The costing line's words, the person or the item.
    pub what: String,
}

impl WorkingLine {
    /// A line that is printed as it was worked out.
    pub(super) fn of(line: &InvoiceLine) -> Self {
        Self {
            amount: line.amount,
            kind: line.kind,
            quantity: line.quantity,
            stage: line.stage.clone(),
            unit_price: line.unit_price,
            what: line.what.clone(),
        }
    }
}

/// One flat record with the sums beside the lines, every number in its written digits. The shares of VAT
/// are in it where there is more than one.
impl Serialize for Preview {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let InvoiceTotals {
            net,
            retention,
            taxable,
            vat_stated,
            vat_charged,
            total,
            cis_materials,
            cis,
            to_pay,
        } = &self.totals;
        let (waits, shared) = (!self.waiting.is_empty(), self.vat_shares.len() > 1);
        let fields = 11 + usize::from(waits) + usize::from(shared);
        let mut record = serializer.serialize_struct("Preview", fields)?;
        record.serialize_field("cis", cis)?;
        record.serialize_field("cis_materials", cis_materials)?;
        record.serialize_field("job", &self.job)?;
        record.serialize_field("lines", &self.lines)?;
        record.serialize_field("net", net)?;
        record.serialize_field("retention", retention)?;
        record.serialize_field("taxable", taxable)?;
        record.serialize_field("to_pay", to_pay)?;
        record.serialize_field("total", total)?;
        record.serialize_field("vat_charged", vat_charged)?;
        if shared {
            record.serialize_field("vat_shares", &self.vat_shares)?;
        }
        record.serialize_field("vat_stated", vat_stated)?;
        if waits {
            record.serialize_field("waiting", &self.waiting)?;
        }
        record.end()
    }
}

/// What each job could bill of what was done on `until` or before, or of all that was done.
///
/// A job with nothing to bill gives no preview. The order is that of the jobs.
#[must_use]
pub fn previews(jobs: &[JobWork], until: Option<Day>) -> Vec<Preview> {
    jobs.iter().filter_map(|job| preview(job, until)).collect()
}

/// What one job could bill; nothing when there is nothing to bill.
#[must_use]
pub fn preview(job: &JobWork, until: Option<Day>) -> Option<Preview> {
    preview_of(job, &Wish { until, ..Wish::default() })
}

/// The extra with this name, to bill it by name.
///
/// # Errors
/// [`NoSuchExtra`] says which there are.
pub fn extra_called(job: &JobWork, name: &str) -> Result<BillableUnit, NoSuchExtra> {
    let on_the_clock = job.extras_on_the_clock().map(|work| (&work.name, BillableUnit::Stage(work.stage)));
    let is_added = |extra: &&ExtraWork| !extra.left_out;
    let at_a_price = job.extras.iter().filter(is_added);
    let at_a_price = at_a_price.map(|extra| (&extra.what, BillableUnit::Extra(extra.extra)));
    let all: Vec<_> = on_the_clock.chain(at_a_price).collect();
    all.iter().find(|(called, _)| *called == name).map(|(_, unit)| *unit).ok_or_else(|| NoSuchExtra {
        job: job.code.clone(),
        name: name.to_owned(),
        there_are: all.iter().map(|(called, _)| (*called).clone()).collect(),
    })
}

/// The same, as the owner wishes it.
#[must_use]
pub fn preview_of(job: &JobWork, wish: &Wish) -> Option<Preview> {
    let claims = Claims::of(job);
    let (until, vat) = (wish.until, Vat::of(job, wish.tax_point.or(wish.until)));
    let (waits, at_a_price): (Vec<_>, Vec<_>) =
        priced::lines(job, &claims, until, vat, &wish.named).into_iter().partition(|line| line.waits);
    let mut clock = clock::lines(job, &claims, until, vat);
    let mut waiting = take_out_waiting(job, &mut clock.lines, &wish.named);
    waiting.extend(waits.iter().map(waiting_at_a_price));
    for work in &job.stages {
        let over = limit::take_out_over(job, &claims, work, &mut clock.lines);
        waiting.extend(waiting_over(work, &over));
    }
    let mut working: Vec<_> = at_a_price.iter().flat_map(|line| line.working.iter().cloned()).collect();
    // Costing lines may alternate between stages; the working keeps the order of the costing.
    working.sort_by_key(|(order, _)| *order);
    let mut lines: Vec<_> = working.into_iter().map(|(_, line)| line).collect();
    let mut printed: Vec<_> = at_a_price.into_iter().map(|line| line.printed).collect();
    let released = held::lines(job, &claims, until.or(wish.tax_point));
    let mut others: Vec<_> = clock.lines.into_iter().chain(released).collect();
    // What was not certified is asked for also where there is nothing else; what was certified ahead comes off.
    let (asked_again, comes_off): (Vec<_>, Vec<_>) = uncertified::open_lines(job, &claims)
        .into_iter()
        .partition(|line| line.amount > Pence::ZERO || wish.certified.is_some());
    others.extend(asked_again);
    if printed.is_empty() && others.is_empty() && waiting.is_empty() && wish.certified.is_none() {
        return None;
    }
    if !printed.is_empty() || !others.is_empty() {
        others.extend(comes_off);
        others.extend(deposits::lines(&claims));
    }
    lines.extend(others.iter().map(WorkingLine::of));
    printed.extend(others);
    let work = Found { lines, printed, without_a_price: clock.without_a_price, waiting };
    Some(finish(job, &claims, wish, work))
}

/// The invoice of the deposit that was asked for, as one that could be issued on a day.
///
/// # Errors
/// [`NoDeposit`]: none waits to be billed, or two overlap.
pub fn deposit_preview(job: &JobWork, today: Day) -> Result<Preview, NoDeposit> {
    let claims = Claims::of(job);
    let line = deposits::own_line(job, &claims, Vat::of(job, Some(today)))?;
    let wish = Wish { until: Some(today), tax_point: Some(today), ..Wish::default() };
    let (lines, printed) = (vec![WorkingLine::of(&line)], vec![line]);
    let work = Found { lines, printed, without_a_price: Vec::new(), waiting: Vec::new() };
    Ok(finish(job, &claims, &wish, work))
}

/// What goes on a preview, before its sums.
struct Found {
    lines: Vec<WorkingLine>,
    printed: Vec<InvoiceLine>,
    without_a_price: Vec<EntryRef>,
    waiting: Vec<WaitingExtra>,
}

fn finish(job: &JobWork, claims: &Claims<'_>, wish: &Wish, work: Found) -> Preview {
    let Found { mut lines, mut printed, without_a_price, waiting } = work;
    let tax_point = wish.tax_point.or(wish.until);
    let disregarded = disregard(&mut printed, tax_point);
    let mut vat_shares = shares(&printed, job.terms.retention_percent);
    if let Some(certified) = wish.certified {
        let vat = Vat::of(job, tax_point);
        let balance = uncertified::balance(job, claims, &vat_shares, vat, certified);
        lines.extend(balance.iter().map(WorkingLine::of));
        printed.extend(balance);
        vat_shares = shares(&printed, job.terms.retention_percent);
    }
    let worths = worths(job);
    let double = worths.iter().filter_map(|(unit, worth)| claims.double(*unit, *worth)).collect();
    let so_far = cis_so_far(claims);
    let materials = material_cost(job, claims, &printed, wish.until) - so_far.materials;
    let totals = totals(job, &vat_shares, materials, so_far);
    Preview {
        job: job.code.clone(),
        until: wish.until,
        application: wish.certified.and_then(|certified| certified.application),
        lines,
        printed,
        vat_shares,
        totals,
        vat: vat_decision(job),
        disregarded,
        without_a_price,
        double,
        waiting,
    }
}

fn waiting_at_a_price(line: &PricedLine) -> WaitingExtra {
    WaitingExtra {
        extra: line.printed.what.clone(),
        why: "agreed at a price, with no stage whose sign-off says that it is done".to_owned(),
        by_name: true,
        lines: vec![WorkingLine::of(&line.printed)],
        net: line.printed.amount,
    }
}

/// What of an extra on the clock goes over the limit of the customer's yes. Naming it bills none of it.
fn waiting_over(work: &StageWork, over: &[InvoiceLine]) -> Option<WaitingExtra> {
    let limit = work.limit.filter(|_| !over.is_empty())?;
    Some(WaitingExtra {
        extra: work.name.clone(),
        why: format!(
            "over the {limit} that the customer said yes to; set a new limit when they say yes to more"
        ),
        by_name: false,
        lines: over.iter().map(WorkingLine::of).collect(),
        net: over.iter().map(|line| line.amount).sum(),
    })
}

/// Takes the lines of extras out that the customer said no yes to and the owner did not name.
fn take_out_waiting(
    job: &JobWork,
    lines: &mut Vec<InvoiceLine>,
    named: &BTreeSet<BillableUnit>,
) -> Vec<WaitingExtra> {
    let mut waiting = Vec::new();
    let is_named = |extra: &&StageWork| named.contains(&BillableUnit::Stage(extra.stage));
    for extra in job.extras_on_the_clock().filter(|extra| !is_named(extra)) {
        let why = match extra.answer {
            Some(Answer::Yes) => continue,
            Some(Answer::ForNothing) => "agreed for nothing",
            Some(Answer::No) => "the customer said no",
            None => "waiting for a yes",
        };
        let own: Vec<_> = lines.extract_if(.., |line| line.stage == extra.name).collect();
        if !own.is_empty() {
            let net = own.iter().map(|line| line.amount).sum();
            let lines = own.iter().map(WorkingLine::of).collect();
            let (extra, why) = (extra.name.clone(), why.to_owned());
            waiting.push(WaitingExtra { extra, why, by_name: true, lines, net });
        }
    }
    waiting
}

/// Entries that can't be billed because no charge rate or price was set for their day.
#[must_use]
pub fn entries_without_a_price(job: &JobWork) -> Vec<EntryRef> {
    clock::lines(job, &Claims::of(job), None, Vat::of(job, None)).without_a_price
}

/// Signed-off stages that can't be billed because a costing line has no price yet.
#[must_use]
pub fn stages_without_a_price(job: &JobWork) -> Vec<StageId> {
    let unpriced: BTreeSet<_> =
        job.lines.iter().filter(|line| line.unit_price.is_none()).map(|line| line.stage).collect();
    let worths = worths(job);
    unpriced.into_iter().filter(|stage| worths.contains_key(&BillableUnit::Stage(*stage))).collect()
}
