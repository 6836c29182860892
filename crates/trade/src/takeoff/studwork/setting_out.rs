//! Where each upright of a frame goes: ends, pairs beside openings, the ones at the centres, short ones over
//! and under openings; and the plates, heads and sills.

use super::super::TakeoffError;
use super::super::room::Surface;
use super::{End, Frame, Rail, RailRole, Upright, UprightRole};

/// What a board edge needs of timber to be fixed to: the edge distance of a cut edge (specification pages
/// K10, seen).
const HOLD_MM: i64 = 13;

pub(super) fn full_height(surface: &Surface, left_mm: i64, timber_mm: i64, role: UprightRole) -> Upright {
    let top_mm = surface.height_mm() - timber_mm;
    Upright { left_mm, width_mm: timber_mm, bottom_mm: timber_mm, top_mm, role }
}

/// Two uprights at each side of each opening; one where the opening touches the end of the wall is none.
pub(super) fn beside_openings(surface: &Surface, timber_mm: i64) -> Result<Vec<Upright>, TakeoffError> {
    let mut uprights: Vec<Upright> = Vec::new();
    let last_mm = surface.length_mm() - timber_mm;
    for opening in surface.openings() {
        let clear = opening.clear;
        let mut sides = Vec::new();
        if clear.left_mm > 0 {
            sides.push((clear.left_mm - timber_mm, clear.left_mm - 2 * timber_mm));
        }
        if clear.right_mm() < surface.length_mm() {
            sides.push((clear.right_mm(), clear.right_mm() + timber_mm));
        }
        for (inner_mm, outer_mm) in sides {
            // Where the end stud would not fit beside it, the second one is the end stud.
            let outer_mm = if outer_mm >= 0 && outer_mm < timber_mm {
                0
            } else if (last_mm - timber_mm + 1..=last_mm).contains(&outer_mm) {
                last_mm
            } else {
                outer_mm
            };
            let pair = [
                full_height(surface, inner_mm, timber_mm, UprightRole::OpeningInner),
                full_height(surface, outer_mm, timber_mm, UprightRole::OpeningOuter),
            ];
            for upright in pair {
                let beyond = upright.left_mm < 0 || upright.right_mm() > surface.length_mm();
                // Openings over each other share their studs; side by side they need room for them.
                let in_opening = surface.openings().iter().any(|other| {
                    upright.left_mm < other.clear.right_mm() && other.clear.left_mm < upright.right_mm()
                });
                if beyond || in_opening {
                    return Err(TakeoffError::NoRoomForStuds {
                        wall: surface.name().to_owned(),
                        opening: opening.name.clone(),
                        needed_mm: 2 * timber_mm,
                    });
                }
                if !uprights.iter().any(|other| touches(other, upright.left_mm, timber_mm)) {
                    uprights.push(upright);
                }
            }
        }
    }
    Ok(uprights)
}

/// Whether an upright takes some of the space from `left_mm` on.
const fn touches(upright: &Upright, left_mm: i64, timber_mm: i64) -> bool {
    upright.left_mm < left_mm + timber_mm && left_mm < upright.right_mm()
}

pub(super) fn add_ends(surface: &Surface, timber_mm: i64, uprights: &mut Vec<Upright>) {
    for left_mm in [0, surface.length_mm() - timber_mm] {
        let taken = uprights.iter().any(|other| touches(other, left_mm, timber_mm));
        let clear = surface.openings().iter().map(|opening| opening.clear);
        let mut beside =
            clear.filter(|clear| clear.left_mm < left_mm + timber_mm && left_mm < clear.right_mm());
        if !taken && beside.next().is_none() {
            uprights.push(full_height(surface, left_mm, timber_mm, UprightRole::End));
        }
    }
}

/// The uprights at the centres. One that would stand partly in another stands against it, on the side of
/// its own centre, as long as that is timber that the other does not give already.
pub(super) fn add_regular(surface: &Surface, frame: Frame, uprights: &mut Vec<Upright>) {
    let (timber_mm, length_mm) = (frame.timber_mm, surface.length_mm());
    let mut centre_mm = frame.centres_mm;
    while centre_mm < length_mm {
        let at_mm = match frame.from {
            End::Left => centre_mm,
            End::Right => length_mm - centre_mm,
        };
        centre_mm += frame.centres_mm;
        let wanted_mm = at_mm - timber_mm / 2;
        if let Some(left_mm) = clear_place(surface, uprights, wanted_mm, timber_mm) {
            add_around_openings(surface, left_mm, timber_mm, uprights);
        }
    }
}

/// Where an upright wanted at `wanted_mm` stands, clear of the others: there, or against the one in its
/// way; nowhere if the one in its way holds both sides of a board joint at its centre already.
fn clear_place(surface: &Surface, uprights: &[Upright], wanted_mm: i64, timber_mm: i64) -> Option<i64> {
    let blocking: Vec<&Upright> =
        uprights.iter().filter(|other| touches(other, wanted_mm, timber_mm)).collect();
    let (Some(first), Some(last)) = (blocking.first(), blocking.last()) else { return Some(wanted_mm) };
    let (left_mm, right_mm) =
        blocking.iter().fold((first.left_mm, last.right_mm()), |(left, right), other| {
            (left.min(other.left_mm), right.max(other.right_mm()))
        });
    let (joint_mm, hold_mm) = (wanted_mm + timber_mm / 2, HOLD_MM.min(timber_mm / 2));
    if left_mm <= joint_mm - hold_mm && joint_mm + hold_mm <= right_mm {
        return None;
    }
    let against_mm = if joint_mm < (left_mm + right_mm) / 2 { left_mm - timber_mm } else { right_mm };
    let free = |left_mm: i64| {
        left_mm >= 0
            && left_mm + timber_mm <= surface.length_mm()
            && !uprights.iter().any(|other| touches(other, left_mm, timber_mm))
            && !surface.openings().iter().any(|opening| {
                opening.clear.left_mm < left_mm + timber_mm && left_mm < opening.clear.right_mm()
            })
    };
    Some(against_mm).filter(|left_mm| free(*left_mm))
}

/// One upright, or the short ones over and under the openings in its way.
fn add_around_openings(surface: &Surface, left_mm: i64, timber_mm: i64, uprights: &mut Vec<Upright>) {
    let mut in_the_way: Vec<_> = surface
        .openings()
        .iter()
        .map(|opening| opening.clear)
        .filter(|clear| clear.left_mm < left_mm + timber_mm && left_mm < clear.right_mm())
        .collect();
    if in_the_way.is_empty() {
        uprights.push(full_height(surface, left_mm, timber_mm, UprightRole::Regular));
        return;
    }
    in_the_way.sort_by_key(|clear| clear.bottom_mm);
    let mut bottom_mm = timber_mm;
    let mut add = |bottom_mm: i64, top_mm: i64| {
        if bottom_mm < top_mm {
            let role = UprightRole::Short;
            uprights.push(Upright { left_mm, width_mm: timber_mm, bottom_mm, top_mm, role });
        }
    };
    for clear in in_the_way {
        add(bottom_mm, clear.bottom_mm - timber_mm);
        bottom_mm = clear.top_mm() + timber_mm;
    }
    add(bottom_mm, surface.height_mm() - timber_mm);
}

pub(super) fn plates_and_heads(surface: &Surface, timber_mm: i64) -> Vec<Rail> {
    let length_mm = surface.length_mm();
    let mut rails = Vec::new();
    let mut left_mm = 0;
    for opening in surface.openings().iter().filter(|opening| opening.clear.bottom_mm == 0) {
        let right_mm = opening.clear.left_mm;
        rails.push(Rail { role: RailRole::SolePlate, left_mm, right_mm, bottom_mm: 0 });
        left_mm = opening.clear.right_mm();
    }
    rails.push(Rail { role: RailRole::SolePlate, left_mm, right_mm: length_mm, bottom_mm: 0 });
    let head_plate_mm = surface.height_mm() - timber_mm;
    rails.push(Rail { role: RailRole::HeadPlate, left_mm: 0, right_mm: length_mm, bottom_mm: head_plate_mm });
    for clear in surface.openings().iter().map(|opening| opening.clear) {
        let (left_mm, right_mm) = (clear.left_mm, clear.right_mm());
        // Where an opening reaches a plate, the plate is its head or sill.
        if clear.top_mm() + timber_mm <= head_plate_mm {
            rails.push(Rail { role: RailRole::Head, left_mm, right_mm, bottom_mm: clear.top_mm() });
        }
        if clear.bottom_mm >= 2 * timber_mm {
            rails.push(Rail {
                role: RailRole::Sill,
                left_mm,
                right_mm,
                bottom_mm: clear.bottom_mm - timber_mm,
            });
        }
    }
    rails.retain(|rail| rail.length_mm() > 0);
    rails
}
