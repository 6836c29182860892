//! What must hold once everybody has met: all agree, nothing acknowledged is lost, nothing beyond a cut or behind a fork
//! counts, and what is set aside there can be entered again. [`crate::bills`] says it of money.

use std::collections::{BTreeMap, BTreeSet};

use daemon::Node;
use ledger::frontier::Chain;
use ledger::roster::{Lacking, Standing as Rights};
use ledger::{Audience, ChainId, DeviceKey, EventHash};
use projections::{Book, Logged};

use crate::bills;
use crate::counted::{Counted, Lines, lines_of};
use crate::device::{Device, Promises};
use crate::dice::Dice;
use crate::model::Broken;
use crate::world::{ACKNOWLEDGED_SURVIVES, World};
use crate::{papers, putting_right};

/// After quiet all devices hold the same.
pub const ALL_AGREE: &str = "after quiet all agree";
/// The state is a function of what counts.
pub const SAME_STATE: &str = "equal counted frontiers mean equal states";
/// It does not matter how the state came about.
pub const SAME_REBUILT: &str = "incremental is rebuilt";
/// A cut holds.
pub const CUT_HOLDS: &str = "nothing beyond a cut counts";
/// A fork holds.
pub const FORK_HOLDS: &str = "nothing behind a fork counts";
/// No more is set aside than has to be.
pub const NOT_SET_ASIDE: &str = "what counts is not set aside";

/// What devices have promised before they meet.
type Owed = BTreeMap<usize, Lines>;

/// Most rounds of meetings until all is quiet: news of a device may wait for the one who admitted it.
const ROUNDS: usize = 12;
/// Most steps of one meeting.
const LONG_TALK: u64 = 20_000;

/// Ends a world: everything is switched on, everybody meets everybody until nothing is left to say, and all is
/// checked.
///
/// # Errors
/// A rule that is broken.
pub fn check(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    while let Some(link) = world.links.pop() {
        world.cut(link, dice)?;
    }
    for place in 0..world.devices.len() {
        world.switch_off(place, dice)?;
        world.switch_on(place, dice)?;
    }
    // What any device that is there has promised, all must hold in the end.
    let owed: Owed = members(world).into_iter().map(|place| (place, owed_by(world, place))).collect();
    meet_until_quiet(world, dice)?;
    let (places, counted) = settled(world, &owed)?;
    putting_right::upgrade_all(world, &places, dice)?;
    check_states(world, &places, &counted, dice)?;
    papers::check(world, &places, &counted)?;
    let mut changed = false;
    if let Some(place) = bills::office_among(world, &places) {
        if putting_right::list_anew(world, place, dice)? {
            meet_until_quiet(world, dice)?;
            changed = true;
        }
        bills::compare(world, place, &counted, false)?;
    }
    changed |= putting_right::enter_all_again(world, &places, dice)?;
    let (places, counted) = if changed { settled_anew(world, dice)? } else { (places, counted) };
    let before = held_by_all(world);
    putting_right::adopt_apart(world, &places, dice)?;
    let (places, counted) = if held_by_all(world) == before {
        (places, counted)
    } else {
        meet_until_quiet(world, dice)?;
        settled_anew(world, dice)?
    };
    let Some(place) = bills::office_among(world, &places) else { return Ok(()) };
    bills::check_bills(world, place, &counted, dice)
}

/// Checks all anew after people have put something right.
fn settled_anew(world: &mut World, dice: &mut Dice) -> Result<(Vec<usize>, Counted), Broken> {
    let (places, counted) = settled(world, &Owed::new())?;
    check_states(world, &places, &counted, dice)?;
    papers::check(world, &places, &counted)?;
    Ok((places, counted))
}

/// Everybody meets everybody, until nobody hears anything new.
///
/// # Errors
/// A rule that is broken.
pub(crate) fn meet_until_quiet(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    for _ in 0..ROUNDS {
        let before = held_by_all(world);
        everybody_meets(world, dice)?;
        if held_by_all(world) == before {
            return Ok(());
        }
    }
    Err(Broken::new(ALL_AGREE, format!("not quiet after {ROUNDS} rounds")))
}

/// Who belongs together once all is quiet, and what counts there. All of it is held, all count it, and none counts more.
fn settled(world: &World, owed: &Owed) -> Result<(Vec<usize>, Counted), Broken> {
    let places = members(world);
    let counted = world.model.counted(&lines_of_all(world, &places));
    // Whoever turns out not to belong to them may keep what it has to itself.
    let owed = owed.iter().filter(|(place, _)| places.contains(place)).flat_map(|(_, lines)| lines);
    // What stands in the proof of a fork that another one took the place of is set aside in the book.
    let in_books: BTreeSet<EventHash> = places.iter().flat_map(|place| in_book(world, *place)).collect();
    for (chain, ends) in owed {
        if let Some(end) = ends.iter().find(|end| !counted.holds(end) && !in_books.contains(*end)) {
            let seen = format!("nobody holds {end} of chain {} any more", chain.short());
            return Err(Broken::new(ACKNOWLEDGED_SURVIVES, seen));
        }
    }
    check_agreement(world, &places, &counted)?;
    check_places(world, &places, &counted)?;
    Ok((places, counted))
}

/// The devices that are there and meet each other: the most that know one of them and are known by it. One that was
/// taken off may not know of it, and nobody meets it any more. One whose admission went down with whoever gave it is a
/// stranger to the rest. One whose disk lost who belongs to the crew meets nobody by itself.
fn members(world: &World) -> Vec<usize> {
    let mut retired: BTreeSet<DeviceKey> = BTreeSet::new();
    let mut known: BTreeMap<usize, BTreeSet<DeviceKey>> = BTreeMap::new();
    for (place, device) in world.devices.iter().enumerate() {
        device.with(|node| {
            let (gone, there): (Vec<_>, Vec<_>) =
                node.ledger().roster().devices().partition(|device| device.retired);
            retired.extend(gone.iter().map(|device| device.key));
            known.insert(place, there.iter().map(|device| device.key).collect());
        });
    }
    let key = |place: &usize| world.devices[*place].key;
    known.retain(|place, _| !retired.contains(&key(place)));
    let group = |home: &usize| -> Vec<usize> {
        let knows =
            |one: &usize, other: &usize| known.get(one).is_some_and(|known| known.contains(&key(other)));
        known.keys().copied().filter(|place| knows(place, home) && knows(home, place)).collect()
    };
    known
        .keys()
        .map(group)
        .max_by_key(|group| (group.len(), std::cmp::Reverse(group.clone())))
        .unwrap_or_default()
}

/// What all hold, and what of it each counts: a proof of a fork may come without any event.
fn held_by_all(world: &World) -> Vec<(Promises, Option<[u8; 32]>)> {
    let counted = |device: &Device| device.with(|node| node.ledger().frontier(None).digest());
    world.devices.iter().map(|device| (device.promised.clone(), counted(device))).collect()
}

fn everybody_meets(world: &mut World, dice: &mut Dice) -> Result<(), Broken> {
    for one in 0..world.devices.len() {
        for other in 0..one {
            world.connect(one, other);
            if world.links.is_empty() {
                continue;
            }
            while world.let_talk(0, LONG_TALK, dice)? {}
            while let Some(link) = world.links.pop() {
                world.cut(link, dice)?;
            }
        }
    }
    Ok(())
}

fn in_book(world: &World, place: usize) -> Vec<EventHash> {
    let hashes = |node: &mut Node| {
        let unreadable = node.book().unreadable().map(|(hash, _)| *hash);
        node.book().events().map(|logged| logged.hash).chain(unreadable).collect()
    };
    world.devices[place].with(hashes).unwrap_or_default()
}

/// The lines that a device has to hold on to: its own, and those of a fork's proof that it can read.
fn owed_by(world: &World, place: usize) -> Lines {
    let lines = |node: &mut Node| {
        let mut lines = lines_of(node);
        let sealed = |chain: &&Chain| chain.start.audience == Audience::Office && !node.is_office();
        for chain in node.ledger().chains().filter(sealed) {
            let tip = chain.tip.hash;
            lines.entry(chain.start.chain).and_modify(|ends| ends.retain(|end| *end == tip));
        }
        lines
    };
    world.devices[place].with(lines).unwrap_or_default()
}

/// The lines that these devices hold.
fn lines_of_all(world: &World, places: &[usize]) -> Lines {
    let mut lines = Lines::new();
    for place in places {
        let own = world.devices[*place].with(|node| lines_of(node)).unwrap_or_default();
        own.into_iter().for_each(|(chain, ends)| lines.entry(chain).or_default().extend(ends));
    }
    lines
}

fn check_agreement(world: &World, places: &[usize], counted: &Counted) -> Result<(), Broken> {
    let mut frontiers = BTreeMap::new();
    for place in places {
        let device = &world.devices[*place];
        let Some((digest, tips)) = device.with(|node| {
            let frontier = node.ledger().frontier(None);
            (frontier.digest(), frontier.tips)
        }) else {
            continue;
        };
        for (chain, end) in &counted.ends {
            let counts = tips.get(chain).map_or(0, |tip| tip.0);
            if counts < end.0 {
                let seen = format!("{} counts {counts} of {} of chain {}", device.name, end.0, chain.short());
                let seen = format!("{seen}; {}", lines_said(world, places, chain));
                return Err(Broken::new(ACKNOWLEDGED_SURVIVES, seen));
            }
        }
        frontiers.entry(digest).or_insert_with(Vec::new).push((device.name.clone(), tips));
    }
    if frontiers.len() > 1 {
        let said: Vec<String> = frontiers
            .values()
            .map(|alike| {
                let names: Vec<_> = alike.iter().map(|(name, _)| name.as_str()).collect();
                let tips = alike.iter().take(1).flat_map(|(_, tips)| tips);
                let tips: Vec<_> = tips.map(|(chain, tip)| format!("{} {}", chain.short(), tip.0)).collect();
                format!("{} hold {}", names.join(", "), tips.join(", "))
            })
            .collect();
        return Err(Broken::new(ALL_AGREE, said.join("; ")));
    }
    for (name, tips) in frontiers.into_values().flatten() {
        let more = tips.iter().find(|(chain, tip)| counted.ends.get(*chain) != Some(*tip));
        if let Some((chain, tip)) = more {
            let rule = if counted.forks.contains_key(chain) { FORK_HOLDS } else { CUT_HOLDS };
            let end = counted.ends.get(chain).map_or(0, |end| end.0);
            let seen = format!("{name} counts {} of chain {}, and {end} count", tip.0, chain.short());
            let seen = format!("{seen}; {}", lines_said(world, places, chain));
            return Err(Broken::new(rule, seen));
        }
    }
    Ok(())
}

/// How far each device holds a chain, and what it knows of a fork, for whoever reads a failure.
fn lines_said(world: &World, places: &[usize], chain: &ChainId) -> String {
    let said = places.iter().filter_map(|place| {
        let device = &world.devices[*place];
        let chain = device.with(|node| node.ledger().chain(chain).cloned())??;
        let fork = chain.fork.as_ref().map(|fork| fork.proof().base().count);
        Some(format!("{} holds {} and knows the fork {fork:?}", device.name, chain.tip.next_seq))
    });
    said.collect::<Vec<_>>().join(", ")
}

/// The bytes of a state, as a hash. What is set aside is not part of it: it is held where it had arrived before that was
/// known, and nowhere else.
fn digest(book: &Book, counted: &Counted) -> String {
    let mut hasher = blake3::Hasher::new();
    for logged in book.events().filter(|logged| counted.counts(&logged.hash)) {
        hasher.update(&bincode::serde::encode_to_vec(logged, bincode::config::legacy()).unwrap_or_default());
    }
    for event in book.unreadable().filter(|(hash, _)| counted.counts(hash)) {
        hasher.update(&bincode::serde::encode_to_vec(event, bincode::config::legacy()).unwrap_or_default());
    }
    hasher.finalize().to_hex().to_string()
}

fn lacks_by_place(logged: &Logged) -> bool {
    matches!(logged.standing, Rights::Without(Lacking::BeyondCut | Lacking::Forked))
}

fn check_states(
    world: &mut World,
    places: &[usize],
    counted: &Counted,
    dice: &mut Dice,
) -> Result<(), Broken> {
    let mut states: BTreeMap<Audience, (String, String)> = BTreeMap::new();
    for place in places {
        let device = &world.devices[*place];
        let name = device.name.clone();
        let Some((audience, state)) =
            device.with(|node| (node.book().audience(), digest(node.book(), counted)))
        else {
            continue;
        };
        world.tell(|| format!("{name}: state {state}"));
        let (first, known) = states.entry(audience).or_insert_with(|| (name.clone(), state.clone()));
        if *known != state {
            let seen = format!("{name} and {first}: {}", difference(world, *place, places, counted));
            return Err(Broken::new(SAME_STATE, seen));
        }
        world.switch_off(*place, dice)?;
        world.switch_on(*place, dice)?;
        let again = world.devices[*place].with(|node| digest(node.book(), counted));
        if again.is_some_and(|again| again != state) {
            return Err(Broken::new(SAME_REBUILT, name));
        }
    }
    Ok(())
}

/// What one device's book has that another's of the same audience has not, for whoever reads a failure.
fn difference(world: &World, place: usize, places: &[usize], counted: &Counted) -> String {
    let all = |place: usize| {
        world.devices[place].with(|node| {
            let events = everything(node.book(), counted);
            (node.book().audience(), events)
        })
    };
    let Some((audience, own)) = all(place) else { return String::new() };
    for other in places {
        let Some((theirs, events)) = all(*other) else { continue };
        if theirs == audience && events != own {
            let only: Vec<_> = own.symmetric_difference(&events).take(3).cloned().collect();
            return only.join("; ");
        }
    }
    String::new()
}

fn everything(book: &Book, counted: &Counted) -> BTreeSet<String> {
    let text = |logged: &Logged| {
        format!(
            "{} {}:{} {:?} {:?}",
            logged.hash,
            logged.chain.short(),
            logged.seq,
            logged.standing,
            logged.body
        )
    };
    let unreadable = book.unreadable().filter(|(hash, _)| counted.counts(hash));
    let unreadable = unreadable.map(|(hash, event)| format!("{hash} {event:?}"));
    let refs: BTreeSet<_> =
        book.events().filter(|logged| counted.counts(&logged.hash)).map(text).chain(unreadable).collect();
    refs
}

/// What stands beyond a cut or behind a fork counts for nobody, and nothing else is set aside.
fn check_places(world: &World, places: &[usize], counted: &Counted) -> Result<(), Broken> {
    for place in places {
        let device = &world.devices[*place];
        let wrong = device.with(|node| {
            let counts = |logged: &&Logged| {
                let counts = matches!(logged.standing, Rights::Counted | Rights::Proposed);
                counts && !counted.counts(&logged.hash)
            };
            let is_aside = |logged: &&Logged| lacks_by_place(logged) && counted.counts(&logged.hash);
            let wrong = node.book().events().find(|logged| counts(logged) || is_aside(logged))?;
            let rule = match (is_aside(&wrong), counted.forks.contains_key(&wrong.chain)) {
                (true, _) => NOT_SET_ASIDE,
                (false, true) => FORK_HOLDS,
                (false, false) => CUT_HOLDS,
            };
            let (chain, seq, standing) = (wrong.chain.short(), wrong.seq, wrong.standing);
            Some((rule, format!("{chain}:{seq} is {standing:?}: {:?}", wrong.body)))
        });
        if let Some(Some((rule, seen))) = wrong {
            return Err(Broken::new(rule, format!("{}: {seen}", device.name)));
        }
    }
    Ok(())
}
