//! A drawing of a face's studs and boards, dimensioned, for a sheet of A4 on the wall of the room.
//!
//! Pencil is timber, hatching is an opening, the chalk line is where boards meet. Studs are marked by their
//! centres as the tape shows them from the end it is pulled from, so nobody adds up.

use super::boards::Hang;
use super::measure::FramedFace;
use super::plan::FaceKind;
use super::room::Rectangle;
use super::studwork::{End, UprightRole};
use super::svg::{Anchor, Sheet, Stroke};

/// A4 across, less what printers leave, in tenths of a millimetre.
const PAPER: (i64, i64) = (2_770, 1_900);

/// What is kept around the face for marks and words: left, top, right, bottom.
const MARGIN: (i64, i64, i64, i64) = (220, 330, 160, 330);

/// Millimetres of the face on the paper.
struct Scale {
    /// Tenths of a millimetre of paper for `of_mm` of face.
    paper: i64,
    of_mm: i64,
    left: i64,
    foot: i64,
}

impl Scale {
    fn along(&self, length_mm: i64) -> i64 {
        length_mm * self.paper / self.of_mm
    }

    fn x(&self, from_left_mm: i64) -> i64 {
        self.left + self.along(from_left_mm)
    }

    fn y(&self, from_foot_mm: i64) -> i64 {
        self.foot - self.along(from_foot_mm)
    }

    /// Upper left corner and size on the paper.
    fn place(&self, area: &Rectangle) -> ((i64, i64), (i64, i64)) {
        let (left, top) = (self.x(area.left_mm), self.y(area.top_mm()));
        ((left, top), (self.x(area.right_mm()) - left, self.y(area.bottom_mm) - top))
    }
}

/// Draws a face as an SVG.
#[must_use]
pub fn draw(room: &str, face: &FramedFace) -> String {
    let (length_mm, height_mm) = (face.surface.length_mm(), face.surface.height_mm());
    let room_for = (PAPER.0 - MARGIN.0 - MARGIN.2, PAPER.1 - MARGIN.1 - MARGIN.3);
    // The larger of the two ratios fits both ways.
    let by_length = room_for.0 * height_mm <= room_for.1 * length_mm;
    let (paper, of_mm) = if by_length { (room_for.0, length_mm) } else { (room_for.1, height_mm) };
    let left = MARGIN.0 + (room_for.0 - length_mm * paper / of_mm) / 2;
    let scale = Scale { paper, of_mm, left, foot: MARGIN.1 + height_mm * paper / of_mm };
    let mut sheet = Sheet::new(PAPER.0, scale.foot + MARGIN.3);
    let title = format!("{room}: {}", face.surface.name());
    words(&mut sheet, &title, face);
    frame(&mut sheet, &scale, face);
    openings(&mut sheet, &scale, face);
    boards(&mut sheet, &scale, face);
    sheet.rectangle(
        (scale.x(0), scale.y(height_mm)),
        (scale.along(length_mm), scale.along(height_mm)),
        "pencil",
    );
    stud_marks(&mut sheet, &scale, face);
    joint_marks(&mut sheet, &scale, face);
    level_marks(&mut sheet, &scale, face);
    sheet.finish(&format!("{title}, {length_mm} by {height_mm} mm"))
}

fn words(sheet: &mut Sheet, title: &str, face: &FramedFace) {
    sheet.text((60, 90), Anchor::Start, "title", false, title);
    let seen = match face.kind {
        FaceKind::Wall => "seen from the room",
        FaceKind::Ceiling => "seen from below, on plan",
        FaceKind::Floor => "seen from above, on plan",
    };
    let mut parts = vec![format!("{} x {} mm, {seen}", face.surface.length_mm(), face.surface.height_mm())];
    if let Some(studwork) = &face.studwork {
        let (centres_mm, end) = (studwork.frame.centres_mm, studwork.frame.from.word());
        parts.push(format!("uprights at {centres_mm} from the {end}"));
    }
    if let Some(layout) = &face.layout {
        let hang = match layout.rules.hang {
            Hang::Standing => "standing",
            Hang::Lying => "lying",
        };
        parts.push(format!("{} {hang}, begun at the {}", face.board, layout.rules.from.word()));
    }
    sheet.text((60, 145), Anchor::Start, "soft", false, &parts.join("; "));
}

fn frame(sheet: &mut Sheet, scale: &Scale, face: &FramedFace) {
    let Some(studwork) = &face.studwork else { return };
    let timber_mm = studwork.frame.timber_mm;
    for rail in &studwork.rails {
        let area = Rectangle {
            left_mm: rail.left_mm,
            bottom_mm: rail.bottom_mm,
            width_mm: rail.length_mm(),
            height_mm: timber_mm,
        };
        let (corner, size) = scale.place(&area);
        sheet.rectangle(corner, size, "wood");
    }
    for upright in &studwork.uprights {
        let area = Rectangle {
            left_mm: upright.left_mm,
            bottom_mm: upright.bottom_mm,
            width_mm: upright.width_mm,
            height_mm: upright.length_mm(),
        };
        let (corner, size) = scale.place(&area);
        sheet.rectangle(corner, size, "wood");
    }
}

fn openings(sheet: &mut Sheet, scale: &Scale, face: &FramedFace) {
    for opening in face.surface.openings() {
        let (corner, size) = scale.place(&opening.clear);
        sheet.rectangle(corner, size, "hatch");
        sheet.rectangle(corner, size, "fine");
        let middle = (corner.0 + size.0 / 2, corner.1 + size.1 / 2);
        sheet.text(middle, Anchor::Middle, "", false, &opening.name);
        let clear = opening.clear;
        let measures = format!("{} x {}", clear.width_mm, clear.height_mm);
        sheet.text((middle.0, middle.1 + 34), Anchor::Middle, "small", false, &measures);
        let place = format!("{} from left, {} up", clear.left_mm, clear.bottom_mm);
        sheet.text((middle.0, middle.1 + 64), Anchor::Middle, "small", false, &place);
    }
}

/// Board outlines as chalk lines, and each piece's number and size in it.
fn boards(sheet: &mut Sheet, scale: &Scale, face: &FramedFace) {
    let Some(layout) = &face.layout else { return };
    for (at, piece) in layout.pieces.iter().enumerate() {
        let outer = &piece.outer;
        let (corner, size) = scale.place(outer);
        let (right, foot) = (corner.0 + size.0, corner.1 + size.1);
        // Only where another board follows: the outline of the wall is pencil.
        if outer.right_mm() < face.surface.length_mm() {
            plumb_chalk(sheet, scale, face, outer, outer.right_mm());
        }
        if outer.bottom_mm > 0 {
            sheet.line((corner.0, foot), (right, foot), Stroke::Chalk);
        }
        let label = (corner.0 + 14, foot - 40);
        sheet.text(label, Anchor::Start, "blue", false, &format!("{}", at + 1));
        let measures = format!("{} x {}", outer.height_mm, outer.width_mm);
        let beside = (corner.0 + 14 + 40, foot - 40);
        sheet.text(beside, Anchor::Start, "small blue", false, &measures);
    }
}

/// A plumb joint, left out where an opening is.
fn plumb_chalk(sheet: &mut Sheet, scale: &Scale, face: &FramedFace, outer: &Rectangle, at_mm: i64) {
    let mut from_mm = outer.bottom_mm;
    let in_the_way = face.surface.openings().iter().map(|opening| opening.clear);
    let mut gaps: Vec<(i64, i64)> = in_the_way
        .filter(|clear| clear.left_mm <= at_mm && at_mm <= clear.right_mm())
        .map(|clear| (clear.bottom_mm, clear.top_mm()))
        .collect();
    gaps.sort_unstable();
    let mut strokes = Vec::new();
    for (bottom_mm, top_mm) in gaps {
        strokes.push((from_mm, bottom_mm.min(outer.top_mm())));
        from_mm = from_mm.max(top_mm);
    }
    strokes.push((from_mm, outer.top_mm()));
    for (low_mm, high_mm) in strokes.into_iter().filter(|(low_mm, high_mm)| low_mm < high_mm) {
        sheet.line((scale.x(at_mm), scale.y(low_mm)), (scale.x(at_mm), scale.y(high_mm)), Stroke::Chalk);
    }
}

/// The centres of the studs below the face, as the tape shows them.
fn stud_marks(sheet: &mut Sheet, scale: &Scale, face: &FramedFace) {
    let Some(studwork) = &face.studwork else { return };
    let from = studwork.frame.from;
    let (tick, text) = (scale.foot + 24, scale.foot + 36);
    let mut last_x = i64::MIN;
    for upright in &studwork.uprights {
        // Short ones over and under one opening share their mark, and so do two that stand together.
        let x = scale.x(upright.centre_mm());
        let skipped = x < last_x.saturating_add(22) || upright.role == UprightRole::OpeningOuter;
        sheet.line((x, scale.foot), (x, tick), Stroke::Fine);
        if skipped {
            continue;
        }
        last_x = x;
        let mark_mm = match from {
            End::Left => upright.centre_mm(),
            End::Right => face.surface.length_mm() - upright.centre_mm(),
        };
        sheet.text((x + 9, text), Anchor::End, "small", true, &mark_mm.to_string());
    }
    let words = format!("stud centres from the {} end", from.word());
    let y = scale.foot + 190;
    match from {
        End::Left => {
            sheet.text((scale.x(0), y), Anchor::Start, "soft", false, &format!("{words} \u{2192}"));
        }
        End::Right => {
            let right = scale.x(face.surface.length_mm());
            sheet.text((right, y), Anchor::End, "soft", false, &format!("\u{2190} {words}"));
        }
    }
}

/// Where boards meet, above the face, from its left end.
fn joint_marks(sheet: &mut Sheet, scale: &Scale, face: &FramedFace) {
    let Some(layout) = &face.layout else { return };
    let length_mm = face.surface.length_mm();
    let mut joints: Vec<i64> = layout.pieces.iter().map(|piece| piece.outer.right_mm()).collect();
    joints.extend([0, length_mm]);
    joints.retain(|at| (0..=length_mm).contains(at));
    joints.sort_unstable();
    joints.dedup();
    let top = scale.y(face.surface.height_mm());
    let y = top - 50;
    sheet.line((scale.x(0), y), (scale.x(length_mm), y), Stroke::Fine);
    for at_mm in &joints {
        let x = scale.x(*at_mm);
        sheet.line((x, y - 14), (x, y + 14), Stroke::Fine);
    }
    for (from_mm, to_mm) in joints.iter().zip(joints.iter().skip(1)) {
        let (from, to) = (scale.x(*from_mm), scale.x(*to_mm));
        let text = (to_mm - from_mm).to_string();
        let narrow = to - from < 80;
        let place = if narrow { ((from + to) / 2 + 9, y - 20) } else { ((from + to) / 2, y - 14) };
        let anchor = if narrow { Anchor::Start } else { Anchor::Middle };
        sheet.text(place, anchor, "small blue", narrow, &text);
    }
}

/// The height at the left, and the heights at which boards meet or noggins stand at the right.
fn level_marks(sheet: &mut Sheet, scale: &Scale, face: &FramedFace) {
    let height_mm = face.surface.height_mm();
    let x = scale.x(0) - 60;
    sheet.line((x, scale.y(0)), (x, scale.y(height_mm)), Stroke::Fine);
    for at_mm in [0, height_mm] {
        sheet.line((x - 14, scale.y(at_mm)), (x + 14, scale.y(at_mm)), Stroke::Fine);
    }
    let middle = scale.y(height_mm / 2);
    sheet.text((x - 20, middle), Anchor::Middle, "", true, &height_mm.to_string());
    let mut levels: Vec<i64> =
        face.layout.as_ref().map_or_else(Vec::new, |layout| layout.level_joints_mm.clone());
    if let Some(studwork) = &face.studwork {
        let noggins = studwork.rails.iter().filter(|rail| rail.role == super::studwork::RailRole::Noggin);
        levels.extend(noggins.map(|rail| rail.bottom_mm + studwork.frame.timber_mm / 2));
    }
    levels.sort_unstable();
    levels.dedup();
    let right = scale.x(face.surface.length_mm());
    let mut last_y = i64::MAX;
    for at_mm in levels {
        let y = scale.y(at_mm);
        sheet.line((right, y), (right + 24, y), Stroke::Fine);
        if y < last_y.saturating_sub(30) {
            sheet.text((right + 34, y + 9), Anchor::Start, "small", false, &at_mm.to_string());
            last_y = y;
        }
    }
}
