//! A seed, from its beginning to its end; and how a failure is made small.

use std::panic::{AssertUnwindSafe, catch_unwind};

use crate::dice::Dice;
use crate::model::Broken;
use crate::world::World;
use crate::{checks, crew, steps};

/// A panic is a failure like any other.
pub const NO_PANIC: &str = "nothing panics";

/// What is to be run.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Plan {
    /// The seed.
    pub seed: u64,
    /// The steps that happen, by their numbers. Each has dice of its own.
    pub steps: Vec<u64>,
    /// Devices that join at the beginning, beside the laptop.
    pub devices: u64,
}

impl Plan {
    /// A plan with all of its steps.
    #[must_use]
    pub fn new(seed: u64, steps: u64) -> Self {
        let devices = 1 + Dice::for_part(seed, u64::MAX - 1).below(4);
        Self { seed, steps: (0..steps).collect(), devices }
    }
}

/// What came of it.
#[derive(Debug, Clone)]
pub struct Ran {
    /// The hash of all that happened.
    pub trace: String,
    /// The rule that is broken, if one is.
    pub broken: Option<Broken>,
    /// What happened, line by line, if it was to be told.
    pub told: Vec<String>,
    /// How many events were held at the end by whoever held most.
    pub events: u64,
}

/// Runs a plan.
#[must_use]
pub fn run(plan: &Plan, is_told: bool) -> Ran {
    let mut world = World::new(is_told);
    let lived = catch_unwind(AssertUnwindSafe(|| live(&mut world, plan)));
    let broken = match lived {
        Ok(lived) => lived.err(),
        Err(panic) => {
            let said = panic.downcast_ref::<String>().map(String::as_str);
            let said = said.or_else(|| panic.downcast_ref::<&str>().copied()).unwrap_or("a panic");
            Some(Broken::new(NO_PANIC, said))
        }
    };
    if let Some(broken) = &broken {
        world.tell(|| broken.to_string());
    }
    let held = world.devices.iter().map(|device| device.promised.values().map(|tip| tip.0).sum());
    let events = held.max().unwrap_or_default();
    Ran { trace: world.trace(), broken, told: world.told.take().unwrap_or_default(), events }
}

fn live(world: &mut World, plan: &Plan) -> Result<(), Broken> {
    let mut dice = Dice::for_part(plan.seed, u64::MAX);
    crew::found(world, &mut dice)?;
    for device in 0..plan.devices {
        let person = crew::PEOPLE[usize::try_from(device + 1).unwrap_or_default() % crew::PEOPLE.len()].0;
        crew::admit(world, 0, person, person == "Maren Oake", &mut dice)?;
        // Most have the ledger before they are needed.
        if !dice.one_in(4) {
            world.let_talk(world.links.len().saturating_sub(1), 20_000, &mut dice)?;
        }
    }
    for step in &plan.steps {
        world.tell(|| format!("-- step {step}"));
        steps::happen(world, &mut Dice::for_part(plan.seed, *step))?;
    }
    world.tell(|| "-- everybody meets".to_owned());
    checks::check(world, &mut Dice::for_part(plan.seed, u64::MAX - 2))
}

/// The smallest plan that is found to break the same rule as this one.
#[must_use]
pub fn shrink(plan: &Plan, rule: &str) -> Plan {
    let breaks = |plan: &Plan| run(plan, false).broken.is_some_and(|broken| broken.rule == rule);
    let mut least = plan.clone();
    while least.devices > 0 {
        let fewer = Plan { devices: least.devices - 1, ..least.clone() };
        if !breaks(&fewer) {
            break;
        }
        least = fewer;
    }
    let mut piece = least.steps.len();
    while piece > 0 {
        let mut at = 0;
        while at < least.steps.len() {
            let mut fewer = least.clone();
            fewer.steps.drain(at..(at + piece).min(fewer.steps.len()));
            if breaks(&fewer) {
                least = fewer;
            } else {
                at += piece;
            }
        }
        piece /= 2;
    }
    least
}
