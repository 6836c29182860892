//! Material: what was priced, what went, what that cost, and where things are.
//!
//! What is *gone* is what was used, and what was wasted on top of that, less what went back. The
//! customer's own things and waste that somebody else pays for are counted apart and cost nothing.

use std::collections::BTreeMap;

use ledger::site::{LineKind, StockPlace, WasteCount, Whose};
use ledger::{Body, EntryRef, EventHash, ItemId, JobId, StageId};
use rust_decimal::Decimal;
use trade::money::{price_variance, usage_variance};
use trade::number::{MAX_SCALE, half_up};
use trade::{Day, Pence, Pounds, Quantity, Rate, UnitCost, VatRate};

use crate::book::Book;
use crate::entry::Entry;
use crate::lists::Lists;

/// A pack's cost and size: what a unit costs, without dividing.
type PackCost = (Rate, Quantity);

/// One item on one stage.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct MaterialRow {
    /// How much was priced.
    pub estimated: Quantity,
    /// How much was logged as used.
    pub used: Quantity,
    /// How much of what was used was wasted.
    pub wasted_of_used: Quantity,
    /// How much was wasted beyond what was used.
    pub wasted_on_top: Quantity,
    /// How much was wasted at somebody else's cost. In none of the other figures.
    pub wasted_for_others: Quantity,
    /// How much of the customer's own was used. In none of the other figures.
    pub customers_own: Quantity,
    /// How much went back.
    pub returned: Quantity,
    /// How much was delivered.
    pub delivered: Quantity,
    /// How much was bought for the job. Purchases belong to no stage.
    pub bought: Quantity,
    /// Used and wasted on top, less returned.
    pub gone: Quantity,
    /// What that cost, each use at its own price. None where a price is not known, and always in
    /// the crew's book.
    pub cost: Option<Pence>,
    /// Paid more than priced; negative for less. None where a price is not known.
    pub price_variance: Option<Pence>,
    /// Used more than priced, at the price that was expected; negative for less.
    pub usage_variance: Option<Pence>,
}

/// Where a row belongs.
pub type MaterialKey = (JobId, Option<StageId>, ItemId);

/// What one entry says of one item.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct MaterialUse {
    /// Which row it belongs to.
    pub key: MaterialKey,
    /// The entry.
    pub entry: EntryRef,
    /// The events that made it.
    pub hashes: Vec<EventHash>,
    /// The day it was done.
    pub day: Day,
    /// How much.
    pub quantity: Quantity,
    /// What happened to it.
    pub what: Movement,
}

/// What happened to material.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Movement {
    /// It was used; from this purchase, where that is known.
    Used(Option<EntryRef>),
    /// It was the customer's own, and used.
    UsedOfCustomers,
    /// It was wasted.
    Wasted(WasteCount),
    /// It was wasted, and somebody else bears the cost.
    WastedForOthers(WasteCount),
    /// It went back.
    Returned(StockPlace),
    /// It was delivered.
    Delivered,
    /// It was bought, for this place.
    Bought(StockPlace),
}

/// Sums on their way into a row.
#[derive(Default)]
struct Sums {
    row: MaterialRow,
    priced: Vec<(Quantity, Rate)>,
    uses: Vec<(Day, Decimal, Option<PackCost>)>,
    returns: Vec<(Day, Decimal, Option<PackCost>)>,
}

impl Book {
    /// What entries say of material, in the order of person and entry.
    #[must_use]
    pub fn material_uses(&self, lists: &Lists<'_>) -> Vec<MaterialUse> {
        uses_of(&self.entries().collect::<Vec<_>>(), lists)
    }

    /// Every item that was priced or touched, by job, stage and item.
    #[must_use]
    pub fn materials(&self, lists: &Lists<'_>) -> BTreeMap<MaterialKey, MaterialRow> {
        self.material_rows(lists, &self.material_uses(lists))
    }

    /// The same from what entries say of material, where that is known.
    pub(crate) fn material_rows(
        &self,
        lists: &Lists<'_>,
        uses: &[MaterialUse],
    ) -> BTreeMap<MaterialKey, MaterialRow> {
        let mut sums: BTreeMap<MaterialKey, Sums> = BTreeMap::new();
        for (id, line) in &lists.lines {
            let (LineKind::Material, Some(item)) = (line.kind, line.item) else { continue };
            let row = sums.entry((line.job, Some(line.stage), item)).or_default();
            add(&mut row.row.estimated, line.quantity);
            row.priced.extend(lists.line_money.get(id).map(|money| (line.quantity, money.unit_cost)));
        }
        for entry in uses {
            let cost = self.pack_cost(entry, lists);
            sums.entry(entry.key).or_default().take(entry, cost);
        }
        sums.into_iter().map(|(key, sums)| (key, sums.finish())).collect()
    }

    /// What a unit cost: by its purchase where that is known, else by the price book on its day.
    pub(crate) fn pack_cost(&self, entry: &MaterialUse, lists: &Lists<'_>) -> Option<PackCost> {
        let item = entry.key.2;
        if let Movement::Used(Some(purchase)) = entry.what
            && let Some(cost) = self.bought_at(&purchase, item, lists)
        {
            return Some(cost);
        }
        let price = lists.prices.get(&item)?.on(entry.day)?;
        Some((price.pack_cost, lists.items.get(&item)?.pack_size))
    }

    /// What a pack cost with its VAT: as the ticket says where that is known, else at the standard rate of
    /// the day.
    pub(crate) fn pack_cost_with_vat(&self, entry: &MaterialUse, lists: &Lists<'_>) -> Option<Rate> {
        let (cost, _) = self.pack_cost(entry, lists)?;
        let ticket = match entry.what {
            Movement::Used(Some(purchase)) => {
                let known = self.bought_at(&purchase, entry.key.2, lists);
                known.and_then(|_| lists.paid.get(&purchase))
            }
            _ => None,
        };
        let (net, vat) = match ticket {
            Some(paid) => (paid.net.pounds(), paid.vat.pounds()),
            None => (Decimal::ONE_HUNDRED, VatRate::Standard.percent_on(entry.day)?.value()),
        };
        let with_vat = cost.value().saturating_mul(net.saturating_add(vat)).checked_div(net)?;
        Rate::new(half_up(with_vat, MAX_SCALE).normalize()).ok()
    }

    fn bought_at(&self, purchase: &EntryRef, item: ItemId, lists: &Lists<'_>) -> Option<PackCost> {
        let entry = self.entry(purchase)?;
        let Body::Bought(bought) = entry.body.as_ref() else { return None };
        let paid = lists.paid.get(purchase)?;
        let at = bought.items.iter().position(|(bought, _)| *bought == item)?;
        let (_, amount) = bought.items.get(at)?;
        let sum = match paid.items.get(at) {
            Some(sum) => *sum,
            // Only the total is known, and it is this item's where nothing else was bought.
            None if bought.items.len() == 1 => paid.net,
            None => return None,
        };
        Some((Rate::new(sum.pounds()).ok()?, amount.quantity))
    }
}

/// What entries say of material, in their order.
pub(crate) fn uses_of(entries: &[Entry<'_>], lists: &Lists<'_>) -> Vec<MaterialUse> {
    let mut uses = Vec::new();
    for entry in entries {
        let at = entry.entry_ref();
        let borne = |whose: Whose| lists.borne.get(&at).copied().unwrap_or(whose);
        let whole = |item, amount: &ledger::site::Amount, what| {
            let site = entry.site()?;
            Some(((site.job, site.stage, item), amount.quantity, what))
        };
        let found: Vec<_> = match entry.body.as_ref() {
            Body::Used(used) => {
                let what = match used.whose {
                    Whose::Customers => Movement::UsedOfCustomers,
                    Whose::Ours | Whose::Makers => Movement::Used(used.bought),
                };
                whole(used.item, &used.amount, what).into_iter().collect()
            }
            Body::Wasted(wasted) => {
                let what = match borne(wasted.cost_to) {
                    Whose::Ours => Movement::Wasted(wasted.counts),
                    Whose::Customers | Whose::Makers => Movement::WastedForOthers(wasted.counts),
                };
                whole(wasted.item, &wasted.amount, what).into_iter().collect()
            }
            Body::Returned(returned) => {
                whole(returned.item, &returned.amount, Movement::Returned(returned.to)).into_iter().collect()
            }
            Body::Delivered(delivered) => {
                whole(delivered.item, &delivered.amount, Movement::Delivered).into_iter().collect()
            }
            Body::Bought(bought) => {
                let StockPlace::Job(job) = bought.to else { continue };
                let each = bought.items.iter();
                each.map(|(item, amount)| ((job, None, *item), amount.quantity, Movement::Bought(bought.to)))
                    .collect()
            }
            _ => continue,
        };
        let hashes: Vec<_> = entry.hashes().collect();
        uses.extend(found.into_iter().map(|(key, quantity, what)| MaterialUse {
            key,
            entry: at,
            hashes: hashes.clone(),
            day: entry.act.done_on,
            quantity,
            what,
        }));
    }
    uses
}

impl Sums {
    fn take(&mut self, entry: &MaterialUse, cost: Option<PackCost>) {
        let quantity = entry.quantity;
        let gone = (entry.day, quantity.value(), cost);
        match entry.what {
            Movement::Used(_) => {
                add(&mut self.row.used, quantity);
                self.uses.push(gone);
            }
            Movement::UsedOfCustomers => add(&mut self.row.customers_own, quantity),
            Movement::Wasted(WasteCount::OutOfUsed) => add(&mut self.row.wasted_of_used, quantity),
            Movement::Wasted(WasteCount::OnTop) => {
                add(&mut self.row.wasted_on_top, quantity);
                self.uses.push(gone);
            }
            Movement::WastedForOthers(WasteCount::OnTop) => add(&mut self.row.wasted_for_others, quantity),
            Movement::WastedForOthers(WasteCount::OutOfUsed) => {
                add(&mut self.row.wasted_for_others, quantity);
                // It was logged as used, and that is not our cost.
                self.returns.push(gone);
            }
            Movement::Returned(_) => {
                add(&mut self.row.returned, quantity);
                self.returns.push(gone);
            }
            Movement::Delivered => add(&mut self.row.delivered, quantity),
            Movement::Bought(_) => add(&mut self.row.bought, quantity),
        }
    }

    fn finish(mut self) -> MaterialRow {
        self.uses.sort_by_key(|(day, quantity, cost)| (*day, *cost, *quantity));
        let gone = self.uses.iter().map(|(_, quantity, _)| *quantity);
        let back = self.returns.iter().map(|(_, quantity, _)| -*quantity);
        let mut row = self.row;
        row.gone = quantity(gone.chain(back).fold(Decimal::ZERO, Decimal::saturating_add));
        let cost = cost_of(&self.uses, &self.returns);
        row.cost = cost.map(Pounds::to_pence);
        let standard = if self.priced.is_empty() {
            let first = self.uses.iter().chain(&self.returns).find_map(|(_, _, cost)| *cost);
            first.and_then(|(cost, size)| UnitCost::of_pack(cost, size).ok())
        } else {
            expected_cost(&self.priced)
        };
        row.usage_variance = standard.map(|standard| usage_variance(row.gone, row.estimated, standard));
        row.price_variance =
            standard.zip(cost).map(|(standard, cost)| price_variance(cost, standard, row.gone));
        row
    }
}

/// What is gone cost. What came back comes off at the price of the last use before it.
fn cost_of(
    uses: &[(Day, Decimal, Option<PackCost>)],
    returns: &[(Day, Decimal, Option<PackCost>)],
) -> Option<Pounds> {
    // Equal prices are added up before they are multiplied, so that no third of a penny is lost.
    let mut at_cost: BTreeMap<PackCost, Decimal> = BTreeMap::new();
    for (_, quantity, cost) in uses {
        let sum = at_cost.entry((*cost)?).or_default();
        *sum = sum.saturating_add(*quantity);
    }
    for (day, quantity, cost) in returns {
        let before = uses.partition_point(|(used, _, _)| used <= day);
        let used_at = uses.get(before.wrapping_sub(1)).map_or(*cost, |(_, _, cost)| *cost);
        let sum = at_cost.entry(used_at?).or_default();
        *sum = sum.saturating_sub(*quantity);
    }
    let costs = at_cost.into_iter().map(|((cost, size), sum)| {
        UnitCost::of_pack(cost, size).ok().map(|unit| unit.cost_of(quantity(sum)))
    });
    costs.sum()
}

/// What a unit was expected to cost: over several lines, their cost by their quantity.
fn expected_cost(lines: &[(Quantity, Rate)]) -> Option<UnitCost> {
    let (_, first) = lines.first()?;
    if lines.iter().all(|(_, cost)| cost == first) {
        return Some(UnitCost::of_unit(*first));
    }
    let cost = lines.iter().map(|(quantity, cost)| quantity.value().saturating_mul(cost.value()));
    let cost =
        trade::number::half_up(cost.fold(Decimal::ZERO, Decimal::saturating_add), trade::number::MAX_SCALE);
    let total =
        lines.iter().map(|(quantity, _)| quantity.value()).fold(Decimal::ZERO, Decimal::saturating_add);
    UnitCost::of_pack(Rate::new(cost).ok()?, quantity(total)).ok()
}

fn add(sum: &mut Quantity, more: Quantity) {
    *sum = quantity(sum.value().saturating_add(more.value()));
}

/// A sum as a quantity. One that is too large to keep stays at the largest that fits.
fn quantity(sum: Decimal) -> Quantity {
    let largest = Decimal::from(i64::MAX);
    let rounded = || Quantity::new(sum.trunc().clamp(-largest, largest));
    Quantity::new(sum).or_else(|_| rounded()).unwrap_or_default()
}

/// How much of each item is where, as far as entries say. Below nought, something was not logged.
#[must_use]
pub fn stock(book: &Book) -> BTreeMap<(StockPlace, ItemId), Quantity> {
    let mut stock = BTreeMap::new();
    let mut put = |place: StockPlace, item: ItemId, amount: Decimal| {
        let sum: &mut Quantity = stock.entry((place, item)).or_default();
        *sum = quantity(sum.value().saturating_add(amount));
    };
    for entry in book.entries() {
        match entry.body.as_ref() {
            Body::Bought(bought) => {
                for (item, amount) in &bought.items {
                    put(bought.to, *item, amount.quantity.value());
                }
            }
            Body::Delivered(delivered) => {
                put(StockPlace::Job(delivered.site.job), delivered.item, delivered.amount.quantity.value());
            }
            Body::Used(used) => put(StockPlace::Job(used.site.job), used.item, -used.amount.quantity.value()),
            Body::Wasted(wasted) => match wasted.counts {
                WasteCount::OnTop => {
                    put(StockPlace::Job(wasted.site.job), wasted.item, -wasted.amount.quantity.value());
                }
                WasteCount::OutOfUsed => {}
            },
            Body::Returned(returned) => {
                put(StockPlace::Job(returned.site.job), returned.item, -returned.amount.quantity.value());
                put(returned.to, returned.item, returned.amount.quantity.value());
            }
            Body::Moved(moved) => {
                put(moved.from, moved.item, -moved.amount.quantity.value());
                put(moved.to, moved.item, moved.amount.quantity.value());
            }
            _ => {}
        }
    }
    stock
}
