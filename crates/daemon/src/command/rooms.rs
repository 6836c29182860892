//! Rooms as they were measured, kept with the job: whoever stands in them reads and measures them anew.
//!
//! Only the measurements are kept. What a room takes is worked out from them each time, with the figures
//! of the day. The crew reads them; there is no money in them.

use ledger::site::RoomMeasured;
use ledger::{Audience, Body, Payload, PersonId};
use projections::room_key;
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use super::{CostedRoom, MeasuredRoom, measuring, named, own_figures};
use crate::error::NodeError;
use crate::node::{Node, Write};

/// The longest text of a room that is kept, in bytes.
const LONGEST_ROOM: usize = 16 * 1024;

/// What can be done with the rooms of a job.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "rooms", rename_all = "snake_case")]
pub enum RoomCommand {
    /// Costs a room for a job, and puts its lines into the job's costing if that is wished.
    Cost(CostedRoom),
    /// The rooms that are kept.
    Kept {
        /// The job.
        job: String,
        /// One of them only, which must be there.
        room: Option<String>,
    },
    /// Keeps a room, in place of one of the same name.
    Keep {
        /// The job.
        job: String,
        /// The room. It must be one that can be measured up.
        room: MeasuredRoom,
    },
    /// Takes a room out again.
    Drop {
        /// The job.
        job: String,
        /// The room.
        room: String,
    },
}

pub(super) fn run(node: &mut Node, author: PersonId, command: RoomCommand) -> Result<Value, NodeError> {
    match command {
        RoomCommand::Cost(wish) => {
            let room = with_own_figures(node, wish.room)?;
            measuring::cost(node, author, &CostedRoom { room, ..wish })
        }
        RoomCommand::Kept { job, room: None } => shown(node, &job),
        RoomCommand::Kept { job, room: Some(room) } => {
            let kept = kept(node, &job, &room)?;
            Ok(json!({ "job": job, "rooms": [json!({ "room": kept.room, "text": kept.text })] }))
        }
        RoomCommand::Keep { job, room } => {
            let room = with_own_figures(node, room)?;
            keep(node, author, &job, &room)
        }
        RoomCommand::Drop { job, room } => {
            let room = kept(node, &job, &room)?.room.clone();
            write(node, author, &job, room, String::new())?;
            shown(node, &job)
        }
    }
}

fn with_own_figures(node: &Node, room: MeasuredRoom) -> Result<MeasuredRoom, NodeError> {
    let own = room.own.map_or_else(|| own_figures(node.folder()), Ok)?;
    Ok(MeasuredRoom { own: Some(own), ..room })
}

/// A room that is kept.
fn kept<'node>(node: &'node Node, code: &str, room: &str) -> Result<&'node RoomMeasured, NodeError> {
    let lists = node.book().lists();
    let job = named::job(&lists, code)?.job;
    lists.room(job, room).ok_or_else(|| {
        let names: Vec<&str> = lists.rooms_of(job).map(|kept| kept.room.as_str()).collect();
        let there_are = match names.as_slice() {
            [] => format!(
                "none is kept on {code} yet; keep one with `fivebar measure FILE --job {code} --keep`"
            ),
            names => format!("there are: {}", names.join(", ")),
        };
        NodeError::bad_input(format!("there is no room {room:?} on {code}; {there_are}"))
    })
}

fn shown(node: &Node, code: &str) -> Result<Value, NodeError> {
    let lists = node.book().lists();
    let job = named::job(&lists, code)?.job;
    let rooms = lists.rooms_of(job).map(|kept| json!({ "room": kept.room, "text": kept.text }));
    Ok(json!({ "job": code, "rooms": rooms.collect::<Vec<_>>() }))
}

fn keep(node: &mut Node, author: PersonId, code: &str, room: &MeasuredRoom) -> Result<Value, NodeError> {
    if room.text.len() > LONGEST_ROOM {
        return Err(NodeError::bad_input(format!(
            "a room that is kept may have at most {LONGEST_ROOM} bytes, and this one has {}; measure it as two",
            room.text.len()
        )));
    }
    let mut answer = measuring::measure_up(room)?;
    let name = answer["room"].as_str().unwrap_or_default().to_owned();
    write(node, author, code, name, room.text.trim().to_owned())?;
    answer["job"] = json!(code);
    answer["kept"] = json!(true);
    Ok(answer)
}

fn write(node: &mut Node, author: PersonId, code: &str, room: String, text: String) -> Result<(), NodeError> {
    let job = named::job(&node.book().lists(), code)?.job;
    let is_row = |body: &Body| matches!(body, Body::RoomMeasured(held) if held.job == job && room_key(&held.room) == room_key(&room));
    let replaces = named::heads(node, is_row);
    let mut act = node.act(author)?;
    act.replaces = replaces;
    let body = Body::RoomMeasured(RoomMeasured { job, room, text });
    node.append(&[Write { audience: Audience::Crew, payload: Payload { act, body } }])?;
    Ok(())
}
