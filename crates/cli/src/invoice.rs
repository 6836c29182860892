//! Invoices on the terminal: what is to bill, and what was billed.

use serde_json::Value;

use crate::pages::{list, text};
use crate::table::{Page, heading, without_noughts};

/// The preview of all jobs.
pub(crate) fn preview(answer: &Value) -> String {
    let bills: Vec<_> = list(answer, "invoices").iter().map(one).collect();
    let credits: Vec<_> = list(answer, "credits").iter().map(proposed_credit).collect();
    if bills.is_empty() && credits.is_empty() {
        return "Nothing to bill.".to_owned();
    }
    let prompts = list(answer, "prompts").iter();
    let prompts: Vec<_> =
        prompts.map(|prompt| format!("{}: {}.\n", text(prompt, "job"), text(prompt, "text"))).collect();
    [bills, credits, prompts].concat().join("\n")
}

/// A credit note that could be issued.
fn proposed_credit(credit: &Value) -> String {
    let number = text(credit, "of_number");
    let title =
        format!("{}: to give back on invoice {number} of {}", text(credit, "job"), text(credit, "of_date"));
    heading(&title)
        + &lines(credit)
        + &sums(&credit["totals"])
        + &format!(
            "It is issued by `fivebar invoice credit {number}`, within 14 days of what made it less\n\
             (VAT Regulations 1995, reg. 15C).\n"
        )
}

/// An extra that waits for a yes.
fn waiting(extra: &Value) -> String {
    let name = text(extra, "extra");
    let named = if extra["by_name"] == true {
        format!(" To bill it all the same: --with-extra '{name}'")
    } else {
        String::new()
    };
    format!("Not on it: {name}, {}. {} before VAT.{named}\n", text(extra, "why"), text(extra, "net"))
}

/// The document that was just issued.
pub(crate) fn issued(answer: &Value) -> String {
    let document = &answer["document"];
    printed("Invoice", document) + &format!("\nTo be paid by {}.", text(document, "due_on"))
}

/// The customer's invoice that was just recorded.
pub(crate) fn self_billed(answer: &Value) -> String {
    let document = &answer["document"];
    printed("The customer's invoice", document)
        + "\nRecorded. Keep their paper; the VAT on it is yours to account for. You issue no invoice for this work."
}

/// The credit note that was just issued.
pub(crate) fn credited(answer: &Value) -> String {
    printed("Credit note", &answer["document"])
}

fn printed(title: &str, document: &Value) -> String {
    let seller = &document["seller"];
    let customer = &document["customer"];
    let mut page = heading(&format!("{title} {}", number_of(document)));
    for (label, party) in [("From", seller), ("To", customer)] {
        page += &format!("{label:<5} {}, {}\n", text(party, "name"), text(party, "address"));
    }
    page += &format!("Date  {}   tax point {}\n", text(document, "issued_on"), text(document, "tax_point"));
    page += &lines(document);
    page += &sums(&document["totals"]);
    let reasons = list(document, "vat").iter().map(|share| text(share, "reason"));
    let notes = list(document, "notes").iter().map(|note| note.as_str().unwrap_or_default().to_owned());
    for said in reasons.chain(notes).filter(|said| !said.is_empty()) {
        page += &format!("\n{said}");
    }
    page
}

/// The number: the crew's, or the customer's where they issued it.
fn number_of(document: &Value) -> String {
    Some(text(document, "self_billed_as"))
        .filter(|theirs| !theirs.is_empty())
        .unwrap_or_else(|| text(document, "number"))
}

/// The files that a paper was written to.
pub(crate) fn printed_to(answer: &Value) -> String {
    let files = list(answer, "files").iter().map(|file| file.as_str().unwrap_or_default());
    files.map(|file| format!("Written: {file}")).collect::<Vec<_>>().join("\n")
}

/// All invoices.
pub(crate) fn all(answer: &Value) -> String {
    let invoices = list(answer, "invoices");
    if invoices.is_empty() {
        return "No invoice yet. `fivebar invoice preview` shows what is to bill.".to_owned();
    }
    let mut page = Page::new(&["number", "job", "date", ">to pay", ">paid", ">still owed"]);
    for invoice in invoices {
        let number = text(invoice, "number");
        let with_it =
            invoices.iter().filter(|other| other["voided"] != true && text(other, "number") == number);
        let called =
            if with_it.count() > 1 { format!("{number} (key {})", text(invoice, "key")) } else { number };
        page.row(&[
            &called,
            &text(invoice, "job"),
            &text(invoice, "issued_on"),
            &text(invoice, "to_pay"),
            &text(invoice, "paid"),
            &text(invoice, "owed"),
        ]);
    }
    page.finish()
}

fn one(invoice: &Value) -> String {
    let waits: String = list(invoice, "waiting").iter().map(waiting).collect();
    heading(&format!("{}: to bill", text(invoice, "job"))) + &lines(invoice) + &sums(invoice) + &waits
}

fn lines(invoice: &Value) -> String {
    let mut page = Page::new(&["stage", "what", ">quantity", ">price £", ">amount £"]);
    for line in list(invoice, "lines") {
        page.row(&[
            &text(line, "stage"),
            &text(line, "what"),
            &without_noughts(&text(line, "quantity"), 0),
            &without_noughts(&text(line, "unit_price"), 2),
            &text(line, "amount"),
        ]);
    }
    page.finish() + "\n"
}

fn sums(totals: &Value) -> String {
    let mut page = String::new();
    let zero = |name: &str| matches!(text(totals, name).as_str(), "0.00" | "");
    let mut add = |label: &str, name: &str| page += &format!("{label:>60} {:>12}\n", text(totals, name));
    add("net", "net");
    if !zero("retention") {
        add("less retention", "retention");
        add("due now before VAT", "taxable");
    }
    if zero("vat_charged") && !zero("vat_stated") {
        add("reverse charge, the customer pays the VAT of", "vat_stated");
    } else {
        add("VAT", "vat_charged");
    }
    add("total", "total");
    if !zero("cis") {
        add("CIS expected to be taken", "cis");
    }
    add("TO PAY", "to_pay");
    page + &format!("{:>60} {:>12}\n", "", "═".repeat(12))
}
