//! Taking in runs: what is new, what is known, and what is refused because it does not fit what is held.

mod common;

use common::{MONDAY_MS, chain_id, samples, secret};
use ledger::event::KIND_VERSION;
use ledger::{
    Audience, ChainStart, CrewId, DeviceSecret, EventHash, Kind, Ledger, Refusal, Run, RunBuilder, RunHasher,
    TakenIn, Tip,
};

/// A crew founded on one laptop, and the pieces to write on with.
struct Founded {
    ledger: Ledger,
    start: ChainStart,
    run: Run,
    secret: DeviceSecret,
}

impl Founded {
    fn new(seed: u8) -> Self {
        let secret = secret(seed);
        let founded = samples().into_iter().find(|sample| sample.body.kind() == Kind::CrewFounded).unwrap();
        let payload = founded.encode().unwrap();
        let (ledger, start, run) = Ledger::found(chain_id(seed), &secret, MONDAY_MS, &payload).unwrap();
        Self { ledger, start, run, secret }
    }

    fn tip(&self) -> Tip {
        self.ledger.chain(&self.start.chain).unwrap().tip
    }

    /// Notes behind a tip, told apart by their bytes.
    fn notes(&self, tip: Tip, notes: &[u8]) -> (Run, Tip) {
        let mut builder = RunBuilder::new(self.start, tip);
        for note in notes {
            builder.push(MONDAY_MS, Kind::Note.number(), KIND_VERSION, &[*note]).unwrap();
        }
        builder.finish(&self.ledger.crew(), &self.secret).unwrap()
    }

    fn take_in(&mut self, run: &Run) {
        let Ok(TakenIn::New(checked)) = self.ledger.check_run(run) else { panic!("the run is not new") };
        self.ledger.take_in(&checked);
    }
}

#[test]
fn a_founded_crew_is_named_by_its_first_event() {
    let founded = Founded::new(1);
    let first = founded.start.tip(&CrewId([0; 32]));
    let hashes: Vec<EventHash> = founded.run.placed_events(first.hash).map(|event| event.hash).collect();
    assert_eq!(hashes, [EventHash(founded.ledger.crew().0)]);
    assert_eq!(founded.tip().next_seq, 1);
    assert_eq!(founded.ledger.check_run(&founded.run), Ok(TakenIn::Known));

    let mut other = Ledger::new(founded.ledger.crew());
    other.take_in_chain(founded.start).unwrap();
    let Ok(TakenIn::New(checked)) = other.check_run(&founded.run) else { panic!("the founding is not new") };
    other.take_in(&checked);
    assert_eq!(other.frontier(None), founded.ledger.frontier(None));
    assert_eq!(other.frontier(None).digest(), founded.ledger.frontier(None).digest());
}

#[test]
fn runs_are_new_known_or_out_of_order() {
    let mut founded = Founded::new(1);
    let (first, middle) = founded.notes(founded.tip(), &[1, 2]);
    let (second, after) = founded.notes(middle, &[3]);
    assert_eq!(founded.ledger.check_run(&second), Err(Refusal::OutOfOrder));
    let before = founded.ledger.frontier(None);
    assert!(matches!(founded.ledger.check_run(&first), Ok(TakenIn::New(_))));
    assert_eq!(founded.ledger.frontier(None), before, "looking changes nothing");
    founded.take_in(&first);
    assert_eq!(founded.tip(), middle);
    assert_eq!(founded.ledger.check_run(&first), Ok(TakenIn::Known));

    let joined = first.clone().joined(std::slice::from_ref(&second));
    let Ok(TakenIn::New(checked)) = founded.ledger.check_run(&joined) else { panic!("a part is new") };
    assert_eq!(checked.run(), &second, "only what is not held is taken");
    assert_eq!(*checked.before(), middle);
    founded.ledger.take_in(&checked);
    founded.ledger.take_in(&checked);
    assert_eq!(founded.tip(), after, "the same run taken in twice counts once");
}

#[test]
fn hashes_made_out_before_change_nothing_of_what_is_checked() {
    let mut founded = Founded::new(1);
    let (first, middle) = founded.notes(founded.tip(), &[1, 2]);
    let (second, after) = founded.notes(middle, &[3]);
    let mut hasher = RunHasher::default();
    hasher.begin_at(first.chain(), &founded.ledger);
    let [one, two] = [&first, &second].map(|run| hasher.hash(run.clone()));
    let expected = founded.ledger.check_run(&first);
    assert!(matches!(expected, Ok(TakenIn::New(_))));
    assert_eq!(founded.ledger.check_hashed_run(one.clone()), expected);
    founded.take_in(&first);
    assert_eq!(founded.ledger.check_hashed_run(one), Ok(TakenIn::Known));
    let expected = founded.ledger.check_run(&second);
    assert_eq!(founded.ledger.check_hashed_run(two), expected);
    // Made out from a place that is not held, or not at all: they are made out again.
    for hashed in [RunHasher::default().hash(second.clone()), {
        let mut astray = RunHasher::default();
        astray.begin_at(second.chain(), &Founded::new(1).ledger);
        let _ = astray.hash(founded.notes(Founded::new(1).tip(), &[7, 7]).0);
        astray.hash(second.clone())
    }] {
        assert_eq!(founded.ledger.check_hashed_run(hashed), expected);
    }
    // What was tampered with on its way does not fit its head.
    let mut bytes = second.bytes().to_vec();
    let last = bytes.len() - 65;
    bytes[last] ^= 1;
    let mut hasher = RunHasher::default();
    hasher.begin_at(second.chain(), &founded.ledger);
    let tampered = hasher.hash(Run::decode(bytes).unwrap());
    assert_eq!(founded.ledger.check_hashed_run(tampered), Err(Refusal::Forked));
    founded.take_in(&second);
    assert_eq!(founded.tip(), after);
}

#[test]
fn a_chain_that_goes_two_ways_is_refused() {
    let mut founded = Founded::new(1);
    let (held, _) = founded.notes(founded.tip(), &[1]);
    let (other, _) = founded.notes(founded.tip(), &[2, 3]);
    founded.take_in(&held);
    let tip = founded.tip();
    assert_eq!(founded.ledger.check_run(&other), Err(Refusal::Forked));
    assert_eq!(founded.tip(), tip);
}

#[test]
fn another_way_by_an_earlier_clock_is_a_fork_and_no_time_that_runs_back() {
    let mut founded = Founded::new(1);
    let shared = founded.tip();
    let mut builder = RunBuilder::new(founded.start, shared);
    builder.push(MONDAY_MS + 60_000, Kind::Note.number(), KIND_VERSION, &[1]).unwrap();
    let (held, _) = builder.finish(&founded.ledger.crew(), &founded.secret).unwrap();
    let (other, _) = founded.notes(shared, &[2, 3]);
    founded.take_in(&held);
    assert_eq!(founded.ledger.check_run(&other), Err(Refusal::Forked));
}

#[test]
fn chains_must_be_announced_and_stay_as_they_are() {
    let mut founded = Founded::new(1);
    let stranger = ChainStart { chain: chain_id(9), device: secret(9).public(), audience: Audience::Crew };
    let mut builder = RunBuilder::new(stranger, stranger.tip(&founded.ledger.crew()));
    builder.push(MONDAY_MS, Kind::Note.number(), KIND_VERSION, &[1]).unwrap();
    let (run, _) = builder.finish(&founded.ledger.crew(), &secret(9)).unwrap();
    assert_eq!(founded.ledger.check_run(&run), Err(Refusal::UnknownChain));
    assert_eq!(founded.ledger.take_in_chain(founded.start), Ok(()));
    let changed = ChainStart { audience: Audience::Office, ..founded.start };
    assert_eq!(founded.ledger.take_in_chain(changed), Err(Refusal::ChainChanged));
    assert_eq!(founded.ledger.take_in_chain(stranger), Ok(()));
    assert_eq!(founded.ledger.check_run(&run), Err(Refusal::NotAdmitted));
    assert_eq!(founded.ledger.frontier(None).tips.len(), 1);
}

#[test]
fn another_crew_is_refused() {
    let (ours, theirs) = (Founded::new(1), Founded::new(2));
    let mut ledger = Ledger::new(ours.ledger.crew());
    ledger.take_in_chain(theirs.start).unwrap();
    assert_eq!(ledger.check_run(&theirs.run), Err(Refusal::WrongCrew));

    // A first event that is no founding makes no crew, even where the id is its hash.
    let start = ChainStart { chain: chain_id(5), device: secret(5).public(), audience: Audience::Crew };
    let mut builder = RunBuilder::new(start, start.tip(&CrewId([0; 32])));
    let crew = CrewId(builder.push(MONDAY_MS, Kind::Note.number(), KIND_VERSION, &[1]).unwrap().0);
    let (run, _) = builder.finish(&crew, &secret(5)).unwrap();
    let mut ledger = Ledger::new(crew);
    ledger.take_in_chain(start).unwrap();
    assert_eq!(ledger.check_run(&run), Err(Refusal::WrongCrew));
}

#[test]
fn a_run_that_was_checked_once_is_taken_in_again_by_its_hashes() {
    let founded = Founded::new(1);
    let (run, after) = founded.notes(founded.tip(), b"abc");
    let Ok(TakenIn::New(checked)) = founded.ledger.check_run(&run) else { panic!("the run is new") };
    let hashes = checked.hashes().to_vec();
    assert_eq!(hashes.last(), Some(&after.hash));
    assert_eq!(checked.events().map(|event| (event.seq, event.hash)).collect::<Vec<_>>(), {
        run.placed_events(founded.tip().hash).map(|event| (event.seq, event.hash)).collect::<Vec<_>>()
    });
    let known = founded.ledger.check_known_run(run.clone(), hashes.clone().into());
    assert_eq!(known, Ok(TakenIn::New(checked.clone())));

    // One hash for each event, and only right behind what is held.
    let too_few = founded.ledger.check_known_run(run.clone(), hashes[1..].into());
    assert_eq!(too_few, Err(Refusal::MalformedEnvelope));
    assert_eq!(founded.ledger.check_known_run(run.clone(), [].into()), Err(Refusal::EmptyRun));
    let (ahead, _) = founded.notes(after, b"d");
    assert_eq!(founded.ledger.check_known_run(ahead.clone(), [after.hash].into()), Err(Refusal::OutOfOrder));

    // Other hashes are believed for the time being, and the head tells.
    let mut others = hashes;
    others[2].0[0] ^= 1;
    let mut believing = founded.ledger.clone();
    let Ok(TakenIn::New(wrong)) = believing.check_known_run(run.clone(), others.into()) else {
        panic!("it fits")
    };
    believing.take_in(&wrong);
    assert_eq!(believing.check_head(&run), Err(Refusal::BadSignature));
    let mut right = founded.ledger.clone();
    right.take_in(&checked);
    assert_eq!(right.check_head(&run), Ok(()));
    assert_eq!(right.check_head(&ahead), Err(Refusal::OutOfOrder));
}

#[test]
fn a_known_founding_is_of_the_crew_all_the_same() {
    let founded = Founded::new(1);
    let mut other = Ledger::new(CrewId([9; 32]));
    other.take_in_chain(founded.start).unwrap();
    let hash = EventHash(founded.ledger.crew().0);
    assert_eq!(other.check_known_run(founded.run.clone(), [hash].into()), Err(Refusal::WrongCrew));
}
