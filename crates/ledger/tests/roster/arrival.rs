//! Random histories: whatever was said and in whatever order it arrives, devices agree.

use std::collections::BTreeMap;

use ledger::chain::ChainStart;
use ledger::frontier::TakenIn;
use ledger::ids::PersonId;
use ledger::roster::{Device, Difference, Person, Roster, RosterEvent, Standing};
use ledger::roster_events::Role;
use ledger::{Body, DeviceKey, EventHash, Ledger, Payload, Refusal, Run};
use proptest::prelude::*;

use crate::world::{Voice, World, crew_chain, key, lost};

const DEVICES: u8 = 6;
const NAMES: [&str; 4] = ["Maren Oake", "Tobi Larch", "Ines Quill", "Wren Alder"];

/// One thing said: what, by which device, in whose name, about which device, person and role.
type Saying = (u8, u8, u8, u8, u8, u8, u8);

fn sayings() -> impl Strategy<Value = Vec<Saying>> {
    let one = (0..7_u8, 1..=DEVICES, 0..4_u8, 1..=DEVICES, 0..4_u8, 0..3_u8, any::<u8>());
    prop::collection::vec(one, 0..30)
}

/// A crew of two owners and a hand, each with a device, and then anything at all.
fn history(sayings: &[Saying]) -> World {
    let mut world = World::new();
    let maren = world.maren();
    let tobi = world.list(maren, NAMES[1], Role::Owner);
    let ines = world.list(maren, NAMES[2], Role::Owner);
    let (tobi, ines) = (world.admit(maren, 2, tobi), world.admit(maren, 3, ines));
    let wren = world.list(tobi, NAMES[3], Role::Hand);
    world.admit(ines, 4, wren);
    let mut owners: BTreeMap<u8, PersonId> = [(1, maren.0), (2, tobi.0), (3, ines.0), (4, wren)].into();
    for (what, device, other_name, target, about, role, spare) in sayings.iter().copied() {
        let person = world.person(NAMES[usize::from(about)]);
        // Mostly a device speaks for its own person; sometimes for somebody else.
        let own = owners.get(&device).copied().filter(|_| spare % 8 != 0);
        let by = Voice(own.unwrap_or_else(|| world.person(NAMES[usize::from(other_name)])), device);
        let role = [Role::Hand, Role::Lead, Role::Owner][usize::from(role)];
        let positions: Vec<_> = world
            .chains
            .contains_key(&crew_chain(target).chain)
            .then(|| world.position(target))
            .into_iter()
            .collect();
        let positions = positions.into_iter().map(|mut position| {
            position.seq = position.seq.saturating_sub(u64::from(spare / 32));
            position
        });
        let positions: Vec<_> = positions.filter(|_| spare % 4 != 0).collect();
        let same_kind = |event: &EventHash| match (&world.events[event].payload.body, what) {
            (Body::DeviceRetired(retired), 2) => retired.device == key(target),
            (Body::RoleChanged(changed), 3) => changed.person == person,
            (Body::Recovered(_), 5) => true,
            _ => false,
        };
        let former: Vec<EventHash> =
            world.events.keys().copied().filter(|event| spare % 2 == 0 && same_kind(event)).collect();
        match what {
            0 => {
                world.list(by, NAMES[usize::from(about)], role);
            }
            1 => {
                world.admit_as(by, target, person, spare % 5 == 0);
                owners.entry(target).or_insert(person);
            }
            2 => {
                world.retire(by, target, positions, &former);
            }
            3 => {
                world.change(by, person, role, positions, &former);
            }
            4 => {
                world.open_session(by, person);
            }
            5 => {
                let retired = lost(target, positions);
                world.certify(Voice(person, device), vec![retired], &former);
                owners.entry(device).or_insert(person);
            }
            _ => {
                world.note(by);
            }
        }
    }
    world
}

/// Hands a ledger the runs, those that are refused for now again and again, until nothing more is taken.
fn deliver(world: &World, mut runs: Vec<(ChainStart, Run)>) -> Ledger {
    let mut ledger = Ledger::new(world.crew);
    let (founding, first) = world.runs[0].clone();
    ledger.take_in_chain(founding).unwrap();
    let TakenIn::New(checked) = ledger.check_run(&first).unwrap() else { panic!("the founding is known") };
    ledger.take_in(&checked);
    loop {
        let before = runs.len();
        runs.retain(|(start, run)| {
            ledger.take_in_chain(*start).unwrap();
            match ledger.check_run(run) {
                Ok(TakenIn::New(checked)) => ledger.take_in(&checked),
                Ok(TakenIn::Known) => {}
                Err(Refusal::OutOfOrder | Refusal::BeyondCut | Refusal::NotAdmitted) => return true,
                Err(refusal) => panic!("{refusal}"),
            }
            false
        });
        if runs.len() == before {
            return ledger;
        }
    }
}

/// What everybody must agree about: people, devices, and which events count.
fn agreed(world: &World, roster: &Roster) -> (Vec<Person>, Vec<Device>, Vec<EventHash>) {
    let counts = |event: &&RosterEvent| {
        roster.standing(&event.start, (event.seq, event.hash), &event.payload) == Standing::Counted
    };
    let counted = world.events.values().filter(counts).map(|event| event.hash);
    (roster.people().cloned().collect(), roster.devices().cloned().collect(), counted.collect())
}

/// The devices above one, from its parent to the founding device.
fn above(roster: &Roster, device: DeviceKey) -> Vec<DeviceKey> {
    let parent = |key: &DeviceKey| roster.device(key).and_then(|device| device.admitted_by);
    std::iter::successors(parent(&device), parent).collect()
}

proptest! {
    #[test]
    fn devices_agree_in_whatever_order_the_runs_arrive(
        (sayings, order) in sayings().prop_flat_map(|sayings| {
            let runs = history(&sayings).runs;
            (Just(sayings), Just(runs).prop_shuffle())
        })
    ) {
        let world = history(&sayings);
        let straight = deliver(&world, world.runs.clone());
        let shuffled = deliver(&world, order);
        prop_assert_eq!(agreed(&world, straight.roster()), agreed(&world, shuffled.roster()));
        for start in world.chains.values() {
            prop_assert_eq!(straight.roster().cut(start), shuffled.roster().cut(start));
        }
    }

    #[test]
    fn what_no_difference_touches_two_rosters_judge_alike(sayings in sayings(), at in any::<prop::sample::Index>()) {
        let world = history(&sayings);
        let earlier = deliver(&world, world.runs[..at.index(world.runs.len()) + 1].to_vec());
        let later = deliver(&world, world.runs.clone());
        let standing = |ledger: &Ledger, event: &RosterEvent| {
            ledger.roster().standing(&event.start, (event.seq, event.hash), &event.payload)
        };
        for (one, other) in [(&earlier, &later), (&later, &earlier)] {
            let difference = one.roster().difference(other.roster());
            for event in world.events.values() {
                let Payload { act, body } = &event.payload;
                if !difference.may_touch(&event.start, act, body.kind()) {
                    prop_assert_eq!(standing(one, event), standing(other, event));
                }
            }
        }
        prop_assert_eq!(later.roster().difference(later.roster()), Difference::default());
    }

    #[test]
    fn nobody_touches_an_owner_from_beside_and_nothing_grows_beyond_a_cut(sayings in sayings()) {
        let without_words: Vec<Saying> = sayings.into_iter().filter(|saying| saying.0 != 5).collect();
        let world = history(&without_words);
        let roster = world.roster();
        let maren = roster.person(&world.maren().0).unwrap();
        prop_assert_eq!(maren.role, Role::Owner);
        prop_assert!(!roster.device(&key(1)).unwrap().retired);
        for event in world.events.values() {
            let counts = roster.standing(&event.start, (event.seq, event.hash), &event.payload) == Standing::Counted;
            if !counts {
                continue;
            }
            prop_assert!(roster.cut(&event.start).is_none_or(|cut| event.seq < cut.count));
            let speaker = event.start.device;
            // Tobi and Ines are owners from the start, whatever was said of them later.
            let from_start = [world.person(NAMES[1]), world.person(NAMES[2])];
            if let Body::RoleChanged(changed) = &event.payload.body
                && from_start.contains(&changed.person)
            {
                let mut theirs = roster.devices().filter(|device| device.person == changed.person);
                let first = theirs.find(|device| [key(2), key(3)].contains(&device.key));
                prop_assert!(first.is_none_or(|device| above(&roster, device.key).contains(&speaker)));
            }
        }
        let was_changed = |person: PersonId| world.events.values().any(|event| {
            matches!(&event.payload.body, Body::RoleChanged(changed) if changed.person == person)
        });
        for event in world.events.values() {
            let Body::DeviceRetired(retired) = &event.payload.body else { continue };
            let counts = roster.standing(&event.start, (event.seq, event.hash), &event.payload) == Standing::Counted;
            let device = roster.device(&retired.device).filter(|device| counts && !was_changed(device.person));
            let owners = device.filter(|device| {
                roster.person(&device.person).is_some_and(|person| person.role == Role::Owner)
            });
            prop_assert!(owners.is_none_or(|device| above(&roster, device.key).contains(&event.start.device)));
        }
        for device in roster.devices() {
            // The parent's word stands: it is held, before the cut, and counted.
            let Some(parent) = device.admitted_by else { continue };
            let admitted = world.events.values().any(|event| {
                let Body::DeviceAdmitted(admitted) = &event.payload.body else { return false };
                admitted.device == device.key
                    && event.start.device == parent
                    && roster.standing(&event.start, (event.seq, event.hash), &event.payload) == Standing::Counted
            });
            prop_assert!(admitted);
            prop_assert_eq!(above(&roster, device.key).pop(), Some(key(1)));
        }
    }

    #[test]
    fn what_the_words_sign_holds_whatever_else_is_said(sayings in sayings()) {
        let world = history(&sayings);
        let roster = world.roster();
        for event in world.events.values() {
            let standing = roster.standing(&event.start, (event.seq, event.hash), &event.payload);
            prop_assert!(standing != Standing::Counted
                || roster.cut(&event.start).is_none_or(|cut| event.seq < cut.count));
            let Body::Recovered(recovered) = &event.payload.body else { continue };
            prop_assert_eq!(standing, Standing::Counted);
            prop_assert!(roster.device(&recovered.device).is_some());
            prop_assert!(roster.is_admitted(&recovered.device));
            // Its lowest cut counts, unless the words replaced it: then there is another of theirs.
            for retired in recovered.retires.iter().filter(|retired| retired.device != recovered.device) {
                let device = roster.device(&retired.device);
                prop_assert!(device.is_none_or(|device| device.retired));
            }
        }
    }
}
