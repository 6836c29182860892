//! Tables for an 80-column terminal: ruled lines, figures to the right, a double rule under a total.

use comfy_table::{CellAlignment, ContentArrangement, Table, presets};

/// How wide a page is.
const WIDTH: u16 = 80;

/// A table with headings. Columns whose heading starts with `>` hold figures and stand to the right.
pub(crate) struct Page {
    table: Table,
    columns: usize,
}

impl Page {
    pub(crate) fn new(headings: &[&str]) -> Self {
        let mut table = Table::new();
        table.load_style(presets::NOTHING);
        table.set_content_arrangement(ContentArrangement::Dynamic);
        table.set_width(WIDTH);
        table.set_header(headings.iter().map(|heading| heading.trim_start_matches('>')));
        for (column, heading) in headings.iter().enumerate() {
            if let Some(column) = table.column_mut(column) {
                if heading.starts_with('>') {
                    column.set_cell_alignment(CellAlignment::Right);
                }
                column.set_padding((0, 2));
            }
        }
        Self { table, columns: headings.len() }
    }

    pub(crate) fn row(&mut self, cells: &[&str]) {
        let empty = self.columns.saturating_sub(cells.len());
        self.table.add_row(cells.iter().copied().chain(std::iter::repeat_n("", empty)));
    }

    /// The table with a rule under its headings.
    pub(crate) fn finish(&self) -> String {
        let text = self.table.trim_fmt();
        let mut lines = text.lines();
        let headings = lines.next().unwrap_or_default();
        let width = text.lines().map(|line| line.chars().count()).max().unwrap_or(0);
        let body: Vec<&str> = lines.collect();
        format!("{headings}\n{}\n{}", "─".repeat(width), body.join("\n"))
    }
}

/// A heading on a line of its own.
pub(crate) fn heading(text: &str) -> String {
    format!("\n{text}\n")
}

/// A figure without the noughts at its end, but with so many places at least.
pub(crate) fn without_noughts(figure: &str, places: usize) -> String {
    let Some((whole, part)) = figure.split_once('.') else { return figure.to_owned() };
    let part = format!("{:0<places$}", part.trim_end_matches('0'));
    if part.is_empty() { whole.to_owned() } else { format!("{whole}.{part}") }
}

#[cfg(test)]
mod tests {
    use super::without_noughts;

    #[test]
    fn noughts_at_the_end_are_not_printed() {
        let shown = ["5.000", "3.83", "4.50", "12", ""].map(|figure| without_noughts(figure, 0));
        assert_eq!(shown, ["5", "3.83", "4.5", "12", ""]);
        let prices = ["5.5890", "36.0000", "13.05", "34"].map(|figure| without_noughts(figure, 2));
        assert_eq!(prices, ["5.589", "36.00", "13.05", "34"]);
    }
}
