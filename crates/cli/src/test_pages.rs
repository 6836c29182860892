//! Tests as a builder reads them: the kinds with their usual limits, and a job's tests over time.

use daemon::command::TestCommand;
use serde_json::Value;

use crate::pages::{list, text};
use crate::table::{Page, heading};

/// Steps of a line that is drawn with letters, from the lowest to the highest.
const STEPS: [char; 8] = ['▁', '▂', '▃', '▄', '▅', '▆', '▇', '█'];

/// The page for an answer about tests.
pub(crate) fn tests(command: &TestCommand, answer: &Value) -> String {
    match command {
        TestCommand::Kinds => kinds(answer),
        TestCommand::Series { .. } => series(answer),
    }
}

fn kinds(answer: &Value) -> String {
    let mut page = Page::new(&["test", "case", "limit", "source"]);
    for kind in list(answer, "kinds") {
        for (place, case) in list(kind, "cases").iter().enumerate() {
            let name = if place == 0 {
                format!("{}, {}", text(kind, "name"), text(kind, "unit"))
            } else {
                String::new()
            };
            let limit = &case["limit"];
            let source = match text(limit, "source").as_str() {
                "" => String::new(),
                source => format!("{source} ({})", text(limit, "confidence")),
            };
            page.row(&[&name, &text(case, "what"), &text(limit, "words"), &source]);
        }
    }
    page.finish()
        + "\n\nA limit here is a prompt and certifies nothing. One that is set for the job goes first: fivebar limit.\n\
           Local code, the maker and the licensed person decide."
}

fn series(answer: &Value) -> String {
    let all = list(answer, "series");
    if all.is_empty() {
        return "No test was logged.".to_owned();
    }
    let mut page = String::new();
    for series in all {
        let place = text(series, "place");
        let at = if place.is_empty() { String::new() } else { format!(", {place}") };
        page +=
            &heading(&format!("{}, {}{at}  {}", text(series, "what"), text(series, "stage"), line(series)));
        let mut table = Page::new(&["on", "by", ">value", "", "verdict", "limit and source"]);
        for test in list(series, "tests") {
            let sign = match text(test, "bound").as_str() {
                "above" => ">",
                "below" => "<",
                _ => "",
            };
            let judged = &test["judged"];
            let source = match (text(judged, "limit"), text(judged, "source")) {
                (limit, _) if limit.is_empty() => text(judged, "note"),
                (limit, source) => format!("{limit}; {source}"),
            };
            let value = format!("{sign}{}", text(test, "value"));
            table.row(&[
                &text(test, "on"),
                &text(test, "person"),
                &value,
                &text(test, "unit"),
                &text(judged, "verdict"),
                &source,
            ]);
        }
        page += &table.finish();
        page += "\n";
    }
    page
}

/// A small line of the values in their order; empty for fewer than two. It shows the course only.
fn line(series: &Value) -> String {
    let heights = list(series, "tests").iter().filter_map(|test| test["height"].as_u64());
    let heights: Vec<u64> = heights.collect();
    let last = u64::try_from(STEPS.len() - 1).unwrap_or(0);
    let step = |height: &u64| STEPS.get(usize::try_from(height * last / 1000).ok()?);
    if heights.len() < 2 { String::new() } else { heights.iter().filter_map(step).collect() }
}
