//! Photos between two devices in memory: cut anywhere, spoiled, reordered, refused.

mod hostile;
mod world;

use ledger::{PhotoHash, Refusal};
use proptest::prelude::*;
use sync::photos::{GROUP, Portion};
use world::{Device, Link, photo};

/// Two devices that each have some photos, and both name all.
fn pair(lengths: &[(bool, usize)]) -> (Device, Device, Vec<PhotoHash>) {
    let (mut one, mut other) = (Device::keeping(Portion::Whole), Device::keeping(Portion::Whole));
    let mut photos = Vec::new();
    for ((on_one, length), number) in lengths.iter().zip(1..) {
        let device = if *on_one { &mut one } else { &mut other };
        photos.push(device.have(photo(number, *length)));
    }
    one.named.extend(&photos);
    other.named.extend(&photos);
    (one, other, photos)
}

fn groups(device: &Device) -> usize {
    device.whole.values().map(|bytes| bytes.len().div_ceil(GROUP)).sum()
}

#[test]
fn each_gets_what_the_other_has_and_then_nothing_is_said() {
    let lengths =
        [(true, 10), (true, 3 * GROUP), (false, GROUP), (false, 20 * GROUP + 5), (true, 40 * GROUP)];
    let (mut one, mut other, photos) = pair(&lengths);
    let mut link = Link::open(&mut one, &mut other);
    link.run(usize::MAX);
    assert!(link.is_idle());
    assert_eq!(one.whole, other.whole);
    assert_eq!(one.whole.len(), photos.len());
    let mut link = Link::open(&mut one, &mut other);
    link.run(usize::MAX);
    assert_eq!(link.delivered, 4, "an opening and a word that nothing is wanted, each way");
    assert!(link.is_idle());
}

#[test]
fn photos_wait_while_events_are_on_their_way() {
    let (mut one, mut other, photos) = pair(&[(true, 60 * GROUP)]);
    let mut link = Link::open(&mut one, &mut other);
    link.run(12);
    for side in 0..2 {
        link.session(side).handle_quiet(false);
    }
    // What the stream had taken already arrives; nothing more is read, asked for or sent.
    let before = link.under_way.iter().map(|frames| frames.len()).sum::<usize>() + link.delivered;
    link.run(usize::MAX);
    assert_eq!(link.delivered, before);
    for side in 0..2 {
        link.session(side).handle_quiet(true);
    }
    link.run(usize::MAX);
    assert_eq!(other.here(&photos[0]), Portion::Whole);
}

#[test]
fn a_device_gets_as_much_as_it_keeps() {
    for (keeps, here) in [(Portion::Nothing, Portion::Nothing), (Portion::Small, Portion::Small)] {
        let (mut one, mut other, photos) = pair(&[(true, GROUP), (true, 3 * GROUP), (false, 7)]);
        other.keeps = Some(keeps);
        let mut link = Link::open(&mut one, &mut other);
        assert_eq!(link.session(0).peer_keeps(), None, "it has not said so yet, which is not nothing");
        link.run(usize::MAX);
        assert!(link.is_idle());
        let side = link.session(0).peer_keeps();
        assert_eq!(side, Some(keeps));
        assert_eq!(
            photos.iter().map(|photo| other.here(photo)).collect::<Vec<_>>(),
            [here, here, Portion::Whole]
        );
        assert!(photos.iter().all(|photo| one.here(photo) == Portion::Whole), "it still gives what it took");
        assert_eq!(other.written, 0);
    }
}

#[test]
fn who_keeps_more_from_now_on_gets_it_in_the_same_session() {
    let (mut one, mut other, photos) = pair(&[(true, 3 * GROUP)]);
    other.keeps = Some(Portion::Nothing);
    let mut link = Link::open(&mut one, &mut other);
    link.run(usize::MAX);
    link.session(1).handle_keeps(Portion::Whole);
    link.session(1).handle_wanted(&[(photos[0], Portion::Nothing)]);
    link.run(usize::MAX);
    assert_eq!(link.session(0).peer_keeps(), Some(Portion::Whole));
    assert_eq!(other.here(&photos[0]), Portion::Whole);
}

#[test]
fn what_a_peer_may_not_have_it_is_not_told_of_and_not_given() {
    let (mut one, mut other, photos) = pair(&[(true, GROUP), (true, GROUP + 1)]);
    one.kept_back.insert(photos[0]);
    Link::open(&mut one, &mut other).run(usize::MAX);
    assert_eq!(other.here(&photos[0]), Portion::Nothing);
    assert_eq!(other.here(&photos[1]), Portion::Whole);
}

#[test]
fn a_photo_that_came_to_a_peer_meanwhile_is_fetched_then() {
    let (mut one, mut other, _) = pair(&[]);
    let late = photo(9, 2 * GROUP + 9);
    let name = world::hash(&late);
    other.named.insert(name);
    let mut link = Link::open(&mut one, &mut other);
    link.run(usize::MAX);
    link.device(0).have(late);
    assert!(!link.deliver(|_, _| {}), "nobody asks again by itself");
    link.session(0).handle_gained(&[name]);
    link.run(usize::MAX);
    assert_eq!(other.here(&name), Portion::Whole);
}

#[test]
fn a_full_disk_stops_one_photo_after_the_other_and_no_session() {
    let (mut one, mut other, photos) = pair(&[(true, 5 * GROUP), (true, 6 * GROUP), (false, 9)]);
    other.is_full = true;
    let mut link = Link::open(&mut one, &mut other);
    link.run(usize::MAX);
    assert!(link.is_idle());
    assert_eq!((other.ended, one.here(&photos[2])), (None, Portion::Whole));
    other.is_full = false;
    Link::open(&mut one, &mut other).run(usize::MAX);
    assert_eq!(one.whole, other.whole);
}

#[test]
fn a_beginning_that_is_none_of_the_photo_is_cut_off_and_fetched_again() {
    let (mut one, mut other, photos) = pair(&[(true, 8 * GROUP + 3)]);
    let mut begun = photo(1, 6 * GROUP);
    begun[3 * GROUP + 5] ^= 1; // The power failed before this was on the disk.
    other.parts.insert(photos[0], begun);
    Link::open(&mut one, &mut other).run(usize::MAX);
    assert_eq!(other.here(&photos[0]), Portion::Whole);
    assert_eq!(other.written, 6, "from the fourth group on");

    // More than the photo has, and all of it right.
    let (mut one, mut other, photos) = pair(&[(true, 2 * GROUP)]);
    other.parts.insert(photos[0], photo(1, 5 * GROUP));
    Link::open(&mut one, &mut other).run(usize::MAX);
    assert_eq!(other.here(&photos[0]), Portion::Whole);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(48))]

    /// The connection breaks after any number of frames, as often as it likes.
    #[test]
    fn a_cut_transfer_goes_on_behind_the_last_group(
        lengths in prop::collection::vec((any::<bool>(), 1..12 * GROUP), 1..5),
        cuts in prop::collection::vec(1_usize..30, 0..8),
    ) {
        let (mut one, mut other, _) = pair(&lengths);
        let (all, had) = (groups(&one) + groups(&other), (groups(&one), groups(&other)));
        for cut in cuts {
            Link::open(&mut one, &mut other).run(cut);
        }
        Link::open(&mut one, &mut other).run(usize::MAX);
        prop_assert_eq!(&one.whole, &other.whole);
        // A group is written once, unless it is the short last one of a photo that was cut right before its end.
        let needed = (all - had.0) + (all - had.1);
        prop_assert!(one.written + other.written <= needed + lengths.len(), "{} + {} of {needed}", one.written, other.written);
        prop_assert!(one.parts.is_empty() && other.parts.is_empty());
    }

    /// One bit of one frame is another, or two frames come in the wrong order: at worst the session ends. What is kept
    /// is right (the devices assert it), and the next session does the rest.
    #[test]
    fn nothing_wrong_is_ever_kept(
        lengths in prop::collection::vec((any::<bool>(), 1..6 * GROUP), 1..4),
        spoiled in 0_usize..40,
        bit in any::<prop::sample::Index>(),
        swaps in any::<bool>(),
    ) {
        let (mut one, mut other, _) = pair(&lengths);
        let mut link = Link::open(&mut one, &mut other);
        loop {
            if swaps && link.delivered == spoiled && link.under_way[0].len() > 1 {
                link.under_way[0].swap(0, 1);
            }
            let change = |number, frame: &mut Vec<u8>| if !swaps && number == spoiled {
                let bit = bit.index(frame.len() * 8);
                frame[bit / 8] ^= 1 << (bit % 8);
            };
            if !link.deliver(change) {
                break;
            }
        }
        drop(link);
        Link::open(&mut one, &mut other).run(usize::MAX);
        prop_assert_eq!(&one.whole, &other.whole);
    }
}

#[test]
fn who_sends_what_is_not_the_photo_is_refused() {
    let (mut one, mut other, photos) = pair(&[(true, 4 * GROUP)]);
    let mut link = Link::open(&mut one, &mut other);
    // Frames 0 and 1 are the openings, then question, answer, ask, outline, and the groups.
    while link.deliver(|_, frame| {
        if frame.len() > GROUP {
            frame[77] ^= 4;
        }
    }) {}
    assert_eq!(other.ended, Some(Some(Refusal::WrongPhoto)));
    assert_eq!(one.ended, Some(Some(Refusal::WrongPhoto)));
    assert_eq!((other.written, other.here(&photos[0])), (0, Portion::Nothing));
}
