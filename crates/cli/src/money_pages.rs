//! What is owed and what is to pay out, on the terminal.

use serde_json::Value;
use trade::money::hours_and_minutes;

use crate::application_pages;
use crate::pages::{list, text};
use crate::table::{Page, heading};

/// What customers owe, by age.
pub(crate) fn owed(answer: &Value) -> String {
    let applied = match list(answer, "applied_for") {
        [] => String::new(),
        open => {
            let sum = text(answer, "applied_sum");
            format!("\n\nApplied for, and on no invoice yet: {sum} before VAT\n")
                + &application_pages::open(open)
        }
    };
    if list(answer, "owed").is_empty() {
        return "Nobody owes you anything on an invoice.".to_owned() + &applied;
    }
    let mut page = Page::new(&["number", "job", "customer", "due", ">days late", ">owed £"]);
    for row in list(answer, "owed") {
        let late = row["days_late"].as_i64().filter(|days| *days > 0).map(|days| days.to_string());
        page.row(&[
            &text(row, "number"),
            &text(row, "job"),
            &text(row, "customer"),
            &text(row, "due_on"),
            &late.unwrap_or_default(),
            &text(row, "owed"),
        ]);
    }
    let mut ages = Page::new(&["by age", ">owed £"]);
    for age in list(answer, "by_age") {
        ages.row(&[&text(age, "words"), &text(age, "owed")]);
    }
    ages.row(&["in all", &text(answer, "sum")]);
    page.finish() + "\n\n" + &ages.finish() + &applied
}

/// A job's account.
pub(crate) fn statement(answer: &Value) -> String {
    let title = format!("{}: account with {}", text(answer, "job"), text(answer, "customer"));
    let mut page = Page::new(&["day", "what", "number", ">£", ">owed £"]);
    for line in list(answer, "lines") {
        page.row(&[
            &text(line, "day"),
            &text(line, "what").replace('_', " "),
            &text(line, "number"),
            &text(line, "amount"),
            &text(line, "balance"),
        ]);
    }
    let held = text(answer, "held_back");
    let held = if held == "0.00" { String::new() } else { format!(", and {held} is held back") };
    heading(&title)
        + &page.finish()
        + &format!("\n\nOwed on {}: {}{held}.", text(answer, "today"), text(answer, "balance"))
}

/// What could be claimed for paying late.
pub(crate) fn late(answer: &Value) -> String {
    format!(
        "Invoice {}: {} owed, {} days after {}.\nInterest at {} %: {}. Fixed sum: {}. In all {}, if you want to claim \
         it\n(Late Payment of Commercial Debts (Interest) Act 1998; the contract may say otherwise).",
        text(answer, "number"),
        text(answer, "owed"),
        text(answer, "days_late"),
        text(answer, "due_on"),
        text(answer, "percent"),
        text(answer, "interest"),
        text(answer, "fixed_sum"),
        text(answer, "sum")
    )
}

/// What is to pay out.
pub(crate) fn pay_list(answer: &Value) -> String {
    let title = format!("To pay out, {} to {}", text(answer, "from"), text(answer, "to"));
    let mut people =
        Page::new(&["person", ">days", ">hours", ">for hours £", ">CIS £", ">own pocket £", ">gets £"]);
    let known = |sum: String| if sum.is_empty() { "not known".to_owned() } else { sum };
    for pay in list(answer, "people") {
        let minutes = pay["minutes"].as_i64().unwrap_or_default();
        people.row(&[
            &text(pay, "name"),
            &text(pay, "days"),
            &hours_and_minutes(minutes),
            &known(text(pay, "labour")),
            &text(pay, "cis"),
            &known(text(pay, "own_pocket")),
            &known(text(pay, "net")),
        ]);
    }
    let mut page = heading(&title) + &people.finish();
    for pay in list(answer, "people") {
        let parts = list(pay, "counted").iter().map(|part| {
            let per = if part["per_minutes"] == 60 { "an hour" } else { "a day" };
            let length = hours_and_minutes(part["minutes"].as_i64().unwrap_or_default());
            format!("{} {length} at {} {per}", text(part, "band").replace('_', " "), text(part, "rate"))
        });
        let miles = Some(text(pay, "mileage")).filter(|sum| sum != "0.00");
        let parts: Vec<_> = parts.chain(miles.map(|sum| format!("and {sum} for miles driven"))).collect();
        if !parts.is_empty() {
            page += &format!("\n  {}: {}.", text(pay, "name"), parts.join(", "));
        }
    }
    page += &format!(
        "\n\nTo people in all: {}. Kept back for CIS: {}. Wages of people on the books are worked out elsewhere.",
        text(answer, "to_people"),
        text(answer, "cis_kept_back")
    );
    if !list(answer, "suppliers").is_empty() {
        let mut suppliers = Page::new(&["on account with", ">£ with VAT", ">without a sum"]);
        for row in list(answer, "suppliers") {
            suppliers.row(&[&text(row, "supplier"), &text(row, "on_account"), &text(row, "without_a_sum")]);
        }
        page += &("\n\n".to_owned() + &suppliers.finish());
    }
    page
}
