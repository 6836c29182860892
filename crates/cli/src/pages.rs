//! What a builder reads on the terminal, made from the node's answers.

use daemon::Command;
use daemon::command::{FolderCommand, RoomCommand};
use daemon::serve::Joined;
use serde_json::Value;
use trade::Moment;
use trade::money::hours_and_minutes;

use crate::table::{Page, heading, without_noughts};
use crate::{
    application_pages, invoice, measure_pages, money_pages, office_pages, photo_pages, plan_pages,
    said_pages, test_pages,
};
use crate::{backup_pages, recovery};

/// The page for a command's answer.
pub(crate) fn page(command: &Command, answer: &Value) -> String {
    match command {
        Command::Import { .. } => imported(answer),
        Command::CheckImport { .. } => would_import(answer),
        Command::Log { .. } => logged(answer),
        Command::List { .. } => imported(answer),
        Command::Hear(_) => said_pages::heard(answer),
        Command::LogSaid { .. } => said_pages::logged(answer),
        Command::Teach { .. } => format!("Noted: {:?}.", text(answer, "phrase")),
        Command::Survey { .. } => said_pages::survey(answer),
        Command::Undo { .. } => undone(answer),
        Command::Start { .. } | Command::Switch { .. } | Command::Stop { .. } => timer(answer),
        Command::ChangeSpell(_) | Command::SplitSpell(_) => spells(answer),
        Command::StrikeSpell { .. } => "Crossed out.".to_owned(),
        Command::Accept { .. } => {
            format!("{} now counts for {}.", text(answer, "accepted"), text(answer, "person"))
        }
        Command::Entries { .. } => entries(answer),
        Command::Reconcile => reconciled(answer),
        Command::PreviewInvoice { .. } => invoice::preview(answer),
        Command::IssueInvoice { .. } | Command::IssueDeposit { .. } => invoice::issued(answer),
        Command::CreditInvoice { .. } => invoice::credited(answer),
        Command::Invoices
        | Command::Pay { .. }
        | Command::VoidInvoice { .. }
        | Command::AdoptInvoice { .. } => invoice::all(answer),
        Command::PrintPaper { .. } => invoice::printed_to(answer),
        Command::AskDeposit { .. } => office_pages::deposit(answer),
        Command::Price { .. } => office_pages::prices(answer),
        Command::Rate(_) => office_pages::rates(answer),
        Command::Paid(_) => office_pages::paid(answer),
        Command::BearCost { .. } => office_pages::cost_borne(answer),
        Command::PriceExtra { .. } => office_pages::extra_priced(answer),
        Command::Measure(RoomCommand::Kept { .. } | RoomCommand::Drop { .. }) => measure_pages::rooms(answer),
        Command::Measure(_) => measure_pages::measured(answer),
        Command::Applications(command) => application_pages::page(command, answer),
        Command::Owed => money_pages::owed(answer),
        Command::Statement { .. } => money_pages::statement(answer),
        Command::LateClaim { .. } => money_pages::late(answer),
        Command::PayList { .. } => money_pages::pay_list(answer),
        Command::Quote(_) => office_pages::quotes(answer),
        Command::Terms(terms) => office_pages::terms(terms, answer),
        Command::SortOut => questions(answer),
        Command::Settle { .. } => format!("Noted. {} left to sort out.", text(answer, "left")),
        Command::SetAside(_) => set_aside(answer),
        Command::Stages => stages(answer),
        Command::Tests(command) => test_pages::tests(command, answer),
        Command::Plan(command) => plan_pages::plan(command, answer),
        Command::Why { .. } => why(answer),
        Command::Invite(_) => invite(answer),
        Command::PageLink { .. } => page_link(answer),
        Command::Roster | Command::Retire { .. } | Command::AddPerson { .. } | Command::SetRole { .. } => {
            roster(answer)
        }
        Command::Words { .. } => recovery::printed(answer),
        Command::Folder(FolderCommand::Export { .. }) => {
            format!("{} events written to {}.", text(answer, "events"), text(answer, "dir"))
        }
        Command::Folder(FolderCommand::BackUp { .. }) => backup_pages::made(answer),
        Command::Folder(FolderCommand::Salvage { .. }) => backup_pages::salvaged(answer),
        Command::HandOver(_) => crate::handover::made(answer),
        Command::Photos { .. } => photo_pages::photos(answer),
        Command::Verify => verified(answer),
        Command::Status => status(answer),
    }
}

/// A field as text, empty if it is missing.
pub(crate) fn text(value: &Value, name: &str) -> String {
    match &value[name] {
        Value::Null => String::new(),
        Value::String(text) => text.clone(),
        other => other.to_string(),
    }
}

/// A field as a list, empty if it is missing.
pub(crate) fn list<'a>(value: &'a Value, name: &str) -> &'a [Value] {
    value[name].as_array().map_or(&[], Vec::as_slice)
}

fn minutes(value: &Value, name: &str) -> String {
    hours_and_minutes(value[name].as_i64().unwrap_or(0))
}

fn imported(answer: &Value) -> String {
    let mut page =
        format!("{} saved, {} held already.", text(answer, "written"), text(answer, "already_held"));
    for warning in list(answer, "warnings") {
        page += &format!("\n  note: {}", warning.as_str().unwrap_or_default());
    }
    page
}

/// What an import would take in.
fn would_import(answer: &Value) -> String {
    let mut page = Page::new(&["would be taken in", ">rows"]);
    for kind in list(answer, "kinds") {
        page.row(&[&text(kind, "kind"), &text(kind, "count")]);
    }
    let mut told =
        format!("{}\n{} held already. Nothing was saved.", page.finish(), text(answer, "already_held"));
    for warning in list(answer, "warnings") {
        told += &format!("\n  note: {}", warning.as_str().unwrap_or_default());
    }
    told
}

/// Stretches of work as they stand, and what they come to.
fn spells(answer: &Value) -> String {
    let mut page = Page::new(&["job", "stage", "from", "to", ">worked"]);
    for part in list(answer, "parts") {
        let said = |name: &str| text(part, name);
        let worked = minutes(part, "minutes");
        page.row(&[&said("job"), &said("stage"), &said("from"), &said("to"), &worked]);
    }
    format!("{}\nTogether {}.", page.finish(), minutes(answer, "minutes"))
}

fn logged(answer: &Value) -> String {
    let key = text(answer, "key");
    let mut page = format!("Saved on this device. To change it: fivebar log corrected --entry {key} …");
    for warning in list(answer, "warnings") {
        page += &format!("\n  note: {}", warning.as_str().unwrap_or_default());
    }
    if answer["judged"].is_object() {
        page += &verdict(&answer["judged"]);
    }
    page
}

/// What a test says against its limit, with who states that and what to mind.
fn verdict(judged: &Value) -> String {
    let mut lines = vec![text(judged, "verdict")];
    let (limit, source) = (text(judged, "limit"), text(judged, "source"));
    if !limit.is_empty() {
        let confidence = text(judged, "confidence");
        let known = if confidence.is_empty() { String::new() } else { format!(" ({confidence})") };
        lines.push(format!("limit: {limit}; {source}{known}"));
    }
    lines.extend([text(judged, "note"), text(judged, "caution")].into_iter().filter(|line| !line.is_empty()));
    lines.iter().map(|line| format!("\n  {line}")).collect()
}

/// What was crossed out, or stands again.
fn undone(answer: &Value) -> String {
    let said = |entry: &Value| {
        format!("{}, {} on {}", text(entry, "text"), text(entry, "person"), text(entry, "done_on"))
    };
    let (struck, back) = (&answer["struck"], &answer["back"]);
    if struck.is_null() {
        format!("Stands again: {}.", said(back))
    } else {
        format!("Crossed out: {}. To take that back: fivebar undo --back", said(struck))
    }
}

/// What a timer measured, and what runs now.
fn timer(answer: &Value) -> String {
    let place = |part: &Value| format!("{}, {}", text(part, "stage"), text(part, "job"));
    let (ended, running) = (&answer["ended"], &answer["running"]);
    let mut lines = Vec::new();
    if !ended.is_null() {
        lines.push(format!("{} on {}.", minutes(ended, "minutes"), place(ended)));
    }
    lines.push(if running.is_null() {
        "No timer is running.".to_owned()
    } else {
        format!("Running since {}: {}.", text(running, "since"), place(running))
    });
    lines.join("\n")
}

fn entries(answer: &Value) -> String {
    let entries = list(answer, "entries");
    if entries.is_empty() {
        return "No entries.".to_owned();
    }
    let mut page = Page::new(&["done on", "who", "entry", "job", "stage", "what it says"]);
    for entry in entries {
        page.row(&[
            &text(entry, "done_on"),
            &text(entry, "person"),
            &text(entry, "key"),
            &text(entry, "job"),
            &text(entry, "stage"),
            &text(entry, "text"),
        ]);
    }
    page.finish()
}

fn reconciled(answer: &Value) -> String {
    let mut jobs: Vec<String> = ["time_on_job", "labour", "materials"]
        .iter()
        .flat_map(|table| list(answer, table).iter().map(|row| text(row, "job")))
        .collect();
    jobs.sort_unstable();
    jobs.dedup();
    if jobs.is_empty() {
        return "No work and no costing yet.".to_owned();
    }
    jobs.iter().map(|job| reconciled_job(answer, job)).collect::<Vec<_>>().join("\n")
}

fn reconciled_job(answer: &Value, job: &str) -> String {
    let rows = |table| list(answer, table).iter().filter(move |row| text(row, "job") == job);
    let mut time = Page::new(&["stage", "who", ">time", ">cost £"]);
    for row in rows("time_on_job") {
        time.row(&[&text(row, "stage"), &text(row, "person"), &minutes(row, "minutes"), &text(row, "cost")]);
    }
    let mut labour = Page::new(&["stage", ">hours worked", ">hours priced"]);
    for row in rows("labour") {
        let priced = without_noughts(&text(row, "estimated_hours"), 0);
        let priced = if priced == "0" { "–".to_owned() } else { priced };
        labour.row(&[&text(row, "stage"), &minutes(row, "minutes"), &priced]);
    }
    let mut materials =
        Page::new(&["stage", "item", ">priced", ">used", ">wasted", "", ">used £", ">paid £"]);
    for row in rows("materials") {
        let started = !matches!(without_noughts(&text(row, "used"), 0).as_str(), "0" | "");
        // Nothing is over or under before it is begun.
        let figure = |name| if started { text(row, name) } else { "–".to_owned() };
        materials.row(&[
            &text(row, "stage"),
            &text(row, "item"),
            &without_noughts(&text(row, "estimated"), 0),
            &without_noughts(&text(row, "used"), 0),
            &without_noughts(&text(row, "wasted"), 0),
            &text(row, "unit"),
            &figure("usage_variance"),
            &figure("price_variance"),
        ]);
    }
    [
        heading(&format!("{job}: time on job")),
        time.finish(),
        heading(&format!("{job}: hours worked and priced")),
        labour.finish(),
        heading(&format!(
            "{job}: materials. Last columns: used more, and paid more, than priced (minus is less)"
        )),
        materials.finish(),
    ]
    .join("\n")
}

fn questions(answer: &Value) -> String {
    let questions = list(answer, "questions");
    if questions.is_empty() {
        return "Nothing to sort out.".to_owned();
    }
    let mut page = heading(&format!("{} to sort out", questions.len()));
    for question in questions {
        if question["kind"] == "set aside" {
            page += &format!("  {}\n      to enter again: fivebar set-aside\n", text(question, "text"));
            continue;
        }
        page += &format!(
            "  {}\n      to settle it: fivebar settle {} 'ANSWER'\n",
            text(question, "text"),
            short_key(&text(question, "key"))
        );
    }
    page
}

/// A question's key with its ids cut to what tells them apart.
fn short_key(key: &str) -> String {
    let short = |part: &str| part.get(..8).filter(|_| part.len() >= 32).unwrap_or(part).to_owned();
    key.split('/').map(short).collect::<Vec<_>>().join("/")
}

fn stages(answer: &Value) -> String {
    let mut page = Page::new(&["job", "stage", "how it stands", "missing"]);
    for stage in list(answer, "stages") {
        let words = |name: &str| list(stage, name).iter().filter_map(Value::as_str).collect::<Vec<_>>();
        let (missing, places) = (words("missing").join(", "), words("signed_off_places").join("; "));
        let state = text(stage, "state").replace('_', " ");
        let state = if places.is_empty() { state } else { format!("{state}; signed off: {places}") };
        page.row(&[&text(stage, "job"), &text(stage, "stage"), &state, &missing]);
    }
    page.finish()
}

fn why(answer: &Value) -> String {
    let entries = list(answer, "entries");
    if entries.is_empty() {
        return "No entries behind that figure.".to_owned();
    }
    let mut page = Page::new(&["done on", "who", "entry", "what it says"]);
    for entry in entries {
        page.row(&[
            &text(entry, "done_on"),
            &text(entry, "person"),
            &text(entry, "key"),
            &text(entry, "text"),
        ]);
    }
    page.finish()
}

fn roster(answer: &Value) -> String {
    let mut people = Page::new(&["person", "role"]);
    for person in list(answer, "people") {
        let role = match text(person, "role").as_str() {
            "owner" => "boss".to_owned(),
            "lead" => "foreman".to_owned(),
            "hand" => "crew".to_owned(),
            other => other.to_owned(),
        };
        people.row(&[&text(person, "name"), &role]);
    }
    let mut devices = Page::new(&["phone or laptop", "whose", "key", ""]);
    for device in list(answer, "devices") {
        let mark = if device["retired"] == true {
            "taken off"
        } else if device["this"] == true {
            "this one"
        } else {
            ""
        };
        let key: String = text(device, "key").chars().take(8).collect();
        devices.row(&[&text(device, "name"), &text(device, "person"), &key, mark]);
    }
    [heading(&text(answer, "crew")), people.finish(), heading("Phones and laptops"), devices.finish()]
        .join("\n")
}

fn verified(answer: &Value) -> String {
    let damage = list(answer, "damage");
    let mut page = format!("{} events read and checked.", text(answer, "events"));
    if damage.is_empty() {
        page += " Every byte is as it was written.";
    }
    for place in damage {
        page += &format!("\n  damaged: {}", place.as_str().unwrap_or_default());
    }
    for file in list(answer, "moved") {
        page += &format!("\n  moved to {} of the journal's folder", file.as_str().unwrap_or_default());
    }
    if !damage.is_empty() && answer["put_right"] != true {
        page += "\nThe damage could not be put right: is the disk full? Free some space and verify again.";
    }
    match answer["missing"].as_u64().unwrap_or(0) {
        0 => {}
        1 => page += "\n1 event is missing here. It comes back from the next device that has it.",
        missing => {
            page += &format!(
                "\n{missing} events are missing here. They come back from the next device that has them."
            )
        }
    }
    page
}

fn set_aside(answer: &Value) -> String {
    let mut page = Page::new(&["key", "who", "day", "what", "why", "again"]);
    for row in list(answer, "set_aside") {
        let again = if row["again"] == true { "yes".to_owned() } else { text(row, "by_hand") };
        let [key, person, day, what, why] =
            ["key", "person", "day", "what", "why"].map(|name| text(row, name));
        page.row(&[&key, &person, &day, &what, &why, &again]);
    }
    let entered = answer["entered"].as_u64().unwrap_or(0);
    let mut out = if entered > 0 { format!("{entered} entered again.\n") } else { String::new() };
    for refused in list(answer, "refused") {
        out += &format!("  not {}: {}\n", text(refused, "key"), text(refused, "why"));
    }
    if list(answer, "set_aside").is_empty() {
        return out + "Nothing is set aside.";
    }
    out += &page.finish();
    out + "\n`fivebar set-aside --all-again` enters again what says yes; each stays one entry, whoever does it."
}

fn status(answer: &Value) -> String {
    let mut page = Page::new(&["device", "for", ">events"]);
    for chain in list(answer, "chains") {
        let (events, counted) = (text(chain, "events"), text(chain, "counted"));
        let events = if events == counted { events } else { format!("{counted} of {events} count") };
        page.row(&[&text(chain, "device"), &text(chain, "audience"), &events]);
    }
    let others = others(list(answer, "others"));
    format!(
        "{}\n\n{others}Crew code {}: it is on quotes and on what is handed over.",
        page.finish(),
        text(answer, "crew_code")
    )
}

/// The other devices: when each was met last, and how much of what is here it is known to hold.
fn others(others: &[Value]) -> String {
    if others.is_empty() {
        return String::new();
    }
    let mut page = Page::new(&["other device", "last met", "has"]);
    for other in others {
        let met = other["met_ms"].as_i64().and_then(|met| Moment::in_zone(met, "Europe/London").ok());
        let (met, has) = match (met, other["missing"].as_u64().unwrap_or(0)) {
            (None, _) => ("never from here".to_owned(), "not known".to_owned()),
            (Some(met), missing) => {
                let minute = met.minute_of_day();
                let met = format!("{} {:02}:{:02}", met.day(), minute / 60, minute % 60);
                (met, if missing == 0 { "everything".to_owned() } else { format!("all but {missing}") })
            }
        };
        page.row(&[&text(other, "device"), &met, &has]);
    }
    page.finish() + "\n\n"
}

/// The invite's code, with a picture of it for a phone's camera.
fn invite(answer: &Value) -> String {
    let code = text(answer, "code");
    let picture = qrcode::QrCode::new(code.as_bytes())
        .map(|code| code.render::<qrcode::render::unicode::Dense1x2>().quiet_zone(true).build())
        .unwrap_or_default();
    format!(
        "{picture}\nOn {}'s phone or laptop, while `fivebar run` is running here:\n\n  fivebar join {code}\n\n\
         The code works once, for {} minutes.",
        text(answer, "person"),
        text(answer, "minutes")
    )
}

/// The link for a phone's browser, with a picture of it for a camera.
fn page_link(answer: &Value) -> String {
    let origins = list(answer, "origins").iter().filter_map(Value::as_str).map(str::to_owned);
    let origins: Vec<String> = origins.collect();
    match serde_json::from_value(answer["link"].clone()) {
        Ok(link) if !origins.is_empty() => web::on_terminal(&link, &origins),
        _ => "The page was never served from here; start it with `fivebar run`.".to_owned(),
    }
}

/// What a device that joined says.
pub(crate) fn joined(joined: &Joined) -> String {
    format!(
        "Joined the crew. Both screens must show the same check words: {}\n{} events fetched and checked.",
        joined.check, joined.events
    )
}
