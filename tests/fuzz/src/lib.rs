//! Every decoder, fed with bytes that nobody honest sends.
//!
//! A target takes any bytes and must come back: no panic, no abort, no memory that grows with what the bytes only
//! claim. What a target takes for good must be what a writer would have written. [`targets`] can be driven by any
//! fuzzer; [`mutation`] is a plain one that needs nothing but a seed, and [`corpus`] is what it begins with.

pub mod corpus;
pub mod mutation;
pub mod peer;
pub mod targets;
