//! Runs on their way into the store and the book.

use ledger::frontier::Checked;
use ledger::run::PlacedEvent;
use ledger::{ChainId, ChainStart, HashedRun, Ledger, OfficeKeys, Payload, Refusal, TakenIn};
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
        run: HashedRun,
    ) -> Result<(), Refusal> {
        let chain = run.run().chain();
        if self.ledger.chain(&chain).is_none() {
            let start = starts(&chain).ok_or(Refusal::UnknownChain)?;
            self.ledger.take_in_chain(start)?;
            self.starts.push(start);
        }
        if let TakenIn::New(checked) = self.ledger.check_hashed_run(run)? {
            self.ledger.take_in(&checked);
            self.bytes += checked.run().bytes().len();
            self.runs.push(checked);
        }
        Ok(())
    }
}

/// Folds the events of a run that the ledger has taken in.
pub(crate) fn fold_run(book: &mut Book, ledger: &Ledger, keys: &OfficeKeys, checked: &Checked) {
    let Some(chain) = ledger.chain(&checked.run().chain()) else { return };
    fold_events(book, ledger, keys, &chain.start, checked.events());
}

/// Folds events of a chain. One that was folded before changes nothing.
pub(crate) fn fold_events<'e>(
    book: &mut Book,
    ledger: &Ledger,
    keys: &OfficeKeys,
    start: &ChainStart,
    events: impl Iterator<Item = PlacedEvent<'e>>,
) {
    for event in events {
        let view = event.view;
        let (hash, seq, made_at) = (event.hash, event.seq, view.made_at);
        match Payload::open(start.chain, seq, &view, keys) {
            Ok(payload) => {
                let standing = ledger.roster().standing(start, (seq, hash), &payload);
                book.take_in(Taken { hash, chain: start.chain, seq, made_at, standing, payload });
            }
            Err(reason) => book.take_in_unreadable(hash, start.chain, seq, reason),
        }
    }
}
