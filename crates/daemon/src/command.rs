//! What a node can be asked to do, and doing it. Every command is data, so that it runs the same
//! straight and through the daemon's socket.

use std::collections::{BTreeMap, BTreeSet};
use std::path::{Path, PathBuf};

use ledger::roster_events::{DeviceRetired, Position, Role};
use ledger::{Audience, Body, DeviceKey, EntryId, Payload, PersonId, site};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use trade::{Day, Moment, Pence};

use crate::error::NodeError;
use crate::export;
use crate::held::HeldInBook;
use crate::import::{self, Files, Planned};
use crate::invites::InviteWish;
use crate::invoices::{self, Paid};
use crate::node::{Node, Write, moment, now_ms, random};
use crate::said_more;
use crate::timers;

/// A command. Names of people, jobs, stages and items are those in the lists.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "command", rename_all = "snake_case")]
pub enum Command {
    /// Imports the CSV files of a folder; with devices, only the entries of those.
    Import {
        /// The folder.
        dir: PathBuf,
        /// The devices, as the file names them; empty for all.
        devices: Vec<String>,
    },
    /// Logs one entry, by the columns of `entries.csv` and those of what that file can't say.
    Log {
        /// Column and value.
        row: BTreeMap<String, String>,
    },
    /// Starts this person's timer.
    Start {
        /// The job.
        job: String,
        /// The stage, or none.
        stage: Option<String>,
        /// How a phone pressed it, if one did.
        #[serde(default)]
        press: Option<Press>,
    },
    /// Ends this person's timer and goes on elsewhere.
    Switch {
        /// The job.
        job: String,
        /// The stage, or none.
        stage: Option<String>,
        /// Minutes of break in the part that ends.
        break_minutes: u32,
        /// How a phone pressed it, if one did.
        #[serde(default)]
        press: Option<Press>,
    },
    /// Stops this person's timer.
    Stop {
        /// Minutes of break in the part that ends.
        break_minutes: u32,
        /// When, if not now: a clock time, or a day and a clock time.
        at: Option<String>,
        /// How a phone pressed it, if one did.
        #[serde(default)]
        press: Option<Press>,
    },
    /// Says yes to what somebody logged for a person.
    Accept {
        /// The entry's row key, or the beginning of its id.
        entry: String,
    },
    /// The entries as they stand.
    Entries {
        /// One job only.
        job: Option<String>,
        /// One day only.
        on: Option<Day>,
    },
    /// Time on job, hours and materials against the costing.
    Reconcile,
    /// What is to bill.
    PreviewInvoice {
        /// What was done up to this day; everything without one.
        until: Option<Day>,
        /// One job only.
        job: Option<String>,
    },
    /// Issues the invoice of a job.
    IssueInvoice {
        /// The job.
        job: String,
        /// What was done up to this day.
        until: Option<Day>,
    },
    /// The invoices issued, with what was paid on them.
    Invoices,
    /// Records a payment.
    Pay {
        /// The invoice's number.
        number: String,
        /// What arrived.
        received: Pence,
        /// What was taken for CIS.
        cis_taken: Pence,
        /// How.
        method: String,
    },
    /// What is to sort out.
    SortOut,
    /// Answers a question.
    Settle {
        /// The question's key.
        question: String,
        /// The answer.
        answer: String,
    },
    /// The stages of all jobs and how they stand.
    Stages,
    /// The entries that made a figure.
    Why {
        /// The job.
        job: String,
        /// The stage, or all.
        stage: Option<String>,
        /// A person or an item, or all.
        what: Option<String>,
    },
    /// Gives out a code to bring a device into the crew.
    Invite(InviteWish),
    /// Makes a link by which one browser joins the page.
    PageLink {
        /// Whose phone it will be; listed now if nobody of that name is.
        person: String,
        /// The role of a person who is listed now.
        role: Role,
    },
    /// People and devices.
    Roster,
    /// Takes a device off the crew: nothing beyond what is held here of its chains counts.
    Retire {
        /// Its name or the beginning of its key.
        device: String,
        /// Why.
        reason: String,
    },
    /// Writes everything as JSON Lines and CSV into a folder.
    Export {
        /// The folder.
        dir: PathBuf,
    },
    /// Reads and checks the whole ledger.
    Verify,
    /// How far each chain is held.
    Status,
}

/// A press of a button that may reach the node later than it was made, and more than once.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Press {
    /// The phone's own id for it. A second press of the same id changes nothing.
    pub id: String,
    /// When it was, by the phone's clock; without it, when it arrives.
    pub at: Option<Moment>,
}

/// Runs a command of the person whose device this is.
///
/// # Errors
/// [`NodeError`]: what happened and what to do. Nothing is half done.
pub fn run(node: &mut Node, command: Command) -> Result<Value, NodeError> {
    let author = node.device().person;
    run_for(node, author, command)
}

/// Runs a command of somebody whom this device vouches for. What they may write, the ledger's
/// roster decides; what they may read is for the caller to decide.
///
/// # Errors
/// As [`run`].
pub fn run_for(node: &mut Node, author: PersonId, command: Command) -> Result<Value, NodeError> {
    match command {
        Command::Import { dir, devices } => run_import(node, author, &dir, &devices),
        Command::Log { row } => log(node, author, row),
        Command::Start { job, stage, press } => {
            let pressed = pressed(node, press);
            timers::start(node, author, &job, stage.as_deref(), pressed)
        }
        Command::Switch { job, stage, break_minutes, press } => {
            let pressed = pressed(node, press);
            timers::switch(node, author, &job, stage.as_deref(), break_minutes, pressed)
        }
        Command::Stop { break_minutes, at, press } => {
            let pressed = pressed(node, press);
            timers::stop(node, author, break_minutes, at.as_deref(), pressed)
        }
        Command::Accept { entry } => timers::accept(node, author, &entry),
        Command::Entries { job, on } => timers::entries(node, job.as_deref(), on),
        Command::Reconcile => Ok(json!(projections::reconcile(node.book()))),
        Command::PreviewInvoice { until, job } => invoices::previews(node, until, job.as_deref()),
        Command::IssueInvoice { job, until } => invoices::issue(node, author, &job, until, today()?),
        Command::Invoices => Ok(invoices::list(node)),
        Command::Pay { number, received, cis_taken, method } => {
            invoices::pay(node, author, &number, Paid { received, cis_taken, method })
        }
        Command::SortOut => Ok(json!({ "questions": projections::questions(node.book()) })),
        Command::Settle { question, answer } => settle(node, author, &question, answer),
        Command::Stages => Ok(json!({ "stages": projections::stages(node.book()) })),
        Command::Why { job, stage, what } => {
            Ok(json!({ "entries": projections::why(node.book(), &job, stage.as_deref(), what.as_deref()) }))
        }
        Command::Invite(wish) => node.invite(&wish),
        Command::PageLink { person, role } => {
            let link = node.make_page_link(author, &person, role)?;
            Ok(json!({ "link": link, "origins": node.page_origins() }))
        }
        Command::Roster => Ok(show_roster(node)),
        Command::Retire { device, reason } => retire(node, author, &device, reason),
        Command::Export { dir } => export::write(node, &dir),
        Command::Verify => verify(node),
        Command::Status => Ok(status(node)),
    }
}

/// Nothing is pressed in the future, whatever a phone's clock says.
fn pressed(node: &Node, press: Option<Press>) -> timers::Pressed {
    let now = now_ms();
    let Some(Press { id, at }) = press else { return now.into() };
    let at_ms = at.map_or(now, |at| at.utc_ms().min(now));
    timers::Pressed { at_ms, entry: Some(EntryId::of_row(&node.crew(), "press", &id)) }
}

/// Today on this machine.
fn today() -> Result<Day, NodeError> {
    Ok(moment(now_ms())?.day())
}

fn run_import(node: &mut Node, author: PersonId, dir: &Path, devices: &[String]) -> Result<Value, NodeError> {
    let files = Files::read(dir).map_err(|error| NodeError::bad_input(error.to_string()))?;
    let devices = (!devices.is_empty()).then(|| devices.iter().cloned().collect());
    import_files(node, author, &files, devices.as_ref())
}

fn import_files(
    node: &mut Node,
    author: PersonId,
    files: &Files,
    devices: Option<&BTreeSet<String>>,
) -> Result<Value, NodeError> {
    let role = node.ledger().roster().person(&author).map_or(Role::Hand, |person| person.role);
    let now = moment(now_ms())?;
    let plan = {
        let held = HeldInBook::new(node);
        let (crew, today) = (node.crew(), now.day());
        import::plan(files, &import::Context { crew, today, now, devices, held: &held, author, role })
    };
    let plan = plan.map_err(|rows| NodeError::BadInput(rows.iter().map(ToString::to_string).collect()))?;
    let written = plan.writes.len();
    let key = plan.writes.first().map(|planned| planned.payload.act.row_key.clone());
    let mut pending: Vec<Write> = Vec::new();
    for Planned { mut payload, audience, supersedes } in plan.writes {
        if !supersedes.is_empty() {
            // A change names the changes before it by their hashes, so those must be written first.
            node.append(&std::mem::take(&mut pending))?;
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
    }
    node.append(&pending)?;
    Ok(json!({ "written": written, "already_held": plan.already_held, "warnings": plan.warnings,
        "key": key.filter(|_| written == 1) }))
}

/// Logging is importing one row: the same names, checks and messages.
fn log(node: &mut Node, author: PersonId, mut row: BTreeMap<String, String>) -> Result<Value, NodeError> {
    said_more::settle_amount(node, &mut row)?;
    if let Some(logged) = said_more::log(node, author, &row)? {
        return Ok(logged);
    }
    let now = moment(now_ms())?;
    let target =
        row.get("corrects").and_then(|key| node.book().entries().find(|entry| entry.act.row_key == *key));
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
    let key = random::<4>()?.iter().map(|byte| format!("{byte:02x}")).collect();
    let name = node.book().lists().person(author);
    row.entry("entry".to_owned()).or_insert(key);
    row.entry("person".to_owned()).or_insert(name);
    row.entry("device".to_owned()).or_insert_with(|| node.device().name.clone());
    // With its offset, because in one hour of the year a clock time alone is said twice.
    let at = serde_json::to_value(now).ok().and_then(|at| at.as_str().map(str::to_owned)).unwrap_or_default();
    row.entry("at".to_owned()).or_insert(at);
    let files = Files::of_entry(&row).map_err(|error| NodeError::bad_input(error.to_string()))?;
    import_files(node, author, &files, None).map_err(in_words_of_a_command)
}

/// Complaints about the one row of a command, without the file and line that nobody typed.
fn in_words_of_a_command(error: NodeError) -> NodeError {
    match error {
        NodeError::BadInput(rows) => {
            let plain =
                |row: &String| row.trim_start_matches("entries.csv line 2, ").replacen("column ", "--", 1);
            NodeError::BadInput(rows.iter().map(plain).collect())
        }
        other => other,
    }
}

/// Settles the one open question that a key, or the beginnings of its parts, means.
fn settle(node: &mut Node, author: PersonId, wanted: &str, answer: String) -> Result<Value, NodeError> {
    let means = |key: &str| {
        let (parts, wanted) = (key.split('/'), wanted.split('/'));
        parts.clone().count() == wanted.clone().count()
            && parts.zip(wanted).all(|(part, begin)| part.starts_with(begin))
    };
    let open = projections::questions(node.book());
    let mut meant = open.iter().filter(|question| means(&question.key));
    let (Some(question), None) = (meant.next(), meant.next()) else {
        return Err(NodeError::bad_input(
            "that key means no open question, or more than one; `fivebar sort-out` shows them with their keys",
        ));
    };
    let mut act = node.act(author)?;
    act.note = answer;
    let body = Body::QuestionSettled(site::QuestionSettled { question: question.key.clone() });
    node.append(&[Write { audience: Audience::Crew, payload: Payload { act, body } }])?;
    Ok(json!({ "left": projections::questions(node.book()).len() }))
}

fn show_roster(node: &Node) -> Value {
    let roster = node.ledger().roster();
    let people: Vec<Value> =
        roster.people().map(|person| json!({ "name": person.name, "role": person.role })).collect();
    let devices: Vec<Value> = roster
        .devices()
        .map(|device| {
            let person = roster.person(&device.person).map(|person| person.name.clone());
            json!({ "name": device.name, "key": device.key, "person": person, "retired": device.retired,
                "office": device.office, "shared": device.shared, "this": device.key == node.key() })
        })
        .collect();
    json!({ "crew": roster.crew_name(), "people": people, "devices": devices })
}

fn retire(node: &mut Node, author: PersonId, wanted: &str, reason: String) -> Result<Value, NodeError> {
    let roster = node.ledger().roster();
    let matching = |key: &DeviceKey, name: &str| {
        name == wanted || (wanted.len() >= 8 && key.to_string().starts_with(wanted))
    };
    let found: Vec<DeviceKey> = roster
        .devices()
        .filter(|device| !device.retired && matching(&device.key, &device.name))
        .map(|device| device.key)
        .collect();
    let [device] = found[..] else {
        let why = if found.is_empty() { "no device" } else { "more than one device" };
        return Err(NodeError::bad_input(format!(
            "{why} in the crew is called {wanted:?}; `fivebar roster` shows names and keys"
        )));
    };
    let cuts = node
        .ledger()
        .chains()
        .filter(|chain| chain.start.device == device && chain.tip.next_seq > 0)
        .map(|chain| Position { chain: chain.start.chain, seq: chain.tip.next_seq - 1, hash: chain.tip.hash })
        .collect();
    let act = node.act(author)?;
    let body = Body::DeviceRetired(DeviceRetired { device, cuts, reason });
    node.append(&[Write { audience: Audience::Crew, payload: Payload { act, body } }])?;
    Ok(show_roster(node))
}

fn verify(node: &mut Node) -> Result<Value, NodeError> {
    let report = node.store().verify_deep()?;
    let damage: Vec<String> =
        report.damage.iter().map(|damage| format!("{}: {} bytes", damage.place, damage.length)).collect();
    let events: u64 = node.ledger().chains().map(|chain| chain.tip.next_seq).sum();
    Ok(json!({ "runs": report.runs, "events": report.events, "events_verified": events, "damage": damage }))
}

fn status(node: &Node) -> Value {
    let roster = node.ledger().roster();
    let chains: Vec<Value> = node
        .ledger()
        .chains()
        .map(|chain| {
            let device = roster.device(&chain.start.device).map(|device| device.name.clone());
            json!({ "chain": chain.start.chain, "device": device, "audience": chain.start.audience,
                "events": chain.tip.next_seq, "head": chain.tip.hash })
        })
        .collect();
    let digest: String = node
        .ledger()
        .frontier(Some(Audience::Crew))
        .digest()
        .iter()
        .map(|byte| format!("{byte:02x}"))
        .collect();
    json!({ "crew": node.crew(), "device": node.device().name, "key": node.key(), "chains": chains,
        "crew_frontier": digest })
}
