//! What was held back: half is due at practical completion, the rest at the end of the defects period.
//!
//! It is due at the rate of VAT of the work that it was held back of (HMRC VATTOS5170).

use ledger::office::{BillableUnit, Claim, InvoiceLine, InvoiceLineKind};
use trade::{Day, Pence, Quantity, Rate, RetentionHalves, VatCategory};

use super::claims::Claims;
use super::work::JobWork;

/// What is held back, and what of it was released, at one category and rate.
#[derive(Debug, Clone, Copy)]
struct Held {
    category: VatCategory,
    percent: Rate,
    held: Pence,
    released: Pence,
}

/// By category and rate, in the order of the papers.
fn held(claims: &Claims<'_>) -> Vec<Held> {
    let mut found: Vec<Held> = Vec::new();
    let mut add = |category, percent, held: Pence, released: Pence| {
        let same = |known: &&mut Held| known.category == category && known.percent == percent;
        match found.iter_mut().find(same) {
            Some(known) => {
                known.held += held;
                known.released += released;
            }
            None => found.push(Held { category, percent, held, released }),
        }
    };
    for paper in &claims.papers {
        let sign = |sum: Pence| if paper.credits.is_some() { -sum } else { sum };
        for share in &paper.document.vat {
            add(share.category, share.percent, sign(share.retention), Pence::ZERO);
        }
        for line in paper.document.lines.iter().filter(|line| line.kind == InvoiceLineKind::Retention) {
            add(line.vat_category, line.vat_percent, Pence::ZERO, sign(line.amount));
        }
    }
    found
}

/// The lines that release what is due on a day, or at completion where no day is given.
pub(super) fn lines(job: &JobWork, claims: &Claims<'_>, on: Option<Day>) -> Vec<InvoiceLine> {
    let Some(completion) = job.completion.filter(|done| on.is_none_or(|on| done.on <= on)) else {
        return Vec::new();
    };
    let is_over = on.is_some_and(|on| on > completion.defects_until);
    let unit = BillableUnit::Retention(job.job);
    let lines = held(claims).into_iter().filter_map(|held| {
        let due = if is_over { held.held } else { RetentionHalves::of(held.held).at_completion };
        let open = due - held.released;
        let what = if is_over {
            "retention, the rest at the end of the defects period"
        } else {
            "retention, half at practical completion"
        };
        let claim = Claim {
            unit,
            revision: completion.revision,
            quantity: Quantity::new(open.pounds()).ok()?,
            follows: claims.newest(unit),
        };
        let line = InvoiceLine {
            kind: InvoiceLineKind::Retention,
            stage: String::new(),
            what: what.to_owned(),
            quantity: Quantity::new(1.into()).ok()?,
            unit: String::new(),
            unit_price: Rate::new(open.pounds()).ok()?,
            amount: open,
            vat_category: held.category,
            vat_percent: held.percent,
            earlier: None,
            claims: vec![claim],
        };
        (open > Pence::ZERO).then_some(line)
    });
    lines.collect()
}

/// What was held back on all papers, less what was given back of it.
pub(super) fn held_in_all(claims: &Claims<'_>) -> Pence {
    held(claims).iter().map(|held| held.held).sum()
}

/// What is still held back: not released yet.
#[must_use]
pub fn still_held(job: &JobWork) -> Pence {
    held(&Claims::of(job)).iter().map(|held| held.held - held.released).sum()
}
