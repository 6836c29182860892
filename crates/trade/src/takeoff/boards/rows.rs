//! Where boards are jointed: columns of standing boards, rows of lying ones.
//!
//! Distances here run from the end at which the first board goes up, and are turned round at the end.

use super::super::TakeoffError;
use super::super::room::{Rectangle, Surface};
use super::super::studwork::{End, Upright};
use super::{Background, BoardRules, Layout, pieces_of};

/// How far apart joints may be put where everything holds.
const SOLID_STEP_MM: i64 = 50;

pub(super) fn standing(
    surface: &Surface,
    background: Background<'_>,
    rules: BoardRules,
) -> Result<Layout, TakeoffError> {
    let height_mm = surface.height_mm();
    let whole = Strip { bottom_mm: 0, height_mm };
    let joints = Joints { surface, background, rules, longest_mm: rules.board.width_mm() };
    let (ends, _) = joints.of(whole, &[])?;
    let mut layout = Layout { rules, pieces: Vec::new(), level_joints_mm: Vec::new(), staggered: true };
    let heights = heights(height_mm, rules.board.length_mm(), rules.narrowest_mm);
    let mut neighbour: Vec<i64> = Vec::new();
    for (column, (from_mm, to_mm)) in ends.iter().zip(ends.iter().skip(1)).enumerate() {
        let mut heights = heights.clone();
        if column % 2 == 1 {
            turn_over(&mut heights, rules.board.length_mm());
        }
        let mut bottom_mm = 0;
        let mut levels = Vec::new();
        for height_mm in heights {
            if bottom_mm > 0 {
                levels.push(bottom_mm);
            }
            let strip = Strip { bottom_mm, height_mm };
            layout.pieces.extend(pieces_of(surface, joints.area(strip, *from_mm, *to_mm)));
            bottom_mm += height_mm;
        }
        let near = |level: &i64| neighbour.iter().any(|other| (level - other).abs() < rules.stagger_mm);
        layout.staggered &= !levels.iter().any(near);
        layout.level_joints_mm.extend(&levels);
        neighbour = levels;
    }
    layout.level_joints_mm.sort_unstable();
    layout.level_joints_mm.dedup();
    Ok(layout)
}

pub(super) fn lying(
    surface: &Surface,
    background: Background<'_>,
    rules: BoardRules,
) -> Result<Layout, TakeoffError> {
    let joints = Joints { surface, background, rules, longest_mm: rules.board.length_mm() };
    let mut layout = Layout { rules, pieces: Vec::new(), level_joints_mm: Vec::new(), staggered: true };
    let mut top_mm = surface.height_mm();
    let mut above: Vec<i64> = Vec::new();
    // From the top down: the bound edge goes under the ceiling and the cut one behind the skirting.
    for height_mm in heights(surface.height_mm(), rules.board.width_mm(), rules.narrowest_mm) {
        let strip = Strip { bottom_mm: top_mm - height_mm, height_mm };
        let (ends, staggered) = joints.of(strip, &above)?;
        layout.staggered &= staggered;
        for (from_mm, to_mm) in ends.iter().zip(ends.iter().skip(1)) {
            layout.pieces.extend(pieces_of(surface, joints.area(strip, *from_mm, *to_mm)));
        }
        above = ends;
        top_mm -= height_mm;
        if top_mm > 0 {
            layout.level_joints_mm.push(top_mm);
        }
    }
    layout.level_joints_mm.sort_unstable();
    Ok(layout)
}

/// Whole boards and the rest, so that no part is narrower than `narrowest_mm`.
fn heights(total_mm: i64, most_mm: i64, narrowest_mm: i64) -> Vec<i64> {
    let mut heights = Vec::new();
    let mut left_mm = total_mm;
    while left_mm > most_mm {
        let rest_mm = left_mm - most_mm;
        // The last whole board gives up what the rest lacks.
        let give_up_mm = if rest_mm < narrowest_mm { narrowest_mm - rest_mm } else { 0 };
        heights.push(most_mm - give_up_mm);
        left_mm -= most_mm - give_up_mm;
    }
    heights.push(left_mm);
    heights
}

/// The same column begun with its rest; of nothing but whole boards, with half a board.
fn turn_over(heights: &mut Vec<i64>, whole_mm: i64) {
    let all_whole = heights.len() > 1 && heights.iter().all(|height_mm| *height_mm == whole_mm);
    if all_whole {
        heights.pop();
        heights.insert(0, whole_mm / 2);
        heights.push(whole_mm - whole_mm / 2);
    } else {
        heights.reverse();
    }
}

/// A level strip of a surface.
#[derive(Clone, Copy)]
struct Strip {
    bottom_mm: i64,
    height_mm: i64,
}

/// Finds joints along strips of a surface.
struct Joints<'a> {
    surface: &'a Surface,
    background: Background<'a>,
    rules: BoardRules,
    longest_mm: i64,
}

impl Joints<'_> {
    /// The area of a strip between two distances from the starting end.
    fn area(&self, strip: Strip, from_mm: i64, to_mm: i64) -> Rectangle {
        let left_mm = match self.rules.from {
            End::Left => from_mm,
            End::Right => self.surface.length_mm() - to_mm,
        };
        let (bottom_mm, height_mm) = (strip.bottom_mm, strip.height_mm);
        Rectangle { left_mm, bottom_mm, width_mm: to_mm - from_mm, height_mm }
    }

    /// Where the pieces of a strip end, from 0 to its length, and whether they keep off the joints of
    /// the neighbouring strip. If they can't, being on an upright matters more.
    fn of(&self, strip: Strip, neighbour: &[i64]) -> Result<(Vec<i64>, bool), TakeoffError> {
        let length_mm = self.surface.length_mm();
        let held = self.held_positions(strip);
        let off_joints = |at: &i64| {
            let inner = neighbour.iter().filter(|other| (1..length_mm).contains(*other));
            inner.into_iter().all(|other| (at - other).abs() >= self.rules.stagger_mm)
        };
        let apart: Vec<i64> = held.iter().copied().filter(|at| off_joints(at)).collect();
        let narrowest_mm = self.rules.narrowest_mm;
        let attempts = [(&apart, narrowest_mm, true), (&held, narrowest_mm, false), (&held, 1, false)];
        for (positions, narrowest_mm, staggered) in attempts {
            if let Some(ends) = fewest_pieces(positions, length_mm, narrowest_mm, self.longest_mm) {
                return Ok((ends, staggered));
            }
        }
        let from_mm = farthest_reached(&held, self.longest_mm);
        Err(TakeoffError::NothingToFixTo {
            surface: self.surface.name().to_owned(),
            from_mm,
            by_mm: from_mm + self.longest_mm,
        })
    }

    /// The distances from the starting end at which a joint is held all the way up the strip.
    fn held_positions(&self, strip: Strip) -> Vec<i64> {
        let length_mm = self.surface.length_mm();
        let mut positions: Vec<i64> = match self.background {
            Background::Solid => (1..=length_mm / SOLID_STEP_MM).map(|step| step * SOLID_STEP_MM).collect(),
            Background::Uprights(studwork) => {
                let uprights = &studwork.uprights;
                let turned = |at_mm: i64| match self.rules.from {
                    End::Left => at_mm,
                    End::Right => length_mm - at_mm,
                };
                let centres = uprights.iter().map(Upright::centre_mm);
                let between = uprights
                    .iter()
                    .map(Upright::right_mm)
                    .filter(|right_mm| uprights.iter().any(|other| other.left_mm == *right_mm));
                // Whole boards end where two uprights together may hold them off their centres.
                let whole = (1..=length_mm / self.longest_mm).map(|boards| boards * self.longest_mm);
                let places = centres.chain(between).map(turned).chain(whole);
                let levels = (strip.bottom_mm, strip.bottom_mm + strip.height_mm);
                let is_held = |at_mm: &i64| {
                    let from_left_mm = turned(*at_mm);
                    joint_is_held(self.surface, self.background, self.rules.edge_mm, from_left_mm, levels)
                };
                places.filter(is_held).collect()
            }
        };
        positions.retain(|at_mm| (1..length_mm).contains(at_mm));
        positions.sort_unstable();
        positions.dedup();
        positions
    }
}

/// Whether a plumb joint has timber behind both boards wherever there is board beside it.
pub(super) fn joint_is_held(
    surface: &Surface,
    background: Background<'_>,
    edge_mm: i64,
    at_mm: i64,
    (bottom_mm, top_mm): (i64, i64),
) -> bool {
    let Background::Uprights(studwork) = background else { return true };
    let sides =
        surface.openings().iter().flat_map(|opening| [opening.clear.bottom_mm, opening.clear.top_mm()]);
    let mut levels: Vec<i64> = sides.filter(|level| (bottom_mm..top_mm).contains(level)).collect();
    levels.extend([bottom_mm, top_mm]);
    levels.sort_unstable();
    levels.dedup();
    levels.iter().zip(levels.iter().skip(1)).all(|(low_mm, high_mm)| {
        let board_left = !surface.is_open(at_mm - 1, *low_mm);
        let board_right = !surface.is_open(at_mm, *low_mm);
        let left_mm = if board_left { at_mm - edge_mm } else { at_mm };
        let right_mm = if board_right { at_mm + edge_mm } else { at_mm };
        left_mm == right_mm || studwork.holds((left_mm, right_mm), (*low_mm, *high_mm))
    })
}

/// The ends of the fewest pieces from 0 to `length_mm` with every joint at one of `positions` and no piece
/// narrower or wider than allowed; of those the ones that begin with the longest pieces.
fn fewest_pieces(positions: &[i64], length_mm: i64, narrowest_mm: i64, longest_mm: i64) -> Option<Vec<i64>> {
    if length_mm <= longest_mm {
        return Some(vec![0, length_mm]);
    }
    let stops: Vec<i64> = [0].into_iter().chain(positions.iter().copied()).chain([length_mm]).collect();
    let fits = |from_mm: i64, to_mm: i64| (narrowest_mm..=longest_mm).contains(&(to_mm - from_mm));
    // For each stop, from the far end back: pieces to the end and the next stop, the farthest of the best.
    let mut best: Vec<(i64, Option<(usize, usize)>)> = Vec::new();
    for from_mm in stops.iter().rev() {
        let to_end = if *from_mm == length_mm {
            Some((0, 0))
        } else {
            let onward = best.iter().enumerate().filter(|(_, (to_mm, _))| fits(*from_mm, *to_mm));
            onward
                .filter_map(|(at, (_, further))| further.map(|(pieces, _)| (pieces + 1, at)))
                .min_by_key(|(pieces, at)| (*pieces, *at))
        };
        best.push((*from_mm, to_end));
    }
    let mut at = best.len().checked_sub(1)?;
    let mut ends = Vec::new();
    loop {
        let (place_mm, further) = best.get(at)?;
        ends.push(*place_mm);
        if *place_mm == length_mm {
            return Some(ends);
        }
        at = (*further)?.1;
    }
}

fn farthest_reached(positions: &[i64], longest_mm: i64) -> i64 {
    let onward = |reached: i64, at: &i64| if at - reached <= longest_mm { *at } else { reached };
    positions.iter().fold(0, onward)
}
