//! The head of a paper: who gives it, what it is, whom it is for, and what is to know at a glance.

use std::num::NonZeroU16;

use super::layout::{LEFT, Layout, Mark, Place, Style, WIDTH};
use super::tree::Role;
use crate::sheet::{Align, Block, Fact, Sheet};

const HALF: f32 = WIDTH / 2.0;
const LABELS: f32 = 70.0;

pub(super) fn set(layout: &mut Layout<'_>, sheet: &Sheet) {
    let top = layout.y;
    let first = Role::Heading(NonZeroU16::MIN, sheet.title.clone());
    let part = layout.tree.add(first);
    let title = Place { from: LEFT + HALF, width: HALF, align: Align::Right };
    let mut below_title = top;
    for run in layout.wrap(&sheet.title, Style::TITLE, HALF) {
        layout.words(run, Style::TITLE, title, below_title, Some(part));
        below_title += Style::TITLE.leading();
    }
    let sender = Place { width: HALF - 12.0, ..Place::WHOLE };
    let below_sender = block(layout, &sheet.from, sender, top, Style::TITLE);
    let line = below_sender.max(below_title) - 2.0;
    layout.put(Mark::ChalkLine { y: line });
    let start = line + 26.0;
    let mut end = start;
    if let Some(to) = &sheet.to {
        end = end.max(block(layout, to, sender, start, Style { size: 12.0, ..Style::STRONG }));
    }
    end = end.max(facts(layout, &sheet.facts, start));
    layout.y = end + 8.0;
}

/// A block of lines; where the next line would stand.
fn block(layout: &mut Layout<'_>, block: &Block, place: Place, top: f32, name: Style) -> f32 {
    let part = layout.tree.add(Role::Paragraph);
    let mut y = top;
    let mut before: Option<f32> = None;
    let labelled = [(block.label.as_str(), Style::LABEL), (block.name.as_str(), name)];
    let lines = block.lines.iter().map(|line| (line.as_str(), Style { size: 9.4, ..Style::BODY }));
    for (words, style) in labelled.into_iter().chain(lines).filter(|(words, _)| !words.is_empty()) {
        for run in layout.wrap(words, style, place.width) {
            // Words of another size stand a little apart.
            y += before.map_or(0.0, |size| if size == style.size { 0.0 } else { 3.0 });
            y += before.map_or(0.0, |_| style.leading());
            before = Some(style.size);
            layout.words(run, style, place, y, Some(part));
        }
    }
    y + Style::BODY.leading()
}

fn facts(layout: &mut Layout<'_>, facts: &[Fact], top: f32) -> f32 {
    let mut y = top;
    let label = Place { from: LEFT + HALF, width: LABELS, align: Align::Left };
    let says = Place { from: LEFT + HALF + LABELS, width: HALF - LABELS, align: Align::Left };
    for fact in facts {
        let part = layout.tree.add(Role::Paragraph);
        let run = layout.faces.of(Style::LABEL.weight).shape(&fact.label);
        layout.words(run, Style::LABEL, label, y, Some(part));
        for run in layout.wrap(&fact.says, Style::BODY, says.width) {
            layout.words(run, Style::BODY, says, y, Some(part));
            y += Style::BODY.leading();
        }
        y += 1.5;
    }
    y
}
