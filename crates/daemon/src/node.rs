//! A node: one device's ledger, opened by one process. The only writer of its folder.
//!
//! What comes in, typed or from a peer, goes the same way: it is checked against the ledger, made
//! durable by the store, recorded, and folded. Nothing is acknowledged before it is durable. A checkpoint of
//! what was verified is written when enough is new, and when the node is closed.

mod beginning;
pub(crate) mod forks;
mod office_keys;
mod own_chains;
pub mod salvage;
mod writing;

use std::cell::Cell;
use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;

use ledger::frontier::Checked;
use ledger::run::{EventView, MAX_JOINED};
use ledger::sabotage::Fault;
use ledger::{
    Act, Audience, ChainId, ChainStart, CrewId, DeviceKey, DeviceSecret, EntryId, HashedRun, Ledger,
    OfficeKeys, Payload, PersonId, Refusal, Run, RunHasher, Unreadable,
};
use projections::Book;
use store::{DeepReport, Healed, Position, Record, RecordKind, Runs, Store};
use sync::photos::Portion;
use trade::{Day, Moment};

use crate::device::DeviceFile;
use crate::error::NodeError;
use crate::group::{Group, fold_run};
use crate::machine::{Machine, moment};
use crate::opening::{self, Opened};
use crate::page::PageFile;
use crate::photos::{Album, read_setting};
use crate::press::Pressed;
use crate::verified::{Pending, Verified};

/// Most bytes of runs in one group of the journal.
const GROUP_BYTES: usize = 3 * 1024 * 1024;
/// What the log calls that which became of the data folder, for whoever opened it.
pub const OF_THE_FOLDER: &str = "fivebar::folder";

/// What came of reading and verifying everything.
#[derive(Debug)]
pub struct WholeRead {
    /// What the store found.
    pub report: DeepReport,
    /// How many events were verified.
    pub verified: u64,
    /// What was damaged and is put right.
    pub healed: Vec<Healed>,
    /// How many events are missing here by that, and come back from a device that has them.
    pub missing: u64,
}

/// Something to be written, and for whom.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Write {
    /// Who reads it.
    pub audience: Audience,
    /// What.
    pub payload: Payload,
}

/// One device's ledger.
pub struct Node {
    pub(crate) machine: Arc<dyn Machine>,
    device: DeviceFile,
    pub(crate) page: PageFile,
    album: Arc<Album>,
    secret: DeviceSecret,
    store: Store,
    ledger: Ledger,
    book: Book,
    keys: OfficeKeys,
    verified: Verified,
    /// The press that the command at work came by, until an event has taken its id.
    pub(crate) press: Cell<Option<Pressed>>,
    /// Whether it only fetches, so that its book stays empty.
    fetching: bool,
}

impl Node {
    fn with_store(
        machine: Arc<dyn Machine>,
        device: DeviceFile,
        mut store: Store,
    ) -> Result<Self, NodeError> {
        let secret = device.secret()?;
        let Opened { ledger, book, keys, verified, damage } =
            opening::open(&mut store, device.crew, &secret)?;
        let page = PageFile::open(&*machine)?;
        // How photos are kept must not keep the ledger shut.
        let keeps = read_setting(&*machine).unwrap_or_else(|error| {
            tracing::warn!(%error, "how many photos to keep is not known; all are kept");
            Portion::Whole
        });
        let album = Arc::new(Album::open(machine.folder(), keeps));
        let mut node = Self {
            machine,
            device,
            page,
            album,
            secret,
            store,
            ledger,
            book,
            keys,
            verified,
            press: Cell::new(None),
            fetching: false,
        };
        if node.fill_in_at_cuts() {
            opening::judge_again(&mut node.book, &node.ledger, None);
        }
        node.settle_own_chains(&damage)?;
        Ok(node)
    }

    /// The node for only fetching: its book stays empty. To fold a large ledger group by group takes longer
    /// than to fetch it, and whoever opens the folder next folds it in one go.
    pub(crate) fn for_fetching(self) -> Self {
        let mut node = self;
        node.fetching = true;
        node
    }

    /// What of the photos is here.
    #[must_use]
    pub const fn album(&self) -> &Arc<Album> {
        &self.album
    }

    /// The data folder.
    #[must_use]
    pub fn folder(&self) -> &Path {
        self.machine.folder()
    }

    /// The machine that it runs on.
    pub(crate) fn machine(&self) -> &dyn Machine {
        &*self.machine
    }

    /// A second handle to the machine.
    pub(crate) fn shared_machine(&self) -> Arc<dyn Machine> {
        Arc::clone(&self.machine)
    }

    /// What the clock shows, in milliseconds since 1970.
    #[must_use]
    pub fn now_ms(&self) -> i64 {
        self.machine.now_ms()
    }

    /// The instant, by the clock.
    pub(crate) fn now(&self) -> Result<Moment, NodeError> {
        moment(self.now_ms())
    }

    /// Today, by the clock.
    pub(crate) fn today(&self) -> Result<Day, NodeError> {
        Ok(self.now()?.day())
    }

    /// What the device knows of itself.
    #[must_use]
    pub const fn device(&self) -> &DeviceFile {
        &self.device
    }

    /// The device's key.
    #[must_use]
    pub fn key(&self) -> DeviceKey {
        self.secret.public()
    }

    /// A second copy of the secret, for the network's certificate.
    #[must_use]
    pub fn secret(&self) -> DeviceSecret {
        DeviceSecret::from_seed(&self.secret.seed())
    }

    /// Why nothing is saved until the next start, if so.
    pub(crate) fn stopped(&self) -> Option<&str> {
        self.store.stopped()
    }

    /// Where the journal ends: all before it is durable, and none of it is ever written again.
    pub(crate) fn journal_end(&self) -> Position {
        self.store.end()
    }

    /// The ledger.
    #[must_use]
    pub const fn ledger(&self) -> &Ledger {
        &self.ledger
    }

    /// The crew.
    #[must_use]
    pub const fn crew(&self) -> CrewId {
        self.ledger.crew()
    }

    /// What people read.
    #[must_use]
    pub const fn book(&self) -> &Book {
        &self.book
    }

    /// Whether this device reads the office's chains.
    #[must_use]
    pub fn is_office(&self) -> bool {
        self.ledger.roster().device(&self.key()).is_some_and(|device| device.office)
    }

    /// What an event says, as far as this device holds the key that it may be sealed with.
    pub(crate) fn read_payload(
        &self,
        chain: ChainId,
        seq: u64,
        event: &EventView<'_>,
    ) -> Result<Payload, Unreadable> {
        Payload::open(chain, seq, event, &self.keys)
    }

    /// Changes what the device knows of itself, durably.
    ///
    /// # Errors
    /// [`NodeError::Folder`]; the file is then as it was.
    pub(crate) fn change_device(&mut self, change: impl FnOnce(&mut DeviceFile)) -> Result<(), NodeError> {
        let mut changed = self.device.clone();
        change(&mut changed);
        changed.write_on(&*self.machine)?;
        self.device = changed;
        Ok(())
    }

    /// Notes where the device listens.
    ///
    /// # Errors
    /// [`NodeError::Folder`].
    pub(crate) fn set_listening(&mut self, address: SocketAddr) -> Result<(), NodeError> {
        self.change_device(|device| device.listening = Some(address))
    }

    /// Checks runs in order, makes what is new in them durable in as few groups as fit, and folds it.
    /// `starts` knows the chains that are not held yet. Gives one outcome for each run; what is held
    /// already is well.
    ///
    /// # Errors
    /// Why nothing more was appended. The groups before that are taken in.
    pub fn store_runs(
        &mut self,
        starts: impl Fn(&ChainId) -> Option<ChainStart>,
        runs: &[Run],
    ) -> Result<Vec<Result<(), Refusal>>, NodeError> {
        let mut hasher = RunHasher::default();
        let hashed = runs.iter().map(|run| {
            hasher.begin_at(run.chain(), &self.ledger);
            hasher.hash(run.clone())
        });
        let hashed = hashed.collect();
        self.store_hashed_runs(starts, hashed)
    }

    /// As [`Node::store_runs`], of runs whose hashes were made out before.
    ///
    /// # Errors
    /// As [`Node::store_runs`].
    pub fn store_hashed_runs(
        &mut self,
        starts: impl Fn(&ChainId) -> Option<ChainStart>,
        runs: Vec<HashedRun>,
    ) -> Result<Vec<Result<(), Refusal>>, NodeError> {
        let mut outcomes = Vec::with_capacity(runs.len());
        let mut group = Group::new(&self.ledger);
        for run in runs {
            if group.bytes + run.run().bytes().len() > GROUP_BYTES {
                self.commit(group)?;
                group = Group::new(&self.ledger);
            }
            outcomes.push(group.add(&starts, run));
        }
        self.commit(group)?;
        self.hand_over_keys();
        Ok(outcomes)
    }

    fn commit(&mut self, group: Group) -> Result<(), NodeError> {
        if group.runs.is_empty() {
            return Ok(());
        }
        let starts: Vec<_> = group.starts.iter().map(ChainStart::encode).collect();
        let starts = starts.iter().map(|start| Record { kind: RecordKind::ChainDeclaration, bytes: start });
        let runs =
            group.runs.iter().map(|checked| Record { kind: RecordKind::Run, bytes: checked.run().bytes() });
        let records: Vec<_> = starts.chain(runs).collect();
        if !Fault::AcknowledgeUnstored.is_set() {
            self.store.append(&records)?;
        }
        // Below this line nothing can fail but reading, so what is durable is also recorded.
        let places = self.store.places(&records).skip(group.starts.len());
        for (place, checked) in places.zip(&group.runs) {
            self.verified.add(place, checked);
        }
        let was_office = self.is_office();
        let before = std::mem::replace(&mut self.ledger, group.ledger);
        let roster_changed = group.runs.iter().any(Checked::makes_roster);
        let keys = self.keys.len();
        if roster_changed {
            self.keys = OfficeKeys::received(self.ledger.given_keys(), &self.secret);
        }
        if self.fetching {
            return Ok(());
        }
        let waits_for_key = || self.book.unreadable().any(|(_, event)| event.reason == Unreadable::Sealed);
        if self.is_office() != was_office || (self.keys.len() > keys && waits_for_key()) {
            // Another book: what this device may read now was not in it, or must not be.
            return self.read_again();
        }
        for checked in &group.runs {
            fold_run(&mut self.book, &self.ledger, &self.keys, checked);
        }
        if roster_changed && !Fault::KeepOldStandings.is_set() {
            // Who may do what decides what counts. What came just now was judged by the roster of just now.
            let since = self.ledger.roster().difference(before.roster());
            let since = if self.fill_in_at_cuts() { None } else { Some(since) };
            opening::judge_again(&mut self.book, &self.ledger, since.as_ref());
        }
        Ok(())
    }

    /// Reads the journal again, for a book of what this device may read now.
    fn read_again(&mut self) -> Result<(), NodeError> {
        let (crew, end) = (self.crew(), self.store.end());
        let again = opening::read_again(&mut self.store, crew, &self.secret, &self.verified, end)?;
        self.book = match again {
            Some(opened) => opened.book,
            None => opening::open_anew(&self.store, crew, &self.secret)?.book,
        };
        Ok(())
    }

    /// Reads everything from the journal and verifies it anew, whatever a checkpoint said. Damage is put right.
    ///
    /// # Errors
    /// [`NodeError::Read`] or [`NodeError::Disk`].
    pub fn verify(&mut self) -> Result<WholeRead, NodeError> {
        let report = self.store.verify_deep()?;
        let events = |ledger: &Ledger| ledger.chains().map(|chain| chain.tip.next_seq).sum::<u64>();
        let before = events(&self.ledger);
        let opened = opening::open_anew(&self.store, self.crew(), &self.secret)?;
        self.verified = opened.verified;
        let mut healed = Vec::new();
        if !report.damage.is_empty() {
            healed = self.put_right(&report.damage);
            // What is lost here is asked for like anything else that is not held.
            (self.ledger, self.keys) = (opened.ledger, opened.keys);
        }
        self.book = opened.book;
        self.fill_in_at_cuts();
        opening::judge_again(&mut self.book, &self.ledger, None);
        let (verified, missing) =
            (self.verified.events() as u64, before.saturating_sub(events(&self.ledger)));
        Ok(WholeRead { report, verified, healed, missing })
    }

    /// How many events the start took from a checkpoint as verified.
    #[must_use]
    pub const fn verified_before(&self) -> usize {
        self.verified.believed()
    }

    /// Writes the checkpoint now, whether or not it is worth it.
    ///
    /// # Errors
    /// [`NodeError::Checkpoint`]; the one before it then still stands.
    pub fn write_checkpoint(&mut self) -> Result<(), NodeError> {
        Ok(self.verified.begin(&mut self.store).write()?)
    }

    /// The checkpoint that should now be written, if enough is new. It may be written while the node goes
    /// on; one at a time.
    pub(crate) fn due_checkpoint(&mut self) -> Option<Pending> {
        self.verified.due(&mut self.store)
    }

    /// A stored run of a chain that begins at `from_seq`, joined with those that follow up to 1 MiB.
    ///
    /// # Errors
    /// [`NodeError::Read`].
    pub fn read_run(&mut self, chain: ChainId, from_seq: u64) -> Result<Option<Run>, NodeError> {
        let found = self.find_run(chain, from_seq)?;
        if found.is_none() && self.holds(chain, from_seq) && self.store.distrust_index()? {
            return self.find_run(chain, from_seq);
        }
        Ok(found)
    }

    /// Whether an event is held, whatever the index says.
    fn holds(&self, chain: ChainId, seq: u64) -> bool {
        self.ledger.chain(&chain).is_some_and(|held| held.tip.next_seq > seq)
    }

    fn find_run(&mut self, chain: ChainId, from_seq: u64) -> Result<Option<Run>, NodeError> {
        // Behind damage there may be events of a line that is not the one held now.
        joined_run(self.store.runs(chain, from_seq), from_seq, |place| self.verified.has(place))
    }
}

/// The stored runs of a chain from an event on, as one run of up to 1 MiB; only those at places that are wanted.
fn joined_run(
    stored: Runs<'_>,
    from_seq: u64,
    is_wanted: impl Fn(Position) -> bool,
) -> Result<Option<Run>, NodeError> {
    let (mut runs, mut next_seq, mut length): (Vec<Run>, _, _) = (Vec::new(), from_seq, 0);
    for stored in stored {
        let run = match stored {
            Ok(stored) if !is_wanted(stored.place) => continue,
            Ok(stored) => Run::decode(stored.bytes)?,
            Err(_) if !runs.is_empty() => break, // What is whole before the damage is still good to send.
            Err(error) => return Err(error.into()),
        };
        if run.next_seq() <= next_seq {
            continue; // Another copy of what was read.
        }
        let Some(run) = run.starting_at(next_seq).filter(|run| run.first_seq() == next_seq) else {
            break;
        };
        next_seq = run.next_seq();
        length += run.bytes().len();
        // The next is read only if it fits, too, should it be as long.
        let is_enough = length + run.bytes().len() > MAX_JOINED;
        runs.push(run);
        if is_enough {
            break;
        }
    }
    let mut runs = runs.into_iter();
    let first = runs.next();
    Ok(first.map(|first| first.joined(runs.as_slice())))
}

impl Node {
    /// Closes the node in a process that is about to end. To free a large book piece by piece takes as long as
    /// to read it, so its memory is left to the system.
    pub(crate) fn leave(mut self) {
        std::mem::forget(std::mem::replace(&mut self.book, Book::new(Audience::Crew)));
    }
}

/// The next start begins where this one ends.
impl Drop for Node {
    fn drop(&mut self) {
        // A panic may have come in the middle of anything; the journal alone is whole then.
        if !std::thread::panicking()
            && let Some(checkpoint) = self.due_checkpoint()
        {
            checkpoint.write_or_warn();
        }
    }
}

/// An act of a person, logged and done at one instant.
pub(crate) fn act_at(now_ms: i64, person: PersonId, entry: EntryId) -> Result<Act, NodeError> {
    let logged_at = moment(now_ms)?;
    Ok(Act {
        person,
        author: person,
        entry,
        done_on: logged_at.day(),
        done_at: None,
        logged_at,
        row_key: String::new(),
        said: String::new(),
        note: String::new(),
        replaces: Vec::new(),
    })
}
