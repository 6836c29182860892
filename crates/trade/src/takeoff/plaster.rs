//! Plaster by area and thickness, with the mixes planned: bags, water, and what a pair lays on before it sets.

use rust_decimal::Decimal;

use super::TakeoffError;
use super::defaults::{Setting, Settings};
use super::exact::{above_nought, quotient};
use super::line::whole_packs;

/// A plaster and how it is mixed and laid on.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Plaster {
    /// Square metres that a bag covers at `coverage_thickness_mm`.
    pub coverage_m2: Decimal,
    /// The thickness that the coverage is for.
    pub coverage_thickness_mm: Decimal,
    /// Kilograms in a bag.
    pub bag_kg: Decimal,
    /// Litres of water for a bag.
    pub water_litres: Decimal,
    /// Minutes from mixing until it has set.
    pub setting_minutes: Decimal,
}

impl Plaster {
    /// Finish plaster, as the settings have it.
    #[must_use]
    pub fn finish(settings: &Settings) -> Self {
        Self {
            coverage_m2: settings.value(Setting::FinishCoverage),
            coverage_thickness_mm: settings.value(Setting::FinishCoverageThickness),
            bag_kg: settings.value(Setting::FinishBag),
            water_litres: settings.value(Setting::FinishWater),
            setting_minutes: settings.value(Setting::FinishSetting),
        }
    }

    /// Bonding or backing coat, as the settings have it.
    #[must_use]
    pub fn bonding(settings: &Settings) -> Self {
        Self {
            coverage_m2: settings.value(Setting::BondingCoverage),
            coverage_thickness_mm: settings.value(Setting::BondingCoverageThickness),
            bag_kg: settings.value(Setting::BondingBag),
            water_litres: settings.value(Setting::BondingWater),
            setting_minutes: settings.value(Setting::BondingSetting),
        }
    }
}

/// Who lays it on, and how.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Gang {
    /// How many lay on.
    pub people: u32,
    /// Square metres an hour that each lays on.
    pub laying_on_m2: Decimal,
    /// Minutes of the setting time that are kept for the trowel.
    pub trowelling_minutes: Decimal,
}

impl Gang {
    /// So many people at the settings' pace.
    #[must_use]
    pub fn of(people: u32, settings: &Settings) -> Self {
        Self {
            people,
            laying_on_m2: settings.value(Setting::LayingOn),
            trowelling_minutes: settings.value(Setting::FinishTrowelling),
        }
    }
}

/// A coat, planned.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mixes {
    /// Bags that the coat takes, exactly.
    pub bags_exact: Decimal,
    /// Bags to buy.
    pub bags: u64,
    /// Litres of water for those bags.
    pub water_litres: Decimal,
    /// Square metres that a bag covers at this thickness.
    pub bag_covers_m2: Decimal,
    /// Mixes of one bag that the gang can lay on before the first of them sets; nought if one bag is too much.
    pub mixes_at_once: u64,
    /// Square metres that the gang can lay on in one go.
    pub go_m2: Decimal,
    /// Goes that the whole area takes.
    pub goes: u64,
}

/// Plans a coat: bags = area × thickness ÷ (coverage × the thickness that it is for).
///
/// A go is what can be laid on in the setting time, less what the trowel needs of it.
///
/// # Errors
/// [`TakeoffError::OutOfRange`] for a thickness, coverage, pace or gang of nought or less.
pub fn plan(
    area_m2: Decimal,
    thickness_mm: Decimal,
    plaster: Plaster,
    gang: Gang,
) -> Result<Mixes, TakeoffError> {
    for (what, value, unit) in [
        ("thickness of the coat", thickness_mm, "mm"),
        ("plaster's coverage", plaster.coverage_m2, "m2 a bag"),
        ("thickness that the coverage is for", plaster.coverage_thickness_mm, "mm"),
        ("people who lay on", Decimal::from(gang.people), "people"),
        ("laying on", gang.laying_on_m2, "m2 an hour"),
    ] {
        above_nought(what, value, unit)?;
    }
    let laying_minutes = plaster.setting_minutes.saturating_sub(gang.trowelling_minutes);
    above_nought("setting time less trowelling", laying_minutes, "min")?;
    let covered = plaster.coverage_m2.saturating_mul(plaster.coverage_thickness_mm);
    let bag_covers_m2 = quotient("area of a bag", covered, thickness_mm)?;
    let volume = area_m2.saturating_mul(thickness_mm);
    let bags_exact = quotient("bags of plaster", volume, covered)?;
    let bags = whole_packs("bags of plaster", bags_exact, Decimal::ONE)?;
    let pace = gang.laying_on_m2.saturating_mul(Decimal::from(gang.people));
    let go_m2 = pace.saturating_mul(laying_minutes) / Decimal::from(60);
    let at_once = quotient("mixes at once", go_m2, bag_covers_m2)?.trunc();
    Ok(Mixes {
        bags_exact,
        bags,
        water_litres: plaster.water_litres.saturating_mul(Decimal::from(bags)),
        bag_covers_m2,
        mixes_at_once: u64::try_from(at_once).unwrap_or(u64::MAX),
        go_m2,
        goes: whole_packs("goes", area_m2, go_m2)?,
    })
}
