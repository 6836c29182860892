//! Draws the marks of each page, and its foot.

use krilla::Document;
use krilla::color::rgb;
use krilla::geom::{PathBuilder, Point, Size, Transform};
use krilla::num::NormalizedF32;
use krilla::page::PageSettings;
use krilla::paint::{Fill, FillRule, LineCap, Stroke, StrokeDash};
use krilla::surface::Surface;
use krilla::tagging::{Artifact, ArtifactType, ContentTag, SpanTag, TagTree};

use super::face::{Faces, Run};
use super::layout::{Ink, LEFT, Layout, Mark, PAGE_HEIGHT, PAGE_WIDTH, RIGHT, Style};
use crate::sheet::Sheet;

const FOOT: f32 = PAGE_HEIGHT - 34.0;

/// Draws all pages; gives what they are made of, for reading out.
pub(super) fn write(document: &mut Document, layout: Layout<'_>, faces: &Faces, sheet: &Sheet) -> TagTree {
    let Layout { pages, mut tree, .. } = layout;
    let count = pages.len();
    for (number, marks) in (1..).zip(pages) {
        let settings = PageSettings::from_wh(PAGE_WIDTH, PAGE_HEIGHT).unwrap_or_default();
        let mut page = document.start_page_with(settings);
        let mut surface = page.surface();
        for mark in marks {
            match mark {
                Mark::Words { x, y, style, run, leaf: Some(leaf) } => {
                    let identifier = surface.start_tagged(ContentTag::Span(SpanTag::empty()));
                    words(&mut surface, faces, &run, style, Point::from_xy(x, y));
                    surface.end_tagged();
                    tree.drawn(leaf, identifier);
                }
                Mark::Words { x, y, style, run, leaf: None } => {
                    artifact(&mut surface, ArtifactType::PaginationOther, |surface| {
                        words(surface, faces, &run, style, Point::from_xy(x, y));
                    });
                }
                Mark::Rule { from, to, y, thickness, ink } => {
                    artifact(&mut surface, ArtifactType::Layout, |surface| {
                        stroke(surface, &[(from, y), (to, y)], pen(ink, thickness));
                    });
                }
                Mark::Picture { x, y, width, height, image, leaf } => {
                    let Some(size) = Size::from_wh(width, height) else { continue };
                    let identifier = surface.start_tagged(ContentTag::Other);
                    surface.push_transform(&Transform::from_translate(x, y));
                    surface.draw_image(image, size);
                    surface.pop();
                    surface.end_tagged();
                    tree.drawn(leaf, identifier);
                }
                Mark::ChalkLine { y } => {
                    artifact(&mut surface, ArtifactType::Layout, |surface| chalk_line(surface, y));
                }
            }
        }
        artifact(&mut surface, ArtifactType::Footer, |surface| {
            stroke(surface, &[(LEFT, FOOT - 13.0), (RIGHT, FOOT - 13.0)], pen(Ink::Rule, 0.6));
            let face = faces.of(Style::SMALL.weight);
            words(surface, faces, &face.shape(&sheet.foot), Style::SMALL, Point::from_xy(LEFT, FOOT));
            let run = face.shape(&format!("page {number} of {count}"));
            let x = RIGHT - run.width * Style::SMALL.size;
            words(surface, faces, &run, Style::SMALL, Point::from_xy(x, FOOT));
        });
        surface.finish();
        page.finish();
    }
    tree.finish()
}

fn artifact(surface: &mut Surface<'_>, kind: ArtifactType, draw: impl FnOnce(&mut Surface<'_>)) {
    surface.start_tagged(ContentTag::Artifact(Artifact::with_kind(kind)));
    draw(surface);
    surface.end_tagged();
}

fn words(surface: &mut Surface<'_>, faces: &Faces, run: &Run, style: Style, at: Point) {
    surface.set_stroke(None);
    surface.set_fill(Some(Fill {
        paint: colour(style.ink).into(),
        opacity: NormalizedF32::ONE,
        rule: FillRule::default(),
    }));
    surface.draw_glyphs(at, &run.glyphs, faces.of(style.weight).font(), &run.text, style.size, false);
}

/// The line that a chalked string leaves when it is snapped: sharp in its middle, with dust beside it, and
/// between two pencilled crow's feet that say where it belongs.
fn chalk_line(surface: &mut Surface<'_>, y: f32) {
    let line = [(LEFT, y), (RIGHT, y)];
    let dust = Stroke {
        dash: Some(StrokeDash { array: vec![3.0, 2.2, 9.0, 1.4, 5.0, 3.1], offset: 0.0 }),
        opacity: NormalizedF32::new(0.22).unwrap_or(NormalizedF32::ONE),
        ..chalk(4.2)
    };
    stroke(surface, &line, dust);
    stroke(surface, &line, chalk(1.3));
    for x in [LEFT, RIGHT] {
        stroke(surface, &[(x - 3.4, y - 8.5), (x, y), (x + 3.4, y - 8.5)], pen(Ink::Pencil, 1.0));
    }
}

fn chalk(width: f32) -> Stroke {
    Stroke { paint: rgb::Color::new(0x17, 0x4a, 0x86).into(), width, ..Stroke::default() }
}

fn pen(ink: Ink, width: f32) -> Stroke {
    Stroke { paint: colour(ink).into(), width, line_cap: LineCap::Round, ..Stroke::default() }
}

fn colour(ink: Ink) -> rgb::Color {
    match ink {
        Ink::Pencil => rgb::Color::new(0x21, 0x1f, 0x1b),
        Ink::Soft => rgb::Color::new(0x57, 0x52, 0x4a),
        Ink::Rule => rgb::Color::new(0xc9, 0xc0, 0xad),
    }
}

fn stroke(surface: &mut Surface<'_>, points: &[(f32, f32)], stroke: Stroke) {
    let mut path = PathBuilder::new();
    for (place, (x, y)) in points.iter().enumerate() {
        if place == 0 {
            path.move_to(*x, *y);
        } else {
            path.line_to(*x, *y);
        }
    }
    if let Some(path) = path.finish() {
        surface.set_fill(None);
        surface.set_stroke(Some(stroke));
        surface.draw_path(&path);
    }
}
