//! What a sentence would log, what was logged of it, and the survey, as a builder reads them.

use serde_json::Value;

use crate::pages::{list, text};

/// What was heard in a line: proposals, open questions with their answers, and what was left over.
pub(crate) fn heard(answer: &Value) -> String {
    let heard = &answer["heard"];
    let mut lines = Vec::new();
    for (number, proposal) in list(heard, "proposals").iter().enumerate() {
        lines.push(format!("  {}", proposed(proposal)));
        for remark in list(heard, "remarks").iter().filter(|remark| remark["about"] == number) {
            lines.push(format!("      {}", text(remark, "text")));
        }
    }
    lines.extend(
        list(heard, "remarks")
            .iter()
            .filter(|remark| remark["about"].is_null())
            .map(|remark| text(remark, "text")),
    );
    for (number, question) in list(heard, "questions").iter().enumerate() {
        let skip = if question["must"] == true { "" } else { " (may be left)" };
        lines.push(format!("{}{skip}", text(question, "question")));
        // Only the first can be answered next, so only its answers are numbered.
        for (choice, offered) in list(question, "choices").iter().enumerate() {
            let mark = if number == 0 { format!("--answer {}", choice + 1) } else { "-".to_owned() };
            lines.push(format!("      {mark}  {}", text(offered, "label")));
        }
    }
    let left: Vec<String> = list(heard, "not_understood").iter().map(|span| text(span, "text")).collect();
    if !left.is_empty() {
        lines.push(format!("Not understood: {}", left.join(" … ")));
    }
    let ready = list(heard, "proposals").iter().all(|proposal| proposal["ready"] == true);
    if list(heard, "proposals").is_empty() {
        lines.push("Nothing in it was understood as an entry.".to_owned());
    } else if ready {
        lines.push("Nothing is logged yet; the same with --log logs it.".to_owned());
    }
    lines.join("\n")
}

/// `used: finish plaster, 3 bag, skim`.
fn proposed(proposal: &Value) -> String {
    let columns = &proposal["columns"];
    let amount = format!("{} {}", text(columns, "quantity"), text(columns, "unit"));
    let clock = match (text(columns, "from"), text(columns, "to")) {
        (from, to) if from.is_empty() && to.is_empty() => String::new(),
        (from, to) => format!("{from} to {to}"),
    };
    let minutes = match text(columns, "minutes") {
        minutes if minutes.is_empty() => minutes,
        minutes => format!("{minutes} min"),
    };
    let less = match text(columns, "break_min") {
        none if none.is_empty() || none == "0" => String::new(),
        minutes => format!("break {minutes} min"),
    };
    let rest = ["job", "stage", "where", "person", "note"].map(|column| text(columns, column));
    let said =
        [text(columns, "what"), amount.trim().to_owned(), clock, minutes, less].into_iter().chain(rest);
    let said: Vec<String> = said.filter(|part| !part.is_empty()).collect();
    let open = if proposal["ready"] == true { "" } else { "  (open)" };
    format!("{}: {}{open}", text(proposal, "kind"), said.join(", "))
}

/// What was logged of a line.
pub(crate) fn logged(answer: &Value) -> String {
    let keys: Vec<String> =
        list(answer, "logged").iter().filter_map(Value::as_str).map(str::to_owned).collect();
    let taught: Vec<String> =
        list(answer, "taught").iter().filter_map(Value::as_str).map(str::to_owned).collect();
    let mut lines =
        vec![if keys.is_empty() { "Done.".to_owned() } else { format!("Logged as {}.", keys.join(", ")) }];
    if !taught.is_empty() {
        lines.push(format!("Kept with the price book: what {:?} means.", taught.join(", ")));
    }
    lines.join("\n")
}

/// The answers of a job's survey.
pub(crate) fn survey(answer: &Value) -> String {
    let answers = list(answer, "survey");
    if answers.is_empty() {
        return format!("Nothing of {}'s survey is answered yet.", text(answer, "job"));
    }
    let line =
        |said: &Value| format!("  {}: {}", text(said, "point").replace('_', " "), text(said, "answer"));
    answers.iter().map(line).collect::<Vec<_>>().join("\n")
}
