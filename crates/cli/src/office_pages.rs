//! The office's money on the terminal: prices, rates, what was paid, extras and quotes.

use daemon::command::TermsCommand;
use serde_json::Value;

use crate::pages::{list, text};
use crate::table::{Page, heading};

/// An item's prices.
pub(crate) fn prices(answer: &Value) -> String {
    let pack = format!("{} of {} {}", text(answer, "pack"), text(answer, "pack_size"), text(answer, "unit"));
    let mut page = Page::new(&["from", &format!(">£ a {pack}")]);
    for price in list(answer, "prices") {
        page.row(&[&since(price), &text(price, "pack_cost")]);
    }
    heading(&text(answer, "item")) + &page.finish()
}

/// A person's rates.
pub(crate) fn rates(answer: &Value) -> String {
    let mut title = text(answer, "person");
    for scope in ["job", "trade"].map(|scope| text(answer, scope)).iter().filter(|scope| !scope.is_empty()) {
        title += &format!(", {scope}");
    }
    let mut page = Page::new(&["from", ">cost £ an hour", ">charge £ an hour"]);
    for rate in list(answer, "rates") {
        page.row(&[&since(rate), &text(rate, "cost"), &text(rate, "charge")]);
    }
    heading(&title) + &page.finish()
}

/// The first day of all stands for "always".
fn since(row: &Value) -> String {
    let from = text(row, "from");
    if from.starts_with("1970-") { "the beginning".to_owned() } else { from }
}

/// What was paid for an entry.
pub(crate) fn paid(answer: &Value) -> String {
    let paid = &answer["paid"]["price_paid"];
    let per = text(paid, "per");
    let per = if per.is_empty() { per } else { format!(" a {per}") };
    format!(
        "{} of {}: {} and {} VAT{per}.",
        text(&answer["of"], "text"),
        text(&answer["of"], "done_on"),
        text(paid, "net"),
        text(paid, "vat")
    )
}

/// Who bears a cost.
pub(crate) fn cost_borne(answer: &Value) -> String {
    let whose = match text(answer, "whose").as_str() {
        "customers" => "the customer bears it",
        "makers" => "the maker or supplier bears it",
        _ => "we bear it",
    };
    format!("{} of {}: {whose}.", text(&answer["of"], "text"), text(&answer["of"], "done_on"))
}

/// What an extra sells for.
pub(crate) fn extra_priced(answer: &Value) -> String {
    let extra = &answer["extra"];
    let asked = &extra["content"]["extra_asked"];
    let what = [text(asked, "what"), text(extra, "note"), text(extra, "key")];
    let what = what.into_iter().find(|what| !what.is_empty()).unwrap_or_default();
    format!("{what}: {} without VAT.", text(answer, "amount"))
}

/// A deposit that was asked for.
pub(crate) fn deposit(answer: &Value) -> String {
    let job = text(answer, "job");
    format!(
        "Noted: a deposit of {} before VAT is asked for on {job}. `fivebar invoice issue {job} --deposit` makes its \
         invoice, and the next invoice takes it off.",
        text(answer, "amount"),
    )
}

/// When and how a job is billed, or how somebody works for the crew, as it was just said.
pub(crate) fn terms(terms: &TermsCommand, answer: &Value) -> String {
    let (job, person) = (text(answer, "job"), text(answer, "person"));
    match terms {
        TermsCommand::PointDue { .. } => {
            format!("{job}: {} is due since {}.", text(answer, "point"), text(answer, "due_on"))
        }
        TermsCommand::Complete { .. } => format!(
            "{job} is practically complete since {}. Half of what is held back is to bill now, the rest after {}.\n\
             Retention clauses may be banned by a law that was before Parliament in 2026: look at the contract.",
            text(answer, "complete_on"),
            text(answer, "defects_until")
        ),
        TermsCommand::VatRate { .. } => {
            let stage = text(answer, "stage");
            let of = if stage.is_empty() { job } else { format!("{job}, {stage}") };
            format!("{of}: VAT at the rate {}.", text(answer, "rate").replace('_', " "))
        }
        TermsCommand::SelfBilling { .. } => format!(
            "{job}: the customer issues the invoices from {} to {}, and you issue none. Record theirs by \n\
             `fivebar invoice self-billed {job} NUMBER SUM`. The agreement is here: {}.",
            text(answer, "from"),
            text(answer, "until"),
            text(answer, "evidence")
        ),
        TermsCommand::Time(_) | TermsCommand::ShowTime => time_terms(answer),
        TermsCommand::Engage { .. } => {
            let (how, percent) = (text(answer, "engagement").replace('_', " "), text(answer, "cis_percent"));
            let cis = if percent == "0" { String::new() } else { format!(", CIS {percent} %") };
            format!("{person}: {how}{cis}.")
        }
    }
}

/// How time is counted, row by row.
fn time_terms(answer: &Value) -> String {
    let rows = list(answer, "time_terms");
    if rows.is_empty() {
        return "Every hour is at the rate of `fivebar rate`; nothing else was set.".to_owned();
    }
    let mut page = Page::new(&["for", "job", "person", "from", "how time is counted"]);
    for row in rows {
        let side = if text(row, "side") == "paid" { "what is paid" } else { "what is charged" };
        let or_all = |name| Some(text(row, name)).filter(|text| !text.is_empty()).unwrap_or("all".to_owned());
        page.row(&[side, &or_all("job"), &or_all("person"), &since(row), &counting(&row["terms"])]);
    }
    page.finish()
}

/// One way of counting, in words.
fn counting(terms: &Value) -> String {
    let hours = |minutes: &Value| trade::money::hours_and_minutes(minutes.as_i64().unwrap_or_default());
    let uplift = |uplift: &Value| match uplift["times"].as_str() {
        Some(times) => format!("x{times}"),
        None => format!("{} an hour", text(uplift, "hour")),
    };
    let mut words = Vec::new();
    let day = &terms["day"];
    if !day.is_null() {
        words.push(format!(
            "{} a day of {}, by {}",
            text(day, "rate"),
            hours(&day["minutes"]),
            text(day, "parts")
        ));
    }
    let overtime = &terms["overtime"];
    if !overtime.is_null() {
        let after = [("day_minutes", "a day"), ("week_minutes", "a week")];
        let after = after.iter().filter(|(name, _)| !overtime[*name].is_null());
        let after: Vec<_> =
            after.map(|(name, of)| format!("after {} {of}", hours(&overtime[*name]))).collect();
        words
            .push(format!("overtime {} {}", uplift(&overtime["rate"]), after.join(" or ")).trim().to_owned());
    }
    for (name, called) in [("saturday", "Saturday"), ("sunday", "Sunday")] {
        words.extend((!terms[name].is_null()).then(|| format!("{called} {}", uplift(&terms[name]))));
    }
    if !terms["holiday"].is_null() {
        let days: Vec<_> = list(terms, "holidays").iter().filter_map(Value::as_str).collect();
        words.push(format!("{} on {}", uplift(&terms["holiday"]), days.join(", ")));
    }
    let call = &terms["call_out"];
    if !call.is_null() {
        words.push(format!(
            "call-out {}, first {} inside",
            text(call, "sum"),
            hours(&call["covers_minutes"])
        ));
    }
    for (name, called) in [("travel", "an hour of travelling"), ("mile", "a mile")] {
        words.extend((!terms[name].is_null()).then(|| format!("{} {called}", text(terms, name))));
    }
    if words.is_empty() { "every hour alike".to_owned() } else { words.join("; ") }
}

/// A job's quotes.
pub(crate) fn quotes(answer: &Value) -> String {
    let mut versions = Page::new(&["version", ">price £", "what is in it", "what is not", "agreed"]);
    for version in list(answer, "versions") {
        let agreed = &version["agreed"];
        let agreed = if agreed.is_null() {
            "not yet".to_owned()
        } else {
            [text(agreed, "on"), text(agreed, "by"), text(agreed, "how")].join(" ")
        };
        versions.row(&[
            &text(version, "version"),
            &text(version, "price"),
            &text(version, "included"),
            &text(version, "excluded"),
            &agreed,
        ]);
    }
    let mut page = heading(&format!("{}: quotes", text(answer, "job"))) + &versions.finish();
    if !list(answer, "extras").is_empty() {
        let mut extras = Page::new(&["extra", "on what terms", ">£"]);
        for extra in list(answer, "extras") {
            let amount = text(extra, "amount");
            let amount = if amount.is_empty() { "not priced".to_owned() } else { amount };
            extras.row(&[&text(extra, "what"), &text(extra, "terms").replace('_', " "), &amount]);
        }
        page += &(heading("\nAgreed extras") + &extras.finish());
    }
    if !list(answer, "points").is_empty() {
        let mut points = Page::new(&["payment point", "when signed off", ">£"]);
        for point in list(answer, "points") {
            points.row(&[&text(point, "label"), &text(point, "stage"), &text(point, "amount")]);
        }
        page += &(heading("\nPayment points") + &points.finish());
    }
    match text(answer, "off").as_str() {
        "" => page,
        "0.00" => {
            page + &format!("\n\nThe points come to {}, as the quote with its extras.", text(answer, "due"))
        }
        off => {
            let (sum, due) = (text(answer, "points_sum"), text(answer, "due"));
            page + &format!(
                "\n\nThe points come to {sum}, and the quote with its extras to {due}: off by {off}. Set them anew."
            )
        }
    }
}
