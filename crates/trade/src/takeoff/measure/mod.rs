//! From a measured room to what it takes: lines of material, hours by output rates, notes, and the frames
//! and boards of each face for drawing.

mod dry;
mod runs;
mod wet;

use rust_decimal::Decimal;

use self::dry::Dry;
pub use self::dry::{CutPiece, CuttingList, FramedFace};
use super::defaults::{Setting, Settings};
use super::exact::quotient;
use super::length::square_metres;
use super::plan::{Face, Room};
use super::{Line, TakeoffError};
use crate::number::{Quantity, half_up};

/// Working time that a work takes by its output rate.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Hours {
    /// The work.
    pub work: String,
    /// Minutes of one person, exactly.
    pub minutes: Decimal,
    /// Hours of one person, to the quarter of an hour, rounded up.
    pub hours: Quantity,
    /// How they were worked out.
    pub working: String,
}

/// Something to know before starting, in one sentence.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Note {
    /// The work or the place that it is about.
    pub about: String,
    /// What it says.
    pub says: String,
    /// Whether something is to be done about it.
    pub to_mind: bool,
}

/// What a room takes.
#[derive(Debug, Clone)]
pub struct Measured {
    /// Material, in the order of the work.
    pub lines: Vec<Line>,
    /// Working time, in the order of the work.
    pub hours: Vec<Hours>,
    /// What to know.
    pub notes: Vec<Note>,
    /// What is cut from which board.
    pub cuttings: Vec<CuttingList>,
    /// Faces with a frame or boards, to draw.
    pub framed: Vec<FramedFace>,
}

/// Measures a room up.
///
/// # Errors
/// Whatever of the room can't be built as it was said; the error names the thing.
pub fn measure(room: &Room, settings: &Settings) -> Result<Measured, TakeoffError> {
    let (lines, hours, notes, cuttings) = (Vec::new(), Vec::new(), Vec::new(), Vec::new());
    let mut sheet = Sheet { room, settings, lines, hours, notes, cuttings };
    let framed = Dry::lay_out(&mut sheet)?;
    runs::pipes(&mut sheet)?;
    runs::cables(&mut sheet)?;
    runs::cylinders(&mut sheet)?;
    framed.boards(&mut sheet)?;
    wet::plaster(&mut sheet)?;
    wet::tanking(&mut sheet)?;
    wet::tiles(&mut sheet)?;
    wet::paint(&mut sheet)?;
    let Sheet { lines, hours, notes, cuttings, .. } = sheet;
    Ok(Measured { lines, hours, notes, cuttings, framed: framed.faces })
}

/// A take-off in the making.
struct Sheet<'a> {
    room: &'a Room,
    settings: &'a Settings,
    lines: Vec<Line>,
    hours: Vec<Hours>,
    notes: Vec<Note>,
    cuttings: Vec<CuttingList>,
}

impl<'a> Sheet<'a> {
    fn value(&self, setting: Setting) -> Decimal {
        self.settings.value(setting)
    }

    /// Adds a line with the waste of a setting on top of what hangs in the end.
    fn line_with_waste(
        &mut self,
        (work, what, unit): (&str, &str, &str),
        net: Decimal,
        waste: Setting,
        pack: (&str, Decimal),
        working: &str,
    ) -> Result<(), TakeoffError> {
        if net.is_zero() {
            return Ok(());
        }
        let percent = self.value(waste);
        let with_waste = super::line::with_waste(net, percent);
        // Nobody buys part of a screw.
        let exact = if unit == "each" { with_waste.ceil() } else { with_waste };
        let share = super::line::share_percent(exact.saturating_sub(net), exact);
        let on_top =
            if percent.is_zero() { String::new() } else { format!(", and {} % on top", percent.normalize()) };
        let what = self.room.item(what);
        let stage = self.room.stage(work);
        self.lines.push(Line::new((stage, what, unit), exact, pack, share, format!("{working}{on_top}"))?);
        Ok(())
    }

    /// Adds hours: so many units at so many minutes each.
    fn hours(&mut self, work: &str, amount: Decimal, unit: &str, rate: Setting) -> Result<(), TakeoffError> {
        if amount.is_zero() {
            return Ok(());
        }
        let stage = self.room.stage(work).to_owned();
        let working = format!("{} {unit} at {}", tidy(amount), self.settings.said(rate));
        let own =
            Hours { work: stage, minutes: Decimal::ZERO, hours: Quantity::ZERO, working: String::new() };
        let before = self.hours.iter().position(|hours| hours.work == own.work);
        let mut hours = before.map_or(own, |at| self.hours.remove(at));
        hours.minutes = hours.minutes.saturating_add(amount.saturating_mul(self.value(rate)));
        let what = format!("hours of {work}");
        let quarters = super::whole_packs(&what, hours.minutes, Decimal::from(15))?;
        hours.hours = Quantity::new(Decimal::from(quarters).saturating_mul(Decimal::new(25, 2)).normalize())
            .map_err(|reason| TakeoffError::Number { what, reason })?;
        hours.working =
            if hours.working.is_empty() { working } else { format!("{}; {working}", hours.working) };
        self.hours.push(hours);
        Ok(())
    }

    fn note(&mut self, about: &str, says: String) {
        self.notes.push(Note { about: about.to_owned(), says, to_mind: false });
    }

    fn mind(&mut self, about: &str, says: String) {
        self.notes.push(Note { about: about.to_owned(), says, to_mind: true });
    }

    /// The net area of faces, both sides where both are boarded, in m².
    fn area(&self, wanted: impl Fn(&Face) -> bool) -> Decimal {
        let faces = self.room.faces.iter().filter(|face| wanted(face));
        let area: i64 = faces.map(|face| face.surface.net_mm2() * i64::from(face.sides())).sum();
        square_metres(area)
    }
}

/// To two decimals at most, for a working.
fn tidy(value: Decimal) -> String {
    let value = value.normalize();
    if value.scale() > 2 { half_up(value, 2).normalize().to_string() } else { value.to_string() }
}

/// A count as a decimal.
fn decimal(count: usize) -> Decimal {
    Decimal::from(u64::try_from(count).unwrap_or(u64::MAX))
}

/// A share in per cent, of something that is not nought.
fn percent(part: Decimal, whole: Decimal) -> Result<Decimal, TakeoffError> {
    quotient("share", part.saturating_mul(Decimal::ONE_HUNDRED), whole)
}
