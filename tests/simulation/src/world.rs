//! The world: devices, the links between them, the time, and a trace of all that happens.

use std::sync::Arc;
use std::sync::atomic::{AtomicI64, Ordering};

use daemon::{Node, NodeError};
use store::{FaultPlan, FaultyDisk, Survival};

use crate::device::Device;
use crate::dice::Dice;
use crate::link::{Did, Link};
use crate::machine::InventedMachine;
use crate::model::{Broken, Model};

/// When every world begins: 6 July 2026, 07:00 UTC.
const BEGINNING_MS: i64 = 1_783_321_200_000;
/// Most steps of one link at a time.
const STEPS_AT_ONCE: u64 = 60;

/// What a device has promised, it keeps: what it acknowledged is there when it is switched on again.
pub const ACKNOWLEDGED_SURVIVES: &str = "every acknowledged entry survives";
/// A device that lost its power opens again.
pub const OPENS_AGAIN: &str = "a device opens again";

/// A world.
pub struct World {
    /// The devices; one that is gone keeps its place.
    pub devices: Vec<Device>,
    /// The links.
    pub links: Vec<Link>,
    /// All that was ever written.
    pub model: Model,
    /// What happened, line by line; kept only when somebody will read it.
    pub told: Option<Vec<String>>,
    world_ms: Arc<AtomicI64>,
    trace: blake3::Hasher,
    machines: u64,
}

impl World {
    /// An empty world.
    #[must_use]
    pub fn new(is_told: bool) -> Self {
        Self {
            devices: Vec::new(),
            links: Vec::new(),
            model: Model::default(),
            told: is_told.then(Vec::new),
            world_ms: Arc::new(AtomicI64::new(BEGINNING_MS)),
            trace: blake3::Hasher::new(),
            machines: 0,
        }
    }

    /// Adds a line to the trace.
    pub fn tell(&mut self, line: impl FnOnce() -> String) {
        let line = line();
        self.trace.update(line.as_bytes());
        self.trace.update(b"\n");
        if let Some(told) = &mut self.told {
            told.push(line);
        }
    }

    /// The hash of the trace.
    #[must_use]
    pub fn trace(&self) -> String {
        self.trace.finalize().to_hex().to_string()
    }

    /// The time goes on.
    pub fn pass(&mut self, ms: i64) {
        self.world_ms.fetch_add(ms, Ordering::Relaxed);
    }

    /// A new machine with this disk.
    pub fn machine(&mut self, name: &str, disk: FaultyDisk, dice: &mut Dice) -> Arc<InventedMachine> {
        self.machines += 1;
        let dice = Dice::new(dice.throw());
        Arc::new(InventedMachine::new(name, disk, self.machines, &self.world_ms, dice))
    }

    /// The places of the devices that a test holds of.
    #[must_use]
    pub fn places(&self, wanted: impl Fn(&Device) -> bool) -> Vec<usize> {
        (0..self.devices.len()).filter(|place| wanted(&self.devices[*place])).collect()
    }

    /// Uses a device's node and looks at what it holds then; none while it is switched off. `what` is told with how
    /// it came out.
    ///
    /// # Errors
    /// A rule that is broken.
    pub fn use_node<T>(
        &mut self,
        place: usize,
        what: &str,
        dice: &mut Dice,
        work: impl FnOnce(&mut Node) -> Result<T, NodeError>,
    ) -> Result<Option<T>, Broken> {
        let Some(done) = self.devices[place].with(work) else { return Ok(None) };
        let name = self.devices[place].name.clone();
        self.tell(|| match &done {
            Ok(_) => format!("{name}: {what}"),
            Err(error) => format!("{name}: {what}: {}", one_line(&error.to_string())),
        });
        self.look_after(place, dice)?;
        Ok(done.ok())
    }

    /// What has to be done after a node was used: a machine without power goes off; what it holds is written down;
    /// its links are told.
    ///
    /// # Errors
    /// A rule that is broken.
    pub fn look_after(&mut self, place: usize, dice: &mut Dice) -> Result<(), Broken> {
        if !self.devices[place].machine.disk().has_power() {
            let survival = survival(dice);
            self.lose_power(place, survival, dice);
            return Ok(());
        }
        let Self { devices, model, links, .. } = self;
        let device = &mut devices[place];
        let before =
            device.promised.len() + device.promised.values().map(|tip| tip.0 as usize).sum::<usize>();
        if let Some(observed) = device.with(|node| model.observe(node, &device.promised)) {
            observed?;
        }
        device.note_promises();
        let after = device.promised.len() + device.promised.values().map(|tip| tip.0 as usize).sum::<usize>();
        if before != after {
            links.iter_mut().for_each(|link| link.ring(place));
        }
        Ok(())
    }

    /// The power of a device goes.
    pub fn lose_power(&mut self, place: usize, survival: Survival, dice: &mut Dice) {
        let name = self.devices[place].name.clone();
        self.tell(|| format!("{name} loses its power: {survival:?}"));
        self.links.retain(|link| !link.has(place));
        self.devices[place].lose_power(survival, Dice::new(dice.throw()));
    }

    /// A device is switched off in order.
    ///
    /// # Errors
    /// A rule that is broken.
    pub fn switch_off(&mut self, place: usize, dice: &mut Dice) -> Result<(), Broken> {
        let mut cut = Vec::new();
        while let Some(at) = self.links.iter().position(|link| link.has(place)) {
            cut.push(self.links.swap_remove(at));
        }
        for link in cut {
            self.cut(link, dice)?;
        }
        if !self.devices[place].is_on() {
            return Ok(());
        }
        let name = self.devices[place].name.clone();
        self.tell(|| format!("{name} is switched off"));
        self.devices[place].switch_off(Dice::new(dice.throw()));
        Ok(())
    }

    /// A device is switched on, and still holds what it promised.
    ///
    /// # Errors
    /// [`OPENS_AGAIN`], [`ACKNOWLEDGED_SURVIVES`], or another rule.
    pub fn switch_on(&mut self, place: usize, dice: &mut Dice) -> Result<(), Broken> {
        let device = &mut self.devices[place];
        if device.is_on() || device.destroyed {
            return Ok(());
        }
        device.machine.plan(FaultPlan::default());
        let name = device.name.clone();
        if let Err(error) = device.switch_on() {
            if device.scarred {
                // A disk that lost what it had may hold nothing that opens. The device is replaced.
                device.destroyed = true;
                self.tell(|| format!("{name} does not open any more: {}", one_line(&error.to_string())));
                return Ok(());
            }
            return Err(Broken::new(OPENS_AGAIN, format!("{name}: {error}")));
        }
        self.tell(|| format!("{name} is switched on"));
        let device = &self.devices[place];
        if !device.scarred {
            let held = device.with(|node| crate::device::tips(node)).unwrap_or_default();
            for (chain, (next_seq, hash)) in &device.promised {
                let now = held.get(chain).copied();
                if now.is_none_or(|now| now.0 < *next_seq || (now.0 == *next_seq && now.1 != *hash)) {
                    let seen = format!(
                        "{name} promised {next_seq} events of chain {}, and holds {}",
                        chain.short(),
                        now.map_or(0, |now| now.0)
                    );
                    return Err(Broken::new(ACKNOWLEDGED_SURVIVES, seen));
                }
            }
        }
        self.look_after(place, dice)
    }

    /// Connects two devices.
    pub fn connect(&mut self, one: usize, other: usize) {
        if one != other
            && let Some(link) = Link::connect(&self.devices, one, other)
        {
            let names = (self.devices[one].name.clone(), self.devices[other].name.clone());
            self.tell(|| format!("{} meets {}", names.0, names.1));
            self.links.push(link);
        }
    }

    /// Cuts a link.
    ///
    /// # Errors
    /// A rule that is broken.
    pub fn cut(&mut self, link: Link, dice: &mut Dice) -> Result<(), Broken> {
        let [one, other] = link.devices();
        let names = (self.devices[one].name.clone(), self.devices[other].name.clone());
        self.tell(|| format!("{} and {} part", names.0, names.1));
        for place in link.cut(&self.devices) {
            self.look_after(place, dice)?;
        }
        Ok(())
    }

    /// Lets a link do some steps. Gives whether it still has something to do.
    ///
    /// # Errors
    /// A rule that is broken.
    pub fn let_talk(&mut self, at: usize, most: u64, dice: &mut Dice) -> Result<bool, Broken> {
        let whole = most > STEPS_AT_ONCE;
        for _ in 0..most {
            let Some(link) = self.links.get_mut(at) else { return Ok(false) };
            let side = dice.place(2);
            let place = link.devices()[side];
            let mut did = link.step(&self.devices, side, dice, whole);
            if did == Did::Nothing {
                let other = 1 - side;
                did = link.step(&self.devices, other, dice, whole);
                if did == Did::Nothing && link.is_quiet() {
                    return Ok(false);
                }
                if did == Did::Stored {
                    let place = link.devices()[other];
                    self.look_after_storing(place, dice)?;
                }
                continue;
            }
            if did == Did::Stored {
                self.look_after_storing(place, dice)?;
            }
        }
        Ok(true)
    }

    fn look_after_storing(&mut self, place: usize, dice: &mut Dice) -> Result<(), Broken> {
        let before = self.devices[place].promised.clone();
        self.look_after(place, dice)?;
        let device = &self.devices[place];
        if device.promised != before {
            let held: u64 = device.promised.values().map(|tip| tip.0).sum();
            let name = device.name.clone();
            self.tell(|| format!("{name} holds {held} events"));
        }
        Ok(())
    }
}

/// What a loss of power leaves of what was not synced.
pub fn survival(dice: &mut Dice) -> Survival {
    match dice.below(4) {
        0 => Survival::Nothing,
        1 => Survival::Everything,
        _ => Survival::Sectors { seed: dice.throw() },
    }
}

/// What somebody is told, in one line.
pub fn one_line(text: &str) -> String {
    text.replace('\n', " ")
}
