//! Hot water: mixing, what a cylinder gives, how long it takes to heat again, and how fast water runs.
//!
//! Figures for planning. A cylinder without a vent is for who is qualified for it, and hot water scalds.

use rust_decimal::Decimal;

use super::TakeoffError;
use super::exact::{above_nought, quotient};

/// Kilojoules that heat a litre of water by one degree.
const SPECIFIC_HEAT: Written = (419, 2);

/// Pi to as many digits as any bore is measured.
const PI: Written = (31_415_926_536, 10);

type Written = (i64, u32);

fn constant((mantissa, places): Written) -> Decimal {
    Decimal::new(mantissa, places)
}

/// The temperature of two waters mixed: (m₁T₁ + m₂T₂) ÷ (m₁ + m₂), in litres and °C.
///
/// # Errors
/// [`TakeoffError::OutOfRange`] if there is no water, or less than none.
pub fn mixed_temperature(
    (first_litres, first_celsius): (Decimal, Decimal),
    (second_litres, second_celsius): (Decimal, Decimal),
) -> Result<Decimal, TakeoffError> {
    let litres = first_litres.saturating_add(second_litres);
    above_nought("water to mix", litres, "litre")?;
    for part in [first_litres, second_litres] {
        if part < Decimal::ZERO {
            above_nought("water to mix", part, "litre")?;
        }
    }
    let heat = first_litres
        .saturating_mul(first_celsius)
        .saturating_add(second_litres.saturating_mul(second_celsius));
    quotient("mixed water", heat, litres)
}

/// The share of hot water in a mix: (Tm − Tc) ÷ (Th − Tc), from 0 to 1.
///
/// # Errors
/// [`TakeoffError::OutOfRange`] where the mix is not between cold and hot, or hot is not warmer than cold.
pub fn hot_share(
    mixed_celsius: Decimal,
    hot_celsius: Decimal,
    cold_celsius: Decimal,
) -> Result<Decimal, TakeoffError> {
    above_nought("hot water, above the cold,", hot_celsius.saturating_sub(cold_celsius), "degrees")?;
    if mixed_celsius < cold_celsius || mixed_celsius > hot_celsius {
        return Err(TakeoffError::OutOfRange {
            what: "mixed water".to_owned(),
            given: mixed_celsius.to_string(),
            least: cold_celsius.to_string(),
            most: hot_celsius.to_string(),
            unit: "degrees C".to_owned(),
        });
    }
    let (gain, rise) = (mixed_celsius.saturating_sub(cold_celsius), hot_celsius.saturating_sub(cold_celsius));
    quotient("share of hot water", gain, rise)
}

/// Litres of mixed water that a cylinder gives if it is drawn without mixing inside:
/// V × (Ts − Tc) ÷ (Tm − Tc).
///
/// # Errors
/// As [`hot_share`]; a mix as cold as the cold water has no end.
pub fn litres_from_cylinder(
    cylinder_litres: Decimal,
    stored_celsius: Decimal,
    cold_celsius: Decimal,
    mixed_celsius: Decimal,
) -> Result<Decimal, TakeoffError> {
    above_nought("cylinder", cylinder_litres, "litre")?;
    above_nought("mixed water, above the cold,", mixed_celsius.saturating_sub(cold_celsius), "degrees")?;
    hot_share(mixed_celsius, stored_celsius, cold_celsius)?;
    let rise = stored_celsius.saturating_sub(cold_celsius);
    let gain = mixed_celsius.saturating_sub(cold_celsius);
    quotient("mixed water", cylinder_litres.saturating_mul(rise), gain)
}

/// Minutes to heat a cylinder: V × 4.19 × ΔT ÷ (P × 60), litres and kilowatts. Losses come on top.
///
/// # Errors
/// [`TakeoffError::OutOfRange`] for no cylinder, no power or nothing to heat.
pub fn reheat_minutes(
    cylinder_litres: Decimal,
    from_celsius: Decimal,
    to_celsius: Decimal,
    power_kw: Decimal,
) -> Result<Decimal, TakeoffError> {
    let rise = to_celsius.saturating_sub(from_celsius);
    above_nought("cylinder", cylinder_litres, "litre")?;
    above_nought("temperature to gain", rise, "degrees")?;
    above_nought("heating power", power_kw, "kW")?;
    let heat = cylinder_litres.saturating_mul(constant(SPECIFIC_HEAT)).saturating_mul(rise);
    quotient("time to heat", heat, power_kw.saturating_mul(Decimal::from(60)))
}

/// Metres a second in a pipe: litres a second ÷ the area of its bore.
///
/// # Errors
/// [`TakeoffError::OutOfRange`] for no bore or no flow.
pub fn velocity(litres_per_second: Decimal, bore_mm: Decimal) -> Result<Decimal, TakeoffError> {
    above_nought("flow", litres_per_second, "litre a second")?;
    above_nought("bore", bore_mm, "mm")?;
    let area_mm2 = bore_area_mm2(bore_mm);
    quotient("velocity", litres_per_second.saturating_mul(Decimal::ONE_THOUSAND), area_mm2)
}

/// Litres a second at which water runs with a velocity.
///
/// # Errors
/// [`TakeoffError::OutOfRange`] for no bore or no velocity.
pub fn flow_at(velocity_m_per_second: Decimal, bore_mm: Decimal) -> Result<Decimal, TakeoffError> {
    above_nought("velocity", velocity_m_per_second, "m/s")?;
    above_nought("bore", bore_mm, "mm")?;
    Ok(velocity_m_per_second.saturating_mul(bore_area_mm2(bore_mm)) / Decimal::ONE_THOUSAND)
}

/// The area of a round bore.
#[must_use]
pub fn bore_area_mm2(bore_mm: Decimal) -> Decimal {
    constant(PI).saturating_mul(bore_mm.saturating_mul(bore_mm)) / Decimal::from(4)
}

/// The usual highest velocity at a temperature (table of BS 6700, seen): 3.0 m/s to 50 °C, 2.5 to 70, 2.0 to
/// 90. Between rows the hotter one counts; above 90 °C there is none.
#[must_use]
pub fn velocity_limit(celsius: Decimal) -> Option<Decimal> {
    let rows = [(50, 30), (70, 25), (90, 20)];
    let row = rows.into_iter().find(|(to_celsius, _)| celsius <= Decimal::from(*to_celsius));
    row.map(|(_, tenths)| Decimal::new(tenths, 1))
}
