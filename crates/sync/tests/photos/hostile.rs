//! A peer that says whatever it likes.

use ledger::Refusal;
use proptest::prelude::*;
use sync::photos::{GROUP, PhotoOutput, PhotoSession, Portion};

use crate::world::{Device, hash, outline, photo};

/// A device with one photo, whose peer has opened.
fn opened() -> (Device, PhotoSession, Vec<u8>) {
    let mut device = Device::keeping(Portion::Whole);
    let bytes = photo(1, 3 * GROUP);
    device.have(bytes.clone());
    let mut session = device.open();
    session.handle_frame(vec![1, 2]);
    device.pump(&mut session);
    (device, session, bytes)
}

fn ask(photo: &[u8], from: u8) -> Vec<u8> {
    [&[4, 2, from, 0][..], &hash(photo).0].concat()
}

#[track_caller]
fn refused(frames: &[&[u8]], because: Refusal) {
    let (mut device, mut session, _) = opened();
    frames.iter().for_each(|frame| session.handle_frame(frame.to_vec()));
    let sent = device.pump(&mut session);
    assert_eq!(device.ended, Some(Some(because)));
    assert_eq!(sent.last().map(|goodbye| goodbye[0]), Some(10));
    // It is over, and nothing brings it back.
    session.handle_frame(vec![1, 2]);
    assert_eq!(session.poll_output(), None);
}

#[test]
fn who_floods_is_refused() {
    let wall = photo(1, 3 * GROUP);
    let question = [&[2][..], &[9; 32]].concat();
    refused(&[&question, &question], Refusal::UnexpectedFrame);
    let asks = ask(&wall, 0);
    refused(&[&asks, &asks, &asks, &asks, &asks], Refusal::TooMuchClaimed);
}

#[test]
fn who_asks_for_the_same_photo_again_and_again_is_refused() {
    let (mut device, mut session, wall) = opened();
    for _ in 0..8 {
        session.handle_frame(ask(&wall, 0));
        assert_eq!(device.pump(&mut session).len(), 4, "an outline and three groups");
    }
    session.handle_frame(ask(&wall, 0));
    device.pump(&mut session);
    assert_eq!(device.ended, Some(Some(Refusal::TooMuchClaimed)));
}

#[test]
fn what_was_not_asked_for_is_refused() {
    let wall = photo(1, 3 * GROUP);
    let outline_frame =
        [&[5][..], &(3 * 32 * 1024_u32).to_le_bytes(), outline(&wall).groups().as_flattened()].concat();
    refused(&[&outline_frame], Refusal::UnexpectedFrame);
    refused(&[&[6, 1]], Refusal::UnexpectedFrame);
    refused(&[&[7, 1]], Refusal::UnexpectedFrame);
    refused(&[&[8]], Refusal::UnexpectedFrame);
    refused(&[&[3, 2]], Refusal::UnexpectedFrame);
}

#[test]
fn the_outline_of_another_photo_is_refused() {
    let (mut device, mut session, _) = opened();
    let wanted = hash(&photo(2, GROUP));
    device.named.insert(wanted);
    session.handle_wanted(&device.wanted());
    assert_eq!(device.pump(&mut session).len(), 1, "a question");
    session.handle_frame(vec![3, 2]);
    assert_eq!(device.pump(&mut session), [[&[4, 2, 0, 0][..], &wanted.0].concat()]);
    let another = outline(&photo(3, GROUP));
    session.handle_frame([&[5][..], &(GROUP as u32).to_le_bytes(), another.groups().as_flattened()].concat());
    device.pump(&mut session);
    assert_eq!(device.ended, Some(Some(Refusal::WrongPhoto)));
}

#[test]
fn a_photo_that_is_not_here_or_a_group_that_there_is_none_of_is_answered() {
    let (mut device, mut session, wall) = opened();
    session.handle_frame(ask(b"another", 0));
    assert_eq!(device.pump(&mut session), [[8]]);
    session.handle_frame(ask(&wall, 200));
    assert_eq!(
        device.pump(&mut session).len(),
        1,
        "the outline, by which the peer sees that it has more than there is"
    );
    session.handle_frame(ask(&wall, 2));
    assert_eq!(device.pump(&mut session).len(), 2);
}

#[test]
fn a_peer_that_asks_and_never_reads_fills_no_memory() {
    let (mut device, mut session, _) = opened();
    let question = [&[2][..], &vec![9; 1024 * 32]].concat();
    let mut answered = 0;
    for _ in 0..20_000 {
        session.handle_frame(question.clone());
        // The stream takes nothing, so only what is no sending is done.
        while let Some(output) = session.poll_work() {
            let PhotoOutput::Look(photos) = output else { panic!("only questions were asked") };
            session.handle_looked(&vec![Portion::Nothing; photos.len()]);
            answered += 1;
        }
    }
    // An answer has a little more than a kilobyte.
    assert!(answered < 5_000, "{answered}");
    device.pump(&mut session);
    assert_eq!(device.ended, Some(Some(Refusal::TooMuchClaimed)));
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(256))]

    /// Frames of any bytes, of any kind: no panic, and whatever is sent fits a frame.
    #[test]
    fn any_frames_are_survived(
        frames in prop::collection::vec((0_u8..14, prop::collection::vec(any::<u8>(), 0..120)), 0..40),
    ) {
        let (mut device, mut session, wall) = opened();
        device.named.insert(hash(&photo(2, GROUP)));
        session.handle_wanted(&device.wanted());
        for (kind, content) in frames {
            // Now and then something that makes sense.
            let frame = match kind {
                12 => ask(&wall, content.first().copied().unwrap_or(0)),
                13 => vec![3, 2],
                kind => [&[kind][..], &content].concat(),
            };
            session.handle_frame(frame);
            for sent in device.pump(&mut session) {
                prop_assert!(sent.len() <= sync::MAX_FRAME);
            }
        }
    }
}
