//! The lists as they stand: people, jobs, stages, items, the costing, and the office's money.
//!
//! Of the versions of a row the one holds that no other replaces; of several such, the one written
//! last. Rates and prices are dated: each holds from its own day on.

use std::collections::{BTreeMap, BTreeSet};

use ledger::office::{
    ExtraPriced, FirmListed, ItemPriced, JobCompleted, JobTerms, LinePriced, PaymentCertified,
    PaymentPointSet, PersonEngaged, PersonRated, PricePaid, QuoteAgreed, QuoteGiven, SelfBillingAgreed,
    TimeSide, TimeTermsSet, VatRateSet,
};
use ledger::site::{
    AliasMeaning, FillInListed, ItemListed, JobListed, LimitSet, LineListed, NeedKind, NeedListed,
    RoomMeasured, StageListed, SurveyPoint, Surveyed, Whose,
};
use ledger::{Body, EntryRef, EventHash, ItemId, JobId, LineId, PersonId, PointId, QuoteId, StageId};
use trade::worktime::Part;
use trade::{Day, UnitCost};

use crate::book::{Book, Logged};
use crate::entry::{heads_of, written_order};
use crate::time_terms;

/// Something that holds from a day on, until the next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Dated<T>(Vec<(Day, T)>);

impl<T> Dated<T> {
    /// What held on a day. Before the first known day the first one is taken: a price that was
    /// looked up late beats none.
    #[must_use]
    pub fn on(&self, day: Day) -> Option<&T> {
        let later = self.0.partition_point(|(from, _)| *from <= day);
        self.0.get(later.saturating_sub(1)).map(|(_, value)| value)
    }

    /// What held on a day; none before the first known day, because what was agreed then changes nothing
    /// that came before.
    #[must_use]
    pub fn since(&self, day: Day) -> Option<&T> {
        let later = self.0.partition_point(|(from, _)| *from <= day);
        self.0.get(later.checked_sub(1)?).map(|(_, value)| value)
    }

    /// Every value with the day from which it holds, ascending.
    pub fn iter(&self) -> impl Iterator<Item = (Day, &T)> {
        self.0.iter().map(|(day, value)| (*day, value))
    }
}

/// The rates of one person: of one job or of all, of one trade or (empty) of all.
pub type RateKey<'book> = (PersonId, Option<JobId>, &'book str);

/// How time is counted: on which side, of one job or of all, of one person or of everybody.
pub type TimeTermsKey = (TimeSide, Option<JobId>, Option<PersonId>);

/// A job's practical completion.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Completion {
    /// The day of it.
    pub on: Day,
    /// The last day of the defects period.
    pub defects_until: Day,
    /// The event that says so.
    pub revision: EventHash,
}

/// All lists as they stand. What only the office reads is empty in the crew's book.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Lists<'book> {
    /// The people's names.
    pub people: BTreeMap<PersonId, &'book str>,
    /// The jobs.
    pub jobs: BTreeMap<JobId, &'book JobListed>,
    /// The stages.
    pub stages: BTreeMap<StageId, &'book StageListed>,
    /// The price book without prices.
    pub items: BTreeMap<ItemId, &'book ItemListed>,
    /// The costing lines.
    pub lines: BTreeMap<LineId, &'book LineListed>,
    /// What the crew's own phrases mean.
    pub aliases: BTreeMap<&'book str, &'book AliasMeaning>,
    /// The answers of the jobs' surveys.
    pub surveys: BTreeMap<(JobId, SurveyPoint), &'book Surveyed>,
    /// What the stages need beside material.
    pub needs: BTreeMap<(StageId, NeedKind, &'book str), &'book NeedListed>,
    /// The tasks to fill gaps with.
    pub fill_ins: BTreeMap<(JobId, &'book str), &'book FillInListed>,
    /// The limits that were set for kinds of tests, by their names in small letters.
    pub limits: BTreeMap<(JobId, String), &'book LimitSet>,
    /// The rooms as they were measured, by their names in small letters.
    pub rooms: BTreeMap<(JobId, String), &'book RoomMeasured>,
    /// The firm.
    pub firm: Option<&'book FirmListed>,
    /// The people's rates.
    pub rates: BTreeMap<RateKey<'book>, Dated<&'book PersonRated>>,
    /// The items' prices.
    pub prices: BTreeMap<ItemId, Dated<&'book ItemPriced>>,
    /// The jobs' terms.
    pub terms: BTreeMap<JobId, &'book JobTerms>,
    /// The costing lines' money.
    pub line_money: BTreeMap<LineId, &'book LinePriced>,
    /// The quotes.
    pub quotes: BTreeMap<QuoteId, &'book QuoteGiven>,
    /// The quotes that the customer accepted, with the day.
    pub agreed: BTreeMap<QuoteId, (Day, &'book QuoteAgreed)>,
    /// The payment points.
    pub points: BTreeMap<PointId, &'book PaymentPointSet>,
    /// The prices and limits of extras.
    pub extras: BTreeMap<EntryRef, &'book ExtraPriced>,
    /// What was paid for purchases, hires and expenses.
    pub paid: BTreeMap<EntryRef, &'book PricePaid>,
    /// Who bears the cost of a waste or a call-back, where the owner said so.
    pub borne: BTreeMap<EntryRef, Whose>,
    /// The payment points that the owner said are due, with the day and the event.
    pub points_due: BTreeMap<PointId, (Day, EventHash)>,
    /// The jobs that are practically complete: the day, the last day of the defects period, the event.
    pub completed: BTreeMap<JobId, Completion>,
    /// The rates of VAT that somebody set: of a stage, or of all else of a job.
    pub vat_rates: BTreeMap<(JobId, Option<StageId>), &'book VatRateSet>,
    /// The jobs whose customers issue the invoices: since when, what was agreed, and the event.
    pub self_billing: BTreeMap<JobId, (Day, &'book SelfBillingAgreed, EventHash)>,
    /// What was certified of applications for payment: the day, what was said, and the event.
    pub certified: BTreeMap<EntryRef, (Day, &'book PaymentCertified, EventHash)>,
    /// How people work for the crew.
    pub engagements: BTreeMap<PersonId, Dated<&'book PersonEngaged>>,
    /// How time is counted where not every hour is at one rate.
    pub time_terms: BTreeMap<TimeTermsKey, Dated<&'book TimeTermsSet>>,
    /// What each stretch of work is paid as, where anybody is paid by more than one rate for every hour. It
    /// stands here so that whoever asks what work costs can't forget it.
    pub paid_as: BTreeMap<EntryRef, Vec<Part>>,
}

/// A room's name as it is told apart: in small letters.
#[must_use]
pub fn room_key(name: &str) -> String {
    name.trim().to_lowercase()
}

impl<'book> Lists<'book> {
    /// The rooms that are kept with a job.
    pub fn rooms_of(&self, job: JobId) -> impl Iterator<Item = &'book RoomMeasured> {
        self.rooms.iter().filter(move |((of, _), _)| *of == job).map(|(_, room)| *room)
    }

    /// The room of this name, in any letters.
    #[must_use]
    pub fn room(&self, job: JobId, name: &str) -> Option<&'book RoomMeasured> {
        self.rooms.get(&(job, room_key(name))).copied()
    }

    /// The rates of a person on a day, the nearest first: job and trade, job, trade, person.
    #[must_use]
    pub fn rate(
        &self,
        person: PersonId,
        job: JobId,
        stage: Option<StageId>,
        day: Day,
    ) -> Option<&'book PersonRated> {
        let trades = stage.and_then(|stage| self.stages.get(&stage)).map_or(&[][..], |stage| &stage.trades);
        let trades = || trades.iter().map(String::as_str).filter(|trade| !trade.is_empty()).chain([""]);
        let nearest = [Some(job), None].into_iter().flat_map(|job| trades().map(move |trade| (job, trade)));
        nearest.into_iter().find_map(|(job, trade)| self.rates.get(&(person, job, trade))?.on(day).copied())
    }

    /// What a unit of an item cost on a day, by the price book.
    #[must_use]
    pub fn unit_cost(&self, item: ItemId, day: Day) -> Option<UnitCost> {
        let priced = self.prices.get(&item)?.on(day)?;
        UnitCost::of_pack(priced.pack_cost, self.items.get(&item)?.pack_size).ok()
    }

    /// A person's name, or the beginning of the id.
    #[must_use]
    pub fn person(&self, person: PersonId) -> String {
        self.people.get(&person).map_or_else(|| person.short(), |name| (*name).to_owned())
    }

    /// A job's code, or the beginning of the id.
    #[must_use]
    pub fn job(&self, job: JobId) -> String {
        self.jobs.get(&job).map_or_else(|| job.short(), |job| job.code.clone())
    }

    /// A stage's name, the beginning of the id, or "no stage".
    #[must_use]
    pub fn stage(&self, stage: Option<StageId>) -> String {
        let Some(stage) = stage else { return "no stage".to_owned() };
        self.stages.get(&stage).map_or_else(|| stage.short(), |stage| stage.name.clone())
    }

    /// An item's name, or the beginning of the id.
    #[must_use]
    pub fn item(&self, item: ItemId) -> String {
        self.items.get(&item).map_or_else(|| item.short(), |item| item.name.clone())
    }

    fn put_dated(&mut self, versions: &[&'book Logged]) {
        let days = by_day(versions);
        let rates: Vec<_> = days.iter().filter_map(|row| Some((row.act.done_on, rated(row)?))).collect();
        let prices: Vec<_> = days.iter().filter_map(|row| Some((row.act.done_on, priced(row)?))).collect();
        if let Some(&(_, rate)) = rates.first() {
            self.rates.insert((rate.person, rate.job, &rate.trade), Dated(rates));
        }
        let engaged: Vec<_> = days.iter().filter_map(|row| Some((row.act.done_on, engaged(row)?))).collect();
        if let Some(&(_, first)) = engaged.first() {
            self.engagements.insert(first.person, Dated(engaged));
        }
        let time: Vec<_> = days.iter().filter_map(|row| Some((row.act.done_on, time_set(row)?))).collect();
        if let Some(&(_, first)) = time.first() {
            self.time_terms.insert((first.side, first.job, first.person), Dated(time));
        }
        if let Some(&(_, price)) = prices.first() {
            self.prices.insert(price.item, Dated(prices));
        }
    }

    fn put(&mut self, key: &crate::row::RowKey, row: &'book Logged) {
        use crate::row::RowKey;
        match (key, &row.body) {
            (RowKey::Person(person), Body::PersonListed(listed)) => {
                self.people.insert(*person, &listed.name);
            }
            (RowKey::Person(person), Body::CrewFounded(founded)) => {
                self.people.insert(*person, &founded.founder);
            }
            (_, Body::JobListed(listed)) => drop(self.jobs.insert(listed.job, listed)),
            (_, Body::StageListed(listed)) => drop(self.stages.insert(listed.stage, listed)),
            (_, Body::ItemListed(listed)) => drop(self.items.insert(listed.item, listed)),
            (_, Body::LineListed(listed)) => drop(self.lines.insert(listed.line, listed)),
            (_, Body::AliasTaught(taught)) => {
                self.aliases.extend(taught.means.as_ref().map(|means| (taught.phrase.as_str(), means)));
            }
            (_, Body::Surveyed(surveyed)) => {
                self.surveys.insert((surveyed.job, surveyed.point), surveyed);
            }
            (_, Body::NeedListed(listed)) => {
                self.needs.insert((listed.stage, listed.kind, &listed.what), listed);
            }
            (_, Body::FillInListed(listed)) => {
                self.fill_ins.insert((listed.job, &listed.what), listed);
            }
            (_, Body::LimitSet(set)) => {
                self.limits.insert((set.job, set.what.trim().to_lowercase()), set);
            }
            (_, Body::RoomMeasured(measured)) => {
                let key = (measured.job, room_key(&measured.room));
                if !measured.text.trim().is_empty() {
                    self.rooms.insert(key, measured);
                }
            }
            (_, Body::FirmListed(listed)) => self.firm = Some(listed),
            (_, Body::JobTerms(terms)) => drop(self.terms.insert(terms.job, terms)),
            (_, Body::LinePriced(priced)) => drop(self.line_money.insert(priced.line, priced)),
            (_, Body::QuoteGiven(given)) => drop(self.quotes.insert(given.quote, given)),
            (_, Body::QuoteAgreed(agreed)) => {
                self.agreed.insert(agreed.quote, (row.act.done_on, agreed));
            }
            (_, Body::PaymentPointSet(set)) => drop(self.points.insert(set.point, set)),
            (_, Body::ExtraPriced(priced)) => drop(self.extras.insert(priced.extra, priced)),
            (_, Body::PricePaid(paid)) => drop(self.paid.insert(paid.of, paid)),
            (_, Body::CostBorneBy(borne)) => drop(self.borne.insert(borne.of, borne.whose)),
            (_, Body::PointDue(due)) => {
                self.points_due.insert(due.point, (row.act.done_on, row.hash));
            }
            (_, Body::JobCompleted(JobCompleted { job, defects_until })) => {
                let (on, defects_until, revision) = (row.act.done_on, *defects_until, row.hash);
                self.completed.insert(*job, Completion { on, defects_until, revision });
            }
            (_, Body::SelfBillingAgreed(agreed)) => {
                self.self_billing.insert(agreed.job, (row.act.done_on, agreed, row.hash));
            }
            (_, Body::PaymentCertified(certified)) => {
                self.certified.insert(certified.application, (row.act.done_on, certified, row.hash));
            }
            (_, Body::VatRateSet(set)) => drop(self.vat_rates.insert((set.job, set.stage), set)),
            _ => {}
        }
    }
}

/// Versions of one row that were written apart and say different things.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct RowConflict<'book> {
    /// The versions, as they were written.
    pub(crate) versions: Vec<&'book Logged>,
}

impl Book {
    /// Who founded the crew; none until that is held.
    #[must_use]
    pub(crate) fn founder(&self) -> Option<PersonId> {
        self.rows.iter().find_map(|(key, versions)| match key {
            crate::row::RowKey::Person(person) => {
                let founds = |row: &Logged| matches!(row.body, Body::CrewFounded(_));
                versions.values().any(|row| founds(row)).then_some(*person)
            }
            _ => None,
        })
    }

    /// The lists as they stand.
    #[must_use]
    pub fn lists(&self) -> Lists<'_> {
        let mut lists = Lists::default();
        for (key, versions) in &self.rows {
            let versions = self.versions(versions);
            if key.is_dated() {
                lists.put_dated(&versions);
            } else if let Some(row) = heads_of(&versions).into_iter().max_by_key(|row| written_order(row)) {
                lists.put(key, row);
            }
        }
        if lists.time_terms.keys().any(|(side, _, _)| *side == TimeSide::Paid) {
            lists.paid_as = time_terms::paid(&self.spells(), &lists);
        }
        lists
    }

    /// The events of the lists that a change of this row's current version replaces.
    pub(crate) fn row_conflicts(&self) -> impl Iterator<Item = RowConflict<'_>> {
        self.rows.iter().flat_map(|(key, versions)| {
            let heads = heads_of(&self.versions(versions));
            let mut groups: BTreeMap<Option<Day>, Vec<&Logged>> = BTreeMap::new();
            for head in heads {
                groups.entry(key.is_dated().then_some(head.act.done_on)).or_default().push(head);
            }
            groups.into_values().filter(|heads| written_apart(heads)).map(|mut versions| {
                versions.sort_by_key(|row| written_order(row));
                RowConflict { versions }
            })
        })
    }

    /// The versions of a row that count.
    fn versions<'a>(&'a self, versions: &'a BTreeMap<EventHash, Box<Logged>>) -> Vec<&'a Logged> {
        let rows = versions.values().map(|row| &**row);
        rows.filter(|row| self.counts(row) && !self.is_struck(&row.act.entry_ref())).collect()
    }
}

/// Whether devices that did not know of each other said different things. What one chain says twice
/// is no conflict: its writer knew.
fn written_apart(heads: &[&Logged]) -> bool {
    let mut last_of_chain: BTreeMap<_, &Logged> = BTreeMap::new();
    for head in heads {
        let last = last_of_chain.entry(head.chain).or_insert(head);
        if head.seq > last.seq {
            *last = head;
        }
    }
    let mut bodies = last_of_chain.values().map(|row| &row.body);
    let first = bodies.next();
    bodies.any(|body| Some(body) != first)
}

/// One version a day, ascending. A version ends another altogether only where it holds from the
/// same day or before; otherwise the other still holds until then.
fn by_day<'a>(versions: &[&'a Logged]) -> Vec<&'a Logged> {
    let days: BTreeMap<EventHash, Day> =
        versions.iter().map(|version| (version.hash, version.act.done_on)).collect();
    let ended: BTreeSet<_> = versions
        .iter()
        .flat_map(|version| version.act.replaces.iter().map(|hash| (hash, version.act.done_on)))
        .filter(|(hash, from)| days.get(*hash).is_some_and(|day| from <= day))
        .map(|(hash, _)| *hash)
        .collect();
    let mut by_day: BTreeMap<Day, &Logged> = BTreeMap::new();
    for &version in versions.iter().filter(|version| !ended.contains(&version.hash)) {
        let held = by_day.entry(version.act.done_on).or_insert(version);
        if written_order(version) > written_order(held) {
            *held = version;
        }
    }
    by_day.into_values().collect()
}

const fn rated(row: &Logged) -> Option<&PersonRated> {
    if let Body::PersonRated(rated) = &row.body { Some(rated) } else { None }
}

const fn priced(row: &Logged) -> Option<&ItemPriced> {
    if let Body::ItemPriced(priced) = &row.body { Some(priced) } else { None }
}

const fn engaged(row: &Logged) -> Option<&PersonEngaged> {
    if let Body::PersonEngaged(engaged) = &row.body { Some(engaged) } else { None }
}

const fn time_set(row: &Logged) -> Option<&TimeTermsSet> {
    if let Body::TimeTermsSet(set) = &row.body { Some(set) } else { None }
}
