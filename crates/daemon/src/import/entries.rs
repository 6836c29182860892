//! Rows of `entries.csv`, one site action each, into events.
//!
//! Every row is checked, also those of devices that are left out, since another row may correct it.
//! Rows are planned in the order in which they were logged, whatever their order in the file.

use std::collections::{BTreeMap, BTreeSet};

use ledger::{Act, EntryId, EntryRef, Payload};
use trade::{Day, Moment};

use super::actions::{Told, read_action};
use super::cells::{Cells, complain_of_repeats};
use super::corrections::{self, Standing};
use super::kinds::{EntryKind, KINDS};
use super::known::{DEFAULT_ZONE, Known, KnownJob};
use super::lists::audience_of;
use super::paid;
use super::table::Row;
use super::{Planned, Work};

/// The file whose rows these are, as it goes into the entries' ids.
pub(super) const TABLE: &str = "entries";

/// A row whose frame is sound: who logged it, when and on which job.
pub(super) struct Entry<'r> {
    pub(super) row: &'r Row,
    pub(super) reference: EntryRef,
    pub(super) kind: EntryKind,
    pub(super) at: Moment,
    pub(super) done_on: Option<Day>,
    /// Given for every kind that needs one.
    pub(super) job: Option<KnownJob>,
    /// The zone that times without an offset are in.
    pub(super) zone: String,
}

impl<'r> Entry<'r> {
    pub(super) fn key(&self) -> &'r str {
        self.row.text("entry")
    }

    /// The day it was done, where the entry itself does not say a time.
    pub(super) fn day(&self) -> Day {
        self.done_on.unwrap_or_else(|| self.at.day())
    }
}

/// The rows by their keys: those whose frame is sound, and the keys of all.
pub(super) struct Keys<'e, 'r> {
    pub(super) sound: BTreeMap<&'r str, &'e Entry<'r>>,
    pub(super) all: BTreeSet<&'r str>,
}

pub(super) fn plan_entries(rows: &[Row], known: &Known<'_>, work: &mut Work<'_>) {
    complain_of_repeats(rows, &["entry"], &mut work.bad);
    let jobs_of_rows: BTreeMap<_, _> = rows.iter().map(|row| (row.text("entry"), row.text("job"))).collect();
    let mut entries: Vec<_> =
        rows.iter().filter_map(|row| read_frame(row, &jobs_of_rows, known, work)).collect();
    entries.sort_by_key(|entry| (entry.at.utc_ms(), entry.key()));

    let keys = Keys {
        sound: entries.iter().map(|entry| (entry.key(), entry)).collect(),
        all: rows.iter().map(|row| row.text("entry")).collect(),
    };
    let mut standings = BTreeMap::new();
    let mut told: BTreeMap<usize, Told> = BTreeMap::new();
    for (at, entry) in entries.iter().enumerate().filter(|(_, entry)| !entry.kind.is_change()) {
        work.rows_read(1);
        if let Some(read) = read_action(entry, &keys, known, &mut work.bad) {
            let standing = Standing::of(&read.body, entry.row.text("unit"));
            standings.extend(standing.map(|standing| (entry.key(), standing)));
            told.insert(at, read);
        }
    }
    for (at, entry) in entries.iter().enumerate().filter(|(_, entry)| entry.kind.is_change()) {
        work.rows_read(1);
        let target = corrections::find_target(entry, &keys, known, work);
        let read = target.and_then(|target| {
            let day = entry.at.day();
            let mut cells = Cells::new(entry.row, &mut work.bad);
            corrections::read_change(entry, day, &target, &mut standings, known, &mut cells)
        });
        told.extend(read.map(|read| (at, read)));
    }
    for (at, entry) in entries.iter().enumerate() {
        note_idle_cells(entry, work);
        if let Some(told) = told.remove(&at) {
            plan_entry(entry, told, work);
        }
    }
    if let Some(devices) = work.context.devices {
        for device in devices.iter().filter(|device| !rows.iter().any(|row| row.text("device") == **device)) {
            work.warn(format!("entries.csv: no row is from device {device:?}."));
        }
    }
}

fn note_idle_cells(entry: &Entry<'_>, work: &mut Work<'_>) {
    for column in entry.kind.idle_columns().into_iter().filter(|column| !entry.row.text(column).is_empty()) {
        let idle = work.idle_cells.entry((entry.kind.word(), column)).or_insert((entry.row.line, 0));
        *idle = (idle.0.min(entry.row.line), idle.1 + 1);
    }
}

fn read_frame<'r>(
    row: &'r Row,
    jobs_of_rows: &BTreeMap<&str, &str>,
    known: &Known<'_>,
    work: &mut Work<'_>,
) -> Option<Entry<'r>> {
    let crew = work.context.crew;
    let mut cells = Cells::new(row, &mut work.bad);
    let key = cells.required("entry");
    let device = cells.required("device");
    let kind = cells.word("kind", &KINDS);
    let is_change = kind.is_some_and(EntryKind::is_change);
    let person = cells.required("person").and_then(|name| {
        let person = known.person(name);
        if person.is_none() {
            cells.complain("person", format!("there is nobody called {name:?} in crew.csv or in the ledger"));
        }
        person
    });
    let code = row.text("job");
    let job = known.job(code);
    let needs_job = kind.is_none_or(EntryKind::needs_job);
    if code.is_empty() && needs_job {
        cells.complain("job", "must not be empty");
    } else if job.is_none() && !code.is_empty() {
        cells.complain("job", format!("there is no job {code:?} in jobs.csv or in the ledger"));
    }
    if !is_change && !row.text("corrects").is_empty() {
        cells.complain("corrects", "only corrected and struck name another entry; leave this empty");
    }
    let corrected_job = || jobs_of_rows.get(row.text("corrects")).and_then(|code| known.job(code));
    let zone = job.clone().or_else(corrected_job).map_or_else(|| DEFAULT_ZONE.to_owned(), |job| job.zone);
    let at = cells.required("at").and_then(|_| cells.moment("at", &zone)).flatten();
    let done_on = cells.day("done_on");
    if job.is_none() && (needs_job || !code.is_empty()) {
        return None;
    }
    device?;
    let reference = EntryRef { person: person?, entry: EntryId::of_row(&crew, TABLE, key?) };
    Some(Entry { row, reference, kind: kind?, at: at?, done_on: done_on?, job, zone })
}

fn plan_entry(entry: &Entry<'_>, told: Told, work: &mut Work<'_>) {
    let devices = work.context.devices;
    if devices.is_some_and(|devices| !devices.contains(entry.row.text("device"))) {
        return;
    }
    // Hours say their own times; for the rest, when it was logged says when it was done, if on that day.
    let timed = !entry.kind.is_change() && entry.kind != EntryKind::Hours && entry.at.day() == told.done_on;
    let act = Act {
        person: entry.reference.person,
        author: work.context.author,
        entry: entry.reference.entry,
        done_on: told.done_on,
        done_at: timed.then(|| entry.at.minute_of_day()),
        logged_at: entry.at,
        row_key: entry.key().to_owned(),
        said: super::actions::join_words(entry.row.text("said"), &told.said),
        note: told.note,
        replaces: Vec::new(),
    };
    let audience = audience_of(&told.body);
    let payload = Payload { act, body: told.body };
    // A change is kept with the entry that it is about.
    let held = match told.supersedes.first() {
        Some(changed) => work.context.held.change_of(changed, &entry.reference),
        None => work.context.held.event_of(&entry.reference),
    };
    match held {
        Some((_, held)) if corrections::says_the_same(&payload, &held) => work.plan.already_held += 1,
        Some(_) => {
            let reason = "already imported with other content; log a correction instead (kind corrected)";
            work.bad.push(entry.row.bad("entry", reason));
        }
        None => work.write(entry.row, Planned { payload, audience, supersedes: told.supersedes }),
    }
    if let Some(price) = told.price {
        paid::plan_price(entry, told.done_on, price, work);
    }
}
