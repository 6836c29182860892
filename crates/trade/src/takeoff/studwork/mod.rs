//! Setting out studs, joists and battens: where each upright stands, what runs between them, and which
//! bays come short.
//!
//! The tape is pulled from one end. The first upright stands flush with that end, every further one has
//! its *centre* at a multiple of the centres, and the last stands flush with the far end. Beside an
//! opening two uprights stand together, over and under it short ones keep the centres, so that boards
//! find them. Whether a wall carries load is not asked here: lintels are for whoever designs it.

mod setting_out;

use self::setting_out::{add_ends, add_regular, beside_openings, full_height, plates_and_heads};
use super::TakeoffError;
use super::room::Surface;

/// The end from which something is set out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Default)]
pub enum End {
    /// The left end, seen from the room.
    #[default]
    Left,
    /// The right end.
    Right,
}

impl End {
    /// The other one.
    #[must_use]
    pub const fn other(self) -> Self {
        match self {
            Self::Left => Self::Right,
            Self::Right => Self::Left,
        }
    }

    /// As it is said.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Left => "left",
            Self::Right => "right",
        }
    }
}

/// The least and most centres that are set out.
pub const CENTRES_MM: std::ops::RangeInclusive<i64> = 100..=1_200;

/// How a frame is set out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Frame {
    /// From centre to centre.
    pub centres_mm: i64,
    /// The face of each upright and the thickness of each plate.
    pub timber_mm: i64,
    /// The end from which the tape is pulled.
    pub from: End,
}

/// Why an upright stands where it does.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum UprightRole {
    /// Flush with an end of the wall.
    End,
    /// At a multiple of the centres.
    Regular,
    /// Beside an opening, next to it.
    OpeningInner,
    /// Beside an opening, the second one.
    OpeningOuter,
    /// At a multiple of the centres, over or under an opening.
    Short,
    /// Added where a board edge needs it.
    Added,
}

/// An upright: a stud, a joist, a batten.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Upright {
    /// Its left side.
    pub left_mm: i64,
    /// Its face.
    pub width_mm: i64,
    /// Its foot.
    pub bottom_mm: i64,
    /// Its head.
    pub top_mm: i64,
    /// Why it is there.
    pub role: UprightRole,
}

impl Upright {
    /// Its right side.
    #[must_use]
    pub const fn right_mm(&self) -> i64 {
        self.left_mm + self.width_mm
    }

    /// Its centre; of an odd width, the millimetre left of it.
    #[must_use]
    pub const fn centre_mm(&self) -> i64 {
        self.left_mm + self.width_mm / 2
    }

    /// How long it is cut.
    #[must_use]
    pub const fn length_mm(&self) -> i64 {
        self.top_mm - self.bottom_mm
    }
}

/// What runs level between or along uprights.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum RailRole {
    /// On the floor, cut out at doors.
    SolePlate,
    /// Under the ceiling.
    HeadPlate,
    /// Over an opening.
    Head,
    /// Under an opening.
    Sill,
    /// Between two uprights.
    Noggin,
}

/// A level timber.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Rail {
    /// Why it is there.
    pub role: RailRole,
    /// Its left end.
    pub left_mm: i64,
    /// Its right end.
    pub right_mm: i64,
    /// Its lower side.
    pub bottom_mm: i64,
}

impl Rail {
    /// How long it is cut.
    #[must_use]
    pub const fn length_mm(&self) -> i64 {
        self.right_mm - self.left_mm
    }
}

/// The space between two neighbouring uprights.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Bay {
    /// The centre of the one on the left.
    pub from_mm: i64,
    /// The centre of the one on the right.
    pub to_mm: i64,
    /// Between their faces: what insulation and noggins are cut to.
    pub clear_mm: i64,
}

impl Bay {
    /// From centre to centre.
    #[must_use]
    pub const fn centres_mm(&self) -> i64 {
        self.to_mm - self.from_mm
    }
}

/// A frame that was set out.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Studwork {
    /// How.
    pub frame: Frame,
    /// From left to right.
    pub uprights: Vec<Upright>,
    /// Plates, heads, sills, then noggins from the foot up.
    pub rails: Vec<Rail>,
}

/// How many studs a straight wall has: one at each multiple of the centres from one end, and the last.
///
/// ⌈length ÷ centres⌉ + 1, in whole millimetres, so that no wall gains a stud from a rounding.
///
/// # Errors
/// [`TakeoffError::NoLength`] and [`TakeoffError::Centres`].
pub fn studs_in_straight_wall(length_mm: i64, centres_mm: i64) -> Result<i64, TakeoffError> {
    let length_mm = super::length::check_length("wall", length_mm)?;
    check_centres("studs", centres_mm)?;
    Ok((length_mm + centres_mm - 1) / centres_mm + 1)
}

fn check_centres(what: &str, centres_mm: i64) -> Result<(), TakeoffError> {
    if CENTRES_MM.contains(&centres_mm) {
        return Ok(());
    }
    let (least_mm, most_mm) = (*CENTRES_MM.start(), *CENTRES_MM.end());
    Err(TakeoffError::Centres { what: what.to_owned(), given_mm: centres_mm, least_mm, most_mm })
}

impl Studwork {
    /// Sets out the uprights, plates, heads and sills of a surface. Noggins come with
    /// [`Studwork::add_noggins`], once it is known where boards end.
    ///
    /// # Errors
    /// [`TakeoffError::Centres`], [`TakeoffError::TooShortForFrame`], [`TakeoffError::NoRoomForStuds`].
    pub fn set_out(surface: &Surface, frame: Frame) -> Result<Self, TakeoffError> {
        let timber_mm = frame.timber_mm;
        check_centres(&format!("{}: studs", surface.name()), frame.centres_mm)?;
        if !(20..=150).contains(&timber_mm) || frame.centres_mm <= timber_mm {
            return Err(TakeoffError::TooShortForFrame {
                what: format!("{}: centres of {} mm", surface.name(), frame.centres_mm),
                given_mm: timber_mm,
                timber_mm,
            });
        }
        for (side, given_mm) in [("length", surface.length_mm()), ("height", surface.height_mm())] {
            if given_mm < 3 * timber_mm {
                let what = format!("{}: {side}", surface.name());
                return Err(TakeoffError::TooShortForFrame { what, given_mm, timber_mm });
            }
        }
        let mut uprights = beside_openings(surface, timber_mm)?;
        add_ends(surface, timber_mm, &mut uprights);
        add_regular(surface, frame, &mut uprights);
        uprights.sort_unstable();
        let rails = plates_and_heads(surface, timber_mm);
        Ok(Self { frame, uprights, rails })
    }

    /// Adds an upright with its centre at `centre_mm`, or as near to it as the wall goes.
    pub fn add_upright(&mut self, surface: &Surface, centre_mm: i64) {
        let timber_mm = self.frame.timber_mm;
        let left_mm = (centre_mm - timber_mm / 2).clamp(0, surface.length_mm() - timber_mm);
        self.uprights.push(full_height(surface, left_mm, timber_mm, UprightRole::Added));
        self.uprights.sort_unstable();
    }

    /// The spaces between neighbouring uprights at full height, from left to right. Uprights that stand
    /// together have none between them.
    #[must_use]
    pub fn bays(&self) -> Vec<Bay> {
        let full: Vec<&Upright> =
            self.uprights.iter().filter(|upright| upright.role != UprightRole::Short).collect();
        let pairs = full.iter().zip(full.iter().skip(1));
        let bays = pairs.map(|(left, right)| Bay {
            from_mm: left.centre_mm(),
            to_mm: right.centre_mm(),
            clear_mm: right.left_mm - left.right_mm(),
        });
        bays.filter(|bay| bay.clear_mm > 0).collect()
    }

    /// The bays that come short of the full width between two uprights at the centres, openings apart.
    /// The first and last bay measure from the outside of the end stud, so they are never full.
    #[must_use]
    pub fn short_bays(&self, surface: &Surface) -> Vec<Bay> {
        let full_mm = self.frame.centres_mm - self.frame.timber_mm;
        let is_opening = |bay: &Bay| {
            let clear = surface.openings().iter().map(|opening| opening.clear);
            clear.into_iter().any(|clear| {
                clear.left_mm <= bay.from_mm + self.frame.timber_mm
                    && clear.right_mm() >= bay.to_mm - self.frame.timber_mm
            })
        };
        // The bay at the end from which the tape is pulled is half an upright narrower by rule.
        let first_mm = full_mm - self.frame.timber_mm / 2;
        let length_mm = surface.length_mm();
        self.bays()
            .into_iter()
            .filter(|bay| !is_opening(bay))
            .filter(|bay| {
                let at_start = match self.frame.from {
                    End::Left => bay.from_mm < self.frame.timber_mm,
                    End::Right => bay.to_mm > length_mm - self.frame.timber_mm,
                };
                bay.clear_mm < if at_start { first_mm } else { full_mm }
            })
            .collect()
    }

    /// Whether there is timber from `left_mm` to `right_mm` all the way from `bottom_mm` to `top_mm`.
    ///
    /// What stands within two timbers of the lower or upper end counts, since a plate, head or sill is there.
    #[must_use]
    pub fn holds(&self, (left_mm, right_mm): (i64, i64), (bottom_mm, top_mm): (i64, i64)) -> bool {
        let reach_mm = 2 * self.frame.timber_mm;
        if top_mm - bottom_mm <= 2 * reach_mm {
            return true;
        }
        let mut held_to_mm = left_mm;
        for upright in &self.uprights {
            let tall = upright.bottom_mm <= bottom_mm + reach_mm && upright.top_mm >= top_mm - reach_mm;
            if tall && upright.left_mm <= held_to_mm {
                held_to_mm = held_to_mm.max(upright.right_mm());
            }
        }
        held_to_mm >= right_mm
    }

    /// Adds rows of noggins with their centres at these heights, between uprights that are nearer than
    /// an opening, and leaves out what would stand in one.
    pub fn add_noggins(&mut self, surface: &Surface, heights_mm: &[i64]) {
        let timber_mm = self.frame.timber_mm;
        let mut heights_mm = heights_mm.to_vec();
        heights_mm.sort_unstable();
        heights_mm.dedup();
        for height_mm in heights_mm {
            let bottom_mm = (height_mm - timber_mm / 2).clamp(timber_mm, surface.height_mm() - 2 * timber_mm);
            let at_height = |upright: &&Upright| {
                upright.bottom_mm <= bottom_mm && upright.top_mm >= bottom_mm + timber_mm
            };
            let standing: Vec<&Upright> = self.uprights.iter().filter(at_height).collect();
            let noggins: Vec<Rail> = standing
                .iter()
                .zip(standing.iter().skip(1))
                .map(|(left, right)| (left.right_mm(), right.left_mm))
                .filter(|(left_mm, right_mm)| left_mm < right_mm)
                .filter(|(left_mm, _)| {
                    !surface.is_open(*left_mm, bottom_mm)
                        && !surface.is_open(*left_mm, bottom_mm + timber_mm - 1)
                })
                .map(|(left_mm, right_mm)| Rail { role: RailRole::Noggin, left_mm, right_mm, bottom_mm })
                .collect();
            self.rails.extend(noggins);
        }
    }

    /// Heights at which rows of noggins divide the wall so that no part is higher than `spacing_mm`.
    #[must_use]
    pub fn noggin_heights(surface: &Surface, spacing_mm: i64) -> Vec<i64> {
        let parts = (surface.height_mm() + spacing_mm.max(1) - 1) / spacing_mm.max(1);
        (1..parts).map(|part| surface.height_mm() * part / parts).collect()
    }

    /// Every timber's length, longest first. Plates longer than `stock_mm` are taken in parts.
    #[must_use]
    pub fn timber_lengths(&self, stock_mm: i64) -> Vec<i64> {
        let mut lengths: Vec<i64> = self.uprights.iter().map(Upright::length_mm).collect();
        for rail in &self.rails {
            let mut left_mm = rail.length_mm();
            while left_mm > stock_mm.max(1) {
                lengths.push(stock_mm.max(1));
                left_mm -= stock_mm.max(1);
            }
            lengths.push(left_mm);
        }
        lengths.retain(|length_mm| *length_mm > 0);
        lengths.sort_unstable_by(|one, other| other.cmp(one));
        lengths
    }
}

/// How many lengths of `stock_mm` give all these pieces, longest first into the first that has room.
///
/// # Errors
/// [`TakeoffError::LargerThanStock`] for a piece longer than the stock.
pub fn lengths_to_buy(what: &str, pieces_mm: &[i64], stock_mm: i64) -> Result<i64, TakeoffError> {
    let mut left_over: Vec<i64> = Vec::new();
    for piece_mm in pieces_mm {
        if *piece_mm > stock_mm {
            return Err(TakeoffError::LargerThanStock {
                what: what.to_owned(),
                along_mm: *piece_mm,
                across_mm: 0,
                stock: format!("a {stock_mm} mm length"),
            });
        }
        match left_over.iter_mut().find(|rest| **rest >= *piece_mm) {
            Some(rest) => *rest -= piece_mm,
            None => left_over.push(stock_mm - piece_mm),
        }
    }
    Ok(i64::try_from(left_over.len()).unwrap_or(i64::MAX))
}
