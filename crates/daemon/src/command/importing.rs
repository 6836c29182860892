//! Taking in files, single entries and single rows of lists. All three are the same: rows that are read
//! into a plan, checked to the last, and only then written.

use std::cell::Cell;
use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use ledger::roster_events::Role;
use ledger::{PersonId, PhotoHash};
use projections::words::kind_words;
use serde_json::{Value, json};

use super::{ListChange, Progress, Step, judging, named};
use crate::error::NodeError;
use crate::held::HeldInBook;
use crate::import::{self, FileName, Files, FilesError, ListRows, Planned};
use crate::node::{Node, Write};
use crate::photos;

/// How many events are written before it is said how far that is.
const WRITTEN_AT_ONCE: usize = 4_096;

/// The files, and how they are to be taken.
struct Intake<'a> {
    files: &'a Files,
    /// Where rows may name photos.
    folder: Option<&'a Path>,
    devices: Option<&'a BTreeSet<String>>,
    lists: ListRows,
}

/// Imports a folder; with devices, only the entries of those.
pub(super) fn import(
    node: &mut Node,
    author: PersonId,
    dir: &Path,
    devices: &[String],
    say: &dyn Fn(Progress),
) -> Result<Value, NodeError> {
    let files = Files::read(dir).map_err(|error| NodeError::bad_input(error.to_string()))?;
    let devices = (!devices.is_empty()).then(|| devices.iter().cloned().collect());
    let intake =
        Intake { files: &files, folder: Some(dir), devices: devices.as_ref(), lists: ListRows::Whole };
    take_in(node, author, &intake, say)
}

/// What an import of a folder would take in, by kind. Nothing is written, and no photo is kept.
pub(super) fn check(node: &Node, author: PersonId, dir: &Path) -> Result<Value, NodeError> {
    let files = Files::read(dir).map_err(|error| NodeError::bad_input(error.to_string()))?;
    let intake = Intake { files: &files, folder: Some(dir), devices: None, lists: ListRows::Whole };
    let (plan, _) = plan(node, author, &intake, &|_| ())?;
    let mut kinds: BTreeMap<&'static str, usize> = BTreeMap::new();
    for planned in &plan.writes {
        *kinds.entry(kind_words(planned.payload.body.kind())).or_default() += 1;
    }
    let kinds: Vec<Value> =
        kinds.into_iter().map(|(kind, count)| json!({ "kind": kind, "count": count })).collect();
    Ok(json!({ "would_write": plan.writes.len(), "kinds": kinds, "already_held": plan.already_held,
        "warnings": plan.warnings }))
}

/// What is to be written, and the photos' files that rows name; or every bad row.
fn plan(
    node: &Node,
    author: PersonId,
    intake: &Intake<'_>,
    say: &dyn Fn(Progress),
) -> Result<(import::Plan, BTreeMap<PhotoHash, PathBuf>), NodeError> {
    let role = node.ledger().roster().person(&author).map_or(Role::Hand, |person| person.role);
    let now = node.now()?;
    let say_rows = |rows: import::Rows| say(Progress { step: Step::RowsRead, done: rows.read, of: rows.of });
    let held = HeldInBook::new(node, intake.folder);
    let context = import::Context {
        crew: node.crew(),
        today: now.day(),
        now,
        devices: intake.devices,
        held: &held,
        author,
        role,
        lists: intake.lists,
        say: &say_rows,
    };
    let plan = import::plan(intake.files, &context)
        .map_err(|rows| NodeError::BadInput(rows.iter().map(ToString::to_string).collect()))?;
    Ok((plan, held.into_found()))
}

fn take_in(
    node: &mut Node,
    author: PersonId,
    intake: &Intake<'_>,
    say: &dyn Fn(Progress),
) -> Result<Value, NodeError> {
    let (plan, found) = plan(node, author, intake, say)?;
    // An entry must never name a photo that nobody has, so the files come first.
    for (hash, file) in &found {
        if photos::keep(node.folder(), file)?.hash != *hash {
            return Err(NodeError::bad_input(format!("{} changed while it was read", file.display())));
        }
    }
    let written = plan.writes.len();
    let key = plan.writes.first().map(|planned| planned.payload.act.row_key.clone());
    write(node, plan.writes, say)?;
    let is_one_entry = written == 1 || intake.folder.is_none();
    Ok(json!({ "written": written, "already_held": plan.already_held, "warnings": plan.warnings,
        "key": key.filter(|_| is_one_entry) }))
}

fn write(node: &mut Node, planned: Vec<Planned>, say: &dyn Fn(Progress)) -> Result<(), NodeError> {
    let of = u64::try_from(planned.len()).unwrap_or(u64::MAX);
    let done = Cell::new(0_u64);
    let append = |node: &mut Node, pending: &mut Vec<Write>| -> Result<(), NodeError> {
        node.append(&std::mem::take(pending)).map(|hashes| {
            done.set(done.get() + u64::try_from(hashes.len()).unwrap_or(0));
            say(Progress { step: Step::EventsWritten, done: done.get(), of });
        })
    };
    let mut pending: Vec<Write> = Vec::new();
    for Planned { mut payload, audience, supersedes } in planned {
        if !supersedes.is_empty() {
            // A change names the changes before it by their hashes, so those must be written first.
            append(node, &mut pending)?;
            let order = (payload.act.logged_at, payload.act.row_key.clone());
            for entry in &supersedes {
                let history = node.book().history(entry);
                let before = history.iter().filter(|logged| {
                    logged.act.entry_ref() == *entry
                        || (logged.act.logged_at, logged.act.row_key.clone()) < order
                });
                payload.act.replaces.extend(before.map(|logged| logged.hash));
            }
            payload.act.replaces.sort_unstable();
            payload.act.replaces.dedup();
        }
        pending.push(Write { audience, payload });
        if pending.len() >= WRITTEN_AT_ONCE {
            append(node, &mut pending)?;
        }
    }
    append(node, &mut pending)
}

/// Logging is importing one row: the same names, checks and messages.
pub(super) fn log(
    node: &mut Node,
    author: PersonId,
    row: BTreeMap<String, String>,
) -> Result<Value, NodeError> {
    let row = whole_row(node, author, row)?;
    let is_test = row.get("kind").is_some_and(|kind| matches!(kind.as_str(), "reading" | "test"));
    let answer = take_in_rows(node, author, FileName::Entries, &[row])?;
    Ok(if is_test { judging::with_verdict(node, answer) } else { answer })
}

/// Logs several entries, all or none, and gives their keys.
pub(super) fn log_all(
    node: &mut Node,
    author: PersonId,
    rows: Vec<BTreeMap<String, String>>,
) -> Result<Vec<String>, NodeError> {
    let rows: Vec<_> = rows.into_iter().map(|row| whole_row(node, author, row)).collect::<Result<_, _>>()?;
    take_in_rows(node, author, FileName::Entries, &rows)?;
    Ok(rows.iter().filter_map(|row| row.get("entry").cloned()).collect())
}

/// A row of an entry with what nobody types: its key, who, which device, and when.
fn whole_row(
    node: &Node,
    author: PersonId,
    mut row: BTreeMap<String, String>,
) -> Result<BTreeMap<String, String>, NodeError> {
    let now = node.now()?;
    let target = row.get("corrects").and_then(|key| {
        let is_meant =
            |entry: &projections::Entry<'_>| entry.act.row_key == *key || entry.act.entry.to_string() == *key;
        node.book().entries().find(is_meant)
    });
    let day = match (row.get("done_on"), target) {
        (Some(day), _) => day.clone(),
        (None, Some(target)) => target.act.done_on.to_string(),
        (None, None) => now.day().to_string(),
    };
    // A clock time alone is one of the day that the entry is about.
    for column in ["from", "to"] {
        if let Some(time) = row.get_mut(column).filter(|time| time.len() <= 5) {
            *time = format!("{day}T{time:0>5}");
        }
    }
    let key = hex::encode(node.machine().random::<6>()?);
    let name = node.book().lists().person(author);
    row.entry("entry".to_owned()).or_insert(key);
    row.entry("person".to_owned()).or_insert(name);
    row.entry("device".to_owned()).or_insert_with(|| node.device().name.clone());
    // With its offset, because in one hour of the year a clock time alone is said twice.
    let at = serde_json::to_value(now).ok().and_then(|at| at.as_str().map(str::to_owned)).unwrap_or_default();
    row.entry("at".to_owned()).or_insert(at);
    Ok(row)
}

/// Adds or changes one row of a list. What is not named is as it is held.
pub(super) fn list(
    node: &mut Node,
    author: PersonId,
    list: FileName,
    change: ListChange,
    row: BTreeMap<String, String>,
) -> Result<Value, NodeError> {
    let role = node.ledger().roster().person(&author).map_or(Role::Hand, |person| person.role);
    if role != Role::Owner {
        return Err(NodeError::bad_input("the crew's lists are the boss's; ask the boss to change them"));
    }
    named::must_read_office(node)?;
    let mut whole = held_row(node, list, &row);
    match change {
        ListChange::Add if !whole.is_empty() => {
            return Err(NodeError::bad_input("there is one of that name already; change it with `change`"));
        }
        ListChange::Change if whole.is_empty() => {
            return Err(NodeError::bad_input("there is none of that name yet; add it with `add`"));
        }
        ListChange::Add | ListChange::Change | ListChange::Either => {}
    }
    whole.extend(row);
    take_in_rows(node, author, list, &[whole])
}

fn take_in_rows(
    node: &mut Node,
    author: PersonId,
    file: FileName,
    rows: &[BTreeMap<String, String>],
) -> Result<Value, NodeError> {
    let files =
        Files::of_rows(file, rows).map_err(|error: FilesError| NodeError::bad_input(error.to_string()))?;
    let intake = Intake { files: &files, folder: None, devices: None, lists: ListRows::More };
    take_in(node, author, &intake, &|_| ()).map_err(in_words_of_a_command)
}

/// Takes in rows of lists that a command worked out, behind those that are held.
pub(super) fn take_in_more(node: &mut Node, author: PersonId, files: &Files) -> Result<Value, NodeError> {
    let intake = Intake { files, folder: None, devices: None, lists: ListRows::More };
    take_in(node, author, &intake, &|_| ())
}

/// Complaints about the rows of a command, without the file and line that nobody typed, and with
/// the columns as the command calls them.
fn in_words_of_a_command(error: NodeError) -> NodeError {
    let plain = |row: &String| {
        let (_, place) = row.split_once(" line ").unwrap_or(("", row));
        let said = place.split_once(", column ").and_then(|(_, said)| said.split_once(": "));
        match said {
            Some((column, reason)) => format!("--{}: {reason}", option_of(column)),
            None => place.split_once(": ").map_or(row.as_str(), |(_, said)| said).to_owned(),
        }
    };
    match error {
        NodeError::BadInput(rows) => NodeError::BadInput(rows.iter().map(plain).collect()),
        other => other,
    }
}

/// What the command calls a column.
fn option_of(column: &str) -> String {
    match column {
        "done_on" => "on".to_owned(),
        "where" => "at".to_owned(),
        "corrects" | "of" => "entry".to_owned(),
        other => other.replace('_', "-"),
    }
}

/// The row of a list's file that says what is held of the subject of a row.
fn held_row(node: &Node, list: FileName, row: &BTreeMap<String, String>) -> BTreeMap<String, String> {
    let lists = node.book().lists();
    let said = |column: &str| row.get(column).map_or("", String::as_str);
    let job = lists.jobs.values().find(|job| job.code == said("job"));
    let cells: Vec<(&str, String)> = match list {
        FileName::Firm => lists.firm.map(firm_cells).unwrap_or_default(),
        FileName::Jobs => {
            let terms = job.and_then(|job| lists.terms.get(&job.job));
            job.map(|job| job_cells(job, terms.copied())).unwrap_or_default()
        }
        FileName::Stages => {
            let stages = lists.stages.values();
            let mut stages = stages
                .filter(|stage| Some(stage.job) == job.map(|job| job.job) && stage.name == said("stage"));
            stages.next().map(|stage| stage_cells(&lists, stage)).unwrap_or_default()
        }
        FileName::PriceBook => {
            let item = lists.items.values().find(|item| item.name == said("item"));
            let newest = |item| lists.prices.get(item).and_then(|prices| prices.iter().last());
            item.map(|item| {
                vec![
                    ("unit", item.unit.clone()),
                    ("pack", item.pack.clone()),
                    ("pack_size", item.pack_size.to_string()),
                    (
                        "pack_cost",
                        newest(&item.item).map_or_else(String::new, |(_, p)| p.pack_cost.to_string()),
                    ),
                ]
            })
            .unwrap_or_default()
        }
        // These are said whole each time.
        FileName::Crew | FileName::Estimate | FileName::Entries => Vec::new(),
    };
    cells.into_iter().map(|(column, value)| (column.to_owned(), value)).collect()
}

fn yes_or_no(said: Option<bool>) -> String {
    said.map_or("", |said| if said { "yes" } else { "no" }).to_owned()
}

fn word<T: serde::Serialize>(value: T) -> String {
    json!(value).as_str().unwrap_or_default().to_owned()
}

fn firm_cells(firm: &ledger::office::FirmListed) -> Vec<(&'static str, String)> {
    vec![
        ("name", firm.name.clone()),
        ("trading_as", firm.trading_as.clone()),
        ("address", firm.address.clone()),
        ("vat_no", firm.vat_number.clone()),
        ("vat_registered_from", firm.vat_from.map(|day| day.to_string()).unwrap_or_default()),
        ("utr", firm.tax_reference.clone()),
        ("bank_name", firm.bank.clone()),
        ("sort_code", firm.sort_code.clone()),
        ("account_no", firm.account_number.clone()),
        ("terms_days", firm.terms_days.to_string()),
        ("next_invoice_no", firm.next_invoice_number.to_string()),
    ]
}

fn job_cells(
    job: &ledger::site::JobListed,
    terms: Option<&ledger::office::JobTerms>,
) -> Vec<(&'static str, String)> {
    let mut cells = vec![
        ("title", job.title.clone()),
        ("customer", job.customer.clone()),
        ("site_address", job.site_address.clone()),
        ("timezone", job.time_zone.clone()),
    ];
    cells.extend(terms.into_iter().flat_map(|terms| {
        [
            ("customer_kind", word(terms.customer_kind)),
            ("basis", word(terms.basis)),
            ("vat_rate", terms.vat_percent.to_string()),
            ("reverse_charge", yes_or_no(terms.reverse_charge)),
            ("cis_rate", terms.cis_percent.to_string()),
            ("retention_pct", terms.retention_percent.to_string()),
            ("markup_pct", terms.markup_percent.to_string()),
            ("billing_address", terms.billing_address.clone()),
            ("customer_vat_no", terms.customer_vat_number.clone()),
            ("customer_cis", yes_or_no(terms.customer_cis)),
            ("end_user_statement", yes_or_no(terms.end_user_statement)),
            ("terms_days", terms.terms_days.map(|days| days.to_string()).unwrap_or_default()),
            ("order_no", terms.order_number.clone()),
            ("customer_country", terms.customer_country.clone()),
        ]
    }));
    cells
}

fn stage_cells(
    lists: &projections::Lists<'_>,
    stage: &ledger::site::StageListed,
) -> Vec<(&'static str, String)> {
    let names = |stages: &[ledger::StageId]| {
        stages.iter().map(|stage| lists.stage(Some(*stage))).collect::<Vec<_>>().join(";")
    };
    let (hours, minutes) = (stage.wait_minutes / 60, stage.wait_minutes % 60);
    // Minutes that are no whole hundredths of an hour can't have been said in hours.
    let wait = format!("{hours}.{:02}", minutes * 100 / 60);
    vec![
        ("trade", stage.trades.join(";")),
        ("after", names(&stage.after)),
        ("wait_hours", wait),
        ("covers", names(&stage.covers)),
        ("needs_reading", stage.needs_tests.join(";")),
        ("needs_photo", yes_or_no(Some(stage.needs_photo))),
    ]
}
