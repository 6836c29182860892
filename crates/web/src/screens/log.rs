//! What one can log here and now: the stage's own material in packs, the tests it needs, the usual
//! start of the day, and the last value of each.

use std::collections::BTreeMap;

use ledger::site::{LineKind, Worked};
use ledger::{Body, ItemId, JobId, StageId};
use projections::{Entry, extras, snags};
use trade::Quantity;
use trade::money::hours_and_minutes;

use crate::look::Look;
use crate::screens::left::key_of;
use projections::words;

/// Where a day begins when nobody said so yet.
const USUAL_START: &str = "08:00";

/// A stage that can be chosen.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Choice {
    pub(crate) name: String,
    pub(crate) chosen: bool,
}

/// An item of the stage.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct ItemRow {
    pub(crate) name: String,
    pub(crate) unit: String,
    /// `bag`; empty where it is counted in its unit.
    pub(crate) pack: String,
    /// `2½ bags gone`; empty for none.
    pub(crate) gone: String,
    /// `of 5 bags`; empty where none was priced.
    pub(crate) priced: String,
}

/// A test that the stage needs, and its last value.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct TestRow {
    pub(crate) what: String,
    /// The unit it was last given in; empty for the first.
    pub(crate) unit: String,
    /// Its last value; empty for none.
    pub(crate) last: String,
}

/// Something that waits for an answer: a snag, or an extra.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Open {
    /// What a form names it by.
    pub(crate) entry: String,
    pub(crate) what: String,
    pub(crate) who: String,
}

/// All that the forms of *Now* are filled from.
#[derive(Debug, Clone, Default)]
pub(crate) struct Log {
    /// The last three stages, then the others.
    pub(crate) last: Vec<Choice>,
    pub(crate) others: Vec<Choice>,
    pub(crate) no_stage: bool,
    pub(crate) usual_start: String,
    /// Until when hours are offered: now. Empty before the usual start, when hours are another day's.
    pub(crate) until: String,
    pub(crate) items: Vec<ItemRow>,
    /// Every other item of the price book.
    pub(crate) more_items: Vec<ItemRow>,
    pub(crate) tests: Vec<TestRow>,
    pub(crate) snags: Vec<Open>,
    pub(crate) extras: Vec<Open>,
    pub(crate) last_hours: String,
    pub(crate) last_material: String,
    pub(crate) last_test: String,
    pub(crate) photos_today: usize,
    pub(crate) notes_today: usize,
}

impl ItemRow {
    /// What a number of it is counted in when nobody says otherwise.
    pub(crate) fn pack_or_unit(&self) -> &str {
        if self.pack.is_empty() { &self.unit } else { &self.pack }
    }

    /// The amounts that one press logs.
    pub(crate) fn presses(&self) -> Vec<(&'static str, String)> {
        let amounts: &[(&str, &str)] = match (self.pack.is_empty(), self.unit.as_str()) {
            (false, _) => &[("0.5", "½"), ("1", "1")],
            (true, "each") => &[("1", "1"), ("5", "5"), ("10", "10")],
            (true, _) => &[("1", "1"), ("5", "5")],
        };
        let unit = match self.pack_or_unit() {
            "each" => String::new(),
            unit => format!(" {unit}"),
        };
        amounts.iter().map(|(much, words)| (*much, format!("{words}{unit}"))).collect()
    }
}

impl Log {
    pub(crate) fn photos(&self) -> String {
        if self.photos_today == 0 {
            "sort it later".to_owned()
        } else {
            format!("{} today", self.photos_today)
        }
    }

    pub(crate) fn snags_open(&self) -> String {
        match self.snags.len() {
            0 => String::new(),
            1 => "1 snag to put right".to_owned(),
            count => format!("{count} snags to put right"),
        }
    }

    pub(crate) fn extras_open(&self) -> String {
        match self.extras.len() {
            0 => String::new(),
            count => format!("{count} without an answer"),
        }
    }
}

/// What can be logged.
pub(crate) fn log(look: &Look<'_>) -> Log {
    let usual_start = usual_start(look);
    let mut log = Log {
        until: until(&usual_start, &words::time(look.now)),
        usual_start,
        no_stage: look.stage.is_none(),
        ..Log::default()
    };
    choices(look, &mut log);
    items(look, &mut log);
    tests(look, &mut log);
    last_values(look, &mut log);
    (log.snags, log.extras) = open(look);
    log
}

fn choices(look: &Look<'_>, log: &mut Log) {
    let chosen = look.stage.map(|stage| stage.stage);
    let mut last = look.last_stages();
    if let Some(chosen) = chosen {
        last.retain(|stage| *stage != chosen);
        last.insert(0, chosen);
    }
    last.truncate(3);
    let choice =
        |stage: StageId| Choice { name: look.lists.stage(Some(stage)), chosen: Some(stage) == chosen };
    log.last = last.iter().copied().map(choice).collect();
    let others = look.stages().into_iter().map(|stage| stage.stage);
    log.others = others.filter(|stage| !last.contains(stage)).map(choice).collect();
}

/// When this person mostly begins: the middle one of their last starts.
fn usual_start(look: &Look<'_>) -> String {
    let mut starts: BTreeMap<_, u16> = BTreeMap::new();
    for entry in look.book.entries().filter(|entry| entry.act.person == look.viewer.person) {
        let from = match entry.body.as_ref() {
            Body::Hours(hours) => match hours.worked {
                Worked::Span { from, .. } => from,
                Worked::Length { .. } => continue,
            },
            Body::WorkStarted(started) => started.at,
            _ => continue,
        };
        let first = starts.entry(from.day()).or_insert(u16::MAX);
        *first = from.minute_of_day().min(*first);
    }
    let mut last: Vec<u16> = starts.into_values().rev().take(5).collect();
    last.sort_unstable();
    last.get(last.len() / 2).map_or_else(|| USUAL_START.to_owned(), |minute| words::clock(*minute))
}

/// Until when hours from `start` are offered, both as "07:45". Whoever logs before the usual start writes up
/// another day or began early: no end is guessed that would lie before the beginning.
fn until(start: &str, now: &str) -> String {
    if now > start { now.to_owned() } else { String::new() }
}

fn items(look: &Look<'_>, log: &mut Log) {
    let stage = look.stage.map(|stage| stage.stage);
    let mut priced: BTreeMap<ItemId, (u32, Quantity)> = BTreeMap::new();
    for line in look.lists.lines.values().filter(|line| line.kind == LineKind::Material) {
        if let (Some(item), true) = (line.item, Some(line.stage) == stage) {
            let row = priced.entry(item).or_insert((line.order, Quantity::ZERO));
            row.1 = Quantity::new(row.1.value().saturating_add(line.quantity.value())).unwrap_or(row.1);
        }
    }
    let materials = look.book.materials(&look.lists);
    let gone = |item: ItemId| {
        let key = look.job.map(|job| (job.job, stage, item));
        key.and_then(|key| materials.get(&key)).map(|row| row.gone).unwrap_or_default()
    };
    // What was used without having been priced belongs to the stage as well.
    let touched = materials.iter().filter(|((job, at, _), row)| {
        Some(*job) == look.job.map(|job| job.job) && *at == stage && !row.used.is_zero()
    });
    for ((_, _, item), _) in touched {
        priced.entry(*item).or_insert((u32::MAX, Quantity::ZERO));
    }
    let mut of_stage: Vec<_> = priced.into_iter().map(|(item, (order, much))| (order, item, much)).collect();
    of_stage.sort_unstable_by_key(|(order, item, _)| (*order, *item));
    let row = |item: ItemId, priced: Quantity| {
        let listed = look.lists.items.get(&item)?;
        let some = |much: Quantity| (!much.is_zero()).then(|| words::in_packs(listed, much));
        Some(ItemRow {
            name: listed.name.clone(),
            unit: listed.unit.clone(),
            pack: if words::has_pack(listed) { listed.pack.clone() } else { String::new() },
            gone: some(gone(item)).map(|much| format!("{much} gone")).unwrap_or_default(),
            priced: some(priced).map(|much| format!("of {much}")).unwrap_or_default(),
        })
    };
    log.items = of_stage.iter().filter_map(|(_, item, much)| row(*item, *much)).collect();
    let is_there = |item: &ItemId| of_stage.iter().any(|(_, there, _)| there == item);
    let others = look.lists.items.keys().filter(|item| !is_there(item));
    log.more_items = others.filter_map(|item| row(*item, Quantity::ZERO)).collect();
    log.more_items.sort_by(|one, other| one.name.cmp(&other.name));
}

fn tests(look: &Look<'_>, log: &mut Log) {
    let Some(stage) = look.stage else { return };
    let mut last: BTreeMap<String, (trade::Moment, String, String)> = BTreeMap::new();
    for entry in look.book.entries() {
        let Body::Test(test) = entry.body.as_ref() else { continue };
        if test.site.stage != Some(stage.stage) {
            continue;
        }
        let value = words::value(test.bound, test.value, &test.unit);
        let seen = (entry.act.logged_at, value, test.unit.clone());
        let known = last.entry(test.what.trim().to_lowercase()).or_insert_with(|| seen.clone());
        *known = seen.max(known.clone());
    }
    let needed = stage.needs_tests.iter().map(|what| what.trim().to_lowercase());
    let mut names: Vec<String> = needed.collect();
    names.extend(
        last.keys().filter(|what| !stage.needs_tests.iter().any(|n| n.to_lowercase() == **what)).cloned(),
    );
    log.tests = names
        .into_iter()
        .map(|what| {
            let (last, unit) = last
                .get(&what)
                .map(|(at, value, unit)| (format!("{value}, {}", words::when(*at, look.today)), unit.clone()))
                .unwrap_or_default();
            let unit = if unit.is_empty() { usual_unit(&what).to_owned() } else { unit };
            TestRow { what, unit, last }
        })
        .collect();
}

/// The unit that a kind of test is read in; empty where several are usual.
fn usual_unit(what: &str) -> &'static str {
    match trade::measure::kind_of(what) {
        Some(kind) => kind.unit,
        None if what.contains("temperature") => "°C",
        None => "",
    }
}

fn last_values(look: &Look<'_>, log: &mut Log) {
    let me = look.viewer.person;
    let mut own: Vec<Entry<'_>> = look
        .book
        .entries()
        .filter(|entry| entry.act.person == me && entry.act.done_on == look.today)
        .filter(|entry| entry.site().map(|site| site.job) == look.job.map(|job| job.job))
        .collect();
    own.sort_by_key(|entry| entry.act.logged_at);
    for entry in &own {
        let told = || words::told(&look.lists, look.book, &entry.body);
        match entry.body.as_ref() {
            Body::Used(_) | Body::Wasted(_) | Body::Returned(_) => log.last_material = told(),
            Body::Test(_) => log.last_test = told(),
            Body::Photo(_) => log.photos_today += 1,
            Body::Note(_) | Body::SnagRaised(_) => log.notes_today += 1,
            _ => {}
        }
    }
    let spells = look.book.spells();
    let minutes: i64 = spells
        .iter()
        .filter(|spell| spell.person() == me && spell.day == look.today)
        .map(|spell| spell.minutes)
        .sum();
    log.last_hours = if minutes == 0 { "none today".to_owned() } else { hours_and_minutes(minutes) };
}

/// The snags that nobody cleared, and the extras that have neither yes nor no.
fn open(look: &Look<'_>) -> (Vec<Open>, Vec<Open>) {
    let Some(job) = look.job.map(|job| job.job) else { return (Vec::new(), Vec::new()) };
    (open_snags(look, job), open_extras(look, job))
}

fn open_snags(look: &Look<'_>, job: JobId) -> Vec<Open> {
    let entries: Vec<_> = look.book.entries().collect();
    let snags = snags::uncleared(&entries).filter(|entry| entry.site().is_some_and(|site| site.job == job));
    snags.map(|entry| as_open(look, entry, entry.act.note.clone())).collect()
}

/// The extras of a job that were asked for and have neither yes nor no.
pub(crate) fn open_extras(look: &Look<'_>, job: JobId) -> Vec<Open> {
    let open = extras::unanswered(look.book).into_iter().filter_map(|entry| {
        let Body::ExtraAsked(asked) = entry.body.as_ref() else { return None };
        (asked.site.job == job).then(|| as_open(look, &entry, asked.what.clone()))
    });
    open.collect()
}

fn as_open(look: &Look<'_>, entry: &Entry<'_>, what: String) -> Open {
    let of = entry.entry_ref();
    let who = format!("{}, {}", look.lists.person(of.person), words::day(entry.act.done_on));
    Open { entry: key_of(entry), what, who }
}

#[cfg(test)]
mod tests {
    use super::until;

    #[test]
    fn no_end_is_offered_before_the_beginning() {
        assert_eq!(until("07:45", "16:30"), "16:30");
        assert_eq!(until("07:45", "07:46"), "07:46");
        assert_eq!(until("07:45", "07:45"), "", "hours end after they begin");
        assert_eq!(until("07:45", "00:18"), "", "somebody writes up yesterday in the night");
    }
}
