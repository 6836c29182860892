//! CSV into rows: UTF-8, RFC 4180 quoting, a header row, columns by name in any order.
//!
//! Nothing here knows what a column means. What a spreadsheet saves by mistake (UTF-16, semicolons)
//! is recognised, so that the message can say what to do about it.

use std::collections::{BTreeMap, BTreeSet};

use super::{BadRow, FileName, Files, Work};

/// A file that can be imported: its name and its columns.
pub(super) struct Shape {
    file: &'static str,
    pub(super) required: &'static [&'static str],
    pub(super) optional: &'static [&'static str],
}

const CREW: Shape =
    Shape { file: "crew.csv", required: &["person", "role", "cost_rate", "charge_rate"], optional: &[] };

const PRICE_BOOK: Shape = Shape {
    file: "price-book.csv",
    required: &["item", "unit", "pack", "pack_size", "pack_cost"],
    optional: &[],
};

const FIRM: Shape = Shape {
    file: "firm.csv",
    required: &["name"],
    optional: &[
        "trading_as",
        "address",
        "vat_no",
        "vat_registered_from",
        "utr",
        "bank_name",
        "sort_code",
        "account_no",
        "terms_days",
        "next_invoice_no",
    ],
};

const JOBS: Shape = Shape {
    file: "jobs.csv",
    required: &[
        "job",
        "title",
        "customer",
        "customer_kind",
        "basis",
        "vat_rate",
        "reverse_charge",
        "cis_rate",
        "retention_pct",
        "markup_pct",
        "timezone",
    ],
    optional: &[
        "billing_address",
        "site_address",
        "customer_vat_no",
        "customer_cis",
        "end_user_statement",
        "terms_days",
        "order_no",
        "customer_country",
    ],
};

const STAGES: Shape = Shape {
    file: "stages.csv",
    required: &["job", "stage", "trade", "after", "wait_hours", "covers", "needs_reading", "needs_photo"],
    optional: &[],
};

const ESTIMATE: Shape = Shape {
    file: "estimate.csv",
    required: &["job", "stage", "kind", "what", "quantity", "unit", "unit_cost", "unit_price", "variation"],
    optional: &[],
};

const ENTRIES: Shape = Shape {
    file: "entries.csv",
    required: &[
        "entry",
        "device",
        "person",
        "at",
        "done_on",
        "kind",
        "job",
        "stage",
        "what",
        "quantity",
        "unit",
        "from",
        "to",
        "break_min",
        "minutes",
        "where",
        "corrects",
        "note",
    ],
    optional: &super::kinds::OPTIONAL,
};

impl FileName {
    pub(super) const fn shape(self) -> &'static Shape {
        match self {
            Self::Crew => &CREW,
            Self::PriceBook => &PRICE_BOOK,
            Self::Firm => &FIRM,
            Self::Jobs => &JOBS,
            Self::Stages => &STAGES,
            Self::Estimate => &ESTIMATE,
            Self::Entries => &ENTRIES,
        }
    }
}

/// A row, with the line on which it begins.
#[derive(Debug, Clone)]
pub(super) struct Row {
    pub(super) file: &'static str,
    pub(super) line: u64,
    cells: BTreeMap<&'static str, String>,
}

impl Row {
    /// What a cell says, without the blanks around it. Empty where the file has no such column.
    pub(super) fn text(&self, column: &str) -> &str {
        self.cells.get(column).map_or("", String::as_str)
    }

    /// A complaint about this row.
    pub(super) fn bad(&self, column: &str, reason: impl Into<String>) -> BadRow {
        BadRow { file: self.file, line: self.line, column: column.to_owned(), reason: reason.into() }
    }
}

/// The rows of every file; none where there is no such file.
pub(super) struct Tables {
    pub(super) crew: Vec<Row>,
    pub(super) price_book: Vec<Row>,
    pub(super) firm: Vec<Row>,
    pub(super) jobs: Vec<Row>,
    pub(super) stages: Vec<Row>,
    pub(super) estimate: Vec<Row>,
    pub(super) entries: Vec<Row>,
}

impl Tables {
    /// How many rows there are in all.
    pub(super) fn rows(&self) -> u64 {
        let Self { crew, price_book, firm, jobs, stages, estimate, entries } = self;
        let tables = [crew, price_book, firm, jobs, stages, estimate, entries];
        tables.iter().map(|rows| u64::try_from(rows.len()).unwrap_or(u64::MAX)).sum()
    }

    /// Reads all files. Rows that can't be read are left out and complained about.
    pub(super) fn read(files: &Files, work: &mut Work<'_>) -> Self {
        let mut read = |bytes: &Option<Vec<u8>>, shape: &Shape| match bytes {
            Some(bytes) => read_rows(bytes, shape, work),
            None => Vec::new(),
        };
        Self {
            crew: read(&files.crew, &CREW),
            price_book: read(&files.price_book, &PRICE_BOOK),
            firm: read(&files.firm, &FIRM),
            jobs: read(&files.jobs, &JOBS),
            stages: read(&files.stages, &STAGES),
            estimate: read(&files.estimate, &ESTIMATE),
            entries: read(&files.entries, &ENTRIES),
        }
    }
}

fn read_rows(bytes: &[u8], shape: &Shape, work: &mut Work<'_>) -> Vec<Row> {
    let bad = |line, column: &str, reason: String| BadRow {
        file: shape.file,
        line,
        column: column.to_owned(),
        reason,
    };
    let text = match decode(bytes).and_then(|text| check_quotes(text).map(|()| text)) {
        Ok(text) => text,
        Err((line, reason)) => {
            work.bad.push(bad(line, "", reason));
            return Vec::new();
        }
    };
    let mut reader = csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text.as_bytes());
    let mut lines = LineCounter { bytes: text.as_bytes(), byte: 0, line: 1 };
    let mut records = reader.records();
    let header = match records.next() {
        Some(Ok(header)) => header,
        Some(Err(_)) | None => {
            work.bad.push(bad(1, "", "the file is empty; the first row must name the columns".to_owned()));
            return Vec::new();
        }
    };
    let header_line = header.position().map_or(1, |position| lines.line_at(position.byte()));
    let Some(columns) = read_header(&header, header_line, shape, work) else { return Vec::new() };
    let mut rows = Vec::new();
    for record in records {
        let record = match record {
            Ok(record) => record,
            Err(error) => {
                let byte = error.position().map_or(0, csv::Position::byte);
                work.bad.push(bad(lines.line_at(byte), "", error.to_string()));
                continue;
            }
        };
        let line = record.position().map_or(0, |position| lines.line_at(position.byte()));
        // Spreadsheets save rows of nothing but commas below the last row. They say nothing.
        if record.iter().all(|cell| cell.trim().is_empty()) {
            continue;
        }
        if record.len() != columns.len() {
            let (found, wanted) = (record.len(), columns.len());
            let reason = format!(
                "{found} fields, but the header names {wanted}; put a text that has a comma in \"quotes\""
            );
            work.bad.push(bad(line, "", reason));
            continue;
        }
        let cells = columns.iter().zip(record.iter());
        let cells = cells.filter_map(|(column, cell)| column.map(|column| (column, cell.trim().to_owned())));
        rows.push(Row { file: shape.file, line, cells: cells.collect() });
    }
    rows
}

/// Which column of ours each field is, or `None` for one that we don't know.
fn read_header(
    header: &csv::StringRecord,
    line: u64,
    shape: &Shape,
    work: &mut Work<'_>,
) -> Option<Vec<Option<&'static str>>> {
    let before = work.bad.len();
    let mut complain = |column: &str, reason: String| {
        work.bad.push(BadRow { file: shape.file, line, column: column.to_owned(), reason });
    };
    if header.len() == 1 {
        let separators = [(';', "semicolons"), ('\t', "tabs"), ('|', "bars")];
        let only = header.get(0).unwrap_or_default();
        if let Some((_, name)) = separators.iter().find(|(separator, _)| only.contains(*separator)) {
            complain("", format!("the columns are separated by {name}; save it as CSV separated by commas"));
            return None;
        }
    }
    let mut seen = BTreeSet::new();
    let mut columns = Vec::new();
    let mut unknown = Vec::new();
    for (at, name) in header.iter().enumerate() {
        let name = name.trim();
        let known =
            shape.required.iter().chain(shape.optional).find(|known| known.eq_ignore_ascii_case(name));
        match known {
            Some(known) if !seen.insert(*known) => {
                complain(known, "this column is there twice; keep one".to_owned());
            }
            Some(_) => {}
            None if name.is_empty() => unknown.push(format!("Column {} has no name", at + 1)),
            None => unknown.push(format!("Column {name:?} is not known")),
        }
        columns.push(known.copied());
    }
    for wanted in shape.required.iter().filter(|wanted| !seen.contains(**wanted)) {
        complain(
            wanted,
            format!("this column is missing; the header must name {}", shape.required.join(", ")),
        );
    }
    for unknown in unknown {
        work.warn(format!("{}: {unknown} and was ignored.", shape.file));
    }
    (work.bad.len() == before).then_some(columns)
}

/// The text of a file without its byte order mark, or the line and what is wrong.
fn decode(bytes: &[u8]) -> Result<&str, (u64, String)> {
    let utf16 = bytes.starts_with(&[0xff, 0xfe]) || bytes.starts_with(&[0xfe, 0xff]);
    if utf16 || bytes.iter().take(64).any(|byte| *byte == 0) {
        return Err((1, "the file is UTF-16 text or no text; save it as \"CSV UTF-8\"".to_owned()));
    }
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    std::str::from_utf8(bytes).map_err(|error| {
        let line = LineCounter { bytes, byte: 0, line: 1 }.count_to(error.valid_up_to());
        (line, "a letter here is not UTF-8; save the file as \"CSV UTF-8\"".to_owned())
    })
}

/// Refuses a quote that never closes, and text behind one that closed. A lenient reader would take
/// all the rows up to the next quote for one cell, and nobody would miss them.
fn check_quotes(text: &str) -> Result<(), (u64, String)> {
    #[derive(PartialEq)]
    enum At {
        FieldStart,
        Plain,
        Quoted,
        QuoteClosed,
    }
    let (mut at, mut line, mut opened_on) = (At::FieldStart, 1, 1);
    let mut previous = '\n';
    for letter in text.chars() {
        at = match (at, letter) {
            (At::FieldStart, '"') => {
                opened_on = line;
                At::Quoted
            }
            (At::Quoted, '"') => At::QuoteClosed,
            (At::Quoted, _) | (At::QuoteClosed, '"') => At::Quoted,
            (At::FieldStart | At::Plain | At::QuoteClosed, ',' | '\n' | '\r') => At::FieldStart,
            (At::FieldStart | At::Plain, _) => At::Plain,
            (At::QuoteClosed, _) => {
                let reason =
                    "there is text behind a closing quote; inside a quoted text, double each quote: \"\"";
                return Err((line, reason.to_owned()));
            }
        };
        if letter == '\r' || (letter == '\n' && previous != '\r') {
            line += 1;
        }
        previous = letter;
    }
    if at == At::Quoted {
        return Err((opened_on, "a quote opens here and never closes".to_owned()));
    }
    Ok(())
}

/// Counts lines up to a place in the file, each byte once. The reader's own count is not used: it
/// is one behind where lines end in CR LF, and does not see blank lines.
struct LineCounter<'a> {
    bytes: &'a [u8],
    byte: usize,
    line: u64,
}

impl LineCounter<'_> {
    /// The line of the record that begins at this byte, or after the line ends that follow there.
    fn line_at(&mut self, byte: u64) -> u64 {
        let mut start = usize::try_from(byte).unwrap_or(usize::MAX).min(self.bytes.len());
        while self.bytes.get(start).is_some_and(|byte| matches!(byte, b'\r' | b'\n')) {
            start += 1;
        }
        self.count_to(start)
    }

    fn count_to(&mut self, byte: usize) -> u64 {
        while self.byte < byte {
            let next = self.bytes.get(self.byte + 1);
            match self.bytes.get(self.byte) {
                Some(b'\n') => self.line += 1,
                Some(b'\r') if next != Some(&b'\n') => self.line += 1,
                Some(_) => {}
                None => break,
            }
            self.byte += 1;
        }
        self.line
    }
}
