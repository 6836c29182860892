//! What was billed so far: the claims of all papers, unit by unit.
//!
//! Nothing here decides which of two contradicting papers is right. It finds them and says so.

use std::collections::{BTreeMap, BTreeSet};

use ledger::office::{BillableUnit, Claim, ClaimRef, InvoiceLine, InvoiceLineKind};
use ledger::sabotage::Fault;
use ledger::{EventHash, InvoiceId};
use rust_decimal::Decimal;
use trade::{Pence, Quantity};

use super::held::held_in_all;
use super::priced;
use super::work::{ClockEntry, IssuedPaper, JobWork, Measure};

/// A claim that holds, where it stands, and what it does.
#[derive(Debug, Clone, Copy)]
pub(super) struct Standing<'w> {
    pub(super) at: ClaimRef,
    /// The invoice that it bills on, or gives back from.
    pub(super) invoice: InvoiceId,
    /// In the unit's own measure; below nought where it gives back.
    pub(super) quantity: Decimal,
    revision: EventHash,
    follows: Option<ClaimRef>,
    pub(super) by_credit_note: bool,
    /// The line that makes it.
    pub(super) line: &'w InvoiceLine,
}

/// All claims that hold, by unit, in the order of their papers.
#[derive(Debug)]
pub(super) struct Claims<'w> {
    /// The papers that hold, oldest first.
    pub(super) papers: Vec<&'w IssuedPaper>,
    by_unit: BTreeMap<BillableUnit, Vec<Standing<'w>>>,
    job: &'w JobWork,
    entries: BTreeMap<BillableUnit, &'w ClockEntry>,
}

/// What a unit was billed as, and what it is worth as that.
///
/// Material that was billed as one item and then changed to another was billed as both, and is
/// worth nothing as the first any more. Everything else is billed as one thing.
#[derive(Debug)]
pub(super) struct Account<'w> {
    pub(super) unit: BillableUnit,
    pub(super) worth: Decimal,
    /// It is worth nothing as this any more: it was crossed out, or changed to another item.
    pub(super) ended: bool,
    /// Oldest first.
    pub(super) claims: Vec<Standing<'w>>,
}

/// A unit that more than one paper billed, or gave back, without knowing of the other.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DoubleClaim {
    /// What.
    pub unit: BillableUnit,
    /// The invoices, or credit notes, that do not know of each other. Credit or void one.
    pub papers: Vec<InvoiceId>,
}

impl<'w> Claims<'w> {
    /// Gathers what holds. A voided paper bills nothing, and a credit note gives nothing back unless its invoice bills:
    /// one on a voided invoice, or on one that a fork set aside, would make what it gave back be billed twice over.
    pub(super) fn of(job: &'w JobWork) -> Self {
        let bills = job.papers.iter().filter(|paper| !paper.voided && paper.credits.is_none());
        let bills: BTreeSet<InvoiceId> = bills.map(|paper| paper.document.invoice).collect();
        let holds = |paper: &&IssuedPaper| {
            !paper.voided && paper.credits.is_none_or(|invoice| bills.contains(&invoice))
        };
        let mut papers: Vec<_> = job.papers.iter().filter(holds).collect();
        papers.sort_by_key(|paper| {
            let document = &paper.document;
            (document.issued_on, document.series.as_str(), document.number, paper.event)
        });
        let mut by_unit: BTreeMap<BillableUnit, Vec<Standing<'w>>> = BTreeMap::new();
        for paper in papers.iter().filter(|_| !Fault::InvoiceTwice.is_set()) {
            for (line, printed) in (0_u16..).zip(&paper.document.lines) {
                for (claim, made) in (0_u16..).zip(&printed.claims) {
                    by_unit.entry(made.unit).or_default().push(Standing {
                        at: ClaimRef { event: paper.event, line, claim },
                        invoice: paper.credits.unwrap_or(paper.document.invoice),
                        quantity: made.quantity.value(),
                        revision: made.revision,
                        follows: made.follows,
                        by_credit_note: paper.credits.is_some(),
                        line: printed,
                    });
                }
            }
        }
        let entries = job.entries.iter().map(|work| (work.unit, work)).collect();
        Self { papers, by_unit, job, entries }
    }

    /// The units that any paper claims.
    pub(super) fn units(&self) -> impl Iterator<Item = BillableUnit> {
        self.by_unit.keys().copied()
    }

    /// The claims on a unit, oldest first.
    pub(super) fn on(&self, unit: BillableUnit) -> &[Standing<'w>] {
        self.by_unit.get(&unit).map_or(&[], Vec::as_slice)
    }

    /// Invoiced less credited.
    pub(super) fn billed(&self, unit: BillableUnit) -> Decimal {
        self.on(unit).iter().map(|claim| claim.quantity).sum()
    }

    /// What was invoiced for a unit less what was credited, of lines that bill nothing else.
    pub(super) fn billed_amount(&self, unit: BillableUnit) -> Pence {
        let own = self.on(unit).iter().filter(|claim| claim.line.claims.len() == 1);
        own.map(|claim| if claim.by_credit_note { -claim.line.amount } else { claim.line.amount }).sum()
    }

    /// The event that last said what a unit is worth; else the one that its newest claim knew.
    pub(super) fn revision(&self, unit: BillableUnit) -> Option<EventHash> {
        let work = match unit {
            BillableUnit::Entry(_) | BillableUnit::Overtime(_) | BillableUnit::CallOut { .. } => {
                self.entries.get(&unit).map(|work| work.revision)
            }
            BillableUnit::Stage(_)
            | BillableUnit::Point(_)
            | BillableUnit::Extra(_)
            | BillableUnit::Retention(_)
            | BillableUnit::Deposit(_)
            | BillableUnit::Uncertified(_) => None,
        };
        let ended = || self.job.ended.get(&unit).copied();
        work.or_else(ended).or_else(|| self.on(unit).last().map(|claim| claim.revision))
    }

    /// An entry as what it is now, with the claims that bill it as that.
    pub(super) fn account(&self, work: &ClockEntry) -> Account<'w> {
        let unit = work.unit;
        let claims = self.on(unit).iter().filter(|claim| self.bills_as_now(work, claim)).copied().collect();
        Account { unit, worth: work.measure.count(), ended: false, claims }
    }

    /// Everything that was billed, as what it was billed. A deposit and what was not certified are in none of
    /// them: they are worth nothing in the end, and the next invoice makes them even.
    pub(super) fn accounts(&self) -> Vec<Account<'w>> {
        let worths = worths(self.job);
        let mut accounts = Vec::new();
        for (&unit, claims) in &self.by_unit {
            let work = match unit {
                BillableUnit::Entry(_) | BillableUnit::Overtime(_) | BillableUnit::CallOut { .. } => {
                    self.entries.get(&unit)
                }
                BillableUnit::Stage(_) | BillableUnit::Point(_) | BillableUnit::Extra(_) => {
                    let worth = worths.get(&unit).copied().unwrap_or_default();
                    accounts.push(Account { unit, worth, ended: false, claims: claims.clone() });
                    continue;
                }
                BillableUnit::Retention(_) => {
                    // When it falls due is a matter of days, and no day gives back what was released.
                    let worth = self.billed(unit).min(held_in_all(self).pounds());
                    accounts.push(Account { unit, worth, ended: false, claims: claims.clone() });
                    continue;
                }
                BillableUnit::Deposit(_) | BillableUnit::Uncertified(_) => continue,
            };
            let mut former: BTreeMap<&str, Vec<Standing<'w>>> = BTreeMap::new();
            for claim in
                claims.iter().filter(|claim| !work.is_some_and(|work| self.bills_as_now(work, claim)))
            {
                former.entry(item_of(claim.line)).or_default().push(*claim);
            }
            let ended = |claims| Account { unit, worth: Decimal::ZERO, ended: true, claims };
            accounts.extend(former.into_values().map(ended));
            accounts.extend(work.map(|work| self.account(work)));
        }
        accounts
    }

    /// Whether a claim on an entry bills it as what it is now. Hours stay hours.
    fn bills_as_now(&self, work: &ClockEntry, claim: &Standing<'w>) -> bool {
        match &work.measure {
            Measure::Labour { .. } | Measure::Counted { .. } => true,
            Measure::Material { item, .. } => {
                let printed = &claim.line.what;
                printed == item || self.job.also_called.get(item).is_some_and(|names| names.contains(printed))
            }
        }
    }

    /// The newest claim on a unit that none follows yet.
    pub(super) fn newest(&self, unit: BillableUnit) -> Option<ClaimRef> {
        self.newest_among(unit, self.on(unit))
    }

    /// The newest claim that one invoice, or a credit note on it, makes on a unit.
    pub(super) fn newest_on(&self, unit: BillableUnit, invoice: InvoiceId) -> Option<ClaimRef> {
        let own: Vec<_> = self.on(unit).iter().filter(|claim| claim.invoice == invoice).copied().collect();
        self.newest_among(unit, &own).or_else(|| self.newest(unit))
    }

    fn newest_among(&self, unit: BillableUnit, among: &[Standing<'w>]) -> Option<ClaimRef> {
        let followed: BTreeSet<_> = self.on(unit).iter().filter_map(|claim| claim.follows).collect();
        among.iter().rev().map(|claim| claim.at).find(|at| !followed.contains(at))
    }

    /// The papers that claim a unit without knowing of each other, as long as the sum is wrong by it.
    ///
    /// Until a person credits or voids one, the unit is neither billed further nor credited by
    /// itself: nothing is decided by which came first.
    pub(super) fn double(&self, unit: BillableUnit, worth: Decimal) -> Option<DoubleClaim> {
        let billed = self.billed(unit);
        if billed >= worth.min(Decimal::ZERO) && billed <= worth.max(Decimal::ZERO) {
            return None;
        }
        let standing: Vec<_> =
            self.on(unit).iter().filter(|claim| !self.is_given_back(unit, claim)).collect();
        let both_overdo = |one: &Standing<'w>, other: &Standing<'w>| {
            one.by_credit_note && one.invoice == other.invoice && self.is_overdone(unit, one.invoice)
        };
        let rivals = |claim: &&&Standing<'w>| {
            standing.iter().any(|other| {
                other.at.event != claim.at.event
                    && other.by_credit_note == claim.by_credit_note
                    && (other.follows == claim.follows || both_overdo(claim, other))
            })
        };
        let events: BTreeSet<_> = standing.iter().filter(rivals).map(|claim| claim.at.event).collect();
        let papers = self.papers.iter().filter(|paper| events.contains(&paper.event));
        let papers: Vec<_> = papers.map(|paper| paper.document.invoice).collect();
        (!papers.is_empty()).then_some(DoubleClaim { unit, papers })
    }

    /// Whether credit notes give back more of a unit than an invoice bills: whoever made one did not know of the other,
    /// whatever claim each of them went on from.
    fn is_overdone(&self, unit: BillableUnit, invoice: InvoiceId) -> bool {
        let of_invoice = || self.on(unit).iter().filter(|claim| claim.invoice == invoice);
        let billed: Decimal =
            of_invoice().filter(|claim| !claim.by_credit_note).map(|claim| claim.quantity).sum();
        let left: Decimal = of_invoice().map(|claim| claim.quantity).sum();
        billed > Decimal::ZERO && left < Decimal::ZERO
    }

    /// Whether nothing of what an invoice bills of a unit is left, given the credit notes on it. What a credit note
    /// follows does not tell: another paper may have gone on from the invoice's own claim.
    fn is_given_back(&self, unit: BillableUnit, claim: &Standing<'w>) -> bool {
        let of_invoice = self.on(unit).iter().filter(|other| other.invoice == claim.invoice);
        let left: Decimal = of_invoice.map(|other| other.quantity).sum();
        !claim.by_credit_note && !claim.quantity.is_zero() && left.is_zero()
    }
}

/// What each unit is worth now, in its own measure. What is not on the job any more is not in it.
pub(super) fn worths(job: &JobWork) -> BTreeMap<BillableUnit, Decimal> {
    let entries = job.entries.iter().map(|work| (work.unit, work.measure.count()));
    let priced = priced::due(job, None).into_iter().map(|due| (due.unit, due.share));
    entries.chain(priced).collect()
}

impl<'w> Account<'w> {
    /// Invoiced less credited.
    pub(super) fn billed(&self) -> Decimal {
        self.claims.iter().map(|claim| claim.quantity).sum()
    }

    /// Invoiced less credited, of one invoice.
    pub(super) fn billed_on(&self, invoice: InvoiceId) -> Decimal {
        self.claims.iter().filter(|claim| claim.invoice == invoice).map(|claim| claim.quantity).sum()
    }

    /// The newest invoice on which something of it still stands billed.
    pub(super) fn newest_invoice(&self) -> Option<InvoiceId> {
        let billing = |claim: &&Standing<'w>| !self.billed_on(claim.invoice).is_zero();
        self.claims.iter().rev().find(billing).map(|claim| claim.invoice)
    }

    /// How much is given back where so much is too much. What is billed in steps at a price is given back
    /// by whole steps, and what is then due of it is billed anew.
    fn giving_back(&self, open: Decimal) -> Decimal {
        match self.unit {
            BillableUnit::Entry(_)
            | BillableUnit::Overtime(_)
            | BillableUnit::CallOut { .. }
            | BillableUnit::Deposit(_)
            | BillableUnit::Uncertified(_) => open,
            BillableUnit::Stage(_)
            | BillableUnit::Point(_)
            | BillableUnit::Extra(_)
            | BillableUnit::Retention(_) => {
                let on_newest = self.newest_invoice().map(|invoice| self.billed_on(invoice));
                on_newest.map_or(open, |newest| open.min(-newest))
            }
        }
    }

    /// The line that makes the newest claim.
    pub(super) fn newest_line(&self) -> Option<&'w InvoiceLine> {
        self.claims.last().map(|claim| claim.line)
    }
}

/// The item that a line bills; empty for a line of something else.
fn item_of(line: &InvoiceLine) -> &str {
    match line.kind {
        InvoiceLineKind::Material => &line.what,
        InvoiceLineKind::Labour
        | InvoiceLineKind::Price
        | InvoiceLineKind::Deposit
        | InvoiceLineKind::Retention
        | InvoiceLineKind::Uncertified => "",
    }
}

/// What was billed above its worth, with a claim below nought for the difference.
pub(super) fn too_much<'w>(claims: &Claims<'w>) -> Vec<(Account<'w>, Claim)> {
    let worths = worths(claims.job);
    let accounts = claims.accounts().into_iter();
    let above = accounts.filter_map(|account| {
        let unit = account.unit;
        let open = account.worth - account.billed();
        // A return is no billed unit; what it takes off is worked out with the lines it belongs to.
        if !open.is_sign_negative() || open.is_zero() || account.worth.is_sign_negative() {
            return None;
        }
        if claims.double(unit, worths.get(&unit).copied().unwrap_or_default()).is_some() {
            return None;
        }
        // What was billed and is set aside stands until people have said what becomes of it.
        let is_set_aside = |claim: &Standing<'_>| claims.job.set_aside.contains(&claim.revision);
        if !worths.contains_key(&unit) && account.claims.iter().any(is_set_aside) {
            return None;
        }
        let (revision, quantity) = (claims.revision(unit)?, Quantity::new(account.giving_back(open)).ok()?);
        Some((account, Claim { unit, revision, quantity, follows: claims.newest(unit) }))
    });
    above.collect()
}

impl Measure {
    /// The entry's own measure: minutes, or units of the item.
    pub(super) fn count(&self) -> Decimal {
        match self {
            Self::Labour { minutes, .. } => Decimal::from(*minutes),
            Self::Material { quantity, .. } | Self::Counted { quantity, .. } => quantity.value(),
        }
    }
}

/// The units that more than one paper billed, or gave back, without knowing of the other.
///
/// All of them are owed until a person credits or voids one.
#[must_use]
pub fn double_claims(job: &JobWork) -> Vec<DoubleClaim> {
    let claims = Claims::of(job);
    let worths = worths(job);
    let worth = |unit| worths.get(&unit).copied().unwrap_or_default();
    claims.units().filter_map(|unit| claims.double(unit, worth(unit))).collect()
}
