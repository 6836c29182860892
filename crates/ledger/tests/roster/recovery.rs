//! The recovery words: who they let in, whom they take off, and that nobody else speaks for them.

use ledger::frontier::TakenIn;
use ledger::roster::{Cut, Standing};
use ledger::roster_events::{Recovered, Role};
use ledger::{Body, Ledger, Refusal};

use crate::world::{Voice, World, crew_chain, job_listed, key, lost, words};

/// Maren's laptop, her phone (2) and Tobi's, who is a hand (3).
fn crew() -> (World, Voice, Voice, Voice) {
    let mut world = World::new();
    let maren = world.maren();
    let phone = world.admit(maren, 2, maren.0);
    let tobi = world.list(maren, "Tobi Larch", Role::Hand);
    let tobi = world.admit(maren, 3, tobi);
    (world, maren, phone, tobi)
}

#[test]
fn the_words_bring_the_owner_back_and_take_her_lost_devices_off() {
    let (mut world, maren, _, tobi) = crew();
    world.note(tobi);
    let last = world.position(1);
    let new = Voice(maren.0, 4);
    world.certify(new, vec![lost(1, vec![last]), lost(2, vec![])], &[]);
    let roster = world.roster();
    assert_eq!(roster.cut(&crew_chain(1)), Some(Cut { count: last.seq + 1, hash: last.hash }));
    let device = roster.device(&key(4)).unwrap();
    assert!(device.office && device.shared && !device.retired && device.recovered_at.is_some());
    assert!(roster.device(&key(2)).unwrap().retired && !roster.device(&key(3)).unwrap().retired);
    // She is an owner there as ever, and brings others in.
    assert_eq!(world.standing(4, 1, maren.0, job_listed()), Standing::Counted);
    let ines = world.list(new, "Ines Quill", Role::Lead);
    world.admit(new, 5, ines);
    assert_eq!(world.roster().device(&key(5)).unwrap().admitted_by, Some(key(4)));
    // Who found the laptop can neither go on nor take the new one off.
    let stolen = world.retire(maren, 4, vec![], &[]);
    assert_ne!(world.stands(stolen), Standing::Counted);
    assert!(!world.roster().device(&key(4)).unwrap().retired);
}

#[test]
fn the_words_retire_the_founding_device_from_one_that_is_left() {
    let (mut world, maren, phone, _) = crew();
    // A thief has the laptop, and has taken the phone off.
    let end = world.position(1);
    world.retire(maren, 2, vec![], &[]);
    assert!(world.roster().device(&key(2)).unwrap().retired);
    world.note(phone);
    world.certify(phone, vec![lost(1, vec![end])], &[]);
    let roster = world.roster();
    assert!(roster.device(&key(1)).unwrap().retired && !roster.device(&key(2)).unwrap().retired);
    assert_eq!(world.standing(2, 1, maren.0, job_listed()), Standing::Counted);
}

#[test]
fn only_the_words_replace_what_the_words_said() {
    let (mut world, maren, _, tobi) = crew();
    let early = world.note(tobi);
    world.note(tobi);
    let late = world.note(tobi);
    let new = Voice(maren.0, 4);
    let first = world.certify(new, vec![lost(3, vec![early])], &[]);
    world.retire(maren, 3, vec![late], &[first]);
    let count = |world: &World| world.roster().cut(&crew_chain(3)).map(|cut| cut.count);
    assert_eq!(count(&world), Some(early.seq + 1));
    world.certify(new, vec![lost(3, vec![late])], &[first]);
    assert_eq!(count(&world), Some(late.seq + 1));
    // Another that names nothing: the lowest counts.
    world.certify(new, vec![lost(3, vec![early])], &[]);
    assert_eq!(count(&world), Some(early.seq + 1));
}

#[test]
fn two_who_come_back_apart_and_retire_each_other_are_both_retired() {
    let (mut world, maren, ..) = crew();
    world.certify(Voice(maren.0, 4), vec![lost(5, vec![])], &[]);
    world.certify(Voice(maren.0, 5), vec![lost(4, vec![])], &[]);
    let roster = world.roster();
    for device in [4, 5] {
        assert!(roster.device(&key(device)).unwrap().retired);
        // The certificate itself is never cut away: what it says decides for others.
        assert_eq!(roster.cut(&crew_chain(device)).map(|cut| cut.count), Some(1));
    }
}

#[test]
fn a_certificate_counts_for_its_own_chain_and_only_with_the_right_signature() {
    let (mut world, maren, ..) = crew();
    let start = crew_chain(4);
    let named = || ("device 4".to_owned(), maren.0);
    let signed = words().certify(&world.crew, &start, &[], named(), vec![lost(1, vec![])]).unwrap();
    let forged = [
        // Said by another device than the one it names, and further on in a chain.
        (5, signed.clone()),
        (1, signed.clone()),
        // Changed, and not signed by the words.
        (4, Recovered { retires: vec![lost(2, vec![])], ..signed.clone() }),
        (4, Recovered { signature: [[7; 32]; 2], ..signed.clone() }),
    ];
    for (device, recovered) in forged {
        let mut world = crew().0;
        let said = world.say(Voice(maren.0, device), &[], Body::Recovered(recovered));
        assert_ne!(world.stands(said), Standing::Counted);
        let roster = world.roster();
        assert!(roster.devices().all(|device| !device.retired));
        assert!(roster.device(&key(4)).is_none() && !roster.is_admitted(&key(device)) || device == 1);
    }
    // What it replaces is signed, too.
    let other = world.position(1).hash;
    let said = world.say(Voice(maren.0, 4), &[other], Body::Recovered(signed));
    assert_ne!(world.stands(said), Standing::Counted);
}

#[test]
fn a_ledger_takes_a_chain_that_begins_with_a_certificate_even_beyond_a_cut() {
    let (mut world, maren, ..) = crew();
    world.certify(Voice(maren.0, 4), vec![lost(1, vec![world.position(1)])], &[]);
    world.note(Voice(maren.0, 4));
    world.certify(Voice(maren.0, 5), vec![lost(4, vec![])], &[]);
    let mut ledger = Ledger::new(world.crew);
    let take = |ledger: &mut Ledger, at: usize| {
        let (start, run) = &world.runs[at];
        ledger.take_in_chain(*start).unwrap();
        ledger.check_run(run).map(|taken| match taken {
            TakenIn::New(checked) => ledger.take_in(&checked),
            TakenIn::Known => {}
        })
    };
    assert_eq!(take(&mut ledger, 0), Ok(()));
    let last = world.runs.len() - 1;
    // The one that retires device 4 comes first; 4's own certificate is taken all the same, and no more.
    assert_eq!(take(&mut ledger, last), Ok(()));
    assert_eq!(take(&mut ledger, last - 2), Ok(()));
    assert_eq!(take(&mut ledger, last - 1), Err(Refusal::BeyondCut));
    assert!(ledger.roster().is_admitted(&key(4)));
    // Nobody else comes in so.
    let stranger = crew_chain(9);
    let mut other = World::new();
    other.note(Voice(maren.0, 9));
    ledger.take_in_chain(stranger).unwrap();
    assert_eq!(ledger.check_run(&other.runs[1].1), Err(Refusal::NotAdmitted));
}
