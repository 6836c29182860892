//! What people read, from events made by hand.

mod changes;
mod closing;
mod figures;
mod log;
mod plans;
mod questions;
mod sets;
mod world;
