//! *Now*: what one is doing, and all that one can log.

use askama::Template;
use trade::money::hours_and_minutes;

use crate::frame::{Frame, Tab};
use crate::links::encoded;
use crate::look::Look;
use crate::screens::careful::{self, Careful};
use crate::screens::left::{self, Found};
use crate::screens::log::{self, Log};
use crate::screens::morning::{self, Morning};
use crate::screens::today::{self, Lines};
use crate::screens::unsorted::{self, ToSort};
use projections::words;

/// A job that can be chosen.
pub(crate) struct JobChoice {
    pub(crate) code: String,
    pub(crate) link: String,
    pub(crate) chosen: bool,
}

/// The timer that runs.
pub(crate) struct Running {
    since: String,
    /// As scripts read it.
    stamp: String,
    length: String,
    on: String,
    today: String,
}

/// The screen.
#[derive(Template)]
#[template(path = "now.html")]
pub(crate) struct Now {
    pub(crate) frame: Frame,
    jobs: Vec<JobChoice>,
    found: Found,
    lines: Lines,
    to_sort: ToSort,
    morning: Option<Morning>,
    running: Option<Running>,
    /// The cautions before work, before a test, and before knocking off.
    before_work: Careful,
    before_test: Careful,
    before_knocking_off: Careful,
    /// The name of the stage in hand, or empty.
    stage: String,
    /// None without a job.
    log: Option<Log>,
    mates: Vec<String>,
    today: String,
    breaks: [u32; 5],
    lengths: Vec<(i64, String)>,
}

/// Fills the screen.
pub(crate) fn now(look: &Look<'_>) -> Now {
    let stage = look.stage.map(|stage| stage.name.clone()).unwrap_or_default();
    let code = look.job.map(|job| job.code.clone()).unwrap_or_default();
    let title = match (code.is_empty(), stage.is_empty()) {
        (true, _) => "Now".to_owned(),
        (false, true) => code.clone(),
        (false, false) => format!("{code} · {stage}"),
    };
    let lines = today::lines(look);
    let jobs = look.job_codes().into_iter().map(|job| JobChoice {
        link: encoded(&job),
        chosen: job == code,
        code: job,
    });
    Now {
        frame: look.frame(Tab::Now, title),
        jobs: jobs.collect(),
        found: left::found(look),
        morning: look.viewer.is_owner().then(|| morning::morning(look)),
        running: running(look, lines.minutes_today),
        before_work: careful::before_work(look),
        before_test: careful::before_test(look),
        before_knocking_off: careful::before_knocking_off(look),
        lines,
        to_sort: unsorted::to_sort(look),
        stage,
        log: look.job.map(|_| log::log(look)),
        mates: look.mates(),
        today: look.today.to_string(),
        breaks: [0, 15, 30, 45, 60],
        lengths: (1..=48).map(|quarter| (quarter * 15, hours_and_minutes(quarter * 15))).collect(),
    }
}

fn running(look: &Look<'_>, minutes_before: i64) -> Option<Running> {
    let running = look.running.as_ref()?;
    let minutes = look.now.minutes_since(running.since).max(0);
    let stamp = serde_json::to_value(running.since).ok();
    let site = &running.site;
    Some(Running {
        since: words::when(running.since, look.today).trim_start_matches("today ").to_owned(),
        stamp: stamp.and_then(|stamp| stamp.as_str().map(str::to_owned)).unwrap_or_default(),
        length: hours_and_minutes(minutes),
        on: format!("{}, {}", look.lists.stage(site.stage), look.lists.job(site.job)),
        today: hours_and_minutes(minutes_before.saturating_add(minutes)),
    })
}
