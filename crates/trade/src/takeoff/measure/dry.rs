//! Frames and boards: timber, boards, screws, tape, beads, and where whole boards miss the studs.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::super::boards::cutting::{self, Outline};
use super::super::boards::fixings::{self, ScrewCentres};
use super::super::boards::{Background, BoardRules, BoardSize, Layout, landing, lay, widest_centres_mm};
use super::super::defaults::Setting;
use super::super::length::{metres, square_metres};
use super::super::plan::{Boarding, Face, FaceKind};
use super::super::room::{BoxingIn, Surface};
use super::super::studwork::{Frame, Studwork, Upright, lengths_to_buy};
use super::super::{Line, TakeoffError};
use super::{Sheet, decimal, percent, tidy};

/// A face with what was set out and laid on it.
#[derive(Debug, Clone)]
pub struct FramedFace {
    /// The face's kind.
    pub kind: FaceKind,
    /// Its shape.
    pub surface: Surface,
    /// Its uprights, if it has any.
    pub studwork: Option<Studwork>,
    /// Its boards, if it has any.
    pub layout: Option<Layout>,
    /// The board, as the price book names it; empty without boards.
    pub board: String,
}

/// A piece of a cutting list.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CutPiece {
    /// Where it goes up.
    pub of: String,
    /// Its number on that face's drawing, from 1.
    pub number: usize,
    /// What it is cut to.
    pub outline: Outline,
}

/// What is cut from what, for one kind of board.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CuttingList {
    /// The board, as the price book names it.
    pub item: String,
    /// Its size.
    pub size: BoardSize,
    /// For each board that is cut into, the pieces that come out of it.
    pub boards: Vec<Vec<CutPiece>>,
    /// Boards that go up whole.
    pub whole: usize,
}

pub(super) struct Dry {
    pub(super) faces: Vec<FramedFace>,
}

/// A cutting list of one kind of board.
struct BoardPile {
    size: BoardSize,
    pieces: Vec<CutPiece>,
    net_mm2: i64,
}

impl BoardPile {
    /// Puts the pieces of one place on the pile.
    fn add(&mut self, of: &str, outlines: Vec<Outline>) {
        let pieces = outlines.into_iter().enumerate();
        self.pieces.extend(pieces.map(|(at, outline)| CutPiece {
            of: of.to_owned(),
            number: at + 1,
            outline,
        }));
    }
}

impl Dry {
    /// Sets out frames and lays boards, and lists the timber.
    pub(super) fn lay_out(sheet: &mut Sheet<'_>) -> Result<Self, TakeoffError> {
        let mut faces = Vec::new();
        let room = sheet.room;
        for face in room.faces.iter().filter(|face| face.framing.is_some() || face.boarding.is_some()) {
            let studwork = set_out(sheet, face)?;
            let (studwork, layout) = board_up(sheet, face, studwork)?;
            let board = face.boarding.as_ref().map_or_else(String::new, |boarding| boarding.item.clone());
            let (kind, surface) = (face.kind, face.surface.clone());
            faces.push(FramedFace { kind, surface, studwork, layout, board });
        }
        let dry = Self { faces };
        dry.timber(sheet)?;
        Ok(dry)
    }

    /// Timber of all frames that don't stand yet, and battens of boxing-in, cut from one pile of lengths.
    fn timber(&self, sheet: &mut Sheet<'_>) -> Result<(), TakeoffError> {
        let room = sheet.room;
        let to_build = |framed: &&FramedFace| {
            let face = room.faces.iter().find(|face| face.surface.name() == framed.surface.name());
            face.and_then(|face| face.framing).is_some_and(|framing| !framing.standing_already)
        };
        let frames: Vec<&Studwork> =
            self.faces.iter().filter(to_build).filter_map(|framed| framed.studwork.as_ref()).collect();
        let longest_mm =
            frames.iter().flat_map(|frame| &frame.uprights).map(Upright::length_mm).max().unwrap_or(0);
        // Lengths are sold in steps of 300 mm.
        let usual_mm = sheet.settings.whole(Setting::TimberLength);
        let stock_mm = if longest_mm <= usual_mm { usual_mm } else { (longest_mm + 299) / 300 * 300 };
        let mut pieces: Vec<i64> = frames.iter().flat_map(|frame| frame.timber_lengths(stock_mm)).collect();
        for (boxing, _) in &room.boxing {
            let battens = boxing.battens_mm() / boxing.length_mm();
            for _ in 0..battens {
                let mut left_mm = boxing.length_mm();
                while left_mm > 0 {
                    pieces.push(left_mm.min(stock_mm));
                    left_mm -= stock_mm;
                }
            }
        }
        if pieces.is_empty() {
            return Ok(());
        }
        pieces.sort_unstable_by(|one, other| other.cmp(one));
        let usual = format!("stud 95x38x{stock_mm}");
        let item = room.item(&usual).to_owned();
        let lengths = lengths_to_buy(&item, &pieces, stock_mm)?;
        let used_mm: i64 = pieces.iter().sum();
        let uprights: usize = frames.iter().map(|frame| frame.uprights.len()).sum();
        let waste_mm = lengths * stock_mm - used_mm;
        let waste = percent(Decimal::from(waste_mm), Decimal::from(lengths * stock_mm))?;
        let working = format!(
            "{uprights} uprights and {} plates, noggins and other pieces, {} m, longest first out of {stock_mm} mm \
             lengths",
            pieces.len().saturating_sub(uprights),
            tidy(metres(used_mm)),
        );
        let work = room.stage("stud walls").to_owned();
        let line = ((work.as_str(), item.as_str(), "each"), Decimal::from(lengths), ("each", Decimal::ONE));
        sheet.lines.push(Line::new(line.0, line.1, line.2, waste, working)?);
        let area: i64 = self.faces.iter().filter(to_build).map(|framed| framed.surface.net_mm2()).sum();
        sheet.hours("stud walls", square_metres(area), "m2", Setting::StudMinutes)
    }

    /// Boards, screws, tape and beads.
    pub(super) fn boards(&self, sheet: &mut Sheet<'_>) -> Result<(), TakeoffError> {
        let room = sheet.room;
        let mut piles: BTreeMap<String, BoardPile> = BTreeMap::new();
        let (mut screws, mut joints_mm, mut beads_mm, mut boarded_mm2) = (0_i64, 0_i64, 0_i64, 0_i64);
        for framed in &self.faces {
            let face = room.faces.iter().find(|face| face.surface.name() == framed.surface.name());
            let (Some(face), Some(layout)) = (face, &framed.layout) else { continue };
            let Some(boarding) = &face.boarding else { continue };
            let sides = i64::from(boarding.sides);
            let pile = pile_of(&mut piles, boarding);
            for side in 0..boarding.sides {
                let name = face.surface.name();
                let of = if side == 0 { name.to_owned() } else { format!("{name}, other side") };
                pile.add(&of, fixings::outlines(layout));
            }
            pile.net_mm2 += sides * face.surface.net_mm2();
            boarded_mm2 += sides * face.surface.net_mm2();
            if let Some(studwork) = &framed.studwork {
                let centres = screw_centres(sheet, face.kind);
                screws += sides * fixings::screws(&face.surface, studwork, layout, centres, face.external);
            }
            joints_mm += sides * (fixings::joint_length_mm(&face.surface, layout) + angles_mm(face));
            let corners = i64::from(face.external.left) + i64::from(face.external.right);
            beads_mm += corners * face.surface.height_mm();
        }
        for (boxing, boarding) in &room.boxing {
            let pile = pile_of(&mut piles, boarding);
            pile.add(boxing.name(), boxing_pieces(boxing, boarding.size));
            pile.net_mm2 += boxing.area_mm2();
            beads_mm += boxing.external_corners_mm();
            // A screw along each batten, one face after the other.
            let spacing_mm = sheet.settings.whole(Setting::WallScrewCentres);
            let lines = i64::try_from(boxing.faces_mm().len() * 2).unwrap_or(6);
            screws += lines * fixings::screws_along(boxing.length_mm(), spacing_mm);
        }
        for (item, pile) in &piles {
            board_line(sheet, item, pile)?;
        }
        let screw_box = ("box", sheet.value(Setting::ScrewBox));
        let what = ("boarding", "drywall screw 38", "each");
        let working = format!("{screws} along the uprights at their centres");
        sheet.line_with_waste(what, Decimal::from(screws), Setting::ScrewWaste, screw_box, &working)?;
        let taped = room.faces.iter().any(|face| face.skimmed);
        if taped || joints_mm > 0 {
            let roll = ("roll", sheet.value(Setting::TapeRoll));
            let working = format!("{} m of joints and corners", tidy(metres(joints_mm)));
            let what = (if taped { "skim" } else { "boarding" }, "scrim tape", "m");
            sheet.line_with_waste(what, metres(joints_mm), Setting::TapeWaste, roll, &working)?;
        }
        let bead = ("length", metres(sheet.settings.whole(Setting::BeadLength)));
        let working = format!("{} m of external corners", tidy(metres(beads_mm)));
        let what = ("boarding", "corner bead", "m");
        sheet.line_with_waste(what, metres(beads_mm), Setting::BeadWaste, bead, &working)?;
        sheet.hours("boarding", square_metres(boarded_mm2), "m2", Setting::BoardMinutes)?;
        let boxed_mm: i64 = room.boxing.iter().map(|(boxing, _)| boxing.length_mm()).sum();
        sheet.hours("boarding", metres(boxed_mm), "m of boxing-in", Setting::BoxingMinutes)
    }
}

fn set_out(sheet: &mut Sheet<'_>, face: &Face) -> Result<Option<Studwork>, TakeoffError> {
    let Some(framing) = face.framing else { return Ok(None) };
    let usual = match face.kind {
        FaceKind::Wall => Setting::StudCentres,
        FaceKind::Ceiling | FaceKind::Floor => Setting::JoistCentres,
    };
    let centres_mm = framing.centres_mm.unwrap_or_else(|| sheet.settings.whole(usual));
    let timber_mm = sheet.settings.whole(Setting::TimberThickness);
    let studwork = Studwork::set_out(&face.surface, Frame { centres_mm, timber_mm, from: framing.from })?;
    let short: Vec<String> = studwork
        .short_bays(&face.surface)
        .iter()
        .map(|bay| format!("{} mm clear at {} to {}", bay.clear_mm, bay.from_mm, bay.to_mm))
        .collect();
    if !short.is_empty() {
        sheet.note(face.surface.name(), format!("bays that come short: {}", short.join("; ")));
    }
    Ok(Some(studwork))
}

fn board_up(
    sheet: &mut Sheet<'_>,
    face: &Face,
    studwork: Option<Studwork>,
) -> Result<(Option<Studwork>, Option<Layout>), TakeoffError> {
    let surface = &face.surface;
    let spacing_mm = sheet.settings.whole(Setting::NogginSpacing);
    let mut heights = match face.kind {
        FaceKind::Wall => Studwork::noggin_heights(surface, spacing_mm),
        FaceKind::Ceiling | FaceKind::Floor => Vec::new(),
    };
    let mut layout = None;
    if let Some(boarding) = &face.boarding {
        let rules = BoardRules {
            board: boarding.size,
            hang: boarding.hang,
            from: boarding.from,
            stagger_mm: sheet.settings.whole(Setting::JointStagger),
            narrowest_mm: sheet.settings.whole(Setting::NarrowestPiece),
            edge_mm: sheet.settings.whole(Setting::EdgeDistance),
        };
        let laid = lay(surface, studwork.as_ref().map_or(Background::Solid, Background::Uprights), rules)?;
        if let Some(studwork) = &studwork {
            say_landing(sheet, surface, studwork, rules);
            say_centres(sheet, face, boarding, studwork.frame.centres_mm);
        }
        if !laid.staggered {
            let says = "joints of neighbouring rows fall closer than they should; tape them well".to_owned();
            sheet.mind(surface.name(), says);
        }
        heights.extend(&laid.level_joints_mm);
        layout = Some(laid);
    }
    let studwork = studwork.map(|mut studwork| {
        studwork.add_noggins(surface, &heights);
        studwork
    });
    Ok((studwork, layout))
}

/// Says where uprights stand too far apart for their board.
fn say_centres(sheet: &mut Sheet<'_>, face: &Face, boarding: &Boarding, centres_mm: i64) {
    let (name, thick_mm) = (face.surface.name(), boarding.thick_mm);
    let overhead = face.kind == FaceKind::Ceiling;
    match widest_centres_mm(thick_mm, false) {
        None => {
            sheet.mind(name, format!("{thick_mm} mm is thinner than any board that uprights usually carry"))
        }
        Some(widest_mm) if centres_mm > widest_mm => {
            sheet.mind(
                name,
                format!("{thick_mm} mm board wants uprights at {widest_mm} mm or less, not {centres_mm}"),
            );
        }
        Some(_)
            if overhead
                && widest_centres_mm(thick_mm, true).is_some_and(|widest_mm| centres_mm > widest_mm) =>
        {
            sheet.mind(
                name,
                format!("joists at {centres_mm} mm want noggings between them; 450 mm go without"),
            );
        }
        Some(_) => {}
    }
}

fn say_landing(sheet: &mut Sheet<'_>, surface: &Surface, studwork: &Studwork, rules: BoardRules) {
    let found = landing::look(surface, studwork, rules);
    let end = found.from.word();
    if found.missed.is_empty() {
        if !found.landed_mm.is_empty() {
            sheet.note(surface.name(), format!("whole boards from the {end} all land on a stud"));
        }
        return;
    }
    let missed: Vec<String> = found
        .missed
        .iter()
        .map(|miss| format!("{} mm (stud at {}, {} off)", miss.edge_mm, miss.nearest_mm, miss.off_mm()))
        .collect();
    let remedies: Vec<String> = found.remedies.iter().map(ToString::to_string).collect();
    let says = format!(
        "whole boards from the {end} miss the studs at {}; {}. The boards here are cut to land",
        missed.join(", "),
        remedies.join("; or "),
    );
    sheet.mind(surface.name(), says);
}

fn pile_of<'a>(piles: &'a mut BTreeMap<String, BoardPile>, boarding: &Boarding) -> &'a mut BoardPile {
    let new = || BoardPile { size: boarding.size, pieces: Vec::new(), net_mm2: 0 };
    piles.entry(boarding.item.clone()).or_insert_with(new)
}

fn board_line(sheet: &mut Sheet<'_>, item: &str, pile: &BoardPile) -> Result<(), TakeoffError> {
    let outlines: Vec<Outline> = pile.pieces.iter().map(|piece| piece.outline).collect();
    let cut = cutting::plan(item, &outlines, pile.size)?;
    let at_least = cut.at_least;
    let bought_mm2 = i64::try_from(cut.count()).unwrap_or(i64::MAX).saturating_mul(pile.size.area_mm2());
    let waste = percent(square_metres(bought_mm2 - pile.net_mm2), square_metres(bought_mm2))?;
    let offcuts = match cut.offcuts_reused() {
        0 => "no offcut reused".to_owned(),
        1 => "1 offcut reused".to_owned(),
        reused => format!("{reused} offcuts reused"),
    };
    let working = format!(
        "{} pieces, {} m2 net, {offcuts}; no cutting of them needs fewer than {at_least}",
        pile.pieces.len(),
        tidy(square_metres(pile.net_mm2)),
    );
    let whole = Outline { along_mm: pile.size.length_mm(), across_mm: pile.size.width_mm() };
    let pieces_of =
        |board: &Vec<usize>| board.iter().filter_map(|at| pile.pieces.get(*at).cloned()).collect();
    let boards: Vec<Vec<CutPiece>> = cut.boards.iter().map(pieces_of).collect();
    let (full, boards): (Vec<_>, Vec<_>) =
        boards.into_iter().partition(|board| board.iter().all(|piece| piece.outline == whole));
    let room = sheet.room;
    let name = room.item(item).to_owned();
    sheet.cuttings.push(CuttingList { item: name, size: pile.size, boards, whole: full.len() });
    let line = (room.stage("boarding"), room.item(item), "each");
    sheet.lines.push(Line::new(line, decimal(cut.count()), ("each", Decimal::ONE), waste, working)?);
    Ok(())
}

fn screw_centres(sheet: &Sheet<'_>, kind: FaceKind) -> ScrewCentres {
    let whole = |setting| sheet.settings.whole(setting);
    let corner_mm = whole(Setting::CornerScrewCentres);
    match kind {
        FaceKind::Wall => {
            let field_mm = whole(Setting::WallScrewCentres);
            ScrewCentres { field_mm, ends_mm: field_mm, corner_mm }
        }
        FaceKind::Ceiling | FaceKind::Floor => ScrewCentres {
            field_mm: whole(Setting::CeilingScrewCentres),
            ends_mm: whole(Setting::CeilingEndScrewCentres),
            corner_mm,
        },
    }
}

/// Internal angles to tape: a wall's right-hand corner, and all round a ceiling.
fn angles_mm(face: &Face) -> i64 {
    match face.kind {
        FaceKind::Wall if face.external.right => 0,
        FaceKind::Wall => face.surface.height_mm(),
        FaceKind::Ceiling => 2 * (face.surface.length_mm() + face.surface.height_mm()),
        FaceKind::Floor => 0,
    }
}

/// The faces of boxing-in, in parts no longer and no wider than a board.
fn boxing_pieces(boxing: &BoxingIn, board: BoardSize) -> Vec<Outline> {
    let parts = |whole_mm: i64, most_mm: i64| {
        let count = (whole_mm + most_mm - 1) / most_mm.max(1);
        (0..count).map(move |part| (whole_mm - part * most_mm).min(most_mm)).collect::<Vec<i64>>()
    };
    let mut outlines = Vec::new();
    for face_mm in boxing.faces_mm() {
        for across_mm in parts(*face_mm, board.width_mm()) {
            let along = parts(boxing.length_mm(), board.length_mm());
            outlines.extend(along.into_iter().map(|along_mm| Outline { along_mm, across_mm }));
        }
    }
    outlines
}
