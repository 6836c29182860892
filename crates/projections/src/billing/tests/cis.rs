//! CIS over all papers of a job, and what of the material it does not touch.

use ledger::office::{FirmListed, ItemPriced};
use ledger::site::{Amount, Place, Site, Used, Whose};
use ledger::{Body, ItemId};
use proptest::prelude::*;
use trade::Pence;
use trade::money::percentage;

use super::from_book::{JOB, Said, at, listed};
use super::*;

/// Batten of the invented lists: 2.00 each without VAT.
const BATTEN: ItemId = ItemId([8; 16]);

fn used(said: &mut Said, count: &str) {
    let amount = Amount { quantity: quantity(count), said: None };
    let site = Site { job: JOB, place: Place::default(), ..at(2) };
    let used = Used { site, item: BATTEN, amount, whose: Whose::Ours, bought: None };
    said.say(TOBI, day(1), Body::Used(used));
}

fn cis_materials(said: &Said) -> String {
    let work = said.work();
    let terms = JobTerms { job: JOB, basis: Basis::Fixed, ..mill_terms() };
    let work = JobWork { terms, ..work };
    preview(&work, Some(day(1))).unwrap().totals.cis_materials.to_string()
}

/// Materials of 200.00 and 40.00 of VAT: 200.00 come off where the crew is registered, and 240.00 where it is not.
/// HMRC COG909250 and CISR13070 for the first; heightsaccountancy.co.uk/?p=671 for the second; so CIS 340, from
/// memory. The sums are computed.
#[test]
fn vat_on_material_is_part_of_its_cost_for_a_crew_that_is_not_registered() {
    let mut told = listed();
    used(&mut told, "100");
    assert_eq!(cis_materials(&told), "200.00");
    let unregistered = FirmListed { vat_number: String::new(), vat_from: None, ..firm() };
    told.say(TOBI, day(0), Body::FirmListed(unregistered));
    assert_eq!(cis_materials(&told), "240.00");
    // Registered from a later day, which is known by then.
    let later = FirmListed { vat_from: Some(day(2)), ..firm() };
    told.say(TOBI, day(0), Body::FirmListed(later));
    assert_eq!(cis_materials(&told), "240.00");
    // Another price of the pack goes with its VAT.
    told.say(TOBI, day(1), Body::ItemPriced(ItemPriced { item: BATTEN, pack_cost: rate("3.00") }));
    assert_eq!(cis_materials(&told), "360.00");
}

fn step() -> impl Strategy<Value = (i64, u32, bool)> {
    (0..900_i64, 0..60_u32, proptest::bool::weighted(0.6))
}

proptest! {
    /// The cumulative rule (HMRC CISR15120: on what was paid so far; Finance Act 2004 s.61 for the material): the
    /// steps add up to the highest that the rule gave on what had been due, and to the rule on the whole where
    /// that is the highest. Every material comes off once.
    #[test]
    fn cis_over_all_papers_adds_up(steps in proptest::collection::vec(step(), 1..12)) {
        let mut mill = mill();
        let (mut due, mut materials, mut taken, mut highest) = (Pence::ZERO, Pence::ZERO, Pence::ZERO, Pence::ZERO);
        for (number, (minutes, count, issues)) in (1_u16..).zip(steps) {
            let on = day(i32::from(number));
            if minutes > 0 {
                mill.work(number * 2, "skim", on, (TOBI, "Tobi Larch", "36.00"), minutes);
            }
            if count > 0 {
                mill.material(number * 2 + 1, "skim", on, "plaster", &count.to_string(), ("9.75", "1"));
            }
            if !issues || preview(&mill, Some(on)).is_none() {
                continue;
            }
            mill.bill(on);
            let totals = mill.papers.last().unwrap().document.totals;
            due += totals.taxable;
            materials += totals.cis_materials;
            taken += totals.cis;
            highest = highest.max(percentage((due - materials).max(Pence::ZERO), rate("20")));
            prop_assert!(totals.cis >= Pence::ZERO);
            prop_assert_eq!(taken, highest);
        }
        let all: Pence = mill.papers.iter().map(|paper| paper.document.totals.cis).sum();
        prop_assert_eq!(all, taken);
        // What was billed carried the whole cost of the material up to the last paper, once.
        if let Some(last) = mill.papers.last().map(|paper| paper.document.until) {
            let own = mill.material_costs.iter().filter(|cost| cost.done_on <= last);
            let count: rust_decimal::Decimal = own.map(|cost| cost.quantity.value()).sum();
            prop_assert_eq!(materials.pounds(), count * rate("9.75").value());
        }
    }
}
