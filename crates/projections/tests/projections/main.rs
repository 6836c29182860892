//! What people read, from events made by hand.

mod changes;
mod figures;
mod questions;
mod sets;
mod world;
