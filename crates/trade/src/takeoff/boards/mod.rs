//! Laying boards on a surface: standing or lying, joints on studs and staggered, cut round openings.
//!
//! [`lay`] gives the pieces as they hang, [`cutting`] what they are cut from, [`landing`] what to shift
//! or add where whole boards would miss the studs, [`fixings`] screws, tape and beads.

pub mod cutting;
pub mod fixings;
pub mod landing;
mod rows;

use rust_decimal::Decimal;

use super::TakeoffError;
use super::length::check_length;
use super::room::{Rectangle, Surface};
use super::studwork::{End, Studwork};

/// A board as it is bought.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct BoardSize {
    length_mm: i64,
    width_mm: i64,
}

impl BoardSize {
    /// A board; the longer side is its length, whichever comes first.
    ///
    /// # Errors
    /// [`TakeoffError::NoLength`] for nought or less, [`TakeoffError::OutOfRange`] below 300 mm.
    pub fn new(one_mm: i64, other_mm: i64) -> Result<Self, TakeoffError> {
        check_length("length of a board", one_mm)?;
        check_length("width of a board", other_mm)?;
        let (length_mm, width_mm) = (one_mm.max(other_mm), one_mm.min(other_mm));
        if width_mm < 300 {
            return Err(TakeoffError::OutOfRange {
                what: "width of a board".to_owned(),
                given: width_mm.to_string(),
                least: "300".to_owned(),
                most: "100000".to_owned(),
                unit: "mm".to_owned(),
            });
        }
        Ok(Self { length_mm, width_mm })
    }

    /// The longer side, along which the bound edges run.
    #[must_use]
    pub const fn length_mm(self) -> i64 {
        self.length_mm
    }

    /// The shorter side.
    #[must_use]
    pub const fn width_mm(self) -> i64 {
        self.width_mm
    }

    /// Length × width.
    #[must_use]
    pub const fn area_mm2(self) -> i64 {
        self.length_mm * self.width_mm
    }
}

/// The widest centres of uprights behind a board of this thickness in mm; none below 9.5 mm.
///
/// NHBC Standards 6.3.12 and 9.2.4 Table 5 (seen): 9.5 mm at 450, 12.5 mm at 600. A ceiling of 12.5 mm board
/// at more than 450 has noggings between its joists.
#[must_use]
pub fn widest_centres_mm(thick_mm: Decimal, on_ceiling_without_noggings: bool) -> Option<i64> {
    if thick_mm < Decimal::new(95, 1) {
        None
    } else if thick_mm < Decimal::new(125, 1) || on_ceiling_without_noggings {
        Some(450)
    } else {
        Some(600)
    }
}

/// Which way a board's length runs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub enum Hang {
    /// Up the wall, along the studs.
    #[default]
    Standing,
    /// Along the wall, across the studs.
    Lying,
}

/// What the boards are fixed to.
#[derive(Debug, Clone, Copy)]
pub enum Background<'a> {
    /// Uprights: an edge must land on one.
    Uprights(&'a Studwork),
    /// Something that holds everywhere: dabs on masonry, boards on boards.
    Solid,
}

/// How boards are laid.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BoardRules {
    /// The board.
    pub board: BoardSize,
    /// Which way it runs.
    pub hang: Hang,
    /// The end at which the first one goes up.
    pub from: End,
    /// How far apart the joints of two rows must be.
    pub stagger_mm: i64,
    /// The narrowest piece worth fixing.
    pub narrowest_mm: i64,
    /// How much timber each edge needs.
    pub edge_mm: i64,
}

/// A piece of board as it hangs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Piece {
    /// What it is cut to, before openings are cut out of it.
    pub outer: Rectangle,
    /// The parts of it that are not there, because an opening is.
    pub cut_outs: Vec<Rectangle>,
}

impl Piece {
    /// What hangs of it.
    #[must_use]
    pub fn area_mm2(&self) -> i64 {
        self.outer.area_mm2() - self.cut_outs.iter().map(Rectangle::area_mm2).sum::<i64>()
    }

    /// Whether the point just right of and above (x, y) is board.
    #[must_use]
    pub fn holds(&self, x_mm: i64, y_mm: i64) -> bool {
        self.outer.holds(x_mm, y_mm) && !self.cut_outs.iter().any(|cut| cut.holds(x_mm, y_mm))
    }
}

/// The boards of one surface.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Layout {
    /// How they were laid.
    pub rules: BoardRules,
    /// The pieces, in the order in which they go up.
    pub pieces: Vec<Piece>,
    /// Heights at which boards meet end to end or side to side, so that noggins are needed there.
    pub level_joints_mm: Vec<i64>,
    /// Whether joints of neighbouring rows are as far apart as wanted everywhere.
    pub staggered: bool,
}

/// Lays boards on a surface.
///
/// Of all ways to put the joints on uprights it takes one with the fewest pieces, and of those the one
/// that begins with whole boards.
///
/// # Errors
/// [`TakeoffError::NothingToFixTo`] where uprights are further apart than a board reaches.
pub fn lay(surface: &Surface, background: Background<'_>, rules: BoardRules) -> Result<Layout, TakeoffError> {
    match rules.hang {
        Hang::Standing => rows::standing(surface, background, rules),
        Hang::Lying => rows::lying(surface, background, rules),
    }
}

/// What is left of a rectangle of board beside the openings: one piece for each part that hangs together.
fn pieces_of(surface: &Surface, area: Rectangle) -> Vec<Piece> {
    let in_the_way: Vec<Rectangle> = surface
        .openings()
        .iter()
        .map(|opening| opening.clear)
        .filter(|clear| clear.overlaps(&area))
        .collect();
    if in_the_way.is_empty() {
        return vec![Piece { outer: area, cut_outs: Vec::new() }];
    }
    let cells = cells_between(area, &in_the_way);
    let mut groups: Vec<Vec<Rectangle>> = Vec::new();
    for cell in cells {
        // A cell joins every group that it has an edge in common with, and makes one of them.
        let (mut joined, apart): (Vec<_>, Vec<_>) =
            groups.into_iter().partition(|group| group.iter().any(|other| share_an_edge(other, &cell)));
        let mut group: Vec<Rectangle> = joined.drain(..).flatten().collect();
        group.push(cell);
        groups = apart;
        groups.push(group);
    }
    let mut pieces: Vec<Piece> =
        groups.iter().filter_map(|group| piece_of_cells(group, &in_the_way)).collect();
    pieces.sort_by_key(|piece| piece.outer);
    pieces
}

/// The parts of an area that are in no opening, cut along every side of every opening.
fn cells_between(area: Rectangle, openings: &[Rectangle]) -> Vec<Rectangle> {
    let edges = |low: i64, high: i64, sides: &dyn Fn(&Rectangle) -> [i64; 2]| {
        let mut edges: Vec<i64> = openings.iter().flat_map(sides).chain([low, high]).collect();
        edges.retain(|edge| (low..=high).contains(edge));
        edges.sort_unstable();
        edges.dedup();
        edges
    };
    let columns = edges(area.left_mm, area.right_mm(), &|open| [open.left_mm, open.right_mm()]);
    let levels = edges(area.bottom_mm, area.top_mm(), &|open| [open.bottom_mm, open.top_mm()]);
    let mut cells = Vec::new();
    for (left_mm, right_mm) in columns.iter().zip(columns.iter().skip(1)) {
        for (bottom_mm, top_mm) in levels.iter().zip(levels.iter().skip(1)) {
            if !openings.iter().any(|open| open.holds(*left_mm, *bottom_mm)) {
                let (width_mm, height_mm) = (right_mm - left_mm, top_mm - bottom_mm);
                cells.push(Rectangle { left_mm: *left_mm, bottom_mm: *bottom_mm, width_mm, height_mm });
            }
        }
    }
    cells
}

fn share_an_edge(one: &Rectangle, other: &Rectangle) -> bool {
    let beside = one.right_mm() == other.left_mm || other.right_mm() == one.left_mm;
    let above = one.top_mm() == other.bottom_mm || other.top_mm() == one.bottom_mm;
    let level = one.bottom_mm < other.top_mm() && other.bottom_mm < one.top_mm();
    let plumb = one.left_mm < other.right_mm() && other.left_mm < one.right_mm();
    (beside && level) || (above && plumb)
}

fn piece_of_cells(cells: &[Rectangle], openings: &[Rectangle]) -> Option<Piece> {
    let left_mm = cells.iter().map(|cell| cell.left_mm).min()?;
    let bottom_mm = cells.iter().map(|cell| cell.bottom_mm).min()?;
    let width_mm = cells.iter().map(Rectangle::right_mm).max()? - left_mm;
    let height_mm = cells.iter().map(Rectangle::top_mm).max()? - bottom_mm;
    let outer = Rectangle { left_mm, bottom_mm, width_mm, height_mm };
    // What is within the outline and no cell of this piece is cut out, also where another piece hangs.
    let in_outline = cells_between(outer, openings).into_iter().filter(|cell| !cells.contains(cell));
    let open = openings.iter().filter_map(|opening| common_part(&outer, opening));
    let mut cut_outs: Vec<Rectangle> = open.collect();
    cut_outs.extend(in_outline.filter(|cell| !cells.iter().any(|own| own.overlaps(cell))));
    Some(Piece { outer, cut_outs })
}

fn common_part(one: &Rectangle, other: &Rectangle) -> Option<Rectangle> {
    let left_mm = one.left_mm.max(other.left_mm);
    let bottom_mm = one.bottom_mm.max(other.bottom_mm);
    let width_mm = one.right_mm().min(other.right_mm()) - left_mm;
    let height_mm = one.top_mm().min(other.top_mm()) - bottom_mm;
    (width_mm > 0 && height_mm > 0).then_some(Rectangle { left_mm, bottom_mm, width_mm, height_mm })
}
