//! What is where of the photos, on the terminal.

use serde_json::Value;

use crate::pages::{list, text};
use crate::table::Page;

/// Hex digits by which a photo is called.
const DIGITS: usize = 12;

/// What is here, what is coming, and where the rest is.
pub(crate) fn photos(answer: &Value) -> String {
    let count = |name: &str| answer[name].as_u64().unwrap_or(0);
    let keeps = keeps(&answer["keeps"]);
    let named = if count("named") == 1 { "photo is" } else { "photos are" };
    let mut page = format!("{} {named} logged. This device keeps {keeps}.\n", count("named"));
    let mut line = |of: &str, words: &str| {
        let is = if count(of) == 1 { "is" } else { "are" };
        page += &format!("  {} {is} {words}\n", count(of));
    };
    line("whole", "here");
    if count("small") > 0 {
        let small = if count("small") == 1 { "a small picture" } else { "small pictures" };
        line("small", &format!("here as {small}, made by another device"));
    }
    line("missing", "not here");
    let coming = list(answer, "on_their_way");
    if !coming.is_empty() {
        page += "  on the way:\n";
        for one in coming {
            let (photo, from) = (short(one), text(one, "from"));
            page += &format!("    {photo} from {from}, {} %\n", text(one, "percent"));
        }
    }
    if let Some(trouble) = answer["trouble"].as_str() {
        page += &format!("  Not now: {trouble}.\n");
    }
    let elsewhere = list(answer, "not_whole");
    if !elsewhere.is_empty() {
        let mut table = Page::new(&["photo", "here", "known to be on"]);
        for one in elsewhere {
            let on: Vec<&str> = list(one, "on").iter().filter_map(Value::as_str).collect();
            let on = if on.is_empty() { "no device that is known".to_owned() } else { on.join(", ") };
            let here = if one["small"] == true { "a small picture" } else { "nothing yet" };
            table.row(&[&short(one), here, &on]);
        }
        page += &format!("\n{}\n", table.finish());
        let more = count("small") + count("missing") - elsewhere.len() as u64;
        if more > 0 {
            page += &format!("and {more} more\n");
        }
    }
    let devices = list(answer, "devices");
    if !devices.is_empty() {
        let mut table = Page::new(&["device", "keeps", ">known to have"]);
        for device in devices {
            let keeps = if device["keeps"].is_null() {
                "not heard of since the start".to_owned()
            } else {
                self::keeps(&device["keeps"])
            };
            table.row(&[&text(device, "device"), &keeps, &text(device, "has")]);
        }
        page += &format!("\n{}", table.finish());
    }
    page.trim_end().to_owned()
}

fn short(one: &Value) -> String {
    text(one, "photo").chars().take(DIGITS).collect()
}

fn keeps(keeps: &Value) -> String {
    match keeps.as_str() {
        Some("small") => "small pictures".to_owned(),
        Some("none") => "only its own".to_owned(),
        Some(_) | None => "all of them".to_owned(),
    }
}
