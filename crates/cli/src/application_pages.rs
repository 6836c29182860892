//! Applications for payment on the terminal.

use daemon::command::{ApplicationCommand, Stand};
use serde_json::Value;

use crate::invoice;
use crate::pages::{list, text};
use crate::table::{Page, heading, without_noughts};

/// What came of a command about applications.
pub(crate) fn page(command: &ApplicationCommand, answer: &Value) -> String {
    match command {
        ApplicationCommand::Make { .. } => made(&answer["application"]),
        ApplicationCommand::List { .. } => all(answer),
        ApplicationCommand::Certify { .. } => certified(answer),
        ApplicationCommand::Bill { .. } => invoice::issued(answer),
        ApplicationCommand::SelfBilled(_) => invoice::self_billed(answer),
        ApplicationCommand::SelfCredited { .. } => invoice::credited(answer),
    }
}

fn made(application: &Value) -> String {
    let number = text(application, "number");
    let job = text(&application["work"], "code");
    let mut page = Page::new(&["work", ">price £", ">done", ">to date £"]);
    for line in list(application, "lines") {
        page.row(&[
            &text(line, "what"),
            &without_noughts(&text(line, "unit_price"), 2),
            &format!("{} {}", without_noughts(&text(line, "quantity"), 0), text(line, "unit")),
            &text(line, "amount"),
        ]);
    }
    let mut sums = String::new();
    for (label, name) in [
        ("work to date", "gross"),
        ("less retention", "retention"),
        ("less certified or billed before", "before"),
        ("APPLIED FOR, before VAT", "applied"),
    ] {
        sums += &format!("{label:>60} {:>12}\n", text(application, name));
    }
    heading(&format!("{job}: application for payment {number}"))
        + &page.finish()
        + "\n"
        + &sums
        + &format!(
            "It falls due on {}; they say by {} what they will pay, and pay by {}.\n\
             It is no invoice. `fivebar print application {job} {number}` makes the paper, and `fivebar application \n\
             certified {job} {number} SUM` notes what they will pay.",
            text(application, "due_on"),
            text(application, "notice_by"),
            text(application, "final_on")
        )
}

fn certified(answer: &Value) -> String {
    let (job, number) = (text(answer, "job"), text(answer, "number"));
    let less = text(answer, "less");
    let less = match less.strip_prefix('-') {
        None if less == "0.00" => String::new(),
        None => format!("; {less} of what was applied for is not"),
        Some(more) => format!(", {more} more than was applied for"),
    };
    format!(
        "{job}: {} is certified of application {number}{less}.\n`fivebar invoice issue {job} --application {number}` bills \
         it.",
        text(answer, "certified")
    )
}

fn all(answer: &Value) -> String {
    if list(answer, "applications").is_empty() {
        return "No application for payment yet. `fivebar application make JOB` makes one.".to_owned();
    }
    open(list(answer, "applications")) + &format!("\n\nOpen, before VAT: {}", text(answer, "open"))
}

/// Applications with how they stand.
pub(crate) fn open(applications: &[Value]) -> String {
    let mut page =
        Page::new(&["job", ">number", "made", ">applied for £", ">certified £", "stands", "last day to pay"]);
    for stand in applications {
        let how = match serde_json::from_value(stand["stand"].clone()) {
            Ok(Stand::Billed) => format!("billed by {}", text(stand, "billed_by")),
            Ok(other) => other.words().to_owned(),
            Err(_) => text(stand, "stand"),
        };
        page.row(&[
            &text(stand, "job"),
            &text(stand, "number"),
            &text(stand, "made_on"),
            &text(stand, "applied"),
            &text(stand, "certified"),
            &how,
            &text(stand, "final_on"),
        ]);
    }
    page.finish()
}
