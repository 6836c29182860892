//! Tiles: how they fall on a surface, cuts and waste, grout by the joint, movement joints, and the weight
//! that a background may carry.
//!
//! The load check compares with the usual limit of a kind of background. It certifies nothing: the maker
//! of board and adhesive has the last word.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::TakeoffError;
use super::exact::above_nought;
use super::length::check_length;
use super::room::Surface;

/// How tiles are laid.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub enum Pattern {
    /// Joint over joint.
    #[default]
    Straight,
    /// Each row half a tile on.
    Brick,
    /// Each row a third of a tile on.
    Third,
    /// At 45 degrees: counted by area and a stated waste.
    Diagonal,
}

/// A tile with its joint.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tile {
    along_mm: i64,
    up_mm: i64,
    thick_mm: i64,
    joint_mm: i64,
}

impl Tile {
    /// Along, up, thick and the joint beside it.
    ///
    /// # Errors
    /// [`TakeoffError::NoLength`]; [`TakeoffError::OutOfRange`] for sides below 10 mm or above 3 m, or a
    /// joint above 50 mm.
    pub fn new(along_mm: i64, up_mm: i64, thick_mm: i64, joint_mm: i64) -> Result<Self, TakeoffError> {
        check_length("thickness of a tile", thick_mm)?;
        for (what, given_mm, least_mm, most_mm) in [
            ("side of a tile", along_mm, 10, 3_000),
            ("side of a tile", up_mm, 10, 3_000),
            ("thickness of a tile", thick_mm, 1, 100),
            ("joint between tiles", joint_mm, 0, 50),
        ] {
            if !(least_mm..=most_mm).contains(&given_mm) {
                return Err(TakeoffError::OutOfRange {
                    what: what.to_owned(),
                    given: given_mm.to_string(),
                    least: least_mm.to_string(),
                    most: most_mm.to_string(),
                    unit: "mm".to_owned(),
                });
            }
        }
        Ok(Self { along_mm, up_mm, thick_mm, joint_mm })
    }

    /// Along × up.
    #[must_use]
    pub const fn area_mm2(self) -> i64 {
        self.along_mm * self.up_mm
    }

    /// The sides.
    #[must_use]
    pub const fn sides_mm(self) -> (i64, i64) {
        (self.along_mm, self.up_mm)
    }

    /// The joint.
    #[must_use]
    pub const fn joint_mm(self) -> i64 {
        self.joint_mm
    }

    /// The narrowest joint that fits its size, or `None` beyond the sizes that the rule is for.
    ///
    /// BS 5385-1:2018 as makers' data sheets give it (seen): 2 mm below 0.1 m², sides to 600 mm; 3 mm for
    /// 0.1 to 1 m², sides to 1200 mm.
    #[must_use]
    pub const fn least_joint_mm(self) -> Option<i64> {
        let longest_mm = if self.along_mm > self.up_mm { self.along_mm } else { self.up_mm };
        match (self.area_mm2(), longest_mm) {
            (..100_000, ..=600) => Some(2),
            (..=1_000_000, ..=1_200) => Some(3),
            _ => None,
        }
    }

    /// Kilograms of grout for a square metre: (L + W) ÷ (L × W) × joint × depth × density, in millimetres.
    #[must_use]
    pub fn grout_kg_per_m2(self, density: Decimal) -> Decimal {
        let joints = (self.along_mm + self.up_mm) * self.joint_mm * self.thick_mm;
        Decimal::from(joints).saturating_mul(density) / Decimal::from(self.area_mm2())
    }
}

/// How tiles fall on a surface.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct TileCount {
    /// Laid whole.
    pub whole: i64,
    /// Cut pieces that are laid.
    pub cut: i64,
    /// Tiles to take, with two cuts out of one tile where both fit.
    pub tiles: i64,
}

/// Counts the tiles of a surface, piece by piece.
///
/// Rows begin at the foot. Along, the tiles are centred, on a tile or on a joint, whichever leaves the wider
/// cuts at the ends. A piece out of which an opening takes a corner is a tile of its own. [`Pattern::Diagonal`]
/// is by area alone: the tiles that cover it, none of them cut.
///
/// # Errors
/// [`TakeoffError::OutOfRange`] if there would be more than a million tiles.
pub fn count(surface: &Surface, tile: Tile, pattern: Pattern) -> Result<TileCount, TakeoffError> {
    let (pitch_mm, rise_mm) = (tile.along_mm + tile.joint_mm, tile.up_mm + tile.joint_mm);
    let (columns, rows) = (surface.length_mm() / pitch_mm + 2, surface.height_mm() / rise_mm + 1);
    if columns * rows > 1_000_000 {
        return Err(TakeoffError::OutOfRange {
            what: format!("{}: tiles", surface.name()),
            given: (columns * rows).to_string(),
            least: "1".to_owned(),
            most: "1000000".to_owned(),
            unit: "tiles".to_owned(),
        });
    }
    if pattern == Pattern::Diagonal {
        let tiles = (surface.net_mm2() + pitch_mm * rise_mm - 1) / (pitch_mm * rise_mm);
        return Ok(TileCount { whole: tiles, cut: 0, tiles });
    }
    let start_mm = centred_start(surface.length_mm(), tile.along_mm, tile.joint_mm);
    let mut whole = 0;
    let mut cuts: BTreeMap<(i64, i64), i64> = BTreeMap::new();
    for row in 0..rows {
        let bottom_mm = row * rise_mm;
        let top_mm = (bottom_mm + tile.up_mm).min(surface.height_mm());
        let shift_mm = match pattern {
            Pattern::Straight | Pattern::Diagonal => 0,
            Pattern::Brick => pitch_mm * (row % 2) / 2,
            Pattern::Third => pitch_mm * (row % 3) / 3,
        };
        let mut left_mm = start_mm - shift_mm;
        while left_mm < surface.length_mm() {
            let (from_mm, to_mm) = (left_mm.max(0), (left_mm + tile.along_mm).min(surface.length_mm()));
            left_mm += pitch_mm;
            // What is no wider than a joint is the joint at the wall's end.
            if to_mm - from_mm <= tile.joint_mm || top_mm - bottom_mm <= tile.joint_mm {
                continue;
            }
            match seen_part(surface, (from_mm, to_mm), (bottom_mm, top_mm)) {
                Part::None => {}
                Part::Cornered => *cuts.entry((tile.along_mm, tile.up_mm)).or_default() += 1,
                Part::Clear(along_mm, up_mm) if (along_mm, up_mm) == (tile.along_mm, tile.up_mm) => {
                    whole += 1
                }
                Part::Clear(along_mm, up_mm) => *cuts.entry((along_mm, up_mm)).or_default() += 1,
            }
        }
    }
    let cut = cuts.values().sum();
    Ok(TileCount { whole, cut, tiles: whole + tiles_for_cuts(cuts, tile) })
}

/// Where the first tile begins, at a joint's width from the end or before it, so that both ends have the same cut, and the wider one of the
/// two ways to centre.
fn centred_start(length_mm: i64, along_mm: i64, joint_mm: i64) -> i64 {
    let pitch_mm = along_mm + joint_mm;
    // `begins_mm` is where a tile near the middle begins; the first one that is seen is so many before it.
    let begin = |begins_mm: i64| {
        let start_mm = begins_mm.rem_euclid(pitch_mm) - pitch_mm;
        let seen_mm = start_mm + along_mm;
        if seen_mm <= joint_mm { start_mm + pitch_mm } else { start_mm }
    };
    let on_joint = begin((length_mm + joint_mm) / 2);
    let on_tile = begin((length_mm - along_mm) / 2);
    let first_mm = |start_mm: i64| start_mm.min(0) + along_mm;
    if first_mm(on_joint) >= first_mm(on_tile) { on_joint } else { on_tile }
}

enum Part {
    /// Nothing of the tile is seen.
    None,
    /// A rectangle of it is.
    Clear(i64, i64),
    /// An opening takes a corner or a hole out of it.
    Cornered,
}

/// What of a tile's place lies beside openings.
fn seen_part(surface: &Surface, (mut left, mut right): (i64, i64), (mut low, mut high): (i64, i64)) -> Part {
    for clear in surface.openings().iter().map(|opening| opening.clear) {
        if !(clear.left_mm < right
            && left < clear.right_mm()
            && clear.bottom_mm < high
            && low < clear.top_mm())
        {
            continue;
        }
        let full_height = clear.bottom_mm <= low && high <= clear.top_mm();
        let full_width = clear.left_mm <= left && right <= clear.right_mm();
        match (full_height, full_width) {
            (true, true) => return Part::None,
            (true, false) if clear.left_mm <= left => left = clear.right_mm(),
            (true, false) if right <= clear.right_mm() => right = clear.left_mm,
            (false, true) if clear.bottom_mm <= low => low = clear.top_mm(),
            (false, true) if high <= clear.top_mm() => high = clear.bottom_mm,
            (true | false, true | false) => return Part::Cornered,
        }
    }
    Part::Clear(right - left, high - low)
}

/// Tiles that give all cuts: of two that fit together in one tile, along or up, both come from one.
fn tiles_for_cuts(mut cuts: BTreeMap<(i64, i64), i64>, tile: Tile) -> i64 {
    // A cutting disc takes two millimetres between two pieces.
    const SAW_MM: i64 = 2;
    let fits = |one: (i64, i64), other: (i64, i64)| {
        one.0 + other.0 + SAW_MM <= tile.along_mm || one.1 + other.1 + SAW_MM <= tile.up_mm
    };
    let mut tiles = 0;
    while let Some((largest, count)) = cuts.pop_last() {
        if count > 1 {
            cuts.insert(largest, count - 1);
        }
        tiles += 1;
        // The largest of the others that fits beside it.
        let partner = cuts.keys().rev().find(|other| fits(largest, **other)).copied();
        if let Some(partner) = partner {
            match cuts.remove(&partner) {
                Some(count) if count > 1 => {
                    cuts.insert(partner, count - 1);
                }
                Some(_) | None => {}
            }
        }
    }
    tiles
}

/// How many movement joints a straight run of tiles needs, corners apart.
///
/// One between each two parts that are no longer than `every_mm`: a wall of 4.6 m with one each 4.5 m needs
/// one (tiles.org.uk Tiling Guide p. 14, seen).
#[must_use]
pub const fn movement_joints(length_mm: i64, every_mm: i64) -> i64 {
    if length_mm < 1 || every_mm < 1 { 0 } else { (length_mm + every_mm - 1) / every_mm - 1 }
}

/// What tiles are fixed to.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum TiledBackground {
    /// Plaster on masonry.
    Plaster,
    /// Plasterboard without skim.
    Plasterboard,
    /// Plasterboard with skim.
    SkimmedPlasterboard,
    /// Gypsum fibre board.
    GypsumFibre,
    /// Glass-reinforced cement board.
    CementBoard,
    /// Foam tile backer.
    FoamBacker,
}

impl TiledBackground {
    /// All of them.
    pub const ALL: [Self; 6] = [
        Self::Plaster,
        Self::Plasterboard,
        Self::SkimmedPlasterboard,
        Self::GypsumFibre,
        Self::CementBoard,
        Self::FoamBacker,
    ];

    /// Its name, as it is said and read.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Plaster => "plaster",
            Self::Plasterboard => "plasterboard",
            Self::SkimmedPlasterboard => "skimmed plasterboard",
            Self::GypsumFibre => "gypsum fibre board",
            Self::CementBoard => "cement board",
            Self::FoamBacker => "foam backer",
        }
    }

    /// Kilograms a square metre that it usually carries, adhesive and grout in it (makers' data sheets, seen).
    #[must_use]
    pub const fn limit_kg_per_m2(self) -> u32 {
        match self {
            Self::Plaster | Self::SkimmedPlasterboard => 20,
            Self::Plasterboard => 32,
            Self::GypsumFibre => 40,
            Self::CementBoard => 50,
            Self::FoamBacker => 60,
        }
    }
}

/// Tile, adhesive and grout against what the background usually carries.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct LoadCheck {
    /// What it comes to, in kg/m².
    pub load_kg_per_m2: Decimal,
    /// What it usually may be.
    pub limit_kg_per_m2: Decimal,
}

impl LoadCheck {
    /// Whether the load keeps to the limit; on it is within.
    #[must_use]
    pub fn is_within(&self) -> bool {
        self.load_kg_per_m2 <= self.limit_kg_per_m2
    }
}

/// Adds up a load.
///
/// # Errors
/// [`TakeoffError::OutOfRange`] for a tile or an allowance that weighs nothing.
pub fn load(
    background: TiledBackground,
    tile_kg_per_m2: Decimal,
    allowance_kg_per_m2: Decimal,
) -> Result<LoadCheck, TakeoffError> {
    above_nought("weight of the tiles", tile_kg_per_m2, "kg/m2")?;
    above_nought("adhesive and grout", allowance_kg_per_m2, "kg/m2")?;
    Ok(LoadCheck {
        load_kg_per_m2: tile_kg_per_m2.saturating_add(allowance_kg_per_m2),
        limit_kg_per_m2: Decimal::from(background.limit_kg_per_m2()),
    })
}
