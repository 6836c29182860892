//! Reading a measured room from a plain text: one thing a line, its name before the colon, what is to be
//! done behind it with commas between.
//!
//! ```text
//! room: Shower room
//! set stud centres: 400
//! wall north: 4200 x 2400, studs from left, board moisture board 2400x1200x12.5, skim, paint
//!   door: 838 x 2032 at 1500
//! ```
//!
//! Nothing is guessed: a word that isn't known is an error that names the line and the words there are.

mod clauses;

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use self::clauses::{boarding_of, face_clause, pair_of_lengths};
use super::TakeoffError;
use super::defaults::{Setting, Settings};
use super::length::read_length;
use super::plan::{CableRun, Cylinder, Face, FaceKind, PipeRun, Room};
use super::room::{BoxingIn, Opening, Rectangle, Surface};
use super::runs::Run;
use crate::time::Day;

/// The longest text that is read, in bytes.
pub const LONGEST_TEXT: usize = 64 * 1024;

/// Reads a measured room. Its `set` lines are put into the settings, from `today` on.
///
/// `own` is the crew's own figures and names: lines of `set`, `item` and `stage` alone. They come first, so
/// what the room says beats them.
///
/// # Errors
/// [`TakeoffError::BadLine`] for the first line that can't be read, with what to write instead.
pub fn read_room(own: &str, text: &str, settings: &mut Settings, today: Day) -> Result<Room, TakeoffError> {
    let names = BTreeMap::new();
    let mut reading = Reading { room: Room::default(), face: None, settings, today, names };
    reading.lines(own, &["set", "item", "stage"]).map_err(|error| match error {
        TakeoffError::BadLine { line, reason } => bad(line, format!("of your own figures: {reason}")),
        other => other,
    })?;
    let last = reading.lines(text, &[])?;
    reading.end_face().map_err(|(line, reason)| bad(line, reason))?;
    if reading.room.name.is_empty() {
        return Err(bad(last.max(1), "say which room it is: room: Shower room".to_owned()));
    }
    Ok(reading.room)
}

const fn bad(line: usize, reason: String) -> TakeoffError {
    TakeoffError::BadLine { line, reason }
}

/// A wall, ceiling or floor whose openings may still come.
struct OpenFace {
    kind: FaceKind,
    name: String,
    size_mm: (i64, i64),
    openings: Vec<Opening>,
    clauses: Vec<String>,
    line: usize,
}

struct Reading<'a> {
    room: Room,
    face: Option<OpenFace>,
    settings: &'a mut Settings,
    today: Day,
    /// Names that were given, so that two walls never answer to one.
    names: BTreeMap<String, usize>,
}

const SUBJECTS: &str = "room, people, set, item, stage, wall, ceiling, floor, door, window, opening, boxing, \
                        pipe, cable, cylinder";

impl Reading<'_> {
    /// Reads all lines, of these subjects only if any are given, and says how many there were.
    fn lines(&mut self, text: &str, only: &[&str]) -> Result<usize, TakeoffError> {
        if text.len() > LONGEST_TEXT {
            return Err(bad(1, format!("the text has more than {LONGEST_TEXT} bytes; measure room by room")));
        }
        let mut last = 0;
        for (at, line) in text.lines().enumerate() {
            last = at + 1;
            let said = line.split('#').next().unwrap_or_default().trim();
            if said.is_empty() {
                continue;
            }
            if !only.is_empty() && !only.iter().any(|word| said.starts_with(word)) {
                return Err(bad(last, format!("{said:?} belongs to a room; here go {}", only.join(", "))));
            }
            self.line(said, last).map_err(|reason| bad(last, reason))?;
        }
        Ok(last)
    }

    fn line(&mut self, said: &str, line: usize) -> Result<(), String> {
        let Some((subject, rest)) = said.split_once(':') else {
            return Err(format!("{said:?} has no colon; write it like wall north: 4200 x 2400"));
        };
        let (subject, rest) = (subject.trim(), rest.trim());
        let (word, name) = subject.split_once(' ').unwrap_or((subject, ""));
        let (word, name) = (word.to_lowercase(), name.trim());
        if matches!(word.as_str(), "door" | "window" | "opening" | "hatch") {
            return self.opening(subject, rest);
        }
        self.end_face().map_err(|(line, reason)| format!("(from line {line}) {reason}"))?;
        match word.as_str() {
            "room" => rest.clone_into(&mut self.room.name),
            "people" => self.room.people = Some(number_between(rest, "people", 1, 12)?),
            "set" => self.set(name, rest)?,
            "item" => {
                self.room.items.insert(name.to_owned(), rest.to_owned());
            }
            "stage" => {
                self.room.stages.insert(name.to_owned(), rest.to_owned());
            }
            "wall" => self.begin_face(FaceKind::Wall, subject, rest, line)?,
            "ceiling" => self.begin_face(FaceKind::Ceiling, subject, rest, line)?,
            "floor" => self.begin_face(FaceKind::Floor, subject, rest, line)?,
            "boxing" => self.boxing(subject, rest)?,
            "pipe" => self.pipe(subject, rest)?,
            "cable" => self.cable(subject, rest)?,
            "cylinder" => self.cylinder(rest)?,
            _ => return Err(format!("{word:?} is not known; a line begins with {SUBJECTS}")),
        }
        Ok(())
    }

    fn set(&mut self, name: &str, rest: &str) -> Result<(), String> {
        let setting = Setting::named(name).map_err(|error| error.to_string())?;
        let unit = setting.fact().unit;
        let (rest, from) = match rest.split_once(" from ") {
            Some((rest, day)) => {
                let day = day.trim().parse::<Day>();
                (rest.trim(), day.map_err(|error| format!("{name}: from which day? {error}"))?)
            }
            None => (rest, self.today),
        };
        let number = rest.strip_suffix(unit).unwrap_or(rest).trim();
        let value = read_decimal(number).map_err(|()| {
            format!("{name}: {rest:?} is not a number of {unit}; write it like set {name}: 10")
        })?;
        self.settings.set(setting, value, from).map_err(|error| error.to_string())
    }

    fn name(&mut self, name: &str, line: usize) -> Result<(), String> {
        match self.names.insert(name.to_lowercase(), line) {
            Some(first) => Err(format!("{name:?} is on line {first} already; give it another name")),
            None => Ok(()),
        }
    }

    fn begin_face(&mut self, kind: FaceKind, name: &str, rest: &str, line: usize) -> Result<(), String> {
        self.name(name, line)?;
        let mut clauses = rest.split(',').map(|clause| clause.trim().to_owned());
        let size = clauses.next().unwrap_or_default();
        let size_mm = pair_of_lengths(&size).map_err(|reason| format!("{name}: {reason}"))?;
        let clauses = clauses.filter(|clause| !clause.is_empty()).collect();
        self.face =
            Some(OpenFace { kind, name: name.to_owned(), size_mm, openings: Vec::new(), clauses, line });
        Ok(())
    }

    /// `door: 838 x 2032 at 1500, up 0`: the size, from the left end, and from the floor.
    fn opening(&mut self, name: &str, rest: &str) -> Result<(), String> {
        let Some(face) = &mut self.face else {
            return Err(format!("{name}: an opening comes under its wall; say the wall first"));
        };
        let mut clauses = rest.split(',').map(str::trim);
        let place = clauses.next().unwrap_or_default();
        let Some((size, left)) = place.split_once(" at ") else {
            return Err(format!("{name}: say how far from the left end: {name}: 838 x 2032 at 1500"));
        };
        let (width_mm, height_mm) = pair_of_lengths(size).map_err(|reason| format!("{name}: {reason}"))?;
        let from = |text: &str| match text.trim() {
            "0" => Ok(0),
            other => read_length(other).map_err(|error| format!("{name}: {error}")),
        };
        let mut clear = Rectangle { left_mm: from(left)?, bottom_mm: 0, width_mm, height_mm };
        for clause in clauses {
            match clause.split_once(' ') {
                Some(("up" | "sill", height)) => clear.bottom_mm = from(height)?,
                Some(_) | None => {
                    return Err(format!(
                        "{name}: {clause:?} is not known; say up 900 for its height over the floor"
                    ));
                }
            }
        }
        face.openings.push(Opening { name: name.to_owned(), clear });
        Ok(())
    }

    /// Makes a face of what was said of it, once its last opening is read.
    fn end_face(&mut self) -> Result<(), (usize, String)> {
        let Some(open) = self.face.take() else { return Ok(()) };
        let line = open.line;
        let surface = Surface::new(&open.name, open.size_mm.0, open.size_mm.1, open.openings)
            .map_err(|error| (line, error.to_string()))?;
        let mut face = Face::new(open.kind, surface);
        for clause in &open.clauses {
            face_clause(&mut face, clause, self.settings)
                .map_err(|why| (line, format!("{}: {why}", open.name)))?;
        }
        self.room.faces.push(face);
        Ok(())
    }

    /// `boxing soil stack: 2400, faces 200 + 150`.
    fn boxing(&mut self, name: &str, rest: &str) -> Result<(), String> {
        let mut clauses = rest.split(',').map(str::trim);
        let length_mm =
            read_length(clauses.next().unwrap_or_default()).map_err(|error| format!("{name}: {error}"))?;
        let mut faces_mm = Vec::new();
        let mut boarding = boarding_of("", self.settings)?;
        for clause in clauses {
            match clause.split_once(' ') {
                Some(("faces", widths)) => faces_mm = lengths_of(name, widths)?,
                Some(("board", words)) => boarding = boarding_of(words, self.settings)?,
                Some(_) | None => {
                    return Err(format!("{name}: {clause:?} is not known; say faces 200 + 150"));
                }
            }
        }
        let boxing = BoxingIn::new(name, length_mm, faces_mm).map_err(|error| error.to_string())?;
        self.room.boxing.push((boxing, boarding));
        Ok(())
    }

    /// `pipe hot: 3200 + 1500, of pipe 15 plastic, tees 1, valves 2`.
    fn pipe(&mut self, name: &str, rest: &str) -> Result<(), String> {
        let mut clauses = rest.split(',').map(str::trim);
        let run = run_of(name, clauses.next().unwrap_or_default())?;
        let mut pipe = PipeRun { run, item: "pipe 15 plastic".to_owned(), tees: 0, valves: 0 };
        for clause in clauses {
            match clause.split_once(' ') {
                Some(("of", item)) => item.clone_into(&mut pipe.item),
                Some(("tees", count)) => pipe.tees = number_between(count, "tees", 0, 1_000)?,
                Some(("valves", count)) => pipe.valves = number_between(count, "valves", 0, 1_000)?,
                Some(_) | None => {
                    return Err(format!(
                        "{name}: {clause:?} is not known; say of pipe 15 plastic, tees 1, valves 2"
                    ));
                }
            }
        }
        self.room.pipes.push(pipe);
        Ok(())
    }

    /// `cable lights: 6000 + 2400, of 1.5, 6 A, lighting`.
    fn cable(&mut self, name: &str, rest: &str) -> Result<(), String> {
        let mut clauses = rest.split(',').map(str::trim);
        let run = run_of(name, clauses.next().unwrap_or_default())?;
        let (mut size_mm2, mut amperes, mut lighting) = (None, None, false);
        for clause in clauses {
            match clause.split_once(' ') {
                Some(("of", size)) => {
                    let size = size.trim_end_matches("mm2").trim();
                    size_mm2 = Some(
                        read_decimal(size)
                            .map_err(|()| format!("{name}: {size:?} is no size; say of 1.5"))?,
                    );
                }
                Some((number, "A" | "a" | "amps")) => {
                    amperes = Some(
                        read_decimal(number)
                            .map_err(|()| format!("{name}: {number:?} is no load; say 6 A"))?,
                    );
                }
                None if clause == "lighting" => lighting = true,
                Some(_) | None => {
                    return Err(format!("{name}: {clause:?} is not known; say of 1.5, 6 A, lighting"));
                }
            }
        }
        let said = size_mm2.zip(amperes);
        let (size_mm2, amperes) =
            said.ok_or_else(|| format!("{name}: say its size and load: of 1.5, 6 A"))?;
        self.room.cables.push(CableRun { run, size_mm2, amperes, lighting });
        Ok(())
    }

    /// `cylinder: 150 litres, stored 60, mixed 40, cold 10, 3 kW`.
    fn cylinder(&mut self, rest: &str) -> Result<(), String> {
        let default = |text| read_decimal(text).map_err(|()| String::new());
        let mut cylinder = Cylinder {
            litres: Decimal::ZERO,
            stored_celsius: default("60")?,
            mixed_celsius: default("40")?,
            cold_celsius: default("10")?,
            power_kw: default("3")?,
        };
        for clause in rest.split(',').map(str::trim) {
            let unknown = || {
                format!(
                    "cylinder: {clause:?} is not known; say 150 litres, stored 60, mixed 40, cold 10, 3 kW"
                )
            };
            let (one, other) = clause.split_once(' ').ok_or_else(unknown)?;
            let number = |text: &str| read_decimal(text.trim()).map_err(|()| unknown());
            match (one, other.trim()) {
                (litres, "litres" | "litre" | "L") => cylinder.litres = number(litres)?,
                (power, "kW" | "kw") => cylinder.power_kw = number(power)?,
                ("stored", degrees) => cylinder.stored_celsius = number(degrees)?,
                ("mixed", degrees) => cylinder.mixed_celsius = number(degrees)?,
                ("cold", degrees) => cylinder.cold_celsius = number(degrees)?,
                _ => return Err(unknown()),
            }
        }
        self.room.cylinders.push(cylinder);
        Ok(())
    }
}

fn run_of(name: &str, legs: &str) -> Result<Run, String> {
    Run::new(name, lengths_of(name, legs)?).map_err(|error| error.to_string())
}

/// Lengths with `+` between.
fn lengths_of(name: &str, text: &str) -> Result<Vec<i64>, String> {
    let lengths = text.split('+').map(|part| read_length(part).map_err(|error| format!("{name}: {error}")));
    lengths.collect()
}

/// A plain decimal, nought or above.
fn read_decimal(text: &str) -> Result<Decimal, ()> {
    let number: crate::Quantity = text.trim().parse().map_err(|_| ())?;
    if number.is_negative() { Err(()) } else { Ok(number.value()) }
}

fn number_between(text: &str, what: &str, least: u32, most: u32) -> Result<u32, String> {
    let number = text.trim().parse::<u32>().ok().filter(|number| (least..=most).contains(number));
    number.ok_or_else(|| format!("{what}: {text:?} is not a whole number from {least} to {most}"))
}
