//! An application for payment: the work to date line by line, less what is held back, less what came before.
//!
//! It is written without a word that would make it a document of the tax office: no VAT, no tax point.

use ledger::office::{Application, AppliedLine, Party};
use projections::words::{day_and_year as day, money};
use trade::Pence;

use crate::figures::{TIE, amount_of, is_hours, number, percent, price};
use crate::headed::headed;
use crate::invoice::{called, job_facts, lines_of};
use crate::sheet::{Block, Column, Fact, Part, Row, Sheet, Sum, Table};

/// The paper of an application.
#[must_use]
pub fn application_sheet(application: &Application) -> Sheet {
    let title = format!("Application for payment {}", application.number);
    let seller = &application.seller;
    let known_as = if seller.trading_as.is_empty() { &seller.name } else { &seller.trading_as };
    let mut facts = vec![
        Fact::new("Date", day(application.made_on)),
        Fact::new("Work up to", day(application.until)),
        Fact::new("Falls due", day(application.due_on)),
        Fact::new("Last day to pay", day(application.final_on)),
    ];
    if !application.order_number.is_empty() {
        facts.push(Fact::new("Your order", application.order_number.as_str()));
    }
    let work = &application.work;
    facts.extend(job_facts(&work.code, &work.title, &work.site_address));
    Sheet {
        foot: format!("{title} · {known_as}"),
        title,
        from: called(&seller.name, &seller.trading_as, &seller.address, ""),
        to: Some(to(&application.customer)),
        facts,
        made_on: application.made_on,
        parts: vec![
            Part::Table(lines(&application.lines)),
            Part::Sums(sums(application)),
            Part::Text(words(application)),
        ],
    }
}

fn to(customer: &Party) -> Block {
    Block { label: "To".to_owned(), name: customer.name.clone(), lines: lines_of(&customer.address) }
}

fn lines(applied: &[AppliedLine]) -> Table {
    let columns = vec![
        Column::words("Work", 46),
        Column::figures("Price £", 16),
        Column::figures("Done", 20),
        Column::figures("To date £", 18),
    ];
    let rows = headed(applied, stage_of, |line| {
        Row::cells([line.what.clone(), price(line.unit_price), done(line), money(line.amount)])
    });
    Table { columns, rows }
}

/// The stage that a line stands under. A stage at its price is its own heading.
fn stage_of(line: &AppliedLine) -> &str {
    if line.unit == "%" { "" } else { &line.stage }
}

/// How much is done, as people say it.
fn done(line: &AppliedLine) -> String {
    match line.unit.as_str() {
        "%" => format!("{}{TIE}%", number(line.quantity.value())),
        "" => String::new(),
        unit if is_hours(unit) => format!("{}{TIE}h", number(line.quantity.value())),
        unit => amount_of(line.quantity, unit),
    }
}

fn sums(application: &Application) -> Vec<Sum> {
    let mut sums = vec![Sum::new("Work to date", money(application.gross))];
    if application.retention != Pence::ZERO {
        let label = format!("Retention, {} held back", percent(application.retention_percent));
        sums.push(Sum::new(label, money(-application.retention)));
    }
    if application.before != Pence::ZERO {
        sums.push(Sum::new("Less what was certified or charged before", money(-application.before)));
    }
    sums.push(Sum::last("Applied for £", money(application.applied)));
    sums
}

/// What the customer has to do by when, where their contract says nothing else. Not advice: the contract goes first.
fn words(application: &Application) -> String {
    format!(
        "Before VAT, which is accounted for when the work is charged. The sum applied for is what we consider to be due on \
         {}, worked out as above. Where the contract names no other days: say by {} what you will pay and how that is \
         worked out, by {} if it will be less, and pay by {} (Housing Grants, Construction and Regeneration Act 1996, \
         sections 110A to 111; Scheme for Construction Contracts 1998, Part II).",
        day(application.due_on),
        day(application.notice_by),
        day(application.pay_less_by),
        day(application.final_on),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::plain;
    use ledger::JobId;
    use ledger::office::Work;

    #[test]
    fn it_says_what_is_asked_for_and_nothing_of_an_invoice() {
        let line = |what: &str, unit: &str, quantity: &str, price: &str, amount: &str| AppliedLine {
            stage: "skim".into(),
            what: what.into(),
            quantity: quantity.parse().unwrap(),
            unit: unit.into(),
            unit_price: price.parse().unwrap(),
            amount: amount.parse().unwrap(),
        };
        let on = |day: &str| day.parse().unwrap();
        let application = Application {
            job: JobId([1; 16]),
            number: 3,
            work: Work { code: "MILL".into(), ..Work::default() },
            order_number: "PO-7712".into(),
            made_on: on("2026-06-01"),
            until: on("2026-06-01"),
            named: Vec::new(),
            seller: Party {
                name: "Maren Oake".into(),
                address: "2 Saltmarsh Lane".into(),
                ..Party::default()
            },
            customer: Party { name: "Tollgate Contracting".into(), ..Party::default() },
            lines: vec![
                line("skim", "%", "40", "1000", "400.00"),
                line("Tobi Larch", "hour", "3.5", "34", "119.00"),
            ],
            gross: "519.00".parse().unwrap(),
            retention_percent: "5".parse().unwrap(),
            retention: "25.95".parse().unwrap(),
            before: "93.05".parse().unwrap(),
            applied: "400.00".parse().unwrap(),
            due_on: on("2026-06-08"),
            notice_by: on("2026-06-13"),
            pay_less_by: on("2026-06-18"),
            final_on: on("2026-06-25"),
        };
        let text = plain::text(&application_sheet(&application));
        for said in [
            "Application for payment 3",
            "40 %",
            "1000.00",
            "400.00",
            "3.5 h",
            "119.00",
            "519.00",
            "−25.95",
            "−93.05",
            "PO-7712",
            "13 Jun 2026",
            "18 Jun 2026",
            "25 Jun 2026",
        ] {
            assert!(text.contains(said), "{said}: {text}");
        }
        // A paper that asks for VAT or calls itself an invoice could be taken for a VAT invoice (VATA 1994 s.6(15)).
        let small = text.to_lowercase();
        assert!(!small.contains("invoice") && !small.contains("tax point"), "{text}");
    }
}
