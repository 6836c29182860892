//! Timers of the person at this device.
//!
//! A timer runs by whole minutes, as the clock on the wall shows them, so that the parts of a day
//! add up to the day. Nothing here stops a timer by itself, and nothing changes another person's.

use ledger::site::{Place, Site, WorkStarted, WorkStopped, WorkSwitched};
use ledger::{Audience, Body, EntryRef, Payload, PersonId};
use projections::Lists;
use projections::time_on_job::Running;
use serde_json::{Value, json};
use trade::{Day, Moment};

use crate::command::named;
use crate::error::NodeError;
use crate::node::{Node, Write};

/// The zone of a timer whose job has not come to this device yet.
pub(crate) const HOME_ZONE: &str = "Europe/London";
const MINUTE_MS: i64 = 60_000;

/// Starts this person's timer.
///
/// # Errors
/// A timer that runs already, a name that is not listed, or why nothing was saved.
pub(crate) fn start(
    node: &mut Node,
    author: PersonId,
    job: &str,
    stage: Option<&str>,
    at_ms: i64,
) -> Result<Value, NodeError> {
    let (site, at) = here_and_now(&node.book().lists(), job, stage, at_ms)?;
    if let Some(running) = running(node, author) {
        return Err(NodeError::bad_input(format!(
            "your timer has been running since {} on {}; go over to other work with `fivebar switch`, \
             or end it with `fivebar stop`",
            running.since,
            on_what(&node.book().lists(), &running.site)
        )));
    }
    write(node, author, at, Body::WorkStarted(WorkStarted { site, activity: String::new(), at }))?;
    Ok(shown(node, author, None))
}

/// Ends this person's running timer and goes on elsewhere, at the same minute.
///
/// # Errors
/// No running timer, a name that is not listed, a break longer than the work, or why nothing was saved.
pub(crate) fn switch(
    node: &mut Node,
    author: PersonId,
    job: &str,
    stage: Option<&str>,
    break_minutes: u32,
    at_ms: i64,
) -> Result<Value, NodeError> {
    let (site, at) = here_and_now(&node.book().lists(), job, stage, at_ms)?;
    let running = must_run(node, author)?;
    check_length(&running, at, break_minutes)?;
    let switched = WorkSwitched { running: running.entry, site, activity: String::new(), at, break_minutes };
    write(node, author, at, Body::WorkSwitched(switched))?;
    Ok(shown(node, author, Some(running.entry)))
}

/// Stops this person's running timer: now, or at a time that has passed since it started.
///
/// # Errors
/// No running timer, a time outside of it, a break longer than the work, or why nothing was saved.
pub(crate) fn stop(
    node: &mut Node,
    author: PersonId,
    break_minutes: u32,
    time: Option<&str>,
    at_ms: i64,
) -> Result<Value, NodeError> {
    let running = must_run(node, author)?;
    let at = {
        let lists = node.book().lists();
        let zone = lists.jobs.get(&running.site.job).map_or(HOME_ZONE, |job| job.time_zone.as_str());
        let now = whole_minute(at_ms, zone)?;
        time.map_or(Ok(now), |time| since_start(time, zone, &running, now))?
    };
    check_length(&running, at, break_minutes)?;
    write(node, author, at, Body::WorkStopped(WorkStopped { running: running.entry, at, break_minutes }))?;
    Ok(shown(node, author, Some(running.entry)))
}

/// This person's running timer; of several, which only devices apart can start, the last.
fn running(node: &Node, author: PersonId) -> Option<Running> {
    let own = node.book().running().into_iter().filter(|running| running.entry.person == author);
    own.max_by_key(|running| (running.since, running.entry))
}

fn must_run(node: &Node, author: PersonId) -> Result<Running, NodeError> {
    running(node, author).ok_or_else(|| {
        NodeError::bad_input("you have no timer running; begin one with `fivebar start --job JOB`")
    })
}

/// Refuses an end before the beginning, and a break that leaves less than nothing.
fn check_length(running: &Running, at: Moment, break_minutes: u32) -> Result<(), NodeError> {
    let length = at.minutes_since(running.since);
    if length < 0 {
        return Err(NodeError::bad_input(format!("{at} is before the timer started, {}", running.since)));
    }
    if i64::from(break_minutes) > length {
        return Err(NodeError::bad_input(format!(
            "a break of {break_minutes} min is longer than the {length} min since {}",
            running.since
        )));
    }
    Ok(())
}

/// A clock time alone is the first one after the timer started: who forgot it overnight means the
/// evening before.
fn since_start(time: &str, zone: &str, running: &Running, now: Moment) -> Result<Moment, NodeError> {
    let wrong = |error| NodeError::bad_input(format!("--at {time}: {error}"));
    let on = |day: Day| Moment::parse(&format!("{day}T{time:0>5}"), zone).map_err(wrong);
    let at = if time.contains('T') {
        Moment::parse(time, zone).map_err(wrong)?
    } else {
        let day = running.since.day();
        let same_day = on(day)?;
        if same_day.utc_ms() < running.since.utc_ms() { on(day.plus_days(1))? } else { same_day }
    };
    if at.utc_ms() > now.utc_ms() {
        return Err(NodeError::bad_input(format!(
            "--at {time}: since the timer started, {}, it has not been that late; it is {now} now",
            running.since
        )));
    }
    Ok(at)
}

fn whole_minute(now_ms: i64, zone: &str) -> Result<Moment, NodeError> {
    Moment::in_zone(now_ms - now_ms.rem_euclid(MINUTE_MS), zone)
        .map_err(|error| NodeError::bad_input(format!("the clock: {error}")))
}

fn here_and_now(
    lists: &Lists<'_>,
    job: &str,
    stage: Option<&str>,
    now_ms: i64,
) -> Result<(Site, Moment), NodeError> {
    let job = named::job(lists, job)?;
    let stage = stage.map(|name| named::stage(lists, job, name)).transpose()?;
    let site = Site { job: job.job, stage: stage.map(|stage| stage.stage), place: Place::default() };
    Ok((site, whole_minute(now_ms, &job.time_zone)?))
}

fn write(node: &mut Node, author: PersonId, at: Moment, body: Body) -> Result<(), NodeError> {
    let mut act = node.act(author)?;
    act.done_on = at.day();
    node.append(&[Write { audience: Audience::Crew, payload: Payload { act, body } }])?;
    Ok(())
}

/// `stud walls, GARAGE`.
fn on_what(lists: &Lists<'_>, site: &Site) -> String {
    format!("{}, {}", lists.stage(site.stage), lists.job(site.job))
}

/// What runs now, and how long the timer was that ended: read back from the book.
fn shown(node: &Node, author: PersonId, ended: Option<EntryRef>) -> Value {
    let lists = node.book().lists();
    let running = running(node, author).map(|running| {
        json!({ "job": lists.job(running.site.job), "stage": lists.stage(running.site.stage),
            "since": running.since.to_string() })
    });
    let spells = node.book().spells();
    let ended = spells.iter().find(|spell| Some(spell.entry) == ended).map(|spell| {
        json!({ "job": lists.job(spell.site.job), "stage": lists.stage(spell.site.stage),
            "minutes": spell.minutes })
    });
    json!({ "running": running, "ended": ended })
}

#[cfg(test)]
pub(crate) mod tests {
    use std::path::Path;

    use super::*;
    use crate::command::{Command, run};
    use crate::entries::entries;

    const SCENARIO: &str = concat!(env!("CARGO_MANIFEST_DIR"), "/../../tests/scenario");

    pub(crate) fn found(folder: &Path) -> Node {
        let lists = folder.join("lists");
        std::fs::create_dir(&lists).unwrap();
        for name in ["crew.csv", "price-book.csv", "firm.csv", "jobs.csv", "stages.csv", "estimate.csv"] {
            std::fs::copy(Path::new(SCENARIO).join(name), lists.join(name)).unwrap();
        }
        let (mut node, _) = Node::found(&folder.join("data"), "Oake Rooms", "Maren Oake", "laptop").unwrap();
        run(&mut node, Command::Import { dir: lists, devices: Vec::new() }).unwrap();
        node
    }

    fn ms(text: &str) -> i64 {
        Moment::parse(text, "Europe/London").unwrap().utc_ms()
    }

    pub(crate) fn refused(result: Result<Value, NodeError>) -> String {
        result.unwrap_err().to_string()
    }

    #[test]
    fn a_day_by_timer_adds_up() {
        let folder = tempfile::tempdir().unwrap();
        let mut node = found(folder.path());
        let maren = node.device().person;
        let message = refused(stop(&mut node, maren, 0, None, ms("2026-07-06T08:00")));
        assert!(message.contains("no timer running"), "{message}");

        // British Summer Time: the job's own clock is an hour ahead of UTC. Seconds fall away.
        let begun = start(&mut node, maren, "GARAGE", Some("stud walls"), ms("2026-07-06T08:00:40")).unwrap();
        assert_eq!(begun["running"]["since"], "2026-07-06T08:00");
        let message = refused(start(&mut node, maren, "MILL", None, ms("2026-07-06T09:00")));
        assert!(message.contains("since 2026-07-06T08:00 on stud walls, GARAGE"), "{message}");
        assert!(message.contains("fivebar switch") && message.contains("fivebar stop"), "{message}");

        let message = refused(switch(&mut node, maren, "GARAGE", None, 90, ms("2026-07-06T09:00")));
        assert!(message.contains("90 min is longer than the 60 min"), "{message}");
        let switched =
            switch(&mut node, maren, "GARAGE", Some("boarding"), 30, ms("2026-07-06T12:12:05")).unwrap();
        assert_eq!(switched["ended"]["minutes"], 222); // 4 h 12 less half an hour
        assert_eq!(switched["running"]["stage"], "boarding");

        // Forgotten until the next morning: 16:30 is the evening before.
        let next_morning = ms("2026-07-07T07:30");
        let message = refused(stop(&mut node, maren, 0, Some("11:00"), next_morning));
        assert!(message.contains("has not been that late"), "{message}");
        let stopped = stop(&mut node, maren, 0, Some("16:30"), next_morning).unwrap();
        assert_eq!((&stopped["ended"]["minutes"], &stopped["running"]), (&json!(258), &Value::Null));

        let day = "2026-07-06".parse().ok();
        let listed = entries(&node, Some("GARAGE"), day).unwrap();
        assert_eq!(listed["entries"].as_array().map(Vec::len), Some(3), "{listed}");
        assert_eq!(entries(&node, Some("MILL"), day).unwrap()["entries"], json!([]));
    }

    #[test]
    fn names_that_are_not_listed_are_answered_with_those_that_are() {
        let folder = tempfile::tempdir().unwrap();
        let mut node = found(folder.path());
        let maren = node.device().person;
        let now = ms("2026-07-06T08:00");
        let message = refused(start(&mut node, maren, "GARGE", None, now));
        assert!(message.contains("there are: GARAGE, MILL"), "{message}");
        let message = refused(start(&mut node, maren, "GARAGE", Some("studs"), now));
        assert!(message.contains("there are: stud walls, first fix water"), "{message}");
        assert!(node.book().running().is_empty());
    }
}
