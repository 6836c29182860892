//! Runs a sync session over one stream of a connection.
//!
//! Reading, storing and sending go on at the same time: while one batch of runs is made durable, the
//! next gathers, and what has gathered is stored by one call. Memory stays bounded: frames are
//! not read while the session has enough to store, and the session is not asked for more frames
//! while enough wait to be sent.

use std::collections::VecDeque;
use std::sync::Arc;
use std::time::Duration;

use ledger::fork::Comparison;
use ledger::{ChainId, ForkProof, Ledger, Refusal, Run};
use quinn::{Connection, ConnectionError, ReadError, RecvStream, SendStream, WriteError};
use sync::{FrameReader, Output, Session, push_frame};
use tokio::sync::watch;
use tokio::task::JoinHandle;
use tokio::time::timeout;

use crate::error::{PeerError, close_done, close_for, is_done};
use crate::holder::{Fault, Holder};
use crate::photo_driver::drive_photos;

/// Bytes that are read from the stream at a time.
const READ_AT_ONCE: usize = 256 * 1024;
/// While this many bytes wait to be sent, the session is not asked for more.
const ENOUGH_TO_SEND: usize = 256 * 1024;
/// Bytes of runs that are given to the holder at a time: about as much as it makes durable together. What
/// gathers meanwhile waits for the next time.
const STORE_AT_ONCE: usize = 3 * 1024 * 1024;
/// How long the last words may take.
const LAST_WORDS: Duration = Duration::from_secs(3);

/// When to end a session.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stay {
    /// Once both sides are known to hold the same, and have the photos that they want.
    UntilSettled,
    /// As long as the connection lasts.
    Connected,
}

/// What ends a session.
enum End {
    /// This side has what it came for.
    Settled,
    /// The peer ended its stream.
    PeerEnded,
    /// The connection is gone, or one side refused the other, or this side has a fault.
    Error(PeerError),
}

type Stored = (Vec<ChainId>, Result<Vec<Result<(), Refusal>>, Fault>);

/// What the holder is asked for besides storing, one at a time.
enum Ask {
    Read(ChainId, u64),
    Show(ChainId, u64),
    Compare(Run),
    StoreFork(ForkProof),
}

/// What it said.
enum Answer {
    Read(ChainId, Option<Run>),
    Shown(Option<Run>),
    Compared(u64, Comparison),
    ForkStored(ChainId, Result<(), Refusal>),
}

impl Ask {
    fn put_to(self, holder: &impl Holder) -> Result<Answer, Fault> {
        Ok(match self {
            Self::Read(chain, from_seq) => Answer::Read(chain, holder.read(chain, from_seq)),
            Self::Show(chain, from_seq) => Answer::Shown(holder.read(chain, from_seq)),
            Self::Compare(run) => Answer::Compared(run.next_seq(), holder.compare(&run)?),
            Self::StoreFork(proof) => Answer::ForkStored(proof.chain(), holder.store_fork(proof)?),
        })
    }
}

struct Driver<H> {
    session: Session,
    holder: Arc<H>,
    frames: FrameReader,
    /// What was read from the stream and not yet given to the session: `input[taken..]`.
    input: Vec<u8>,
    taken: usize,
    input_ended: bool,
    /// What is to be sent: `output[sent..]`.
    output: Vec<u8>,
    sent: usize,
    to_store: VecDeque<Run>,
    to_ask: VecDeque<Ask>,
    storing: Option<JoinHandle<Stored>>,
    asking: Option<JoinHandle<Result<Answer, Fault>>>,
    /// Whether the holder was told what the peer announced.
    peer_noted: bool,
    end: Option<End>,
    /// Tells the stream of photos whether it may go on.
    quiet: watch::Sender<bool>,
    /// Whether both sides have the photos that they want; none where no photos are carried.
    photos_idle: Option<watch::Receiver<bool>>,
    /// How many events the peer held when that was last noted.
    noted: u64,
}

/// Runs the session to its end and closes the connection.
pub(crate) async fn drive<H: Holder>(
    connection: &Connection,
    (mut send, mut receive): (SendStream, RecvStream),
    session: Session,
    holder: Arc<H>,
    stay: Stay,
) -> Result<(), PeerError> {
    let mut driver = Driver {
        session,
        holder,
        frames: FrameReader::default(),
        input: Vec::new(),
        taken: 0,
        input_ended: false,
        output: Vec::new(),
        sent: 0,
        to_store: VecDeque::new(),
        to_ask: VecDeque::new(),
        storing: None,
        asking: None,
        peer_noted: false,
        end: None,
        quiet: watch::Sender::new(false),
        photos_idle: None,
        noted: 0,
    };
    if let Some(photos) = driver.holder.photos() {
        // It ends with the connection.
        let (peer, quiet, idle) =
            (driver.session.peer(), driver.quiet.subscribe(), watch::Sender::new(false));
        driver.photos_idle = Some(idle.subscribe());
        tokio::spawn(drive_photos(connection.clone(), peer, photos, quiet, idle));
    }
    let end = driver.run(connection, &mut send, &mut receive, stay).await;
    driver.note_peer();
    match end {
        End::Settled => {
            tracing::debug!(peer = %driver.session.peer().short(), "hung up: both hold the same");
            driver.send_rest(&mut send).await;
            // The peer ends its stream once it has read to the end; a close before could overtake the rest.
            let _ = timeout(LAST_WORDS, read_to_end(&mut receive)).await;
            close_done(connection);
            Ok(())
        }
        End::PeerEnded => {
            driver.send_rest(&mut send).await;
            close_done(connection);
            Ok(())
        }
        End::Error(error) => {
            if matches!(error, PeerError::Refused(_)) {
                driver.send_rest(&mut send).await;
            }
            close_for(connection, &error);
            Err(error)
        }
    }
}

impl<H: Holder> Driver<H> {
    async fn run(
        &mut self,
        connection: &Connection,
        send: &mut SendStream,
        receive: &mut RecvStream,
        stay: Stay,
    ) -> End {
        let mut changes = self.holder.changes();
        let mut held = *changes.borrow_and_update();
        let mut buffer = vec![0; READ_AT_ONCE];
        let mut watching = true;
        loop {
            self.take_in_input();
            self.do_outputs();
            if !self.peer_noted && !self.session.peer_holds().is_empty() {
                self.peer_noted = true;
                self.note_peer();
            }
            self.note_what_was_acknowledged();
            if let Some(end) = self.end.take().or_else(|| self.natural_end(stay)) {
                return end;
            }
            self.start_tasks();
            self.tell_whether_quiet();
            let may_read = self.taken == self.input.len() && !self.input_ended && self.session.wants_frames();
            tokio::select! {
                stored = finished(&mut self.storing) => self.handle_stored(stored),
                answer = finished(&mut self.asking) => self.handle_answer(answer.flatten()),
                written = send.write(self.output.get(self.sent..).unwrap_or_default()),
                    if self.sent < self.output.len() => self.handle_written(written),
                read = receive.read(&mut buffer), if may_read => match read {
                    Ok(Some(length)) => {
                        self.input.clear();
                        self.input.extend_from_slice(buffer.get(..length).unwrap_or_default());
                        self.taken = 0;
                    },
                    Ok(None) => self.handle_end(),
                    Err(ReadError::ConnectionLost(error)) => return self.after_loss(error).await,
                    Err(_) => return End::Error(Refusal::Truncated.into()),
                },
                changed = changes.changed(), if watching => match changed {
                    Ok(()) => {
                        // What was lost and is to be fetched is asked for when two meet, not in between.
                        let holds = *changes.borrow_and_update();
                        if holds < std::mem::replace(&mut held, holds) {
                            let lost = "something that was held is lost, and asked for again".to_owned();
                            return End::Error(Fault(lost).into());
                        }
                        self.with_session(Session::handle_ledger_changed);
                    }
                    Err(_) => watching = false,
                },
                () = changed(&mut self.photos_idle) => {}
                error = connection.closed() => return self.after_loss(error).await,
            }
        }
    }

    fn tell_whether_quiet(&self) {
        let is_storing = self.storing.is_some() || !self.to_store.is_empty();
        let is_quiet = self.session.is_quiet() && !is_storing && self.sent == self.output.len();
        self.quiet.send_if_modified(|was| std::mem::replace(was, is_quiet) != is_quiet);
    }

    fn with_session(&mut self, handle: impl FnOnce(&mut Session, &Ledger)) {
        let session = &mut self.session;
        self.holder.with_ledger(|ledger| handle(session, ledger));
    }

    /// Gives the session the frames that were read, as far as it wants them.
    fn take_in_input(&mut self) {
        while self.end.is_none() && self.taken < self.input.len() && self.session.wants_frames() {
            let mut rest = self.input.get(self.taken..).unwrap_or_default();
            let frame = self.frames.take_in(&mut rest);
            self.taken = self.input.len() - rest.len();
            match frame {
                Ok(Some(frame)) => self.with_session(|session, ledger| session.handle_frame(&frame, ledger)),
                Ok(None) => {}
                Err(refusal) => self.end = Some(End::Error(refusal.into())),
            }
            self.do_outputs();
        }
    }

    fn do_outputs(&mut self) {
        while self.end.is_none() {
            let has_enough_to_send = self.output.len() - self.sent >= ENOUGH_TO_SEND;
            let output =
                if has_enough_to_send { self.session.poll_work() } else { self.session.poll_output() };
            let Some(output) = output else { break };
            match output {
                Output::Send(frame) => {
                    push_frame(&mut self.output, &frame);
                }
                Output::TakeInChain(start) => {
                    if let Err(refusal) = self.holder.take_in_chain(start) {
                        self.with_session(|session, ledger| {
                            session.handle_refused(start.chain, refusal, ledger);
                        });
                    }
                }
                Output::Store(run) => self.to_store.push_back(run),
                Output::Read { chain, from_seq } => self.to_ask.push_back(Ask::Read(chain, from_seq)),
                Output::Show { chain, from_seq } => self.to_ask.push_back(Ask::Show(chain, from_seq)),
                Output::Compare(run) => self.to_ask.push_back(Ask::Compare(run)),
                Output::StoreFork(proof) => self.to_ask.push_back(Ask::StoreFork(proof)),
                Output::CaughtUp => {
                    self.note_peer();
                    tracing::debug!(peer = %self.session.peer().short(), "caught up");
                }
                Output::SetAside { chain, refusal } => {
                    let (peer, number) = (self.session.peer().short(), refusal.number());
                    tracing::warn!(%peer, number, chain = %chain.short(), "left a chain out: {refusal}");
                }
                Output::Close(refusal) => self.end = Some(End::Error(refusal.into())),
                Output::Dismissed(refusal) => self.end = Some(End::Error(PeerError::dismissed(refusal))),
            }
        }
    }

    fn note_peer(&self) {
        let common = self.holder.with_ledger(|ledger| self.session.common_ground(ledger));
        self.holder.note_peer(self.session.peer(), self.session.peer_holds(), common);
    }

    /// People see how safe an entry is, so that an acknowledgement is passed on as it comes; while
    /// much is on its way, only once it all has arrived.
    fn note_what_was_acknowledged(&mut self) {
        let held = self.session.peer_holds().values().sum();
        if held != self.noted && self.holder.with_ledger(|ledger| self.session.is_settled(ledger)) {
            self.noted = held;
            self.note_peer();
        }
    }

    /// The end that needs no error: when all is done that this side stays for.
    fn natural_end(&self, stay: Stay) -> Option<End> {
        let is_busy = self.storing.is_some() || !self.to_store.is_empty() || self.taken < self.input.len();
        if is_busy {
            return None;
        }
        if self.input_ended {
            return Some(End::PeerEnded);
        }
        let is_settled = || self.holder.with_ledger(|ledger| self.session.is_settled(ledger));
        let photos_are_idle = self.photos_idle.as_ref().is_none_or(|idle| *idle.borrow());
        (stay == Stay::UntilSettled && photos_are_idle && is_settled()).then_some(End::Settled)
    }

    fn start_tasks(&mut self) {
        if self.storing.is_none() && !self.to_store.is_empty() {
            let mut bytes = 0;
            let within = |run: &&Run| {
                bytes += run.bytes().len();
                bytes <= STORE_AT_ONCE
            };
            let count = self.to_store.iter().take_while(within).count().max(1);
            let runs: Vec<Run> = self.to_store.drain(..count).collect();
            let holder = Arc::clone(&self.holder);
            self.storing = Some(tokio::task::spawn_blocking(move || {
                let chains = runs.iter().map(Run::chain).collect();
                (chains, holder.store(runs))
            }));
        }
        if self.asking.is_none()
            && let Some(ask) = self.to_ask.pop_front()
        {
            let holder = Arc::clone(&self.holder);
            self.asking = Some(tokio::task::spawn_blocking(move || ask.put_to(&*holder)));
        }
    }

    fn handle_stored(&mut self, stored: Result<Stored, Fault>) {
        match stored {
            Ok((chains, Ok(outcomes))) => {
                for (chain, outcome) in chains.into_iter().zip(outcomes) {
                    self.with_session(|session, ledger| match outcome {
                        Ok(()) => session.handle_stored(chain, ledger),
                        Err(refusal) => session.handle_refused(chain, refusal, ledger),
                    });
                    self.do_outputs();
                }
            }
            Ok((_, Err(fault))) | Err(fault) => self.end = Some(End::Error(fault.into())),
        }
    }

    fn handle_answer(&mut self, answer: Result<Answer, Fault>) {
        match answer {
            Ok(answer) => self.with_session(|session, ledger| match answer {
                Answer::Read(chain, run) => session.handle_read(chain, run, ledger),
                Answer::Shown(run) => session.handle_shown(run, ledger),
                Answer::Compared(reached, found) => session.handle_compared(reached, found, ledger),
                Answer::ForkStored(chain, outcome) => session.handle_fork_stored(chain, outcome, ledger),
            }),
            Err(fault) => self.end = Some(End::Error(fault.into())),
        }
    }

    fn handle_written(&mut self, written: Result<usize, WriteError>) {
        match written {
            Ok(length) => {
                self.sent += length;
                // Moving what is left is cheap once most is sent, and keeps the buffer small.
                if self.sent * 2 >= self.output.len() {
                    self.output.drain(..self.sent);
                    self.sent = 0;
                }
            }
            Err(WriteError::ConnectionLost(error)) => self.end = Some(lost(error)),
            Err(_) => self.end = Some(End::PeerEnded),
        }
    }

    fn handle_end(&mut self) {
        self.input_ended = true;
        match self.frames.finish() {
            Ok(()) => self.session.handle_end(),
            Err(refusal) => self.end = Some(End::Error(refusal.into())),
        }
    }

    /// What came whole before the connection broke is verified like any other, so it is kept.
    async fn after_loss(&mut self, error: ConnectionError) -> End {
        while self.storing.is_some() || !self.to_store.is_empty() {
            self.start_tasks();
            let stored = finished(&mut self.storing).await;
            self.handle_stored(stored);
            if let Some(end) = self.end.take() {
                return end;
            }
        }
        lost(error)
    }

    /// Sends what is left and ends the stream, unless the peer takes too long over it.
    async fn send_rest(&mut self, send: &mut SendStream) {
        let rest = self.output.get(self.sent..).unwrap_or_default();
        let sending = async {
            if send.write_all(rest).await.is_ok() && send.finish().is_ok() {
                let _ = send.stopped().await;
            }
        };
        let _ = timeout(LAST_WORDS, sending).await;
    }
}

/// Reads on until the peer ends its stream or is gone. What it still says is no news.
async fn read_to_end(receive: &mut RecvStream) {
    while let Ok(Some(_)) = receive.read_chunk(READ_AT_ONCE, true).await {}
}

fn lost(error: ConnectionError) -> End {
    if is_done(&error) { End::PeerEnded } else { End::Error(error.into()) }
}

/// Waits for news, if there may be any. What will never tell any more is forgotten.
async fn changed(news: &mut Option<watch::Receiver<bool>>) {
    let Some(receiver) = news else { return std::future::pending().await };
    if receiver.changed().await.is_err() {
        *news = None;
    }
}

/// Waits for the task, if there is one, and takes it away. Waits for ever if there is none.
async fn finished<T>(task: &mut Option<JoinHandle<T>>) -> Result<T, Fault> {
    let Some(running) = task else { return std::future::pending().await };
    let result = running.await;
    *task = None;
    result.map_err(|error| Fault(format!("storing or reading ended early: {error}")))
}
