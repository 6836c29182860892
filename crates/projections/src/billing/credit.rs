//! What is to be given back: credit notes that are proposed at once when something billed is worth less.
//!
//! Nothing is given back by itself. A person issues each credit note, or leaves it.

use std::collections::{BTreeMap, BTreeSet};

use ledger::InvoiceId;
use ledger::office::{BillableUnit, Claim, Document, InvoiceLine, InvoiceLineKind};
use rust_decimal::Decimal;
use trade::money::{line_amount, percentage};
use trade::{Day, InvoiceTotals, Pence, Quantity, Rate, VatShare};

use super::claims::{Claims, Standing, too_much};
use super::clock;
use super::priced::{self, left_out_for_more, left_out_of_billed};
use super::sums::{cis_so_far, material_cost};
use super::vat::{Vat, nets, share_of};
use super::work::{IssuedPaper, JobWork, Measure};

/// A credit note that could be issued. Its claims are below nought, its amounts are what is given back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProposedCredit {
    /// The invoice that it reduces.
    pub of: InvoiceId,
    /// That invoice's number as printed.
    pub of_number: String,
    /// That invoice's date.
    pub of_date: Day,
    /// The lines that are given back.
    pub lines: Vec<InvoiceLine>,
    /// What each VAT category and rate comes to.
    pub vat: Vec<VatShare>,
    /// The sums that are given back.
    pub totals: InvoiceTotals,
}

/// What is left of an invoice's line after the credit notes on it.
struct LineLeft<'w> {
    line: &'w InvoiceLine,
    /// In the billed units' own measure.
    measure: Decimal,
    quantity: Decimal,
    amount: Pence,
    /// What it, and the credit notes on it, claim.
    claims: Vec<&'w Claim>,
    /// What is to be given back now.
    giving: Vec<Claim>,
}

/// The credit notes that are due now, one an invoice, oldest first.
///
/// What was billed on several invoices is given back from the newest; the next credit note is
/// proposed once that one is issued, so that each follows the one before. What was billed at a rate
/// or price that is another now, or as another item, is given back whole, and is then to bill anew.
#[must_use]
pub fn proposed_credits(job: &JobWork) -> Vec<ProposedCredit> {
    let claims = Claims::of(job);
    let mut left = lines_left(&claims);
    let mut giving = BTreeSet::new();
    for back in at_another_price(job, &claims) {
        let same = |left: &&mut LineLeft<'_>| is_same_line(left.line, back.line);
        let own = left.get_mut(&back.invoice).and_then(|lines| lines.iter_mut().find(same));
        let limit = -back.claim.quantity.value();
        if !giving.contains(&back.claim.unit) && own.is_some_and(|line| line.give_back(&back.claim, limit)) {
            giving.insert(back.claim.unit);
        }
    }
    for (account, claim) in too_much(&claims) {
        let Some(invoice) = account.newest_invoice().filter(|_| !giving.contains(&claim.unit)) else {
            continue;
        };
        let on_invoice = account.billed_on(invoice).max(Decimal::ZERO);
        let names: BTreeSet<_> = account.claims.iter().map(|claim| claim.line.what.as_str()).collect();
        let bills = |left: &&mut LineLeft<'_>| {
            names.contains(left.line.what.as_str())
                && left.line.claims.iter().any(|billed| billed.unit == claim.unit)
        };
        let own = left.get_mut(&invoice).and_then(|lines| lines.iter_mut().find(bills));
        let mut given = own.is_some_and(|line| line.give_back(&claim, on_invoice));
        // Returns may have emptied its own line, and then it stands against later uses of the item.
        if let Some(line) = account.newest_line().filter(|_| !given) {
            given = give_back_material(&claims, &mut left, (&line.stage, &line.what), &claim);
        }
        if given {
            giving.insert(claim.unit);
        }
    }
    for back in clock::lines(job, &claims, None, Vat::of(job, None)).to_give_back {
        give_back_material(&claims, &mut left, (&back.stage_name, &back.item), &back.claim);
    }
    let mut left_out: BTreeMap<InvoiceId, Vec<InvoiceLine>> = BTreeMap::new();
    for (stage, line) in left_out_of_billed(job, &claims) {
        let bills = claims.on(BillableUnit::Stage(stage)).iter().rev().find(|claim| !claim.by_credit_note);
        // It reduces the invoice at the VAT that the stage was billed at.
        let line = bills.map(|bills| InvoiceLine {
            vat_category: bills.line.vat_category,
            vat_percent: bills.line.vat_percent,
            ..line
        });
        if let Some((bills, line)) = bills.zip(line) {
            left_out.entry(bills.invoice).or_default().push(line);
        }
    }
    for (unit, line) in left_out_for_more(job, &claims) {
        let Some(newest) = claims.on(unit).last() else { continue };
        let took_off = |left: &&mut LineLeft<'_>| is_same_line(left.line, newest.line);
        let own = left.get_mut(&newest.invoice).and_then(|lines| lines.iter_mut().find(took_off));
        if let Some((own, claim)) = own.zip(line.claims.first()) {
            // What came off is put back, and more comes off: the credit note gives back the difference.
            let back = Quantity::new(-claim.quantity.value()).ok();
            own.giving.extend(back.map(|quantity| Claim { quantity, ..claim.clone() }));
            let (vat_category, vat_percent) = (newest.line.vat_category, newest.line.vat_percent);
            let line = InvoiceLine { vat_category, vat_percent, ..line };
            left_out.entry(newest.invoice).or_default().push(line);
        }
    }
    credits(job, &claims, left, left_out)
}

/// Something that was billed at a rate or price that is another now.
struct AtAnotherPrice<'w> {
    invoice: InvoiceId,
    line: &'w InvoiceLine,
    /// Below nought: all of it that still stands on the line.
    claim: Claim,
}

/// What was billed at a rate or price that is another now, newest first. A return has no price of
/// its own: it comes off at that of the use.
fn at_another_price<'w>(job: &JobWork, claims: &Claims<'w>) -> Vec<AtAnotherPrice<'w>> {
    let mut found = at_another_amount(job, claims);
    for work in &job.entries {
        let account = claims.account(work);
        let mut stands = account.billed();
        if stands <= Decimal::ZERO || claims.double(account.unit, account.worth).is_some() {
            continue;
        }
        let prices = prices(job, &work.measure);
        if prices.is_empty() {
            continue;
        }
        let mut lines: Vec<_> = Vec::new();
        for billing in account.claims.iter().rev().filter(|claim| !claim.by_credit_note) {
            let seen = lines.contains(&(billing.at.event, billing.at.line));
            if seen || billing.quantity.is_sign_negative() || prices.contains(&billing.line.unit_price) {
                continue;
            }
            lines.push((billing.at.event, billing.at.line));
            let on_line = |claim: &&Standing<'_>| {
                claim.invoice == billing.invoice && is_same_line(billing.line, claim.line)
            };
            let sum: Decimal = account.claims.iter().filter(on_line).map(|claim| claim.quantity).sum();
            let quantity = sum.min(stands);
            let claim = Quantity::new(-quantity)
                .ok()
                .filter(|_| quantity > Decimal::ZERO)
                .zip(claims.revision(account.unit));
            let Some((quantity, revision)) = claim else { continue };
            stands += quantity.value();
            let follows = claims.newest(account.unit);
            let claim = Claim { unit: account.unit, revision, quantity, follows };
            found.push(AtAnotherPrice { invoice: billing.invoice, line: billing.line, claim });
        }
    }
    found
}

/// Points and extras that were billed whole, at an amount that is another now.
fn at_another_amount<'w>(job: &JobWork, claims: &Claims<'w>) -> Vec<AtAnotherPrice<'w>> {
    let changed = priced::due(job, None).into_iter().filter_map(|due| {
        match due.unit {
            BillableUnit::Point(_) | BillableUnit::Extra(_) => {}
            BillableUnit::Stage(_)
            | BillableUnit::Entry(_)
            | BillableUnit::Overtime(_)
            | BillableUnit::CallOut { .. }
            | BillableUnit::Retention(_)
            | BillableUnit::Deposit(_)
            | BillableUnit::Uncertified(_) => return None,
        }
        let whole = claims.billed(due.unit) == Decimal::ONE && due.share == Decimal::ONE;
        if !whole || due.price == Some(claims.billed_amount(due.unit)) || due.price.is_none() {
            return None;
        }
        let billing = claims.on(due.unit).iter().rev().find(|claim| !claim.by_credit_note)?;
        let claim = Claim {
            unit: due.unit,
            revision: claims.revision(due.unit)?,
            quantity: Quantity::new(-Decimal::ONE).ok()?,
            follows: claims.newest(due.unit),
        };
        Some(AtAnotherPrice { invoice: billing.invoice, line: billing.line, claim })
    });
    changed.collect()
}

/// What papers may print as the price of an entry without being wrong. Empty while no rate or price
/// is set, and for what only takes off.
fn prices(job: &JobWork, measure: &Measure) -> Vec<Rate> {
    match measure {
        Measure::Labour { charge_rate, .. } => charge_rate.iter().copied().collect(),
        Measure::Counted { price, .. } => price.iter().copied().collect(),
        Measure::Material { quantity, .. } if quantity.is_negative() => Vec::new(),
        Measure::Material { unit_cost, .. } => {
            let markups = || job.markups.iter().copied().chain([job.terms.markup_percent]);
            unit_cost.iter().flat_map(|cost| markups().map(|markup| cost.marked_up(markup))).collect()
        }
    }
}

/// Gives back from the newest invoice that still bills of an item on a stage; whether that is anything.
fn give_back_material(
    claims: &Claims<'_>,
    left: &mut BTreeMap<InvoiceId, Vec<LineLeft<'_>>>,
    (stage, item): (&str, &str),
    claim: &Claim,
) -> bool {
    let bills = |left: &LineLeft<'_>| {
        left.line.kind == InvoiceLineKind::Material
            && left.line.stage == stage
            && left.line.what == item
            && left.measure + left.given() > Decimal::ZERO
    };
    let mut newest = claims.papers.iter().rev().map(|paper| paper.document.invoice);
    let newest = newest.find(|of| left.get(of).is_some_and(|lines| lines.iter().any(bills)));
    let lines = newest.and_then(|invoice| left.get_mut(&invoice));
    let line = lines.and_then(|lines| lines.iter_mut().find(|line| bills(line)));
    line.is_some_and(|line| {
        let limit = line.measure;
        line.give_back(claim, limit)
    })
}

/// All that is left of one invoice, for when it was wrong as a whole; nothing when nothing is left.
#[must_use]
pub fn whole_credit(job: &JobWork, invoice: InvoiceId) -> Option<ProposedCredit> {
    let claims = Claims::of(job);
    let mut left = lines_left(&claims);
    left.retain(|of, _| *of == invoice);
    for line in left.values_mut().flatten() {
        let mut billed: BTreeMap<_, (Decimal, &Claim)> = BTreeMap::new();
        for &claim in &line.claims {
            billed.entry(claim.unit).or_insert((Decimal::ZERO, claim)).0 += claim.quantity.value();
        }
        for (unit, (sum, claim)) in billed {
            let quantity = Quantity::new(-sum).ok().filter(|quantity| !quantity.is_zero());
            let follows = claims.newest_on(unit, invoice);
            line.giving.extend(quantity.map(|quantity| Claim { quantity, follows, ..claim.clone() }));
        }
    }
    credits(job, &claims, left, BTreeMap::new()).pop()
}

/// How much of each item, by the names of stage and item, still stands billed on any invoice.
pub(super) fn material_held(claims: &Claims<'_>) -> BTreeMap<(String, String), Decimal> {
    let mut held = BTreeMap::new();
    for left in lines_left(claims).values().flatten() {
        if left.line.kind == InvoiceLineKind::Material {
            *held.entry((left.line.stage.clone(), left.line.what.clone())).or_default() += left.measure;
        }
    }
    held
}

/// The invoices that hold, with what is left of their lines.
fn lines_left<'w>(claims: &Claims<'w>) -> BTreeMap<InvoiceId, Vec<LineLeft<'w>>> {
    let mut left: BTreeMap<InvoiceId, Vec<LineLeft<'w>>> = BTreeMap::new();
    for paper in claims.papers.iter().filter(|paper| paper.credits.is_none()) {
        let lines = paper.document.lines.iter().map(LineLeft::of).collect();
        left.insert(paper.document.invoice, lines);
    }
    for paper in &claims.papers {
        let Some(lines) = paper.credits.and_then(|invoice| left.get_mut(&invoice)) else { continue };
        for given in &paper.document.lines {
            let same = |left: &&mut LineLeft<'_>| is_same_line(left.line, given);
            if let Some(line) = lines.iter_mut().find(same) {
                line.measure += measure(given);
                line.quantity -= given.quantity.value();
                line.amount -= given.amount;
                line.claims.extend(&given.claims);
            } else {
                lines.push(LineLeft::less(given));
            }
        }
    }
    left
}

/// Whether a credit note that is not among them would give back more of an invoice than is left: of one of its lines,
/// or of its sum. A line of its own takes off what no line bills.
pub(super) fn gives_back_more_than_is_left(claims: &Claims<'_>, of: InvoiceId, given: &Document) -> bool {
    let mut left = lines_left(claims).remove(&of).unwrap_or_default();
    let net: Pence = left.iter().map(|line| line.amount).sum();
    let is_more = given.lines.iter().any(|given| {
        let Some(line) = left.iter_mut().find(|left| is_same_line(left.line, given)) else { return false };
        line.measure += measure(given);
        line.amount -= given.amount;
        let bills = measure(line.line).is_sign_positive() && line.line.amount >= Pence::ZERO;
        bills && (line.measure < Decimal::ZERO || line.amount < Pence::ZERO)
    });
    is_more || given.totals.net > net
}

/// A credit note repeats the line that it reduces, word for word.
fn is_same_line(billed: &InvoiceLine, given: &InvoiceLine) -> bool {
    billed.kind == given.kind
        && billed.stage == given.stage
        && billed.what == given.what
        && billed.unit == given.unit
        && billed.unit_price == given.unit_price
        && billed.earlier == given.earlier
}

pub(super) fn measure(line: &InvoiceLine) -> Decimal {
    line.claims.iter().map(|claim| claim.quantity.value()).sum()
}

impl<'w> LineLeft<'w> {
    fn of(line: &'w InvoiceLine) -> Self {
        let (quantity, amount) = (line.quantity.value(), line.amount);
        let claims = line.claims.iter().collect();
        Self { line, measure: measure(line), quantity, amount, claims, giving: Vec::new() }
    }

    /// What was given back by a line of its own: something that was left out of what the invoice bills.
    fn less(given: &'w InvoiceLine) -> Self {
        let (quantity, amount) = (-given.quantity.value(), -given.amount);
        let claims = given.claims.iter().collect();
        Self { line: given, measure: measure(given), quantity, amount, claims, giving: Vec::new() }
    }

    fn given(&self) -> Decimal {
        self.giving.iter().map(|claim| claim.quantity.value()).sum()
    }

    /// Gives back as much of a claim as the line and `limit` still hold; whether that is anything.
    fn give_back(&mut self, claim: &Claim, limit: Decimal) -> bool {
        let held = (self.measure + self.given()).min(limit).max(Decimal::ZERO);
        let part = Quantity::new(claim.quantity.value().max(-held)).ok();
        let part = part.filter(|quantity| !quantity.is_zero());
        self.giving.extend(part.map(|quantity| Claim { quantity, ..claim.clone() }));
        part.is_some()
    }

    /// The line as a credit note prints it. One that gives back the rest gives back what is left
    /// to the penny, whatever the parts before were rounded to.
    fn credit_line(self) -> Option<InvoiceLine> {
        let given = self.given();
        if self.giving.is_empty() {
            return None;
        }
        let closes = (self.measure + given).is_zero();
        let rest = Quantity::new(self.quantity).ok()?;
        let part = clock::printed(self.line, Quantity::new(-given).ok()?);
        let quantity = if closes || part.value() > rest.value() { rest } else { part };
        let amount =
            if closes { self.amount } else { line_amount(quantity, self.line.unit_price).min(self.amount) };
        // A difference too small to print is none that anybody owes.
        (amount != Pence::ZERO).then(|| InvoiceLine {
            quantity,
            amount,
            claims: self.giving,
            ..self.line.clone()
        })
    }
}

fn credits(
    job: &JobWork,
    claims: &Claims<'_>,
    mut left: BTreeMap<InvoiceId, Vec<LineLeft<'_>>>,
    mut left_out: BTreeMap<InvoiceId, Vec<InvoiceLine>>,
) -> Vec<ProposedCredit> {
    let mut so_far = cis_so_far(claims);
    let mut proposed = Vec::new();
    for paper in claims.papers.iter().filter(|paper| paper.credits.is_none()) {
        let Some(lines) = left.remove(&paper.document.invoice) else { continue };
        let mut lines: Vec<_> = lines.into_iter().filter_map(LineLeft::credit_line).collect();
        lines.extend(left_out.remove(&paper.document.invoice).unwrap_or_default());
        if lines.is_empty() {
            continue;
        }
        let rest = rest_of(claims, paper);
        let net: Pence = lines.iter().map(|line| line.amount).sum();
        let (vat, totals) = if net == rest.totals.net {
            (rest.vat, rest.totals)
        } else {
            let spent = so_far.materials - material_cost(job, claims, &[], None);
            let materials = spent.max(Pence::ZERO).min(rest.totals.cis_materials.max(Pence::ZERO));
            let vat = part_shares(paper, &rest.vat, &lines);
            let totals = part_totals(paper, &vat, materials, so_far);
            (vat, totals)
        };
        so_far.due -= totals.taxable;
        so_far.materials -= totals.cis_materials;
        so_far.expected -= totals.cis;
        proposed.push(ProposedCredit {
            of: paper.document.invoice,
            of_number: super::printed_number(&paper.document),
            of_date: paper.document.issued_on,
            lines,
            vat,
            totals,
        });
    }
    proposed
}

/// What is left of an invoice's sums after the credit notes on it.
struct Rest {
    vat: Vec<VatShare>,
    totals: InvoiceTotals,
}

fn rest_of(claims: &Claims<'_>, paper: &IssuedPaper) -> Rest {
    let mut rest = Rest { vat: paper.document.vat.clone(), totals: paper.document.totals };
    for credit in claims.papers.iter().filter(|credit| credit.credits == Some(paper.document.invoice)) {
        rest.totals = each(rest.totals, credit.document.totals, |a, b| a - b);
        for given in &credit.document.vat {
            let same = |share: &&mut VatShare| is_same_share(share, given);
            if let Some(share) = rest.vat.iter_mut().find(same) {
                share.net -= given.net;
                share.retention -= given.retention;
                share.taxable -= given.taxable;
                share.vat_stated -= given.vat_stated;
            }
        }
    }
    rest
}

fn is_same_share(one: &VatShare, other: &VatShare) -> bool {
    one.category == other.category && one.percent == other.percent
}

/// The shares of a part that is given back: retention at the invoice's own rate and never more than what
/// is left of it, and VAT treated as the invoice treats it.
fn part_shares(paper: &IssuedPaper, rest: &[VatShare], lines: &[InvoiceLine]) -> Vec<VatShare> {
    let share = |((category, percent), net, work)| {
        let held = percentage(work, paper.document.retention_percent);
        let share = share_of((category, percent), net, held);
        let left = rest.iter().find(|left| is_same_share(left, &share)).map(|left| left.retention);
        match left {
            Some(left) if held > left => share_of((category, percent), net, left),
            Some(_) | None => share,
        }
    };
    nets(lines).into_iter().map(share).collect()
}

/// The sums of a part that is given back, with CIS so that what is expected fits all that is then due.
fn part_totals(
    paper: &IssuedPaper,
    vat: &[VatShare],
    materials: Pence,
    so_far: trade::CisSoFar,
) -> InvoiceTotals {
    let sums = InvoiceTotals::of_shares(vat, Pence::ZERO, None, so_far);
    let Some(percent) = paper.document.cis_percent else { return sums };
    let base = (so_far.due - sums.taxable) - (so_far.materials - materials);
    let expected = percentage(base.max(Pence::ZERO), percent);
    let cis = (so_far.expected - expected).max(Pence::ZERO);
    InvoiceTotals { cis_materials: materials, cis, to_pay: sums.total - cis, ..sums }
}

fn each(one: InvoiceTotals, two: InvoiceTotals, f: fn(Pence, Pence) -> Pence) -> InvoiceTotals {
    InvoiceTotals {
        net: f(one.net, two.net),
        retention: f(one.retention, two.retention),
        taxable: f(one.taxable, two.taxable),
        vat_stated: f(one.vat_stated, two.vat_stated),
        vat_charged: f(one.vat_charged, two.vat_charged),
        total: f(one.total, two.total),
        cis_materials: f(one.cis_materials, two.cis_materials),
        cis: f(one.cis, two.cis),
        to_pay: f(one.to_pay, two.to_pay),
    }
}
