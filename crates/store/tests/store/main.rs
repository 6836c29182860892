//! The store as its callers see it, on disks that work and on disks that don't.

mod basics;
mod checkpoints;
mod crash;
mod damage;
mod failing;
mod index;
mod reading;
mod support;
