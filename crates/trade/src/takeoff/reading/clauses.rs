//! What is to be done to a wall, ceiling or floor: one clause at a time.

use super::super::boards::fixings::ExternalCorners;
use super::super::boards::{BoardSize, Hang};
use super::super::defaults::{Setting, Settings};
use super::super::length::read_length;
use super::super::plan::{Boarding, Face, Framing, Tiling};
use super::super::studwork::End;
use super::super::tiles::{Pattern, Tile, TiledBackground};
use super::{number_between, read_decimal};

const CLAUSES: &str = "studs, joists, battens, board, bonding, prime, skim, tank, tile, paint, external";

pub(super) fn face_clause(face: &mut Face, clause: &str, settings: &Settings) -> Result<(), String> {
    let (word, rest) = clause.split_once(' ').unwrap_or((clause, ""));
    let rest = rest.trim();
    match word.to_lowercase().as_str() {
        "studs" | "joists" | "battens" => face.framing = Some(framing_of(rest)?),
        "board" | "boards" => face.boarding = Some(boarding_of(rest, settings)?),
        "bonding" => {
            let usual = settings.value(Setting::BondingThickness);
            let thick = if rest.is_empty() {
                usual
            } else {
                read_decimal(rest.trim_end_matches("mm"))
                    .map_err(|()| format!("{rest:?} is no thickness; say bonding 8"))?
            };
            face.bonding_mm = Some(thick);
        }
        "prime" => face.primed = no_more(word, rest)?,
        "skim" => face.skimmed = no_more(word, rest)?,
        "tank" => face.tanked = no_more(word, rest)?,
        "tile" | "tiles" => face.tiling = Some(tiling_of(rest)?),
        "paint" => {
            let coats = rest.trim_end_matches("coats").trim_end_matches("coat").trim();
            let usual = u32::try_from(settings.whole(Setting::PaintCoats)).unwrap_or(2);
            let coats = if coats.is_empty() { usual } else { number_between(coats, "paint", 1, 6)? };
            face.paint_coats = Some(coats);
        }
        "external" => {
            face.external = match rest.trim_start_matches("corner").trim() {
                "left" => ExternalCorners { left: true, right: false },
                "right" => ExternalCorners { left: false, right: true },
                "both" => ExternalCorners { left: true, right: true },
                _ => return Err(format!("{clause:?}: say external left, right or both")),
            };
        }
        _ => return Err(format!("{clause:?} is not known; say {CLAUSES}")),
    }
    Ok(())
}

fn no_more(word: &str, rest: &str) -> Result<bool, String> {
    if rest.is_empty() {
        Ok(true)
    } else {
        Err(format!("{rest:?} behind {word} is not known; say {word} alone"))
    }
}

/// `4200 x 2400`.
pub(super) fn pair_of_lengths(text: &str) -> Result<(i64, i64), String> {
    let (one, other) = text
        .split_once(['x', '×'])
        .ok_or_else(|| format!("{text:?} is no size; write it like 4200 x 2400"))?;
    let read = |part: &str| read_length(part).map_err(|error| error.to_string());
    Ok((read(one)?, read(other)?))
}

fn end_of(word: &str) -> Result<End, String> {
    match word {
        "left" => Ok(End::Left),
        "right" => Ok(End::Right),
        _ => Err(format!("{word:?} is no end; say from left or from right")),
    }
}

/// `600 from left already`.
fn framing_of(text: &str) -> Result<Framing, String> {
    let mut framing = Framing::default();
    let mut words = text.split_whitespace();
    while let Some(word) = words.next() {
        match word {
            "at" | "centres" => {}
            "from" => framing.from = end_of(words.next().unwrap_or_default())?,
            "already" => framing.standing_already = true,
            centres => match centres.parse::<i64>() {
                // Nought and less are refused where the studs are set out, which says what may be given.
                Ok(centres_mm) => framing.centres_mm = Some(centres_mm),
                Err(_) => {
                    let length_mm = read_length(centres).map_err(|error| error.to_string())?;
                    framing.centres_mm = Some(length_mm);
                }
            },
        }
    }
    Ok(framing)
}

/// The board's words, of which one may be its size, and how it hangs.
pub(super) fn boarding_of(text: &str, settings: &Settings) -> Result<Boarding, String> {
    let whole = |setting| settings.whole(setting);
    let mut size_mm = (whole(Setting::BoardLength), whole(Setting::BoardWidth));
    let mut thick_mm = settings.value(Setting::BoardThickness).normalize();
    let (mut hang, mut from, mut sides, mut item) = (Hang::Standing, End::Left, 1, Vec::new());
    let mut words = text.split_whitespace();
    while let Some(word) = words.next() {
        match word {
            "standing" => hang = Hang::Standing,
            "lying" => hang = Hang::Lying,
            "both" => sides = 2,
            "side" | "sides" => {}
            "from" => from = end_of(words.next().unwrap_or_default())?,
            other => {
                if let Some(found) = sizes_of(other)? {
                    size_mm = found;
                    if let Some(thick) = other.split('x').nth(2) {
                        thick_mm = read_decimal(thick)
                            .map_err(|()| format!("{thick:?} is no thickness; say 2400x1200x12.5"))?;
                    }
                }
                item.push(other);
            }
        }
    }
    let size = BoardSize::new(size_mm.0, size_mm.1).map_err(|error| error.to_string())?;
    let named = |what: &str| format!("{what} {}x{}x{thick_mm}", size.length_mm(), size.width_mm());
    // A board said without its size goes by the usual one.
    let item = match item.join(" ") {
        item if item.is_empty() => named("plasterboard"),
        item if item.contains(|letter: char| letter.is_ascii_digit()) => item,
        item => named(&item),
    };
    Ok(Boarding { item, size, thick_mm, hang, from, sides })
}

/// The first two of `2400x1200x12.5`; nothing for a word that is no size.
fn sizes_of(word: &str) -> Result<Option<(i64, i64)>, String> {
    let looks_like_one = word.starts_with(|letter: char| letter.is_ascii_digit()) && word.contains('x');
    if !looks_like_one {
        return Ok(None);
    }
    let parts: Vec<&str> = word.split('x').collect();
    let [one, other, ..] = parts.as_slice() else { return Ok(None) };
    let read = |part: &str| read_length(part).map_err(|error| error.to_string());
    Ok(Some((read(one)?, read(other)?)))
}

/// `wall tile 300x600x9 joint 2 brick to 2100 weight 16 on plasterboard box 1.44`.
fn tiling_of(text: &str) -> Result<Tiling, String> {
    // The background may have several words, so it is what follows the last ` on `.
    let (text, on) = match text.rsplit_once(" on ") {
        Some((before, kind)) => {
            let found = TiledBackground::ALL.into_iter().find(|known| known.word() == kind.trim());
            let all = TiledBackground::ALL.map(TiledBackground::word).join(", ");
            (before, Some(found.ok_or_else(|| format!("{kind:?} is no background; say on {all}"))?))
        }
        None => (text, None),
    };
    let (mut size, mut joint_mm, mut thick_mm, mut item) = (None, None, 9, Vec::new());
    let (mut pattern, mut up_to_mm, mut weight, mut box_m2) = (Pattern::Straight, None, None, None);
    let mut words = text.split_whitespace();
    while let Some(word) = words.next() {
        let mut next = || words.next().unwrap_or_default();
        let length = |said: &str| read_length(said).map_err(|error| error.to_string());
        match word {
            "joint" => joint_mm = Some(length(next())?),
            "to" => up_to_mm = Some(length(next())?),
            "straight" => pattern = Pattern::Straight,
            "brick" => pattern = Pattern::Brick,
            "third" => pattern = Pattern::Third,
            "diagonal" => pattern = Pattern::Diagonal,
            "weight" => {
                let said = next();
                weight = Some(
                    read_decimal(said)
                        .map_err(|()| format!("{said:?} is no weight; say weight 16 (kg/m2)"))?,
                );
            }
            "box" => {
                let said = next();
                box_m2 =
                    Some(read_decimal(said).map_err(|()| format!("{said:?} is no box; say box 1.44 (m2)"))?);
            }
            other => {
                if let Some(found) = sizes_of(other)? {
                    size = Some(found);
                    if let Some(thick) = other.split('x').nth(2) {
                        thick_mm = length(thick)?;
                    }
                }
                item.push(other);
            }
        }
    }
    let (along_mm, up_mm) = size.ok_or_else(|| "say the tile's size: tile wall tile 300x600".to_owned())?;
    let least_mm =
        Tile::new(along_mm, up_mm, thick_mm, 2).map_err(|error| error.to_string())?.least_joint_mm();
    let joint_mm = joint_mm.or(least_mm).unwrap_or(3);
    let tile = Tile::new(along_mm, up_mm, thick_mm, joint_mm).map_err(|error| error.to_string())?;
    let named = item.iter().any(|word| word.chars().all(char::is_alphabetic));
    let item = if named { item.join(" ") } else { format!("tile {along_mm}x{up_mm}") };
    Ok(Tiling { item, tile, pattern, up_to_mm, weight_kg_per_m2: weight, on, box_m2 })
}
