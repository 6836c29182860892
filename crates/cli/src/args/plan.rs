//! The words for planning a day: what stages need, tasks to fill a gap with, limits, and what slips.

use clap::{Args, Subcommand, ValueEnum};
use daemon::command::{
    Bound, FillInState, FillInWish, LimitWish, NeedKind, NeedState, NeedWish, PlanCommand, Reach,
};
use daemon::{Command, NodeError};

/// Something that a stage needs before it is ready, beside material.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
  fivebar need GARAGE                                             what its stages need
  fivebar need GARAGE tiling people 2
  fivebar need GARAGE tiling gear 'tile saw'                      there once it is hired under that name
  fivebar need GARAGE tiling choice 'which grout'
  fivebar need GARAGE tiling choice 'which grout' --met 'light grey, by message'
  fivebar need GARAGE boarding inspector 'building control' --drop")]
pub(crate) struct Need {
    /// The job.
    job: String,
    /// The stage.
    #[arg(requires = "kind")]
    stage: Option<String>,
    /// What sort of thing.
    #[arg(value_enum, requires = "what")]
    kind: Option<NeedWord>,
    /// What; for people, how many.
    what: Option<String>,
    /// It is met, and how: what was chosen, who looked.
    #[arg(long, value_name = "HOW", conflicts_with = "drop")]
    met: Option<String>,
    /// It is no need any more.
    #[arg(long)]
    drop: bool,
}

/// The sorts of things that a stage needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum NeedWord {
    /// Hands.
    People,
    /// Something hired.
    Gear,
    /// Something that the customer has to choose.
    Choice,
    /// Somebody from outside who has to look first.
    Inspector,
}

impl Need {
    pub(crate) fn command(self) -> Command {
        let (Some(stage), Some(kind), Some(what)) = (self.stage, self.kind, self.what) else {
            return Command::Plan(PlanCommand::Needs { job: self.job });
        };
        let kind = match kind {
            NeedWord::People => NeedKind::People,
            NeedWord::Gear => NeedKind::HiredGear,
            NeedWord::Choice => NeedKind::CustomersChoice,
            NeedWord::Inspector => NeedKind::Inspector,
        };
        let state = match self.met {
            Some(how) => NeedState::Met(how),
            None if self.drop => NeedState::Dropped,
            None => NeedState::Open,
        };
        Command::Plan(PlanCommand::Need(NeedWish { job: self.job, stage, kind, what, state }))
    }
}

/// Tasks for the time in which something sets.
#[derive(Debug, Clone, Subcommand)]
pub(crate) enum FillIn {
    /// List a task, or say it anew.
    #[command(after_help = "\
  fivebar fill-in add GARAGE 'cut the reveal beads' --minutes 30 --can-drop --reach earshot
  fivebar fill-in add GARAGE 'chase the last back box' --minutes 45 --dusty --reach far --stage 'first fix electrics'")]
    Add {
        /// The job.
        job: String,
        /// What is to do.
        what: String,
        /// How long it takes.
        #[arg(long)]
        minutes: u32,
        /// The stage that its hours go to.
        #[arg(long)]
        stage: Option<String>,
        /// Where.
        #[arg(long, default_value = "")]
        room: String,
        /// It can be left in the middle.
        #[arg(long)]
        can_drop: bool,
        /// It makes dust.
        #[arg(long)]
        dusty: bool,
        /// How far it takes you from what is setting.
        #[arg(long, value_enum, default_value_t = ReachWord::Earshot)]
        reach: ReachWord,
    },
    /// It is done.
    Done {
        /// The job.
        job: String,
        /// The task.
        what: String,
    },
    /// Nobody needs it any more.
    Drop {
        /// The job.
        job: String,
        /// The task.
        what: String,
    },
    /// What fits the gap: until the next thing is over that sets, or as long as you say.
    #[command(after_help = "  fivebar fill-in fits GARAGE\n  fivebar fill-in fits GARAGE --minutes 90 --wet")]
    Fits {
        /// The job; all of them without one.
        job: Option<String>,
        /// How long the gap is.
        #[arg(long)]
        minutes: Option<u32>,
        /// Something wet is on: no dust, and nothing out of earshot. Otherwise what was logged says it.
        #[arg(long)]
        wet: bool,
    },
}

/// How far away a task is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub(crate) enum ReachWord {
    /// In the same room.
    Room,
    /// Where you hear a call.
    Earshot,
    /// Where you hear nothing.
    Far,
}

impl FillIn {
    pub(crate) fn command(self) -> Command {
        let became = |job, what, state| PlanCommand::FillInBecame { job, what, state };
        Command::Plan(match self {
            Self::Add { job, what, minutes, stage, room, can_drop, dusty, reach } => {
                let reach = match reach {
                    ReachWord::Room => Reach::SameRoom,
                    ReachWord::Earshot => Reach::WithinEarshot,
                    ReachWord::Far => Reach::OutOfEarshot,
                };
                let can_be_dropped = can_drop;
                PlanCommand::FillIn(FillInWish {
                    job,
                    what,
                    stage,
                    room,
                    minutes,
                    can_be_dropped,
                    dusty,
                    reach,
                })
            }
            Self::Done { job, what } => became(job, what, FillInState::Done),
            Self::Drop { job, what } => became(job, what, FillInState::Dropped),
            Self::Fits { job, minutes, wet } => {
                PlanCommand::FillIns { job, minutes, wet: wet.then_some(true) }
            }
        })
    }
}

/// What slips.
#[derive(Debug, Clone, Args)]
#[command(after_help = "  fivebar slips GARAGE tanking --hours 8")]
pub(crate) struct Slips {
    /// The job.
    job: String,
    /// The stage.
    stage: String,
    /// By so many hours of work.
    #[arg(long, default_value_t = 8)]
    hours: u32,
}

impl Slips {
    pub(crate) fn command(self) -> Command {
        Command::Plan(PlanCommand::Slips { job: self.job, stage: self.stage, hours: self.hours })
    }
}

/// A limit for a kind of test on a job.
#[derive(Debug, Clone, Args)]
#[command(after_help = "\
  fivebar limit GARAGE 'screed moisture' '<75' '% RH' --source 'the floor maker’s sheet'
  fivebar limit GARAGE 'screed moisture' --forget")]
pub(crate) struct LimitWords {
    /// The job.
    job: String,
    /// The kind of test.
    what: String,
    /// '>1' at least, '<75' at most.
    #[arg(requires = "unit", required_unless_present = "forget")]
    limit: Option<String>,
    /// Its unit.
    #[arg(requires = "source")]
    unit: Option<String>,
    /// Who sets it: the maker, the drawing, a standard.
    #[arg(long, value_name = "WHO")]
    source: Option<String>,
    /// No such limit any more.
    #[arg(long, conflicts_with_all = ["limit", "source"])]
    forget: bool,
}

impl LimitWords {
    pub(crate) fn command(self) -> Result<Command, NodeError> {
        let limit = match (self.limit, self.unit, self.source) {
            (Some(limit), Some(unit), Some(source)) => {
                let (bound, number) = match limit.split_at_checked(1) {
                    Some((">", number)) => (Bound::Above, number),
                    Some(("<", number)) => (Bound::Below, number),
                    _ => (Bound::Exactly, limit.as_str()),
                };
                let wrong = |error| {
                    NodeError::BadInput(vec![format!(
                        "{limit:?} is no limit, as '>1' and '<75' are: {error}"
                    )])
                };
                Some((bound, number.trim().parse().map_err(wrong)?, unit, source))
            }
            _ => None,
        };
        Ok(Command::Plan(PlanCommand::SetLimit(LimitWish { job: self.job, what: self.what, limit })))
    }
}
