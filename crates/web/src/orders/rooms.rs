//! What the forms about measured rooms ask for.

use daemon::Command;
use daemon::command::{CostedRoom, MeasuredRoom, RoomCommand};

use super::Fields;
use crate::problem::Problem;
use crate::viewer::Viewer;

/// Reads an order about a room; none for a name that is none of its.
///
/// # Errors
/// As [`super::read`].
pub(super) fn read(name: &str, viewer: &Viewer, fields: &Fields<'_>) -> Result<Option<Command>, Problem> {
    // A browser ends the lines of a form with both signs.
    let room =
        || fields.text("text").map(|text| MeasuredRoom { own: None, text: text.replace("\r\n", "\n") });
    let command = match name {
        "room-keep" => RoomCommand::Keep { job: fields.text("job")?, room: room()? },
        "room-drop" => RoomCommand::Drop { job: fields.text("job")?, room: fields.text("room")? },
        "room-cost" => {
            viewer.must_see_money()?;
            let (job, extra) = (fields.text("job")?, fields.optional("extra"));
            RoomCommand::Cost(CostedRoom { room: room()?, job, rates: None, extra, save: true })
        }
        _ => return Ok(None),
    };
    Ok(Some(Command::Measure(command)))
}
