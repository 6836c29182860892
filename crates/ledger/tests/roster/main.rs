//! The roster: trees of admissions, cuts, roles at positions, and what counts.

mod arrival;
mod recovery;
mod world;

use ledger::chain::Audience;
use ledger::ids::{EntryId, EntryRef, PersonId, SessionId};
use ledger::roster::{Cut, Lacking, Roster, Standing, least_role};
use ledger::roster_events::{PersonListed, Position, Role, SessionClosed, SessionOpened};
use ledger::site::{Corrected, ExtraAsked, Seen, Struck};
use ledger::{Body, CrewId, EventHash, Kind};

use world::{
    Voice, World, crew_chain, hours, job_listed, key, note, payload, price_paid, signed_off, site, start,
};

const WRONG_ROLE: Standing = Standing::Without(Lacking::Role);
const BEYOND: Standing = Standing::Without(Lacking::BeyondCut);

#[test]
fn the_founder_owns_the_crew_and_a_stranger_is_nothing() {
    let mut world = World::new();
    let maren = world.maren();
    let stray = world.admit(Voice(PersonId([9; 16]), 9), 8, maren.0);
    let tobi = world.list(maren, "Tobi Larch", Role::Hand);
    let tobi = world.admit(maren, 2, tobi);
    world.admit(tobi, 7, tobi.0);
    let roster = world.roster();
    assert_eq!(roster.crew_name(), "Oake and crew");
    assert_eq!(roster.person(&maren.0).map(|person| person.role), Some(Role::Owner));
    let device = roster.device(&key(1)).unwrap();
    assert!(device.office && device.admitted_by.is_none() && !device.retired);
    // Whom a hand lets in has no rights, and is held, so that everybody sees it; whom a stranger lets in is not.
    assert!(roster.is_admitted(&key(7)) && roster.device(&key(7)).is_none());
    assert!(!roster.is_admitted(&key(8)) && roster.device(&key(8)).is_none());
    assert_eq!(world.standing(stray.1, 0, maren.0, note()), Standing::Without(Lacking::Admission));
    assert_eq!(world.standing(1, 5, PersonId([9; 16]), note()), Standing::Without(Lacking::Person));
    assert_eq!(world.stands(EventHash(world.crew.0)), Standing::Counted);
    assert_eq!(Roster::fold(CrewId([5; 32]), &world.events, &world.lines()).people().count(), 0);
}

#[test]
fn owners_side_by_side_cannot_retire_or_demote_each_other_and_the_one_above_can() {
    let mut world = World::new();
    let maren = world.maren();
    let (tobi, ines) =
        (world.list(maren, "Tobi Larch", Role::Owner), world.list(maren, "Ines Quill", Role::Owner));
    let (tobi, ines) = (world.admit(maren, 2, tobi), world.admit(maren, 3, ines));
    let refused = [
        world.retire(tobi, 3, vec![], &[]),
        world.retire(ines, 2, vec![], &[]),
        world.retire(ines, 1, vec![], &[]),
        world.change(tobi, ines.0, Role::Hand, vec![], &[]),
        world.change(ines, tobi.0, Role::Hand, vec![], &[]),
        world.change(ines, maren.0, Role::Hand, vec![], &[]),
        world.retire(tobi, 2, vec![], &[]),
    ];
    let roster = world.roster();
    assert!(roster.people().all(|person| person.role == Role::Owner));
    assert!(roster.devices().all(|device| !device.retired));
    assert!(refused.iter().all(|event| world.stands(*event) == WRONG_ROLE));

    let last = world.position(3);
    let retired = world.retire(maren, 3, vec![last], &[]);
    let demoted = world.change(maren, tobi.0, Role::Hand, vec![world.position(2)], &[]);
    assert!(world.roster().device(&key(3)).unwrap().retired);
    assert_eq!(world.roster().person(&tobi.0).unwrap().role, Role::Hand);
    assert_eq!((world.stands(retired), world.stands(demoted)), (Standing::Counted, Standing::Counted));
}

#[test]
fn a_late_retirement_takes_away_what_grew_beyond_the_cut_and_a_superseding_one_gives_it_back() {
    let mut world = World::new();
    let maren = world.maren();
    let tobi = world.list(maren, "Tobi Larch", Role::Owner);
    let tobi = world.admit(maren, 2, tobi);
    let before = world.note(tobi);
    let ines = world.list(tobi, "Ines Quill", Role::Hand);
    let ines = world.admit(tobi, 3, ines);
    let grown = world.position(2);
    assert_eq!(world.standing(3, 0, ines.0, note()), Standing::Counted);

    let retired = world.retire(maren, 2, vec![before], &[]);
    let roster = world.roster();
    assert_eq!(roster.cut(&crew_chain(2)), Some(Cut { count: 1, hash: before.hash }));
    assert!(roster.person(&ines.0).is_none() && roster.device(&key(3)).is_none());
    assert!(!roster.is_admitted(&key(3)), "not everybody holds what let it in");
    assert_eq!(world.standing(2, 0, tobi.0, note()), Standing::Counted);
    assert_eq!(world.standing(2, 1, tobi.0, note()), BEYOND);
    let office = start(2, Audience::Office);
    assert_eq!(roster.cut(&office), Some(Cut { count: 0, hash: office.anchor(&world.crew) }));
    assert_eq!(roster.cut(&crew_chain(1)), None);

    world.retire(maren, 2, vec![grown], &[retired]);
    assert!(world.roster().is_admitted(&key(3)));
    assert_eq!(world.roster().cut(&crew_chain(2)), Some(Cut { count: 3, hash: grown.hash }));
    assert!(world.roster().device(&key(3)).is_some());
    // Another that names neither: the lowest counts, chain by chain.
    world.retire(maren, 2, vec![before], &[]);
    assert_eq!(world.roster().cut(&crew_chain(2)).map(|cut| cut.count), Some(1));
}

#[test]
fn any_owner_retires_a_hands_device_and_raising_the_hand_later_does_not_bring_it_back() {
    let mut world = World::new();
    let maren = world.maren();
    let (tobi, ines) =
        (world.list(maren, "Tobi Larch", Role::Hand), world.list(maren, "Ines Quill", Role::Owner));
    let (old, ines) = (world.admit(maren, 2, tobi), world.admit(maren, 3, ines));
    world.note(old);
    let last = world.position(2);
    world.retire(ines, 2, vec![last], &[]);
    let new = world.admit(ines, 4, tobi);
    let raised = world.change(ines, tobi, Role::Owner, vec![last], &[]);
    let admitted_by_thief = world.admit(Voice(tobi, 2), 5, tobi);
    let admitted_by_tobi = world.admit(new, 6, tobi);
    let roster = world.roster();
    assert!(roster.device(&key(2)).unwrap().retired);
    assert!(roster.device(&key(admitted_by_thief.1)).is_none());
    assert!(roster.device(&key(admitted_by_tobi.1)).is_some());

    // Now an owner: whoever stands beside can neither retire nor demote any more.
    let refused = [
        world.retire(ines, 6, vec![], &[]),
        world.change(ines, tobi, Role::Hand, vec![], &[raised]),
        world.change(ines, tobi, Role::Hand, vec![], &[]),
    ];
    assert_eq!(world.stands(refused[1]), WRONG_ROLE);
    assert_eq!(world.stands(refused[2]), WRONG_ROLE);
    assert_eq!(world.roster().person(&tobi).unwrap().role, Role::Owner);
}

#[test]
fn a_device_below_cannot_cut_away_its_own_admission_at_a_place_before_the_raise() {
    let mut world = World::new();
    let maren = world.maren();
    let (tobi, ines) =
        (world.list(maren, "Tobi Larch", Role::Hand), world.list(maren, "Ines Quill", Role::Owner));
    let phone = world.admit(maren, 2, tobi);
    let as_a_hand = world.note(phone);
    world.change(maren, tobi, Role::Owner, vec![as_a_hand], &[]);
    let below = world.admit(phone, 3, ines);
    let retired = world.retire(below, 2, vec![as_a_hand], &[]);
    let roster = world.roster();
    assert!(!roster.device(&key(2)).unwrap().retired);
    assert!(roster.device(&key(3)).is_some());
    assert_eq!(world.stands(retired), WRONG_ROLE);
}

#[test]
fn a_role_changes_at_a_position_and_the_lowest_of_rivals_counts() {
    let mut world = World::new();
    let maren = world.maren();
    let tobi = world.list(maren, "Tobi Larch", Role::Hand);
    let phone = world.admit(maren, 2, tobi);
    let first = world.note(phone);
    let raised = world.change(maren, tobi, Role::Lead, vec![first], &[]);
    assert_eq!(world.standing(2, 0, tobi, signed_off()), WRONG_ROLE);
    assert_eq!(world.standing(2, 1, tobi, signed_off()), Standing::Counted);
    world.note(phone);
    let second = world.note(phone);
    let lowered = world.change(maren, tobi, Role::Hand, vec![second], &[raised]);
    assert_eq!(world.standing(2, 0, tobi, signed_off()), WRONG_ROLE);
    assert_eq!(world.standing(2, 2, tobi, signed_off()), Standing::Counted);
    assert_eq!(world.standing(2, 3, tobi, signed_off()), WRONG_ROLE);
    // Moved to an earlier place, as the same change said again.
    world.change(maren, tobi, Role::Hand, vec![Position { seq: 1, ..second }], &[lowered]);
    assert_eq!(world.standing(2, 1, tobi, signed_off()), Standing::Counted);
    assert_eq!(world.standing(2, 2, tobi, signed_off()), WRONG_ROLE);
    // One that names nobody is a rival, and loses against a lower one.
    world.change(maren, tobi, Role::Lead, vec![], &[]);
    assert_eq!(world.roster().person(&tobi).unwrap().role, Role::Hand);
    assert_eq!(world.standing(2, 9, tobi, signed_off()), WRONG_ROLE);
}

#[test]
fn names_follow_later_listings_and_roles_do_not() {
    let mut world = World::new();
    let maren = world.maren();
    let tobi = world.list(maren, "Tobi Larch", Role::Hand);
    let listed =
        |name: &str, role| Body::PersonListed(PersonListed { person: tobi, name: name.into(), role });
    let first = world.events.values().find(|event| event.payload.body == listed("Tobi Larch", Role::Hand));
    let first = first.unwrap().hash;
    world.say(maren, &[first], listed("Tobias Larch", Role::Owner));
    world.say(Voice(tobi, 2), &[first], listed("Boss", Role::Owner));
    let roster = world.roster();
    let tobi = roster.person(&tobi).unwrap();
    assert_eq!((tobi.name.as_str(), tobi.role), ("Tobias Larch", Role::Hand));
}

#[test]
fn hands_and_leads_change_no_roster() {
    for role in [Role::Hand, Role::Lead] {
        let mut world = World::new();
        let maren = world.maren();
        let tobi = world.list(maren, "Tobi Larch", role);
        let phone = world.admit(maren, 2, tobi);
        let ines = world.list(phone, "Ines Quill", Role::Owner);
        world.admit(phone, 3, tobi);
        let raised = world.change(phone, tobi, Role::Owner, vec![], &[]);
        // Nor does a device say things in its owner's name.
        world.admit(Voice(maren.0, 2), 4, tobi);
        let roster = world.roster();
        assert!(roster.person(&ines).is_none());
        assert_eq!(roster.devices().count(), 2);
        assert_eq!(roster.person(&tobi).unwrap().role, role);
        assert_eq!(world.stands(raised), WRONG_ROLE);
    }
}

#[test]
fn a_shared_device_vouches_while_a_session_is_open() {
    let mut world = World::new();
    let maren = world.maren();
    let (tobi, ines) =
        (world.list(maren, "Tobi Larch", Role::Hand), world.list(maren, "Ines Quill", Role::Owner));
    world.admit_as(maren, 2, tobi, true);
    world.admit_as(maren, 3, maren.0, true);
    let session = SessionId([1; 16]);
    let opened = |person| {
        Body::SessionOpened(SessionOpened { session: SessionId([1; 16]), person, name: "phone".into() })
    };
    // Events 0 to 3 of device 2; its own person is a hand, and speaks for nobody unasked.
    world.note(Voice(tobi, 2));
    world.say(Voice(tobi, 2), &[], opened(ines));
    world.note(Voice(tobi, 2));
    world.say(Voice(tobi, 2), &[], Body::SessionClosed(SessionClosed { session }));
    let seen = || Body::Seen(Seen { entries: vec![] });
    assert_eq!(world.standing(2, 0, ines, seen()), Standing::Without(Lacking::Vouching));
    assert_eq!(world.standing(2, 2, ines, seen()), Standing::Counted);
    assert_eq!(world.standing(2, 4, ines, seen()), Standing::Without(Lacking::Vouching));
    // The lesser of person and device.
    assert_eq!(world.standing(2, 2, ines, signed_off()), WRONG_ROLE);
    let office = start(2, Audience::Office);
    let paid = payload(ines, &[], price_paid());
    assert_eq!(world.roster().standing(&office, (0, EventHash([0; 32])), &paid), Standing::Counted);

    // A hand at the page of an owner's device is a hand: for a mate it is proposed, and no more.
    world.say(Voice(maren.0, 3), &[], opened(tobi));
    let by_tobi = |person, body| world.standing_by(3, 1, tobi, person, body);
    assert_eq!(by_tobi(tobi, hours()), Standing::Counted);
    assert_eq!(by_tobi(ines, hours()), Standing::Proposed);
    assert_eq!(by_tobi(maren.0, hours()), Standing::Proposed);
    assert_eq!(by_tobi(maren.0, signed_off()), Standing::Without(Lacking::Vouching));
    assert_eq!(by_tobi(tobi, job_listed()), WRONG_ROLE);
    // An owner there speaks for others as on a device of her own.
    world.say(Voice(maren.0, 3), &[], opened(ines));
    assert_eq!(world.standing_by(3, 2, ines, tobi, hours()), Standing::Counted);

    // On an owner's shared device an owner's session admits devices, but has not the device's place in the tree.
    world.admit(Voice(ines, 3), 4, ines);
    let tree = world.retire(Voice(ines, 3), 4, vec![], &[]);
    assert_eq!(world.roster().device(&key(4)).unwrap().admitted_by, Some(key(3)));
    assert_eq!(world.stands(tree), WRONG_ROLE);
    assert_eq!(world.standing(2, 4, tobi, opened(tobi)), Standing::Counted);
    // The founding device is shared; one that is not opens its page to its own person alone.
    assert_eq!(world.standing(1, 40, maren.0, opened(tobi)), Standing::Counted);
    assert_eq!(world.standing(4, 40, ines, opened(ines)), Standing::Counted);
    assert_eq!(world.standing(4, 40, ines, opened(tobi)), Standing::Without(Lacking::Vouching));
}

#[test]
fn what_counts_by_role_device_and_whose_entry() {
    let mut world = World::new();
    let maren = world.maren();
    let (tobi, ines) =
        (world.list(maren, "Tobi Larch", Role::Hand), world.list(maren, "Ines Quill", Role::Lead));
    let _ = (world.admit(maren, 2, tobi), world.admit(maren, 3, ines));
    let struck = |person| Body::Struck(Struck { of: EntryRef { person, entry: EntryId([3; 16]) } });
    let corrected = |person| {
        let of = EntryRef { person, entry: EntryId([3; 16]) };
        Body::Corrected(Corrected { of, changes: Box::default() })
    };
    let accepted =
        |person| Body::Accepted(ledger::site::Accepted { of: EntryRef { person, entry: EntryId([3; 16]) } });
    let asked =
        || Body::ExtraAsked(ExtraAsked { site: site(), what: "a shelf".into(), asked_by: String::new() });
    let vouching = Standing::Without(Lacking::Vouching);
    let table = [
        (2, tobi, hours(), Standing::Counted),
        (2, ines, hours(), Standing::Proposed),
        (2, ines, asked(), Standing::Proposed),
        (2, ines, signed_off(), vouching),
        (2, ines, accepted(ines), vouching),
        (2, tobi, signed_off(), WRONG_ROLE),
        (2, tobi, struck(tobi), Standing::Counted),
        (2, tobi, struck(ines), WRONG_ROLE),
        (2, tobi, corrected(tobi), Standing::Counted),
        (2, tobi, corrected(maren.0), WRONG_ROLE),
        (2, tobi, accepted(tobi), Standing::Counted),
        (2, tobi, accepted(ines), WRONG_ROLE),
        (2, tobi, job_listed(), WRONG_ROLE),
        (3, ines, signed_off(), Standing::Counted),
        (3, ines, struck(tobi), Standing::Counted),
        (3, ines, accepted(tobi), Standing::Counted),
        (3, tobi, hours(), Standing::Counted),
        (3, maren.0, signed_off(), vouching),
        (3, ines, job_listed(), WRONG_ROLE),
        (1, maren.0, job_listed(), Standing::Counted),
        (1, tobi, hours(), Standing::Counted),
        (1, ines, signed_off(), Standing::Counted),
        (1, tobi, signed_off(), WRONG_ROLE),
        (2, tobi, price_paid(), Standing::Without(Lacking::Audience)),
    ];
    let device_of = [maren.0, tobi, ines];
    for (device, person, body, expected) in table {
        let author = device_of[usize::from(device) - 1];
        let standing = world.standing_by(device, 50, author, person, body.clone());
        assert_eq!(standing, expected, "{device} {body:?}");
    }
    // Nobody's hands but those of the device's own person, whatever they claim.
    assert_eq!(world.standing_by(2, 50, maren.0, tobi, hours()), vouching);
    assert_eq!(world.standing(2, 50, maren.0, hours()), vouching);
    let (office, roster) = (start(2, Audience::Office), world.roster());
    assert_eq!(
        roster.standing(&office, (0, EventHash([0; 32])), &payload(tobi, &[], price_paid())),
        Standing::Counted
    );
    let misplaced = roster.standing(&office, (0, EventHash([0; 32])), &payload(tobi, &[], note()));
    assert_eq!(misplaced, Standing::Without(Lacking::Audience));
}

#[test]
fn money_people_and_lists_are_the_owners() {
    let owners = Kind::ALL.iter().filter(|kind| kind.number() >= 100 || (20..40).contains(&kind.number()));
    // Whoever held a ticket, spoke, or looked round tells of it.
    let told_by_all = [
        Kind::PricePaid,
        Kind::AliasTaught,
        Kind::Surveyed,
        Kind::NeedListed,
        Kind::FillInListed,
        Kind::RoomMeasured,
    ];
    let is_told = |kind: &Kind| told_by_all.contains(kind) || *kind == Kind::LimitSet;
    for kind in owners.filter(|kind| !is_told(kind)) {
        assert_eq!(least_role(*kind), Role::Owner, "{kind:?}");
    }
    let leads: Vec<_> = Kind::ALL.iter().filter(|kind| least_role(**kind) == Role::Lead).collect();
    assert_eq!(leads, [&Kind::LimitSet, &Kind::SignedOff, &Kind::PartDone, &Kind::Reopened]);
}
