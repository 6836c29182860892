//! One connection's replication, as a state machine. See the crate's words for who sees what.

mod greeting;

use std::collections::{BTreeMap, VecDeque};

use ledger::fork::Comparison;
use ledger::{ChainId, DeviceKey, Frontier, Ledger, Refusal, Run};

use crate::forks::{Forks, Part};
use crate::message::{self, Message};
use crate::output::Output;
use crate::receiving::Receiving;
use crate::sending::Sending;
use crate::tips::{CommonGround, Tip, Tips, tips_of};

/// How far the two sides have come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stage {
    /// The peer's hello is awaited.
    Greeting,
    /// The frontiers differ, and the peer's is awaited.
    Comparing,
    /// What the peer holds is known; each side sends what the other lacks.
    Exchanging,
    /// It is over.
    Closed,
}

/// One connection to an authenticated peer. Both sides run the same.
///
/// After every `handle_…` call, poll until [`Session::poll_output`] gives nothing.
#[derive(Debug)]
pub struct Session {
    peer: DeviceKey,
    stage: Stage,
    /// The roster does not list the peer. Until it does, and all that the peer has was received, nothing is told or
    /// given but that it is heard: what it brings is signed by devices of the crew, whoever brings it.
    hears_first: bool,
    /// This side's hello was said.
    spoke: bool,
    /// What was held before is acknowledged to a peer that was heard first.
    told_what_is_held: bool,
    /// The peer has proved to hold the crew's recovery words.
    returning: bool,
    /// What this side's hello was about.
    greeted_with: Frontier,
    /// What both sides remember; nothing where they remember otherwise.
    common: CommonGround,
    /// The parts so far of what has changed in the peer's frontier since.
    claims: Tips,
    /// The peer has said that it sent all that was lacking here when the exchange began.
    all_received: bool,
    /// The same has been said to the peer.
    all_sent: bool,
    receiving: Receiving,
    sending: Sending,
    forks: Forks,
    work: VecDeque<Output>,
    caught_up: bool,
    /// The peer lost its rights during the session: it is still sent the crew's events up to here,
    /// among them the one that says so.
    farewell: Option<(Refusal, Tips)>,
    /// To be given out once the goodbye is.
    closing: Option<Refusal>,
}

impl Session {
    /// A session with a device of the crew, given what both last knew both to hold. A retired device gets a goodbye.
    /// One that is not listed may have been let in without this device having heard of it: if it knows the crew, it
    /// is heard first, and gets a goodbye unless the roster lists it then.
    #[must_use]
    pub fn new(peer: DeviceKey, common: CommonGround, ledger: &Ledger) -> Self {
        Self::begin(peer, common, ledger)
    }

    /// The first session of a device that was just paired: its ledger is empty, so its roster can't
    /// say who the peer is. Pairing has proved it, so it is spoken to first. Once all is held, the roster must agree.
    #[must_use]
    pub fn joining(peer: DeviceKey, ledger: &Ledger) -> Self {
        let mut session = Self::begin(peer, CommonGround::default(), ledger);
        session.speak(ledger);
        session
    }

    /// A session with a device that has proved to hold the crew's recovery words, and that the roster may not
    /// know. It is served like a device of the crew, and what it writes counts once the words say so.
    #[must_use]
    pub fn returning(peer: DeviceKey, ledger: &Ledger) -> Self {
        let mut session = Self::begin(peer, CommonGround::default(), ledger);
        session.returning = true;
        session.hears_first = false;
        session.speak(ledger);
        session
    }

    fn begin(peer: DeviceKey, common: CommonGround, ledger: &Ledger) -> Self {
        let greeted_with = ledger.frontier(None);
        let mut session = Self {
            peer,
            stage: Stage::Greeting,
            hears_first: ledger.roster().device(&peer).is_none(),
            spoke: false,
            told_what_is_held: false,
            returning: false,
            greeted_with,
            common,
            claims: Tips::new(),
            all_received: false,
            all_sent: false,
            receiving: Receiving::default(),
            sending: Sending::default(),
            forks: Forks::default(),
            work: VecDeque::new(),
            caught_up: false,
            farewell: None,
            closing: None,
        };
        match session.lost_rights(ledger) {
            Some(refusal) => session.close(refusal),
            None if session.hears_first => {}
            None => session.speak(ledger),
        }
        session
    }

    /// The peer.
    #[must_use]
    pub const fn peer(&self) -> DeviceKey {
        self.peer
    }

    /// Whether the peer has yet to show that it knows the crew.
    #[must_use]
    pub fn waits_for_hello(&self) -> bool {
        !self.spoke && self.stage != Stage::Closed
    }

    /// Takes in a frame, without its length.
    pub fn handle_frame(&mut self, frame: &[u8], ledger: &Ledger) {
        if self.stage == Stage::Closed {
            return;
        }
        match Message::decode(frame).and_then(|message| self.handle_message(message, ledger)) {
            Ok(()) => self.go_on(ledger),
            // Whoever has not shown that it knows the crew is not even told what is wrong.
            Err(_) if !self.spoke => self.close(Refusal::Stranger),
            Err(refusal) => self.close(refusal),
        }
    }

    /// Says that the oldest run of this chain that was given out by [`Output::Store`] is durable and
    /// in the ledger.
    pub fn handle_stored(&mut self, chain: ChainId, ledger: &Ledger) {
        if self.stage == Stage::Closed {
            return;
        }
        self.receiving.done(&chain);
        self.acknowledge(chain, ledger);
        if ledger.holds_another_line(&chain) {
            self.forks.suspect(chain); // What is known of the run's place is not what the run says there.
        }
        self.go_on(ledger);
    }

    /// Says that the ledger refused the oldest run of this chain, or its start.
    pub fn handle_refused(&mut self, chain: ChainId, refusal: Refusal, ledger: &Ledger) {
        if self.stage == Stage::Closed {
            return;
        }
        self.receiving.done(&chain);
        if refusal == Refusal::BeyondCut {
            self.acknowledge(chain, ledger); // All that counts of the chain is held.
        }
        let honest_peers_can_meet_it = matches!(refusal, Refusal::Forked | Refusal::BeyondCut);
        if honest_peers_can_meet_it {
            // Who passes on a fork, or events beyond a cut of which it has not heard, did no wrong.
            self.work.extend(self.receiving.set_aside(chain, refusal));
            if ledger.lacks_line(&chain) {
                self.forks.suspect(chain);
            }
        } else if !self.receiving.is_set_aside(&chain) {
            return self.close(refusal);
        }
        self.go_on(ledger);
    }

    /// Answers [`Output::Read`]; none if the store can't give it (the chain is then left out).
    pub fn handle_read(&mut self, chain: ChainId, run: Option<Run>, ledger: &Ledger) {
        self.sending.handle_read(chain, run, ledger);
        self.go_on(ledger);
    }

    /// Answers [`Output::Show`]; none if the store can't give it.
    pub fn handle_shown(&mut self, run: Option<Run>, ledger: &Ledger) {
        if self.stage == Stage::Closed {
            return;
        }
        self.forks.handle_shown(run, &mut self.sending);
        self.go_on(ledger);
    }

    /// Answers [`Output::Compare`], given the sequence number after that run.
    pub fn handle_compared(&mut self, reached: u64, outcome: Comparison, ledger: &Ledger) {
        if self.stage == Stage::Closed {
            return;
        }
        self.forks.handle_compared(reached, outcome, &mut self.sending);
        self.go_on(ledger);
    }

    /// Answers [`Output::StoreFork`]: the proof is durable and in the ledger, or was refused.
    pub fn handle_fork_stored(&mut self, chain: ChainId, outcome: Result<(), Refusal>, ledger: &Ledger) {
        if self.stage == Stage::Closed {
            return;
        }
        match outcome {
            Ok(()) => self.acknowledge(chain, ledger),
            // It leaves another line than the one held here, or comes before its chain.
            Err(Refusal::Forked | Refusal::OutOfOrder | Refusal::UnknownChain) => {}
            Err(refusal) => return self.close(refusal),
        }
        self.forks.handle_stored(chain, outcome);
        self.go_on(ledger);
    }

    /// Says that something became durable that did not come from this session: it is sent at once.
    pub fn handle_ledger_changed(&mut self, ledger: &Ledger) {
        self.go_on(ledger);
    }

    /// Says that the peer's stream has ended, between frames. Runs that came whole may still be stored.
    pub fn handle_end(&mut self) {
        if self.stage == Stage::Closed {
            return;
        }
        if self.receiving.is_inside_run() || self.forks.is_inside().is_some() {
            self.close(Refusal::Truncated);
        } else {
            self.stop();
        }
    }

    /// Whether the shell should go on reading frames. False while so much is waiting to be made
    /// durable that more would only fill memory.
    #[must_use]
    pub fn wants_frames(&self) -> bool {
        self.receiving.wants_frames() && self.forks.wants_frames()
    }

    /// What the shell is to do next.
    pub fn poll_output(&mut self) -> Option<Output> {
        if let Some(work) = self.poll_work() {
            return Some(work);
        }
        if let Some(frame) = self.sending.next_frame() {
            return Some(Output::Send(frame));
        }
        if self.stage != Stage::Closed
            && let Some((refusal, _)) = self.farewell.take_if(|_| self.sending.is_idle())
        {
            self.close(refusal);
            return self.sending.next_frame().map(Output::Send);
        }
        self.closing.take().map(Output::Close)
    }

    /// What the shell is to do next besides sending: for while the connection takes no more. Two
    /// peers that each waited for the other to read, and stored nothing meanwhile, would wait for ever.
    pub fn poll_work(&mut self) -> Option<Output> {
        self.work.pop_front().or_else(|| self.sending.next_read())
    }

    /// How many events of each chain the peer has said to hold durably: what "seen on 3 devices" is
    /// counted from.
    #[must_use]
    pub const fn peer_holds(&self) -> &BTreeMap<ChainId, u64> {
        &self.sending.peer_holds
    }

    /// Whether both sides are known to hold the same: all was received, and all that was sent was
    /// acknowledged.
    #[must_use]
    pub fn is_settled(&self, ledger: &Ledger) -> bool {
        self.stage == Stage::Exchanging
            && self.caught_up
            && self.work.is_empty()
            && self.forks.is_idle()
            && self.sending.is_idle()
            && self.sending.peer_holds_all(ledger)
    }

    /// What both sides are known to hold, once they hold the same: to be remembered for the next session.
    #[must_use]
    pub fn common_ground(&self, ledger: &Ledger) -> Option<CommonGround> {
        self.is_settled(ledger).then(|| CommonGround::of(&ledger.frontier(None)))
    }

    /// Whether nothing is on its way as far as this side knows: all was received, and all that the peer lacks was
    /// given out. What else the devices have for each other may go now.
    #[must_use]
    pub fn is_quiet(&self) -> bool {
        self.stage == Stage::Exchanging && self.caught_up && self.work.is_empty() && self.sending.is_idle()
    }

    fn handle_message(&mut self, message: Message<'_>, ledger: &Ledger) -> Result<(), Refusal> {
        // A goodbye ends everything, also in the middle of a run; an acknowledgement waits for none.
        let interrupts = matches!(message, Message::Goodbye(_) | Message::Held(_));
        let continues = match message {
            Message::RunPart { .. } => self.forks.is_inside().is_none(),
            Message::RunShown { .. } => {
                !self.receiving.is_inside_run() && self.forks.is_inside() != Some(Part::Fork)
            }
            Message::ForkPart { .. } => {
                !self.receiving.is_inside_run() && self.forks.is_inside() != Some(Part::Shown)
            }
            _ => !self.receiving.is_inside_run() && self.forks.is_inside().is_none(),
        };
        if !continues && !interrupts {
            return Err(Refusal::UnexpectedFrame);
        }
        match (message, self.stage) {
            (Message::Hello { crew, digest, common }, Stage::Greeting) => {
                self.handle_hello(crew, (digest, common), ledger)
            }
            (Message::Frontier { last, tips }, Stage::Comparing) => self.handle_frontier(last, tips),
            (Message::ChainStart(start), Stage::Exchanging) => self.receiving.add_start(start, ledger),
            (Message::RunPart { last, bytes }, Stage::Exchanging) => {
                self.caught_up = false;
                if let Some(run) = self.receiving.add_part(last, bytes)? {
                    self.sending.note_held(run.0, run.1);
                }
                Ok(())
            }
            (Message::Held(tips), Stage::Exchanging) => {
                // Of a chain that is not held here, nothing was sent that could be acknowledged.
                let tips: Tips =
                    tips.into_iter().filter(|(chain, _)| ledger.chain(chain).is_some()).collect();
                tips.iter().for_each(|(chain, tip)| self.sending.note_held(*chain, tip.next_seq));
                self.forks.note(tips);
                Ok(())
            }
            (Message::AllSent, Stage::Exchanging) if !self.all_received => {
                self.all_received = true;
                Ok(())
            }
            (Message::RunAsked { chain, from_seq }, Stage::Exchanging) if !self.hears_first => {
                self.work.push_back(self.forks.handle_asked(chain, from_seq)?);
                Ok(())
            }
            (Message::RunShown { last, bytes }, Stage::Exchanging) => {
                self.work.extend(self.forks.add_part(Part::Shown, last, bytes)?);
                Ok(())
            }
            (Message::ForkPart { last, bytes }, Stage::Exchanging) => {
                self.work.extend(self.forks.add_part(Part::Fork, last, bytes)?);
                Ok(())
            }
            (Message::Goodbye(number), _) => {
                self.stop();
                self.work.push_back(Output::Dismissed(Refusal::from_number(number)));
                Ok(())
            }
            (
                Message::Hello { .. }
                | Message::Frontier { .. }
                | Message::ChainStart(_)
                | Message::RunPart { .. }
                | Message::Held(_)
                | Message::AllSent
                | Message::RunAsked { .. }
                | Message::RunShown { .. }
                | Message::ForkPart { .. },
                Stage::Greeting | Stage::Comparing | Stage::Exchanging | Stage::Closed,
            ) => Err(Refusal::UnexpectedFrame),
        }
    }

    /// Does whatever can be done by now.
    fn go_on(&mut self, ledger: &Ledger) {
        if self.stage == Stage::Closed {
            return;
        }
        loop {
            match self.receiving.next(ledger) {
                Ok(Some(output)) => self.work.push_back(output),
                Ok(None) => break,
                Err(refusal) => return self.close(refusal),
            }
        }
        if self.stage != Stage::Exchanging {
            return;
        }
        for chain in self.forks.parted(ledger) {
            self.work.extend(self.receiving.set_aside(chain, Refusal::Forked));
            self.forks.suspect(chain);
        }
        let is_idle = self.receiving.is_idle();
        while let Some(output) = self.forks.next(is_idle, ledger, &mut self.sending) {
            self.work.push_back(output);
        }
        let is_of_crew = ledger.roster().device(&self.peer).is_some_and(|device| !device.retired);
        if self.hears_first && !self.told_what_is_held && is_of_crew {
            self.told_what_is_held = true;
            ledger.chains().for_each(|chain| self.acknowledge(chain.start.chain, ledger));
        }
        if !self.caught_up && self.all_received && is_idle && self.forks.is_idle() {
            self.caught_up = true;
            self.work.push_back(Output::CaughtUp);
            let was_heard_first = std::mem::take(&mut self.hears_first);
            if let Some(refusal) = self.lost_rights(ledger).filter(|_| was_heard_first) {
                return self.close(refusal); // Nothing is owed to it.
            }
        }
        if self.hears_first {
            return;
        }
        if self.farewell.is_none() {
            let farewell = |refusal| (refusal, tips_of(&ledger.frontier(None)));
            self.farewell = self.lost_rights(ledger).map(farewell);
        }
        let until = self.farewell.as_ref().map(|(_, tips)| tips);
        self.sending.plan(ledger, &self.receiving, until);
        if self.sending.has_read_all() {
            self.forks.send_proofs(ledger, &mut self.sending);
        }
        if !self.all_sent && self.sending.has_read_all() {
            self.all_sent = true;
            self.sending.push(message::all_sent());
        }
    }

    fn acknowledge(&mut self, chain: ChainId, ledger: &Ledger) {
        if self.hears_first && !self.told_what_is_held {
            return;
        }
        // A retirement may have come between, after which nothing of the chain counts.
        let counted = ledger.chain(&chain).map(|held| Tip::from(ledger.counted_tip(held)));
        if let Some(tip) = counted.filter(|tip| tip.next_seq > 0) {
            self.sending.acknowledge(chain, tip);
        }
    }

    /// Why the peer may not take part, if so.
    fn lost_rights(&self, ledger: &Ledger) -> Option<Refusal> {
        match ledger.roster().device(&self.peer) {
            None if self.hears_first || self.returning => None,
            None => Some(Refusal::Stranger),
            Some(device) if device.retired => Some(Refusal::Retired),
            Some(_) => None,
        }
    }

    /// Ends the session with a goodbye.
    fn close(&mut self, refusal: Refusal) {
        self.stop();
        self.work.clear();
        self.sending.push(message::goodbye(refusal));
        self.closing = Some(refusal);
    }

    fn stop(&mut self) {
        self.stage = Stage::Closed;
        self.sending.clear();
    }
}
