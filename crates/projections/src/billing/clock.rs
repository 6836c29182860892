//! Time and materials: which entries go on which line, and what is left over to be given back.

use std::collections::BTreeMap;

use ledger::office::{Claim, EarlierPaper, InvoiceLine, InvoiceLineKind};
use ledger::{EntryRef, PersonId, StageId};
use rust_decimal::Decimal;
use trade::money::{hours, line_amount};
use trade::number::half_up;
use trade::{Day, Quantity, Rate};

use super::claims::{Account, Claims, too_much, worths};
use super::credit::material_held;
use super::vat::Vat;
use super::work::{ClockEntry, JobWork, Measure};

/// Decimal places of a quantity of material on paper.
const MATERIAL_PLACES: u32 = 3;
/// Decimal places of days on paper.
const DAY_PLACES: u32 = 3;
/// Minutes that an hour has.
const HOUR: i64 = 60;
/// The units of time on paper.
const HOURS: &str = "hour";
const DAYS: &str = "day";

/// What shares a printed line. Lines are printed in the order of their keys.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord)]
struct LineKey {
    stage_name: String,
    what: String,
    stage: Option<StageId>,
    /// Two people, or two rates, of the same name are two lines.
    person: Option<PersonId>,
    unit: String,
    unit_price: Decimal,
    earlier: Option<EarlierPaper>,
}

/// The lines that are to be billed by time and materials.
#[derive(Debug, Default)]
pub(super) struct ClockLines {
    /// Labour, then material; each in alphabetical order of stage, then person or item.
    pub(super) lines: Vec<InvoiceLine>,
    /// What was brought back, or wasted out of what was used, beyond what is yet to be billed.
    pub(super) to_give_back: Vec<TakeOff>,
    /// What can't be billed because no rate or price was set for that day.
    pub(super) without_a_price: Vec<EntryRef>,
}

/// Material that takes off from what was billed, or is to be billed.
#[derive(Debug, Clone)]
pub(super) struct TakeOff {
    pub(super) stage_name: String,
    pub(super) item: String,
    price: Option<Decimal>,
    /// Below nought.
    pub(super) claim: Claim,
}

#[derive(Debug, Default)]
struct LineParts {
    quantity: Decimal,
    unit_price: Rate,
    /// For time: the minutes that the price is for.
    per_minutes: i64,
    claims: Vec<Claim>,
}

/// What is worth more than was billed, of entries done on `until` or before.
pub(super) fn lines(job: &JobWork, claims: &Claims<'_>, until: Option<Day>, vat: Vat<'_>) -> ClockLines {
    let mut found = ClockLines::default();
    let mut labour: BTreeMap<LineKey, LineParts> = BTreeMap::new();
    let mut counted: BTreeMap<LineKey, LineParts> = BTreeMap::new();
    let mut material: BTreeMap<LineKey, LineParts> = BTreeMap::new();
    let mut taking_off: Vec<(&ClockEntry, Decimal)> = Vec::new();
    for work in job.entries.iter().filter(|work| until.is_none_or(|until| work.done_on <= until)) {
        let account = claims.account(work);
        let worth = account.worth;
        let open = worth - account.billed();
        if open.is_zero() || claims.double(account.unit, worth).is_some() {
            continue;
        }
        if open.is_sign_negative() {
            // What was billed and is worth less is credited; only what takes off by nature comes here.
            if worth.is_sign_negative() {
                taking_off.push((work, open));
            }
            continue;
        }
        let (lines, unit_name, unit_price) = match &work.measure {
            Measure::Labour { charge_rate, per_minutes: HOUR, .. } => (&mut labour, HOURS, *charge_rate),
            Measure::Labour { charge_rate, .. } => (&mut labour, DAYS, *charge_rate),
            Measure::Counted { unit, price, .. } => (&mut counted, unit.as_str(), *price),
            Measure::Material { unit, unit_cost, .. } => {
                (&mut material, unit.as_str(), unit_cost.map(|cost| cost.marked_up(job.terms.markup_percent)))
            }
        };
        let Some(unit_price) = unit_price else {
            found.without_a_price.push(work.entry);
            continue;
        };
        let key = LineKey {
            stage_name: job.stage_name(work.stage).to_owned(),
            what: work.measure.name().to_owned(),
            stage: work.stage,
            person: work.measure.person(work.entry),
            unit: unit_name.to_owned(),
            unit_price: unit_price.value(),
            earlier: earlier(claims, &account),
        };
        let parts = lines.entry(key).or_default();
        parts.unit_price = unit_price;
        parts.per_minutes = work.measure.per_minutes();
        parts.quantity += open;
        parts.claims.extend(claim(claims, work, open));
    }
    for (key, unit_price, claim) in taken_off_in_vain(job, claims) {
        let parts = material.entry(key).or_default();
        parts.unit_price = unit_price;
        parts.quantity += claim.quantity.value();
        parts.claims.push(claim);
    }
    for off in billed_in_vain(claims) {
        off.take_from(&mut material);
    }
    taking_off.sort_by_key(|(work, _)| (work.done_on, work.entry));
    for (work, open) in taking_off {
        let price = work.measure.unit_cost().map(|cost| cost.marked_up(job.terms.markup_percent));
        let off = claim(claims, work, open).map(|claim| TakeOff {
            stage_name: job.stage_name(work.stage).to_owned(),
            item: work.measure.name().to_owned(),
            price: price.map(Rate::value),
            claim,
        });
        found.to_give_back.extend(off.and_then(|off| off.take_from(&mut material)));
    }
    settle_emptied(&mut material);
    let labour = labour.into_iter().filter_map(|(key, parts)| labour_line(vat, key, parts));
    let counted = counted.into_iter().filter_map(|(key, parts)| counted_line(vat, key, parts));
    let material = material.into_iter().filter_map(|(key, parts)| material_line(vat, key, parts));
    found.lines = labour.chain(counted).chain(material).collect();
    found.without_a_price.dedup();
    found
}

/// What a return took off, or a credit note gave back, for an entry that is worth nothing any more,
/// or that is another item now: it is billed again as the line that it came off.
fn taken_off_in_vain(job: &JobWork, claims: &Claims<'_>) -> Vec<(LineKey, Rate, Claim)> {
    let worths = worths(job);
    let again = claims.accounts().into_iter().filter(|account| account.ended).filter_map(|account| {
        let (unit, open) = (account.unit, -account.billed());
        let worth = worths.get(&unit).copied().unwrap_or_default();
        if open <= Decimal::ZERO || claims.double(unit, worth).is_some() {
            return None;
        }
        let line = account.newest_line().filter(|line| line.kind == InvoiceLineKind::Material)?;
        let quantity = Quantity::new(open).ok()?;
        let revision = claims.revision(unit)?;
        let key = LineKey {
            stage_name: line.stage.clone(),
            what: line.what.clone(),
            stage: job.stages.iter().find(|work| work.name == line.stage).map(|work| work.stage),
            person: None,
            unit: line.unit.clone(),
            unit_price: line.unit_price.value(),
            earlier: earlier(claims, &account),
        };
        Some((key, line.unit_price, Claim { unit, revision, quantity, follows: claims.newest(unit) }))
    });
    again.collect()
}

/// A use that a return has emptied prints nothing. Both are settled with the next line of the same
/// item at the same price, so that the return does not come off twice; without such a line both wait.
fn settle_emptied(material: &mut BTreeMap<LineKey, LineParts>) {
    let is_empty = |parts: &LineParts| parts.quantity.is_zero();
    for (key, emptied) in material.extract_if(.., |_, parts| is_empty(parts)).collect::<Vec<_>>() {
        let mut lines = material.iter_mut();
        let same = lines.find(|(line, _)| {
            line.stage_name == key.stage_name && line.what == key.what && line.unit_price == key.unit_price
        });
        if let Some((_, parts)) = same {
            parts.claims.extend(emptied.claims);
        }
    }
}

/// What was billed above its worth and can't be credited, because returns have emptied the lines
/// that billed it: it comes off the next use of the same item.
fn billed_in_vain(claims: &Claims<'_>) -> Vec<TakeOff> {
    let mut held = material_held(claims);
    let too_much = too_much(claims).into_iter().filter_map(|(account, claim)| {
        let line = account.newest_line().filter(|line| line.kind == InvoiceLineKind::Material)?;
        let held = held.entry((line.stage.clone(), line.what.clone())).or_default();
        let credited = (-claim.quantity.value()).min(*held).max(Decimal::ZERO);
        *held -= credited;
        let quantity =
            Quantity::new(claim.quantity.value() + credited).ok().filter(|left| !left.is_zero())?;
        Some(TakeOff {
            stage_name: line.stage.clone(),
            item: line.what.clone(),
            price: Some(line.unit_price.value()),
            claim: Claim { quantity, ..claim },
        })
    });
    too_much.collect()
}

impl TakeOff {
    /// Takes it off the lines of the same stage and item; returns what is left of it.
    fn take_from(self, material: &mut BTreeMap<LineKey, LineParts>) -> Option<Self> {
        let mut left = self.claim.quantity.value();
        // At its own price first, then at any other: what came back is not billed in any case.
        for same_price in [true, false] {
            for (key, parts) in material.iter_mut() {
                let same = key.stage_name == self.stage_name && key.what == self.item;
                if !same || (Some(key.unit_price) == self.price) != same_price {
                    continue;
                }
                let part = left.max(-parts.quantity);
                let quantity = Quantity::new(part).ok().filter(|part| !part.is_zero());
                if let Some(quantity) = quantity {
                    parts.quantity += part;
                    parts.claims.push(Claim { quantity, ..self.claim.clone() });
                    left -= part;
                }
            }
        }
        let quantity = Quantity::new(left).ok().filter(|left| !left.is_zero())?;
        Some(Self { claim: Claim { quantity, ..self.claim }, ..self })
    }
}

fn claim(claims: &Claims<'_>, work: &ClockEntry, quantity: Decimal) -> Option<Claim> {
    let unit = work.unit;
    let quantity = Quantity::new(quantity).ok()?;
    Some(Claim { unit, revision: work.revision, quantity, follows: claims.newest(unit) })
}

/// "41 of 2026-11-06": the invoice that an addition adds to, or empty for what is billed first here.
fn earlier(claims: &Claims<'_>, account: &Account<'_>) -> Option<EarlierPaper> {
    let invoice = account.newest_invoice().filter(|_| !account.billed().is_zero());
    let paper = claims.papers.iter().find(|paper| Some(paper.document.invoice) == invoice);
    paper.map(|paper| super::named(&paper.document))
}

fn labour_line(vat: Vat<'_>, key: LineKey, parts: LineParts) -> Option<InvoiceLine> {
    let minutes = i64::try_from(parts.quantity).ok()?;
    let quantity = match parts.per_minutes {
        0 | HOUR => hours(minutes),
        day => days(Decimal::from(minutes), Decimal::ONE, Decimal::from(day))?,
    };
    line(vat, InvoiceLineKind::Labour, key, quantity, parts)
}

/// A share of a day as it is printed: without trailing noughts, 0.75 or 2.
fn days(minutes: Decimal, days: Decimal, in_minutes: Decimal) -> Option<Quantity> {
    let share = minutes.saturating_mul(days).checked_div(in_minutes)?;
    Quantity::new(half_up(share, DAY_PLACES).normalize()).ok()
}

fn counted_line(vat: Vat<'_>, key: LineKey, parts: LineParts) -> Option<InvoiceLine> {
    let quantity = Quantity::new(parts.quantity.normalize()).ok()?;
    line(vat, InvoiceLineKind::Price, key, quantity, parts)
}

fn material_line(vat: Vat<'_>, key: LineKey, parts: LineParts) -> Option<InvoiceLine> {
    let quantity = Quantity::new(parts.quantity).ok()?.rounded(MATERIAL_PLACES);
    line(vat, InvoiceLineKind::Material, key, quantity, parts)
}

/// A line whose printed quantity is nought prints nothing and claims nothing; it waits for more.
fn line(
    vat: Vat<'_>,
    kind: InvoiceLineKind,
    key: LineKey,
    quantity: Quantity,
    parts: LineParts,
) -> Option<InvoiceLine> {
    let (vat_category, vat_percent) = vat.line(key.stage);
    (!quantity.is_zero()).then(|| InvoiceLine {
        kind,
        stage: key.stage_name,
        what: key.what,
        quantity,
        unit: key.unit,
        unit_price: parts.unit_price,
        amount: line_amount(quantity, parts.unit_price),
        vat_category,
        vat_percent,
        earlier: key.earlier,
        claims: parts.claims,
    })
}

/// A quantity in a unit's own measure, as this line prints it.
pub(super) fn printed(line: &InvoiceLine, measure: Quantity) -> Quantity {
    match line.kind {
        // How long a day is, the line itself says: so many minutes were so many days.
        InvoiceLineKind::Labour if line.unit == DAYS => {
            days(measure.value(), line.quantity.value(), super::credit::measure(line)).unwrap_or(measure)
        }
        InvoiceLineKind::Labour => hours(i64::try_from(measure.value()).unwrap_or(i64::MAX)),
        InvoiceLineKind::Material => measure.rounded(MATERIAL_PLACES),
        InvoiceLineKind::Price
        | InvoiceLineKind::Deposit
        | InvoiceLineKind::Retention
        | InvoiceLineKind::Uncertified => measure,
    }
}

impl Measure {
    fn name(&self) -> &str {
        match self {
            Self::Labour { person, .. } => person,
            Self::Counted { what, .. } => what,
            Self::Material { item, .. } => item,
        }
    }

    fn person(&self, entry: EntryRef) -> Option<PersonId> {
        match self {
            Self::Labour { .. } | Self::Counted { .. } => Some(entry.person),
            Self::Material { .. } => None,
        }
    }

    /// The minutes that its rate is for; nought for what is no time.
    const fn per_minutes(&self) -> i64 {
        match self {
            Self::Labour { per_minutes, .. } => *per_minutes,
            Self::Material { .. } | Self::Counted { .. } => 0,
        }
    }

    fn unit_cost(&self) -> Option<trade::UnitCost> {
        match self {
            Self::Labour { .. } | Self::Counted { .. } => None,
            Self::Material { unit_cost, .. } => *unit_cost,
        }
    }
}
