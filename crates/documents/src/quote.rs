//! A quote as it is handed to the customer: the price, what is in it and what is not, and when it is paid.

use ledger::office::{CustomerKind, PaymentPointSet, QuoteGiven};
use projections::billing::{JobWork, one_vat_percent, vat_category};
use projections::words::{day_and_year as day, money};
use trade::tax::vat_on;
use trade::{Day, VatCategory};

use crate::figures::percent;
use crate::invoice::{called, job_facts, lines_of};
use crate::sheet::{Block, Column, Fact, Part, Row, Sheet, Sum, Table};

/// The paper of one version of a quote. The points are in their order.
#[must_use]
pub fn quote_sheet(work: &JobWork, quote: &QuoteGiven, points: &[&PaymentPointSet], given_on: Day) -> Sheet {
    let title = match quote.version {
        0 | 1 => format!("Quote for {}", work.code),
        version => format!("Quote for {}, version {version}", work.code),
    };
    let mut parts = Vec::new();
    for (heading, words) in [("What is in it", &quote.included), ("What is not in it", &quote.excluded)] {
        if !words.trim().is_empty() {
            parts.push(Part::Heading(heading.to_owned()));
            parts.push(Part::Text(words.clone()));
        }
    }
    parts.push(Part::Sums(sums(work, quote)));
    if !points.is_empty() {
        let columns = vec![Column::words("When it is paid", 70), Column::figures("Before VAT £", 30)];
        let rows = points.iter().map(|point| Row::cells([point.label.clone(), money(point.amount)]));
        parts.push(Part::Table(Table { columns, rows: rows.collect() }));
    }
    parts.push(Part::Text(
        "Work that is not named here is an extra: it is priced, and agreed before it is done.".to_owned(),
    ));
    let yes = ["Accepted by", "Name", "Date"].map(str::to_owned);
    parts.push(Part::Sign(yes.to_vec()));
    let firm = work.firm.as_ref();
    let from = firm.map_or_else(Block::default, |firm| {
        called(&firm.name, &firm.trading_as, &firm.address, &firm.vat_number)
    });
    let mut facts = vec![Fact::new("Date", day(given_on))];
    facts.extend(job_facts(&work.code, &work.title, &work.site_address));
    Sheet {
        foot: format!("{title} · {}", from.name),
        title,
        to: Some(Block {
            label: "To".to_owned(),
            name: work.customer.clone(),
            lines: lines_of(&work.terms.billing_address),
        }),
        from,
        facts,
        made_on: given_on,
        parts,
    }
}

/// To a householder the largest figure is what leaves the purse; to a business, the price before VAT.
fn sums(work: &JobWork, quote: &QuoteGiven) -> Vec<Sum> {
    let Some(rate) = one_vat_percent(work) else {
        return vec![Sum::last("Price £, VAT comes on it at the rate of each part", money(quote.price))];
    };
    let vat = vat_on(quote.price, rate);
    match (vat_category(work), work.terms.customer_kind) {
        (VatCategory::NotRegistered, _) => vec![Sum::last("Price £", money(quote.price))],
        (VatCategory::Zero | VatCategory::Exempt, _) => {
            vec![
                Sum::new(format!("VAT {}", percent(rate)), money(vat)),
                Sum::last("Price £", money(quote.price)),
            ]
        }
        (VatCategory::ReverseCharge, _) => vec![
            Sum::new(
                format!("Reverse charge: you account for VAT {} of {}", percent(rate), money(vat)),
                money(trade::Pence::ZERO),
            ),
            Sum::last("Price £", money(quote.price)),
        ],
        (VatCategory::Standard, CustomerKind::Householder) => vec![
            Sum::new("Price before VAT", money(quote.price)),
            Sum::new(format!("VAT {}", percent(rate)), money(vat)),
            Sum::last("Price with VAT £", money(quote.price + vat)),
        ],
        (VatCategory::Standard, CustomerKind::Contractor | CustomerKind::Business) => vec![
            Sum::last("Price before VAT £", money(quote.price)),
            Sum::new(format!("VAT {}", percent(rate)), money(vat)),
            Sum::new("With VAT", money(quote.price + vat)),
        ],
    }
}
