//! The bookkeeper's month: as a paper to read, and as one table for a spreadsheet.

use std::io;

use projections::books::{Month, Purchase, Sale, paid_by};
use projections::words::{day_and_year as day, money, month};
use trade::Pence;

use crate::sheet::{Block, Column, Fact, Part, Row, Sheet, Sum, Table};

/// The month as a paper. What nobody said is a gap, and no sum is made up for it.
#[must_use]
pub fn books_sheet(crew: &str, books: &Month) -> Sheet {
    let title = format!("Books, {}", month(books.from));
    let mut parts = vec![Part::Heading("Sales".to_owned())];
    if books.sales.is_empty() {
        parts.push(Part::Text("Nothing was sold.".to_owned()));
    } else {
        parts.extend(sales(books));
    }
    parts.push(Part::Heading("Purchases".to_owned()));
    if books.purchases.is_empty() {
        parts.push(Part::Text("Nothing was bought.".to_owned()));
    } else {
        parts.extend(purchases(books));
    }
    parts.push(Part::Heading("CIS".to_owned()));
    parts.extend(cis(books));
    parts.push(Part::Text(
        "What was logged, and no accounts: nothing is filed. Photos are files of that name in the ledger’s folder of photos."
            .to_owned(),
    ));
    Sheet {
        foot: format!("{title} · {crew}"),
        title,
        from: Block { name: crew.to_owned(), ..Block::default() },
        to: None,
        facts: vec![Fact::new("From", day(books.from)), Fact::new("To", day(books.to))],
        made_on: books.to,
        parts,
    }
}

fn sales(books: &Month) -> [Part; 2] {
    let columns = vec![
        Column::words("Invoice or credit note", 46),
        Column::words("Tax point", 18),
        Column::figures("Before VAT £", 18),
        Column::figures("VAT £", 18),
    ];
    let rows = books.sales.iter().map(|sale| Row::Cells {
        cells: vec![
            format!("{}, {}, {}", sale.number, sale.customer, sale.job),
            day(sale.day),
            money(sale.net),
            money(sale.vat),
        ],
        below: beside(sale),
    });
    let (net, vat) = books.sold();
    let reversed: Pence = books.sales.iter().map(|sale| sale.reverse_charge_vat).sum();
    let mut sums =
        vec![Sum::new("Sales before VAT", money(net)), Sum::new("VAT charged on them", money(vat))];
    if reversed != Pence::ZERO {
        sums.push(Sum::new("VAT that customers account for, reverse charge", money(reversed)));
    }
    [Part::Table(Table { columns, rows: rows.collect() }), Part::Sums(sums)]
}

/// What is to know of a sale beside its sums.
fn beside(sale: &Sale) -> String {
    let mut said = Vec::new();
    if sale.self_billed {
        said.push("issued by the customer".to_owned());
    }
    if sale.reverse_charge_vat != Pence::ZERO {
        said.push(format!("reverse charge, VAT of {}", money(sale.reverse_charge_vat)));
    }
    if sale.cis_expected != Pence::ZERO {
        said.push(format!("CIS expected {}", money(sale.cis_expected)));
    }
    said.join("; ")
}

fn purchases(books: &Month) -> [Part; 2] {
    let columns = vec![
        Column::words("What", 46),
        Column::words("Day", 18),
        Column::figures("Before VAT £", 18),
        Column::figures("VAT £", 18),
    ];
    let known = |sum: Option<Pence>| sum.map_or_else(|| "not known yet".to_owned(), money);
    let rows = books.purchases.iter().map(|bought| Row::Cells {
        cells: vec![bought.what.clone(), day(bought.day), known(bought.net), known(bought.vat)],
        below: ticket(bought),
    });
    let (net, vat) = books.bought();
    let unknown = books.purchases.iter().filter(|bought| bought.net.is_none()).count();
    let mut sums = vec![Sum::new("Purchases before VAT", money(net)), Sum::new("VAT on them", money(vat))];
    if unknown > 0 {
        sums.push(Sum::new("Without a sum yet", unknown.to_string()));
    }
    [Part::Table(Table { columns, rows: rows.collect() }), Part::Sums(sums)]
}

/// From whom, how it was paid, and the photos of the ticket.
fn ticket(bought: &Purchase) -> String {
    let mut said = Vec::new();
    if !bought.supplier.is_empty() {
        said.push(bought.supplier.clone());
    }
    if !bought.ticket.is_empty() {
        said.push(format!("ticket {}", bought.ticket));
    }
    said.push(paid_by(bought.paid_by).to_owned());
    if bought.photos.is_empty() {
        said.push("no photo".to_owned());
    } else {
        let names = bought.photos.iter().map(|photo| photo.to_string().chars().take(8).collect::<String>());
        said.push(format!("photo {}", names.collect::<Vec<_>>().join(", ")));
    }
    said.join("; ")
}

fn cis(books: &Month) -> Vec<Part> {
    let mut parts = Vec::new();
    if !books.cis_taken.is_empty() {
        let columns = vec![
            Column::words("Taken off what we were paid", 56),
            Column::words("On", 22),
            Column::figures("£", 22),
        ];
        let rows = books.cis_taken.iter().map(|taken| {
            let what = format!("{}, on {}", taken.customer, taken.number);
            Row::cells([what, day(taken.day), money(taken.taken)])
        });
        parts.push(Part::Table(Table { columns, rows: rows.collect() }));
    }
    if !books.cis_kept_back.is_empty() {
        let columns = vec![
            Column::words("Kept back from", 56),
            Column::figures("Earned £", 22),
            Column::figures("CIS £", 22),
        ];
        let rows = books.cis_kept_back.iter().map(|kept| {
            let earned = kept.earned.map_or_else(|| "not known yet".to_owned(), money);
            Row::cells([kept.person.clone(), earned, money(kept.kept_back)])
        });
        parts.push(Part::Table(Table { columns, rows: rows.collect() }));
    }
    let taken: Pence = books.cis_taken.iter().map(|taken| taken.taken).sum();
    let kept: Pence = books.cis_kept_back.iter().map(|kept| kept.kept_back).sum();
    let (first, last) = (day(books.cis_month.0), day(books.cis_month.1));
    parts.push(Part::Sums(vec![
        Sum::new("Taken off what we were paid", money(taken)),
        Sum::new(format!("Kept back from people, tax month {first} to {last}"), money(kept)),
    ]));
    parts
}

const COLUMNS: [&str; 15] = [
    "row",
    "day",
    "number",
    "who",
    "job",
    "what",
    "before_vat",
    "vat",
    "reverse_charge_vat",
    "cis_expected",
    "cis",
    "paid_by",
    "ticket",
    "issued_by_customer",
    "photos",
];

/// The month as CSV (RFC 4180): a row a sale, a purchase, and a sum of CIS that was taken or kept back. A cell of
/// which nobody said anything is empty.
///
/// # Errors
/// The table could not be written.
pub fn books_csv(books: &Month) -> io::Result<Vec<u8>> {
    let mut writer = csv::WriterBuilder::new().terminator(csv::Terminator::CRLF).from_writer(Vec::new());
    writer.write_record(COLUMNS)?;
    let mut write = |cells: &[(&str, String)]| {
        let cell = |column: &&str| {
            cells.iter().find(|(name, _)| name == column).map_or("", |(_, said)| said.as_str())
        };
        writer.write_record(COLUMNS.iter().map(cell))
    };
    for sale in &books.sales {
        write(&[
            ("row", "sale".to_owned()),
            ("day", sale.day.to_string()),
            ("number", sale.number.clone()),
            ("who", sale.customer.clone()),
            ("job", sale.job.clone()),
            ("before_vat", sale.net.to_string()),
            ("vat", sale.vat.to_string()),
            ("reverse_charge_vat", sale.reverse_charge_vat.to_string()),
            ("cis_expected", sale.cis_expected.to_string()),
            ("issued_by_customer", if sale.self_billed { "yes" } else { "no" }.to_owned()),
        ])?;
    }
    let known = |sum: Option<Pence>| sum.map_or_else(String::new, |sum| sum.to_string());
    for bought in &books.purchases {
        let photos: Vec<String> = bought.photos.iter().map(ToString::to_string).collect();
        write(&[
            ("row", "purchase".to_owned()),
            ("day", bought.day.to_string()),
            ("who", bought.supplier.clone()),
            ("what", bought.what.clone()),
            ("before_vat", known(bought.net)),
            ("vat", known(bought.vat)),
            ("paid_by", paid_by(bought.paid_by).to_owned()),
            ("ticket", bought.ticket.clone()),
            ("photos", photos.join(" ")),
        ])?;
    }
    for taken in &books.cis_taken {
        write(&[
            ("row", "cis taken off".to_owned()),
            ("day", taken.day.to_string()),
            ("number", taken.number.clone()),
            ("who", taken.customer.clone()),
            ("cis", taken.taken.to_string()),
        ])?;
    }
    for kept in &books.cis_kept_back {
        write(&[
            ("row", "cis kept back".to_owned()),
            ("day", books.cis_month.1.to_string()),
            ("who", kept.person.clone()),
            ("before_vat", known(kept.earned)),
            ("cis", kept.kept_back.to_string()),
        ])?;
    }
    writer.into_inner().map_err(csv::IntoInnerError::into_error)
}
