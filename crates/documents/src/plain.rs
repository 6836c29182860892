//! A paper as plain text, for a message or a terminal: 78 characters wide, no signs beyond those it is given.

use crate::figures::untied;
use crate::sheet::{Align, Block, Column, Part, Row, Sheet, Sum, Table};

const WIDTH: usize = 78;
/// Where the label of a sum ends.
const LABELS: usize = 60;

/// The paper as text.
pub(crate) fn text(sheet: &Sheet) -> String {
    let mut out = String::new();
    line(&mut out, &sheet.title);
    line(&mut out, &"=".repeat(sheet.title.chars().count()));
    line(&mut out, "");
    block(&mut out, &sheet.from);
    if let Some(to) = &sheet.to {
        block(&mut out, to);
    }
    let longest = sheet.facts.iter().map(|fact| fact.label.chars().count()).max().unwrap_or(0);
    for fact in &sheet.facts {
        let mut label = fact.label.as_str();
        for said in wrapped(&fact.says, WIDTH - longest - 2) {
            line(&mut out, &format!("{label:<longest$}  {said}"));
            label = "";
        }
    }
    for part in &sheet.parts {
        line(&mut out, "");
        match part {
            Part::Heading(words) => {
                line(&mut out, words);
                line(&mut out, &"-".repeat(words.chars().count()));
            }
            Part::Text(words) => wrapped(words, WIDTH).iter().for_each(|words| line(&mut out, words)),
            Part::Table(part) => table(&mut out, part),
            Part::Sums(part) => part.iter().for_each(|one| sum(&mut out, one)),
            Part::NewPage => line(&mut out, &"=".repeat(WIDTH)),
            Part::Pictures { .. } => {}
            Part::Sign(places) => places.iter().for_each(|place| {
                line(&mut out, &format!("{place:<30} {}", "_".repeat(WIDTH - 31)));
            }),
        }
    }
    out
}

fn line(out: &mut String, words: &str) {
    out.push_str(&untied(words.trim_end()));
    out.push('\n');
}

fn block(out: &mut String, block: &Block) {
    let indent = if block.label.is_empty() { String::new() } else { format!("{}: ", block.label) };
    line(out, &format!("{indent}{}", block.name));
    block.lines.iter().for_each(|words| line(out, &format!("{}{words}", " ".repeat(indent.len()))));
    line(out, "");
}

fn table(out: &mut String, table: &Table) {
    let widths = widths(&table.columns);
    let headings: Vec<_> = table.columns.iter().map(|column| column.heading.clone()).collect();
    cells(out, table, &widths, &headings);
    line(out, &"-".repeat(WIDTH));
    for row in &table.rows {
        match row {
            Row::Group(words) => line(out, words),
            Row::Cells { cells: own, below } => {
                cells(out, table, &widths, own);
                if !below.is_empty() {
                    line(out, &format!("  {below}"));
                }
            }
        }
    }
    line(out, &"-".repeat(WIDTH));
}

/// The characters of each column, two less than its share for the space between.
fn widths(columns: &[Column]) -> Vec<usize> {
    let all: usize = columns.iter().map(|column| usize::from(column.share)).sum();
    columns.iter().map(|column| (WIDTH * usize::from(column.share) / all.max(1)).max(4)).collect()
}

fn cells(out: &mut String, table: &Table, widths: &[usize], cells: &[String]) {
    let columns: Vec<(usize, Align, Vec<String>)> = widths
        .iter()
        .zip(&table.columns)
        .zip(cells)
        .map(|((width, column), cell)| (*width, column.align, wrapped(cell, width.saturating_sub(2).max(1))))
        .collect();
    let height = columns.iter().map(|(_, _, lines)| lines.len()).max().unwrap_or(0);
    for place in 0..height {
        let written: String = columns
            .iter()
            .map(|(width, align, lines)| {
                let words = lines.get(place).map_or("", String::as_str);
                match align {
                    Align::Left => format!("{words:<width$}"),
                    Align::Right => format!("{words:>width$}"),
                }
            })
            .collect();
        line(out, &written);
    }
}

fn sum(out: &mut String, sum: &Sum) {
    let amounts = WIDTH - LABELS;
    let mut labels = wrapped(&sum.label, LABELS);
    let last = labels.pop().unwrap_or_default();
    labels.iter().for_each(|label| line(out, &format!("{label:>LABELS$}")));
    line(out, &format!("{last:>LABELS$}{:>amounts$}", sum.amount));
    if sum.is_last {
        let rule = "=".repeat(sum.amount.chars().count());
        line(out, &format!("{rule:>WIDTH$}"));
    }
}

/// Words in lines of at most `width` characters. A word that is longer is cut.
fn wrapped(words: &str, width: usize) -> Vec<String> {
    let mut lines = vec![String::new()];
    let mut room = width;
    for word in crate::figures::words(words) {
        let letters: Vec<char> = word.chars().collect();
        for (place, piece) in letters.chunks(width.max(1)).enumerate() {
            let is_first = room == width;
            let space = usize::from(!is_first && place == 0);
            if piece.len() + space > room {
                lines.push(String::new());
                room = width;
            } else if space == 1 {
                lines.last_mut().into_iter().for_each(|line| line.push(' '));
                room -= 1;
            }
            lines.last_mut().into_iter().for_each(|line| line.extend(piece));
            room -= piece.len();
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_are_wrapped_and_long_ones_cut() {
        assert_eq!(wrapped("one two three", 7), ["one two", "three"]);
        assert_eq!(wrapped("abcdefghij kl", 4), ["abcd", "efgh", "ij", "kl"]);
        assert_eq!(wrapped("", 4), [""]);
    }
}
