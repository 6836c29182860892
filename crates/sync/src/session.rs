//! One connection's replication, as a state machine. See the crate's words for who sees what.

use std::collections::BTreeMap;

use ledger::{ChainId, ChainStart, DeviceKey, Ledger, Refusal, Run};

/// What the shell is asked to do. Outputs are done in the order in which they come.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Output {
    /// Send this frame, with [`crate::frame_length`] before it. Don't poll for more while the
    /// connection does not take it: that is the flow control.
    Send(Vec<u8>),
    /// Take this chain into the ledger at once (`Ledger::take_in_chain`); its start must be durable
    /// with or before its first run. If the ledger refuses, call [`Session::handle_refused`].
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
    /// Everything that the peer announced is held and durable. Comes again after later news.
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

/// One connection to an authenticated peer. Both sides run the same.
///
/// After every `handle_…` call, poll until [`Session::poll_output`] gives nothing.
#[derive(Debug)]
pub struct Session {
    own: DeviceKey,
    peer: DeviceKey,
    peer_holds: BTreeMap<ChainId, u64>,
}

impl Session {
    /// A session with a device of the crew. A stranger or a retired device gets a goodbye.
    #[must_use]
    pub fn new(own: DeviceKey, peer: DeviceKey, _ledger: &Ledger) -> Self {
        Self { own, peer, peer_holds: BTreeMap::new() }
    }

    /// The first session of a device that was just paired: its ledger is empty, so its roster can't
    /// say who the peer is. Pairing has proved it. Once all is held, the roster must agree.
    #[must_use]
    pub fn joining(own: DeviceKey, peer: DeviceKey, ledger: &Ledger) -> Self {
        Self::new(own, peer, ledger)
    }

    /// The peer.
    #[must_use]
    pub const fn peer(&self) -> DeviceKey {
        self.peer
    }

    /// Takes in a frame, without its length.
    pub fn handle_frame(&mut self, _frame: &[u8], _ledger: &Ledger) {}

    /// Says that the oldest run of this chain that was given out by [`Output::Store`] is durable and
    /// in the ledger.
    pub fn handle_stored(&mut self, _chain: ChainId, _ledger: &Ledger) {}

    /// Says that the ledger refused the oldest run of this chain, or its start.
    pub fn handle_refused(&mut self, _chain: ChainId, _refusal: Refusal, _ledger: &Ledger) {}

    /// Answers [`Output::Read`]; none if the store can't give it (the chain is then left out).
    pub fn handle_read(&mut self, _chain: ChainId, _run: Option<Run>, _ledger: &Ledger) {}

    /// Says that something became durable that did not come from this session: it is sent at once.
    pub fn handle_ledger_changed(&mut self, _ledger: &Ledger) {}

    /// Says that the peer's stream has ended, between frames.
    pub fn handle_end(&mut self) {}

    /// Whether the shell should go on reading frames. False while so much is waiting to be made
    /// durable that more would only fill memory.
    #[must_use]
    pub fn wants_frames(&self) -> bool {
        true
    }

    /// What the shell is to do next.
    pub fn poll_output(&mut self) -> Option<Output> {
        None
    }

    /// How many events of each chain the peer has said to hold durably, as far as they are held
    /// here too: what "seen on 3 devices" is counted from.
    #[must_use]
    pub const fn peer_holds(&self) -> &BTreeMap<ChainId, u64> {
        &self.peer_holds
    }

    /// Whether both sides are known to hold the same: all was received, and all that was sent was
    /// acknowledged.
    #[must_use]
    pub fn is_settled(&self, _ledger: &Ledger) -> bool {
        let _ = self.own;
        false
    }
}
