//! Plaster, tanking, tiles and paint.

use rust_decimal::Decimal;

use super::super::TakeoffError;
use super::super::defaults::Setting;
use super::super::length::{metres, square_metres};
use super::super::line::with_waste;
use super::super::plan::{Face, FaceKind, Tiling};
use super::super::plaster::{self, Gang, Plaster};
use super::super::room::Surface;
use super::super::runs::paint_litres;
use super::super::tiles::{self, Pattern, TiledBackground};
use super::{Line, Sheet, percent, tidy};

/// Primer, bonding coat and finish.
pub(super) fn plaster(sheet: &mut Sheet<'_>) -> Result<(), TakeoffError> {
    let primed = sheet.area(|face| face.primed);
    if !primed.is_zero() {
        let litres = primed.checked_div(sheet.value(Setting::PrimerCoverage)).unwrap_or(Decimal::ZERO);
        let tin = ("tin", sheet.value(Setting::PrimerTin));
        let working = format!("{} m2 at {}", tidy(primed), sheet.settings.said(Setting::PrimerCoverage));
        let what = ("skim", "plaster primer", "litre");
        sheet.line_with_waste(what, litres, Setting::PlasterWaste, tin, &working)?;
    }
    let mut thicknesses: Vec<Decimal> = sheet.room.faces.iter().filter_map(|face| face.bonding_mm).collect();
    thicknesses.sort_unstable();
    thicknesses.dedup();
    for thick_mm in thicknesses {
        let area = sheet.area(|face| face.bonding_mm == Some(thick_mm));
        let coat = Coat {
            item: "bonding coat",
            plaster: Plaster::bonding(sheet.settings),
            thick_mm,
            rate: Setting::BondingMinutes,
            origin: Setting::BondingCoverage,
        };
        lay_on(sheet, area, coat)?;
    }
    let area = sheet.area(|face| face.skimmed);
    let coat = Coat {
        item: "finish plaster",
        plaster: Plaster::finish(sheet.settings),
        thick_mm: sheet.value(Setting::FinishThickness),
        rate: Setting::SkimMinutes,
        origin: Setting::FinishCoverage,
    };
    lay_on(sheet, area, coat)
}

struct Coat {
    item: &'static str,
    plaster: Plaster,
    thick_mm: Decimal,
    rate: Setting,
    origin: Setting,
}

fn lay_on(sheet: &mut Sheet<'_>, area: Decimal, coat: Coat) -> Result<(), TakeoffError> {
    if area.is_zero() {
        return Ok(());
    }
    let Coat { item, plaster, thick_mm, rate, origin } = coat;
    let people = sheet.room.people.unwrap_or(2);
    let mixes = plaster::plan(area, thick_mm, plaster, Gang::of(people, sheet.settings))?;
    let kilograms = mixes.bags_exact.saturating_mul(plaster.bag_kg);
    let working = format!(
        "{} m2 at {} mm, {} for {} mm: {} bags before waste",
        tidy(area),
        thick_mm.normalize(),
        sheet.settings.said(origin),
        plaster.coverage_thickness_mm.normalize(),
        tidy(mixes.bags_exact),
    );
    let bag = ("bag", plaster.bag_kg);
    sheet.line_with_waste(("skim", item, "kg"), kilograms, Setting::PlasterWaste, bag, &working)?;
    let bags = sheet.lines.last().map_or(mixes.bags, |line| line.packs.count);
    let water = plaster.water_litres.saturating_mul(Decimal::from(bags));
    let at_once = match mixes.mixes_at_once {
        0 => "less than a bag at a time".to_owned(),
        1 => "one bag at a time".to_owned(),
        mixes => format!("{mixes} bags at a time"),
    };
    let who = match people {
        1 => "one alone lays".to_owned(),
        2 => "a pair lays".to_owned(),
        people => format!("{people} lay"),
    };
    let says = format!(
        "{item}: {} with {} litres of clean water; {who} on {at_once} ({} m2) in the {} min before it sets, \
         so {}",
        counted(bags, "bag"),
        tidy(water),
        tidy(mixes.go_m2),
        plaster.setting_minutes.normalize(),
        counted(mixes.goes, "go"),
    );
    sheet.note(sheet.room.stage("skim"), says);
    sheet.hours("skim", area, "m2", rate)
}

/// `1 bag`, `2 bags`, `3 goes`.
fn counted(count: u64, one: &str) -> String {
    match (count, one.ends_with('o')) {
        (1, _) => format!("1 {one}"),
        (_, true) => format!("{count} {one}es"),
        (_, false) => format!("{count} {one}s"),
    }
}

/// The tiled part of a face.
fn tiled(face: &Face, tiling: &Tiling) -> Result<Surface, TakeoffError> {
    match tiling.up_to_mm {
        Some(height_mm) => face.surface.up_to(height_mm),
        None => Ok(face.surface.clone()),
    }
}

/// Tanking behind tiles, or over the whole face if it isn't tiled.
pub(super) fn tanking(sheet: &mut Sheet<'_>) -> Result<(), TakeoffError> {
    let (mut area_mm2, mut tape_mm) = (0, 0);
    for face in sheet.room.faces.iter().filter(|face| face.tanked) {
        let surface = match &face.tiling {
            Some(tiling) => tiled(face, tiling)?,
            None => face.surface.clone(),
        };
        area_mm2 += surface.net_mm2();
        // Each wall's foot and one corner; a floor's edges are the walls' feet.
        tape_mm += match face.kind {
            FaceKind::Wall => surface.length_mm() + surface.height_mm(),
            FaceKind::Ceiling | FaceKind::Floor => 0,
        };
    }
    let area = square_metres(area_mm2);
    if area.is_zero() {
        return Ok(());
    }
    let kilograms = area.saturating_mul(sheet.value(Setting::TankingSpread));
    let tub = ("tub", sheet.value(Setting::TankingTub));
    let working = format!("{} m2 at {}", tidy(area), sheet.settings.said(Setting::TankingSpread));
    let what = ("tanking", "tanking slurry", "kg");
    sheet.line_with_waste(what, kilograms, Setting::AdhesiveWaste, tub, &working)?;
    let working = format!("{} m along feet and corners", tidy(metres(tape_mm)));
    let what = ("tanking", "tanking tape", "m");
    let roll = ("roll", Decimal::TEN);
    sheet.line_with_waste(what, metres(tape_mm), Setting::TankingTapeWaste, roll, &working)?;
    let says = "two coats, the second after 4 to 6 h, and 24 to 48 h before tiles; the maker's sheet decides"
        .to_owned();
    sheet.note(sheet.room.stage("tanking"), says);
    sheet.hours("tanking", area, "m2", Setting::TankingMinutes)
}

/// Tiles, adhesive, grout, trims, and whether the background carries them.
pub(super) fn tiles(sheet: &mut Sheet<'_>) -> Result<(), TakeoffError> {
    let room = sheet.room;
    let (mut area_mm2, mut grout, mut trims_mm) = (0, Decimal::ZERO, 0);
    for face in &room.faces {
        let Some(tiling) = &face.tiling else { continue };
        let surface = tiled(face, tiling)?;
        tile_line(sheet, &surface, tiling)?;
        say_load(sheet, face, tiling)?;
        let area = square_metres(surface.net_mm2());
        area_mm2 += surface.net_mm2();
        let density = sheet.value(Setting::GroutDensity);
        grout = grout.saturating_add(area.saturating_mul(tiling.tile.grout_kg_per_m2(density)));
        let corners = i64::from(face.external.left) + i64::from(face.external.right);
        trims_mm += corners * surface.height_mm();
        if surface.height_mm() < face.surface.height_mm() {
            trims_mm += surface.length_mm();
        }
        let every_mm = sheet.settings.whole(Setting::MovementJointEvery);
        let joints = tiles::movement_joints(surface.length_mm(), every_mm);
        if joints > 0 {
            let says =
                format!("{joints} movement joint(s) of at least 6 mm in its length, and one in each corner");
            sheet.mind(surface.name(), says);
        }
        if let Some(least_mm) =
            tiling.tile.least_joint_mm().filter(|least_mm| tiling.tile.joint_mm() < *least_mm)
        {
            let says = format!(
                "a joint of {} mm is narrower than the {least_mm} mm for this size",
                tiling.tile.joint_mm()
            );
            sheet.mind(surface.name(), says);
        }
    }
    let area = square_metres(area_mm2);
    if area.is_zero() {
        return Ok(());
    }
    let adhesive = area.saturating_mul(sheet.value(Setting::AdhesiveSpread));
    let bag = ("bag", sheet.value(Setting::AdhesiveBag));
    let working = format!("{} m2 at {}", tidy(area), sheet.settings.said(Setting::AdhesiveSpread));
    let what = ("tiling", "tile adhesive flexible", "kg");
    sheet.line_with_waste(what, adhesive, Setting::AdhesiveWaste, bag, &working)?;
    let bag = ("bag", sheet.value(Setting::GroutBag));
    let working = format!(
        "{} m2, (length + width) / (length x width) x joint x depth x {}",
        tidy(area),
        sheet.settings.said(Setting::GroutDensity)
    );
    sheet.line_with_waste(("tiling", "grout", "kg"), grout, Setting::GroutWaste, bag, &working)?;
    let trim = ("length", metres(sheet.settings.whole(Setting::TrimLength)));
    let working = format!("{} m of external corners and free top edges", tidy(metres(trims_mm)));
    sheet.line_with_waste(
        ("tiling", "tile trim", "m"),
        metres(trims_mm),
        Setting::TrimWaste,
        trim,
        &working,
    )?;
    sheet.hours("tiling", area, "m2", Setting::TilingMinutes)
}

fn tile_line(sheet: &mut Sheet<'_>, surface: &Surface, tiling: &Tiling) -> Result<(), TakeoffError> {
    let count = tiles::count(surface, tiling.tile, tiling.pattern)?;
    let extra = match tiling.pattern {
        Pattern::Straight | Pattern::Brick | Pattern::Third => Setting::TileBreakage,
        Pattern::Diagonal => Setting::DiagonalTileWaste,
    };
    let with_extra = with_waste(Decimal::from(count.tiles), sheet.value(extra)).ceil();
    let tile_m2 = square_metres(tiling.tile.area_mm2());
    let exact = with_extra.saturating_mul(tile_m2);
    let net = square_metres(surface.net_mm2());
    let waste = if exact > net { percent(exact - net, exact)? } else { Decimal::ZERO };
    let working = format!(
        "{}: {} whole and {} cut out of {} tiles, and {} % on top for breakage, {} in all",
        surface.name(),
        count.whole,
        count.cut,
        count.tiles - count.whole,
        sheet.value(extra).normalize(),
        with_extra.normalize(),
    );
    let pack = match tiling.box_m2 {
        Some(box_m2) => ("box", box_m2),
        None => ("tile", tile_m2),
    };
    let room = sheet.room;
    let (work, item) = (room.stage("tiling"), room.item(&tiling.item));
    // The same tile on another face is the same line, bought together.
    if let Some(line) = sheet.lines.iter_mut().find(|line| line.work == work && line.what == item) {
        let before = line.quantity.value();
        let both = before.saturating_add(exact);
        let wasted =
            line.waste_percent.value().saturating_mul(before).saturating_add(waste.saturating_mul(exact));
        let share = if both.is_zero() { Decimal::ZERO } else { wasted / both };
        let working = format!("{}; {working}", line.working);
        *line = Line::new((work, item, "m2"), both, pack, share, working)?;
        return Ok(());
    }
    sheet.lines.push(Line::new((work, item, "m2"), exact, pack, waste, working)?);
    Ok(())
}

/// Says whether tile, adhesive and grout keep to what the background usually carries.
fn say_load(sheet: &mut Sheet<'_>, face: &Face, tiling: &Tiling) -> Result<(), TakeoffError> {
    if face.kind == FaceKind::Floor {
        return Ok(());
    }
    let name = face.surface.name();
    let Some(weight) = tiling.weight_kg_per_m2 else {
        let says =
            "weigh a tile: with its weight (weight 16, in kg/m2) it can be said whether the wall carries it";
        sheet.mind(name, says.to_owned());
        return Ok(());
    };
    let background = tiling.on.unwrap_or(match (&face.boarding, face.skimmed) {
        (Some(_), true) => TiledBackground::SkimmedPlasterboard,
        (Some(_), false) => TiledBackground::Plasterboard,
        (None, true | false) => TiledBackground::Plaster,
    });
    let check = tiles::load(background, weight, sheet.value(Setting::LoadAllowance))?;
    let (load, limit) = (check.load_kg_per_m2.normalize(), check.limit_kg_per_m2.normalize());
    let sum = format!(
        "tile, adhesive and grout come to {load} kg/m2; {} usually carries {limit}",
        background.word()
    );
    if check.is_within() {
        sheet.note(name, format!("{sum}. The board maker's sheet decides"));
    } else {
        sheet.mind(name, format!("too heavy: {sum}. Take a lighter tile or another background"));
    }
    Ok(())
}

/// Paint, with the mist coat on new plaster.
pub(super) fn paint(sheet: &mut Sheet<'_>) -> Result<(), TakeoffError> {
    let room = sheet.room;
    let (mut area, mut coated) = (Decimal::ZERO, Decimal::ZERO);
    for face in &room.faces {
        let Some(coats) = face.paint_coats else { continue };
        let mut bare_mm2 = face.surface.net_mm2() * i64::from(face.sides());
        if let Some(tiling) = &face.tiling {
            bare_mm2 -= tiled(face, tiling)?.net_mm2();
        }
        let bare = square_metres(bare_mm2.max(0));
        area = area.saturating_add(bare);
        coated = coated.saturating_add(bare.saturating_mul(Decimal::from(coats)));
    }
    if area.is_zero() {
        return Ok(());
    }
    let litres = paint_litres(coated, sheet.value(Setting::PaintCoverage), 1)?;
    let tin = ("tin", sheet.value(Setting::PaintTin));
    let working = format!(
        "{} m2, {} m2 with all coats, at {}",
        tidy(area),
        tidy(coated),
        sheet.settings.said(Setting::PaintCoverage)
    );
    sheet.line_with_waste(("painting", "emulsion", "litre"), litres, Setting::PaintWaste, tin, &working)?;
    if room.faces.iter().any(|face| face.skimmed && face.paint_coats.is_some()) {
        let says = format!(
            "the first coat on new plaster is a mist coat, {} % paint and the rest water, once it is pale all over",
            sheet.value(Setting::MistPaint).normalize()
        );
        sheet.note(room.stage("painting"), says);
    }
    sheet.hours("painting", coated, "m2 of coats", Setting::PaintMinutes)
}
