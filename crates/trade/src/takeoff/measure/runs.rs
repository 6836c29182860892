//! Pipes, cables and cylinders.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::super::TakeoffError;
use super::super::defaults::Setting;
use super::super::length::metres;
use super::super::runs::{Load, millivolts, volt_drop};
use super::super::water;
use super::{Line, Sheet, decimal, tidy};

const WATER: &str = "first fix water";
const ELECTRICS: &str = "first fix electrics";

/// Pipe by the metre, elbows, tees, valves and clips.
pub(super) fn pipes(sheet: &mut Sheet<'_>) -> Result<(), TakeoffError> {
    let room = sheet.room;
    let mut by_item: BTreeMap<&str, i64> = BTreeMap::new();
    let (mut elbows, mut tees, mut valves, mut clips) = (0_usize, 0_u32, 0_u32, 0_i64);
    for pipe in &room.pipes {
        *by_item.entry(&pipe.item).or_default() += pipe.run.length_mm();
        elbows += pipe.run.elbows();
        tees += pipe.tees;
        valves += pipe.valves;
        clips += pipe.run.clips(sheet.settings.whole(Setting::PipeClipSpacing))?;
    }
    for (item, length_mm) in &by_item {
        let working = format!("{} m in the runs", tidy(metres(*length_mm)));
        let metre = ("m", Decimal::ONE);
        sheet.line_with_waste((WATER, item, "m"), metres(*length_mm), Setting::PipeWaste, metre, &working)?;
    }
    let clip_working =
        format!("one each {} and at the end of a leg", sheet.settings.said(Setting::PipeClipSpacing));
    for (item, count, working) in [
        ("elbow 15 push-fit", decimal(elbows), "one between each two legs"),
        ("tee 15 push-fit", Decimal::from(tees), "as said"),
        ("isolating valve 15", Decimal::from(valves), "as said"),
        ("pipe clip 15", Decimal::from(clips), clip_working.as_str()),
    ] {
        each(sheet, (WATER, item), count, working)?;
    }
    let length_mm: i64 = by_item.values().sum();
    sheet.hours(WATER, metres(length_mm), "m", Setting::PipeMinutes)?;
    let fittings = decimal(elbows).saturating_add(Decimal::from(tees)).saturating_add(Decimal::from(valves));
    sheet.hours(WATER, fittings, "fittings", Setting::PipeFittingMinutes)
}

/// Cable by the metre with its tails, clips, and what it loses.
pub(super) fn cables(sheet: &mut Sheet<'_>) -> Result<(), TakeoffError> {
    let room = sheet.room;
    let tail_mm = sheet.settings.whole(Setting::CableTail);
    let mut by_size: BTreeMap<Decimal, i64> = BTreeMap::new();
    let mut clips = 0;
    for cable in &room.cables {
        let length_mm = cable.run.length_mm() + 2 * tail_mm;
        *by_size.entry(cable.size_mm2).or_default() += length_mm;
        clips += cable.run.clips(sheet.settings.whole(Setting::CableClipSpacing))?;
        let limit = if cable.lighting { Setting::LightingDrop } else { Setting::OtherDrop };
        let load = Load {
            millivolts: millivolts(cable.size_mm2)?,
            amperes: cable.amperes,
            supply_volts: sheet.value(Setting::SupplyVolts),
            limit_percent: sheet.value(limit),
        };
        let drop = volt_drop(load, metres(length_mm))?;
        let says = format!(
            "{} m of {} at {} A loses {} V, {} %; the longest run within {} % is {} m. What it may carry is for the \
             registered electrician",
            tidy(metres(length_mm)),
            cable.size_mm2,
            cable.amperes.normalize(),
            tidy(drop.volts),
            tidy(drop.percent),
            load.limit_percent.normalize(),
            tidy(drop.longest_m.trunc_with_scale(2)),
        );
        if drop.is_within {
            sheet.note(cable.run.name(), says);
        } else {
            sheet.mind(cable.run.name(), format!("too long: {says}"));
        }
    }
    for (size, length_mm) in &by_size {
        let item = format!("cable {size} twin and earth");
        let working = format!("{} m in the runs with {tail_mm} mm at each end", tidy(metres(*length_mm)));
        let metre = ("m", Decimal::ONE);
        sheet.line_with_waste(
            (ELECTRICS, &item, "m"),
            metres(*length_mm),
            Setting::CableWaste,
            metre,
            &working,
        )?;
    }
    let working =
        format!("one each {} and at the end of a leg", sheet.settings.said(Setting::CableClipSpacing));
    each(sheet, (ELECTRICS, "cable clip"), Decimal::from(clips), &working)?;
    let length_mm: i64 = by_size.values().sum();
    sheet.hours(ELECTRICS, metres(length_mm), "m", Setting::CableMinutes)
}

/// What a cylinder gives and how long it takes to heat again. Nothing is bought for it here.
pub(super) fn cylinders(sheet: &mut Sheet<'_>) -> Result<(), TakeoffError> {
    for cylinder in &sheet.room.cylinders {
        let (stored, cold) = (cylinder.stored_celsius, cylinder.cold_celsius);
        let given = water::litres_from_cylinder(cylinder.litres, stored, cold, cylinder.mixed_celsius)?;
        let share = water::hot_share(cylinder.mixed_celsius, stored, cold)?;
        let minutes = water::reheat_minutes(cylinder.litres, cold, stored, cylinder.power_kw)?;
        let says = format!(
            "{} litres at {} give {} litres at {}, {} % of it hot; {} min to heat again at {} kW. Stored water stays \
             at 60 or above against legionella and scalds, so fit a mixing valve; an unvented cylinder is for who is \
             qualified",
            cylinder.litres.normalize(),
            stored.normalize(),
            tidy(given.trunc()),
            cylinder.mixed_celsius.normalize(),
            tidy(share.saturating_mul(Decimal::ONE_HUNDRED)),
            minutes.ceil(),
            cylinder.power_kw.normalize(),
        );
        let too_cool = stored < Decimal::from(60);
        sheet.notes.push(super::Note { about: "cylinder".to_owned(), says, to_mind: too_cool });
    }
    Ok(())
}

fn each(
    sheet: &mut Sheet<'_>,
    (work, item): (&str, &str),
    count: Decimal,
    working: &str,
) -> Result<(), TakeoffError> {
    if count.is_zero() {
        return Ok(());
    }
    let room = sheet.room;
    let line = (room.stage(work), room.item(item), "each");
    sheet.lines.push(Line::new(line, count, ("each", Decimal::ONE), Decimal::ZERO, working.to_owned())?);
    Ok(())
}
