//! Which events a run holds, read from the front of its bytes.
//!
//! The index is rebuilt from millions of runs, so only their first 28 bytes are looked at; whether the
//! rest is a run at all is the ledger's to say.

use ledger::ChainId;

/// The chain and the sequence numbers of a run's events.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct RunSpan {
    /// The chain.
    pub chain: ChainId,
    /// The first event's sequence number.
    pub first_seq: u64,
    /// How many events there are: at least one.
    pub event_count: u32,
}

impl RunSpan {
    /// Reads the span of an encoded run; none if the bytes can't be one.
    pub fn of(run: &[u8]) -> Option<RunSpan> {
        let (chain, rest) = run.split_first_chunk()?;
        let (first_seq, rest) = rest.split_first_chunk()?;
        let (event_count, _) = rest.split_first_chunk()?;
        let span = RunSpan {
            chain: ChainId(*chain),
            first_seq: u64::from_le_bytes(*first_seq),
            event_count: u32::from_le_bytes(*event_count),
        };
        let ends = span.first_seq.checked_add(u64::from(span.event_count)).is_some();
        (span.event_count > 0 && ends).then_some(span)
    }

    /// The last event's sequence number.
    pub fn last_seq(&self) -> u64 {
        self.first_seq.saturating_add(u64::from(self.event_count).saturating_sub(1))
    }
}
