//! *Job*: its details, the costing, the quote, extras with the customer's yes or no, and the price book.

use askama::Template;
use ledger::site::LineKind;
use ledger::{Body, EntryRef};
use trade::{Pence, Rate, UnitCost};

use crate::frame::{Frame, Tab};
use crate::look::Look;
use crate::screens::today::{self, Line};
use crate::words;

/// A costing line.
pub(crate) struct CostLine {
    pub(crate) what: String,
    pub(crate) much: String,
    /// What we expect to pay; empty without money.
    pub(crate) cost: String,
    /// What the customer pays; empty without money.
    pub(crate) price: String,
}

/// A stage of the costing.
pub(crate) struct CostStage {
    pub(crate) name: String,
    pub(crate) on_the_clock: bool,
    pub(crate) lines: Vec<CostLine>,
    /// The price of the stage; empty without money.
    pub(crate) price: String,
}

/// An extra.
pub(crate) struct Extra {
    pub(crate) what: String,
    pub(crate) asked: String,
    /// The answer, or "no answer yet".
    pub(crate) answer: String,
    /// The short text to send; empty once there is an answer.
    pub(crate) text: String,
}

/// An item of the price book.
pub(crate) struct Item {
    pub(crate) name: String,
    /// `bag of 25 kg`.
    pub(crate) pack: String,
    /// `£9.75 a bag from Thu 1 Oct`; empty without money.
    pub(crate) prices: Vec<String>,
}

/// The screen.
#[derive(Template)]
#[template(path = "job.html")]
pub(crate) struct Job {
    pub(crate) frame: Frame,
    jobs: Vec<(String, String)>,
    details: Vec<(&'static str, String)>,
    costing: Vec<CostStage>,
    quotes: Vec<(String, String)>,
    extras: Vec<Extra>,
    items: Vec<Item>,
}

/// Fills the screen.
pub(crate) fn job(look: &Look<'_>) -> Job {
    let code = look.job.map(|job| job.code.clone()).unwrap_or_default();
    let others = look.job_codes().into_iter().filter(|other| *other != code);
    let title = look.job.map_or_else(|| "Job".to_owned(), |job| format!("{} · {}", job.code, job.title));
    Job {
        jobs: others.map(|code| (words::encoded(&code), code)).collect(),
        details: details(look),
        costing: costing(look),
        quotes: quotes(look),
        extras: extras(look),
        items: items(look),
        frame: look.frame(Tab::Job, title),
    }
}

fn details(look: &Look<'_>) -> Vec<(&'static str, String)> {
    let Some(job) = look.job else { return Vec::new() };
    let mut details = vec![("Customer", job.customer.clone()), ("Where", job.site_address.clone())];
    if let Some(terms) = look.lists.terms.get(&job.job).filter(|_| look.viewer.sees_money) {
        use ledger::office::{Basis, CustomerKind};
        let kind = match terms.customer_kind {
            CustomerKind::Householder => "householder",
            CustomerKind::Contractor => "contractor",
            CustomerKind::Business => "business",
        };
        let basis = match (terms.basis, terms.customer_kind) {
            (Basis::Fixed, _) => "at a quote",
            (Basis::Daywork, CustomerKind::Contractor) => "daywork",
            (Basis::Daywork, CustomerKind::Householder | CustomerKind::Business) => "time and materials",
        };
        let percent = |rate: Rate| format!("{}%", rate.value().normalize());
        details.push(("Terms", format!("{kind}, {basis}, VAT {}", percent(terms.vat_percent))));
        if !terms.cis_percent.is_zero() {
            details.push(("CIS", percent(terms.cis_percent)));
        }
        if !terms.retention_percent.is_zero() {
            details.push(("Held back", percent(terms.retention_percent)));
        }
        if !terms.billing_address.is_empty() && terms.billing_address != job.site_address {
            details.push(("Invoices to", terms.billing_address.clone()));
        }
    }
    details.retain(|(_, words)| !words.is_empty());
    details
}

fn costing(look: &Look<'_>) -> Vec<CostStage> {
    let sees_money = look.viewer.sees_money;
    let stages = look.stages().into_iter().map(|stage| {
        let mut lines: Vec<_> =
            look.lists.lines.values().copied().filter(|line| line.stage == stage.stage).collect();
        lines.sort_by_key(|line| (line.order, line.line));
        let mut price = Pence::ZERO;
        let rows = lines.iter().map(|line| {
            let money = look.lists.line_money.get(&line.line).filter(|_| sees_money);
            let sum = |rate: Rate| UnitCost::of_unit(rate).cost_of(line.quantity).to_pence();
            price += money.map(|money| sum(money.unit_price)).unwrap_or_default();
            let item = line.item.and_then(|item| look.lists.items.get(&item).copied());
            CostLine {
                what: line.what.clone(),
                much: match (line.kind, item) {
                    (LineKind::Material, Some(item)) => words::in_packs(item, line.quantity),
                    (LineKind::Labour, _) => format!("{} h", words::number(line.quantity)),
                    (LineKind::Material, None) => format!("{} {}", words::number(line.quantity), line.unit),
                },
                cost: money.map(|money| words::pounds(sum(money.unit_cost))).unwrap_or_default(),
                price: money.map(|money| words::pounds(sum(money.unit_price))).unwrap_or_default(),
            }
        });
        let rows: Vec<CostLine> = rows.collect();
        let on_the_clock = lines.iter().any(|line| line.on_the_clock);
        let price = if sees_money && !on_the_clock { words::pounds(price) } else { String::new() };
        CostStage { name: stage.name.clone(), on_the_clock, lines: rows, price }
    });
    stages.filter(|stage| !stage.lines.is_empty()).collect()
}

fn quotes(look: &Look<'_>) -> Vec<(String, String)> {
    let quotes = look
        .lists
        .quotes
        .values()
        .filter(|quote| look.viewer.sees_money && Some(quote.job) == look.job.map(|job| job.job));
    let line = |quote: &&ledger::office::QuoteGiven| {
        let answer = look.lists.agreed.get(&quote.quote).map_or_else(
            || "no answer yet".to_owned(),
            |(day, yes)| format!("{} said yes {} {}", yes.said_by, words::how(yes.how), words::day(*day)),
        );
        (format!("{}, version {}", words::pounds(quote.price), quote.version), answer)
    };
    quotes.map(|quote| line(&quote)).map(|row| row).collect()
}

/// The extras of the job, with the answer and, where there is none, the text to send.
fn extras(look: &Look<'_>) -> Vec<Extra> {
    let job = look.job.map(|job| job.job);
    let is_here = |entry: &projections::Entry<'_>| entry.site().map(|site| site.job) == job;
    let mut answers: Vec<(Option<EntryRef>, Option<ledger::StageId>, String)> = Vec::new();
    for entry in look.book.entries().filter(is_here) {
        let (extra, stage) = match entry.body.as_ref() {
            Body::ExtraAgreed(agreed) => (agreed.extra, agreed.site.stage),
            Body::ExtraDeclined(declined) => (declined.extra, declined.site.stage),
            _ => continue,
        };
        answers.push((extra, stage, format!("{}, {}", look.told(&entry), words::day(entry.act.done_on))));
    }
    let mut known = std::collections::BTreeSet::new();
    let mut extras: Vec<Extra> = Vec::new();
    for entry in look.book.entries().filter(is_here) {
        let Body::ExtraAsked(asked) = entry.body.as_ref() else { continue };
        let of = entry.entry_ref();
        let found: Vec<(usize, &String)> = answers
            .iter()
            .enumerate()
            .filter(|(_, (extra, stage, _))| {
                *extra == Some(of) || (extra.is_none() && stage.is_some() && *stage == asked.site.stage)
            })
            .map(|(at, (_, _, words))| (at, words))
            .collect();
        known.extend(found.iter().map(|(at, _)| *at));
        let answer = found.last().map(|(_, words)| (*words).clone());
        let text = if answer.is_some() { String::new() } else { text_to_send(look, &asked.what) };
        let who =
            if asked.asked_by.is_empty() { String::new() } else { format!("asked by {}, ", asked.asked_by) };
        extras.push(Extra {
            what: asked.what.clone(),
            asked: format!(
                "{who}logged by {}, {}",
                look.lists.person(of.person),
                words::day(entry.act.done_on)
            ),
            answer: answer.unwrap_or_else(|| "no answer yet".to_owned()),
            text,
        });
    }
    // An answer to what nobody logged as asked is shown all the same.
    let alone = answers.into_iter().enumerate().filter(|(at, _)| !known.contains(at));
    extras.extend(alone.map(|(_, (_, stage, words))| Extra {
        what: stage.map(|stage| look.lists.stage(Some(stage))).unwrap_or_default(),
        asked: String::new(),
        answer: words,
        text: String::new(),
    }));
    extras
}

fn text_to_send(look: &Look<'_>, what: &str) -> String {
    let firm = look
        .lists
        .firm
        .map(|firm| if firm.trading_as.is_empty() { firm.name.clone() } else { firm.trading_as.clone() });
    let firm = firm.unwrap_or_else(|| look.node.ledger().roster().crew_name().to_owned());
    format!(
        "Hello, you asked for this on top of what was agreed: {what}. Please answer yes or no, so that we know before we begin. {firm}"
    )
}

fn items(look: &Look<'_>) -> Vec<Item> {
    let mut items: Vec<Item> = look
        .lists
        .items
        .values()
        .map(|item| {
            let each = match (words::has_pack(item), item.unit.as_str()) {
                (true, _) => format!("a {}", item.pack),
                (false, "each") => "each".to_owned(),
                (false, unit) => format!("a {unit}"),
            };
            let prices = look.lists.prices.get(&item.item).filter(|_| look.viewer.sees_money);
            let price = |(from, priced): (trade::Day, &&ledger::office::ItemPriced)| {
                format!("£{} {each} from {}", priced.pack_cost.rounded(2), words::day_and_year(from))
            };
            Item {
                name: item.name.clone(),
                pack: if words::has_pack(item) {
                    format!("{} of {} {}", item.pack, words::number(item.pack_size), item.unit)
                } else {
                    item.unit.clone()
                },
                prices: prices.into_iter().flat_map(|prices| prices.iter()).map(price).collect(),
            }
        })
        .collect();
    items.sort_by(|one, other| one.name.cmp(&other.name));
    items
}

/// A day's entries.
pub(crate) struct DayOfEntries {
    pub(crate) name: String,
    pub(crate) lines: Vec<Line>,
}

/// The entries of the job.
#[derive(Template)]
#[template(path = "entries.html")]
pub(crate) struct Entries {
    pub(crate) frame: Frame,
    people: Vec<(String, bool)>,
    stages: Vec<(String, bool)>,
    on: String,
    pub(crate) days: Vec<DayOfEntries>,
    more: usize,
}

/// Most entries on the screen.
const MOST_ENTRIES: usize = 200;

/// Fills the screen: the latest first, of one stage, person or day, or of all.
pub(crate) fn entries(look: &Look<'_>, asked: &crate::look::Asked) -> Entries {
    let job = look.job.map(|job| job.job);
    let on = asked.on.parse::<trade::Day>().ok();
    let spells = look.book.spells();
    let mut found: Vec<_> = look
        .book
        .entries()
        .filter(|entry| entry.site().map(|site| site.job) == job && today::is_shown(&entry.body))
        .filter(|entry| on.is_none_or(|day| entry.act.done_on == day))
        .filter(|entry| asked.what.is_empty() || look.lists.person(entry.act.person) == asked.what)
        .filter(|entry| match asked.stage.as_str() {
            "" => true,
            "-" => look.stage_of(entry).is_empty(),
            name => look.stage_of(entry) == name,
        })
        .collect();
    found.sort_by_key(|entry| std::cmp::Reverse((entry.act.done_on, entry.act.logged_at)));
    let more = found.len().saturating_sub(MOST_ENTRIES);
    let mut days: Vec<DayOfEntries> = Vec::new();
    for entry in found.iter().take(MOST_ENTRIES) {
        let name = today::heading(entry.act.done_on, look.today);
        let mut line = today::line(look, entry, &spells);
        line.at = words::time(entry.act.logged_at);
        line.person = look.lists.person(entry.act.person);
        match days.last_mut().filter(|day| day.name == name) {
            Some(day) => day.lines.push(line),
            None => days.push(DayOfEntries { name, lines: vec![line] }),
        }
    }
    let mut people: Vec<(String, bool)> =
        look.lists.people.values().map(|name| ((*name).to_owned(), *name == asked.what)).collect();
    people.sort();
    let stages = look.stages().iter().map(|s| (s.name.clone(), s.name == asked.stage)).collect();
    let title = look.job.map_or_else(|| "Entries".to_owned(), |job| format!("{} · entries", job.code));
    Entries {
        frame: look.frame(Tab::Job, title),
        people,
        stages,
        on: on.map(|day| day.to_string()).unwrap_or_default(),
        days,
        more,
    }
}
