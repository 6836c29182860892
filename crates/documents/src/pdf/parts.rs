//! The body of a paper: tables over as many pages as they need, sums that stay together, words, lines to sign on.

use std::num::NonZeroU16;

use super::face::Run;
use super::layout::{Ink, LEFT, Layout, Mark, Place, RIGHT, Style, TOP, WIDTH};
use super::pictures;
use super::tree::{PartId, Role};
use crate::sheet::{Align, Part, Row, Sum, Table};

/// Between two columns.
const GAP: f32 = 10.0;
/// Where the sums begin, and how wide their figures are.
const SUMS: f32 = LEFT + WIDTH * 0.16;
const AMOUNTS: f32 = 92.0;

pub(super) fn set(layout: &mut Layout<'_>, part: &Part) {
    match part {
        Part::Heading(words) => heading(layout, words),
        Part::Text(words) => text(layout, words),
        Part::Table(part) => table(layout, part),
        Part::Sums(part) => sums(layout, part),
        Part::NewPage => layout.new_page(),
        Part::Pictures { heading, pictures } => pictures::set(layout, heading, pictures),
        Part::Sign(places) => places.iter().for_each(|place| sign(layout, place)),
    }
}

pub(super) fn heading(layout: &mut Layout<'_>, words: &str) {
    let style = Style { size: 12.0, ..Style::STRONG };
    // A heading at the foot of a page would stand alone.
    layout.make_room(style.leading() * 4.0);
    let level = NonZeroU16::MIN.saturating_add(1);
    let part = layout.tree.add(Role::Heading(level, words.to_owned()));
    layout.y += 10.0;
    for run in layout.wrap(words, style, WIDTH) {
        layout.y += style.leading();
        layout.words(run, style, Place::WHOLE, layout.y, Some(part));
    }
}

fn text(layout: &mut Layout<'_>, words: &str) {
    let style = Style::BODY;
    let part = layout.tree.add(Role::Paragraph);
    layout.y += 6.0;
    for run in layout.wrap(words, style, WIDTH) {
        layout.make_room(style.leading());
        layout.y += style.leading();
        layout.words(run, style, Place::WHOLE, layout.y, Some(part));
    }
}

fn sign(layout: &mut Layout<'_>, words: &str) {
    layout.make_room(40.0);
    layout.y += 38.0;
    let part = layout.tree.add(Role::Paragraph);
    let label = Place { width: 150.0, ..Place::WHOLE };
    let run = layout.faces.of(Style::SMALL.weight).shape(words);
    layout.words(run, Style::SMALL, label, layout.y, Some(part));
    layout.rule(LEFT + 150.0, RIGHT, layout.y + 2.0, Ink::Pencil);
}

fn table(layout: &mut Layout<'_>, table: &Table) {
    let places = places(table);
    let part = layout.tree.add(Role::Table);
    let headings = layout.tree.add_below(part, Role::Row);
    layout.make_room(Style::BODY.leading() * 4.0);
    layout.y += 4.0;
    set_headings(layout, table, &places, Some(headings));
    for row in &table.rows {
        match row {
            Row::Group(words) => {
                if !layout.has_room(Style::BODY.leading() * 3.4) {
                    turn(layout, table, &places);
                }
                let part = layout.tree.add_below(part, Role::Row);
                let cell = layout.tree.add_below(part, Role::RowHeading);
                layout.y += 3.0;
                for run in layout.wrap(words, Style::STRONG, WIDTH) {
                    layout.y += Style::STRONG.leading();
                    layout.words(run, Style::STRONG, Place::WHOLE, layout.y, Some(cell));
                }
                layout.y += 3.0;
            }
            Row::Cells { cells, below } => {
                let part = layout.tree.add_below(part, Role::Row);
                set_row(layout, table, &places, part, cells, below);
            }
        }
    }
}

/// Where each column stands.
fn places(table: &Table) -> Vec<Place> {
    let shares: f32 = table.columns.iter().map(|column| f32::from(column.share)).sum();
    let mut from = LEFT;
    let place = |column: &crate::sheet::Column| {
        let whole = WIDTH * f32::from(column.share) / shares;
        let place = match column.align {
            Align::Left => Place { from, width: whole - GAP, align: Align::Left },
            Align::Right => Place { from: from + GAP, width: whole - GAP, align: Align::Right },
        };
        from += whole;
        place
    };
    table.columns.iter().map(place).collect()
}

/// The headings, and a line below them. On a later page they repeat, and are not read out again.
fn set_headings(layout: &mut Layout<'_>, table: &Table, places: &[Place], row: Option<PartId>) {
    layout.y += Style::LABEL.leading();
    for (column, place) in table.columns.iter().zip(places) {
        let part = row.map(|row| layout.tree.add_below(row, Role::ColumnHeading));
        let run = layout.faces.of(Style::LABEL.weight).shape(&column.heading);
        layout.words(run, Style::LABEL, *place, layout.y, part);
    }
    layout.y += 5.0;
    layout.put(Mark::Rule { from: LEFT, to: RIGHT, y: layout.y, thickness: 1.1, ink: Ink::Pencil });
}

/// Goes on at the head of a new page, under the headings again.
fn turn(layout: &mut Layout<'_>, table: &Table, places: &[Place]) {
    layout.new_page();
    set_headings(layout, table, places, None);
}

/// A cell of a row, its words in lines.
struct SetCell {
    place: Place,
    part: PartId,
    lines: Vec<(Run, Style)>,
}

/// A row, whole on one page where a page can hold it.
fn set_row(
    layout: &mut Layout<'_>,
    table: &Table,
    places: &[Place],
    row: PartId,
    cells: &[String],
    below: &str,
) {
    let mut columns: Vec<SetCell> = Vec::new();
    for (number, (cell, place)) in cells.iter().zip(places).enumerate() {
        let role = if number == 0 { Role::RowHeading } else { Role::Cell };
        let part = layout.tree.add_below(row, role);
        let mut lines: Vec<_> =
            layout.wrap(cell, Style::BODY, place.width).into_iter().map(|run| (run, Style::BODY)).collect();
        if number == 0 && !below.is_empty() {
            let small = layout.wrap(below, Style::SMALL, place.width);
            lines.extend(small.into_iter().map(|run| (run, Style::SMALL)));
        }
        columns.push(SetCell { place: *place, part, lines });
    }
    let height = columns.iter().map(|cell| cell.lines.len()).max().unwrap_or(0);
    let leading = Style::BODY.leading();
    let whole = height as f32 * leading + 8.0;
    if !layout.has_room(whole) && whole < super::layout::BOTTOM - TOP - 60.0 {
        turn(layout, table, places);
    }
    layout.y += 2.5;
    for line in 0..height {
        if !layout.has_room(leading) {
            turn(layout, table, places);
        }
        layout.y += leading;
        for SetCell { place, part, lines } in &columns {
            if let Some((run, style)) = lines.get(line).filter(|(run, _)| !run.text.is_empty()) {
                layout.words(run.clone(), *style, *place, layout.y, Some(*part));
            }
        }
    }
    layout.y += 5.0;
    layout.rule(LEFT, RIGHT, layout.y, Ink::Rule);
}

/// The sums, right under each other and all on one page. The last has the double rule below it.
fn sums(layout: &mut Layout<'_>, sums: &[Sum]) {
    let labels = Place { from: SUMS, width: RIGHT - SUMS - AMOUNTS - GAP, align: Align::Right };
    let amounts = Place { from: RIGHT - AMOUNTS, width: AMOUNTS, align: Align::Right };
    let style = |sum: &Sum| if sum.is_last { Style::TOTAL } else { Style::BODY };
    let lines: Vec<_> =
        sums.iter().map(|sum| (sum, layout.wrap(&sum.label, style(sum), labels.width))).collect();
    let height: f32 =
        lines.iter().map(|(sum, runs)| runs.len() as f32 * style(sum).leading() + 4.0).sum::<f32>() + 24.0;
    layout.make_room(height);
    layout.y += 6.0;
    let part = layout.tree.add(Role::Table);
    for (sum, runs) in lines {
        let style = style(sum);
        let row = layout.tree.add_below(part, Role::Row);
        let heading = layout.tree.add_below(row, Role::RowHeading);
        let cell = layout.tree.add_below(row, Role::Cell);
        layout.y += if sum.is_last { 6.0 } else { 2.0 };
        for run in runs {
            layout.y += style.leading();
            layout.words(run, style, labels, layout.y, Some(heading));
        }
        let run = layout.faces.of(style.weight).shape(&sum.amount);
        layout.words(run, style, amounts, layout.y, Some(cell));
        if sum.is_last {
            for place in [6.0, 8.6] {
                let y = layout.y + place;
                layout.put(Mark::Rule { from: amounts.from, to: RIGHT, y, thickness: 0.9, ink: Ink::Pencil });
            }
            layout.y += 12.0;
        }
    }
}
