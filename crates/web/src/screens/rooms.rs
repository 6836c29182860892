//! *Rooms*: what was measured on the job, and what it takes: material, hours, cutting and drawings. There is no
//! money in it, so the whole crew sees it; the boss puts it into the costing.

use std::collections::BTreeMap;

use askama::Template;
use daemon::command::{MeasuredRoom, measure_up, own_figures};
use ledger::site::RoomMeasured;
use serde_json::Value;

use crate::frame::{Frame, Tab};
use crate::links::encoded;
use crate::look::{Asked, Look};
use crate::screens::job::{Extra, extras};

/// What an empty form shows, so that nobody has to look up how a room is written.
pub(crate) const EXAMPLE: &str = "room: Shower room
wall north: 4200 x 2400, studs 400, board, skim, paint
  door: 838 x 2032 at 1500
wall east: 3000 x 2400, studs, board moisture board, tank, tile wall tile 300x600x9 to 2100 weight 15
  window: 600 x 900 at 1200, up 1100
ceiling: 4200 x 3000, joists already, board lying, skim, paint
pipe hot: 3200 + 1500, of pipe 15 plastic, tees 1
cable lights: 6000 + 2400, of 1.5, 6 A, lighting";

/// A room that is kept.
struct Kept {
    name: String,
    link: String,
    chosen: bool,
}

/// What something takes.
struct Takes {
    what: String,
    /// `7 boards`, `12 m`.
    much: String,
    working: String,
}

/// Work with all that it takes.
struct Work {
    name: String,
    takes: Vec<Takes>,
    /// `3.5 h of one person`; empty where no hours are reckoned.
    hours: String,
    hours_working: String,
}

struct Drawing {
    of: String,
    link: String,
}

/// The room in hand, measured up.
#[derive(Default)]
struct Measured {
    works: Vec<Work>,
    to_mind: Vec<String>,
    to_know: Vec<String>,
    cutting: Vec<String>,
    drawings: Vec<Drawing>,
}

/// The screen.
#[derive(Template)]
#[template(path = "rooms.html")]
pub(crate) struct Rooms {
    pub(crate) frame: Frame,
    kept: Vec<Kept>,
    /// The room in hand; empty for a new one.
    room: String,
    /// Its measurements.
    text: String,
    measured: Measured,
    /// The job's extras that can be measured up, for whoever sees money.
    extras: Vec<Extra>,
    /// Why it can't be measured up any more, or empty: a figure of the crew's own may have changed.
    wrong: String,
    example: &'static str,
}

/// The way to a room's screen.
fn room_link(job: &str, room: &str) -> String {
    format!("/rooms?job={}&what={}", encoded(job), encoded(room))
}

/// The room of this name that is kept with the job in hand.
pub(crate) fn kept<'look>(look: &'look Look<'_>, room: &str) -> Option<&'look RoomMeasured> {
    look.lists.room(look.job?.job, room)
}

/// What a room takes, worked out with the crew's own figures.
pub(crate) fn worked_out(look: &Look<'_>, text: &str) -> Result<Value, daemon::NodeError> {
    let own = own_figures(look.node.folder())?;
    measure_up(&MeasuredRoom { own: Some(own), text: text.to_owned() })
}

/// Fills the screen.
pub(crate) fn rooms(look: &Look<'_>, asked: &Asked) -> Rooms {
    let code = look.job.map(|job| job.code.clone()).unwrap_or_default();
    let chosen = kept(look, &asked.what);
    let of_job = look.job.into_iter().flat_map(|job| look.lists.rooms_of(job.job));
    let kept = of_job.map(|room| Kept {
        name: room.room.clone(),
        link: room_link(&code, &room.room),
        chosen: chosen.is_some_and(|chosen| chosen.room == room.room),
    });
    let (room, text) = chosen.map(|room| (room.room.clone(), room.text.clone())).unwrap_or_default();
    let (measured, wrong) = match chosen.map(|room| worked_out(look, &room.text)) {
        None => (Measured::default(), String::new()),
        Some(Ok(answer)) => (measured(&answer, &code, &room), String::new()),
        Some(Err(error)) => (Measured::default(), error.to_string()),
    };
    let title = if room.is_empty() { "rooms" } else { room.as_str() };
    let title = if code.is_empty() { "Rooms".to_owned() } else { format!("{code} · {title}") };
    let frame = look.frame(Tab::Job, title).at("/rooms");
    let extras = if look.viewer.sees_money && !room.is_empty() { extras(look) } else { Vec::new() };
    Rooms { frame, kept: kept.collect(), room, text, measured, extras, wrong, example: EXAMPLE }
}

fn list<'a>(value: &'a Value, name: &str) -> &'a [Value] {
    value[name].as_array().map_or(&[], Vec::as_slice)
}

fn text(value: &Value, name: &str) -> String {
    match &value[name] {
        Value::String(text) => text.clone(),
        Value::Null => String::new(),
        other => other.to_string(),
    }
}

fn measured(answer: &Value, job: &str, room: &str) -> Measured {
    let mut works: Vec<Work> = Vec::new();
    let mut places: BTreeMap<String, usize> = BTreeMap::new();
    let mut of = |name: String| {
        let place = *places.entry(name.clone()).or_insert(works.len());
        if place == works.len() {
            works.push(Work { name, takes: Vec::new(), hours: String::new(), hours_working: String::new() });
        }
        place
    };
    // Places first: the rows are filled in behind, while nothing is added any more.
    let lines: Vec<(usize, &Value)> =
        list(answer, "lines").iter().map(|line| (of(text(line, "work")), line)).collect();
    let hours: Vec<(usize, &Value)> =
        list(answer, "hours").iter().map(|line| (of(text(line, "work")), line)).collect();
    for (place, line) in lines {
        let takes =
            Takes { what: text(line, "what"), much: text(line, "to_buy"), working: text(line, "working") };
        if let Some(work) = works.get_mut(place) {
            work.takes.push(takes);
        }
    }
    for (place, line) in hours {
        if let Some(work) = works.get_mut(place) {
            work.hours = format!("{} h of one person", text(line, "hours"));
            work.hours_working = text(line, "working");
        }
    }
    let notes = |to_mind: bool| {
        let notes = list(answer, "notes").iter().filter(move |note| note["to_mind"] == to_mind);
        notes.map(|note| format!("{}: {}.", text(note, "about"), text(note, "says"))).collect()
    };
    let drawings = list(answer, "drawings").iter().enumerate().map(|(at, drawing)| Drawing {
        of: text(drawing, "of"),
        link: format!("/rooms/drawing?job={}&what={}&face={at}", encoded(job), encoded(room)),
    });
    Measured {
        works,
        to_mind: notes(true),
        to_know: notes(false),
        cutting: list(answer, "cutting").iter().flat_map(cutting).collect(),
        drawings: drawings.collect(),
    }
}

/// A line for the boards that stay whole, and one for each that is cut into.
fn cutting(list_of: &Value) -> Vec<String> {
    let piece = |piece: &Value| {
        format!(
            "{} x {} for {} no. {}",
            text(piece, "along_mm"),
            text(piece, "across_mm"),
            text(piece, "of"),
            text(piece, "number")
        )
    };
    let boards = list(list_of, "boards").iter().enumerate().map(|(at, board)| {
        let pieces: Vec<String> = board.as_array().into_iter().flatten().map(piece).collect();
        format!("board {} is cut into {}", at + 1, pieces.join("; "))
    });
    let item = text(list_of, "item");
    let whole = match text(list_of, "whole").as_str() {
        "0" => format!("{item}: none stays whole"),
        "1" => format!("{item}: 1 stays whole"),
        whole => format!("{item}: {whole} stay whole"),
    };
    std::iter::once(whole).chain(boards).collect()
}
