//! Reading a journal into the ledger and the book in one pass, on two threads.
//!
//! This thread reads, verifies and takes in. A second one decodes what was taken in, for the book; when
//! it falls behind, this one decodes too. What counts is said at the end, when the whole roster is known.
//! The book follows from the set of events, so it does not depend on which thread had which run.

use std::sync::Arc;
use std::sync::mpsc::{TrySendError, sync_channel};
use std::thread;

use ledger::frontier::Checked;
use ledger::roster::{Difference, Standing};
use ledger::run::PlacedEvent;
use ledger::{
    Audience, ChainId, ChainStart, CrewId, DeviceSecret, Event, EventHash, ForkProof, Ledger, OfficeKeys,
    Payload, Refusal, Run, TakenIn, Unreadable,
};
use projections::{Authorship, Book, Filed, Filing, Logged};
use store::{Damage, DiskError, Position, RecordKind, Store};

use crate::error::NodeError;
use crate::node::forks::StoredBranch;
use crate::verified::Verified;

/// About how many bytes of runs go to the other thread at once.
const BATCH_BYTES: usize = 256 * 1024;
/// How many such batches may wait.
const WAITING_BATCHES: usize = 8;

/// What a journal holds.
pub(crate) struct Opened {
    pub(crate) ledger: Ledger,
    /// The office keys that this device has received.
    pub(crate) keys: OfficeKeys,
    pub(crate) book: Book,
    /// What this pass verified: not what it was told had been verified before.
    pub(crate) verified: Verified,
    /// What could not be read.
    pub(crate) damage: Vec<Damage>,
}

/// Why a pass ended early.
enum Halt {
    Disk(DiskError),
    /// What was verified before is not what the journal holds.
    Unfit(&'static str),
}

impl From<DiskError> for Halt {
    fn from(error: DiskError) -> Self {
        Self::Disk(error)
    }
}

/// Reads the journal, with the checkpoint if it fits and without it otherwise. The book is for what the
/// device with this secret may read.
///
/// # Errors
/// The disk's. Damage is passed over, and the store reports it.
pub(crate) fn open(store: &mut Store, crew: CrewId, device: &DeviceSecret) -> Result<Opened, NodeError> {
    if let Some((mut verified, end)) = Verified::read(store)? {
        verified.believe();
        match read_again(store, crew, device, &verified, end)? {
            Some(mut opened) => {
                verified.extend(opened.verified);
                opened.verified = verified;
                return Ok(opened);
            }
            None => tracing::warn!("the checkpoint is not used: everything is verified anew"),
        }
    }
    open_anew(store, crew, device)
}

/// Reads the journal and verifies everything.
///
/// # Errors
/// The disk's.
pub(crate) fn open_anew(store: &Store, crew: CrewId, device: &DeviceSecret) -> Result<Opened, NodeError> {
    pass(store, crew, device, None, |place, bytes, ledger| Ok(check_run(place, bytes, ledger)))
}

/// Reads the journal, of which everything before `end` was verified before. None if that is not what the
/// journal holds.
///
/// # Errors
/// The disk's.
pub(crate) fn read_again(
    store: &mut Store,
    crew: CrewId,
    device: &DeviceSecret,
    verified: &Verified,
    end: Position,
) -> Result<Option<Opened>, NodeError> {
    let mut known = verified.runs().peekable();
    let opened = pass(store, crew, device, Some(end), |place, bytes, ledger| {
        if place >= end {
            return Ok(check_run(place, bytes, ledger));
        }
        if known.peek().is_some_and(|(run, _)| run.place < place) {
            return Err(Halt::Unfit("a run that was verified is not there any more"));
        }
        let Some((run, hashes)) = known.next_if(|(run, _)| run.place == place) else {
            // One that is not among them did not fit then and was left aside; it must not fit now.
            let fits = check_run(place, bytes, ledger).is_some();
            return if fits { Err(Halt::Unfit("a run was never verified")) } else { Ok(None) };
        };
        let stored = Run::decode(bytes.to_vec());
        match stored.and_then(|stored| ledger.check_known_run(stored, Arc::clone(hashes))) {
            Ok(TakenIn::New(checked)) if checked.run().first_seq() == run.first_seq => Ok(Some(checked)),
            Ok(_) | Err(_) => Err(Halt::Unfit("a run that was verified does not fit")),
        }
    });
    let missing = known.next().map(|_| Halt::Unfit("the journal ends before a run that was verified"));
    let opened = match missing.map_or(opened, Err) {
        Ok(opened) => opened,
        Err(Halt::Disk(error)) => return Err(error.into()),
        Err(Halt::Unfit(why)) => {
            tracing::warn!(why, "what was verified before is not what the journal holds");
            return Ok(None);
        }
    };
    // Each chain's last head is looked at, so that a device's own word stands for what is believed.
    for chain in opened.ledger.chains() {
        let Some(last_seq) = chain.tip.next_seq.checked_sub(1) else { continue };
        let stored = store.read_run(chain.start.chain, last_seq)?;
        let run = stored.and_then(|stored| Run::decode(stored.bytes).ok());
        if run.is_none_or(|run| opened.ledger.check_head(&run).is_err()) {
            tracing::warn!(chain = %chain.start.chain, "a head does not sign what was verified before");
            return Ok(None);
        }
    }
    Ok(Some(opened))
}

/// Reads the journal once. `check` says of a run what of it is new and sound; what lies before `known` it
/// does not verify.
fn pass<E: From<DiskError>>(
    store: &Store,
    crew: CrewId,
    device: &DeviceSecret,
    known: Option<Position>,
    mut check: impl FnMut(Position, &[u8], &Ledger) -> Result<Option<Checked>, E>,
) -> Result<Opened, E> {
    let mut ledger = Ledger::new(crew);
    let mut verified = Verified::default();
    let (own, other, damage) = thread::scope(|scope| {
        let (sender, receiver) = sync_channel::<Vec<Piece>>(WAITING_BATCHES);
        let decoder = scope.spawn(move || {
            let mut part = Part::default();
            receiver.iter().flatten().for_each(|piece| part.decode(&piece));
            part
        });
        let mut own = Part::default();
        let (mut batch, mut bytes) = (Vec::new(), 0);
        let mut branch: Option<StoredBranch> = None;
        let replayed = store.replay::<E>(None, |place, record| {
            match record.kind {
                RecordKind::ChainDeclaration => {
                    let start = ChainStart::decode(record.bytes);
                    note(place, start.and_then(|start| ledger.take_in_chain(start)));
                }
                RecordKind::Run => {
                    if let Some(checked) = check(place, record.bytes, &ledger)? {
                        ledger.take_in(&checked);
                        if known.is_none_or(|known| place >= known) {
                            verified.add(place, &checked);
                        }
                        bytes += checked.run().bytes().len();
                        batch.push(Piece::Run(checked));
                    }
                }
                RecordKind::Branch => {
                    let Some(read) = note(place, StoredBranch::decode(record.bytes)) else { return Ok(()) };
                    match branch.take() {
                        None => branch = Some(read),
                        Some(before) => {
                            let taken = before.with(read).and_then(|fork| take_in_fork(&mut ledger, fork));
                            batch.extend(note(place, taken).map(Piece::Fork));
                        }
                    }
                }
                // In place of damage, or written by a later version: kept, and passed over.
                RecordKind::Lost | RecordKind::Unknown(_) => {}
            }
            if bytes >= BATCH_BYTES {
                bytes = 0;
                match sender.try_send(std::mem::take(&mut batch)) {
                    Ok(()) => {}
                    Err(TrySendError::Full(batch) | TrySendError::Disconnected(batch)) => {
                        batch.iter().for_each(|piece| own.decode(piece));
                    }
                }
            }
            Ok(())
        })?;
        drop(sender);
        batch.iter().for_each(|piece| own.decode(piece));
        Ok::<_, E>((own, join(decoder), replayed.damage))
    })?;
    let is_office = ledger.roster().device(&device.public()).is_some_and(|device| device.office);
    let audience = if is_office { Audience::Office } else { Audience::Crew };
    let keys = OfficeKeys::received(ledger.given_keys(), device);
    let filed: [Filed; 2] = thread::scope(|scope| {
        let other = scope.spawn(|| other.opened(&keys).judged(audience, judge(&ledger)));
        [own.opened(&keys).judged(audience, judge(&ledger)), join(other)]
    });
    Ok(Opened { book: Book::of(audience, filed), ledger, keys, verified, damage })
}

/// Takes in a fork that this device once checked against what it held.
fn take_in_fork(
    ledger: &mut Ledger,
    (proof, behind): (ForkProof, Option<EventHash>),
) -> Result<ForkProof, Refusal> {
    ledger.check_fork(&proof, Some(proof.base().hash))?;
    ledger.take_in_fork(proof.clone(), behind);
    Ok(proof)
}

/// Checks a run that was never verified; what does not fit is left aside.
fn check_run(place: Position, bytes: &[u8], ledger: &Ledger) -> Option<Checked> {
    let taken = Run::decode(bytes.to_vec()).and_then(|run| ledger.check_run(&run));
    match note(place, taken)? {
        TakenIn::New(checked) => Some(checked),
        TakenIn::Known => None,
    }
}

/// Damage is reported by the store; what follows it in the same chain waits for a peer.
fn note<T>(place: Position, taken: Result<T, Refusal>) -> Option<T> {
    taken
        .inspect_err(|refusal| {
            tracing::warn!(%place, %refusal, "a stored record does not fit and is left aside");
        })
        .ok()
}

/// What is to be decoded for the book.
enum Piece {
    Run(Checked),
    Fork(ForkProof),
}

/// What a thread has decoded, and what must wait until the keys are known: these may come after it.
#[derive(Default)]
struct Part {
    filing: Filing,
    sealed: Vec<(EventHash, Event)>,
}

impl Part {
    /// Decodes events for the book.
    fn decode(&mut self, piece: &Piece) {
        match piece {
            Piece::Run(checked) => {
                self.decode_events(checked.run().chain(), checked.before().hash, checked.events());
            }
            Piece::Fork(proof) => {
                let before = proof.base().hash;
                for run in proof.branches() {
                    self.decode_events(run.chain(), before, run.placed_events(before));
                }
            }
        }
    }

    fn decode_events<'e>(
        &mut self,
        chain: ChainId,
        before: EventHash,
        events: impl Iterator<Item = PlacedEvent<'e>>,
    ) {
        let mut prev = before;
        for event in events {
            let view = event.view;
            match Payload::decode(view.kind, view.kind_version, view.payload) {
                Ok(payload) => self.filing.add(event.hash, chain, event.seq, view.made_at, payload),
                Err(Unreadable::Sealed) => self.sealed.push((event.hash, event.whole(chain, prev))),
                Err(reason) => self.filing.add_unreadable(event.hash, chain, event.seq, reason),
            }
            prev = event.hash;
        }
    }

    /// Opens what was sealed, as far as the keys are here.
    fn opened(mut self, keys: &OfficeKeys) -> Filing {
        for (hash, event) in self.sealed {
            match Payload::open(event.chain, event.seq, &event.view(), keys) {
                Ok(payload) => self.filing.add(hash, event.chain, event.seq, event.made_at, payload),
                Err(reason) => self.filing.add_unreadable(hash, event.chain, event.seq, reason),
            }
        }
        self.filing
    }
}

/// Says what an event counts for, by the ledger's roster.
fn judge(ledger: &Ledger) -> impl Fn(&Logged) -> Standing {
    |logged| match ledger.chain(&logged.chain) {
        Some(chain) => {
            ledger.roster().judge(&chain.start, (logged.seq, logged.hash), &logged.act, &logged.body)
        }
        None => logged.standing,
    }
}

/// Judges the events of a book by the ledger's roster. Where it is known in what that differs from the one by which
/// they were judged, what is the same by both is not judged again.
pub(crate) fn judge_again(book: &mut Book, ledger: &Ledger, since: Option<&Difference>) {
    let start = |chain: &ChainId| ledger.chain(chain).map(|chain| &chain.start);
    let is_touched = |since: &Difference, by: &Authorship| {
        start(&by.chain).is_some_and(|start| since.may_touch_authorship(start, by.person, by.author))
    };
    let may_change = |since: &Difference, logged: &Logged| {
        start(&logged.chain).is_some_and(|start| since.may_touch(start, &logged.act, logged.body.kind()))
    };
    book.judge_again(
        |by| since.is_none_or(|since| is_touched(since, by)),
        |logged| {
            let is_judged = since.is_none_or(|since| may_change(since, logged));
            if is_judged { judge(ledger)(logged) } else { logged.standing }
        },
    );
}

/// What a thread gave; its panic goes on here.
fn join<T>(thread: thread::ScopedJoinHandle<'_, T>) -> T {
    thread.join().unwrap_or_else(|panic| std::panic::resume_unwind(panic))
}
