//! A measured room: its shapes and what is to be done to each, before anything is worked out.

use std::collections::BTreeMap;

use rust_decimal::Decimal;

use super::boards::fixings::ExternalCorners;
use super::boards::{BoardSize, Hang};
use super::room::{BoxingIn, Surface};
use super::runs::Run;
use super::studwork::End;
use super::tiles::{Pattern, Tile, TiledBackground};

/// What kind of surface a face is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum FaceKind {
    /// Plumb.
    Wall,
    /// Overhead; its joists run "up" the plan.
    Ceiling,
    /// Underfoot.
    Floor,
}

/// Uprights to set out. What is not said follows the settings.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Framing {
    /// From centre to centre.
    pub centres_mm: Option<i64>,
    /// The end from which the tape is pulled.
    pub from: End,
    /// They stand already, so that only the boards meet them.
    pub standing_already: bool,
}

/// Boards to hang.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Boarding {
    /// The board, as the price book names it.
    pub item: String,
    /// Its size.
    pub size: BoardSize,
    /// How thick it is, in mm.
    pub thick_mm: Decimal,
    /// Which way it runs.
    pub hang: Hang,
    /// The end at which the first goes up.
    pub from: End,
    /// One side, or both.
    pub sides: u32,
}

/// Tiles to fix.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tiling {
    /// The tile, as the price book names it.
    pub item: String,
    /// Its size.
    pub tile: Tile,
    /// How it is laid.
    pub pattern: Pattern,
    /// How far up, if not to the top.
    pub up_to_mm: Option<i64>,
    /// What a square metre of it weighs, in kg, if somebody weighed it.
    pub weight_kg_per_m2: Option<Decimal>,
    /// What it is fixed to, if that was said.
    pub on: Option<TiledBackground>,
    /// Square metres in a box.
    pub box_m2: Option<Decimal>,
}

/// A surface and what is to be done to it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Face {
    /// Wall, ceiling or floor.
    pub kind: FaceKind,
    /// Its shape.
    pub surface: Surface,
    /// Uprights.
    pub framing: Option<Framing>,
    /// Boards.
    pub boarding: Option<Boarding>,
    /// Ends that stick out into the room.
    pub external: ExternalCorners,
    /// A bonding or backing coat of this thickness.
    pub bonding_mm: Option<Decimal>,
    /// A primer before plaster.
    pub primed: bool,
    /// A finish coat.
    pub skimmed: bool,
    /// Tanking under the tiles.
    pub tanked: bool,
    /// Tiles.
    pub tiling: Option<Tiling>,
    /// Coats of paint.
    pub paint_coats: Option<u32>,
}

/// A run of pipe.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PipeRun {
    /// Where it goes.
    pub run: Run,
    /// The pipe, as the price book names it.
    pub item: String,
    /// Tees in it.
    pub tees: u32,
    /// Valves in it.
    pub valves: u32,
}

/// A run of cable.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CableRun {
    /// Where it goes.
    pub run: Run,
    /// The cable's size in mm².
    pub size_mm2: Decimal,
    /// What it carries, in amperes.
    pub amperes: Decimal,
    /// For lights, which may lose less.
    pub lighting: bool,
}

/// A cylinder and what is drawn from it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cylinder {
    /// What it holds.
    pub litres: Decimal,
    /// How hot.
    pub stored_celsius: Decimal,
    /// What comes out of the shower.
    pub mixed_celsius: Decimal,
    /// What comes in.
    pub cold_celsius: Decimal,
    /// What heats it.
    pub power_kw: Decimal,
}

/// A room as it was measured.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Room {
    /// What it is called.
    pub name: String,
    /// How many lay on plaster together.
    pub people: Option<u32>,
    /// Walls, ceilings and floors.
    pub faces: Vec<Face>,
    /// Boxing-in, and the board for it.
    pub boxing: Vec<(BoxingIn, Boarding)>,
    /// Pipes.
    pub pipes: Vec<PipeRun>,
    /// Cables.
    pub cables: Vec<CableRun>,
    /// Cylinders.
    pub cylinders: Vec<Cylinder>,
    /// What the crew's price book calls an item that goes by another name here.
    pub items: BTreeMap<String, String>,
    /// The stage of the job that a work belongs to, where it is called otherwise.
    pub stages: BTreeMap<String, String>,
}

impl Room {
    /// The price book's name of an item.
    #[must_use]
    pub fn item<'a>(&'a self, usual: &'a str) -> &'a str {
        self.items.get(usual).map_or(usual, String::as_str)
    }

    /// The stage of a work.
    #[must_use]
    pub fn stage<'a>(&'a self, work: &'a str) -> &'a str {
        self.stages.get(work).map_or(work, String::as_str)
    }
}

impl Face {
    /// A face to which nothing is done yet.
    #[must_use]
    pub fn new(kind: FaceKind, surface: Surface) -> Self {
        Self {
            kind,
            surface,
            framing: None,
            boarding: None,
            external: ExternalCorners::default(),
            bonding_mm: None,
            primed: false,
            skimmed: false,
            tanked: false,
            tiling: None,
            paint_coats: None,
        }
    }

    /// One, or two where both sides are boarded.
    #[must_use]
    pub fn sides(&self) -> u32 {
        self.boarding.as_ref().map_or(1, |boarding| boarding.sides)
    }
}
