//! What happens on a building site: meetings that break off, batteries that die, disks that fail, folders that are
//! copied and restored, clocks that are wrong, phones that lie in a drawer for months or in a bucket for good.

use std::sync::Arc;

use daemon::node::salvage::Salvaged;
use ledger::{ChainId, ChainStart, Run, RunBuilder};
use store::{Disk as _, FaultPlan, IndexTrouble, Store, StoreOptions};

use crate::device::{DEVICE_FILE, Device};
use crate::dice::Dice;
use crate::model::Broken;
use crate::work::some_device;
use crate::world::{World, survival};

/// A number that no kind has.
const KIND_OF_LATER: u16 = 60_000;
/// Where a node keeps what it verified.
const CHECKPOINT: &str = "checkpoints/verified.checkpoint";
const DAY_MS: i64 = 24 * 3_600_000;

/// What was delivered before is delivered again, whole, by somebody who heard it from somebody.
pub const TAKEN_ONCE: &str = "what is delivered again changes nothing";

/// What a device held that has lost its key is held by whoever takes in what is left of it.
pub const SALVAGED: &str = "what is left of a device is taken in whole, and once";

/// Two devices meet.
pub(crate) fn meet(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let on = world.places(Device::is_on);
    let (Some(one), Some(other)) = (dice.pick(&on).copied(), dice.pick(&on).copied()) else { return Ok(()) };
    if world.links.len() < 12 {
        world.connect(one, other);
    }
    Ok(())
}

/// Devices that have met talk for a while.
pub(crate) fn talk(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    if world.links.is_empty() {
        return meet(world, dice);
    }
    let at = dice.place(world.links.len());
    // Now and then they talk until nothing is left to say.
    let most = if dice.one_in(3) { 2_000 } else { 1 + dice.below(40) };
    world.let_talk(at, most, dice)?;
    Ok(())
}

/// Two devices part, wherever they are.
pub(crate) fn part(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    if world.links.is_empty() {
        return Ok(());
    }
    let at = dice.place(world.links.len());
    let link = world.links.swap_remove(at);
    world.cut(link, dice)
}

/// The battery dies, or somebody ends the program.
pub(crate) fn lose_power(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let Some(place) = some_device(world, dice) else { return Ok(()) };
    let survival = survival(dice);
    world.lose_power(place, survival, dice);
    Ok(())
}

/// A device is switched off in order.
pub(crate) fn switch_off(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let Some(place) = some_device(world, dice) else { return Ok(()) };
    world.switch_off(place, dice)
}

/// A device is switched on.
pub(crate) fn switch_on(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let off = world.places(|device| !device.is_on() && !device.destroyed);
    let Some(place) = dice.pick(&off).copied() else { return Ok(()) };
    world.switch_on(place, dice)
}

fn plan(world: &mut World, dice: &mut Dice, plan: FaultPlan, what: &str) {
    let Some(place) = some_device(world, dice) else { return };
    let name = world.devices[place].name.clone();
    world.tell(|| format!("{name}: {what} {plan:?}"));
    world.devices[place].machine.plan(plan);
}

/// The power will go in the middle of a write.
pub(crate) fn power_will_go(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    // Mostly in the next write or the one after it: about where a frame begins, is, and ends.
    let bytes = if dice.one_in(3) { dice.below(8_000) } else { dice.below(700) };
    let cut = FaultPlan { cut_power_after_bytes: Some(bytes), ..FaultPlan::default() };
    plan(world, dice, cut, "will lose its power");
    Ok(())
}

/// A sync will fail.
pub(crate) fn sync_will_fail(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let fails = FaultPlan { fail_sync: Some(dice.below(4)), ..FaultPlan::default() };
    plan(world, dice, fails, "will fail to sync");
    Ok(())
}

/// The disk fills up.
pub(crate) fn disk_fills_up(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let full = FaultPlan { full_after_bytes: Some(dice.below(3_000)), ..FaultPlan::default() };
    plan(world, dice, full, "will be full");
    Ok(())
}

/// A bit of the journal, or of a checkpoint, turns over on the disk.
pub(crate) fn flip_a_bit(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let there = world.places(|device| !device.destroyed);
    let Some(place) = dice.pick(&there).copied() else { return Ok(()) };
    let World { devices, model, .. } = world;
    let device = &mut devices[place];
    let disk = device.machine.disk();
    let folder = if dice.one_in(4) { "checkpoints" } else { "journal" };
    let Ok(files) = disk.list(folder) else { return Ok(()) };
    let Some(file) = dice.pick(&files) else { return Ok(()) };
    let file = format!("{folder}/{file}");
    let bits = disk.contents(&file).map_or(0, |bytes| bytes.len() as u64 * 8);
    let bit = dice.below(bits);
    if bits == 0 || disk.flip_bit(&file, bit).is_err() {
        return Ok(());
    }
    // A checkpoint only saves time: without one nothing may be lost.
    if folder == "journal" {
        device.scarred = true;
        model.scar(device.key);
    }
    let name = device.name.clone();
    world.tell(|| format!("{name}: bit {bit} of {file} turns over"));
    Ok(())
}

/// Somebody copies a device's folder away while the device is off.
pub(crate) fn back_up(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let off = world.places(|device| !device.is_on() && !device.destroyed && !device.scarred);
    let Some(place) = dice.pick(&off).copied() else { return Ok(()) };
    let device = &mut world.devices[place];
    device.backup = Some((device.machine.disk().crash(store::Survival::Everything), device.promised.clone()));
    let name = device.name.clone();
    world.tell(|| format!("{name} is backed up"));
    Ok(())
}

/// A device comes back from its backup: the disk is another, and holds what it held then.
pub(crate) fn restore(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let kept = world.places(|device| device.backup.is_some());
    let Some(place) = dice.pick(&kept).copied() else { return Ok(()) };
    world.switch_off(place, dice)?;
    let Some((disk, promised)) = world.devices[place].backup.take() else { return Ok(()) };
    let name = world.devices[place].name.clone();
    let machine = world.machine(&name, disk, dice);
    let device = &mut world.devices[place];
    (device.machine, device.promised, device.scarred, device.destroyed) = (machine, promised, false, false);
    world.tell(|| format!("{name} comes back from its backup"));
    world.switch_on(place, dice)
}

/// Somebody copies a device's folder to another machine, and uses both.
pub(crate) fn copy_folder(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let there = world.places(|device| !device.destroyed && !device.scarred);
    if world.devices.len() >= 9 {
        return Ok(());
    }
    let Some(place) = dice.pick(&there).copied() else { return Ok(()) };
    world.switch_off(place, dice)?;
    let original = &world.devices[place];
    let disk = original.machine.disk().crash(store::Survival::Everything);
    let (name, promised) = (format!("{}-copy", original.name), original.promised.clone());
    let machine = world.machine(&name, disk, dice);
    world.tell(|| format!("{name} is made"));
    let original = &world.devices[place];
    let copy = Device {
        promised,
        lacks: original.lacks,
        ..Device::new(&name, original.person, original.key, machine)
    };
    world.devices.push(copy);
    world.switch_on(world.devices.len() - 1, dice)?;
    world.switch_on(place, dice)
}

/// A device falls into a bucket. The laptop stays at home.
pub(crate) fn destroy(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    if world.devices.len() < 4 {
        return Ok(());
    }
    let place = 1 + dice.place(world.devices.len() - 1);
    world.lose_power(place, store::Survival::Nothing, dice);
    let device = &mut world.devices[place];
    (device.destroyed, device.backup, device.image) = (true, None, None);
    let name = device.name.clone();
    world.tell(|| format!("{name} is gone for good"));
    Ok(())
}

/// A device loses the file with its key. What is left of it is taken in by another of the same person, or by anybody.
pub(crate) fn lose_key(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let place = 1 + dice.place(world.devices.len() - 1);
    if world.devices.len() < 4 || world.devices[place].destroyed {
        return Ok(());
    }
    // What a loss of power has left of what it wrote last is looked at once more.
    if !world.devices[place].scarred {
        world.switch_on(place, dice)?;
    }
    world.switch_off(place, dice)?;
    let lost = &mut world.devices[place];
    lost.destroyed = true;
    let (name, whose) = (lost.name.clone(), lost.person);
    lost.machine.disk().put(DEVICE_FILE, None);
    world.tell(|| format!("{name} loses its key"));
    let theirs = world.places(|device| device.is_on() && device.person == whose);
    let all = world.places(Device::is_on);
    let Some(to) = dice.pick(if theirs.is_empty() { &all } else { &theirs }).copied() else { return Ok(()) };
    let Some(salvaged) = salvage(world, to, place, dice)? else { return Ok(()) };
    let lost = &world.devices[place];
    let lacks = |node: &daemon::Node| {
        let roster = node.ledger().roster();
        let promised = lost.promised.iter().filter_map(|(chain, tip)| {
            let held = node.ledger().chain(chain)?;
            let counts = roster.device(&held.start.device).is_some_and(|device| !device.retired);
            (counts && held.fork.is_none() && held.tip.next_seq < tip.0).then_some((
                *chain,
                tip.0,
                held.tip.next_seq,
            ))
        });
        promised.collect::<Vec<_>>()
    };
    let is_whole = !lost.scarred && !world.devices[to].scarred;
    let lacking = world.devices[to].with(|node| lacks(node)).filter(|_| is_whole).unwrap_or_default();
    if let Some((chain, there, here)) = lacking.first() {
        let seen = format!("{name} held {there} events of chain {}, of which {here} are here", chain.short());
        return Err(Broken::new(SALVAGED, seen));
    }
    match salvage(world, to, place, dice)? {
        Some(again) if again.new > 0 => {
            Err(Broken::new(SALVAGED, format!("{} events, then {} more", salvaged.new, again.new)))
        }
        Some(_) | None => Ok(()),
    }
}

/// A device takes in what is left of another.
fn salvage(world: &mut World, to: usize, lost: usize, dice: &mut Dice) -> Result<Option<Salvaged>, Broken> {
    let disk = world.devices[lost].machine.disk().clone();
    let what = format!("takes in what is left of {}", world.devices[lost].name);
    world.use_node(to, &what, dice, |node| {
        let options = StoreOptions::disk(Arc::new(disk)).only_reading().taken_for(node.crew());
        node.salvage(&mut Store::open(options)?, &|_, _| ())
    })
}

/// A clock is wrong by minutes, or by years.
pub(crate) fn turn_clock(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let place = dice.place(world.devices.len());
    let far = if dice.one_in(3) { 3 * 365 * DAY_MS } else { 30 * 60_000 };
    let skew = i64::try_from(dice.below(far.unsigned_abs() * 2)).unwrap_or_default() - far;
    let name = world.devices[place].name.clone();
    world.tell(|| format!("{name}'s clock is wrong by {skew} ms"));
    world.devices[place].machine.turn_clock(skew);
    Ok(())
}

/// Months go by.
pub(crate) fn months_go_by(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let days = 20 + i64::try_from(dice.below(150)).unwrap_or_default();
    world.tell(|| format!("{days} days go by"));
    world.pass(days * DAY_MS);
    Ok(())
}

/// A node writes its checkpoint.
pub(crate) fn write_checkpoint(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let Some(place) = some_device(world, dice) else { return Ok(()) };
    // The one before it may come back.
    if dice.one_in(2) {
        let device = &mut world.devices[place];
        device.checkpoint = device.machine.disk().contents(CHECKPOINT);
    }
    world.use_node(place, "writes a checkpoint", dice, daemon::Node::write_checkpoint)?;
    Ok(())
}

/// The checkpoint is lost, or an older one stands in its place.
pub(crate) fn checkpoint_goes_wrong(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let there = world.places(|device| !device.destroyed);
    let Some(place) = dice.pick(&there).copied() else { return Ok(()) };
    let device = &world.devices[place];
    let disk = device.machine.disk();
    if disk.contents(CHECKPOINT).is_none() {
        return Ok(());
    }
    let older = device.checkpoint.clone().filter(|_| dice.one_in(2));
    let what = if older.is_some() { "is an older one" } else { "is lost" };
    disk.put(CHECKPOINT, older);
    let name = device.name.clone();
    world.tell(|| format!("{name}: its checkpoint {what}"));
    Ok(())
}

/// The index is lost, old, broken, or says what is not so.
pub(crate) fn index_goes_wrong(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let there = world.places(|device| !device.destroyed);
    let Some(place) = dice.pick(&there).copied() else { return Ok(()) };
    let trouble = match dice.below(5) {
        0 => IndexTrouble::Lost,
        1 => IndexTrouble::Old { writes: 1 + dice.below(3) },
        2 => IndexTrouble::Fails,
        3 => IndexTrouble::Forgets { entry: dice.throw() },
        _ => IndexTrouble::Misplaces { entry: dice.throw() },
    };
    let device = &world.devices[place];
    device.machine.index().trouble(trouble);
    let name = device.name.clone();
    world.tell(|| format!("{name}: its index {trouble:?}"));
    Ok(())
}

/// Somebody has the whole ledger verified.
pub(crate) fn verify(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let Some(place) = some_device(world, dice) else { return Ok(()) };
    world.use_node(place, "verifies", dice, daemon::Node::verify)?;
    Ok(())
}

/// A device that is newer than the others writes what only it can read.
pub(crate) fn write_as_later_program(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    if !dice.one_in(4) {
        return Ok(()); // Nobody can bill any more after it.
    }
    let Some(place) = some_device(world, dice) else { return Ok(()) };
    world.use_node(place, "writes as a later program", dice, |node| {
        let own = node.device().crew_chain.and_then(|chain| node.ledger().chain(&chain).cloned());
        let Some(own) = own.filter(|own| own.tip.next_seq > 0) else { return Ok(()) };
        let mut run = RunBuilder::new(own.start, own.tip);
        run.push(own.tip.made_at, KIND_OF_LATER, 1, b"what only a later program reads")?;
        if let Some((run, _)) = run.finish(&node.crew(), &node.secret()) {
            for outcome in node.store_runs(|_| None, &[run])? {
                outcome?;
            }
        }
        Ok(())
    })?;
    Ok(())
}

/// What one device holds is given once more to another that may hold it already, from somewhere in the middle.
pub(crate) fn deliver_again(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let (Some(from), Some(to)) = (some_device(world, dice), some_device(world, dice)) else { return Ok(()) };
    let held: Vec<(ChainStart, u64)> = world.devices[from]
        .with(|node| node.ledger().chains().map(|chain| (chain.start, chain.tip.next_seq)).collect())
        .unwrap_or_default();
    let Some((start, next_seq)) = dice.pick(&held).copied() else { return Ok(()) };
    let from_seq = dice.below(next_seq);
    let run = world.devices[from].with(|node| node.read_run(start.chain, from_seq));
    let Some(Ok(Some(run))) = run else { return Ok(()) };
    let before = world.devices[to].with(|node| tip_of(node, start.chain)).unwrap_or_default();
    let what = format!("is given chain {} from {from_seq} on", start.chain.short());
    let known = run.next_seq() <= before;
    let outcomes = world.use_node(to, &what, dice, |node| give(node, start, run))?;
    let after = world.devices[to].with(|node| tip_of(node, start.chain)).unwrap_or(before);
    if known && outcomes.is_some() && after != before {
        return Err(Broken::new(TAKEN_ONCE, format!("{before} events became {after}")));
    }
    Ok(())
}

/// Somebody in the middle changes a bit of what one device holds and gives it to another that lacks it.
pub(crate) fn forge(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    let (Some(from), Some(to)) = (some_device(world, dice), some_device(world, dice)) else { return Ok(()) };
    let lacked = |node: &daemon::Node| -> Vec<(ChainStart, u64)> {
        let held = node.ledger().chains().map(|chain| (chain.start, chain.tip.next_seq));
        let lacks = held.map(|(start, next_seq)| {
            let there = world.devices[to].with(|node| tip_of(node, start.chain)).unwrap_or(next_seq);
            (start, there, next_seq)
        });
        lacks
            .filter(|(_, there, next_seq)| there < next_seq)
            .map(|(start, there, _)| (start, there))
            .collect()
    };
    if from == to {
        return Ok(());
    }
    let lacked = world.devices[from].with(|node| lacked(node)).unwrap_or_default();
    let Some((start, from_seq)) = dice.pick(&lacked).copied() else { return Ok(()) };
    let run = world.devices[from].with(|node| node.read_run(start.chain, from_seq));
    let Some(Ok(Some(run))) = run else { return Ok(()) };
    let mut bytes = run.bytes().to_vec();
    // Behind the run's header: an event, or the signature.
    let bit = 28 * 8 + dice.below((bytes.len() as u64).saturating_sub(28) * 8);
    if let Some(byte) = usize::try_from(bit / 8).ok().and_then(|at| bytes.get_mut(at)) {
        *byte ^= 1 << (bit % 8);
    }
    let Ok(forged) = Run::decode(bytes) else { return Ok(()) };
    let what = format!("is given a forged run of chain {} from {from_seq} on", start.chain.short());
    world.use_node(to, &what, dice, |node| give(node, start, forged))?;
    Ok(())
}

fn give(node: &mut daemon::Node, start: ChainStart, run: Run) -> Result<(), daemon::NodeError> {
    // Whether it is taken in is the ledger's to say: it may be a stranger's, or leave a gap.
    let may = node.ledger().chain(&start.chain).is_some() || node.ledger().admits(&start, &run);
    if may {
        node.store_runs(|_| Some(start), &[run])?;
    }
    Ok(())
}

fn tip_of(node: &daemon::Node, chain: ChainId) -> u64 {
    node.ledger().chain(&chain).map_or(0, |held| held.tip.next_seq)
}
