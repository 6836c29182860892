//! What the forms about a day's plan ask for: what stages need, and tasks to fill a gap with.

use daemon::Command;
use daemon::command::{FillInWish, NeedState, NeedWish, PlanCommand};

use super::Fields;
use crate::problem::Problem;

/// Reads an order about a plan; none for a name that is none of its.
///
/// # Errors
/// As [`super::read`].
pub(super) fn read(name: &str, fields: &Fields<'_>) -> Result<Option<Command>, Problem> {
    let is_set = |name: &str| fields.optional(name).is_some();
    let command = match name {
        "need" => PlanCommand::Need(NeedWish {
            job: fields.text("job")?,
            stage: fields.text("stage")?,
            kind: fields.listed("need")?,
            what: fields.text("what")?,
            state: match fields.optional("met") {
                _ if is_set("drop") => NeedState::Dropped,
                Some(how) => NeedState::Met(how),
                None => NeedState::Open,
            },
        }),
        "fill-in" => PlanCommand::FillIn(FillInWish {
            job: fields.text("job")?,
            what: fields.text("what")?,
            stage: fields.optional("stage"),
            room: fields.optional("room").unwrap_or_default(),
            minutes: fields.number("minutes")?,
            can_be_dropped: is_set("can_be_dropped"),
            dusty: is_set("dusty"),
            reach: fields.listed("reach")?,
        }),
        "fill-in-became" => PlanCommand::FillInBecame {
            job: fields.text("job")?,
            what: fields.text("what")?,
            state: fields.listed("state")?,
        },
        _ => return Ok(None),
    };
    Ok(Some(Command::Plan(command)))
}
