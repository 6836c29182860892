//! A measured room on the terminal, and its drawings on the disk.

use std::path::{Path, PathBuf};

use daemon::NodeError;
use serde_json::Value;

use crate::pages::{list, text};
use crate::table::{Page, heading};

/// What a room takes.
pub(crate) fn measured(answer: &Value) -> String {
    let mut all = heading(&text(answer, "room"));
    let mut page = Page::new(&["for", "what", ">takes", ">to buy", ">waste %"]);
    for line in list(answer, "lines") {
        let takes = format!("{} {}", text(line, "quantity"), short(&text(line, "unit")));
        page.row(&[
            &text(line, "work"),
            &text(line, "what"),
            takes.trim(),
            &text(line, "to_buy"),
            &text(line, "waste_percent"),
        ]);
    }
    all += &page.finish();
    let hours = list(answer, "hours");
    if !hours.is_empty() {
        let mut page = Page::new(&["for", ">hours", "worked out"]);
        for row in hours {
            page.row(&[&text(row, "work"), &text(row, "hours"), &text(row, "working")]);
        }
        all += &(String::from("\n") + &heading("Hours of one person") + &page.finish());
    }
    all += &notes(answer, "To mind", true);
    all += &notes(answer, "To know", false);
    all += &cutting(answer);
    all += &workings(answer);
    if !answer["costing"].is_null() {
        all += &costing(answer);
    }
    if answer["kept"] == true {
        all += &format!("\n\nKept with {}; the whole crew has it.", text(answer, "job"));
    }
    all
}

/// The rooms that are kept with a job, as they were written down.
pub(crate) fn rooms(answer: &Value) -> String {
    let rooms = list(answer, "rooms");
    if rooms.is_empty() {
        let job = text(answer, "job");
        return format!("No room is kept yet. Keep one: fivebar measure FILE --job {job} --keep");
    }
    let room = |room: &Value| heading(&text(room, "room")) + &text(room, "text") + "\n";
    rooms.iter().map(room).collect()
}

/// The measurements of the one room of an answer.
pub(crate) fn text_of(answer: &Value) -> String {
    list(answer, "rooms").first().map(|room| text(room, "text")).unwrap_or_default()
}

fn notes(answer: &Value, title: &str, to_mind: bool) -> String {
    let notes = list(answer, "notes").iter().filter(|note| note["to_mind"] == to_mind);
    let lines: Vec<String> =
        notes.map(|note| format!("  {}: {}.", text(note, "about"), text(note, "says"))).collect();
    if lines.is_empty() { String::new() } else { format!("\n{}{}", heading(title), lines.join("\n")) }
}

/// Each board that is cut into, and what comes out of it.
fn cutting(answer: &Value) -> String {
    let mut all = String::new();
    for cutting in list(answer, "cutting") {
        all += &format!("\n{}", heading(&format!("Cutting {}", text(cutting, "item"))));
        all += &format!("  {} are taken whole", text(cutting, "whole"));
        for (at, board) in list(cutting, "boards").iter().enumerate() {
            let piece = |piece: &Value| {
                let size = format!("{} x {}", text(piece, "along_mm"), text(piece, "across_mm"));
                format!("{size} ({} {})", text(piece, "of"), text(piece, "number"))
            };
            let pieces: Vec<String> = board.as_array().into_iter().flatten().map(piece).collect();
            all += &format!("\n  board {}: {}", at + 1, pieces.join(", "));
        }
    }
    all
}

fn workings(answer: &Value) -> String {
    let lines = list(answer, "lines").iter();
    let lines: Vec<String> =
        lines.map(|line| format!("  {}: {}.", text(line, "what"), text(line, "working"))).collect();
    if lines.is_empty() { String::new() } else { format!("\n{}{}", heading("Worked out"), lines.join("\n")) }
}

fn costing(answer: &Value) -> String {
    let costing = &answer["costing"];
    let mut page = Page::new(&["stage", "what", ">quantity", ">cost £", ">price £"]);
    for line in list(costing, "lines") {
        let quantity = format!("{} {}", text(line, "quantity"), short(&text(line, "unit")));
        let money = [text(line, "cost"), text(line, "price")];
        page.row(&[&text(line, "stage"), &text(line, "what"), quantity.trim(), &money[0], &money[1]]);
    }
    page.row(&["in all", "", "", &text(costing, "cost"), &text(costing, "price")]);
    let title = format!("Costing for {}, without VAT", text(answer, "job"));
    let mut all = format!("\n{}{}", heading(&title), page.finish());
    let left_out = list(costing, "left_out").iter().filter_map(Value::as_str);
    let left_out: Vec<String> = left_out.map(|why| format!("  {why}")).collect();
    if !left_out.is_empty() {
        all += &format!("\n{}{}", heading("Not costed yet"), left_out.join("\n"));
    }
    let (saved, extra) = (&costing["saved"], &answer["extra"]);
    if !extra["amount"].is_null() {
        all + "\n\n" + &priced_extra(extra)
    } else if !extra.is_null() {
        all + "\n\nNothing is saved. With --save it is what the extra sells for."
    } else if saved.is_null() {
        all + "\n\nNothing is saved. With --save these lines go into the costing."
    } else {
        all + &format!("\n\n{} saved, {} held already.", text(saved, "written"), text(saved, "already_held"))
    }
}

/// What became of an extra that was measured up.
fn priced_extra(extra: &Value) -> String {
    let (what, amount) = (text(extra, "what"), text(extra, "amount"));
    let stays = if extra["stays"] == true { ", as it was agreed" } else { "" };
    let lines = if extra["lines_saved"] == true {
        format!("Its lines are in the costing, under {}.", text(extra, "stage"))
    } else {
        "Its lines are not in the costing: they go there with --save once a yes at a price is logged."
            .to_owned()
    };
    format!("{what}: {amount} without VAT{stays}. {lines}")
}

/// The figures that measuring up goes by.
pub(crate) fn figures(answer: &Value) -> String {
    let mut page = Page::new(&["figure", ">value", "unit", "how it is known", "source"]);
    for figure in list(answer, "figures") {
        let is_own = figure["own"].as_bool().unwrap_or(false);
        let known = if is_own {
            format!("your own; default {}", text(figure, "default"))
        } else {
            format!("{}, {}", text(figure, "confidence"), text(figure, "since"))
        };
        let cells = ["name", "value", "unit"].map(|name| text(figure, name));
        page.row(&[&cells[0], &cells[1], &cells[2], &known, &text(figure, "source")]);
    }
    page.finish()
}

/// Writes the drawings into a folder and gives their paths.
pub(crate) fn draw(answer: &Value, folder: &Path) -> Result<Vec<PathBuf>, NodeError> {
    let cannot = |path: &Path, cause: std::io::Error| NodeError::Folder {
        path: path.display().to_string(),
        cause: cause.to_string(),
    };
    std::fs::create_dir_all(folder).map_err(|cause| cannot(folder, cause))?;
    let mut written: Vec<PathBuf> = Vec::new();
    for drawing in list(answer, "drawings") {
        let plain = file_name(&format!("{} {}", text(answer, "room"), text(drawing, "of")));
        let mut path = folder.join(format!("{plain}.svg"));
        // Names that differ only in signs that no file name takes must not overwrite each other.
        let mut number = 2;
        while written.contains(&path) {
            path = folder.join(format!("{plain}-{number}.svg"));
            number += 1;
        }
        std::fs::write(&path, text(drawing, "svg")).map_err(|cause| cannot(&path, cause))?;
        written.push(path);
    }
    Ok(written)
}

/// Small letters, digits and dashes: a name that every file system takes.
fn file_name(words: &str) -> String {
    let letters = words.to_lowercase();
    let parts = letters.split(|letter: char| !letter.is_alphanumeric()).filter(|part| !part.is_empty());
    parts.collect::<Vec<_>>().join("-")
}

/// Nothing for what is counted by the piece.
fn short(unit: &str) -> String {
    if unit == "each" { String::new() } else { unit.to_owned() }
}
