//! Screws by their centres, joints for tape, and the pieces as outlines to cut.

use super::super::room::{Rectangle, Surface};
use super::super::studwork::{Studwork, UprightRole};
use super::cutting::Outline;
use super::{Hang, Layout};

/// How far apart screws sit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ScrewCentres {
    /// Along uprights in the field of a board.
    pub field_mm: i64,
    /// Along the uprights at a board's ends.
    pub ends_mm: i64,
    /// Along an external corner.
    pub corner_mm: i64,
}

/// The corners of a surface that stick out, where screws are nearer and a bead goes on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ExternalCorners {
    /// At the left end.
    pub left: bool,
    /// At the right end.
    pub right: bool,
}

/// Screws along one upright: one at each end of the line and at most `centres_mm` apart.
///
/// 2400 mm at 300 are 9.
#[must_use]
pub const fn screws_along(length_mm: i64, centres_mm: i64) -> i64 {
    if centres_mm < 1 || length_mm < 1 { 0 } else { (length_mm + centres_mm - 1) / centres_mm + 1 }
}

/// Screws in a whole board on uprights at these centres, its edges on an upright each.
///
/// A board 1200 wide on 600 centres has three lines, on 400 four.
#[must_use]
pub const fn screws_in_board(
    along_mm: i64,
    across_mm: i64,
    upright_centres_mm: i64,
    screw_centres_mm: i64,
) -> i64 {
    if upright_centres_mm < 1 {
        return 0;
    }
    ((across_mm + upright_centres_mm - 1) / upright_centres_mm + 1) * screws_along(along_mm, screw_centres_mm)
}

/// Screws for all pieces of a layout on uprights. Of two uprights beside an opening the one next to it
/// takes the screws.
#[must_use]
pub fn screws(
    surface: &Surface,
    studwork: &Studwork,
    layout: &Layout,
    centres: ScrewCentres,
    corners: ExternalCorners,
) -> i64 {
    let is_line = |role: UprightRole| match role {
        UprightRole::End
        | UprightRole::Regular
        | UprightRole::OpeningInner
        | UprightRole::Short
        | UprightRole::Added => true,
        UprightRole::OpeningOuter => false,
    };
    let mut count = 0;
    for piece in &layout.pieces {
        let mut outers: Vec<i64> = Vec::new();
        for upright in &studwork.uprights {
            let centre_mm = upright.centre_mm();
            let edge_here = [piece.outer.left_mm, piece.outer.right_mm()]
                .into_iter()
                .any(|edge_mm| (upright.left_mm..=upright.right_mm()).contains(&edge_mm));
            // An edge may land on the outer one of a pair; then it is a line as well.
            if !is_line(upright.role) && !edge_here {
                continue;
            }
            let inside = piece.outer.left_mm <= centre_mm && centre_mm <= piece.outer.right_mm();
            if !(inside || edge_here) || outers.contains(&centre_mm) {
                continue;
            }
            outers.push(centre_mm);
            let at_end = edge_here || upright.role == UprightRole::End;
            let corner = (corners.left && upright.left_mm == 0)
                || (corners.right && upright.right_mm() == surface.length_mm());
            let spacing_mm = match (corner, at_end) {
                (true, _) => centres.corner_mm,
                (false, true) => centres.ends_mm,
                (false, false) => centres.field_mm,
            };
            let clamped_mm = centre_mm.clamp(piece.outer.left_mm, piece.outer.right_mm() - 1);
            let (bottom_mm, top_mm) = if upright.role == UprightRole::Short {
                // Boards run past short ones onto head, sill and plates.
                (upright.bottom_mm - 2 * upright.width_mm, upright.top_mm + 2 * upright.width_mm)
            } else {
                (0, surface.height_mm())
            };
            for (low_mm, high_mm) in plumb_runs(&piece.outer, &piece.cut_outs, clamped_mm) {
                let (low_mm, high_mm) = (low_mm.max(bottom_mm), high_mm.min(top_mm));
                count += screws_along(high_mm - low_mm, spacing_mm);
            }
        }
    }
    count
}

/// The parts of a plumb line through a piece that run over board.
fn plumb_runs(outer: &Rectangle, cut_outs: &[Rectangle], at_mm: i64) -> Vec<(i64, i64)> {
    let mut cuts: Vec<(i64, i64)> = cut_outs
        .iter()
        .filter(|cut| (cut.left_mm..cut.right_mm()).contains(&at_mm))
        .map(|cut| (cut.bottom_mm, cut.top_mm()))
        .collect();
    cuts.sort_unstable();
    let mut runs = Vec::new();
    let mut from_mm = outer.bottom_mm;
    for (bottom_mm, top_mm) in cuts {
        runs.push((from_mm, bottom_mm));
        from_mm = from_mm.max(top_mm);
    }
    runs.push((from_mm, outer.top_mm()));
    runs.retain(|(from_mm, to_mm)| from_mm < to_mm);
    runs
}

/// Where board meets board on the flat: the length to tape, in millimetres.
#[must_use]
pub fn joint_length_mm(surface: &Surface, layout: &Layout) -> i64 {
    let sides = |along: bool| {
        let open = surface.openings().iter().map(|opening| opening.clear);
        let all = layout.pieces.iter().map(|piece| piece.outer).chain(open);
        let mut sides: Vec<i64> =
            all.flat_map(|area| {
                if along { [area.left_mm, area.right_mm()] } else { [area.bottom_mm, area.top_mm()] }
            })
            .collect();
        sides.sort_unstable();
        sides.dedup();
        sides
    };
    let (columns, levels) = (sides(true), sides(false));
    let board_at = |x_mm: i64, y_mm: i64| layout.pieces.iter().position(|piece| piece.holds(x_mm, y_mm));
    let meets = |one: Option<usize>, other: Option<usize>| one.is_some() && other.is_some() && one != other;
    let mut length_mm = 0;
    for (bottom_mm, top_mm) in levels.iter().zip(levels.iter().skip(1)) {
        for (left_mm, right_mm) in columns.iter().zip(columns.iter().skip(1)) {
            let here = board_at(*left_mm, *bottom_mm);
            if meets(here, board_at(*right_mm, *bottom_mm)) {
                length_mm += top_mm - bottom_mm;
            }
            if meets(here, board_at(*left_mm, *top_mm)) {
                length_mm += right_mm - left_mm;
            }
        }
    }
    length_mm
}

/// The pieces of a layout as outlines along and across the board.
#[must_use]
pub fn outlines(layout: &Layout) -> Vec<Outline> {
    let outline = |area: &Rectangle| match layout.rules.hang {
        Hang::Standing => Outline { along_mm: area.height_mm, across_mm: area.width_mm },
        Hang::Lying => Outline { along_mm: area.width_mm, across_mm: area.height_mm },
    };
    layout.pieces.iter().map(|piece| outline(&piece.outer)).collect()
}
