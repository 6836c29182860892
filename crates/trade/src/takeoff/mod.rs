//! Measuring up: from the sizes of a room to what it takes, in whole millimetres and exact decimals.
//!
//! [`room`] holds shapes that were checked once, [`studwork`], [`boards`] and the other modules work on
//! them, and each result is a [`Line`] that says how it was worked out. [`defaults`] is the one place
//! with figures that somebody may set otherwise. Nothing here knows prices, and nothing certifies: what
//! carries load, wires and hot water are for the local code, the maker and the licensed person.

pub mod boards;
pub mod costing;
pub mod defaults;
pub mod drawing;
mod error;
mod exact;
pub mod length;
mod line;
pub mod measure;
pub mod plan;
pub mod plaster;
pub mod reading;
pub mod room;
pub mod runs;
mod settings;
pub mod studwork;
mod svg;
pub mod tiles;
pub mod water;

pub use defaults::{Confidence, Fact, Setting, Settings};
pub use error::TakeoffError;
pub use length::read_length;
pub use line::{Line, Packs, whole_packs};
