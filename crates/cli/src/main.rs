//! The `fivebar` program.
fn main() {}
