//! What a session asks of the shell around it.

use ledger::{ChainId, ChainStart, ForkProof, Refusal, Run};

/// What the shell is asked to do, in the order in which it comes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Output {
    /// Send this frame, by [`crate::push_frame`]. While the connection does not take
    /// it, call [`crate::Session::poll_work`] instead: that is the flow control.
    Send(Vec<u8>),
    /// Take this chain into the ledger at once (`Ledger::take_in_chain`); its first run comes next,
    /// and its start must be durable with or before that. If the ledger refuses, call
    /// [`crate::Session::handle_refused`].
    TakeInChain(ChainStart),
    /// Check this run (`Ledger::check_run`), make it durable, take it in, and then call
    /// [`crate::Session::handle_stored`]; also when it was known already. If the ledger refuses, call
    /// [`crate::Session::handle_refused`]. Several may be made durable together.
    Store(Run),
    /// Read a run of the chain that begins at or covers `from_seq`, and call
    /// [`crate::Session::handle_read`]. The more runs are joined (up to 1 MiB), the fewer heads are sent.
    Read {
        /// The chain.
        chain: ChainId,
        /// The first sequence number that the peer lacks.
        from_seq: u64,
    },
    /// Read a run like that of [`Output::Read`], for the peer to compare, and call [`crate::Session::handle_shown`].
    Show {
        /// The chain.
        chain: ChainId,
        /// Where the run begins.
        from_seq: u64,
    },
    /// Compare this run of the peer with what is held from the same place on (`ForkProof::compare`), and call
    /// [`crate::Session::handle_compared`].
    Compare(Run),
    /// Check this proof (`Ledger::check_fork`), make it durable, take it in, and call
    /// [`crate::Session::handle_fork_stored`]; also when it says nothing new.
    StoreFork(ForkProof),
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
