//! Feeds every decoder for a while with bent inputs, and writes down the one that breaks it.

use std::process::ExitCode;
use std::time::{Duration, Instant};

use clap::Parser;
use fuzz::mutation::feed;
use fuzz::targets::TARGETS;

/// Inputs between two looks at the clock.
const AT_ONCE: u64 = 500;

/// Feeds decoders with bytes that nobody honest sends.
#[derive(Debug, Parser)]
struct Wish {
    /// One target only.
    #[arg(long)]
    target: Option<String>,
    /// Seconds for each target.
    #[arg(long, default_value_t = 60)]
    seconds: u64,
    /// What the inputs follow from.
    #[arg(long, default_value_t = 1)]
    seed: u64,
}

fn main() -> ExitCode {
    let wish = Wish::parse();
    let mut broken = false;
    for (name, target) in
        TARGETS.iter().filter(|(name, _)| wish.target.as_deref().is_none_or(|one| one == *name))
    {
        let (begun, mut inputs, mut found) = (Instant::now(), 0, None);
        while found.is_none() && begun.elapsed() < Duration::from_secs(wish.seconds) {
            found = feed(name, *target, wish.seed.wrapping_mul(1_000_003).wrapping_add(inputs), AT_ONCE);
            inputs += AT_ONCE;
        }
        match found {
            Some(bytes) => {
                broken = true;
                let hex: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
                println!("{name}: breaks on {} bytes: {hex}", bytes.len());
            }
            None => println!("{name}: {inputs} inputs"),
        }
    }
    if broken { ExitCode::FAILURE } else { ExitCode::SUCCESS }
}
