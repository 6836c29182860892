//! The units in which an item is counted and the packs in which people say it.
//!
//! "Four and a half bags" are kept as 112.5 kg. Conversion is exact or refused; nothing is rounded,
//! and nothing is guessed between kinds of unit (no metres from millimetres).

use rust_decimal::Decimal;

use crate::number::{NumberError, Quantity};

/// Why a quantity can't be kept in the item's unit.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum UnitError {
    /// A pack size of nought or below.
    #[error("a {pack} must hold more than nothing; give what is in it, in {unit}")]
    PackHoldsNothing {
        /// The pack's word.
        pack: String,
        /// The item's unit.
        unit: String,
    },
    /// The pack is called like the unit and is not one unit.
    #[error("the pack is called {word} like the unit, so it must hold exactly 1; name the pack otherwise")]
    PackNamedLikeUnit {
        /// The word of both.
        word: String,
    },
    /// Neither the item's unit nor its pack.
    #[error("{said:?} is not how this item is counted; say it in {allowed}")]
    OtherUnit {
        /// The word as it came.
        said: String,
        /// What is allowed, in words.
        allowed: String,
    },
    /// More is left than there was.
    #[error("{left} {unit} left is more than the {opened} {unit} that were opened")]
    MoreLeftThanOpened {
        /// What is said to be left, in the item's unit.
        left: Quantity,
        /// What was opened, in the item's unit.
        opened: Quantity,
        /// The item's unit.
        unit: String,
    },
    /// Less than nothing is left.
    #[error("what is left can't be below nothing; give what is still there, or 0")]
    LeftBelowNothing,
    /// The result has too many digits to keep.
    #[error(transparent)]
    Number(#[from] NumberError),
}

/// How one item is counted: its unit, the pack it is bought in and how many units a pack holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Packing<'a> {
    unit: &'a str,
    pack: &'a str,
    pack_size: Quantity,
}

impl<'a> Packing<'a> {
    /// Unit, pack and units in a pack: `kg`, `bag`, 25. An item without a pack has `each`, `each`, 1.
    ///
    /// # Errors
    /// [`UnitError::PackHoldsNothing`] and [`UnitError::PackNamedLikeUnit`].
    pub fn new(unit: &'a str, pack: &'a str, pack_size: Quantity) -> Result<Self, UnitError> {
        if pack_size.is_zero() || pack_size.is_negative() {
            return Err(UnitError::PackHoldsNothing { pack: pack.to_owned(), unit: unit.to_owned() });
        }
        if same_word(unit, pack) && pack_size.value() != Decimal::ONE {
            return Err(UnitError::PackNamedLikeUnit { word: unit.to_owned() });
        }
        Ok(Self { unit, pack, pack_size })
    }

    /// A quantity in the item's unit, from how it was said. In the unit itself, digits stay as written.
    ///
    /// Words match in any case, singular or plural: `bag`, `bags`, `Boxes`.
    ///
    /// # Errors
    /// [`UnitError::OtherUnit`] names what is allowed; [`UnitError::Number`] when the exact result
    /// has more digits than can be kept.
    pub fn in_units(self, quantity: Quantity, said: &str) -> Result<Quantity, UnitError> {
        if same_word(said, self.unit) {
            Ok(quantity)
        } else if same_word(said, self.pack) {
            Ok(exact_product(quantity, self.pack_size)?)
        } else {
            Err(UnitError::OtherUnit { said: said.trim().to_owned(), allowed: self.allowed() })
        }
    }

    /// What was used, from what is left of the packs that were opened: 12 m left of one 50 m coil is
    /// 38 m used.
    ///
    /// # Errors
    /// As [`Packing::in_units`], and [`UnitError::LeftBelowNothing`], [`UnitError::MoreLeftThanOpened`].
    pub fn used_from_left(
        self,
        packs_opened: Quantity,
        left: Quantity,
        left_said: &str,
    ) -> Result<Quantity, UnitError> {
        let opened = exact_product(packs_opened, self.pack_size)?;
        let left = self.in_units(left, left_said)?;
        if left.is_negative() {
            return Err(UnitError::LeftBelowNothing);
        }
        if left > opened {
            return Err(UnitError::MoreLeftThanOpened { left, opened, unit: self.unit.to_owned() });
        }
        Ok(Quantity::new((opened.value() - left.value()).normalize())?)
    }

    /// The words that are allowed, for a message: `kg or bag (25 kg)`.
    fn allowed(self) -> String {
        if same_word(self.unit, self.pack) {
            self.unit.to_owned()
        } else {
            format!("{} or {} ({} {})", self.unit, self.pack, self.pack_size, self.unit)
        }
    }
}

/// Multiplies without losing a digit, and drops noughts behind the point.
fn exact_product(first: Quantity, second: Quantity) -> Result<Quantity, NumberError> {
    let (first, second) = (first.value(), second.value());
    // Both mantissas fit in 64 bits, so the product fits in 128.
    let mut mantissa = first.mantissa().checked_mul(second.mantissa()).ok_or(NumberError::TooManyDigits)?;
    let mut scale = first.scale() + second.scale();
    while scale > 0 && mantissa % 10 == 0 {
        mantissa /= 10;
        scale -= 1;
    }
    let product =
        Decimal::try_from_i128_with_scale(mantissa, scale).map_err(|_| NumberError::TooManyDigits)?;
    Quantity::new(product)
}

/// The same word in any case, singular or plural, with `²` and `³` as 2 and 3.
fn same_word(one: &str, other: &str) -> bool {
    let plain = |word: &str| word.trim().to_lowercase().replace('²', "2").replace('³', "3");
    let (one, other) = (plain(one), plain(other));
    one == other || is_plural(&one, &other) || is_plural(&other, &one)
}

/// Bags, boxes, bundles, batteries: the regular English plurals.
fn is_plural(many: &str, one: &str) -> bool {
    if one.is_empty() {
        return false;
    }
    let hisses = ["s", "x", "z", "ch", "sh"].iter().any(|end| one.ends_with(end));
    let consonant_y =
        one.strip_suffix('y').filter(|stem| !stem.is_empty() && !stem.ends_with(['a', 'e', 'i', 'o', 'u']));
    match (hisses, consonant_y) {
        (true, _) => many.strip_suffix("es") == Some(one),
        (false, Some(stem)) => many.strip_suffix("ies") == Some(stem),
        (false, None) => many.strip_suffix('s') == Some(one),
    }
}
