//! What a customer certified, or billed in the crew's name, less or more than was to bill: a line that makes the
//! paper come to their sum, and, until it is asked for again, the same line the other way on the next one.
//!
//! So every unit of work is billed once and in its own measure, and what is still open is known to the penny.

use ledger::EventHash;
use ledger::office::{BillableUnit, Claim, InvoiceLine, InvoiceLineKind};
use trade::{Pence, Quantity, Rate, VatCategory, VatShare};

use super::claims::Claims;
use super::vat::Vat;
use super::work::JobWork;

/// The sum that a customer certified or billed, which a paper has to come to before VAT.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Certification {
    /// Without VAT, after what is held back.
    pub sum: Pence,
    /// Of which application for payment; none where they billed without one.
    pub application: Option<u32>,
    /// The event that says so.
    pub revision: EventHash,
}

/// A category and rate of VAT.
type Kind = (VatCategory, Rate);

/// The lines that make even what papers certified less, or more, before.
pub(super) fn open_lines(job: &JobWork, claims: &Claims<'_>) -> Vec<InvoiceLine> {
    let mut open: Vec<(Kind, Pence)> = Vec::new();
    for paper in &claims.papers {
        let lines = paper.document.lines.iter();
        for line in lines.filter(|line| line.kind == InvoiceLineKind::Uncertified) {
            let kind = (line.vat_category, line.vat_percent);
            let amount = if paper.credits.is_some() { -line.amount } else { line.amount };
            match open.iter_mut().find(|(known, _)| *known == kind) {
                Some((_, sum)) => *sum += amount,
                None => open.push((kind, amount)),
            }
        }
    }
    let unit = BillableUnit::Uncertified(job.job);
    let lines = open.into_iter().filter_map(|(kind, sum)| {
        let what = if sum < Pence::ZERO { "not certified before" } else { "certified ahead before" };
        line(job, claims, kind, what.to_owned(), -sum, claims.revision(unit)?)
    });
    lines.collect()
}

/// The lines by which a paper with these shares comes to what was certified: in proportion to the shares, and
/// the last one takes what rounding left.
pub(super) fn balance(
    job: &JobWork,
    claims: &Claims<'_>,
    shares: &[VatShare],
    vat: Vat<'_>,
    certified: Certification,
) -> Vec<InvoiceLine> {
    let due: Pence = shares.iter().map(|share| share.taxable).sum();
    let mut left = certified.sum - due;
    let mut parts: Vec<(Kind, Pence)> = Vec::new();
    let mut remaining = due;
    for share in shares.iter().filter(|share| share.taxable > Pence::ZERO) {
        let part = if share.taxable == remaining { left } else { proportion(left, share.taxable, remaining) };
        parts.push(((share.category, share.percent), part));
        left -= part;
        remaining -= share.taxable;
    }
    match parts.last_mut() {
        Some((_, last)) => *last += left,
        None => parts.push((vat.line(None), left)),
    }
    let what = |less: bool| match (certified.application, less) {
        (Some(number), true) => format!("not certified of application {number}"),
        (Some(number), false) => format!("certified beyond application {number}"),
        (None, true) => "not billed by the customer yet".to_owned(),
        (None, false) => "billed by the customer ahead".to_owned(),
    };
    let lines = parts.into_iter().filter_map(|(kind, amount)| {
        line(job, claims, kind, what(amount < Pence::ZERO), amount, certified.revision)
    });
    lines.collect()
}

/// A share of a sum, half up to the penny. The whole is more than nought.
fn proportion(sum: Pence, part: Pence, whole: Pence) -> Pence {
    let exact = sum.pounds().saturating_mul(part.pounds()).checked_div(whole.pounds());
    exact.map_or(Pence::ZERO, Pence::from_pounds_half_up)
}

fn line(
    job: &JobWork,
    claims: &Claims<'_>,
    (vat_category, vat_percent): Kind,
    what: String,
    amount: Pence,
    revision: EventHash,
) -> Option<InvoiceLine> {
    let (one, price) = if amount < Pence::ZERO { (-1, -amount) } else { (1, amount) };
    let unit = BillableUnit::Uncertified(job.job);
    let quantity = Quantity::new(amount.pounds()).ok()?;
    let claim = Claim { unit, revision, quantity, follows: claims.newest(unit) };
    let line = InvoiceLine {
        kind: InvoiceLineKind::Uncertified,
        stage: String::new(),
        what,
        quantity: Quantity::new(one.into()).ok()?,
        unit: String::new(),
        unit_price: Rate::new(price.pounds()).ok()?,
        amount,
        vat_category,
        vat_percent,
        earlier: None,
        claims: vec![claim],
    };
    (amount != Pence::ZERO).then_some(line)
}
