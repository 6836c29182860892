//! What the crew pays out for some days: people by hours, what they paid themselves, the merchant's, hire.
//!
//! The crew is the contractor of a self-employed hand, and takes CIS off what it pays for labour (gov.uk,
//! what you must do as a CIS contractor). Miles driven are paid at the rate that was agreed for a mile, and are part
//! of what CIS is taken off: fuel for travelling is not among what stays out of it (the same page). What somebody
//! paid out of their own pocket is given back whole.
//! No wages are worked out, nothing is filed: this is a list to pay from.

use std::collections::{BTreeMap, BTreeSet};

use ledger::office::{Engagement, PricePaid, TimeSide};
use ledger::site::PaidBy;
use ledger::{Body, EntryRef, PersonId};
use serde::Serialize;
use trade::money::{line_amount, percentage};
use trade::worktime::Band;
use trade::{Day, Pence, Rate};

use crate::book::Book;
use crate::facts::Facts;
use crate::time_on_job::{Spell, cost_of, paid_at};

/// What one person is to be paid.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PersonPay {
    /// Who.
    #[serde(skip)]
    pub person: PersonId,
    /// Their name.
    pub name: String,
    /// How they work for the crew; none while nobody said.
    pub engagement: Option<Engagement>,
    /// On how many days they worked.
    pub days: usize,
    /// How long.
    pub minutes: i64,
    /// Their hours at their cost, counted as was agreed; none where a rate is not known.
    pub labour: Option<Pence>,
    /// How that comes about, where not every hour is at one rate: as what, how much, at which rate.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub counted: Vec<PaidPart>,
    /// Miles driven at the rate agreed for a mile.
    pub mileage: Pence,
    /// The share that is taken off for CIS, in per cent.
    pub cis_percent: Rate,
    /// What is taken off for CIS.
    pub cis: Pence,
    /// What they paid themselves; none where a ticket has no sum.
    pub own_pocket: Option<Pence>,
    /// What they get; none where a part of it is not known.
    pub net: Option<Pence>,
}

/// Hours of a person that are counted alike.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PaidPart {
    /// As what.
    pub band: Band,
    /// How many minutes.
    pub minutes: i64,
    /// Pounds.
    pub rate: Rate,
    /// The minutes that the rate is for.
    pub per_minutes: i64,
}

/// What is owed to a supplier.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct SupplierPay {
    /// From whom; empty where nobody said.
    pub supplier: String,
    /// Purchases and expenses on account in those days, with VAT, as far as their sums are known.
    pub on_account: Pence,
    /// How many of them have no sum yet.
    pub without_a_sum: usize,
}

/// What is to be paid out for some days.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct PayList {
    /// The first day.
    pub from: Day,
    /// The last day.
    pub to: Day,
    /// The people, by name.
    pub people: Vec<PersonPay>,
    /// The suppliers, by name.
    pub suppliers: Vec<SupplierPay>,
    /// What people get, as far as it is known.
    pub to_people: Pence,
    /// What is kept back of that for CIS.
    pub cis_kept_back: Pence,
}

/// The list for the days from `from` to `to`. Only the office's book knows rates and sums.
#[must_use]
pub fn pay_list(book: &Book, from: Day, to: Day) -> PayList {
    pay_list_of(&Facts::of(book), from, to)
}

/// The same, of a book that was read already.
pub(crate) fn pay_list_of(facts: &Facts<'_>, from: Day, to: Day) -> PayList {
    let is_within = |day: Day| day >= from && day <= to;
    let mut spent: BTreeMap<PersonId, Option<Pence>> = BTreeMap::new();
    let mut on_account: BTreeMap<String, (Pence, usize)> = BTreeMap::new();
    for entry in facts.entries.iter().filter(|entry| is_within(entry.act.done_on)) {
        let (paid_by, supplier) = match entry.body.as_ref() {
            Body::Bought(bought) => (bought.paid_by, &bought.supplier),
            Body::Expense(expense) => (expense.paid_by, &expense.supplier),
            _ => continue,
        };
        let sum = facts.lists.paid.get(&entry.entry_ref()).map(|paid| paid.net + paid.vat);
        match paid_by {
            PaidBy::OwnPocket => {
                let own = spent.entry(entry.act.person).or_insert(Some(Pence::ZERO));
                *own = own.zip(sum).map(|(own, sum)| own + sum);
            }
            PaidBy::Account => {
                let (owed, unknown) = on_account.entry(supplier.clone()).or_default();
                *owed += sum.unwrap_or_default();
                *unknown += usize::from(sum.is_none());
            }
            PaidBy::Card => {}
        }
    }
    for (supplier, sum) in hires_ended(facts, is_within) {
        let (owed, unknown) = on_account.entry(supplier).or_default();
        *owed += sum.unwrap_or_default();
        *unknown += usize::from(sum.is_none());
    }
    let mut worked: BTreeMap<PersonId, Vec<&Spell>> = BTreeMap::new();
    for spell in facts.spells.iter().filter(|spell| is_within(spell.day)) {
        worked.entry(spell.person()).or_default().push(spell);
    }
    for person in spent.keys() {
        worked.entry(*person).or_default();
    }
    let mut driven: BTreeMap<PersonId, Pence> = BTreeMap::new();
    for entry in facts.entries.iter().filter(|entry| is_within(entry.act.done_on)) {
        let Body::Mileage(miles) = entry.body.as_ref() else { continue };
        let (person, day) = (entry.act.person, entry.act.done_on);
        if let Some(mile) = facts.lists.mile(TimeSide::Paid, miles.site.job, person, day) {
            *driven.entry(person).or_default() += line_amount(miles.miles, mile);
            worked.entry(person).or_default();
        }
    }
    let pay = |(person, spells): (PersonId, Vec<&Spell>)| {
        let own_pocket = spent.get(&person).copied().unwrap_or(Some(Pence::ZERO));
        let mileage = driven.get(&person).copied().unwrap_or_default();
        person_pay(facts, (person, mileage), &spells, own_pocket, to)
    };
    let mut people: Vec<_> = worked.into_iter().map(pay).collect();
    people.sort_by(|one, other| (&one.name, one.person).cmp(&(&other.name, other.person)));
    let supplier =
        |(supplier, (on_account, without_a_sum))| SupplierPay { supplier, on_account, without_a_sum };
    let to_people = people.iter().filter_map(|pay| pay.net).sum();
    let cis_kept_back = people.iter().map(|pay| pay.cis).sum();
    let suppliers = on_account.into_iter().map(supplier).collect();
    PayList { from, to, people, suppliers, to_people, cis_kept_back }
}

fn person_pay(
    facts: &Facts<'_>,
    (person, mileage): (PersonId, Pence),
    spells: &[&Spell],
    own_pocket: Option<Pence>,
    to: Day,
) -> PersonPay {
    let engaged = facts.lists.engagements.get(&person).and_then(|engaged| engaged.on(to)).copied();
    let labour = if spells.is_empty() { Some(Pence::ZERO) } else { cost_of(spells, &facts.lists) };
    let engagement = engaged.map(|engaged| engaged.engagement);
    let cis_percent = match engagement {
        Some(Engagement::SelfEmployed) => engaged.map_or(Rate::ZERO, |engaged| engaged.cis_percent),
        Some(Engagement::Owner | Engagement::OnTheBooks) | None => Rate::ZERO,
    };
    let cis = labour.map_or(Pence::ZERO, |labour| percentage(labour + mileage, cis_percent));
    PersonPay {
        person,
        name: facts.lists.person(person),
        engagement,
        days: spells.iter().map(|spell| spell.day).collect::<BTreeSet<_>>().len(),
        minutes: spells.iter().map(|spell| spell.minutes).sum(),
        labour,
        counted: counted(facts, spells),
        mileage,
        cis_percent,
        cis,
        own_pocket,
        net: labour.zip(own_pocket).map(|(labour, own)| labour + mileage - cis + own),
    }
}

/// The parts that hours are paid as, where anybody is paid by more than one rate for every hour.
fn counted(facts: &Facts<'_>, spells: &[&Spell]) -> Vec<PaidPart> {
    let mut parts: BTreeMap<(Band, Rate, i64), i64> = BTreeMap::new();
    for spell in spells {
        let (Some(own), Some(at)) = (facts.lists.paid_as.get(&spell.entry), paid_at(spell, &facts.lists))
        else {
            continue;
        };
        for (part, (minutes, at)) in own.iter().zip(at) {
            *parts.entry((part.band, at.rate, at.per_minutes)).or_default() += minutes;
        }
    }
    let part = |((band, rate, per_minutes), minutes)| PaidPart { band, minutes, rate, per_minutes };
    parts.into_iter().map(part).collect()
}

/// Hires that went back in those days: from whom, and what they came to with VAT.
fn hires_ended(facts: &Facts<'_>, is_within: impl Fn(Day) -> bool) -> Vec<(String, Option<Pence>)> {
    let mut found = Vec::new();
    for hire in hires_of(facts) {
        if is_within(hire.to) {
            found.push((
                hire.supplier.clone(),
                hire.paid.map(|paid| hire.cost(paid.net, paid.minimum) + hire.vat(paid)),
            ));
        }
    }
    found
}

/// A hire that has ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct EndedHire<'book> {
    pub(crate) entry: EntryRef,
    pub(crate) site: ledger::site::Site,
    pub(crate) what: String,
    pub(crate) supplier: String,
    pub(crate) from: Day,
    pub(crate) to: Day,
    pub(crate) revision: ledger::EventHash,
    pub(crate) paid: Option<&'book PricePaid>,
}

impl EndedHire<'_> {
    /// Days or weeks begun, both ends counted (common practice, no source); 1 for a rate for all of it.
    pub(crate) fn periods(&self) -> i64 {
        let days = i64::from(self.to.number() - self.from.number()).max(0) + 1;
        match self.paid.map_or("", |paid| paid.per.as_str()) {
            "day" => days,
            "week" => (days + 6) / 7,
            _ => 1,
        }
    }

    /// What it costs at a rate, and never less than the minimum.
    pub(crate) fn cost(&self, rate: Pence, minimum: Pence) -> Pence {
        Pence(rate.0.saturating_mul(self.periods())).max(minimum)
    }

    /// The VAT of that, in the proportion in which it was paid on the rate.
    pub(crate) fn vat(&self, paid: &PricePaid) -> Pence {
        let cost = self.cost(paid.net, paid.minimum);
        let share = (cost.pounds() * paid.vat.pounds()).checked_div(paid.net.pounds()).unwrap_or_default();
        Pence::from_pounds_half_up(share)
    }
}

/// The hires that went back, by entry.
pub(crate) fn hires_of<'book>(facts: &Facts<'book>) -> Vec<EndedHire<'book>> {
    ended_hires(&facts.entries, &facts.lists)
}

/// The same from entries and lists.
pub(crate) fn ended_hires<'book>(
    entries: &[crate::entry::Entry<'book>],
    lists: &crate::lists::Lists<'book>,
) -> Vec<EndedHire<'book>> {
    let mut ends = BTreeMap::new();
    for entry in entries {
        if let Body::HireEnded(ended) = entry.body.as_ref() {
            ends.entry(ended.hire).or_insert((ended.at.day(), entry.revision()));
        }
    }
    let mut hires = Vec::new();
    for entry in entries {
        let Body::HireBegan(began) = entry.body.as_ref() else { continue };
        let own = entry.entry_ref();
        let Some((to, revision)) = ends.get(&own).copied() else { continue };
        hires.push(EndedHire {
            entry: own,
            site: began.site.clone(),
            what: began.what.clone(),
            supplier: began.supplier.clone(),
            from: began.at.day(),
            to,
            revision,
            paid: lists.paid.get(&own).copied(),
        });
    }
    hires
}
