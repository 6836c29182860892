//! A paper of the books: an invoice as it would be issued, or one or a credit note as it was, and what can
//! still be done about it. Nothing here numbers a paper; that is an order.

use std::collections::BTreeSet;

use askama::Template;
use ledger::office::{Document, InvoiceLineKind};
use projections::billing;
use rust_decimal::Decimal;
use trade::Day;
use trade::money::hours_and_minutes;
use trade::number::half_up;
use trade::tax::InvoiceTotals;

use crate::frame::{Frame, Tab};
use crate::links::encoded;
use crate::look::Look;
use projections::words;

/// A line of the paper: what, how much at how much, and the amount.
pub(crate) struct PaperLine {
    pub(crate) what: String,
    pub(crate) detail: String,
    pub(crate) amount: String,
}

/// A paper: as it would be issued, or as it was.
#[derive(Template)]
#[template(path = "paper.html")]
pub(crate) struct Paper {
    pub(crate) frame: Frame,
    /// `Invoice 41`, or what it would be.
    heading: String,
    customer: String,
    lines: Vec<PaperLine>,
    pub(crate) sums: Vec<(&'static str, String)>,
    to_pay: String,
    notes: Vec<String>,
    /// What the boss should know before.
    warnings: Vec<String>,
    /// Extras that are not on it, because the customer's yes was not logged.
    pub(crate) waiting: Vec<Waiting>,
    /// The extras that are on it all the same, by name, one a line.
    pub(crate) with_extra: String,
    /// It can be issued.
    pub(crate) may_issue: bool,
    /// The number, if it was issued and stands.
    pub(crate) stands: String,
    /// It is an invoice, and not a credit note.
    is_invoice: bool,
    /// The customer issued it in the crew's name.
    is_theirs: bool,
    /// Today, as the last day that it bills.
    until: Day,
}

/// An extra that waits for the customer's yes.
pub(crate) struct Waiting {
    pub(crate) extra: String,
    pub(crate) why: String,
    pub(crate) net: String,
    /// Where the invoice stands with it on it.
    pub(crate) link: String,
}

/// What the invoice of the job in hand would say, with the extras that the boss bills by name, one a line,
/// although nobody logged a yes. None where there is nothing to bill, nor waiting.
pub(crate) fn preview(look: &Look<'_>, with_extra: &str) -> Option<Paper> {
    let works = billing::job_works(look.book, &look.lists);
    let work = works.iter().find(|work| Some(work.job) == look.job.map(|job| job.job))?;
    let mut named: Vec<&str> = with_extra.lines().map(str::trim).collect();
    named.retain(|name| billing::extra_called(work, name).is_ok());
    let extras: BTreeSet<_> =
        named.iter().filter_map(|name| billing::extra_called(work, name).ok()).collect();
    let wish = billing::Wish { tax_point: Some(look.today), named: extras, ..billing::Wish::default() };
    let preview = billing::preview_of(work, &wish)?;
    let mut warnings = Vec::new();
    if preview.vat.disagrees {
        warnings.push(
            "What somebody said of the reverse charge is not what the facts say. Look at the job’s terms."
                .to_owned(),
        );
    }
    if !preview.without_a_price.is_empty() {
        let count = preview.without_a_price.len();
        warnings.push(format!("{count} entries have no rate or price and are not on it."));
    }
    if !preview.double.is_empty() {
        warnings.push("Two papers billed the same work; credit or void one.".to_owned());
    }
    let waiting = preview.waiting.iter().map(|waiting| {
        let with: Vec<&str> = named.iter().copied().chain([waiting.extra.as_str()]).collect();
        let (job, what) = (encoded(&work.code), encoded(&with.join("\n")));
        Waiting {
            extra: waiting.extra.clone(),
            why: waiting.why.clone(),
            net: words::pounds(waiting.net),
            link: if waiting.by_name { format!("/bill?job={job}&what={what}") } else { String::new() },
        }
    });
    let waiting = waiting.collect();
    warnings.extend(named.iter().map(|name| format!("{name} is on it because you named it.")));
    Some(Paper {
        frame: look.frame(Tab::Week, format!("{} · to bill", work.code)),
        heading: "To bill".to_owned(),
        customer: work.customer.clone(),
        lines: preview.printed.iter().map(paper_line).collect(),
        sums: sums(&preview.totals),
        to_pay: words::pounds(preview.totals.to_pay),
        notes: Vec::new(),
        warnings,
        may_issue: !preview.printed.is_empty(),
        waiting,
        with_extra: named.join("\n"),
        stands: String::new(),
        is_invoice: true,
        is_theirs: false,
        until: look.today,
    })
}

/// An issued paper by its number or key.
pub(crate) fn paper(look: &Look<'_>, called: &str) -> Option<Paper> {
    let works = billing::job_works(look.book, &look.lists);
    // A number that was made void may have been given or recorded anew.
    let (_, paper) = billing::called(&works, called).into_iter().min_by_key(|(_, paper)| paper.voided)?;
    let document = &paper.document;
    let number = &billing::printed_number(document);
    let unmistakable = billing::unmistakable(&works, document.invoice, number);
    let kind = if paper.credits.is_some() { "Credit note" } else { "Invoice" };
    let mut warnings = Vec::new();
    if !document.self_billed_as.is_empty() {
        warnings.push("The customer issued it. Keep the paper that they sent.".to_owned());
    }
    if unmistakable != *number {
        warnings.push(format!(
            "Another paper has the number {number}, too. To sort out, on the week's page, says what to do."
        ));
    }
    if paper.voided {
        warnings.push("Voided: the number stands and bills nothing.".to_owned());
    }
    Some(Paper {
        frame: look.frame(Tab::Week, format!("{kind} {number}")),
        heading: format!("{kind} {number} of {}", words::day(document.issued_on)),
        customer: document.customer.name.clone(),
        lines: document.lines.iter().map(paper_line).collect(),
        sums: sums(&document.totals),
        to_pay: words::pounds(document.totals.to_pay),
        notes: notes(document),
        warnings,
        may_issue: false,
        waiting: Vec::new(),
        with_extra: String::new(),
        stands: if paper.voided { String::new() } else { unmistakable },
        is_invoice: paper.credits.is_none(),
        is_theirs: !document.self_billed_as.is_empty(),
        until: look.today,
    })
}

fn paper_line(line: &ledger::office::InvoiceLine) -> PaperLine {
    let price = line.unit_price.value().normalize();
    let price = line.unit_price.rounded(price.scale().max(2));
    let much = match line.unit.as_str() {
        "hour" => {
            let minutes = half_up(line.quantity.value().saturating_mul(Decimal::from(60)), 0);
            let minutes = i64::try_from(minutes.mantissa()).unwrap_or_default();
            format!("{} h ({})", words::number(line.quantity), hours_and_minutes(minutes))
        }
        "each" | "" => words::number(line.quantity),
        unit => format!("{} {unit}", words::number(line.quantity)),
    };
    let at = format!("{much} at £{price}");
    let is_whole = line.kind == InvoiceLineKind::Price && line.unit.is_empty();
    let what = match (line.stage.is_empty(), line.what == line.stage) {
        (true, _) | (_, true) => line.what.clone(),
        (false, false) => format!("{}: {}", line.stage, line.what),
    };
    PaperLine { what, detail: if is_whole { String::new() } else { at }, amount: words::pounds(line.amount) }
}

/// What stands below the sums: the invoice that a credit note reduces, why no VAT is charged, and the rest.
fn notes(document: &Document) -> Vec<String> {
    let reduces = document.reduces.as_ref().map(|invoice| {
        format!("Credit note on invoice {} of {}.", invoice.number, words::day(invoice.issued_on))
    });
    let reasons = document.vat.iter().map(|share| share.reason.clone()).filter(|reason| !reason.is_empty());
    reduces.into_iter().chain(reasons).chain(document.notes.iter().cloned()).collect()
}

/// The sums of a paper, without those that are nought and say nothing.
fn sums(totals: &InvoiceTotals) -> Vec<(&'static str, String)> {
    let mut sums = vec![("Net", words::pounds(totals.net))];
    if totals.retention.0 != 0 {
        sums.push(("Held back", words::pounds(-totals.retention)));
    }
    if totals.vat_charged.0 != 0 || totals.vat_stated.0 == 0 {
        sums.push(("VAT", words::pounds(totals.vat_charged)));
    } else {
        sums.push(("VAT that the customer accounts for", words::pounds(totals.vat_stated)));
    }
    if totals.cis.0 != 0 {
        sums.push(("Total", words::pounds(totals.total)));
        sums.push(("CIS we expect to be taken", words::pounds(-totals.cis)));
    }
    sums
}
