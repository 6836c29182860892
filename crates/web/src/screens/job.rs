//! *Job*: its details, the survey, the costing, the quote, extras with the customer's yes or no, and the
//! price book.

use std::collections::BTreeSet;

use askama::Template;
use ledger::office::{Basis, CustomerKind};
use ledger::site::LineKind;
use ledger::{Body, EntryRef};
use projections::Entry;
use projections::extras::AnswerTo;
use trade::tax::vat_on;
use trade::{Pence, Rate, UnitCost};

use crate::frame::{Frame, Tab};
use crate::links::encoded;
use crate::look::Look;
use crate::screens::left::key_of;
use crate::screens::quote::{self, Quote};
use crate::screens::survey::{self, Point};
use crate::screens::terms::{self, Terms};
use crate::screens::today::{self, Line};
use projections::words;

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
    /// What a form names it by.
    pub(crate) key: String,
    /// Its price or its limit, as a field takes it; empty without one, and without money.
    pub(crate) price: String,
}

/// An item of the price book.
pub(crate) struct Item {
    pub(crate) name: String,
    /// `bag of 25 kg`.
    pub(crate) pack: String,
    /// What its price is for: `a bag`, `each`.
    pub(crate) each: String,
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
    survey: Vec<Point>,
    quote: Quote,
    terms: Option<Terms>,
    extras: Vec<Extra>,
    items: Vec<Item>,
    today: String,
}

/// Fills the screen.
pub(crate) fn job(look: &Look<'_>) -> Job {
    let code = look.job.map(|job| job.code.clone()).unwrap_or_default();
    let others = look.job_codes().into_iter().filter(|other| *other != code);
    let title = look.job.map_or_else(|| "Job".to_owned(), |job| format!("{} · {}", job.code, job.title));
    Job {
        jobs: others.map(|code| (encoded(&code), code)).collect(),
        details: details(look),
        costing: costing(look),
        survey: survey::survey(look),
        quote: quote::quote(look),
        terms: terms::terms(look),
        extras: extras(look),
        items: items(look),
        today: look.today.to_string(),
        frame: look.frame(Tab::Job, title),
    }
}

fn details(look: &Look<'_>) -> Vec<(&'static str, String)> {
    let Some(job) = look.job else { return Vec::new() };
    let mut details = vec![("Customer", job.customer.clone()), ("Where", job.site_address.clone())];
    if let Some(terms) = look.lists.terms.get(&job.job).filter(|_| look.viewer.sees_money) {
        let kind = match terms.customer_kind {
            CustomerKind::Householder => "householder",
            CustomerKind::Contractor => "contractor",
            CustomerKind::Business => "business",
        };
        let basis = match (terms.basis, terms.customer_kind) {
            (Basis::Fixed, _) => "at a quote",
            (Basis::Valuation, _) => "at a quote, by how much is done",
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
        for (label, said) in
            [("Their order", &terms.order_number), ("Their country", &terms.customer_country)]
        {
            details.extend((!said.is_empty()).then(|| (label, said.clone())));
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

/// What somebody said to an extra.
struct Said {
    /// The entry in which they said it.
    own: EntryRef,
    key: String,
    answer: AnswerTo,
    words: String,
}

impl Said {
    fn of(look: &Look<'_>, entry: &Entry<'_>) -> Option<Self> {
        let answer = AnswerTo::of(&entry.body)?;
        let words = format!("{}, {}", look.told(entry), words::day(entry.act.done_on));
        Some(Self { own: entry.entry_ref(), key: key_of(entry), answer, words })
    }
}

/// The extras of the job, with the answer and, where there is none, the text to send.
pub(crate) fn extras(look: &Look<'_>) -> Vec<Extra> {
    let job = look.job.map(|job| job.job);
    let is_here = |entry: &Entry<'_>| entry.site().map(|site| site.job) == job;
    let entries = || look.book.entries().filter(is_here);
    let priced = |of: &EntryRef| {
        let priced = look.lists.extras.get(of).filter(|_| look.viewer.sees_money);
        priced.map(|priced| priced.amount)
    };
    let plain = |amount: Option<Pence>| amount.map(|amount| amount.to_string()).unwrap_or_default();
    let answers: Vec<Said> = entries().filter_map(|entry| Said::of(look, &entry)).collect();
    let mut known = BTreeSet::new();
    let mut extras: Vec<Extra> = Vec::new();
    for entry in entries() {
        let Body::ExtraAsked(asked) = entry.body.as_ref() else { continue };
        let of = entry.entry_ref();
        let found: Vec<&Said> = answers.iter().filter(|said| said.answer.is_to(of, asked)).collect();
        known.extend(found.iter().map(|said| said.own));
        let price = priced(&of).or_else(|| found.iter().rev().find_map(|said| priced(&said.own)));
        let answer = found.last().map(|said| said.words.clone());
        let who =
            if asked.asked_by.is_empty() { String::new() } else { format!("asked by {}, ", asked.asked_by) };
        let by = look.lists.person(of.person);
        extras.push(Extra {
            what: asked.what.clone(),
            asked: format!("{who}logged by {by}, {}", words::day(entry.act.done_on)),
            text: if answer.is_some() { String::new() } else { text_to_send(look, &asked.what, price) },
            answer: answer.unwrap_or_else(|| "no answer yet".to_owned()),
            key: key_of(&entry),
            price: plain(price),
        });
    }
    // An answer to what nobody logged as asked is shown all the same.
    let alone = answers.into_iter().filter(|said| !known.contains(&said.own));
    extras.extend(alone.map(|said| Extra {
        what: said.answer.stage.map(|stage| look.lists.stage(Some(stage))).unwrap_or_default(),
        asked: String::new(),
        price: plain(priced(&said.own)),
        answer: said.words,
        text: String::new(),
        key: said.key,
    }));
    extras
}

fn text_to_send(look: &Look<'_>, what: &str, price: Option<Pence>) -> String {
    let firm = look
        .lists
        .firm
        .map(|firm| if firm.trading_as.is_empty() { firm.name.clone() } else { firm.trading_as.clone() });
    let firm = firm.unwrap_or_else(|| look.node.ledger().roster().crew_name().to_owned());
    let comes_to = price.map(|price| comes_to(look, price)).unwrap_or_default();
    format!(
        "Hello, you asked for this on top of what was agreed: {what}. {comes_to}Please answer yes or no, so that we know before we begin. {firm}"
    )
}

/// What the customer reads of a price. A householder pays the sum with VAT, so that is what they read first.
fn comes_to(look: &Look<'_>, price: Pence) -> String {
    let terms = look.job.and_then(|job| look.lists.terms.get(&job.job));
    let is_registered = look.lists.firm.is_some_and(|firm| !firm.vat_number.trim().is_empty());
    let plain = words::pounds(price);
    match terms.filter(|terms| is_registered && !terms.vat_percent.is_zero()) {
        None => format!("It comes to {plain}. "),
        Some(terms) if terms.customer_kind == CustomerKind::Householder => {
            let with_vat = words::pounds(price + vat_on(price, terms.vat_percent));
            format!("It comes to {with_vat} with VAT ({plain} without). ")
        }
        Some(_) => format!("It comes to {plain} plus VAT. "),
    }
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
                let price = format!("£{} {each}", priced.pack_cost.rounded(2));
                // A price of the first list holds for all that was done before, too.
                if from.number() == 0 { price } else { format!("{price} from {}", words::day_and_year(from)) }
            };
            Item {
                name: item.name.clone(),
                pack: if words::has_pack(item) {
                    format!("{} of {} {}", item.pack, words::number(item.pack_size), item.unit)
                } else {
                    item.unit.clone()
                },
                prices: prices.into_iter().flat_map(|prices| prices.iter()).map(price).collect(),
                each,
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
        frame: look.frame(Tab::Job, title).at("/entries"),
        people,
        stages,
        on: on.map(|day| day.to_string()).unwrap_or_default(),
        days,
        more,
    }
}
