//! The shapes of a room: walls, ceilings and floors with their openings, and boxing-in.
//!
//! A [`Surface`] can only be made with measurements that fit each other, so whatever works on one never
//! meets an opening larger than its wall or a negative length.

use super::TakeoffError;
use super::length::check_length;

/// A rectangle on a surface, measured from the left end and the foot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Rectangle {
    /// From the left end to its left side.
    pub left_mm: i64,
    /// From the foot to its lower side.
    pub bottom_mm: i64,
    /// Along.
    pub width_mm: i64,
    /// Up.
    pub height_mm: i64,
}

impl Rectangle {
    /// From the left end to its right side.
    #[must_use]
    pub const fn right_mm(&self) -> i64 {
        self.left_mm + self.width_mm
    }

    /// From the foot to its upper side.
    #[must_use]
    pub const fn top_mm(&self) -> i64 {
        self.bottom_mm + self.height_mm
    }

    /// Width × height.
    #[must_use]
    pub const fn area_mm2(&self) -> i64 {
        self.width_mm * self.height_mm
    }

    /// Whether the two share more than an edge.
    #[must_use]
    pub const fn overlaps(&self, other: &Self) -> bool {
        self.left_mm < other.right_mm()
            && other.left_mm < self.right_mm()
            && self.bottom_mm < other.top_mm()
            && other.bottom_mm < self.top_mm()
    }

    /// Whether the point just right of and above (x, y) is in it.
    #[must_use]
    pub const fn holds(&self, x_mm: i64, y_mm: i64) -> bool {
        x_mm >= self.left_mm && x_mm < self.right_mm() && y_mm >= self.bottom_mm && y_mm < self.top_mm()
    }
}

/// A door, a window, a hatch: where there is no wall.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Opening {
    /// What it is.
    pub name: String,
    /// The clear structural opening.
    pub clear: Rectangle,
}

/// A wall, a ceiling or a floor: a rectangle with openings.
///
/// A wall is seen from the room, left to right and up from the floor. A ceiling or floor is seen on
/// plan; "up" is the direction in which its joists run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Surface {
    name: String,
    length_mm: i64,
    height_mm: i64,
    openings: Vec<Opening>,
}

impl Surface {
    /// Checks the measurements against each other. Openings are kept from left to right.
    ///
    /// # Errors
    /// [`TakeoffError::NoLength`], [`TakeoffError::OpeningOutside`], [`TakeoffError::OpeningsOverlap`].
    pub fn new(
        name: &str,
        length_mm: i64,
        height_mm: i64,
        mut openings: Vec<Opening>,
    ) -> Result<Self, TakeoffError> {
        check_length(&format!("{name}: length"), length_mm)?;
        check_length(&format!("{name}: height"), height_mm)?;
        for opening in &openings {
            check_opening(name, length_mm, height_mm, opening)?;
        }
        openings.sort_by_key(|opening| (opening.clear, opening.name.clone()));
        for (at, first) in openings.iter().enumerate() {
            let second = openings.iter().skip(at + 1).find(|second| second.clear.overlaps(&first.clear));
            if let Some(second) = second {
                return Err(TakeoffError::OpeningsOverlap {
                    wall: name.to_owned(),
                    first: first.name.clone(),
                    second: second.name.clone(),
                });
            }
        }
        Ok(Self { name: name.to_owned(), length_mm, height_mm, openings })
    }

    /// What it is called.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Along.
    #[must_use]
    pub const fn length_mm(&self) -> i64 {
        self.length_mm
    }

    /// Up, or across on plan.
    #[must_use]
    pub const fn height_mm(&self) -> i64 {
        self.height_mm
    }

    /// From left to right.
    #[must_use]
    pub fn openings(&self) -> &[Opening] {
        &self.openings
    }

    /// Length × height.
    #[must_use]
    pub const fn gross_mm2(&self) -> i64 {
        self.length_mm * self.height_mm
    }

    /// Without the openings.
    #[must_use]
    pub fn net_mm2(&self) -> i64 {
        self.gross_mm2() - self.openings.iter().map(|opening| opening.clear.area_mm2()).sum::<i64>()
    }

    /// Whether the point just right of and above (x, y) is in an opening.
    #[must_use]
    pub fn is_open(&self, x_mm: i64, y_mm: i64) -> bool {
        self.openings.iter().any(|opening| opening.clear.holds(x_mm, y_mm))
    }

    /// The same surface up to a height, as for tiles that stop below the ceiling.
    ///
    /// # Errors
    /// As [`Surface::new`]; a height above the surface's own is [`TakeoffError::OutOfRange`].
    pub fn up_to(&self, height_mm: i64) -> Result<Self, TakeoffError> {
        if height_mm > self.height_mm {
            return Err(TakeoffError::OutOfRange {
                what: format!("{}: height of the part", self.name),
                given: height_mm.to_string(),
                least: "1".to_owned(),
                most: self.height_mm.to_string(),
                unit: "mm".to_owned(),
            });
        }
        let part = |opening: &Opening| {
            let clear = opening.clear;
            let height_mm = clear.top_mm().min(height_mm) - clear.bottom_mm;
            let clear = Rectangle { height_mm, ..clear };
            (height_mm > 0).then(|| Opening { name: opening.name.clone(), clear })
        };
        let openings = self.openings.iter().filter_map(part).collect();
        Self::new(&self.name, self.length_mm, height_mm, openings)
    }
}

fn check_opening(wall: &str, length_mm: i64, height_mm: i64, opening: &Opening) -> Result<(), TakeoffError> {
    let what = |side: &str| format!("{wall}: {side} of the {}", opening.name);
    let clear = &opening.clear;
    check_length(&what("width"), clear.width_mm)?;
    check_length(&what("height"), clear.height_mm)?;
    // An opening may begin at the very end or foot; only further out is wrong.
    check_length(&what("left side"), clear.left_mm.max(-1).saturating_add(1))
        .and_then(|_| check_length(&what("foot"), clear.bottom_mm.max(-1).saturating_add(1)))
        .map_err(|_| TakeoffError::OutOfRange {
            what: what("place"),
            given: format!("{} along, {} up", clear.left_mm, clear.bottom_mm),
            least: "0".to_owned(),
            most: format!("{length_mm} along, {height_mm} up"),
            unit: "mm".to_owned(),
        })?;
    let outside = |direction, reaches_mm, ends_mm| TakeoffError::OpeningOutside {
        wall: wall.to_owned(),
        opening: opening.name.clone(),
        direction,
        reaches_mm,
        ends_mm,
    };
    if clear.right_mm() > length_mm {
        return Err(outside("along", clear.right_mm(), length_mm));
    }
    if clear.top_mm() > height_mm {
        return Err(outside("up", clear.top_mm(), height_mm));
    }
    Ok(())
}

/// Boards around a pipe or a beam: faces side by side along one length.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BoxingIn {
    name: String,
    length_mm: i64,
    faces_mm: Vec<i64>,
}

impl BoxingIn {
    /// Checks the measurements. Two faces box a corner, three a wall, one closes a recess.
    ///
    /// # Errors
    /// [`TakeoffError::NoLength`]; [`TakeoffError::OutOfRange`] for no face or more than three.
    pub fn new(name: &str, length_mm: i64, faces_mm: Vec<i64>) -> Result<Self, TakeoffError> {
        check_length(&format!("{name}: length"), length_mm)?;
        if !(1..=3).contains(&faces_mm.len()) {
            return Err(TakeoffError::OutOfRange {
                what: format!("{name}: faces"),
                given: faces_mm.len().to_string(),
                least: "1".to_owned(),
                most: "3".to_owned(),
                unit: "faces".to_owned(),
            });
        }
        for face_mm in &faces_mm {
            check_length(&format!("{name}: width of a face"), *face_mm)?;
        }
        Ok(Self { name: name.to_owned(), length_mm, faces_mm })
    }

    /// What it is called.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Along the pipe.
    #[must_use]
    pub const fn length_mm(&self) -> i64 {
        self.length_mm
    }

    /// The faces' widths, side by side.
    #[must_use]
    pub fn faces_mm(&self) -> &[i64] {
        &self.faces_mm
    }

    /// All faces.
    #[must_use]
    pub fn area_mm2(&self) -> i64 {
        self.length_mm * self.faces_mm.iter().sum::<i64>()
    }

    /// Battens: one at each outer edge and one in each corner between two faces.
    #[must_use]
    pub fn battens_mm(&self) -> i64 {
        self.length_mm * i64::try_from(self.faces_mm.len() + 1).unwrap_or(4)
    }

    /// External corners, each a bead.
    #[must_use]
    pub fn external_corners_mm(&self) -> i64 {
        self.length_mm * i64::try_from(self.faces_mm.len().saturating_sub(1)).unwrap_or(2)
    }
}
