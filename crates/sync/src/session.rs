//! One connection's replication, as a state machine. See the crate's words for who sees what.

use std::collections::{BTreeMap, VecDeque};

use ledger::{ChainId, ChainStart, DeviceKey, Frontier, Ledger, Refusal, Run};

use crate::message::{self, Message, Tips};
use crate::receiving::{MAX_CHAINS, Receiving};
use crate::sending::Sending;
use crate::sight::counted_tip;

/// What the shell is asked to do, in the order in which it comes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Output {
    /// Send this frame, with [`crate::frame_length`] before it. While the connection does not take
    /// it, call [`Session::poll_work`] instead: that is the flow control.
    Send(Vec<u8>),
    /// Take this chain into the ledger at once (`Ledger::take_in_chain`); its first run comes next,
    /// and its start must be durable with or before that. If the ledger refuses, call
    /// [`Session::handle_refused`].
    TakeInChain(ChainStart),
    /// Check this run (`Ledger::check_run`), make it durable, take it in, and then call
    /// [`Session::handle_stored`]; also when it was known already. If the ledger refuses, call
    /// [`Session::handle_refused`]. Several may be made durable together.
    Store(Run),
    /// Read a run of the chain that begins at or covers `from_seq`, and call
    /// [`Session::handle_read`]. The more runs are joined (up to 1 MiB), the fewer heads are sent.
    Read {
        /// The chain.
        chain: ChainId,
        /// The first sequence number that the peer lacks.
        from_seq: u64,
    },
    /// Everything that the peer had for this device is durable. Comes again after later news.
    CaughtUp,
    /// A chain is left out of this session and the rest goes on: it forked, it goes beyond a cut, or
    /// nothing held admits its device. Worth a line in the log.
    SetAside {
        /// The chain.
        chain: ChainId,
        /// The rule that its events would break.
        refusal: Refusal,
    },
    /// This side refuses the peer. The goodbye was the `Send` before it; close once it is sent.
    Close(Refusal),
    /// The peer refused this side, for a reason that this version may not know. Close.
    Dismissed(Option<Refusal>),
}

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
    /// The roster can't vouch for the peer before this device has received it.
    joining: bool,
    /// The peer has proved to hold the crew's recovery words.
    returning: bool,
    /// What this side's hello was about.
    greeted_with: Frontier,
    /// The parts so far of the peer's frontier.
    claims: Tips,
    /// The peer has said that it sent all that was lacking here when the exchange began.
    all_received: bool,
    /// The same has been said to the peer.
    all_sent: bool,
    receiving: Receiving,
    sending: Sending,
    work: VecDeque<Output>,
    caught_up: bool,
    /// The peer lost its rights during the session: it is still sent the crew's events up to here,
    /// among them the one that says so.
    farewell: Option<(Refusal, Tips)>,
    /// To be given out once the goodbye is.
    closing: Option<Refusal>,
}

impl Session {
    /// A session with a device of the crew. A stranger or a retired device gets a goodbye.
    #[must_use]
    pub fn new(peer: DeviceKey, ledger: &Ledger) -> Self {
        Self::begin(peer, false, ledger)
    }

    /// The first session of a device that was just paired: its ledger is empty, so its roster can't
    /// say who the peer is. Pairing has proved it. Once all is held, the roster must agree.
    #[must_use]
    pub fn joining(peer: DeviceKey, ledger: &Ledger) -> Self {
        Self::begin(peer, true, ledger)
    }

    /// A session with a device that has proved to hold the crew's recovery words, and that the roster may not
    /// know. It is served like a device of the crew, and what it writes counts once the words say so.
    #[must_use]
    pub fn returning(peer: DeviceKey, ledger: &Ledger) -> Self {
        let mut session = Self::begin(peer, true, ledger);
        session.returning = true;
        session
    }

    fn begin(peer: DeviceKey, joining: bool, ledger: &Ledger) -> Self {
        let greeted_with = ledger.frontier(None);
        let hello = message::hello(&ledger.crew(), &greeted_with.digest());
        let mut session = Self {
            peer,
            stage: Stage::Greeting,
            joining,
            returning: false,
            greeted_with,
            claims: Tips::new(),
            all_received: false,
            all_sent: false,
            receiving: Receiving::default(),
            sending: Sending::default(),
            work: VecDeque::new(),
            caught_up: false,
            farewell: None,
            closing: None,
        };
        match session.lost_rights(ledger) {
            Some(refusal) => session.close(refusal),
            None => session.sending.push(hello),
        }
        session
    }

    /// The peer.
    #[must_use]
    pub const fn peer(&self) -> DeviceKey {
        self.peer
    }

    /// Takes in a frame, without its length.
    pub fn handle_frame(&mut self, frame: &[u8], ledger: &Ledger) {
        if self.stage == Stage::Closed {
            return;
        }
        match Message::decode(frame).and_then(|message| self.handle_message(message, ledger)) {
            Ok(()) => self.go_on(ledger),
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

    /// Says that something became durable that did not come from this session: it is sent at once.
    pub fn handle_ledger_changed(&mut self, ledger: &Ledger) {
        self.go_on(ledger);
    }

    /// Says that the peer's stream has ended, between frames. Runs that came whole may still be stored.
    pub fn handle_end(&mut self) {
        if self.stage == Stage::Closed {
            return;
        }
        if self.receiving.is_inside_run() {
            self.close(Refusal::Truncated);
        } else {
            self.stop();
        }
    }

    /// Whether the shell should go on reading frames. False while so much is waiting to be made
    /// durable that more would only fill memory.
    #[must_use]
    pub fn wants_frames(&self) -> bool {
        self.receiving.wants_frames()
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
            && self.sending.is_idle()
            && self.sending.peer_holds_all(ledger)
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
        let continues = matches!(message, Message::RunPart { .. });
        if self.receiving.is_inside_run() && !continues && !interrupts {
            return Err(Refusal::UnexpectedFrame);
        }
        match (message, self.stage) {
            (Message::Hello { crew, digest }, Stage::Greeting) => self.handle_hello(crew, digest, ledger),
            (Message::Frontier { last, tips }, Stage::Comparing) => self.handle_frontier(last, tips, ledger),
            (Message::ChainStart(start), Stage::Exchanging) => self.receiving.add_start(start, ledger),
            (Message::RunPart { last, bytes }, Stage::Exchanging) => {
                self.caught_up = false;
                if let Some(run) = self.receiving.add_part(last, bytes)? {
                    self.sending.note_held(run.0, run.1);
                }
                Ok(())
            }
            (Message::Held(tips), Stage::Exchanging) => {
                for (chain, (next_seq, _)) in tips {
                    // Of a chain that is not held here, nothing was sent that could be acknowledged.
                    if ledger.chain(&chain).is_some() {
                        self.sending.note_held(chain, next_seq);
                    }
                }
                Ok(())
            }
            (Message::AllSent, Stage::Exchanging) if !self.all_received => {
                self.all_received = true;
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
                | Message::AllSent,
                Stage::Greeting | Stage::Comparing | Stage::Exchanging | Stage::Closed,
            ) => Err(Refusal::UnexpectedFrame),
        }
    }

    fn handle_hello(
        &mut self,
        crew: ledger::CrewId,
        digest: [u8; 32],
        ledger: &Ledger,
    ) -> Result<(), Refusal> {
        if crew != ledger.crew() {
            return Err(Refusal::WrongCrew);
        }
        let greeted_with = std::mem::take(&mut self.greeted_with);
        if digest == greeted_with.digest() {
            // Both know it, so neither has to say it.
            (self.all_received, self.all_sent) = (true, true);
            self.begin_exchange(&greeted_with.tips, ledger);
        } else {
            self.stage = Stage::Comparing;
            let frames = message::frontier(&ledger.frontier(None).tips);
            frames.into_iter().for_each(|frame| self.sending.push(frame));
        }
        Ok(())
    }

    fn handle_frontier(&mut self, last: bool, tips: Tips, ledger: &Ledger) -> Result<(), Refusal> {
        if self.claims.len() + tips.len() > MAX_CHAINS {
            return Err(Refusal::TooMuchClaimed);
        }
        let ascends = match (self.claims.last_key_value(), tips.first_key_value()) {
            (Some((before, _)), Some((next, _))) => before < next,
            // An empty part before others would be a way to keep this side waiting at no cost.
            (_, None) => last && self.claims.is_empty(),
            (None, Some(_)) => true,
        };
        if !ascends {
            return Err(Refusal::UnexpectedFrame);
        }
        self.claims.extend(tips);
        if last {
            let held = std::mem::take(&mut self.claims);
            self.begin_exchange(&held, ledger);
        }
        Ok(())
    }

    fn begin_exchange(&mut self, held: &Tips, ledger: &Ledger) {
        for (chain, (next_seq, hash)) in held {
            self.sending.note_held(*chain, *next_seq);
            let own = ledger.chain(chain).map(|own| counted_tip(ledger, own));
            if own.is_some_and(|own| own.0 == *next_seq && own.1 != *hash) {
                self.work.extend(self.receiving.set_aside(*chain, Refusal::Forked));
            }
        }
        self.stage = Stage::Exchanging;
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
        if !self.caught_up && self.all_received && self.receiving.is_idle() {
            self.caught_up = true;
            self.joining = false;
            self.work.push_back(Output::CaughtUp);
        }
        if self.farewell.is_none() {
            let farewell = |refusal| (refusal, ledger.frontier(None).tips);
            self.farewell = self.lost_rights(ledger).map(farewell);
        }
        let until = self.farewell.as_ref().map(|(_, tips)| tips);
        self.sending.plan(ledger, &self.receiving, until);
        if !self.all_sent && self.sending.has_read_all() {
            self.all_sent = true;
            self.sending.push(message::all_sent());
        }
    }

    fn acknowledge(&mut self, chain: ChainId, ledger: &Ledger) {
        // A retirement may have come between, after which nothing of the chain counts.
        let counted = ledger.chain(&chain).map(|held| counted_tip(ledger, held));
        if let Some(tip) = counted.filter(|(next_seq, _)| *next_seq > 0) {
            self.sending.acknowledge(chain, tip);
        }
    }

    /// Why the peer may not take part, if so.
    fn lost_rights(&self, ledger: &Ledger) -> Option<Refusal> {
        match ledger.roster().device(&self.peer) {
            None if self.joining || self.returning => None,
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
