//! Text tables for tests: a header, then a row a case, columns apart by `|`.
//!
//! The last column is the source: how it is known (seen, computed, run, memory), then where it stands.
//! *seen* means the value stood in a text that was read; *seen+comp* that the rule or the inputs did
//! and the figure is our arithmetic; *week* that a second, independent program gave it for the demo week.

/// The rows below the header. Every row must have as many columns as the header.
pub(crate) fn rows<const COLUMNS: usize>(table: &str) -> Vec<[&str; COLUMNS]> {
    let lines = table.lines().map(str::trim).filter(|line| !line.is_empty());
    let cells = lines.map(|line| {
        let cells: Vec<&str> = line.split('|').map(str::trim).collect();
        <[&str; COLUMNS]>::try_from(cells).unwrap_or_else(|_| panic!("not {COLUMNS} columns: {line}"))
    });
    let rows: Vec<_> = cells.skip(1).collect();
    assert!(!rows.is_empty(), "a table without rows tests nothing");
    rows
}
