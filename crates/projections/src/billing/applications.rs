//! Applications for payment: what a contractor is asked for by what is done, what they certify of it, and how each
//! application stands.
//!
//! An application is worked out from the papers and from what is still to bill, so that the work to date, less
//! what is held back, less what came before, is what is asked for, to the penny. It bills nothing: that is for an
//! invoice, the crew's own or the customer's in its name.

use ledger::InvoiceId;
use ledger::office::{Application, AppliedLine, BillableUnit, CustomerKind, InvoiceLine, InvoiceLineKind};
use rust_decimal::Decimal;
use serde::{Deserialize, Serialize};
use trade::{Day, Pence, Quantity, Rate, Setting};

use super::claims::Claims;
use super::issue::{NotIssued, PaperDates, PaperNumber, parties, printed_number, work};
use super::preview::{Preview, Wish, preview_of};
use super::priced;
use super::uncertified::Certification;
use super::work::{ApplicationWork, IssuedPaper, JobWork};

/// The days of an application.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ApplicationDays {
    /// The day it is made: today.
    pub made_on: Day,
    /// What was done up to this day is on it.
    pub until: Day,
    /// The day on which the contract says that it falls due; none for that of the Scheme.
    pub due_on: Option<Day>,
    /// The contract's last day to pay; none for that of the Scheme.
    pub final_on: Option<Day>,
}

/// Why no application is made, or none billed. Nothing was done.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NotApplied {
    /// A customer who is sent invoices.
    #[error(
        "{0} is a householder: send an invoice, or a deposit first. Applications for payment are for contractors and \
         businesses (`fivebar job change --customer-kind`)"
    )]
    Householder(String),
    /// Nothing more was done.
    #[error(
        "there is nothing to apply for on {job} up to {until}: what is done comes to {sum} more than came before"
    )]
    Nothing {
        /// The job's code.
        job: String,
        /// The last day.
        until: Day,
        /// What there would be.
        sum: Pence,
    },
    /// The days go backwards.
    #[error("--final-on: {final_on} is before the day on which it falls due, {due_on}")]
    FinalBeforeDue {
        /// The day on which it falls due.
        due_on: Day,
        /// The last day to pay.
        final_on: Day,
    },
    /// There is no application of this number.
    #[error("{job} has no application {number}; there are: {there_are}")]
    NoSuch {
        /// The job's code.
        job: String,
        /// The number.
        number: u32,
        /// Those there are.
        there_are: String,
    },
    /// It is billed.
    #[error("application {number} of {job} is billed by invoice {by}")]
    Billed {
        /// The job's code.
        job: String,
        /// The application.
        number: u32,
        /// The invoice.
        by: String,
    },
    /// Something else was billed or certified since.
    #[error(
        "since application {number} of {job} was made, more was billed or certified: it says {before} came before, and \
         now that is {now}. Make a new one, which takes account of it"
    )]
    Outdated {
        /// The job's code.
        job: String,
        /// The application.
        number: u32,
        /// What it says came before.
        before: Pence,
        /// What came before as of now.
        now: Pence,
    },
    /// As for an invoice.
    #[error(transparent)]
    NotIssued(#[from] NotIssued),
}

/// How an application stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stand {
    /// The customer did not say yet what they will pay.
    AppliedFor,
    /// They said what they will pay, and no invoice bills it yet.
    Certified,
    /// An invoice bills it.
    Billed,
    /// A later one asks for it.
    Replaced,
}

impl Stand {
    /// In words.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::AppliedFor => "applied for",
            Self::Certified => "certified, not billed yet",
            Self::Billed => "billed",
            Self::Replaced => "in a later one",
        }
    }
}

/// An application, and how it stands.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ApplicationStand {
    /// The job's code.
    pub job: String,
    /// Who is asked.
    pub customer: String,
    /// Its number.
    pub number: u32,
    /// The day it was made.
    pub made_on: Day,
    /// What was done up to this day is on it.
    pub until: Day,
    /// What was asked for, without VAT.
    pub applied: Pence,
    /// What the customer will pay of it, once they said so.
    pub certified: Option<Pence>,
    /// When they said so.
    pub certified_on: Option<Day>,
    /// The number of their certificate, or empty.
    pub reference: String,
    /// How it stands.
    pub stand: Stand,
    /// The invoice that bills it.
    pub billed_by: Option<String>,
    /// The last day for them to say what they will pay.
    pub notice_by: Day,
    /// The last day to pay.
    pub final_on: Day,
    /// Days after the last day to pay, while it is not billed; nought or below while it is not late.
    pub days_late: i32,
}

impl ApplicationStand {
    /// What is open of it before VAT: certified or asked for, and on no invoice yet.
    #[must_use]
    pub fn open(&self) -> Pence {
        match self.stand {
            Stand::AppliedFor => self.applied,
            Stand::Certified => self.certified.unwrap_or(self.applied),
            Stand::Billed | Stand::Replaced => Pence::ZERO,
        }
    }
}

/// The applications of a job and how they stand, by number.
#[must_use]
pub fn applications(job: &JobWork, today: Day) -> Vec<ApplicationStand> {
    let claims = Claims::of(job);
    let newest = job.applications.last().map(|applied| applied.application.number);
    let stand = |applied: &ApplicationWork| {
        let application = &applied.application;
        let billed_by = billed_by(&claims, application.number).map(|paper| printed_number(&paper.document));
        let stand = match (&billed_by, &applied.certified) {
            (Some(_), _) => Stand::Billed,
            (None, Some(_)) => Stand::Certified,
            (None, None) if Some(application.number) == newest => Stand::AppliedFor,
            (None, None) => Stand::Replaced,
        };
        ApplicationStand {
            job: job.code.clone(),
            customer: application.customer.name.clone(),
            number: application.number,
            made_on: application.made_on,
            until: application.until,
            applied: application.applied,
            certified: applied.certified.as_ref().map(|certified| certified.sum),
            certified_on: applied.certified.as_ref().map(|certified| certified.on),
            reference: applied
                .certified
                .as_ref()
                .map_or_else(String::new, |certified| certified.reference.clone()),
            stand,
            billed_by,
            notice_by: application.notice_by,
            final_on: application.final_on,
            days_late: today.number() - application.final_on.number(),
        }
    };
    job.applications.iter().map(stand).collect()
}

/// What was asked for or certified on all jobs, and is on no invoice yet.
#[must_use]
pub fn applied_for(jobs: &[JobWork], today: Day) -> Vec<ApplicationStand> {
    let all = jobs.iter().flat_map(|job| applications(job, today));
    all.filter(|stand| matches!(stand.stand, Stand::AppliedFor | Stand::Certified)).collect()
}

/// The application of this number.
///
/// # Errors
/// [`NotApplied::NoSuch`] says which there are.
pub fn application(job: &JobWork, number: u32) -> Result<&ApplicationWork, NotApplied> {
    // Of two that were made apart under one number the one that stands last is taken.
    job.applications.iter().rev().find(|applied| applied.application.number == number).ok_or_else(|| {
        let numbers: Vec<_> = job.applications.iter().map(|a| a.application.number.to_string()).collect();
        let there_are = if numbers.is_empty() { "none yet".to_owned() } else { numbers.join(", ") };
        NotApplied::NoSuch { job: job.code.clone(), number, there_are }
    })
}

/// The sum that an invoice of an application has to come to: what was certified; where the customer said nothing,
/// what was asked for.
///
/// # Errors
/// [`NotApplied`]: there is none of this number, it is billed, or more was billed since it was made.
pub fn certification(job: &JobWork, number: u32) -> Result<Certification, NotApplied> {
    let applied = application(job, number)?;
    let claims = Claims::of(job);
    if let Some(paper) = billed_by(&claims, number) {
        let by = printed_number(&paper.document);
        return Err(NotApplied::Billed { job: job.code.clone(), number, by });
    }
    let now = billed_before(&claims) + certified_before(job, &claims, number);
    let before = applied.application.before;
    if now != before {
        return Err(NotApplied::Outdated { job: job.code.clone(), number, before, now });
    }
    let (sum, revision) = applied.certified.as_ref().map_or_else(
        || (applied.application.applied, applied.revision),
        |certified| (certified.sum, certified.revision),
    );
    Ok(Certification { sum, application: Some(number), revision })
}

/// The invoice that bills an application and was not wholly given back.
fn billed_by<'w>(claims: &Claims<'w>, number: u32) -> Option<&'w IssuedPaper> {
    let left = |invoice: InvoiceId, taxable: Pence| {
        let credits = claims.papers.iter().filter(|credit| credit.credits == Some(invoice));
        taxable - credits.map(|credit| credit.document.totals.taxable).sum::<Pence>()
    };
    let bills = |paper: &&&IssuedPaper| {
        let document = &paper.document;
        paper.credits.is_none()
            && document.application == Some(number)
            && left(document.invoice, document.totals.taxable) != Pence::ZERO
    };
    claims.papers.iter().find(bills).copied()
}

/// What all papers came to before VAT and after what was held back.
fn billed_before(claims: &Claims<'_>) -> Pence {
    claims.papers.iter().map(|paper| signed(paper, paper.document.totals.taxable)).sum()
}

/// What was certified of applications before this one that no invoice bills yet.
fn certified_before(job: &JobWork, claims: &Claims<'_>, number: u32) -> Pence {
    let before = job.applications.iter().filter(|applied| applied.application.number < number);
    let open = before.filter(|applied| billed_by(claims, applied.application.number).is_none());
    open.filter_map(|applied| applied.certified.as_ref()).map(|certified| certified.sum).sum()
}

fn signed(paper: &IssuedPaper, sum: Pence) -> Pence {
    if paper.credits.is_some() { -sum } else { sum }
}

/// Makes the next application of a job. Later changes of names, prices or terms never alter it.
///
/// # Errors
/// [`NotApplied`] names what is wrong or missing, and where to set it.
pub fn apply(job: &JobWork, wish: &Wish, days: ApplicationDays) -> Result<Application, NotApplied> {
    if job.terms.customer_kind == CustomerKind::Householder {
        return Err(NotApplied::Householder(job.customer.clone()));
    }
    let ApplicationDays { made_on, until, .. } = days;
    if until > made_on {
        let what = "the last day of the work";
        return Err(NotIssued::InFuture { what, day: until, today: made_on }.into());
    }
    let claims = Claims::of(job);
    let last = job.applications.last().map_or(0, |applied| applied.application.number);
    let number = last.saturating_add(1);
    let preview = preview_of(
        job,
        &Wish { until: Some(until), tax_point: Some(made_on), certified: None, ..wish.clone() },
    );
    let certified = certified_before(job, &claims, number);
    let due = preview.as_ref().map_or(Pence::ZERO, |preview| preview.totals.taxable);
    let applied = due - certified;
    if applied <= Pence::ZERO {
        return Err(NotApplied::Nothing { job: job.code.clone(), until, sum: applied });
    }
    let lines = lines_to_date(job, &claims, preview.as_ref());
    let named = PaperNumber { invoice: InvoiceId([0; 16]), series: String::new(), number: number.into() };
    let dates = PaperDates { today: made_on, issued_on: made_on, tax_point: made_on };
    let (seller, customer) = parties(job, &named, &[], &mut Vec::new(), dates)?;
    let (due_on, notice_by, pay_less_by, final_on) = payment_days(days)?;
    Ok(Application {
        job: job.job,
        number,
        work: work(job),
        order_number: job.terms.order_number.clone(),
        made_on,
        until,
        named: wish.named.iter().copied().collect(),
        seller,
        customer,
        gross: lines.iter().map(|line| line.amount).sum(),
        lines,
        retention_percent: job.terms.retention_percent,
        retention: held_to_date(&claims, preview.as_ref()),
        before: billed_before(&claims) + certified,
        applied,
        due_on,
        notice_by,
        pay_less_by,
        final_on,
    })
}

/// When it falls due, by when the customer says what they will pay or that it will be less, and the last day to
/// pay. What the contract does not say, the Scheme for Construction Contracts does.
fn payment_days(days: ApplicationDays) -> Result<(Day, Day, Day, Day), NotApplied> {
    let after = |setting: Setting| setting.days_on(days.made_on).unwrap_or_default();
    let by_scheme = days.until.plus_days(after(Setting::ApplicationDueDays)).max(days.made_on);
    let due_on = days.due_on.unwrap_or(by_scheme);
    let final_on = days.final_on.unwrap_or_else(|| due_on.plus_days(after(Setting::FinalDateDays)));
    if final_on < due_on {
        return Err(NotApplied::FinalBeforeDue { due_on, final_on });
    }
    let notice_by = due_on.plus_days(after(Setting::PaymentNoticeDays));
    Ok((due_on, notice_by, final_on.plus_days(-after(Setting::PayLessDays)), final_on))
}

/// What is held back of the work to date and not released: on papers, and on what is to bill.
fn held_to_date(claims: &Claims<'_>, preview: Option<&Preview>) -> Pence {
    let released = |lines: &[InvoiceLine]| -> Pence {
        let own = lines.iter().filter(|line| line.kind == InvoiceLineKind::Retention);
        own.map(|line| line.amount).sum()
    };
    let on_papers = claims.papers.iter().map(|paper| {
        let document = &paper.document;
        signed(paper, document.totals.retention - released(&document.lines))
    });
    let now = preview.map(|preview| preview.totals.retention - released(&preview.printed));
    on_papers.chain(now).sum()
}

/// By what lines of several papers are the same work.
#[derive(PartialEq, Eq)]
enum Same<'l> {
    /// A stage, a point or an extra at its price.
    AtAPrice(BillableUnit),
    /// What makes papers even.
    Deposits,
    /// The same.
    Uncertified,
    /// By the clock: stage, words, unit and price.
    OnTheClock(&'l str, &'l str, &'l str, Rate),
}

impl<'l> Same<'l> {
    /// None for what was held back, which is no work.
    fn of(line: &'l InvoiceLine) -> Option<Self> {
        match (line.kind, line.claims.as_slice()) {
            (InvoiceLineKind::Retention, _) => None,
            (InvoiceLineKind::Deposit, _) => Some(Self::Deposits),
            (InvoiceLineKind::Uncertified, _) => Some(Self::Uncertified),
            (InvoiceLineKind::Price, [claim]) if line.unit.is_empty() => match claim.unit {
                BillableUnit::Stage(_) | BillableUnit::Point(_) | BillableUnit::Extra(_) => {
                    Some(Self::AtAPrice(claim.unit))
                }
                BillableUnit::Entry(_)
                | BillableUnit::Overtime(_)
                | BillableUnit::CallOut { .. }
                | BillableUnit::Retention(_)
                | BillableUnit::Deposit(_)
                | BillableUnit::Uncertified(_) => Some(Self::by_the_clock(line)),
            },
            (InvoiceLineKind::Labour | InvoiceLineKind::Material | InvoiceLineKind::Price, _) => {
                Some(Self::by_the_clock(line))
            }
        }
    }

    fn by_the_clock(line: &'l InvoiceLine) -> Self {
        Self::OnTheClock(&line.stage, &line.what, &line.unit, line.unit_price)
    }
}

/// The same work on all papers and on what is to bill.
struct ToDate<'l> {
    same: Same<'l>,
    first: &'l InvoiceLine,
    quantity: Decimal,
    /// Of what is at a price: how much of it.
    share: Decimal,
    amount: Pence,
}

/// The lines of the work to date: those of the papers and of what is to bill, the same work added up.
fn lines_to_date(job: &JobWork, claims: &Claims<'_>, preview: Option<&Preview>) -> Vec<AppliedLine> {
    let mut found: Vec<ToDate<'_>> = Vec::new();
    let on_papers = claims
        .papers
        .iter()
        .flat_map(|paper| paper.document.lines.iter().map(move |line| (line, paper.credits.is_some())));
    let now = preview.into_iter().flat_map(|preview| preview.printed.iter().map(|line| (line, false)));
    for (line, gives_back) in on_papers.chain(now) {
        let Some(same) = Same::of(line) else { continue };
        let sign = if gives_back { -Decimal::ONE } else { Decimal::ONE };
        let quantity = sign * line.quantity.value();
        // A credit note's claims have their sign already.
        let share = line.claims.iter().map(|claim| claim.quantity.value()).sum();
        let amount = if gives_back { -line.amount } else { line.amount };
        match found.iter_mut().find(|known| known.same == same) {
            Some(known) => {
                known.quantity += quantity;
                known.share += share;
                known.amount += amount;
            }
            None => found.push(ToDate { same, first: line, quantity, share, amount }),
        }
    }
    let dues = priced::due(job, None);
    let lines = found.into_iter().filter(|line| line.amount != Pence::ZERO);
    lines.filter_map(|line| line_to_date(&dues, &line)).collect()
}

fn line_to_date(dues: &[priced::Due], line: &ToDate<'_>) -> Option<AppliedLine> {
    let first = line.first;
    let as_printed = |quantity: Decimal| {
        Some(AppliedLine {
            stage: first.stage.clone(),
            what: first.what.clone(),
            quantity: Quantity::new(quantity.normalize()).ok()?,
            unit: first.unit.clone(),
            unit_price: first.unit_price,
            amount: line.amount,
        })
    };
    match line.same {
        Same::AtAPrice(unit) => {
            let due = dues.iter().find(|due| due.unit == unit);
            let Some((due, price)) = due.and_then(|due| Some((due, due.price?))) else {
                return Some(AppliedLine {
                    unit_price: Rate::new(line.amount.pounds()).ok()?,
                    ..as_printed(Decimal::ONE)?
                });
            };
            Some(AppliedLine {
                what: due.what.clone(),
                quantity: Quantity::new((line.share * Decimal::ONE_HUNDRED).normalize()).ok()?,
                unit: "%".to_owned(),
                unit_price: Rate::new(price.pounds()).ok()?,
                ..as_printed(Decimal::ONE)?
            })
        }
        Same::Deposits | Same::Uncertified => Some(AppliedLine {
            unit_price: Rate::new(line.amount.pounds()).ok()?,
            ..as_printed(Decimal::ONE)?
        }),
        Same::OnTheClock(..) => as_printed(line.quantity),
    }
}
