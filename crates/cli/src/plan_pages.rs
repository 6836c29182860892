//! The day's plan as a builder reads it: what is ready, what is missing, what to load and to get.

use daemon::command::PlanCommand;
use serde_json::Value;

use crate::pages::{list, text};
use crate::table::{Page, heading};

/// The page for an answer about a plan.
pub(crate) fn plan(command: &PlanCommand, answer: &Value) -> String {
    match command {
        PlanCommand::Morning { .. } => morning(answer),
        PlanCommand::Needs { .. } | PlanCommand::Need(_) => needs(answer),
        PlanCommand::FillIn(_) | PlanCommand::FillInBecame { .. } | PlanCommand::FillIns { .. } => {
            fill_ins(answer)
        }
        PlanCommand::Closing { .. } => closing(answer),
        PlanCommand::Slips { .. } => slips(answer),
        PlanCommand::Waits => waits(answer),
        PlanCommand::SetLimit(_) => limits(answer),
    }
}

fn morning(answer: &Value) -> String {
    let mut stages = Page::new(&["job", "stage", "", "missing"]);
    for stage in list(answer, "stages") {
        let missing: Vec<String> =
            list(stage, "missing").iter().map(|missing| text(missing, "what")).collect();
        let state = match text(stage, "state").as_str() {
            _ if stage["ready"] == true => "ready".to_owned(),
            "free" if stage["free"] == true => "free".to_owned(),
            "free" | "waiting" => "waits".to_owned(),
            state => state.replace('_', " "),
        };
        stages.row(&[&text(stage, "job"), &text(stage, "stage"), &state, &missing.join("; ")]);
    }
    let mut page = stages.finish();
    for (title, name) in
        [("Load the van", "load"), ("To get", "to_get"), ("Waiting on the customer", "customer")]
    {
        let lines = list(answer, name);
        if lines.is_empty() {
            continue;
        }
        page += "\n";
        page += &heading(title);
        let mut table = Page::new(&["job", "stage", "what", "by"]);
        for line in lines {
            let on_van = text(line, "on_van");
            let on_van = if on_van.is_empty() || on_van == "0" {
                String::new()
            } else {
                " (some on the van)".to_owned()
            };
            let what = text(line, "what") + &on_van;
            table.row(&[&text(line, "job"), &text(line, "stage"), &what, &text(line, "by")]);
        }
        page += &table.finish();
    }
    page
}

/// What was not heard of behind what each stage covers.
fn closing(answer: &Value) -> String {
    if list(answer, "checks").is_empty() {
        return "Nothing of it covers another stage.".to_owned();
    }
    let mut page = Page::new(&["before", "covers", "where", "not heard of on this device"]);
    for check in list(answer, "checks") {
        let mut open: Vec<String> =
            list(check, "missing").iter().filter_map(Value::as_str).map(str::to_owned).collect();
        if check["signed_off"] == false {
            open.push("sign-off".to_owned());
        }
        let told = &check["told"];
        if !told.is_null() {
            open.push(format!("{} was told of it by {}", text(told, "to"), text(told, "by")));
        }
        let open = if open.is_empty() { "nothing missing".to_owned() } else { open.join(", ") };
        page.row(&[&text(check, "stage"), &text(check, "covers"), &text(check, "place"), &open]);
    }
    page.finish() + "\n\nIt tells what was logged, and certifies nothing."
}

fn needs(answer: &Value) -> String {
    let mut page = Page::new(&["stage", "needs", "met"]);
    for need in list(answer, "needs") {
        let what = match text(need, "kind").as_str() {
            "people" => format!("{} people", text(need, "count")),
            "hired_gear" => format!("{} on hire", text(need, "what")),
            "customers_choice" => format!("the customer’s choice: {}", text(need, "what")),
            _ => format!("{} to look first", text(need, "what")),
        };
        page.row(&[&text(need, "stage"), &what, &text(need, "met")]);
    }
    page.finish()
}

fn fill_ins(answer: &Value) -> String {
    let mut page = String::new();
    for wet in list(answer, "setting") {
        let until = match text(wet, "until") {
            until if until.is_empty() => String::new(),
            until => {
                // The day and the clock; the rest of it is for programs.
                let until = until.replace('T', " ");
                let until = until.get(..16).unwrap_or(&until);
                format!(", until {until} at the earliest; check by eye and touch")
            }
        };
        page += &format!("{}{until}\n", text(wet, "what"));
    }
    let rule = if answer["wet"] == true { ", no dust and nothing out of earshot" } else { "" };
    page += &format!("For {} minutes{rule}:\n\n", text(answer, "minutes"));
    let mut table = Page::new(&[">min", "task", "job", "where", "marks"]);
    for task in list(answer, "tasks") {
        let mark = |is: bool, word: &str| is.then(|| word.to_owned());
        let reach = match text(task, "reach").as_str() {
            "same_room" => Some("same room".to_owned()),
            "out_of_earshot" => Some("out of earshot".to_owned()),
            _ => None,
        };
        let marks = [
            mark(task["can_be_dropped"] == true, "can be dropped"),
            mark(task["dusty"] == true, "dusty"),
            reach,
            match text(task, "unfit").as_str() {
                "" => None,
                unfit => Some(format!("does not fit: {}", unfit.replace('_', " "))),
            },
        ];
        let marks: Vec<String> = marks.into_iter().flatten().collect();
        let (minutes, what, job, room) =
            (text(task, "minutes"), text(task, "what"), text(task, "job"), text(task, "room"));
        table.row(&[&minutes, &what, &job, &room, &marks.join(", ")]);
    }
    page + &table.finish()
}

fn slips(answer: &Value) -> String {
    let slips = &answer["slips"];
    let head = format!("If {} takes {} h longer", text(answer, "stage"), text(answer, "hours"));
    let end = list(slips, "end");
    let end = match (end.first().and_then(Value::as_str), end.get(1).and_then(Value::as_str)) {
        (Some(before), Some(after)) if before == after => {
            let spare = &slips["to_spare_hours"];
            let later = if spare.as_i64() < answer["hours"].as_i64() { ", later on that day" } else { "" };
            format!(
                "The end stays: {after} at the earliest{later}. It has {} h to spare.",
                text(slips, "to_spare_hours")
            )
        }
        (Some(before), Some(after)) => format!("The end slips from {before} to {after}, at the earliest."),
        _ => String::new(),
    };
    let mut table = Page::new(&["stage", "from", "to"]);
    for slip in list(slips, "stages") {
        table.row(&[&text(slip, "stage"), &text(slip, "from"), &text(slip, "to")]);
    }
    let table = if list(slips, "stages").is_empty() {
        "no stage slips to another day".to_owned()
    } else {
        table.finish()
    };
    format!("{head}:\n\n{table}\n\n{end}")
}

fn waits(answer: &Value) -> String {
    let mut page = Page::new(&["what waits", ">at least", "then look for", "source"]);
    for wait in list(answer, "waits") {
        let source = format!("{} ({})", text(wait, "source"), text(wait, "confidence"));
        page.row(&[&text(wait, "what"), &text(wait, "length"), &text(wait, "look_for"), &source]);
    }
    page.finish()
        + "\n\nThe earliest, and no more: check by eye and touch, and the maker goes first. A stage that is listed\n\
           without a wait takes the usual one; give it one of its own with `fivebar stage add … --wait-hours 72`."
}

fn limits(answer: &Value) -> String {
    let mut page = Page::new(&["test", "limit", "set by"]);
    for limit in list(answer, "limits") {
        let words = match text(limit, "bound").as_str() {
            "above" => "at least",
            "below" => "at most",
            _ => "exactly",
        };
        let value = format!("{words} {} {}", text(limit, "value"), text(limit, "unit"));
        page.row(&[&text(limit, "what"), &value, &text(limit, "source")]);
    }
    page.finish()
}
