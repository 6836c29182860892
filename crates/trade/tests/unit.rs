//! Packs and units by tables that anyone at the merchant's counter can read.

mod table;

use proptest::prelude::*;
use rust_decimal::Decimal;
use table::rows;
use trade::{NumberError, Packing, Quantity, UnitError};

fn quantity(text: &str) -> Quantity {
    text.parse().unwrap()
}

#[test]
fn what_is_said_in_packs_is_kept_in_units() {
    for [unit, pack, size, said, word, kept, source] in rows(
        "unit | pack   | size | said  | word    | kept  | source
         kg   | bag    | 25   | 4.5   | bag     | 112.5 | week: finish plaster
         kg   | bag    | 25   | 1.5   | bag     | 37.5  | week: bonding coat
         kg   | bag    | 25   | 5     | kg      | 5     | week: a split bag
         m    | coil   | 50   | 1     | coil    | 50    | week: pipe
         m    | coil   | 50   | 8.5   | m       | 8.5   | week: pipe brought back
         each | box    | 1000 | 0.75  | box     | 750   | week: screws
         m2   | box    | 1.44 | 10    | boxes   | 14.4  | computed: ten boxes of tiles
         m2   | box    | 1.44 | 0.50  | m²      | 0.50  | computed: digits stay as written
         kg   | bag    | 25   | 3     | Bags    | 75    | computed
         m    | coil   | 50   | 2     |  COILS  | 100   | computed
         each | each   | 1    | 22    | each    | 22    | week: studs
         each | bundle | 12   | 2     | bundles | 24    | computed
         each | tray   | 6    | 2     | trays   | 12    | computed
         each | gross  | 144  | 2     | grosses | 288   | computed
         each | batch  | 30   | 2     | batches | 60    | computed
         each | body   | 2    | 3     | bodies  | 6     | computed
         kg   | bags   | 25   | 1     | bag     | 25    | computed: the book itself may say it in the plural
         kg   | tub    | 10   | -0.5  | tub     | -5    | computed: taken back",
    ) {
        let packing = Packing::new(unit, pack, quantity(size)).unwrap();
        let units = packing.in_units(quantity(said), word).unwrap();
        assert_eq!(units.to_string(), kept, "{said} {word}: {source}");
    }
}

#[test]
fn another_unit_is_refused_and_the_right_ones_are_named() {
    let plaster = Packing::new("kg", "bag", quantity("25")).unwrap();
    let stud = Packing::new("each", "each", quantity("1")).unwrap();
    for [item, said, message] in rows(
        r#"item   | said  | message
           plaster | litre | "litre" is not how this item is counted; say it in kg or bag (25 kg)
           plaster | ba    | "ba" is not how this item is counted; say it in kg or bag (25 kg)
           plaster | bagss | "bagss" is not how this item is counted; say it in kg or bag (25 kg)
           plaster |       | "" is not how this item is counted; say it in kg or bag (25 kg)
           stud    | m     | "m" is not how this item is counted; say it in each"#,
    ) {
        let packing = if item == "stud" { stud } else { plaster };
        assert_eq!(packing.in_units(quantity("1"), said).unwrap_err().to_string(), message);
    }
}

#[test]
fn what_is_left_tells_what_was_used() {
    for [unit, pack, size, opened, left, word, used, source] in rows(
        "unit | pack | size | opened | left | word | used  | source
         m    | coil | 50   | 1      | 12   | m    | 38    | computed: twelve metres left of the coil
         m    | roll | 90   | 1      | 65   | m    | 25    | computed
         kg   | bag  | 25   | 5      | 0.5  | bags | 112.5 | computed: half of the fifth bag left
         kg   | bag  | 25   | 2      | 0    | kg   | 50    | computed: none left
         kg   | bag  | 25   | 1      | 25   | kg   | 0     | computed: not touched",
    ) {
        let packing = Packing::new(unit, pack, quantity(size)).unwrap();
        let answer = packing.used_from_left(quantity(opened), quantity(left), word).unwrap();
        assert_eq!(answer.to_string(), used, "{source}");
    }
    let coil = Packing::new("m", "coil", quantity("50")).unwrap();
    let more = coil.used_from_left(quantity("1"), quantity("51"), "m").unwrap_err();
    assert_eq!(more.to_string(), "51 m left is more than the 50 m that were opened");
    let below = coil.used_from_left(quantity("1"), quantity("-1"), "m");
    assert_eq!(below, Err(UnitError::LeftBelowNothing));
}

#[test]
fn a_pack_holds_something_and_has_a_name_of_its_own() {
    for size in ["0", "-1", "0.000"] {
        let error = Packing::new("kg", "bag", quantity(size)).unwrap_err();
        assert_eq!(error.to_string(), "a bag must hold more than nothing; give what is in it, in kg");
    }
    let twins = Packing::new("each", "Each", quantity("10"));
    assert_eq!(twins, Err(UnitError::PackNamedLikeUnit { word: "each".to_owned() }));
    assert!(Packing::new("each", "each", quantity("1.0")).is_ok());
}

#[test]
fn a_result_is_exact_or_refused() {
    let tile = Packing::new("m2", "box", quantity("1.000000001")).unwrap();
    assert_eq!(tile.in_units(quantity("2"), "box").unwrap().to_string(), "2.000000002");
    let refused = Err(UnitError::Number(NumberError::TooManyDigits));
    assert_eq!(tile.in_units(quantity("0.1"), "box"), refused);
    assert_eq!(tile.in_units(quantity("999999999999999999"), "box"), refused);
    // A product of 31 digits that ends in 18 noughts behind the point.
    let long = Packing::new("each", "box", quantity("1099.511627776")).unwrap();
    assert_eq!(long.in_units(quantity("7450580596.923828125"), "box"), Ok(quantity("8192000000000")));
}

proptest! {
    /// Against whole-number arithmetic, for long numbers and short ones.
    #[test]
    fn packs_convert_exactly_or_not_at_all(
        said in (any::<i64>(), 0..=62_u32, 0..=9_u32), size in (1..=i64::MAX, 0..=62_u32, 0..=9_u32),
    ) {
        let said = Quantity::new(Decimal::new(said.0 >> said.1, said.2)).unwrap();
        let size = Quantity::new(Decimal::new((size.0 >> size.1).max(1), size.2)).unwrap();
        let packing = Packing::new("kg", "bag", size).unwrap();
        prop_assert_eq!(packing.in_units(said, "kg"), Ok(said));
        let exact = said.value().mantissa() * size.value().mantissa();
        let places = said.value().scale() + size.value().scale();
        let dropped = (0..=places).rev().find(|noughts| exact % 10_i128.pow(*noughts) == 0).unwrap();
        let shortest = i64::try_from(exact / 10_i128.pow(dropped)).ok().filter(|_| places - dropped <= 9);
        let kept = shortest.map(|digits| Quantity::new(Decimal::new(digits, places - dropped)).unwrap());
        let refused = UnitError::Number(NumberError::TooManyDigits);
        prop_assert_eq!(packing.in_units(said, "bags"), kept.ok_or(refused));
    }

    /// Small numbers always fit, and what is used and what is left are what was opened.
    #[test]
    fn used_and_left_are_what_was_opened(opened in 1_i64..1_000, size in 1_i64..100_000, tenths in 0_i64..=10) {
        let size = Quantity::new(Decimal::new(size, 2)).unwrap();
        let packing = Packing::new("m", "coil", size).unwrap();
        let (opened, left) = (quantity(&opened.to_string()), Quantity::new(Decimal::new(tenths, 1)).unwrap());
        let used = packing.used_from_left(opened, left, "coil").unwrap();
        let left = packing.in_units(left, "coil").unwrap();
        prop_assert_eq!(used.value() + left.value(), packing.in_units(opened, "coil").unwrap().value());
    }
}
