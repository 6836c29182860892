//! A book follows from the set of events: not from their order, their number of arrivals, or what
//! was asked of it in between.

use ledger::office::ItemPriced;
use ledger::roster::{Lacking, Standing};
use ledger::site::{Accepted, Changes, Corrected, Struck};
use ledger::{Audience, Body, ChainId, EventHash, Unreadable, codec};
use projections::{Book, Filing, Logged, Taken, questions, reconcile};
use proptest::prelude::*;

use crate::world::{World, amount, entry, item, span, used};

const CREW: [&str; 3] = ["Tobi Larch", "Ines Quill", "Maren Oake"];

/// One thing that somebody does; every number picks from few, so that things meet.
#[derive(Debug, Clone)]
struct Deed {
    what: u8,
    who: usize,
    device: usize,
    target: usize,
    number: u8,
    standing: Standing,
    /// Whether it names everything written before as replaced.
    knows: bool,
}

fn deed() -> impl Strategy<Value = Deed> {
    let standing = prop_oneof![
        6 => Just(Standing::Counted),
        2 => Just(Standing::Proposed),
        1 => Just(Standing::Without(Lacking::Role)),
    ];
    let parts = (0_u8..7, 0..3_usize, 0..3_usize, 0..4_usize, 1_u8..30, standing, any::<bool>());
    parts.prop_map(|(what, who, device, target, number, standing, knows)| Deed {
        what,
        who,
        device,
        target,
        number,
        standing,
        knows,
    })
}

fn world(deeds: &[Deed]) -> World {
    let mut world = World::with_crew();
    world.item("board", "each", "1", "1.00");
    world.stage("GARAGE", "walls", |_| {});
    let mut written: Vec<EventHash> = Vec::new();
    for (index, deed) in deeds.iter().enumerate() {
        let on = format!("2026-11-{:02}", deed.number % 5 + 2);
        let at = format!("{on}T{:02}:00", deed.number % 24);
        let of = entry(CREW[deed.target % 3], &format!("e{}", deed.target));
        let (key, body) = match deed.what {
            0 => (format!("e{}", deed.target), used("GARAGE", "walls", "board", &deed.number.to_string())),
            1 => {
                let to = format!("{on}T{:02}:30", deed.number % 24);
                (format!("e{}", deed.target), span("GARAGE", "walls", &at, &to, 0))
            }
            2 | 3 => {
                let changes =
                    Changes { amount: Some(amount(&deed.number.to_string())), ..Changes::default() };
                (format!("c{index}"), Body::Corrected(Corrected { of, changes: Box::new(changes) }))
            }
            4 => (format!("s{index}"), Body::Struck(Struck { of })),
            5 => (format!("a{index}"), Body::Accepted(Accepted { of })),
            _ => {
                let pack_cost = deed.number.to_string().parse().unwrap();
                (format!("p{index}"), Body::ItemPriced(ItemPriced { item: item("board"), pack_cost }))
            }
        };
        let replaces = if deed.knows { written.as_slice() } else { &[] };
        let (device, who) = (CREW[deed.device], CREW[deed.who]);
        written.push(world.event(device, who, &key, &on, &at, replaces, deed.standing, body));
    }
    world
}

fn bytes(book: &Book) -> Vec<u8> {
    let mut bytes = Vec::new();
    codec::encode_into(book, &mut bytes).unwrap();
    bytes
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::with_cases(96) })]

    #[test]
    fn any_order_any_number_of_times(
        (deeds, order, again) in prop::collection::vec(deed(), 0..24).prop_flat_map(|deeds| {
            // The lists of the world come before the deeds; enough indices for all of them.
            let events = deeds.len() + 32;
            let order = Just((0..events).collect::<Vec<_>>()).prop_shuffle();
            (Just(deeds), order, prop::collection::vec(0..events, 0..16))
        })
    ) {
        let world = world(&deeds);
        let rebuilt = world.office();
        let mut shuffled = Book::new(Audience::Office);
        for index in order.into_iter().chain(again) {
            if let Some(taken) = world.events.get(index) {
                shuffled.take_in(taken.clone());
                // Reading changes nothing.
                if index % 7 == 0 {
                    let _ = (reconcile(&shuffled), questions(&shuffled));
                }
            }
        }
        prop_assert_eq!(&shuffled, &rebuilt);
        prop_assert_eq!(bytes(&shuffled), bytes(&rebuilt));
        prop_assert_eq!(reconcile(&shuffled), reconcile(&rebuilt));
        prop_assert_eq!(questions(&shuffled), questions(&rebuilt));
    }

    #[test]
    fn two_halves_that_parted_and_met_again(
        deeds in prop::collection::vec(deed(), 0..24),
        sides in prop::collection::vec(any::<bool>(), 64),
    ) {
        let world = world(&deeds);
        let mut books = [Book::new(Audience::Office), Book::new(Audience::Office)];
        let of_side = |side: bool| world.events.iter().zip(&sides).filter(move |(_, of)| **of == side);
        for (book, first) in books.iter_mut().zip([true, false]) {
            of_side(first).chain(of_side(!first)).for_each(|(taken, _)| book.take_in(taken.clone()));
        }
        prop_assert_eq!(bytes(&books[0]), bytes(&books[1]));
        prop_assert_eq!(&books[0], &world.office());
    }

    #[test]
    fn filed_in_parts_or_taken_in_one_by_one(
        deeds in prop::collection::vec(deed(), 0..24),
        parts in prop::collection::vec(0..4_usize, 64),
        again in prop::collection::vec(0..64_usize, 0..16),
        sealed in prop::collection::vec(any::<u8>(), 0..3),
        office in any::<bool>(),
    ) {
        let world = world(&deeds);
        let audience = if office { Audience::Office } else { Audience::Crew };
        let mut rebuilt = world.book(audience);
        let mut filings: [Filing; 3] = Default::default();
        let twice = again.iter().filter_map(|index| world.events.get(*index));
        for (taken, part) in world.events.iter().chain(twice).zip(parts.iter().cycle()) {
            let Taken { hash, chain, seq, made_at, payload, .. } = taken.clone();
            filings[part % 3].add(hash, chain, seq, made_at, payload);
        }
        for (number, byte) in sealed.into_iter().enumerate() {
            let (hash, chain) = (EventHash([byte; 32]), ChainId([byte; 16]));
            let reason = if byte % 2 == 0 { Unreadable::Sealed } else { Unreadable::Malformed };
            rebuilt.take_in_unreadable(hash, chain, 7, reason);
            filings[number % 3].add_unreadable(hash, chain, 7, reason);
        }
        let said = |logged: &Logged| {
            world.events.iter().find(|taken| taken.hash == logged.hash).map_or(Standing::Proposed, |taken| taken.standing)
        };
        let mut filed = Book::of(audience, filings.into_iter().map(|filing| filing.judged(audience, said)));
        prop_assert_eq!(&filed, &rebuilt);
        prop_assert_eq!(bytes(&filed), bytes(&rebuilt));
        // A change of the roster, and back.
        filed.judge_again(|_| true, |_| Standing::Without(Lacking::Person));
        prop_assert!(filed.entries().next().is_none());
        filed.judge_again(|_| true, said);
        prop_assert_eq!(bytes(&filed), bytes(&rebuilt));
        // A change that touches what makes the roster and one person's writing: only that is looked at, and all of it.
        let touched = world.events.first().map(|taken| taken.payload.act.author);
        let changed = |logged: &Logged| {
            let is_touched = logged.body.kind().is_roster() || Some(logged.act.author) == touched;
            if is_touched { Standing::Without(Lacking::Role) } else { logged.standing }
        };
        filed.judge_again(|by| Some(by.author) == touched, changed);
        rebuilt.judge_again(|_| true, changed);
        prop_assert_eq!(bytes(&filed), bytes(&rebuilt));
        let none = |logged: &Logged| if logged.body.kind().is_roster() { Standing::Proposed } else { logged.standing };
        filed.judge_again(|_| false, none);
        rebuilt.judge_again(|_| true, none);
        prop_assert_eq!(bytes(&filed), bytes(&rebuilt));
    }

    #[test]
    fn the_crews_book_is_the_same_with_and_without_the_offices_chains(
        deeds in prop::collection::vec(deed(), 0..24)
    ) {
        let world = world(&deeds);
        let mut without = Book::new(Audience::Crew);
        for taken in &world.events {
            if taken.payload.body.kind().carried() != ledger::kinds::Carried::Office {
                without.take_in(taken.clone());
            }
        }
        prop_assert_eq!(bytes(&without), bytes(&world.book(Audience::Crew)));
    }
}
