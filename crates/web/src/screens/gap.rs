//! The hour while something sets: what is wet, which small tasks fit until it is time to look again, and
//! why the others don't. It tells the earliest moment; the hand and the eye say the rest.

use ledger::site::Reach;
use projections::fill_ins::FillIn;
use projections::{Gap, fill_ins, wet};

use crate::look::{Asked, Look};
use projections::words;

/// The gap that is looked at where nothing tells how long it is, in minutes.
const USUAL_MINUTES: u32 = 60;

/// A task on the screen.
pub(crate) struct Task {
    pub(crate) what: String,
    pub(crate) minutes: u32,
    /// `can be dropped, same room`; with the reason where it does not fit.
    pub(crate) marks: String,
}

/// What the screen shows of a gap.
pub(crate) struct Filling {
    /// What sets, and until when.
    pub(crate) setting: Vec<String>,
    pub(crate) minutes: u32,
    /// The lengths that one press looks at.
    pub(crate) lengths: Vec<u32>,
    pub(crate) fitting: Vec<Task>,
    pub(crate) others: Vec<Task>,
}

/// Fills it for the job in hand.
pub(crate) fn filling(look: &Look<'_>, asked: &Asked) -> Filling {
    let stages = look.book.stages(&look.lists);
    let job = look.job.map(|job| job.job);
    let setting = job.map(|job| wet(look.book, &look.lists, &stages, job, look.now)).unwrap_or_default();
    let minutes = asked.what.parse::<u32>().ok().filter(|minutes| (1..=480).contains(minutes));
    let minutes = minutes.or_else(|| setting.iter().find_map(|wet| wet.minutes)).unwrap_or(USUAL_MINUTES);
    let gap = Gap { minutes, wet: !setting.is_empty() };
    let tasks = if job.is_some() { fill_ins(&look.lists, job, gap) } else { Vec::new() };
    let (fitting, others): (Vec<_>, Vec<_>) = tasks.into_iter().partition(|task| task.unfit.is_none());
    let setting = setting.into_iter().map(|wet| match wet.until {
        Some(until) => {
            let until = words::when(until, look.today);
            format!("{}: until {until} at the earliest; check by eye and touch", wet.what)
        }
        None => format!("{}: no dust, stay in earshot", wet.what),
    });
    Filling {
        setting: setting.collect(),
        minutes,
        lengths: vec![15, 30, 60, 90, 120],
        fitting: fitting.iter().map(task).collect(),
        others: others.iter().map(task).collect(),
    }
}

fn task(task: &FillIn) -> Task {
    let reach = match task.reach {
        Reach::SameRoom => "same room",
        Reach::WithinEarshot => "in earshot",
        Reach::OutOfEarshot => "out of earshot",
    };
    let marks = [
        Some(reach.to_owned()),
        task.can_be_dropped.then(|| "can be dropped".to_owned()),
        task.dusty.then(|| "dusty".to_owned()),
        (!task.room.is_empty()).then(|| task.room.clone()),
        task.stage.clone(),
        task.unfit.map(|unfit| unfit.to_string()),
    ];
    let marks: Vec<String> = marks.into_iter().flatten().collect();
    Task { what: task.what.clone(), minutes: task.minutes, marks: marks.join(", ") }
}
