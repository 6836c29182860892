//! What the envelope promises: whatever bytes arrive, they are taken whole, or refused by name, or
//! count for nothing; and nothing that was signed can be changed unseen.

mod common;

use std::sync::LazyLock;

use common::{MONDAY_MS, act, chain_id, samples, secret};
use ledger::act::{MAX_REPLACES, MAX_ROW_KEY, MAX_WORDS};
use ledger::chain::{head_bytes, verify_signature};
use ledger::codec::MAX_PAYLOAD;
use ledger::event::{KIND_VERSION, NotWritable};
use ledger::run::MAX_RUN;
use ledger::site::QuestionSettled;
use ledger::{
    Act, Audience, Body, ChainStart, CrewId, DeviceSecret, EventHash, Kind, Payload, Refusal, Run,
    RunBuilder, Tip, Unreadable,
};
use proptest::prelude::*;

const CREW: CrewId = CrewId([0x42; 32]);

static SAMPLES: LazyLock<Vec<(u16, Vec<u8>)>> = LazyLock::new(|| {
    samples().iter().map(|sample| (sample.body.kind().number(), sample.encode().unwrap())).collect()
});

fn start() -> ChainStart {
    ChainStart { chain: chain_id(7), device: secret(1).public(), audience: Audience::Crew }
}

/// A run of events whose kinds this program does not know, behind `tip`.
fn run_behind(tip: Tip, secret: &DeviceSecret, events: &[(i64, u16, Vec<u8>)]) -> (Run, Tip) {
    let mut builder = RunBuilder::new(start(), tip);
    for (now_ms, kind, payload) in events {
        builder.push(*now_ms, *kind, KIND_VERSION, payload).unwrap();
    }
    builder.finish(&CREW, secret).unwrap()
}

fn small_run() -> (Run, Tip) {
    let events =
        [(MONDAY_MS, 40, vec![1, 2, 3]), (MONDAY_MS + 5, 9_999, Vec::new()), (MONDAY_MS, 41, vec![4; 40])];
    run_behind(start().tip(&CREW), &secret(1), &events)
}

fn hashes(run: &Run, before: EventHash) -> Vec<EventHash> {
    run.placed_events(before).map(|event| event.hash).collect()
}

/// Whatever a reader takes it must write again byte for byte, or two devices could hash one payload apart.
fn written_again(kind: u16, bytes: &[u8]) -> Result<bool, TestCaseError> {
    let Ok(payload) = Payload::decode(kind, KIND_VERSION, bytes) else { return Ok(false) };
    prop_assert_eq!(payload.encode().unwrap(), bytes);
    Ok(true)
}

// ---- payloads ----------------------------------------------------------------------------------

/// Every byte of every sample, changed in three ways. Some must be taken and some refused, or this
/// would check nothing.
#[test]
fn a_changed_payload_is_refused_or_written_again_the_same() {
    let (mut taken, mut refused) = (0_u32, 0_u32);
    for (kind, bytes) in SAMPLES.iter() {
        for at in 0..bytes.len() {
            for change in [0x01, 0x80, 0xff] {
                let mut changed = bytes.clone();
                changed[at] ^= change;
                if written_again(*kind, &changed).unwrap() { taken += 1 } else { refused += 1 }
            }
        }
    }
    assert!(taken > 10_000 && refused > 10_000, "{taken} taken, {refused} refused");
}

#[test]
fn a_payload_that_is_cut_off_or_too_long_is_refused() {
    for (kind, bytes) in SAMPLES.iter() {
        for end in 0..bytes.len() {
            let read = Payload::decode(*kind, KIND_VERSION, &bytes[..end]);
            assert_eq!(read, Err(Unreadable::Malformed), "kind {kind}, {end} bytes");
        }
        let trailing = [bytes.as_slice(), &[0]].concat();
        assert_eq!(Payload::decode(*kind, KIND_VERSION, &trailing), Err(Unreadable::Malformed));
    }
}

#[test]
fn what_this_version_does_not_know_is_named() {
    let (kind, bytes) = SAMPLES.first().unwrap();
    assert_eq!(Payload::decode(*kind, 2, bytes), Err(Unreadable::UnknownKind));
    assert_eq!(Payload::decode(19, KIND_VERSION, bytes), Err(Unreadable::UnknownKind));
    let mut wrapped = bytes.clone();
    wrapped[0] = 1;
    assert_eq!(Payload::decode(*kind, KIND_VERSION, &wrapped), Err(Unreadable::Sealed));
    wrapped[0] = 2;
    assert_eq!(Payload::decode(*kind, KIND_VERSION, &wrapped), Err(Unreadable::Malformed));
}

fn question(length: usize) -> Payload {
    let body = Body::QuestionSettled(QuestionSettled {
        question: "é".repeat(length / 2) + &"q".repeat(length % 2),
    });
    Payload { act: act(Kind::QuestionSettled, 1), body }
}

#[test]
fn the_largest_payload_is_read_and_one_byte_more_is_not_written() {
    let around = question(0).encode().unwrap().len();
    let largest = question(MAX_PAYLOAD - around);
    let bytes = largest.encode().unwrap();
    assert_eq!(bytes.len(), MAX_PAYLOAD);
    assert_eq!(Payload::decode(Kind::QuestionSettled.number(), KIND_VERSION, &bytes), Ok(largest));
    assert_eq!(question(MAX_PAYLOAD - around + 1).encode(), Err(NotWritable::TooLarge));
}

/// Readers refuse what writers may not write: the bytes come from an act that nobody checked.
#[test]
fn an_act_beyond_its_limits_is_neither_written_nor_read() {
    let good = act(Kind::Struck, 0);
    let many = |count: usize| -> Vec<EventHash> {
        (0..count)
            .map(|at| EventHash(std::array::from_fn(|byte| at.to_be_bytes().get(byte).copied().unwrap_or(0))))
            .collect()
    };
    let twice = vec![EventHash([1; 32]); 2];
    let falling = vec![EventHash([2; 32]), EventHash([1; 32])];
    let within = [
        Act { note: "n".repeat(MAX_WORDS), said: "s".repeat(MAX_WORDS), ..good.clone() },
        Act { row_key: "k".repeat(MAX_ROW_KEY), ..good.clone() },
        Act { done_at: Some(24 * 60 - 1), ..good.clone() },
        Act { replaces: many(MAX_REPLACES), ..good.clone() },
    ];
    let beyond = [
        Act { note: "n".repeat(MAX_WORDS + 1), ..good.clone() },
        Act { said: "s".repeat(MAX_WORDS + 1), ..good.clone() },
        Act { row_key: "k".repeat(MAX_ROW_KEY + 1), ..good.clone() },
        Act { done_at: Some(24 * 60), ..good.clone() },
        Act { replaces: many(MAX_REPLACES + 1), ..good.clone() },
        Act { replaces: twice, ..good.clone() },
        Act { replaces: falling, ..good },
    ];
    let struck = samples().into_iter().find(|sample| sample.body.kind() == Kind::Struck).unwrap();
    let unchecked = |act: &Act| {
        let mut bytes = vec![0];
        ledger::codec::encode_into(act, &mut bytes).unwrap();
        let Body::Struck(content) = &struck.body else { unreachable!("the sample is a strike") };
        ledger::codec::encode_into(content, &mut bytes).unwrap();
        bytes
    };
    let kind = Kind::Struck.number();
    for act in within {
        let bytes = unchecked(&act);
        let payload = Payload { act, body: struck.body.clone() };
        assert_eq!(payload.encode().as_ref(), Ok(&bytes));
        assert_eq!(Payload::decode(kind, KIND_VERSION, &bytes), Ok(payload));
    }
    for act in beyond {
        assert_eq!(Payload::decode(kind, KIND_VERSION, &unchecked(&act)), Err(Unreadable::Malformed));
        let payload = Payload { act, body: struck.body.clone() };
        assert!(matches!(payload.encode(), Err(NotWritable::Act(_))));
    }
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2_000))]

    #[test]
    fn arbitrary_bytes_never_panic(kind in 0_u16..130, bytes in prop::collection::vec(any::<u8>(), 0..400)) {
        written_again(kind, &[&[0], bytes.as_slice()].concat())?;
        written_again(kind, &bytes)?;
        let _ = Run::decode(bytes.clone());
        if let Ok(start) = ChainStart::decode(&bytes) {
            prop_assert_eq!(&start.encode()[..], bytes.as_slice());
        }
    }

    /// Samples with bytes changed, put in or taken out, read as any kind.
    #[test]
    fn a_mangled_payload_is_refused_or_written_again_the_same(
        sample in any::<prop::sample::Index>(),
        kind in any::<prop::sample::Index>(),
        same_kind in any::<bool>(),
        cuts in prop::collection::vec((any::<prop::sample::Index>(), 0_usize..3, prop::collection::vec(any::<u8>(), 0..3)), 0..4),
    ) {
        let (own, bytes) = sample.get(&SAMPLES);
        let mut bytes = bytes.clone();
        for (at, taken_out, put_in) in cuts {
            let at = at.index(bytes.len() + 1);
            let end = (at + taken_out).min(bytes.len());
            bytes.splice(at..end, put_in);
        }
        written_again(if same_kind { *own } else { kind.get(Kind::ALL).number() }, &bytes)?;
    }

    /// A price ends in a rate: any mantissa is taken, also the lowest, and any scale up to nine.
    #[test]
    fn every_number_is_written_again_the_same(mantissa in any::<i64>(), scale in 0_u8..12) {
        let kind = Kind::ItemPriced.number();
        for mantissa in [mantissa, 0, i64::MIN, i64::MAX] {
            let (_, sample) = SAMPLES.iter().find(|(number, _)| *number == kind).unwrap();
            let mut bytes = sample[..sample.len() - 9].to_vec();
            bytes.extend(mantissa.to_le_bytes());
            bytes.push(scale);
            prop_assert_eq!(written_again(kind, &bytes)?, scale <= 9);
        }
    }
}

/// The lowest offset has no positive counterpart, so a check of its size must not negate it.
#[test]
fn a_clock_too_far_from_utc_is_refused() {
    let kind = Kind::SessionClosed.number();
    let (_, sample) = SAMPLES.iter().find(|(number, _)| *number == kind).unwrap();
    // The wrapping byte, person, author, entry, day, and the minute that was said; then the moment's instant.
    let at = 1 + 16 + 16 + 16 + 4 + 3 + 8;
    let with = |offset_min: i16| {
        let mut bytes = sample.clone();
        bytes[at..at + 2].copy_from_slice(&offset_min.to_le_bytes());
        Payload::decode(kind, KIND_VERSION, &bytes).map(|payload| payload.act.logged_at.offset_min())
    };
    for within in [-1_080, -150, 0, 60, 1_080] {
        assert_eq!(with(within), Ok(within));
    }
    for beyond in [i16::MIN, i16::MIN + 1, -1_081, 1_081, i16::MAX] {
        assert_eq!(with(beyond), Err(Unreadable::Malformed), "{beyond}");
    }
}

// ---- chain starts and runs ---------------------------------------------------------------------

#[test]
fn a_chain_start_has_one_width_and_two_audiences() {
    let bytes = start().encode();
    assert_eq!(ChainStart::decode(&bytes), Ok(start()));
    assert_eq!(ChainStart::decode(&bytes[..48]), Err(Refusal::MalformedEnvelope));
    assert_eq!(ChainStart::decode(&[&bytes[..], &[0]].concat()), Err(Refusal::MalformedEnvelope));
    let mut third = bytes;
    third[48] = 2;
    assert_eq!(ChainStart::decode(&third), Err(Refusal::MalformedEnvelope));
}

#[test]
fn an_anchor_depends_on_everything_in_the_start_and_on_the_crew() {
    let anchors = [
        start().anchor(&CREW),
        start().anchor(&CrewId([0x43; 32])),
        ChainStart { chain: chain_id(8), ..start() }.anchor(&CREW),
        ChainStart { device: secret(2).public(), ..start() }.anchor(&CREW),
        ChainStart { audience: Audience::Office, ..start() }.anchor(&CREW),
    ];
    let distinct: std::collections::BTreeSet<_> = anchors.iter().collect();
    assert_eq!(distinct.len(), anchors.len());
}

#[test]
fn a_flip_of_any_bit_of_a_run_is_noticed() {
    let (run, _) = small_run();
    let tip = start().tip(&CREW);
    for at in 0..run.bytes().len() {
        for change in (0..8).map(|bit| 1 << bit) {
            let mut flipped = run.bytes().to_vec();
            flipped[at] ^= change;
            let outcome = Run::decode(flipped).and_then(|run| run.verify(&CREW, &start(), &tip));
            assert!(outcome.is_err(), "byte {at} xor {change}");
        }
    }
}

#[test]
fn a_run_that_is_cut_off_or_too_long_is_refused() {
    let (run, _) = small_run();
    for end in 0..run.bytes().len() {
        assert_eq!(Run::decode(run.bytes()[..end].to_vec()), Err(Refusal::MalformedEnvelope), "{end} bytes");
    }
    let trailing = [&run.bytes()[..], &[0]].concat();
    assert_eq!(Run::decode(trailing), Err(Refusal::MalformedEnvelope));
    let mut empty = run.bytes()[..28].to_vec();
    empty[24..].fill(0);
    empty.extend([0; 64]);
    assert_eq!(Run::decode(empty), Err(Refusal::EmptyRun));
}

#[test]
fn a_run_past_the_last_sequence_number_is_refused() {
    let (run, _) = small_run();
    let at = |first_seq: u64| {
        let mut bytes = run.bytes().to_vec();
        bytes[16..24].copy_from_slice(&first_seq.to_le_bytes());
        Run::decode(bytes).map(|run| run.next_seq())
    };
    assert_eq!(at(u64::MAX - 3), Ok(u64::MAX));
    assert_eq!(at(u64::MAX - 2), Err(Refusal::MalformedEnvelope));
}

#[test]
fn a_run_of_another_crew_device_chain_or_past_is_refused() {
    let (run, after) = small_run();
    let tip = start().tip(&CREW);
    assert_eq!(run.verify(&CREW, &start(), &tip), Ok(after));
    assert_eq!(run.verify(&CrewId([0x43; 32]), &start(), &tip), Err(Refusal::BadSignature));
    let other_device = ChainStart { device: secret(2).public(), ..start() };
    assert_eq!(run.verify(&CREW, &other_device, &tip), Err(Refusal::BadSignature));
    let other_chain = ChainStart { chain: chain_id(8), ..start() };
    assert_eq!(run.verify(&CREW, &other_chain, &tip), Err(Refusal::OutOfOrder));
    let other_past = Tip { hash: EventHash([9; 32]), ..tip };
    assert_eq!(run.verify(&CREW, &start(), &other_past), Err(Refusal::BadSignature));
    assert_eq!(run.verify(&CREW, &start(), &Tip { next_seq: 1, ..tip }), Err(Refusal::OutOfOrder));
    let (forged, _) = run_behind(tip, &secret(2), &[(MONDAY_MS, 40, vec![1])]);
    assert_eq!(forged.verify(&CREW, &start(), &tip), Err(Refusal::BadSignature));
}

/// The identity is a point of small order: under that key the signature (R = identity, S = 0)
/// satisfies the verification equation of RFC 8032, section 5.1.7, for every message.
#[test]
fn a_key_under_which_everything_is_signed_is_refused() {
    let mut identity = [0; 32];
    identity[0] = 1;
    let mut signature = [0; 64];
    signature[0] = 1;
    let device = ledger::DeviceKey(identity);
    assert_eq!(verify_signature(&device, b"anything", &signature), Err(Refusal::BadSignature));
}

/// A second form of a signature, S + L, must not pass: RFC 8032, section 5.1.7, wants S below L.
#[test]
fn a_second_form_of_a_signature_is_refused() {
    // L = 2^252 + 27742317777372353535851937790883648493, RFC 8032, section 5.1, little-endian.
    const L: [u8; 32] = [
        0xed, 0xd3, 0xf5, 0x5c, 0x1a, 0x63, 0x12, 0x58, 0xd6, 0x9c, 0xf7, 0xa2, 0xde, 0xf9, 0xde, 0x14, 0, 0,
        0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0x10,
    ];
    let message = head_bytes(&CREW, &chain_id(7), 0, &EventHash([3; 32]));
    let mut signature = secret(1).sign(&message);
    assert_eq!(verify_signature(&secret(1).public(), &message, &signature), Ok(()));
    let mut carry = 0_u16;
    for (byte, add) in signature[32..].iter_mut().zip(L) {
        let sum = u16::from(*byte) + u16::from(add) + carry;
        *byte = sum.to_le_bytes()[0];
        carry = sum >> 8;
    }
    assert_eq!(carry, 0);
    assert_eq!(verify_signature(&secret(1).public(), &message, &signature), Err(Refusal::BadSignature));
}

/// A builder never lets time fall, so the falling run is put together by hand and honestly signed.
#[test]
fn time_that_runs_back_is_refused() {
    let tip = start().tip(&CREW);
    let (run, _) = run_behind(tip, &secret(1), &[(MONDAY_MS, 40, vec![1]), (MONDAY_MS - 1, 40, vec![2])]);
    let times: Vec<i64> = run.events().map(|event| event.made_at).collect();
    assert_eq!(times, [MONDAY_MS, MONDAY_MS], "a clock that was turned back does not turn the chain back");

    let mut bytes = run.bytes().to_vec();
    let second = 28 + 16 + 1;
    bytes[second..second + 8].copy_from_slice(&(MONDAY_MS - 1).to_le_bytes());
    let falling = Run::decode(bytes.clone()).unwrap();
    let last = *hashes(&falling, tip.hash).last().unwrap();
    let length = bytes.len();
    bytes[length - 64..].copy_from_slice(&secret(1).sign(&head_bytes(&CREW, &start().chain, 1, &last)));
    let falling = Run::decode(bytes).unwrap();
    assert_eq!(falling.verify(&CREW, &start(), &tip), Err(Refusal::TimeRunsBack));
    let later = Tip { made_at: MONDAY_MS + 1, ..tip };
    assert_eq!(run.verify(&CREW, &start(), &later), Err(Refusal::TimeRunsBack));
}

#[test]
fn what_is_too_large_is_refused() {
    let mut builder = RunBuilder::new(start(), start().tip(&CREW));
    let largest = vec![0; MAX_PAYLOAD];
    assert_eq!(builder.push(0, 40, 1, &vec![0; MAX_PAYLOAD + 1]), Err(Refusal::TooLarge));
    for _ in 0..3 {
        builder.push(0, 40, 1, &largest).unwrap();
    }
    assert_eq!(builder.push(0, 40, 1, &largest), Err(Refusal::TooLarge), "the run would pass 1 MiB");
    let (run, tip) = builder.finish(&CREW, &secret(1)).unwrap();
    assert_eq!(run.count(), 3, "what was refused is not in the run");
    assert_eq!(run.verify(&CREW, &start(), &start().tip(&CREW)), Ok(tip));

    assert_eq!(Run::decode(vec![0; MAX_RUN + 1]), Err(Refusal::TooLarge));
    let mut one_too_long = run.bytes()[..28].to_vec();
    one_too_long[24..].copy_from_slice(&1_u32.to_le_bytes());
    one_too_long.extend([0; 12]);
    one_too_long.extend(u32::try_from(MAX_PAYLOAD + 1).unwrap().to_le_bytes());
    one_too_long.extend(vec![0; MAX_PAYLOAD + 1 + 64]);
    assert_eq!(Run::decode(one_too_long), Err(Refusal::MalformedEnvelope));
    let (next, _) = run_behind(tip, &secret(1), &[(0, 40, largest)]);
    assert_eq!(run.clone().joined(&[next]), run, "both together pass 1 MiB");
}

fn events() -> impl Strategy<Value = Vec<(i64, u16, Vec<u8>)>> {
    let event = (-10_000_i64..10_000, any::<u16>(), prop::collection::vec(any::<u8>(), 0..60));
    prop::collection::vec(event, 1..12)
}

proptest! {
    #[test]
    fn runs_round_trip_and_keep_their_hashes_when_cut_and_joined(events in events(), at in any::<prop::sample::Index>()) {
        let tip = start().tip(&CREW);
        let (whole, after) = run_behind(tip, &secret(1), &events);
        prop_assert_eq!(Run::decode(whole.bytes().to_vec()), Ok(whole.clone()));
        prop_assert_eq!(whole.verify(&CREW, &start(), &tip), Ok(after));
        let all = hashes(&whole, tip.hash);
        let whole_events = whole.whole_events(tip.hash);
        prop_assert_eq!(whole_events.iter().map(ledger::Event::hash).collect::<Vec<_>>(), all.clone());
        for (event, (_, kind, payload)) in whole_events.iter().zip(&events) {
            prop_assert_eq!((event.kind, &event.payload), (*kind, payload));
        }

        let split = at.index(events.len());
        let rest = whole.clone().starting_at(u64::try_from(split).unwrap()).unwrap();
        prop_assert_eq!(Run::decode(rest.bytes().to_vec()), Ok(rest.clone()));
        let before = if split == 0 { tip.hash } else { all[split - 1] };
        prop_assert_eq!(hashes(&rest, before), all[split..].to_vec());
        prop_assert_eq!(whole.clone().starting_at(whole.next_seq()), None);
        if split > 0 {
            let (first, middle) = run_behind(tip, &secret(1), &events[..split]);
            prop_assert_eq!(rest.verify(&CREW, &start(), &middle), Ok(after));
            let (second, _) = run_behind(middle, &secret(1), &events[split..]);
            prop_assert_eq!(&second, &rest);
            prop_assert_eq!(second.clone().joined(std::slice::from_ref(&first)), second.clone());
            // Whatever stands behind one that does not follow is left out, too.
            let behind = [second.clone(), first.clone(), second];
            prop_assert_eq!(first.clone().joined(&behind), whole.clone());
            let each = (0..events.len()).filter_map(|at| {
                let (_, before) = if at == 0 { return None } else { run_behind(tip, &secret(1), &events[..at]) };
                Some(run_behind(before, &secret(1), &events[at..=at]).0)
            });
            let alone = run_behind(tip, &secret(1), &events[..1]).0;
            prop_assert_eq!(alone.joined(&each.collect::<Vec<_>>()), whole);
        }
    }

    #[test]
    fn a_mangled_run_is_refused(
        events in events(),
        at in any::<prop::sample::Index>(),
        taken_out in 0_usize..20,
        put_in in prop::collection::vec(any::<u8>(), 0..20),
    ) {
        let tip = start().tip(&CREW);
        let (run, _) = run_behind(tip, &secret(1), &events);
        let mut bytes = run.bytes().to_vec();
        let at = at.index(bytes.len());
        let end = (at + taken_out).min(bytes.len());
        bytes.splice(at..end, put_in);
        prop_assume!(bytes != run.bytes()[..]);
        prop_assert!(Run::decode(bytes).and_then(|run| run.verify(&CREW, &start(), &tip)).is_err());
    }
}
