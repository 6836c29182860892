//! Measuring up: what a room takes, its drawings, and its lines in a job's costing.
//!
//! The arithmetic is `trade::takeoff`. Without a job no ledger is asked. With one, the price book, the
//! crew's rates and the job's mark-up cost it; only when it is to be saved is anything written, and then all
//! of it or nothing.

use std::collections::BTreeMap;
use std::fs;
use std::io::ErrorKind;
use std::path::Path;

use ledger::PersonId;
use projections::words;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use trade::takeoff::boards::cutting::Outline;
use trade::takeoff::costing::{self, BookItem, CostedAs, Costing, CostingLine, CostingRates, SUNDRIES};
use trade::takeoff::drawing::draw;
use trade::takeoff::measure::{CutPiece, CuttingList, Measured, measure};
use trade::takeoff::plan::Room;
use trade::takeoff::reading::read_room;
use trade::takeoff::{Setting, Settings, TakeoffError};
use trade::{Day, Rate};

use super::extra_costing::MeasuredExtra;
use super::{importing, named};
use crate::error::NodeError;
use crate::import::{FileName, Files};
use crate::machine::today;
use crate::node::Node;

/// A room to measure up.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct MeasuredRoom {
    /// The crew's own figures and names, as `set`, `item` and `stage` lines; without it, those of the data
    /// folder, where a ledger is asked.
    pub own: Option<String>,
    /// The room, as people write it.
    pub text: String,
}

/// A room whose lines are for a job's costing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CostedRoom {
    /// The room.
    pub room: MeasuredRoom,
    /// The job.
    pub job: String,
    /// What an hour costs and is charged at; the rates of whoever measures up without it.
    pub rates: Option<(Rate, Rate)>,
    /// The extra that it is the price of, by its key; the job's own costing without it.
    pub extra: Option<String>,
    /// Whether the lines go into the costing, or are only shown.
    pub save: bool,
}

/// The crew's own figures for measuring up, in the data folder.
const OWN_FIGURES: &str = "measuring.txt";

/// The crew's own figures; empty if nobody wrote any.
///
/// # Errors
/// [`NodeError::Folder`] with the file that can't be read.
pub fn own_figures(data: &Path) -> Result<String, NodeError> {
    let file = data.join(OWN_FIGURES);
    match fs::read_to_string(&file) {
        Ok(own) => Ok(own),
        Err(cause) if cause.kind() == ErrorKind::NotFound => Ok(String::new()),
        Err(cause) => Err(NodeError::folder(&file, &cause)),
    }
}

struct Worked {
    room: Room,
    settings: Settings,
    measured: Measured,
}

/// Measures a room up without a ledger.
///
/// # Errors
/// [`NodeError::BadInput`] with the line of the room that can't be read or built.
pub fn measure_up(room: &MeasuredRoom) -> Result<Value, NodeError> {
    let worked = work_out(room, today()?)?;
    Ok(answer(&worked))
}

/// The figures that measuring up goes by, with their sources.
///
/// # Errors
/// [`NodeError::BadInput`] with the line of the own figures that can't be read.
pub fn figures(own: &str) -> Result<Value, NodeError> {
    let today = today()?;
    let mut settings = Settings::on(today);
    read_room(own, "room: figures", &mut settings, today).map_err(bad)?;
    let figure = |setting: &Setting| {
        let fact = setting.fact();
        let (value, default) = (settings.value(*setting).normalize(), fact.value.value().normalize());
        json!({
            "name": fact.words, "value": value.to_string(), "unit": fact.unit, "default": default.to_string(),
            "own": settings.is_own(*setting), "since": fact.since, "confidence": fact.confidence.label(),
            "source": fact.source,
        })
    };
    Ok(json!({ "figures": Setting::ALL.iter().map(figure).collect::<Vec<_>>() }))
}

/// Measures a room up and costs it for a job, and saves the lines if that is wished.
pub(super) fn cost(node: &mut Node, author: PersonId, wish: &CostedRoom) -> Result<Value, NodeError> {
    named::must_read_office(node)?;
    let today = node.today()?;
    let worked = work_out(&wish.room, today)?;
    let extra = wish.extra.as_deref().map(|key| MeasuredExtra::named(node, &wish.job, key)).transpose()?;
    let costing = {
        let lists = node.book().lists();
        let job = named::job(&lists, &wish.job)?.job;
        let (hour_cost, hour_charge) = match wish.rates {
            Some(rates) => rates,
            None => match lists.rate(author, job, None, today) {
                Some(rates) => (rates.cost_rate, rates.charge_rate),
                None => {
                    return Err(NodeError::bad_input(
                        "it is not known what your hour costs; set it with `fivebar rate`, or give --hour-cost and \
                         --hour-charge",
                    ));
                }
            },
        };
        named::not_below_nought(&[hour_cost, hour_charge])?;
        let markup_percent = lists.terms.get(&job).map_or(Rate::ZERO, |terms| terms.markup_percent);
        let book = |name: &str| {
            let item = lists.items.values().find(|item| item.name == name)?;
            let price = lists.prices.get(&item.item).and_then(|prices| prices.on(today));
            Some(BookItem {
                unit: item.unit.clone(),
                pack: item.pack.clone(),
                pack_size: item.pack_size,
                pack_cost: price.map(|price| price.pack_cost),
            })
        };
        let rates = CostingRates { hour_cost, hour_charge, markup_percent };
        costing::cost(&worked.measured, &book, rates, &worked.settings).map_err(bad)?
    };
    let costing = match &extra {
        Some(extra) => extra.of_its_stage(costing),
        None => costing,
    };
    if wish.save && !costing.left_out.is_empty() {
        return Err(NodeError::BadInput(costing.left_out));
    }
    let (saved, extra) = match (extra, wish.save) {
        (None, false) => (None, None),
        (None, true) => (Some(save(node, author, &wish.job, &costing)?), None),
        (Some(extra), false) => (None, Some(extra.shown())),
        (Some(extra), true) => (None, Some(extra.save(node, author, &wish.job, &costing)?)),
    };
    let mut answer = answer(&worked);
    answer["job"] = json!(wish.job);
    answer["costing"] = json!({
        "lines": costing.lines.iter().map(costing_line).collect::<Vec<_>>(),
        "left_out": costing.left_out, "cost": costing.cost(), "price": costing.price(), "saved": saved,
    });
    if let Some(extra) = extra {
        answer["extra"] = extra;
    }
    Ok(answer)
}

/// Puts the lines into the job's costing, through the same checks as a file of them.
pub(super) fn save(
    node: &mut Node,
    author: PersonId,
    job: &str,
    costing: &Costing,
) -> Result<Value, NodeError> {
    let rows: Vec<_> = costing.lines.iter().map(|line| estimate_row(job, line)).collect();
    let of_rows = |file, rows: &[BTreeMap<String, String>]| {
        Files::of_rows(file, rows).map_err(|error| NodeError::bad_input(error.to_string()))
    };
    let mut files = of_rows(FileName::Estimate, &rows)?;
    let has_sundries = costing.lines.iter().any(|line| line.what == SUNDRIES);
    if has_sundries && named::item(&node.book().lists(), SUNDRIES).is_err() {
        let cells = [
            ("item", SUNDRIES),
            ("unit", "pound"),
            ("pack", "pound"),
            ("pack_size", "1"),
            ("pack_cost", "1.00"),
        ];
        let row = cells.map(|(column, cell)| (column.to_owned(), cell.to_owned())).into();
        files.price_book = of_rows(FileName::PriceBook, &[row])?.price_book;
    }
    importing::take_in_more(node, author, &files)
}

fn estimate_row(job: &str, line: &CostingLine) -> BTreeMap<String, String> {
    let cells = [
        ("job", job.to_owned()),
        ("stage", line.stage.clone()),
        ("kind", kind_word(line.costed_as).to_owned()),
        ("what", line.what.clone()),
        ("quantity", line.quantity.to_string()),
        ("unit", line.unit.clone()),
        ("unit_cost", line.unit_cost.to_string()),
        ("unit_price", line.unit_price.to_string()),
        ("variation", String::new()),
    ];
    cells.map(|(column, cell)| (column.to_owned(), cell)).into()
}

const fn kind_word(costed_as: CostedAs) -> &'static str {
    match costed_as {
        CostedAs::Labour => "labour",
        CostedAs::Material => "material",
    }
}

fn bad(error: TakeoffError) -> NodeError {
    NodeError::bad_input(error.to_string())
}

fn work_out(room: &MeasuredRoom, today: Day) -> Result<Worked, NodeError> {
    let mut settings = Settings::on(today);
    let own = room.own.as_deref().unwrap_or_default();
    let room = read_room(own, &room.text, &mut settings, today).map_err(bad)?;
    let measured = measure(&room, &settings).map_err(bad)?;
    Ok(Worked { room, settings, measured })
}

fn costing_line(line: &CostingLine) -> Value {
    json!({
        "stage": line.stage, "kind": kind_word(line.costed_as), "what": line.what, "quantity": line.quantity,
        "unit": line.unit, "unit_cost": line.unit_cost, "unit_price": line.unit_price, "cost": line.cost(),
        "price": line.price(),
    })
}

fn answer(worked: &Worked) -> Value {
    let Worked { room, measured, .. } = worked;
    let line = |line: &trade::takeoff::Line| {
        json!({
            "work": line.work, "what": line.what, "quantity": line.quantity, "unit": line.unit,
            "to_buy": words::counted(line.packs.count, &line.packs.pack), "packs": line.packs.count, "pack": line.packs.pack, "pack_size": line.packs.size,
            "waste_percent": line.waste_percent, "working": line.working,
        })
    };
    let hours = measured.hours.iter();
    let hours =
        hours.map(|hours| json!({ "work": hours.work, "hours": hours.hours, "working": hours.working }));
    let notes = measured.notes.iter();
    let notes = notes.map(|note| json!({ "about": note.about, "says": note.says, "to_mind": note.to_mind }));
    let piece = |piece: &CutPiece| {
        let Outline { along_mm, across_mm } = piece.outline;
        json!({ "of": piece.of, "number": piece.number, "along_mm": along_mm, "across_mm": across_mm })
    };
    let cutting = |list: &CuttingList| {
        let boards = list.boards.iter().map(|board| board.iter().map(piece).collect::<Vec<_>>());
        json!({ "item": list.item, "whole": list.whole, "boards": boards.collect::<Vec<_>>() })
    };
    let drawings = measured.framed.iter();
    let drawings = drawings.map(|face| json!({ "of": face.surface.name(), "svg": draw(&room.name, face) }));
    json!({
        "room": room.name,
        "lines": measured.lines.iter().map(line).collect::<Vec<_>>(),
        "hours": hours.collect::<Vec<_>>(),
        "notes": notes.collect::<Vec<_>>(),
        "cutting": measured.cuttings.iter().map(cutting).collect::<Vec<_>>(),
        "drawings": drawings.collect::<Vec<_>>(),
    })
}
