//! Crews of whole devices on invented machines, from a seed.
//!
//! Every node here is the real one: its ledger, its book, its store, its sessions, its commands. What is invented is
//! the world around it: disks that lose power, clocks that are wrong, links that break off, and people. All of it runs
//! on one thread, and a seed says all that is left to chance, so that whatever goes wrong goes wrong again.
//!
//! A seed ends with everybody meeting everybody, and the rules of [`checks`] must hold then; others must hold
//! all along. [`model`] says some of them a second time, without the code that is tried.

pub mod bills;
pub mod checks;
pub mod counted;
pub mod crew;
pub mod device;
pub mod dice;
mod images;
pub mod link;
pub mod machine;
pub mod mishaps;
pub mod model;
pub mod office;
pub mod papers;
pub mod putting_right;
pub mod seed;
mod steps;
pub mod work;
pub mod world;
