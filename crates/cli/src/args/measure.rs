//! The words for measuring up: a room from a file or from lines, and where its lines and drawings go.

use std::path::{Path, PathBuf};

use clap::Args;
use daemon::NodeError;
use daemon::command::{CostedRoom, MeasuredRoom};
use trade::Rate;

/// The crew's own figures for measuring up, in the data folder.
const OWN_FIGURES: &str = "measuring.txt";

/// Measuring up a room.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
  fivebar measure shower-room.txt
  fivebar measure shower-room.txt --drawings drawings/    a drawing of each wall's studs and boards
  fivebar measure shower-room.txt --job GARAGE            with what it costs
  fivebar measure shower-room.txt --job GARAGE --save     into the job's costing
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
    #[arg(value_name = "FILE", required_unless_present_any = ["line", "figures"])]
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
        let usual = data.join(OWN_FIGURES);
        match &self.own {
            Some(file) => read(file),
            None if usual.is_file() => read(&usual),
            None => Ok(String::new()),
        }
    }

    /// The room.
    pub(crate) fn room(&self, data: &Path) -> Result<MeasuredRoom, NodeError> {
        let mut text = match &self.file {
            Some(file) => read(file)?,
            None => String::new(),
        };
        for line in &self.line {
            text.push('\n');
            text.push_str(line);
        }
        Ok(MeasuredRoom { own: self.own(data)?, text })
    }

    /// What is asked of the node, if a job is named.
    pub(crate) fn costed(&self, room: MeasuredRoom) -> Option<CostedRoom> {
        let rates = self.hour_cost.zip(self.hour_charge);
        self.job.clone().map(|job| CostedRoom { room, job, rates, save: self.save })
    }
}

fn read(file: &Path) -> Result<String, NodeError> {
    std::fs::read_to_string(file).map_err(|cause| NodeError::Folder {
        path: file.display().to_string(),
        cause: format!("it can't be read: {cause}"),
    })
}
