//! What this crew's words mean, gathered from the book for one person and one job.

use std::collections::{BTreeMap, BTreeSet};

use ledger::roster_events::Role;
use ledger::site::{AliasMeaning, Worked};
use ledger::{Body, JobId, PersonId};
use projections::Lists;
use projections::entry::Entry;
use spoken::{Alias, Column, Item, Job, Kind, Meaning, Pack, Proposal, Stage, Vocabulary};
use trade::Moment;

use crate::command::named;
use crate::error::NodeError;
use crate::node::Node;

/// How far back entries are looked at for "same as yesterday" and "no, eleven": in days.
const RECENT_DAYS: i64 = 7;
/// From so many of the last days with clock times it follows when a day usually starts.
const USUAL_DAYS: usize = 10;

/// What the words of a person mean, who has a job in hand.
///
/// # Errors
/// A job that is not listed.
pub(super) fn of(
    node: &Node,
    author: PersonId,
    job: Option<&str>,
    at: Moment,
) -> Result<Vocabulary, NodeError> {
    let book = node.book();
    let lists = book.lists();
    let entries: Vec<Entry<'_>> = book.entries().collect();
    let mut own: Vec<&Entry<'_>> = entries.iter().filter(|entry| entry.act.person == author).collect();
    own.sort_by_key(|entry| (entry.act.logged_at, entry.logged.hash));
    own.reverse(); // The newest first.
    let current = match job {
        Some(code) => Some(named::job(&lists, code)?.job),
        None => own.iter().find_map(|entry| entry.site().map(|site| site.job)),
    };
    let roster = node.ledger().roster();
    Ok(Vocabulary {
        jobs: lists.jobs.values().map(|listed| job_words(&lists, listed.job)).collect(),
        current_job: current.map(|job| lists.job(job)).unwrap_or_default(),
        recent_stages: recent_stages(&lists, &own, current),
        items: lists.items.values().map(|item| item_words(item)).collect(),
        people: roster.people().map(|person| person.name.clone()).collect(),
        me: lists.person(author),
        may_sign_off: roster.person(&author).is_some_and(|person| person.role >= Role::Lead),
        places: places(&entries),
        aliases: lists.aliases.iter().map(|(phrase, means)| alias(&lists, phrase, means)).collect(),
        usual_start: usual_start(&own),
        half_day_minutes: None,
        timer_running: book.running().iter().any(|running| running.entry.person == author),
        recent: recent(&lists, &own, at),
        open_snags: open_snags(&entries, current),
        limits: Vec::new(),
    })
}

fn job_words(lists: &Lists<'_>, job: JobId) -> Job {
    let mut stages: Vec<_> = lists.stages.values().filter(|stage| stage.job == job).collect();
    stages.sort_by_key(|stage| (stage.order, stage.stage));
    let items_of = |stage| {
        let lines = lists.lines.values().filter(move |line| line.stage == stage);
        lines.filter_map(|line| line.item).map(|item| lists.item(item)).collect::<BTreeSet<_>>()
    };
    let stage = |stage: &&&ledger::site::StageListed| Stage {
        name: stage.name.clone(),
        trades: stage.trades.clone(),
        tests: stage.needs_tests.clone(),
        items: items_of(stage.stage).into_iter().collect(),
    };
    let customer = lists.jobs.get(&job).map(|job| job.customer.clone()).unwrap_or_default();
    Job { code: lists.job(job), customer, stages: stages.iter().map(stage).collect() }
}

fn item_words(item: &ledger::site::ItemListed) -> Item {
    let pack = Pack { name: item.pack.clone(), size: item.pack_size };
    let packs = if item.pack.is_empty() { Vec::new() } else { vec![pack] };
    Item { name: item.name.clone(), unit: item.unit.clone(), packs }
}

fn alias(lists: &Lists<'_>, phrase: &str, means: &AliasMeaning) -> Alias {
    let means = match means {
        AliasMeaning::Item(item) => Meaning::Item(lists.item(*item)),
        AliasMeaning::Stage(stage) => Meaning::Stage(lists.stage(Some(*stage))),
        AliasMeaning::Person(person) => Meaning::Person(lists.person(*person)),
        AliasMeaning::Place(words) => Meaning::Place(words.clone()),
    };
    Alias { phrase: phrase.to_owned(), means }
}

/// The stages that this person logged on last in a job, the newest first.
fn recent_stages(lists: &Lists<'_>, own: &[&Entry<'_>], job: Option<JobId>) -> Vec<String> {
    let mut names: Vec<String> = Vec::new();
    for site in own.iter().filter_map(|entry| entry.site()).filter(|site| Some(site.job) == job) {
        let Some(stage) = site.stage else { continue };
        let name = lists.stage(Some(stage));
        if !names.contains(&name) {
            names.push(name);
        }
    }
    names
}

/// The places that anybody of the crew has named.
fn places(entries: &[Entry<'_>]) -> Vec<String> {
    let named = entries.iter().filter_map(|entry| entry.site().map(|site| site.place.words.clone()));
    named.filter(|words| !words.is_empty()).collect::<BTreeSet<_>>().into_iter().collect()
}

/// When this person's days started most often of late; of two equally frequent the earlier.
fn usual_start(own: &[&Entry<'_>]) -> Option<u16> {
    let mut first: BTreeMap<_, u16> = BTreeMap::new();
    for entry in own {
        let Body::Hours(hours) = &*entry.body else { continue };
        let Worked::Span { from, .. } = hours.worked else { continue };
        let minute = first.entry(from.day()).or_insert(from.minute_of_day());
        *minute = from.minute_of_day().min(*minute);
    }
    let mut often: BTreeMap<u16, usize> = BTreeMap::new();
    for minute in first.into_values().rev().take(USUAL_DAYS) {
        *often.entry(minute).or_default() += 1;
    }
    let most = often.values().copied().max()?;
    often.into_iter().find(|(_, times)| *times == most).map(|(minute, _)| minute)
}

/// This person's entries of the last days, the newest first, as they would be said.
fn recent(lists: &Lists<'_>, own: &[&Entry<'_>], at: Moment) -> Vec<Proposal> {
    let is_recent = |entry: &&&Entry<'_>| {
        i64::from(at.day().number()) - i64::from(entry.act.done_on.number()) <= RECENT_DAYS
    };
    own.iter().filter(is_recent).filter_map(|entry| proposal(lists, entry)).collect()
}

fn proposal(lists: &Lists<'_>, entry: &Entry<'_>) -> Option<Proposal> {
    let item_of = |item, amount: &ledger::site::Amount| {
        let what = (Column::What, lists.item(item));
        let (quantity, unit) = match &amount.said {
            Some(packs) => (packs.count.to_string(), packs.pack.clone()),
            None => {
                let unit = lists.items.get(&item).map(|item| item.unit.clone()).unwrap_or_default();
                (amount.quantity.to_string(), unit)
            }
        };
        vec![what, (Column::Quantity, quantity), (Column::Unit, unit)]
    };
    let (kind, told) = match &*entry.body {
        Body::Hours(hours) => {
            let mut told = vec![(Column::What, hours.activity.clone())];
            match hours.worked {
                Worked::Span { from, to, break_minutes } => told.extend([
                    (Column::From, from.to_string()),
                    (Column::To, to.to_string()),
                    (Column::BreakMin, break_minutes.to_string()),
                ]),
                Worked::Length { minutes } => told.push((Column::Minutes, minutes.to_string())),
            }
            (Kind::Hours, told)
        }
        Body::Used(used) => (Kind::Used, item_of(used.item, &used.amount)),
        Body::Wasted(wasted) => (Kind::Wasted, item_of(wasted.item, &wasted.amount)),
        _ => return None,
    };
    let site = entry.site();
    let place = [
        (Column::Job, site.map(|site| lists.job(site.job)).unwrap_or_default()),
        (
            Column::Stage,
            site.and_then(|site| site.stage).map(|stage| lists.stage(Some(stage))).unwrap_or_default(),
        ),
        (Column::Where, site.map(|site| site.place.words.clone()).unwrap_or_default()),
        (Column::DoneOn, entry.act.done_on.to_string()),
    ];
    let columns = told.into_iter().chain(place).filter(|(_, value)| !value.is_empty()).collect();
    Some(Proposal { kind, columns, words: Vec::new(), ready: true, entry: entry.logged.key() })
}

/// The snags of a job that nobody has cleared: their keys and words.
fn open_snags(entries: &[Entry<'_>], job: Option<JobId>) -> Vec<String> {
    let cleared: BTreeSet<_> = entries
        .iter()
        .filter_map(
            |entry| if let Body::SnagCleared(cleared) = &*entry.body { Some(cleared.snag) } else { None },
        )
        .collect();
    let open = entries.iter().filter(|entry| {
        matches!(&*entry.body, Body::SnagRaised(_))
            && entry.site().map(|site| site.job) == job
            && !cleared.contains(&entry.entry_ref())
    });
    open.map(|entry| entry.act.note.clone()).filter(|words| !words.is_empty()).collect()
}
