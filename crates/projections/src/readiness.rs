//! What is free, and what is ready: each thing that a stage still lacks, by its name.
//!
//! *Free* means that what a stage follows is signed off and the wait is over. *Ready* means that people,
//! material, hired gear, the customer's choices and the inspector are there too, as far as it was logged.
//! Neither says that work is safe or fit to be covered.

use std::collections::{BTreeMap, BTreeSet};

use ledger::site::{LineKind, NeedKind, NeedListed, NeedState, StockPlace};
use ledger::{Body, EntryRef, ItemId, JobId, PersonId, StageId};
use rust_decimal::Decimal;
use trade::{Day, Moment, Quantity};

use crate::book::Book;
use crate::entry::Entry;
use crate::lists::Lists;
use crate::materials::stock;
use crate::presence::Presence;
use crate::schedule::earliest_days;
use crate::stages::{Condition, Stage};
use crate::time_on_job::spells_of;
use crate::words;

/// An item that a stage still needs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Material {
    /// The item.
    pub item: ItemId,
    /// How much it needs that is not on the job.
    pub to_bring: Quantity,
    /// How much of that is on the van.
    pub on_van: Quantity,
    /// How much is neither on the job nor on the van.
    pub to_get: Quantity,
}

/// Something that a stage lacks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Missing {
    /// The sign-off of a stage that it follows.
    SignOff(StageId),
    /// The end of a wait, at the earliest. Check by eye and touch.
    Wait(Moment),
    /// People: how many it needs, and how many are not away.
    People {
        /// So many.
        wanted: u32,
        /// And so many are there.
        there: u32,
    },
    /// Material that is neither on the job nor on the van.
    Material(Material),
    /// Gear that is not on hire.
    HiredGear(String),
    /// Something that the customer has to choose.
    CustomersChoice(String),
    /// Somebody from outside who has to look first.
    Inspector(String),
}

/// A stage that is not signed off, and what it lacks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Readiness {
    /// The stage.
    pub stage: StageId,
    /// Its job.
    pub job: JobId,
    /// How it stands.
    pub condition: Condition,
    /// What it follows is signed off and the wait is over.
    pub is_free: bool,
    /// What it lacks.
    pub missing: Vec<Missing>,
    /// The material that is not on the job yet.
    pub to_bring: Vec<Material>,
    /// The earliest day on which it can begin; none for stages in a circle.
    pub earliest: Option<Day>,
}

impl Readiness {
    /// It is free, and nothing that was listed is missing.
    #[must_use]
    pub const fn is_ready(&self) -> bool {
        self.is_free && self.missing.is_empty()
    }

    /// Work on it goes on or may begin.
    #[must_use]
    pub const fn is_at_work(&self) -> bool {
        self.condition.is_begun() || (matches!(self.condition, Condition::Free) && self.is_free)
    }
}

/// Every stage that is not signed off, by job and order, and what it lacks at this moment.
#[must_use]
pub fn readiness(book: &Book, lists: &Lists<'_>, now: Moment) -> Vec<Readiness> {
    let stages = book.stages(lists);
    let earliest = earliest_days(book, lists, &stages, now);
    let there = people_there(book, lists, now.day());
    let on_hire = on_hire(book);
    let mut shelves = Shelves::of(book, lists);
    let open = stages.iter().filter(|stage| stage.condition != Condition::SignedOff);
    let mut open: Vec<&Stage> = open.collect();
    // What is there goes to whoever needs it first.
    let order: BTreeMap<StageId, usize> =
        open.iter().enumerate().map(|(at, stage)| (stage.stage, at)).collect();
    open.sort_by_key(|stage| {
        (!stage.condition.is_begun(), earliest.get(&stage.stage).copied(), order.get(&stage.stage).copied())
    });
    let mut found: Vec<Readiness> = open
        .into_iter()
        .map(|stage| {
            let waits = stage.wait_over.filter(|over| over.utc_ms() > now.utc_ms());
            let is_free = !matches!(stage.condition, Condition::Waiting | Condition::SignedOff)
                && (waits.is_none() || stage.condition.is_begun());
            let mut missing: Vec<Missing> = Vec::new();
            if !is_free {
                missing.extend(stage.waits_for.iter().copied().map(Missing::SignOff));
                missing.extend(waits.map(Missing::Wait));
            }
            let to_bring = shelves.take(stage);
            let own = (stage.stage, NeedKind::People, "")..;
            let needs = lists.needs.range(own).take_while(|((of, ..), _)| *of == stage.stage);
            let needs = needs.map(|(_, need)| *need).filter(|need| need.state == NeedState::Open);
            missing.extend(needs.filter_map(|need| lacks(need, there, &on_hire)));
            let lacking = to_bring.iter().filter(|material| !material.to_get.is_zero());
            missing.extend(lacking.cloned().map(Missing::Material));
            Readiness {
                stage: stage.stage,
                job: stage.job,
                condition: stage.condition,
                is_free,
                missing,
                to_bring,
                earliest: earliest.get(&stage.stage).copied(),
            }
        })
        .collect();
    found.sort_by_key(|readiness| order.get(&readiness.stage).copied());
    found
}

fn lacks(need: &NeedListed, there: u32, on_hire: &BTreeSet<(JobId, String)>) -> Option<Missing> {
    let what = || need.what.clone();
    match need.kind {
        NeedKind::People => (there < need.count).then_some(Missing::People { wanted: need.count, there }),
        NeedKind::HiredGear => {
            let is_there = on_hire.contains(&(need.job, need.what.trim().to_lowercase()));
            (!is_there).then(|| Missing::HiredGear(what()))
        }
        NeedKind::CustomersChoice => Some(Missing::CustomersChoice(what())),
        NeedKind::Inspector => Some(Missing::Inspector(what())),
    }
}

/// How many of the crew are not away on a day. Whoever left is not of it.
fn people_there(book: &Book, lists: &Lists<'_>, today: Day) -> u32 {
    let entries: Vec<Entry<'_>> = book.entries().collect();
    let presence = Presence::of(book, &entries, &spells_of(&entries));
    let away: BTreeSet<PersonId> = entries
        .iter()
        .filter_map(|entry| match entry.body.as_ref() {
            Body::Away(away) if entry.act.done_on <= today && today <= away.until => Some(entry.act.person),
            _ => None,
        })
        .collect();
    let is_there = |person: &&PersonId| !away.contains(*person) && presence.is_there(**person, today);
    let there = lists.people.keys().filter(is_there).count();
    u32::try_from(there).unwrap_or(u32::MAX)
}

/// What is on hire on each job, in small letters.
fn on_hire(book: &Book) -> BTreeSet<(JobId, String)> {
    let ended: BTreeSet<EntryRef> = book
        .entries()
        .filter_map(|entry| match entry.body.as_ref() {
            Body::HireEnded(ended) => Some(ended.hire),
            _ => None,
        })
        .collect();
    let running = book.entries().filter(|entry| !ended.contains(&entry.entry_ref()));
    let hired = running.filter_map(|entry| match entry.body.as_ref() {
        Body::HireBegan(hire) => Some((hire.site.job, hire.what.trim().to_lowercase())),
        _ => None,
    });
    hired.collect()
}

/// What lies on the jobs and on the van, and what each stage still needs of it.
struct Shelves {
    needed: BTreeMap<StageId, Vec<(ItemId, Decimal)>>,
    on_job: BTreeMap<(JobId, ItemId), Decimal>,
    on_van: BTreeMap<ItemId, Decimal>,
}

impl Shelves {
    fn of(book: &Book, lists: &Lists<'_>) -> Self {
        let rows = book.materials(lists);
        let mut priced: Vec<_> = lists
            .lines
            .values()
            .filter(|line| line.kind == LineKind::Material && !line.on_the_clock)
            .collect();
        priced.sort_by_key(|line| (line.order, line.line));
        let mut needed: BTreeMap<StageId, Vec<(ItemId, Decimal)>> = BTreeMap::new();
        for line in priced {
            let Some(item) = line.item else { continue };
            let of_stage = needed.entry(line.stage).or_default();
            if of_stage.iter().any(|(known, _)| *known == item) {
                continue; // The row below is of all lines of the item.
            }
            let Some(row) = rows.get(&(line.job, Some(line.stage), item)) else { continue };
            let gone = row.gone.value().saturating_add(row.customers_own.value());
            of_stage.push((item, row.estimated.value().saturating_sub(gone).max(Decimal::ZERO)));
        }
        let (mut on_job, mut on_van) = (BTreeMap::new(), BTreeMap::new());
        for ((place, item), much) in stock(book) {
            // Below nought something was not logged, and nothing is there.
            let much = much.value().max(Decimal::ZERO);
            match place {
                StockPlace::Job(job) => drop(on_job.insert((job, item), much)),
                StockPlace::Van => drop(on_van.insert(item, much)),
                StockPlace::Merchant | StockPlace::Customer | StockPlace::Skip => {}
            }
        }
        Self { needed, on_job, on_van }
    }

    /// What a stage needs that is not on its job, taking what is there and on the van away for it.
    fn take(&mut self, stage: &Stage) -> Vec<Material> {
        let take = |shelf: Option<&mut Decimal>, wanted: Decimal| {
            let Some(shelf) = shelf else { return Decimal::ZERO };
            let taken = wanted.min(*shelf);
            *shelf -= taken;
            taken
        };
        let quantity = |much: Decimal| Quantity::new(much).unwrap_or_default();
        let mut found = Vec::new();
        for (item, wanted) in self.needed.get(&stage.stage).cloned().unwrap_or_default() {
            let to_bring = wanted - take(self.on_job.get_mut(&(stage.job, item)), wanted);
            let on_van = take(self.on_van.get_mut(&item), to_bring);
            if !to_bring.is_zero() {
                let (to_get, on_van) = (quantity(to_bring - on_van), quantity(on_van));
                found.push(Material { item, to_bring: quantity(to_bring), on_van, to_get });
            }
        }
        found
    }
}

/// What is missing, in words: "2 bags finish plaster", "tile saw on hire".
#[must_use]
pub fn missing_words(lists: &Lists<'_>, missing: &Missing) -> String {
    match missing {
        Missing::SignOff(stage) => format!("sign-off of {}", lists.stage(Some(*stage))),
        Missing::Wait(over) => {
            let (day, time) = (words::day(over.day()), words::time(*over));
            format!("{day} {time} at the earliest; check by eye and touch")
        }
        Missing::People { wanted, there } => format!("{wanted} people; {there} not away"),
        Missing::Material(material) => material_words(lists, material.item, material.to_get),
        Missing::HiredGear(what) => format!("{what} on hire"),
        Missing::CustomersChoice(what) => format!("the customer’s choice: {what}"),
        Missing::Inspector(what) => format!("{what} to look first"),
    }
}

pub(crate) fn material_words(lists: &Lists<'_>, item: ItemId, quantity: Quantity) -> String {
    match lists.items.get(&item) {
        Some(listed) => format!("{} {}", words::in_packs(listed, quantity), listed.name),
        None => format!("{quantity} {}", lists.item(item)),
    }
}
