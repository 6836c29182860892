//! What people read, from events made by hand.

mod changes;
mod figures;
mod log;
mod questions;
mod sets;
mod world;
