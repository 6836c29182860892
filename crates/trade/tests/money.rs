//! Money by tables that a quantity surveyor can read, and the laws behind them.

mod table;

use proptest::prelude::*;
use rust_decimal::Decimal;
use table::rows;
use trade::money::{hours, hours_and_minutes, labour_cost, line_amount, percentage};
use trade::money::{price_variance, usage_variance};
use trade::{MoneyError, Pence, Pounds, Quantity, Rate, RetentionHalves, UnitCost};

fn quantity(text: &str) -> Quantity {
    text.parse().unwrap()
}

fn rate(text: &str) -> Rate {
    text.parse().unwrap()
}

fn pence(text: &str) -> Pence {
    text.parse().unwrap()
}

/// `9.75/25` is a pack and its size; `0.39` is a cost by the unit.
fn unit_cost(text: &str) -> UnitCost {
    match text.split_once('/') {
        Some((cost, size)) => UnitCost::of_pack(rate(cost), quantity(size)).unwrap(),
        None => UnitCost::of_unit(rate(text)),
    }
}

#[test]
fn a_line_comes_to_printed_quantity_times_printed_price() {
    for [count, price, amount, source] in rows(
        "quantity | price  | amount   | source
         14       | 38.00  | 532.00   | week: stud walls labour
         34       | 6.20   | 210.80   | week: studs
         640      | 0.02   | 12.80    | week: screws
         3.83     | 36.00  | 137.88   | week: 230 minutes
         5.000    | 5.5890 | 27.95    | week: 27.945, half-up
         4.33     | 36.00  | 155.88   | week: 260 minutes
         37.500   | 0.5220 | 19.58    | week: 19.575, half-up
         75.000   | 0.4388 | 32.91    | week
         25.000   | 0.0488 | 1.22     | week
         42.75    | 18.40  | 786.60   | run: passed the CEN EN 16931 rule files 1.3.16
         42.75    | 11.33  | 484.36   | run: passed the CEN EN 16931 rule files 1.3.16
         7.5      | 38.00  | 285.00   | run: passed the CEN EN 16931 rule files 1.3.16
         5        | 9.49   | 47.45    | run: passed the CEN EN 16931 rule files 1.3.16
         2.5      | 11.33  | 28.33    | computed: half-even would give 28.32
         -2.5     | 11.33  | -28.33   | computed: a return mirrors the sale
         0        | 11.33  | 0.00     | computed",
    ) {
        assert_eq!(line_amount(quantity(count), rate(price)).to_string(), amount, "{source}");
    }
}

#[test]
fn minutes_become_hours_and_money() {
    for [minutes, in_hours, in_words, an_hour, cost, source] in rows(
        "minutes | hours | in words | an hour | cost   | source
         360     | 6.00  | 6 h 00   | 17.25   | 103.50 | week: boarding
         470     | 7.83  | 7 h 50   | 28.00   | 219.33 | week: first fix electrics
         505     | 8.42  | 8 h 25   | 21.50   | 180.96 | week: first fix water
         230     | 3.83  | 3 h 50   | 21.50   | 82.42  | week: move the door
         465     | 7.75  | 7 h 45   | 17.25   | 133.69 | week: stud walls
         260     | 4.33  | 4 h 20   | 21.50   | 93.17  | week: patching
         450     | 7.50  | 7 h 30   | 17.25   | 129.38 | week: skim
         65      | 1.08  | 1 h 05   | 0.00    | 0.00   | computed
         0       | 0.00  | 0 h 00   | 28.00   | 0.00   | computed
         3       | 0.05  | 0 h 03   | 28.00   | 1.40   | computed
         -45     | -0.75 | -0 h 45  | 28.00   | -21.00 | computed: a correction downwards",
    ) {
        let minutes: i64 = minutes.parse().unwrap();
        assert_eq!(hours(minutes).to_string(), in_hours, "{source}");
        assert_eq!(hours_and_minutes(minutes), in_words, "{source}");
        assert_eq!(labour_cost(minutes, rate(an_hour)).to_string(), cost, "{source}");
    }
}

#[test]
fn a_unit_costs_its_share_of_the_pack() {
    for [cost, used, comes_to, mark_up, marked_up, source] in rows(
        "cost     | used  | comes to | mark-up | marked up | source
         4.86     | 5     | 24.30    | 15      | 5.5890    | week: studs for the moved door
         11.60/25 | 37.5  | 17.40    | 12.5    | 0.5220    | week: bonding coat
         9.75/25  | 75    | 29.25    | 12.5    | 0.4388    | week: 0.43875, half-up
         3.90/90  | 25    | 1.08     | 12.5    | 0.0488    | week: 0.04875, half-up, where 0.0433… falls short
         3.90/90  | 4.5   | 0.20     | 0       | 0.0433    | computed: 0.195, half-up, where 0.0433… falls short
         27.36/1.44 | 14.4 | 273.60  | 0       | 19.0000   | week: wall tiles by the box
         4.86     | -1    | -4.86    | -10     | 4.3740    | computed: taken back; a price reduced",
    ) {
        let unit_cost = unit_cost(cost);
        assert_eq!(unit_cost.cost_of(quantity(used)).to_pence().to_string(), comes_to, "{source}");
        assert_eq!(unit_cost.marked_up(rate(mark_up)).to_string(), marked_up, "{source}");
    }
    assert_eq!(unit_cost("3.90/90").pounds().value().to_string(), "0.0433333333333333333333333333");
    for size in ["0", "0.00", "-25"] {
        assert_eq!(UnitCost::of_pack(rate("9.75"), quantity(size)), Err(MoneyError::PackHoldsNothing));
    }
}

#[test]
fn costs_are_summed_before_they_are_rounded() {
    let used = [("11.60/25", "37.5"), ("9.75/25", "75"), ("3.90/90", "25")];
    let cost: Pounds = used.map(|(cost, used)| unit_cost(cost).cost_of(quantity(used))).into_iter().sum();
    assert_eq!(cost.to_pence().to_string(), "47.73", "week: materials of the mill job");
    let third = unit_cost("1.00/3").cost_of(quantity("0.01"));
    let thrice = third + third + third;
    assert_eq!(third.to_pence() + third.to_pence() + third.to_pence(), Pence::ZERO);
    assert_eq!(thrice.to_pence(), Pence(1), "computed: three thirds of a penny");
}

#[test]
fn more_paid_and_more_used_than_priced() {
    for [actual, estimated, used, estimated_quantity, price, usage, source] in rows(
        "actual | estimated | used   | priced for | price     | usage     | source
         6.50  | 6.90  | 450    | 430    | -180.00   | 138.00    | seen: accountingqa.blogspot.com, exercise 23-5
         5.80  | 6.00  | 183200 | 185000 | -36640.00 | -10800.00 | seen: qammunity.org 8059627
         16.90 | 16.50 | 18930  | 18500  | 7572.00   | 7095.00   | seen+comp: public exercise, inputs only
         4.86  | 4.75  | 39     | 34     | 4.29      | 23.75     | week: studs
         46.50/50 | 0.95 | 41.5 | 45     | -0.83     | -3.33     | week: pipe; -3.325, half away from nought
         2.35  | 2.35  | 16     | 18     | 0.00      | -4.70     | week: elbows
         72.00/100 | 0.70 | 63  | 60     | 1.26      | 2.10      | week: cable
         104.00/100 | 1.04 | 31.5 | 40   | 0.00      | -8.84     | week: cable
         17.95 | 17.20 | 6      | 6      | 4.50      | 0.00      | week: moisture board
         13.20/1000 | 0.013 | 750 | 640  | 0.15      | 1.43      | week: screws
         9.75/25 | 0.39 | 117.5 | 125    | 0.00      | -2.93     | week: finish plaster; -2.925
         3.90/90 | 0.05 | 64    | 70     | -0.43     | -0.30     | week: scrim tape
         3.90/90 | 3.90/90 | 25 | 0      | 0.00      | 1.08      | week: not priced, so the book cost is the standard
         27.36/1.44 | 19.00 | 0 | 14.4   | 0.00      | -273.60   | week: tiles not yet used",
    ) {
        let (actual, estimated) = (unit_cost(actual), unit_cost(estimated));
        let (used, estimated_quantity) = (quantity(used), quantity(estimated_quantity));
        let paid = actual.cost_of(used);
        assert_eq!(price_variance(paid, estimated, used).to_string(), price, "{source}");
        assert_eq!(usage_variance(used, estimated_quantity, estimated).to_string(), usage, "{source}");
    }
}

#[test]
fn a_retention_is_held_and_released_in_two_halves() {
    for [net, percent, held, first, second, source] in rows(
        "net      | per cent | held    | first  | second | source
         20000.00 | 5        | 1000.00 | 500.00 | 500.00 | seen+comp: nockolds.co.uk
         2000.00  | 5        | 100.00  | 50.00  | 50.00  | computed
         1545.67  | 5        | 77.28   | 38.64  | 38.64  | computed
         704.59   | 5        | 35.23   | 17.62  | 17.61  | week for what is held; halves computed: odd penny first
         1000.00  | 2.5      | 25.00   | 12.50  | 12.50  | seen: selfbuild.ie for the rate; computed
         3407.93  | 0        | 0.00    | 0.00   | 0.00   | week",
    ) {
        let retention = percentage(pence(net), rate(percent));
        assert_eq!(retention.to_string(), held, "{source}");
        let halves = RetentionHalves::of(retention);
        assert_eq!(halves.at_completion.to_string(), first, "{source}");
        assert_eq!(halves.at_end_of_defects.to_string(), second, "{source}");
    }
}

/// Long and short numbers alike: plain `any` would hardly ever give a short one.
fn any_quantity() -> impl Strategy<Value = Quantity> {
    (any::<i64>(), 0..=62_u32, 0..=9_u32)
        .prop_map(|(digits, shorter, places)| Quantity::new(Decimal::new(digits >> shorter, places)).unwrap())
}

fn any_rate() -> impl Strategy<Value = Rate> {
    any_quantity().prop_map(|quantity| Rate::new(quantity.value()).unwrap())
}

proptest! {
    /// Against whole-number arithmetic: within half a penny of the exact product, halves outwards.
    #[test]
    fn a_line_amount_is_the_nearest_penny(count in any_quantity(), price in any_rate()) {
        let exact = count.value().mantissa() * price.value().mantissa();
        let penny = 10_i128.pow(count.value().scale() + price.value().scale());
        let Some(hundredfold) = exact.checked_mul(100) else { return Ok(()) };
        let amount = line_amount(count, price);
        if amount == Pence(i64::MAX) || amount == Pence(i64::MIN) {
            prop_assert!(hundredfold.abs() / penny >= i128::from(i64::MAX) - 1);
        } else {
            let off = hundredfold.abs() - i128::from(amount.0).abs() * penny;
            prop_assert!(2 * off < penny && -2 * off <= penny, "off by {off} of {penny}");
        }
    }

    /// At a price in whole pence and whole counts, split lines come to the same as one.
    #[test]
    fn whole_counts_at_whole_pence_add_up(one in -10_000_i64..10_000, two in -10_000_i64..10_000, price in 0_i64..1_000_000) {
        let amount = |count: i64| {
            line_amount(Quantity::new(count.into()).unwrap(), Rate::new(Decimal::new(price, 2)).unwrap())
        };
        prop_assert_eq!(amount(one) + amount(two), amount(one + two));
        prop_assert_eq!(amount(one), Pence(one * price));
    }

    #[test]
    fn retention_halves_add_up(held in any::<i64>()) {
        let halves = RetentionHalves::of(Pence(held));
        let (first, second) = (halves.at_completion.0, halves.at_end_of_defects.0);
        prop_assert_eq!(first.checked_add(second), Some(held));
        prop_assert!((0..=1).contains(&((first - second) * held.signum())));
    }

    /// Price and usage variance together are what was paid less what was priced.
    #[test]
    fn variances_add_up_to_the_overspend(
        actual in 0_i64..100_000, estimated in 0_i64..100_000, used in 0_i64..10_000, priced_for in 0_i64..10_000,
    ) {
        let cost = |pence: i64| UnitCost::of_unit(Rate::new(Decimal::new(pence, 2)).unwrap());
        let count = |count: i64| Quantity::new(count.into()).unwrap();
        let price = price_variance(cost(actual).cost_of(count(used)), cost(estimated), count(used));
        let usage = usage_variance(count(used), count(priced_for), cost(estimated));
        prop_assert_eq!(price + usage, Pence(actual * used - estimated * priced_for));
    }

    /// A whole pack costs what the pack cost, whatever is in it.
    #[test]
    fn a_whole_pack_costs_the_pack(cost in 0_i64..10_000_000, size in 1_i64..1_000_000, places in 0..=3_u32) {
        let size = Quantity::new(Decimal::new(size, places)).unwrap();
        let unit_cost = UnitCost::of_pack(Rate::new(Decimal::new(cost, 2)).unwrap(), size).unwrap();
        prop_assert_eq!(unit_cost.cost_of(size).to_pence(), Pence(cost));
    }

    /// Numbers from outside may be absurd; they must not bring the program down.
    #[test]
    fn nothing_panics(
        count in any_quantity(), other in any_quantity(), price in any_rate(), percent in any_rate(), minutes in any::<i64>(),
    ) {
        let _ = (hours(minutes), hours_and_minutes(minutes), labour_cost(minutes, price));
        let _ = percentage(Pence(minutes), percent);
        let unit_cost = UnitCost::of_pack(price, other).unwrap_or(UnitCost::of_unit(price));
        let cost = unit_cost.cost_of(count);
        let _ = (unit_cost.pounds(), unit_cost.marked_up(percent), cost + cost, Pounds::ZERO - cost - cost);
        let _ = (price_variance(cost, unit_cost, other), usage_variance(count, other, unit_cost));
    }
}
