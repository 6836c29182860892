//! A customer's statement of account, and the list that the crew pays out from.

use ledger::office::Engagement;
use projections::billing::{AccountMove, JobWork, StatementLine};
use projections::pay::{PayList, PersonPay};
use projections::words::{day_and_year as day, money};
use trade::money::hours_and_minutes;
use trade::{Day, Pence};

use crate::figures::percent;
use crate::invoice::{called, job_facts, lines_of};
use crate::sheet::{Block, Column, Fact, Part, Row, Sheet, Sum, Table};

/// The statement of a job's account with its customer, as of a day. `held_back` is what is not due yet.
#[must_use]
pub fn statement_sheet(work: &JobWork, lines: &[StatementLine], held_back: Pence, today: Day) -> Sheet {
    let columns = vec![
        Column::words("Day", 18),
        Column::words("What", 38),
        Column::figures("Amount £", 22),
        Column::figures("Owed after it £", 22),
    ];
    let rows = lines.iter().map(|line| {
        let what = match (line.what, line.number.is_empty()) {
            (AccountMove::Invoice, _) => format!("Invoice {}", line.number),
            (AccountMove::CreditNote, _) => format!("Credit note {}", line.number),
            (AccountMove::Payment, true) => "Paid or taken off".to_owned(),
            (AccountMove::Payment, false) => format!("Paid or taken off, on invoice {}", line.number),
        };
        Row::cells([day(line.day), what, money(line.amount), money(line.balance)])
    });
    let balance = lines.last().map_or(Pence::ZERO, |line| line.balance);
    let mut sums = Vec::new();
    if held_back != Pence::ZERO {
        sums.push(Sum::new("Held back, and not due yet", money(held_back)));
    }
    sums.push(Sum::last("Owed £", money(balance)));
    let title = format!("Statement of account for {}", work.code);
    let from = sender(work);
    let mut facts = vec![Fact::new("Date", day(today))];
    facts.extend(job_facts(&work.code, &work.title, &work.site_address));
    Sheet {
        foot: format!("{title} · {}", from.name),
        title,
        from,
        to: Some(Block {
            label: "To".to_owned(),
            name: work.customer.clone(),
            lines: lines_of(&work.terms.billing_address),
        }),
        facts,
        made_on: today,
        parts: vec![Part::Table(Table { columns, rows: rows.collect() }), Part::Sums(sums)],
    }
}

/// The crew as a business, as the job knows it.
fn sender(work: &JobWork) -> Block {
    let firm = work.firm.as_ref();
    firm.map_or_else(Block::default, |firm| {
        called(&firm.name, &firm.trading_as, &firm.address, &firm.vat_number)
    })
}

/// What to pay out for some days. What is not known yet is a gap, and said so: no sum is made up for it.
#[must_use]
pub fn pay_list_sheet(crew: &str, list: &PayList) -> Sheet {
    let columns = vec![
        Column::words("Who", 26),
        Column::figures("Worked", 16),
        Column::figures("Labour £", 15),
        Column::figures("CIS off £", 14),
        Column::figures("Own pocket £", 14),
        Column::figures("Gets £", 15),
    ];
    let known = |sum: Option<Pence>| sum.map_or_else(|| "not known yet".to_owned(), money);
    let rows = list.people.iter().map(|pay| Row::Cells {
        cells: vec![
            pay.name.clone(),
            hours_and_minutes(pay.minutes),
            known(pay.labour),
            money(pay.cis),
            known(pay.own_pocket),
            known(pay.net),
        ],
        below: below(pay),
    });
    let mut parts = vec![
        Part::Heading("People".to_owned()),
        Part::Table(Table { columns, rows: rows.collect() }),
        Part::Sums(vec![
            Sum::new("CIS kept back, for the tax office", money(list.cis_kept_back)),
            Sum::last("To people £", money(list.to_people)),
        ]),
    ];
    if !list.suppliers.is_empty() {
        let columns = vec![Column::words("To whom", 70), Column::figures("With VAT £", 30)];
        let rows = list.suppliers.iter().map(|pay| Row::Cells {
            cells: vec![
                if pay.supplier.is_empty() { "nobody said".to_owned() } else { pay.supplier.clone() },
                money(pay.on_account),
            ],
            below: match pay.without_a_sum {
                0 => String::new(),
                count => format!("without a sum yet: {count}"),
            },
        });
        parts.push(Part::Heading("On account".to_owned()));
        parts.push(Part::Table(Table { columns, rows: rows.collect() }));
    }
    parts.push(Part::Text("A list to pay from: it works out no wages, and files nothing.".to_owned()));
    let title = "To pay out".to_owned();
    Sheet {
        foot: format!("{title} · {crew}"),
        title,
        from: Block { name: crew.to_owned(), ..Block::default() },
        to: None,
        facts: vec![Fact::new("From", day(list.from)), Fact::new("To", day(list.to))],
        made_on: list.to,
        parts,
    }
}

/// How they work for the crew, what is beside their hours, and how the hours were counted.
fn below(pay: &PersonPay) -> String {
    let mut said = vec![engaged(pay)];
    for part in &pay.counted {
        let band = part.band.words();
        let band = if band.is_empty() { String::new() } else { format!("{band} ") };
        let per = if part.per_minutes == 60 { "an hour" } else { "a day" };
        said.push(format!("{band}{} at {} {per}", hours_and_minutes(part.minutes), part.rate));
    }
    if pay.mileage != Pence::ZERO {
        said.push(format!("and {} for miles driven", money(pay.mileage)));
    }
    said.join("; ")
}

fn engaged(pay: &PersonPay) -> String {
    match pay.engagement {
        Some(Engagement::Owner) => "owner".to_owned(),
        Some(Engagement::OnTheBooks) => "on the books: wages are worked out elsewhere".to_owned(),
        Some(Engagement::SelfEmployed) => format!("self-employed, CIS {}", percent(pay.cis_percent)),
        None => "nobody said how they work for the crew".to_owned(),
    }
}
