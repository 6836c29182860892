//! Rows of `entries.csv`, one site action each, into events.
//!
//! Every row is checked, also those of devices that are left out, since another row may correct it.
//! Rows are planned in the order in which they were logged, whatever their order in the file.

use std::collections::{BTreeMap, BTreeSet};

use ledger::site::{
    Amount, Bought, Delivered, ExtraAgreed, ExtraAsked, ExtraDeclined, ExtraTerms, Hours, LeftOff, Note,
    PaidBy, Reopened, Returned, SaidHow, SignedOff, Site, SnagRaised, StockPlace, Test, Used, WasteCount,
    Wasted, Whose, Worked,
};
use ledger::{Act, Body, EntryId, EntryRef, ItemId, Payload};
use trade::{Day, Moment};

use super::cells::{Cells, complain_of_repeats};
use super::corrections::{self, Standing};
use super::known::{DEFAULT_ZONE, Known, KnownJob};
use super::lists::audience_of;
use super::measures::{read_amount, read_item, read_place, read_value, read_worked};
use super::table::Row;
use super::{BadRow, Planned, Work};

/// The file whose rows these are, as it goes into the entries' ids.
const TABLE: &str = "entries";

/// The kinds of entry that a row may be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum EntryKind {
    Hours,
    Used,
    Wasted,
    Returned,
    Delivered,
    Bought,
    Reading,
    Note,
    Snag,
    Asked,
    Agreed,
    Declined,
    LeftOff,
    SignedOff,
    Reopened,
    Corrected,
    Struck,
}

const KINDS: [(&str, EntryKind); 17] = [
    ("hours", EntryKind::Hours),
    ("used", EntryKind::Used),
    ("wasted", EntryKind::Wasted),
    ("returned", EntryKind::Returned),
    ("delivered", EntryKind::Delivered),
    ("bought", EntryKind::Bought),
    ("reading", EntryKind::Reading),
    ("note", EntryKind::Note),
    ("snag", EntryKind::Snag),
    ("asked", EntryKind::Asked),
    ("agreed", EntryKind::Agreed),
    ("declined", EntryKind::Declined),
    ("left-off", EntryKind::LeftOff),
    ("signed-off", EntryKind::SignedOff),
    ("reopened", EntryKind::Reopened),
    ("corrected", EntryKind::Corrected),
    ("struck", EntryKind::Struck),
];

impl EntryKind {
    fn word(self) -> &'static str {
        KINDS.iter().find(|(_, kind)| *kind == self).map_or("", |(word, _)| word)
    }

    fn is_change(self) -> bool {
        matches!(self, Self::Corrected | Self::Struck)
    }

    /// The columns that a row of this kind has no use for.
    fn idle_columns(self) -> &'static [&'static str] {
        const WORK: [&str; 4] = ["from", "to", "break_min", "minutes"];
        const TEXT: [&str; 6] = ["quantity", "unit", "from", "to", "break_min", "minutes"];
        match self {
            Self::Hours => &["quantity", "unit"],
            Self::Used | Self::Wasted | Self::Returned | Self::Delivered | Self::Reading => &WORK,
            Self::Bought => &["from", "to", "break_min", "minutes", "stage", "where"],
            Self::Note
            | Self::Snag
            | Self::Asked
            | Self::Agreed
            | Self::Declined
            | Self::LeftOff
            | Self::SignedOff
            | Self::Reopened
            | Self::Struck => &TEXT,
            Self::Corrected => &[],
        }
    }
}

/// A row whose frame is sound: who logged it, when and on which job.
pub(super) struct Entry<'r> {
    pub(super) row: &'r Row,
    pub(super) reference: EntryRef,
    pub(super) kind: EntryKind,
    at: Moment,
    pub(super) done_on: Option<Day>,
    /// Given for every kind but a correction or a striking out.
    pub(super) job: Option<KnownJob>,
    /// The zone that times without an offset are in.
    pub(super) zone: String,
}

impl<'r> Entry<'r> {
    pub(super) fn key(&self) -> &'r str {
        self.row.text("entry")
    }
}

/// What a row says, once read.
pub(super) struct Told {
    pub(super) body: Body,
    pub(super) done_on: Day,
    pub(super) note: String,
    pub(super) said: String,
    pub(super) supersedes: Vec<EntryRef>,
}

pub(super) fn plan_entries(rows: &[Row], known: &Known<'_>, work: &mut Work<'_>) {
    complain_of_repeats(rows, &["entry"], &mut work.bad);
    let jobs_of_rows: BTreeMap<_, _> = rows.iter().map(|row| (row.text("entry"), row.text("job"))).collect();
    let mut entries: Vec<_> =
        rows.iter().filter_map(|row| read_frame(row, &jobs_of_rows, known, work)).collect();
    entries.sort_by_key(|entry| (entry.at.utc_ms(), entry.key()));

    let mut standings = BTreeMap::new();
    let mut told: BTreeMap<usize, Told> = BTreeMap::new();
    for (at, entry) in entries.iter().enumerate().filter(|(_, entry)| !entry.kind.is_change()) {
        if let Some(read) = read_action(entry, known, &mut work.bad) {
            let standing = Standing::of(&read.body, entry.row.text("unit"));
            standings.extend(standing.map(|standing| (entry.key(), standing)));
            told.insert(at, read);
        }
    }
    let by_key: BTreeMap<_, _> = entries.iter().map(|entry| (entry.key(), entry)).collect();
    let all_keys: BTreeSet<_> = rows.iter().map(|row| row.text("entry")).collect();
    for (at, entry) in entries.iter().enumerate().filter(|(_, entry)| entry.kind.is_change()) {
        let target = corrections::find_target(entry, &by_key, &all_keys, known, work);
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
    for column in entry.kind.idle_columns().iter().filter(|column| !entry.row.text(column).is_empty()) {
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
    if code.is_empty() && !is_change {
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
    if job.is_none() && !(is_change && code.is_empty()) {
        return None;
    }
    device?;
    let reference = EntryRef { person: person?, entry: EntryId::of_row(&crew, TABLE, key?) };
    Some(Entry { row, reference, kind: kind?, at: at?, done_on: done_on?, job, zone })
}

/// Reads a row that is no change of another.
fn read_action(entry: &Entry<'_>, known: &Known<'_>, bad: &mut Vec<BadRow>) -> Option<Told> {
    let row = entry.row;
    let job = entry.job.as_ref()?;
    let mut cells = Cells::new(row, bad);
    let site = read_site(&mut cells, job, known);
    let what = row.text("what");
    let (mut said, mut note) = (String::new(), row.text("note").to_owned());
    let mut day = entry.done_on.unwrap_or_else(|| entry.at.day());
    let body = match entry.kind {
        EntryKind::Hours => {
            let worked = read_worked(&mut cells, &entry.zone);
            if let (Some(Worked::Span { from, .. }), None) = (worked, entry.done_on) {
                day = from.day();
            }
            let site = site?;
            // With a stage, the stage says what was done; more words are kept as they were said.
            let activity = if site.stage.is_none() { what } else { "" }.to_owned();
            said = if site.stage.is_some() { what } else { "" }.to_owned();
            Body::Hours(Hours { site, activity, worked: worked? })
        }
        EntryKind::Used => {
            let (site, item, amount) = read_material(&mut cells, site, known)?;
            Body::Used(Used { site, item, amount, whose: Whose::Ours, bought: None })
        }
        EntryKind::Wasted => {
            let (site, item, amount) = read_material(&mut cells, site, known)?;
            let (counts, cost_to) = (WasteCount::OnTop, Whose::Ours);
            Body::Wasted(Wasted { site, item, amount, counts, cost_to })
        }
        EntryKind::Returned => {
            let (site, item, amount) = read_material(&mut cells, site, known)?;
            Body::Returned(Returned { site, item, amount, to: StockPlace::Van })
        }
        EntryKind::Delivered => {
            let (site, item, amount) = read_material(&mut cells, site, known)?;
            Body::Delivered(Delivered { site, item, amount, supplier: String::new(), ticket: String::new() })
        }
        EntryKind::Bought => {
            let (site, item, amount) = read_material(&mut cells, site, known)?;
            Body::Bought(Bought {
                to: StockPlace::Job(site.job),
                supplier: String::new(),
                ticket: String::new(),
                items: vec![(item, amount)],
                paid_by: PaidBy::Account,
                photos: Vec::new(),
            })
        }
        EntryKind::Reading => {
            let name = cells.required("what");
            let value = cells.required("quantity").and_then(|text| read_value(&mut cells, text));
            let unit = cells.required("unit");
            let ((bound, value), name) = (value?, name?);
            Body::Test(Test {
                site: site?,
                what: name.to_owned(),
                bound,
                value,
                unit: unit?.to_owned(),
                method: String::new(),
                instrument: String::new(),
                limit: None,
                outside: None,
                photos: Vec::new(),
            })
        }
        EntryKind::Note => {
            note = read_words(&mut cells)?;
            Body::Note(Note { site: site?, photos: Vec::new() })
        }
        EntryKind::Snag => {
            note = read_words(&mut cells)?;
            Body::SnagRaised(SnagRaised { site: site?, photos: Vec::new() })
        }
        EntryKind::LeftOff => {
            note = read_words(&mut cells)?;
            Body::LeftOff(LeftOff {
                site: site?,
                off_or_live: String::new(),
                wet_until: None,
                carries_on: None,
                photos: Vec::new(),
            })
        }
        EntryKind::Asked => {
            let what = cells.required("what");
            Body::ExtraAsked(ExtraAsked { site: site?, what: what?.to_owned(), asked_by: String::new() })
        }
        EntryKind::Agreed => {
            said = what.to_owned();
            Body::ExtraAgreed(ExtraAgreed {
                site: site?,
                extra: None,
                said_by: String::new(),
                how: SaidHow::Word,
                terms: read_terms(what),
                reopens: Vec::new(),
            })
        }
        EntryKind::Declined => {
            said = what.to_owned();
            Body::ExtraDeclined(ExtraDeclined { site: site?, extra: None, said_by: String::new() })
        }
        EntryKind::SignedOff => {
            said = what.to_owned();
            cells.required("stage")?;
            Body::SignedOff(SignedOff { site: site?, evidence: Vec::new() })
        }
        EntryKind::Reopened => {
            said = what.to_owned();
            cells.required("stage")?;
            Body::Reopened(Reopened { site: site? })
        }
        EntryKind::Corrected | EntryKind::Struck => return None,
    };
    Some(Told { body, done_on: day, note, said, supersedes: Vec::new() })
}

/// Where, which item and how much of it.
fn read_material(
    cells: &mut Cells<'_, '_>,
    site: Option<Site>,
    known: &Known<'_>,
) -> Option<(Site, ItemId, Amount)> {
    let item = read_item(cells, known);
    let quantity = cells.quantity("quantity");
    let unit = cells.required("unit");
    let item = item?;
    let amount = read_amount(cells, &item, quantity?, unit?);
    Some((site?, item.id, amount?))
}

/// What and note as one text, which must say something.
fn read_words(cells: &mut Cells<'_, '_>) -> Option<String> {
    let words = join_words(cells.text("what"), cells.text("note"));
    if words.is_empty() {
        cells.complain("note", "must not be empty; say what there is to know");
        return None;
    }
    Some(words)
}

fn read_site(cells: &mut Cells<'_, '_>, job: &KnownJob, known: &Known<'_>) -> Option<Site> {
    let stage = match cells.text("stage") {
        "" => None,
        name => match known.stage(job.id, name) {
            Some(stage) => Some(stage),
            None => {
                cells.complain("stage", format!("there is no stage {name:?} of this job"));
                return None;
            }
        },
    };
    Some(Site { job: job.id, stage, place: read_place(cells) })
}

fn read_terms(what: &str) -> ExtraTerms {
    match what.to_lowercase().as_str() {
        "by the hour" => ExtraTerms::OnTheClock,
        "free" => ExtraTerms::Free,
        "left out" => ExtraTerms::LeftOut,
        _ => ExtraTerms::AtAPrice,
    }
}

/// Two texts of which either may be empty, as one.
pub(super) fn join_words(what: &str, note: &str) -> String {
    [what, note].into_iter().filter(|text| !text.is_empty()).collect::<Vec<_>>().join("; ")
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
        said: told.said,
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
}
