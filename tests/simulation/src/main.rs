//! Runs seeds, and makes what fails small.

use std::process::ExitCode;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Instant;

use clap::Parser;
use simulation::seed::{Plan, run, shrink};

/// Runs crews of whole devices on invented machines, from seeds.
#[derive(Debug, Parser)]
struct Wish {
    /// One seed, told line by line.
    #[arg(long)]
    seed: Option<u64>,
    /// Many seeds, from the first up to but without the last: 0..1000.
    #[arg(long, value_parser = span)]
    seeds: Option<(u64, u64)>,
    /// How many things happen in a seed.
    #[arg(long, default_value_t = 60)]
    steps: u64,
    /// Only these of the steps, as a failure names them: 3,17,42.
    #[arg(long, value_delimiter = ',')]
    only: Option<Vec<u64>>,
    /// How many devices join at the beginning, beside the laptop.
    #[arg(long)]
    devices: Option<u64>,
    /// How many seeds run at a time.
    #[arg(long, default_value_t = 2)]
    threads: u64,
    /// Tells of a failure as it is, without making it small.
    #[arg(long)]
    no_shrink: bool,
}

fn span(text: &str) -> Result<(u64, u64), String> {
    let ends = text.split_once("..").and_then(|(from, to)| Some((from.parse().ok()?, to.parse().ok()?)));
    ends.filter(|(from, to)| from < to)
        .ok_or_else(|| "give two numbers, the smaller first: 0..1000".to_owned())
}

impl Wish {
    fn plan(&self, seed: u64) -> Plan {
        let plan = Plan::new(seed, self.steps);
        Plan {
            seed,
            steps: self.only.clone().unwrap_or(plan.steps),
            devices: self.devices.unwrap_or(plan.devices),
        }
    }

    /// Tells of a failure, and how to see it again.
    fn tell_of(&self, plan: &Plan) {
        let Some(broken) = run(plan, false).broken else { return };
        println!("seed {}: {broken}", plan.seed);
        let least = if self.no_shrink { plan.clone() } else { shrink(plan, broken.rule) };
        let ran = run(&least, true);
        ran.told.iter().for_each(|line| println!("    {line}"));
        let only: Vec<String> = least.steps.iter().map(u64::to_string).collect();
        println!(
            "again: cargo run -p fivebar-simulation -- --seed {} --devices {} --only {}",
            least.seed,
            least.devices,
            only.join(",")
        );
    }
}

fn main() -> ExitCode {
    let wish = Wish::parse();
    // A panic is told with the seed that it came by.
    std::panic::set_hook(Box::new(|_| ()));
    let (from, to) = match (wish.seed, wish.seeds) {
        (Some(seed), _) => {
            let plan = wish.plan(seed);
            let ran = run(&plan, true);
            ran.told.iter().for_each(|line| println!("{line}"));
            println!("seed {seed}: {} events, trace {}", ran.events, ran.trace);
            if ran.broken.is_some() && wish.only.is_none() {
                wish.tell_of(&plan);
            }
            return if ran.broken.is_some() { ExitCode::FAILURE } else { ExitCode::SUCCESS };
        }
        (None, Some(span)) => span,
        (None, None) => (0, 1000),
    };
    let (begun, next, events) = (Instant::now(), AtomicU64::new(from), AtomicU64::new(0));
    let failed: Vec<Plan> = std::thread::scope(|scope| {
        let work = || {
            let mut failed = Vec::new();
            loop {
                let seed = next.fetch_add(1, Ordering::Relaxed);
                if seed >= to || failed.len() >= 3 {
                    return failed;
                }
                let plan = wish.plan(seed);
                let ran = run(&plan, false);
                events.fetch_add(ran.events, Ordering::Relaxed);
                if ran.broken.is_some() {
                    failed.push(plan);
                }
            }
        };
        let threads: Vec<_> = (0..wish.threads.max(1)).map(|_| scope.spawn(work)).collect();
        threads.into_iter().flat_map(|thread| thread.join().unwrap_or_default()).collect()
    });
    failed.iter().for_each(|plan| wish.tell_of(plan));
    let seconds = begun.elapsed().as_secs().max(1);
    println!(
        "seeds {from}..{to}, {} steps each: {} failed; {} seeds and {} events a second",
        wish.steps,
        failed.len(),
        (next.load(Ordering::Relaxed).min(to) - from) / seconds,
        events.load(Ordering::Relaxed) / seconds
    );
    if failed.is_empty() { ExitCode::SUCCESS } else { ExitCode::FAILURE }
}
