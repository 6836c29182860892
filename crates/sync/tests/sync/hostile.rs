//! Peers that say what they must not. The frames are written out by hand, as the format has them.

use ledger::roster_events::Role;
use ledger::{Audience, ChainId, ChainStart, DeviceSecret, Refusal, RunBuilder};
use proptest::prelude::*;
use sync::{CommonGround, Output, Session};

use crate::crew;
use crate::device::{Device, UNKNOWN_KIND};

/// The laptop's session with the hand's phone, and both devices.
fn session() -> (Session, Device, Device) {
    let mut world = crew();
    let hand = world.devices.remove(3);
    let laptop = world.devices.remove(0);
    (Session::new(hand.key(), CommonGround::default(), &laptop.ledger), laptop, hand)
}

fn hello(device: &Device, digest: [u8; 32]) -> Vec<u8> {
    [&[1, 1, 0][..], &device.ledger.crew().0, &digest, &[0; 16]].concat()
}

/// The session after both hellos and a frontier that claims nothing.
fn exchanging() -> (Session, Device, Device) {
    let (mut session, laptop, hand) = session();
    session.handle_frame(&hello(&hand, [9; 32]), &laptop.ledger);
    session.handle_frame(&[2, 1], &laptop.ledger);
    (session, laptop, hand)
}

fn start_frame(start: &ChainStart) -> Vec<u8> {
    [&[3][..], &start.encode()].concat()
}

fn run_frame(bytes: &[u8]) -> Vec<u8> {
    [&[4, 1][..], bytes].concat()
}

/// Feeds frames as a shell would, and gives how it ended.
fn feed(session: &mut Session, device: &mut Device, frames: &[Vec<u8>]) -> (Option<Output>, Vec<Output>) {
    let (mut end, mut others) = (None, Vec::new());
    for frame in std::iter::once(None).chain(frames.iter().map(Some)) {
        if let Some(frame) = frame {
            session.handle_frame(frame, &device.ledger);
        }
        while let Some(output) = session.poll_output() {
            match output {
                Output::TakeInChain(start) => {
                    device.ledger.take_in_chain(start).expect("the session looked before it asked");
                }
                Output::Store(run) => match device.store(&run) {
                    Ok(_) => session.handle_stored(run.chain(), &device.ledger),
                    Err(refusal) => session.handle_refused(run.chain(), refusal, &device.ledger),
                },
                Output::Close(_) | Output::Dismissed(_) => end = Some(output),
                Output::Read { chain, from_seq } => {
                    session.handle_read(chain, device.read(chain, from_seq), &device.ledger);
                }
                Output::Show { chain, from_seq } => {
                    session.handle_shown(device.read(chain, from_seq), &device.ledger);
                }
                Output::Compare(run) => {
                    session.handle_compared(run.next_seq(), device.compare(&run), &device.ledger);
                }
                Output::StoreFork(proof) => {
                    let chain = proof.chain();
                    session.handle_fork_stored(chain, device.store_fork(proof), &device.ledger);
                }
                Output::Send(_) | Output::CaughtUp | Output::SetAside { .. } => others.push(output),
            }
        }
    }
    (end, others)
}

/// Checks that frames end the session with this refusal, told to the peer, and leave nothing behind.
fn refused(began: (Session, Device, Device), frames: &[Vec<u8>], refusal: Refusal) {
    let (mut session, mut laptop, _) = began;
    let held = laptop.events();
    let (end, others) = feed(&mut session, &mut laptop, frames);
    assert_eq!(end, Some(Output::Close(refusal)));
    let goodbye = [&[6][..], &refusal.number().to_le_bytes()].concat();
    assert_eq!(others.last(), Some(&Output::Send(goodbye)));
    assert_eq!(laptop.events(), held, "nothing is stored");
    session.handle_frame(&[9], &laptop.ledger);
    session.handle_ledger_changed(&laptop.ledger);
    assert_eq!(session.poll_output(), None, "nothing is said after the goodbye");
}

/// One run of one event on a chain, signed by whoever.
fn run(start: ChainStart, device: &Device, signer: &DeviceSecret) -> Vec<u8> {
    let mut builder = RunBuilder::new(start, start.tip(&device.ledger.crew()));
    builder.push(3_000, UNKNOWN_KIND, 1, b"forged").expect("room");
    builder.finish(&device.ledger.crew(), signer).expect("one event").0.bytes().to_vec()
}

#[test]
fn frames_that_no_version_has() {
    refused(session(), &[vec![]], Refusal::UnexpectedFrame);
    refused(session(), &[vec![99, 1, 2, 3]], Refusal::UnexpectedFrame);
    refused(session(), &[vec![0; 65_537]], Refusal::FrameTooLarge);
    for frame in
        [vec![7, 0], vec![3, 1], vec![4, 2, 0], vec![4, 1], vec![4], vec![5, 1], vec![6, 1], vec![2, 1]]
    {
        refused(exchanging(), &[frame], Refusal::UnexpectedFrame);
    }
}

#[test]
fn frames_at_the_wrong_point() {
    let (_, _, hand) = session();
    refused(session(), &[vec![2, 1]], Refusal::UnexpectedFrame);
    refused(session(), &[vec![4, 1, 0]], Refusal::UnexpectedFrame);
    refused(session(), &[vec![5]], Refusal::UnexpectedFrame);
    refused(session(), &[vec![7]], Refusal::UnexpectedFrame);
    refused(exchanging(), &[vec![7], vec![7]], Refusal::UnexpectedFrame);
    refused(exchanging(), &[hello(&hand, [9; 32])], Refusal::UnexpectedFrame);
    // A chain's start in the middle of a run.
    let start = start_frame(&hand.chain(Audience::Crew));
    refused(exchanging(), &[start.clone(), vec![4, 0, 1], start], Refusal::UnexpectedFrame);
}

#[test]
fn another_crew_and_another_format() {
    let (_, _, hand) = session();
    let other = Device::founding(77);
    refused(session(), &[hello(&other, [0; 32])], Refusal::WrongCrew);
    let mut newer = hello(&hand, [0; 32]);
    newer[1] = 2;
    newer.truncate(5); // What is behind the number may be anything.
    refused(session(), &[newer], Refusal::OtherFormat);
}

#[test]
fn a_stranger_is_told_nothing_but_goodbye() {
    let (_, laptop, hand) = session();
    let stranger = DeviceSecret::from_seed(&[99; 32]).public();
    let mut session = Session::new(stranger, CommonGround::default(), &laptop.ledger);
    session.handle_frame(&hello(&hand, [0; 32]), &laptop.ledger);
    assert_eq!(session.poll_output(), Some(Output::Send(vec![6, 20, 0])));
    assert_eq!(session.poll_output(), Some(Output::Close(Refusal::Stranger)));
    assert_eq!(session.poll_output(), None);
}

#[test]
fn a_goodbye_ends_it_on_this_side_too() {
    for (number, refusal) in [(21, Some(Refusal::Retired)), (9_999, None)] {
        let (mut session, mut laptop, _) = exchanging();
        let frame = [&[6][..], &u16::to_le_bytes(number)].concat();
        let (end, others) = feed(&mut session, &mut laptop, &[frame]);
        assert_eq!(end, Some(Output::Dismissed(refusal)));
        assert!(!others.iter().any(|output| matches!(output, Output::Send(frame) if frame[0] == 6)));
    }
}

#[test]
fn a_run_with_a_forged_head() {
    let (_, laptop, hand) = session();
    let start = hand.chain(Audience::Crew);
    let forged = run(start, &laptop, &DeviceSecret::from_seed(&[99; 32]));
    refused(exchanging(), &[start_frame(&start), run_frame(&forged)], Refusal::BadSignature);
}

#[test]
fn bytes_that_are_no_run_and_runs_without_end() {
    let (_, _, hand) = session();
    let start = start_frame(&hand.chain(Audience::Crew));
    refused(exchanging(), &[start.clone(), run_frame(&[1; 200])], Refusal::MalformedEnvelope);
    let part = [&[4, 0][..], &[0; 65_534]].concat();
    refused(exchanging(), &[vec![start], vec![part; 18]].concat(), Refusal::TooLarge);
}

#[test]
fn a_run_of_a_chain_that_nobody_announced() {
    let (_, laptop, hand) = session();
    let bytes = run(hand.chain(Audience::Crew), &laptop, &hand.secret);
    refused(exchanging(), &[run_frame(&bytes)], Refusal::UnknownChain);
}

#[test]
fn a_chain_that_changes_its_device_or_comes_twice() {
    let (_, laptop, hand) = session();
    let mut founding = laptop.chain(Audience::Crew);
    founding.device = hand.key();
    refused(exchanging(), &[start_frame(&founding)], Refusal::ChainChanged);
    let start = start_frame(&hand.chain(Audience::Crew));
    refused(exchanging(), &[start.clone(), start], Refusal::UnexpectedFrame);
}

#[test]
fn a_chain_of_a_device_that_nothing_admits_is_left_out_and_the_rest_goes_on() {
    let (mut session, mut laptop, mut hand) = exchanging();
    let secret = DeviceSecret::from_seed(&[99; 32]);
    let start = ChainStart { chain: ChainId([99; 16]), device: secret.public(), audience: Audience::Crew };
    let bytes = run(start, &laptop, &secret);
    hand.log(Audience::Crew, 1, 10);
    let own = hand.chain(Audience::Crew);
    let frames = [
        start_frame(&start),
        run_frame(&bytes),
        start_frame(&own),
        run_frame(hand.read(own.chain, 0).expect("held").bytes()),
    ];
    let (end, others) = feed(&mut session, &mut laptop, &frames);
    assert_eq!(end, None);
    assert!(others.contains(&Output::SetAside { chain: start.chain, refusal: Refusal::NotAdmitted }));
    assert!(laptop.ledger.chain(&start.chain).is_none());
    assert_eq!(laptop.ledger.chain(&own.chain).expect("taken in").tip.next_seq, 1);
}

#[test]
fn more_chains_than_the_limit() {
    let (_, _, hand) = session();
    let tips = |from: u16, last: u8| {
        let mut frame = vec![2, last];
        for number in from..from + 1_000 {
            frame.extend([&number.to_be_bytes()[..], &[0; 14], &[1], &[5; 12]].concat());
        }
        frame
    };
    let frames = [hello(&hand, [9; 32]), tips(0, 0), tips(1_000, 0), tips(2_000, 0), tips(3_000, 0)];
    refused(session(), &[&frames[..], &[tips(4_000, 1)]].concat(), Refusal::TooMuchClaimed);
    // Tips that don't ascend from one part to the next.
    refused(session(), &[frames[0].clone(), tips(1_000, 0), tips(0, 1)], Refusal::UnexpectedFrame);
    let starts: Vec<Vec<u8>> = (0..4_097_u16)
        .map(|number| {
            let mut chain = [0x55; 16];
            chain[..2].copy_from_slice(&number.to_le_bytes());
            start_frame(&ChainStart { chain: ChainId(chain), device: hand.key(), audience: Audience::Crew })
        })
        .collect();
    refused(exchanging(), &starts, Refusal::TooMuchClaimed);
}

#[test]
fn a_stream_that_ends_inside_a_run() {
    let (mut session, laptop, hand) = exchanging();
    session.handle_frame(&start_frame(&hand.chain(Audience::Crew)), &laptop.ledger);
    session.handle_frame(&[4, 0, 1, 2, 3], &laptop.ledger);
    session.handle_end();
    let outputs: Vec<Output> = std::iter::from_fn(|| session.poll_output()).collect();
    assert_eq!(outputs.last(), Some(&Output::Close(Refusal::Truncated)));
}

#[test]
fn who_pairs_with_a_peer_outside_the_crew_ends_it_once_the_roster_is_known() {
    let (_, mut laptop, _) = session();
    let phone = laptop.admit(8, "Ines Quill", Role::Hand, false);
    let mut ours = Session::joining(DeviceSecret::from_seed(&[99; 32]).public(), &phone.ledger);
    let mut theirs = Session::new(phone.key(), CommonGround::default(), &laptop.ledger);
    let mut phone = phone;
    let (mut to_ours, mut to_theirs) = (Vec::new(), Vec::new());
    let mut ended = None;
    for _ in 0..10 {
        let (end, said) = feed(&mut ours, &mut phone, &std::mem::take(&mut to_ours));
        ended = ended.or(end);
        to_theirs.extend(said.into_iter().filter_map(frame));
        let (_, said) = feed(&mut theirs, &mut laptop, &std::mem::take(&mut to_theirs));
        to_ours.extend(said.into_iter().filter_map(frame));
    }
    assert_eq!(ended, Some(Output::Close(Refusal::Stranger)));
}

fn frame(output: Output) -> Option<Vec<u8>> {
    match output {
        Output::Send(frame) => Some(frame),
        _ => None,
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    /// Whatever comes, nothing of it is stored, and the end is a numbered refusal or silence.
    #[test]
    fn noise(frames in prop::collection::vec((1_u8..8, prop::collection::vec(any::<u8>(), 0..200)), 1..12)) {
        let (mut session, mut laptop, _) = exchanging();
        let held = laptop.events();
        let frames: Vec<Vec<u8>> = frames.into_iter().map(|(kind, rest)| [vec![kind], rest].concat()).collect();
        feed(&mut session, &mut laptop, &frames);
        prop_assert_eq!(laptop.events(), held);
    }
}
