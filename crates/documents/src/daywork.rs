//! A daywork sheet: what was worked and used by the clock, day by day and without prices, for the customer to sign.

use projections::billing::{ClockEntry, JobWork, Measure};
use projections::words::day_and_year as day;
use trade::Day;
use trade::money::hours_and_minutes;

use crate::figures::amount_of;
use crate::invoice::{called, job_facts, lines_of};
use crate::sheet::{Block, Column, Fact, Part, Row, Sheet, Table};

/// The sheet of what was done from one day to another, both included; none where nothing was.
#[must_use]
pub fn daywork_sheet(work: &JobWork, from: Day, until: Day) -> Option<Sheet> {
    let mut entries: Vec<&ClockEntry> =
        work.entries.iter().filter(|entry| (from..=until).contains(&entry.done_on)).collect();
    entries.sort_by_key(|entry| (entry.done_on, stage(work, entry), entry.entry));
    let first = entries.first()?;
    let title = format!("Daywork sheet for {}", work.code);
    let mut rows = Vec::new();
    let mut on = None;
    for entry in &entries {
        if on != Some(entry.done_on) {
            rows.push(Row::Group(day(entry.done_on)));
            on = Some(entry.done_on);
        }
        rows.push(row(work, entry));
    }
    let columns =
        vec![Column::words("Who, or what", 44), Column::words("Where", 34), Column::figures("How much", 22)];
    let firm = work.firm.as_ref();
    let sender =
        firm.map_or_else(Block::default, |firm| called(&firm.name, &firm.trading_as, &firm.address, ""));
    let last = entries.last().map_or(first.done_on, |entry| entry.done_on);
    let mut facts = vec![Fact::new("From", day(first.done_on)), Fact::new("To", day(last))];
    facts.extend(job_facts(&work.code, &work.title, &work.site_address));
    let minutes: i64 = entries.iter().map(|entry| minutes(entry)).sum();
    Some(Sheet {
        foot: format!("{title} · {}", sender.name),
        title,
        from: sender,
        to: Some(Block {
            label: "For".to_owned(),
            name: work.customer.clone(),
            lines: lines_of(&work.terms.billing_address),
        }),
        facts,
        made_on: last,
        parts: vec![
            Part::Table(Table { columns, rows }),
            Part::Text(format!("Hours in all: {}.", hours_and_minutes(minutes))),
            Part::Text(
                "Signing says that this was worked and used. It agrees no price, and accepts no work as free \
                 of faults."
                    .to_owned(),
            ),
            Part::Sign(["For the customer", "Name", "Date"].map(str::to_owned).to_vec()),
        ],
    })
}

fn stage<'w>(work: &'w JobWork, entry: &ClockEntry) -> &'w str {
    work.stages.iter().find(|stage| Some(stage.stage) == entry.stage).map_or("", |stage| stage.name.as_str())
}

fn row(work: &JobWork, entry: &ClockEntry) -> Row {
    let (what, how_much) = match &entry.measure {
        Measure::Labour { person, worked, .. } => (person.clone(), hours_and_minutes(*worked)),
        Measure::Counted { what, unit, quantity, .. } => (what.clone(), amount_of(*quantity, unit)),
        Measure::Material { item, unit, quantity, packs: None, .. } => {
            (item.clone(), amount_of(*quantity, unit))
        }
        // Whoever signs counted bags; what they hold stands beside it.
        Measure::Material { item, unit, quantity, packs: Some((count, pack)), .. } => {
            (item.clone(), format!("{} ({})", amount_of(*count, pack), amount_of(*quantity, unit)))
        }
    };
    Row::cells([what, stage(work, entry).to_owned(), how_much])
}

fn minutes(entry: &ClockEntry) -> i64 {
    match entry.measure {
        Measure::Labour { worked, .. } => worked,
        Measure::Material { .. } | Measure::Counted { .. } => 0,
    }
}
