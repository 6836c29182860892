//! The words for measuring up: a room from a file or from lines, and where its lines and drawings go.

use std::path::{Path, PathBuf};

use clap::Args;
use daemon::NodeError;
use daemon::command::{CostedRoom, MeasuredRoom, RoomCommand, own_figures};
use trade::Rate;

/// Measuring up a room.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
  fivebar measure shower-room.txt
  fivebar measure shower-room.txt --drawings drawings/    a drawing of each wall's studs and boards
  fivebar measure shower-room.txt --job GARAGE            with what it costs
  fivebar measure shower-room.txt --job GARAGE --save     into the job's costing
  fivebar measure shower-room.txt --job GARAGE --keep     the room is kept with the job, for the whole crew
  fivebar measure --job GARAGE --kept 'Shower room'       a room that is kept, with what it costs
  fivebar measure shelf.txt --job GARAGE --extra 7f3a90c1 --save    what an extra sells for
  fivebar measure --job GARAGE --rooms                    the rooms that are kept
  fivebar measure --line 'room: Store' --line 'wall back: 3.6m x 2400, studs 400, board both sides, skim'
  fivebar measure --figures                               every figure that it goes by, and its source

A room is a plain file, one thing a line:
  room: Shower room
  set stud centres: 400
  wall north: 4200 x 2400, studs from left, board, skim, paint
    door: 838 x 2032 at 1500
  wall east: 3000 x 2400, studs, board moisture board, tank, tile wall tile 300x600x9 to 2100 weight 15
    window: 600 x 900 at 1200, up 1100
  ceiling: 4200 x 3000, joists already, board lying, skim, paint
  boxing soil stack: 2400, faces 200 + 150
  pipe hot: 3200 + 1500 + 800, of pipe 15 plastic, tees 1, valves 2
  cable lights: 6000 + 2400, of 1.5, 6 A, lighting
  cylinder: 150 litres, stored 60, mixed 40, cold 10, 3 kW
  item wall tile 300x600x9: what the price book calls it
  stage painting: second fix
Lengths are millimetres unless they say cm or m. Your own figures (set, item and stage lines) in
measuring.txt of the data folder hold for every room.")]
pub(crate) struct Measure {
    /// The room's file.
    #[arg(value_name = "FILE", required_unless_present_any = ["line", "figures", "kept", "rooms", "drop"])]
    file: Option<PathBuf>,
    /// A line of a room, behind those of the file. More than one may be given.
    #[arg(long, value_name = "LINE")]
    line: Vec<String>,
    /// Where drawings of the walls and ceilings go, as SVG.
    #[arg(long, value_name = "DIR")]
    pub(crate) drawings: Option<PathBuf>,
    /// Your own figures, if not measuring.txt of the data folder.
    #[arg(long, value_name = "FILE")]
    own: Option<PathBuf>,
    /// The job whose costing it is for.
    #[arg(long)]
    job: Option<String>,
    /// Keep the room with the job, in place of one of the same name.
    #[arg(long, requires = "job", conflicts_with = "kept")]
    keep: bool,
    /// A room that is kept with the job, in place of a file.
    #[arg(long, value_name = "ROOM", requires = "job", conflicts_with_all = ["file", "line"])]
    kept: Option<String>,
    /// Show the rooms that are kept with the job instead.
    #[arg(long, requires = "job", conflicts_with_all = ["file", "line", "kept", "keep", "save"])]
    rooms: bool,
    /// Take a room that is kept out again.
    #[arg(long, value_name = "ROOM", requires = "job", conflicts_with_all = ["file", "line", "kept", "keep", "save", "rooms"])]
    drop: Option<String>,
    /// The room is an extra: the key of the entry in which it was asked for or agreed. With --save its price is
    /// set, and once the customer said yes at a price its lines go under its own stage; that price then stays.
    #[arg(long, value_name = "ENTRY", requires = "job")]
    extra: Option<String>,
    /// Put the lines into the job's costing.
    #[arg(long, requires = "job")]
    save: bool,
    /// What an hour costs, in pounds, if not what yours does.
    #[arg(long, value_name = "POUNDS", requires_all = ["hour_charge", "job"])]
    hour_cost: Option<Rate>,
    /// What an hour is charged at.
    #[arg(long, value_name = "POUNDS", requires_all = ["hour_cost", "job"])]
    hour_charge: Option<Rate>,
    /// Show the figures that it goes by instead.
    #[arg(long, conflicts_with_all = ["file", "line", "job", "drawings"])]
    pub(crate) figures: bool,
}

impl Measure {
    /// The crew's own figures; none if nobody wrote any.
    pub(crate) fn own(&self, data: &Path) -> Result<String, NodeError> {
        self.own.as_deref().map_or_else(|| own_figures(data), read)
    }

    /// The room.
    pub(crate) fn room(&self, data: &Path) -> Result<MeasuredRoom, NodeError> {
        let mut text = match &self.file {
            Some(file) => read(file)?,
            None => String::new(),
        };
        for line in &self.line {
            if !text.is_empty() {
                text.push('\n');
            }
            text.push_str(line);
        }
        Ok(MeasuredRoom { own: Some(self.own(data)?), text })
    }

    /// What is asked of the node of the rooms that are kept, where that is all that is wanted.
    pub(crate) fn rooms(&self) -> Option<RoomCommand> {
        let job = self.job.clone()?;
        match &self.drop {
            Some(room) => Some(RoomCommand::Drop { job, room: room.clone() }),
            None => self.rooms.then_some(RoomCommand::Kept { job, room: None }),
        }
    }

    /// How a room that is kept is asked for, where it stands in place of a file.
    pub(crate) fn kept(&self) -> Option<RoomCommand> {
        let (job, room) = (self.job.clone()?, self.kept.clone()?);
        Some(RoomCommand::Kept { job, room: Some(room) })
    }

    /// What is asked of the node with a room, in this order; nothing where no job is named. To keep a room
    /// needs no prices, so its costing is asked for only where it is to be saved.
    pub(crate) fn of_job(&self, room: &MeasuredRoom) -> Vec<RoomCommand> {
        let Some(job) = &self.job else { return Vec::new() };
        let rates = self.hour_cost.zip(self.hour_charge);
        let keep = self.keep.then(|| RoomCommand::Keep { job: job.clone(), room: room.clone() });
        let cost = CostedRoom {
            room: room.clone(),
            job: job.clone(),
            rates,
            extra: self.extra.clone(),
            save: self.save,
        };
        let cost = RoomCommand::Cost(cost);
        keep.into_iter().chain((self.save || !self.keep).then_some(cost)).collect()
    }
}

fn read(file: &Path) -> Result<String, NodeError> {
    std::fs::read_to_string(file).map_err(|cause| NodeError::Folder {
        path: file.display().to_string(),
        cause: format!("it can't be read: {cause}"),
    })
}
