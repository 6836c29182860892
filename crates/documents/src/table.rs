//! A document as a table for a spreadsheet: a row a line, then a row a sum. Figures have plain digits.

use std::io;

use ledger::office::{Document, InvoiceLine};
use projections::billing::printed_number;
use trade::{Pence, VatCategory};

use crate::figures::plain;

const COLUMNS: [&str; 16] = [
    "number",
    "date",
    "customer",
    "job",
    "row",
    "stage",
    "what",
    "quantity",
    "unit",
    "unit_price",
    "amount",
    "vat",
    "vat_percent",
    "earlier_number",
    "earlier_date",
    "reduces",
];

/// The document as CSV (RFC 4180).
pub(crate) fn csv(document: &Document) -> io::Result<Vec<u8>> {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    writer.write_record(COLUMNS)?;
    for line in &document.lines {
        writer.write_record(row(document, line_cells(line)))?;
    }
    for share in &document.vat {
        let percent = plain(share.percent.value());
        for (what, sum) in [("taxable", share.taxable), ("vat stated", share.vat_stated)] {
            writer.write_record(row(document, sum_cells(what, sum, word(share.category), &percent)))?;
        }
    }
    let totals = document.totals;
    let sums = [
        ("net", totals.net),
        ("retention", totals.retention),
        ("taxable in all", totals.taxable),
        ("vat charged", totals.vat_charged),
        ("total", totals.total),
        ("cis materials", totals.cis_materials),
        ("cis", totals.cis),
        ("to pay", totals.to_pay),
    ];
    for (what, sum) in sums {
        writer.write_record(row(document, sum_cells(what, sum, "", "")))?;
    }
    writer.into_inner().map_err(csv::IntoInnerError::into_error)
}

/// What stands in each row, before the cells of its own.
fn row(document: &Document, own: Vec<String>) -> Vec<String> {
    let head = [
        printed_number(document),
        document.issued_on.to_string(),
        document.customer.name.clone(),
        document.work.code.clone(),
    ];
    let reduces = document.reduces.as_ref().map_or_else(String::new, |paper| paper.number.clone());
    head.into_iter().chain(own).chain([reduces]).collect()
}

fn line_cells(line: &InvoiceLine) -> Vec<String> {
    let (number, date) = line
        .earlier
        .as_ref()
        .map_or_else(Default::default, |paper| (paper.number.clone(), paper.issued_on.to_string()));
    vec![
        "line".to_owned(),
        line.stage.clone(),
        line.what.clone(),
        plain(line.quantity.value()),
        line.unit.clone(),
        plain(line.unit_price.value()),
        line.amount.to_string(),
        word(line.vat_category).to_owned(),
        plain(line.vat_percent.value()),
        number,
        date,
    ]
}

fn sum_cells(what: &str, sum: Pence, category: &str, percent: &str) -> Vec<String> {
    let empty = String::new;
    vec![
        "sum".to_owned(),
        empty(),
        what.to_owned(),
        empty(),
        empty(),
        empty(),
        sum.to_string(),
        category.to_owned(),
        percent.to_owned(),
        empty(),
        empty(),
    ]
}

const fn word(category: VatCategory) -> &'static str {
    match category {
        VatCategory::Standard => "standard",
        VatCategory::Zero => "zero",
        VatCategory::Exempt => "exempt",
        VatCategory::ReverseCharge => "reverse charge",
        VatCategory::NotRegistered => "not registered",
    }
}
