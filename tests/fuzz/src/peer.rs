//! A whole session, fed by a peer that lies.

use std::collections::VecDeque;

use ledger::fork::Comparison;
use ledger::{DeviceSecret, Ledger, Run, TakenIn};
use sync::{FrameReader, Output, Session, push_frame};

use crate::corpus;

/// One side of a conversation: its session, and the shell around it as simple as it can be.
struct Side {
    session: Session,
    ledger: Ledger,
    runs: Vec<Run>,
    said: Vec<u8>,
    to_hear: VecDeque<Vec<u8>>,
}

impl Side {
    fn new(session: Session, ledger: Ledger, runs: Vec<Run>) -> Self {
        Self { session, ledger, runs, said: Vec::new(), to_hear: VecDeque::new() }
    }

    /// Does what the session asks for until it asks for nothing more, and gives the frames that it sends.
    fn settle(&mut self) -> Vec<Vec<u8>> {
        let mut sent = Vec::new();
        while let Some(output) = self.session.poll_output() {
            match output {
                Output::Send(frame) => {
                    push_frame(&mut self.said, &frame);
                    sent.push(frame);
                }
                Output::TakeInChain(start) => {
                    if let Err(refusal) = self.ledger.take_in_chain(start) {
                        self.session.handle_refused(start.chain, refusal, &self.ledger);
                    }
                }
                Output::Store(run) => self.store(&run),
                Output::Read { chain, from_seq } => {
                    let holds = |run: &&Run| run.chain() == chain && run.next_seq() > from_seq;
                    let run = self.runs.iter().find(holds).cloned();
                    self.session.handle_read(chain, run, &self.ledger);
                }
                Output::Show { chain, from_seq } => {
                    let holds = |run: &&Run| run.chain() == chain && run.next_seq() > from_seq;
                    let run = self.runs.iter().find(holds).cloned();
                    self.session.handle_shown(run, &self.ledger);
                }
                // What is held is never compared here, so a proof is checked as if its branches left it.
                Output::Compare(run) => {
                    self.session.handle_compared(run.next_seq(), Comparison::Elsewhere, &self.ledger);
                }
                Output::StoreFork(proof) => {
                    let (chain, before) = (proof.chain(), proof.base().hash);
                    let checked = self.ledger.check_fork(&proof, Some(before));
                    if checked == Ok(true) {
                        self.ledger.take_in_fork(proof, None);
                    }
                    self.session.handle_fork_stored(chain, checked.map(drop), &self.ledger);
                }
                Output::CaughtUp | Output::SetAside { .. } | Output::Close(_) | Output::Dismissed(_) => {}
            }
        }
        sent
    }

    fn store(&mut self, run: &Run) {
        match self.ledger.check_run(run) {
            Ok(taken) => {
                if let TakenIn::New(checked) = taken {
                    self.ledger.take_in(&checked);
                    self.runs.push(checked.run().clone());
                }
                self.session.handle_stored(run.chain(), &self.ledger);
            }
            Err(refusal) => self.session.handle_refused(run.chain(), refusal, &self.ledger),
        }
    }
}

/// What a device that is let in and the one that let it in say to each other, one stream each.
#[must_use]
pub fn recorded() -> Vec<Vec<u8>> {
    let (full, _, runs) = corpus::crew();
    let empty = Ledger::new(full.crew());
    let joiner = DeviceSecret::from_seed(&[9; 32]).public();
    let mut home = Side::new(Session::returning(joiner, &full), full, runs);
    let mut new = Side::new(Session::joining(corpus::founder().public(), &empty), empty, Vec::new());
    for _ in 0..100 {
        new.to_hear.extend(home.settle());
        home.to_hear.extend(new.settle());
        for side in [&mut home, &mut new] {
            if let Some(frame) = side.to_hear.pop_front() {
                side.session.handle_frame(&frame, &side.ledger);
            }
        }
    }
    vec![home.said, new.said]
}

/// A session that hears these bytes, of a device that holds the crew's ledger, or of one that joins it; the first byte
/// says which. Whatever it hears, all that it takes in is what the crew's devices signed.
pub fn session(bytes: &[u8]) {
    let Some((first, mut rest)) = bytes.split_first() else { return };
    let (full, start, runs) = corpus::crew();
    let (ledger, runs) =
        if first % 2 == 0 { (full.clone(), runs) } else { (Ledger::new(full.crew()), Vec::new()) };
    let mut side = Side::new(Session::joining(corpus::founder().public(), &ledger), ledger, runs);
    let mut reader = FrameReader::default();
    side.settle();
    while !rest.is_empty() {
        match reader.take_in(&mut rest) {
            Ok(Some(frame)) => side.session.handle_frame(&frame, &side.ledger),
            Ok(None) => {}
            Err(_) => return,
        }
        side.settle();
    }
    side.session.handle_end();
    side.settle();
    assert!(side.session.poll_output().is_none(), "a session that is over asks for nothing");
    let honest = full.chain(&start.chain).map_or(0, |chain| chain.tip.next_seq);
    let held = side.ledger.chain(&start.chain).map_or(0, |chain| chain.tip.next_seq);
    assert!(held <= honest, "nobody but the founder's device writes its chain");
    let before = side.said.len();
    assert!(
        before <= 1024 * 1024 + 4 * bytes.len(),
        "it answers with no more than it holds and was asked for"
    );
}
