//! Runs on their way into the store and the book.

use ledger::frontier::Checked;
use ledger::{ChainId, ChainStart, EventHash, Ledger, Payload, Refusal, Run, TakenIn};
use projections::{Book, Taken};

/// Runs that are made durable together, and the ledger as it will be then.
pub(crate) struct Group {
    pub(crate) ledger: Ledger,
    pub(crate) starts: Vec<ChainStart>,
    pub(crate) runs: Vec<Checked>,
    pub(crate) bytes: usize,
}

impl Group {
    pub(crate) fn new(ledger: &Ledger) -> Self {
        Self { ledger: ledger.clone(), starts: Vec::new(), runs: Vec::new(), bytes: 0 }
    }

    /// Adds what is new in a run.
    pub(crate) fn add(
        &mut self,
        starts: impl Fn(&ChainId) -> Option<ChainStart>,
        run: &Run,
    ) -> Result<(), Refusal> {
        let unknown = self.ledger.chain(&run.chain()).is_none();
        if unknown {
            let start = starts(&run.chain()).ok_or(Refusal::UnknownChain)?;
            self.ledger.take_in_chain(start)?;
            self.starts.push(start);
        }
        if let TakenIn::New(checked) = self.ledger.check_run(run)? {
            self.ledger.take_in(&checked);
            self.bytes += checked.run().bytes().len();
            self.runs.push(checked);
        }
        Ok(())
    }
}

/// Folds the events of a run, and gives the hash of the last.
pub(crate) fn fold_run(
    book: &mut Book,
    ledger: &Ledger,
    start: &ChainStart,
    run: &Run,
    before: EventHash,
) -> EventHash {
    let mut last = before;
    for event in run.placed_events(before) {
        last = event.hash;
        let view = event.view;
        match Payload::decode(view.kind, view.kind_version, view.payload) {
            Ok(payload) => {
                let standing = ledger.roster().standing(start, event.seq, &payload);
                let (hash, chain, seq, made_at) = (event.hash, start.chain, event.seq, view.made_at);
                book.take_in(Taken { hash, chain, seq, made_at, standing, payload });
            }
            Err(reason) => book.take_in_unreadable(event.hash, start.chain, event.seq, reason),
        }
    }
    last
}
