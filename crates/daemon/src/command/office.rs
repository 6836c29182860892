//! Prices, rates, what was paid, and who bears a cost: each an event of its own beside what it is about.
//!
//! A price or a rate holds from its day on and changes no figure of a day before.

use ledger::office::{CostBorneBy, ExtraPriced, ItemPriced, PersonRated, PricePaid};
use ledger::site::Whose;
use ledger::{Audience, Body, EntryRef, EventHash, Kind, Payload, PersonId};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use trade::{Day, Pence, Rate};

use super::named;
use crate::error::{NodeError, has_come};
use crate::node::{Node, Write};

/// What a person costs and is charged at.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PersonRate {
    /// The person.
    pub person: String,
    /// On this job only.
    pub job: Option<String>,
    /// For this trade only.
    pub trade: Option<String>,
    /// What an hour costs the crew, in pounds.
    pub cost: Rate,
    /// What an hour is charged at, in pounds.
    pub charge: Rate,
    /// From this day; today without one.
    pub from: Option<Day>,
}

/// What was paid.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Paid {
    /// The key of the purchase, the hire or the expense.
    pub entry: String,
    /// Without VAT.
    pub net: Pence,
    /// The VAT.
    pub vat: Pence,
    /// For a hire, what the rate is for: `day` or `week`. Otherwise empty.
    pub per: String,
    /// For a hire, the least that is charged.
    pub minimum: Pence,
}

/// Writes one event of the office's, in the place of those that it replaces: as of a day that may be ahead. Gives the
/// day, which is today where none is named.
pub(crate) fn write(
    node: &mut Node,
    author: PersonId,
    done_on: Option<Day>,
    replaces: Vec<EventHash>,
    body: Body,
) -> Result<Day, NodeError> {
    let mut act = node.act(author)?;
    let day = done_on.unwrap_or(act.done_on);
    act.done_on = day;
    act.replaces = replaces;
    node.append(&[Write { audience: Audience::Office, payload: Payload { act, body } }])?;
    Ok(day)
}

/// The same, as of a day that has come.
pub(super) fn write_since(
    node: &mut Node,
    author: PersonId,
    on: Option<Day>,
    replaces: Vec<EventHash>,
    body: Body,
) -> Result<Day, NodeError> {
    has_come("--on", on, node.today()?)?;
    write(node, author, on, replaces, body)
}

/// The versions of a dated row that hold from this very day, which a new one of the day replaces.
pub(super) fn of_the_day(node: &Node, from: Day, is_row: impl Fn(&Body) -> bool) -> Vec<EventHash> {
    let heads = node.book().list_heads();
    let heads = heads.filter(|logged| logged.act.done_on == from && is_row(&logged.body));
    let mut hashes: Vec<_> = heads.map(|logged| logged.hash).collect();
    hashes.sort_unstable();
    hashes
}

/// Sets what a pack of an item costs from a day on.
pub(super) fn price(
    node: &mut Node,
    author: PersonId,
    name: &str,
    pack_cost: Rate,
    from: Day,
) -> Result<Value, NodeError> {
    named::must_read_office(node)?;
    named::not_below_nought(&[pack_cost])?;
    let item = named::item(&node.book().lists(), name)?;
    let replaces =
        of_the_day(node, from, |body| matches!(body, Body::ItemPriced(priced) if priced.item == item));
    write(node, author, Some(from), replaces, Body::ItemPriced(ItemPriced { item, pack_cost }))?;
    let lists = node.book().lists();
    let listed = lists.items.get(&item);
    let prices: Vec<Value> = lists.prices.get(&item).map_or_else(Vec::new, |prices| {
        prices.iter().map(|(from, price)| json!({ "from": from, "pack_cost": price.pack_cost })).collect()
    });
    Ok(json!({ "item": name, "pack": listed.map(|item| &item.pack),
        "pack_size": listed.map(|item| item.pack_size), "unit": listed.map(|item| &item.unit), "prices": prices }))
}

/// Sets what a person costs and is charged at from a day on.
pub(super) fn rate(
    node: &mut Node,
    author: PersonId,
    wish: &PersonRate,
    from: Day,
) -> Result<Value, NodeError> {
    named::must_read_office(node)?;
    named::not_below_nought(&[wish.cost, wish.charge])?;
    let person = named::person(node, &wish.person)?;
    let job = match &wish.job {
        Some(code) => Some(named::job(&node.book().lists(), code)?.job),
        None => None,
    };
    let trade = wish.trade.clone().unwrap_or_default();
    let is_row = |body: &Body| {
        matches!(body, Body::PersonRated(rated)
            if (rated.person, rated.job, &rated.trade) == (person, job, &trade))
    };
    let replaces = of_the_day(node, from, is_row);
    let rated =
        PersonRated { person, job, trade: trade.clone(), cost_rate: wish.cost, charge_rate: wish.charge };
    write(node, author, Some(from), replaces, Body::PersonRated(rated))?;
    let lists = node.book().lists();
    let rates: Vec<Value> = lists.rates.get(&(person, job, trade.as_str())).map_or_else(Vec::new, |rates| {
        let row = |(from, rate): (Day, &&PersonRated)| json!({ "from": from, "cost": rate.cost_rate, "charge": rate.charge_rate });
        rates.iter().map(row).collect()
    });
    Ok(json!({ "person": wish.person, "job": wish.job, "trade": wish.trade, "rates": rates }))
}

/// Says what was paid for a purchase, a hire or an expense. Whoever held the ticket knows.
pub(super) fn paid(node: &mut Node, author: PersonId, paid: Paid) -> Result<Value, NodeError> {
    let kinds = [Kind::Bought, Kind::HireBegan, Kind::Expense];
    let of = named::entry(node, &paid.entry, "a purchase, a hire or an expense", &kinds)?;
    let is_hire = node.book().entry(&of).is_some_and(|entry| entry.body.kind() == Kind::HireBegan);
    let Paid { entry: _, net, vat, per, minimum } = paid;
    if net < Pence::ZERO || vat < Pence::ZERO || minimum < Pence::ZERO {
        return Err(NodeError::bad_input("what was paid is nought or more; a credit is not noted here"));
    }
    match (is_hire, per.as_str()) {
        (true, "day" | "week") => {}
        (true, _) => {
            return Err(NodeError::bad_input("--per: say what the rate of a hire is for: day or week"));
        }
        (false, "") if minimum == Pence::ZERO => {}
        (false, _) => return Err(NodeError::bad_input("--per and --minimum are for a hire; leave them out")),
    }
    let replaces = named::heads(node, |body| matches!(body, Body::PricePaid(held) if held.of == of));
    let body = Body::PricePaid(PricePaid { of, items: Vec::new(), net, vat, per, minimum });
    write(node, author, None, replaces, body.clone())?;
    Ok(json!({ "of": named::described(node, &of), "paid": body }))
}

/// Says who bears the cost of a waste or a call-back.
pub(super) fn bear_cost(
    node: &mut Node,
    author: PersonId,
    key: &str,
    whose: Whose,
) -> Result<Value, NodeError> {
    named::must_read_office(node)?;
    let of = named::entry(node, key, "a waste or a call-back", &[Kind::Wasted, Kind::CalledBack])?;
    let replaces = named::heads(node, |body| matches!(body, Body::CostBorneBy(borne) if borne.of == of));
    write(node, author, None, replaces, Body::CostBorneBy(CostBorneBy { of, whose }))?;
    Ok(json!({ "of": named::described(node, &of), "whose": whose }))
}

/// The entry that an extra is known by: what was asked for, and where that was not logged, the yes.
pub(super) fn extra(node: &Node, key: &str) -> Result<EntryRef, NodeError> {
    let kinds = [Kind::ExtraAsked, Kind::ExtraAgreed];
    let named = named::entry(node, key, "an extra that was asked for or agreed", &kinds)?;
    let asked = node.book().entry(&named).and_then(|entry| match entry.body.as_ref() {
        Body::ExtraAgreed(agreed) => agreed.extra,
        _ => None,
    });
    Ok(asked.unwrap_or(named))
}

/// Sets what an extra sells for, or its limit on the clock.
pub(super) fn price_extra(
    node: &mut Node,
    author: PersonId,
    key: &str,
    amount: Pence,
) -> Result<Value, NodeError> {
    named::must_read_office(node)?;
    if amount < Pence::ZERO {
        return Err(NodeError::bad_input(
            "give the price without a sign; what is left out is a credit by its yes",
        ));
    }
    let extra = extra(node, key)?;
    write_extra_price(node, author, extra, amount)?;
    Ok(json!({ "extra": named::described(node, &extra), "amount": amount }))
}

/// Writes what an extra sells for.
pub(super) fn write_extra_price(
    node: &mut Node,
    author: PersonId,
    extra: EntryRef,
    amount: Pence,
) -> Result<(), NodeError> {
    let replaces = named::heads(node, |body| matches!(body, Body::ExtraPriced(held) if held.extra == extra));
    write(node, author, None, replaces, Body::ExtraPriced(ExtraPriced { extra, amount }))?;
    Ok(())
}
