//! Feeds every decoder for a while with bent inputs, and writes down the one that breaks it.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::{Duration, Instant};

use clap::Parser;
use fuzz::corpus;
use fuzz::mutation::feed;
use fuzz::targets::{TARGETS, Target};

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
    /// Feeds nothing; writes what each target begins with into a folder of its name below this one, for another fuzzer.
    #[arg(long, value_name = "DIR")]
    corpus: Option<PathBuf>,
}

fn main() -> ExitCode {
    let wish = Wish::parse();
    let wanted: Vec<&(&str, Target)> =
        TARGETS.iter().filter(|(name, _)| wish.target.as_deref().is_none_or(|one| one == *name)).collect();
    if let Some(dir) = &wish.corpus {
        return match wanted.iter().try_for_each(|(name, _)| write_corpus(name, &dir.join(name))) {
            Ok(()) => ExitCode::SUCCESS,
            Err(error) => {
                eprintln!("{}: {error}", dir.display());
                ExitCode::FAILURE
            }
        };
    }
    let mut broken = false;
    for (name, target) in wanted {
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

/// Writes what a target begins with into a folder, a file each.
fn write_corpus(name: &str, dir: &Path) -> io::Result<()> {
    fs::create_dir_all(dir)?;
    let honest = corpus::of(name);
    honest
        .iter()
        .enumerate()
        .try_for_each(|(at, bytes)| fs::write(dir.join(format!("honest-{at:03}")), bytes))?;
    println!("{name}: {} inputs in {}", honest.len(), dir.display());
    Ok(())
}
