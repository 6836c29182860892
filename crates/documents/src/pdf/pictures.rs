//! Pictures on a page: two beside each other, each with its words below.

use krilla::image::Image;

use super::face::Run;
use super::layout::{LEFT, Layout, Mark, Place, Style, WIDTH};
use super::parts;
use super::tree::Role;
use crate::sheet::{Align, Picture};

/// Between two pictures.
const GAP: f32 = 14.0;
/// Above two pictures, and what a heading needs.
const ABOVE: f32 = 8.0;
const HEADING: f32 = 30.0;
const ACROSS: f32 = (WIDTH - GAP) / 2.0;
/// The tallest that a picture stands: three rows of them fit on a page.
const TALLEST: f32 = 190.0;

/// A picture, as large as it will stand.
struct Placed<'p> {
    image: Image,
    width: f32,
    height: f32,
    says: &'p str,
    words: Vec<Run>,
}

pub(super) fn set(layout: &mut Layout<'_>, heading: &str, pictures: &[Picture]) {
    let placed: Vec<Placed<'_>> = pictures.iter().filter_map(|picture| placed(layout, picture)).collect();
    let mut pairs = placed.chunks(2);
    let Some(first) = pairs.next() else { return };
    // A heading at the foot of a page would stand alone.
    layout.make_room(HEADING + height(first));
    parts::heading(layout, heading);
    set_pair(layout, first);
    pairs.for_each(|pair| set_pair(layout, pair));
}

/// What two pictures and their words need.
fn height(pair: &[Placed<'_>]) -> f32 {
    let lines = pair.iter().map(|picture| picture.words.len()).max().unwrap_or(0);
    ABOVE + tallest(pair) + lines as f32 * Style::SMALL.leading() + 6.0
}

fn tallest(pair: &[Placed<'_>]) -> f32 {
    pair.iter().map(|picture| picture.height).fold(0.0, f32::max)
}

/// None for what is no picture that a paper can hold.
fn placed<'p>(layout: &Layout<'_>, picture: &'p Picture) -> Option<Placed<'p>> {
    // PDF/A allows no smoothing of pictures; the validator that the paper is written with says so.
    let image = Image::from_jpeg(picture.jpeg.clone().into(), false).ok()?;
    let (wide, high) = image.size();
    if wide == 0 || high == 0 {
        return None;
    }
    let (wide, high) = (wide as f32, high as f32);
    let scale = (ACROSS / wide).min(TALLEST / high);
    let words = layout.wrap(&picture.says, Style::SMALL, ACROSS);
    Some(Placed { image, width: wide * scale, height: high * scale, says: &picture.says, words })
}

fn set_pair(layout: &mut Layout<'_>, pair: &[Placed<'_>]) {
    layout.make_room(height(pair));
    let (end, tallest) = (layout.y + height(pair), tallest(pair));
    layout.y += ABOVE;
    let top = layout.y;
    for (place, picture) in pair.iter().enumerate() {
        let x = LEFT + place as f32 * (ACROSS + GAP);
        let figure = layout.tree.add(Role::Figure(picture.says.to_owned()));
        let leaf = layout.tree.leaf(figure);
        let (width, height, image) = (picture.width, picture.height, picture.image.clone());
        layout.put(Mark::Picture { x, y: top, width, height, image, leaf });
        let part = layout.tree.add(Role::Paragraph);
        let column = Place { from: x, width: ACROSS, align: Align::Left };
        let mut y = top + tallest + 3.0;
        for run in &picture.words {
            y += Style::SMALL.leading();
            layout.words(run.clone(), Style::SMALL, column, y, Some(part));
        }
    }
    layout.y = end;
}
