//! Whether whole boards would land on the studs, and what to do where they don't.
//!
//! Setting out from one end and boarding from the other is the classic mistake: every edge is then off by
//! what the last bay comes short. This looks at uncut boards from the end where boarding begins, before
//! anybody cuts one.

use std::fmt;

use super::super::room::Surface;
use super::super::studwork::{End, Studwork};
use super::rows::joint_is_held;
use super::{Background, BoardRules, Hang};

/// A whole board's edge that no stud holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Miss {
    /// Where the edge would be, from the left end.
    pub edge_mm: i64,
    /// The centre of the nearest stud, from the left end.
    pub nearest_mm: i64,
}

impl Miss {
    /// How far the edge is off that centre.
    #[must_use]
    pub const fn off_mm(&self) -> i64 {
        (self.edge_mm - self.nearest_mm).abs()
    }
}

/// What to do where edges miss. Any one of them is enough.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Remedy {
    /// Begin at the other end: there every edge lands.
    BeginAt(End),
    /// Cut the first board to this width, so that its edge and all after it land.
    CutFirstTo(i64),
    /// Add studs with their centres here, from the left end.
    AddStudsAt(Vec<i64>),
}

impl fmt::Display for Remedy {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::BeginAt(end) => write!(f, "begin boarding at the {} end", end.word()),
            Self::CutFirstTo(width_mm) => write!(f, "cut the first board to {width_mm} mm"),
            Self::AddStudsAt(centres_mm) => {
                let places: Vec<String> = centres_mm.iter().map(|at| format!("{at} mm")).collect();
                write!(f, "add a stud at {}", places.join(", "))
            }
        }
    }
}

/// How whole boards meet the studs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Landing {
    /// The end from which the boards were counted.
    pub from: End,
    /// Edges that a stud holds, from the left end.
    pub landed_mm: Vec<i64>,
    /// Edges that none does.
    pub missed: Vec<Miss>,
    /// What to do; empty if none is missed.
    pub remedies: Vec<Remedy>,
}

/// Looks at the edges of whole boards along a framed surface.
#[must_use]
pub fn look(surface: &Surface, studwork: &Studwork, rules: BoardRules) -> Landing {
    let (landed_mm, missed) = edges(surface, studwork, rules, 0);
    let mut remedies = Vec::new();
    if !missed.is_empty() {
        let turned = BoardRules { from: rules.from.other(), ..rules };
        if edges(surface, studwork, turned, 0).1.is_empty() {
            remedies.push(Remedy::BeginAt(turned.from));
        }
        let longest_mm = along_mm(rules);
        let mut first_widths: Vec<i64> = studwork
            .uprights
            .iter()
            .map(|upright| match rules.from {
                End::Left => upright.centre_mm(),
                End::Right => surface.length_mm() - upright.centre_mm(),
            })
            .filter(|first_mm| (rules.narrowest_mm..longest_mm).contains(first_mm))
            .collect();
        first_widths.sort_unstable();
        let lands = |first_mm: &&i64| edges(surface, studwork, rules, longest_mm - **first_mm).1.is_empty();
        if let Some(first_mm) = first_widths.iter().rev().find(lands) {
            remedies.push(Remedy::CutFirstTo(*first_mm));
        }
        remedies.push(Remedy::AddStudsAt(missed.iter().map(|miss| miss.edge_mm).collect()));
    }
    Landing { from: rules.from, landed_mm, missed, remedies }
}

const fn along_mm(rules: BoardRules) -> i64 {
    match rules.hang {
        Hang::Standing => rules.board.width_mm(),
        Hang::Lying => rules.board.length_mm(),
    }
}

/// Where whole boards end if the first is shortened by so much, and which of those are held.
fn edges(
    surface: &Surface,
    studwork: &Studwork,
    rules: BoardRules,
    shortened_mm: i64,
) -> (Vec<i64>, Vec<Miss>) {
    let (mut landed, mut missed) = (Vec::new(), Vec::new());
    let mut from_start_mm = along_mm(rules) - shortened_mm;
    while from_start_mm < surface.length_mm() {
        let edge_mm = match rules.from {
            End::Left => from_start_mm,
            End::Right => surface.length_mm() - from_start_mm,
        };
        let whole_height = (0, surface.height_mm());
        if joint_is_held(surface, Background::Uprights(studwork), rules.edge_mm, edge_mm, whole_height) {
            landed.push(edge_mm);
        } else {
            let centres = studwork.uprights.iter().map(super::super::studwork::Upright::centre_mm);
            let nearest_mm = centres.min_by_key(|centre_mm| ((centre_mm - edge_mm).abs(), *centre_mm));
            missed.push(Miss { edge_mm, nearest_mm: nearest_mm.unwrap_or(0) });
        }
        from_start_mm += along_mm(rules);
    }
    (landed, missed)
}
