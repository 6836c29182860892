//! What can be wrong with measurements, in words that name the thing and say what to do.

use crate::number::NumberError;

/// Why a measurement can't be worked with.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum TakeoffError {
    /// A length of nought, below nought, or longer than any room.
    #[error("{what}: {given_mm} mm is no length; give whole millimetres from 1 to {most_mm}")]
    NoLength {
        /// What was measured.
        what: String,
        /// The length that was given.
        given_mm: i64,
        /// The longest that is taken.
        most_mm: i64,
    },
    /// A text that is no length.
    #[error("{said:?} is no length; write it like 2400, 2400mm, 240cm or 2.4m")]
    NotALength {
        /// The text.
        said: String,
    },
    /// A unit that lengths aren't measured in here.
    #[error("{unit:?} in {said:?} is not a unit of length; say mm, cm or m")]
    UnknownUnit {
        /// The text.
        said: String,
        /// The unit in it.
        unit: String,
    },
    /// A length that is no whole number of millimetres.
    #[error("{said:?} is not a whole number of millimetres; measure to the millimetre")]
    NotWholeMillimetres {
        /// The text.
        said: String,
    },
    /// An opening that reaches beyond its wall.
    #[error(
        "{wall}: the {opening} reaches {reaches_mm} mm {direction}, and the wall ends at {ends_mm} mm; \
         measure the opening or where it begins again"
    )]
    OpeningOutside {
        /// The wall.
        wall: String,
        /// The opening.
        opening: String,
        /// Along or up.
        direction: &'static str,
        /// How far the opening reaches from the wall's left end or foot.
        reaches_mm: i64,
        /// How far the wall goes.
        ends_mm: i64,
    },
    /// Two openings in the same place.
    #[error("{wall}: the {first} and the {second} overlap; measure where each begins")]
    OpeningsOverlap {
        /// The wall.
        wall: String,
        /// One.
        first: String,
        /// The other.
        second: String,
    },
    /// Studs, joists or screws at centres that no wall is built with.
    #[error("{what}: {given_mm} mm centres can't be set out; give from {least_mm} to {most_mm} mm")]
    Centres {
        /// What stands at the centres.
        what: String,
        /// What was given.
        given_mm: i64,
        /// The least that is taken.
        least_mm: i64,
        /// The most that is taken.
        most_mm: i64,
    },
    /// A wall or ceiling too small for its frame.
    #[error("{what}: {given_mm} mm is too short for a frame of {timber_mm} mm timber")]
    TooShortForFrame {
        /// The wall.
        what: String,
        /// Its length or height.
        given_mm: i64,
        /// The thickness of the timber.
        timber_mm: i64,
    },
    /// Openings so close together, or so close to an end, that their studs don't fit between.
    #[error(
        "{wall}: the studs beside the {opening} don't fit; leave {needed_mm} mm of wall beside it, or \
         measure both as one opening"
    )]
    NoRoomForStuds {
        /// The wall.
        wall: String,
        /// The opening.
        opening: String,
        /// What two studs take.
        needed_mm: i64,
    },
    /// A board edge has nothing to be fixed to.
    #[error(
        "{surface}: beyond {from_mm} mm there is nothing to fix the next board's edge to; add a stud by \
         {by_mm} mm"
    )]
    NothingToFixTo {
        /// The wall or ceiling.
        surface: String,
        /// Where the last board ends.
        from_mm: i64,
        /// Where a stud is needed at the latest.
        by_mm: i64,
    },
    /// A piece that is bigger than what it is cut from.
    #[error("{what}: a piece of {along_mm} x {across_mm} mm can't be cut from {stock}")]
    LargerThanStock {
        /// What is cut.
        what: String,
        /// Its length.
        along_mm: i64,
        /// Its width.
        across_mm: i64,
        /// What it would be cut from.
        stock: String,
    },
    /// A number outside what makes sense for it.
    #[error("{what}: {given} is not possible; give from {least} to {most} {unit}")]
    OutOfRange {
        /// What the number is.
        what: String,
        /// The number.
        given: String,
        /// The least that is taken.
        least: String,
        /// The most that is taken.
        most: String,
        /// The unit of all three.
        unit: String,
    },
    /// A setting that there isn't.
    #[error("there is no setting {said:?}; {nearest}")]
    UnknownSetting {
        /// The name that was given.
        said: String,
        /// What was perhaps meant.
        nearest: String,
    },
    /// A result with too many digits to keep.
    #[error("{what}: {reason}")]
    Number {
        /// What was worked out.
        what: String,
        /// Why it can't be kept.
        reason: NumberError,
    },
    /// A line of a measured room that can't be read.
    #[error("line {line}: {reason}")]
    BadLine {
        /// The line, from 1.
        line: usize,
        /// What is wrong and what to do.
        reason: String,
    },
}
