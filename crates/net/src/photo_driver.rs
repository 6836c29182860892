//! Runs a session of photos over a stream of its own, beside the events and behind them.
//!
//! Whatever becomes of it, the events go on: an error here ends the stream of photos alone.

use std::collections::{BTreeSet, VecDeque};
use std::mem::take;
use std::sync::Arc;
use std::time::Duration;

use bytes::Bytes;
use ledger::{DeviceKey, PhotoHash, Refusal};
use quinn::{Connection, RecvStream, SendStream, Side, VarInt};
use sync::photos::{GROUP, GroupHash, Outline, PhotoOutput, PhotoSession, Portion};
use tokio::sync::watch;
use tokio::task::JoinSet;
use tokio::time::sleep;

use crate::holder::Fault;
use crate::photo_holder::PhotoHolder;
use crate::streams::{Incoming, Outgoing};

/// Groups that are written to disk at a time: 1 MiB.
const GROUPS_AT_ONCE: usize = 1024 * 1024 / GROUP;
/// Photos that are made durable side by side: a disk does many at once in little more time than one.
const MOST_FINISHING: usize = 16;
/// Jobs that may wait for the disk before no more is read: a peer can say much that has to be noted.
const MOST_JOBS: usize = 64;
/// How long what is wanted is left alone after it was looked for: with each photo that comes it changes a little.
const BETWEEN_LOOKS: Duration = Duration::from_millis(200);
/// Behind the events, which have priority nought.
const PRIORITY: i32 = -1;
/// How long the peer may take to open its side, for whoever waits only for that.
const PATIENCE: Duration = Duration::from_secs(5);
/// Asks for what was gained from now on.
const FROM_NOW: u64 = u64::MAX;

/// Something that waits for the disk, done.
enum Done {
    /// So long after what is wanted was looked for.
    Rested,
    /// How much is kept, what of it is wanted, what was gained, and from where on to ask the next time.
    Wanted(Portion, Vec<(PhotoHash, Portion)>, Vec<PhotoHash>, u64),
    Looked(Vec<Portion>),
    Claimed(PhotoHash, Option<Vec<GroupHash>>),
    Outlined(PhotoHash, Option<(Outline, Vec<u8>)>),
    Read(PhotoHash, Option<Vec<u8>>),
    ReadSmall(PhotoHash, Option<Vec<u8>>),
    /// What was written: of which photo, how many bytes, and whether it could be. Then what is to be finished.
    Written(Vec<(PhotoHash, usize, bool)>, Vec<(PhotoHash, Outline)>),
    /// The last that is done of a photo, and whether it could be.
    Finished(PhotoHash, bool),
    Noted,
}

/// What is to be done on the disk in this order.
enum OnDisk {
    Trim(PhotoHash, usize),
    Write { photo: PhotoHash, group: usize, of: usize, pieces: Vec<Bytes> },
    Finish(PhotoHash, Outline),
    KeepSmall(PhotoHash, Bytes),
}

struct Driver {
    session: PhotoSession,
    holder: Arc<dyn PhotoHolder>,
    peer: DeviceKey,
    incoming: Incoming,
    outgoing: Outgoing,
    jobs: JoinSet<Done>,
    on_disk: VecDeque<OnDisk>,
    is_on_disk: bool,
    /// How many photos are being made durable.
    finishing: usize,
    is_looking_for_wanted: bool,
    bell_rang: bool,
    gained: u64,
    noted_keeps: Option<Portion>,
    claims: Claims,
    over: bool,
}

/// The photos that this session fetches. They are released when it ends, however it ends.
struct Claims {
    holder: Arc<dyn PhotoHolder>,
    photos: BTreeSet<PhotoHash>,
}

impl Drop for Claims {
    fn drop(&mut self) {
        for photo in &self.photos {
            self.holder.release(*photo);
        }
    }
}

/// Waits until no events are on their way, then opens the stream of photos, or takes the one that the peer opens, and
/// serves it until the connection ends. Says whether both sides have what they want.
pub(crate) async fn drive_photos(
    connection: Connection,
    peer: DeviceKey,
    holder: Arc<dyn PhotoHolder>,
    mut quiet: watch::Receiver<bool>,
    idle: watch::Sender<bool>,
) {
    let mut is_quiet = quiet.clone();
    let nobody_comes = async {
        let _ = is_quiet.wait_for(|is_quiet| *is_quiet).await;
        sleep(PATIENCE).await;
        idle.send_replace(true);
        std::future::pending().await
    };
    let streams = match connection.side() {
        Side::Client => {
            if quiet.wait_for(|is_quiet| *is_quiet).await.is_err() {
                return;
            }
            connection.open_bi().await
        }
        Side::Server => tokio::select! {
            streams = connection.accept_bi() => streams,
            () = nobody_comes => return,
        },
    };
    let Ok((mut send, mut receive)) = streams else { return };
    if send.set_priority(PRIORITY).is_err() {
        return;
    }
    let claims = Claims { holder: Arc::clone(&holder), photos: BTreeSet::new() };
    let mut driver = Driver {
        session: PhotoSession::new(holder.keeps()),
        holder,
        peer,
        incoming: Incoming::default(),
        outgoing: Outgoing::default(),
        jobs: JoinSet::new(),
        on_disk: VecDeque::new(),
        is_on_disk: false,
        finishing: 0,
        is_looking_for_wanted: false,
        bell_rang: true,
        gained: FROM_NOW,
        noted_keeps: None,
        claims,
        over: false,
    };
    driver.run((&mut send, &mut receive), &mut quiet, &idle).await;
    // What was proved before the connection broke is kept: the next session goes on behind it.
    driver.finish_on_disk().await;
    let _ = send.finish();
    let _ = receive.stop(VarInt::from_u32(0));
}

impl Driver {
    async fn run(
        &mut self,
        (send, receive): (&mut SendStream, &mut RecvStream),
        quiet: &mut watch::Receiver<bool>,
        idle: &watch::Sender<bool>,
    ) {
        let patience = sleep(PATIENCE);
        tokio::pin!(patience);
        let mut waits = true;
        let mut bell = self.holder.bell();
        loop {
            self.session.handle_quiet(*quiet.borrow_and_update());
            self.take_in_input();
            self.do_outputs();
            self.start_jobs();
            if self.over && self.outgoing.is_empty() {
                return;
            }
            let is_idle = self.is_idle() || (!waits && !self.session.is_open());
            idle.send_if_modified(|was| std::mem::replace(was, is_idle) != is_idle);
            let may_read = self.incoming.is_empty() && self.wants_frames() && !self.over;
            tokio::select! {
                Some(done) = self.jobs.join_next() => match done {
                    Ok(done) => self.handle_done(done),
                    Err(error) => {
                        tracing::warn!(%error, "a photo could not be read or written");
                        return;
                    }
                },
                written = self.outgoing.write_some(send), if !self.outgoing.is_empty() => {
                    if written.is_err() {
                        return;
                    }
                }
                read = self.incoming.read_some(receive), if may_read => {
                    let Ok(true) = read else { return };
                }
                changed = bell.changed() => {
                    if changed.is_err() {
                        return;
                    }
                    self.bell_rang = true;
                }
                () = &mut patience, if waits => waits = false,
                changed = quiet.changed() => if changed.is_err() { return },
            }
        }
    }

    /// Whether both sides have what they want, as far as is known, and all is on the disk.
    fn is_idle(&self) -> bool {
        self.session.is_idle()
            && self.outgoing.is_empty()
            && self.jobs.is_empty()
            && self.on_disk.is_empty()
            && !self.bell_rang
    }

    fn wants_frames(&self) -> bool {
        self.session.wants_frames() && self.finishing < MOST_FINISHING && self.jobs.len() < MOST_JOBS
    }

    fn take_in_input(&mut self) {
        while !self.over && self.wants_frames() {
            match self.incoming.next_frame() {
                Ok(Some(frame)) => self.session.handle_frame(frame),
                Ok(None) => break,
                Err(refusal) => self.refuse(refusal),
            }
            self.do_outputs();
        }
    }

    fn do_outputs(&mut self) {
        while !self.over {
            let is_enough = self.outgoing.is_enough();
            let output = if is_enough { self.session.poll_work() } else { self.session.poll_output() };
            let Some(output) = output else { break };
            self.do_output(output);
        }
    }

    fn do_output(&mut self, output: PhotoOutput) {
        let (peer, holder) = (self.peer, Arc::clone(&self.holder));
        match output {
            PhotoOutput::Send(frame) => self.outgoing.push(frame),
            PhotoOutput::Look(photos) => self.start(move || Done::Looked(holder.look(peer, &photos))),
            PhotoOutput::PeerHolds(portions) => self.start(move || {
                holder.note(peer, &portions);
                Done::Noted
            }),
            PhotoOutput::Claim { photo, portion } => {
                self.start(move || Done::Claimed(photo, holder.claim(peer, photo, portion)));
            }
            PhotoOutput::Release { photo } => {
                self.claims.photos.remove(&photo);
                holder.release(photo);
            }
            PhotoOutput::Trim { photo, groups } => self.on_disk.push_back(OnDisk::Trim(photo, groups)),
            PhotoOutput::Write { photo, group, of, bytes } => self.write(photo, group, of, bytes),
            PhotoOutput::Finish { photo, outline } => self.on_disk.push_back(OnDisk::Finish(photo, outline)),
            PhotoOutput::KeepSmall { photo, bytes } => {
                self.on_disk.push_back(OnDisk::KeepSmall(photo, bytes))
            }
            PhotoOutput::Outline { photo, group, groups } => {
                self.start(move || Done::Outlined(photo, holder.outline(peer, photo, group..group + groups)));
            }
            PhotoOutput::Read { photo, group, groups } => {
                self.start(move || Done::Read(photo, holder.read(photo, group, groups)));
            }
            PhotoOutput::ReadSmall { photo } => {
                self.start(move || Done::ReadSmall(photo, holder.read_small(peer, photo)));
            }
            PhotoOutput::Close(refusal) => self.refuse(refusal),
            PhotoOutput::Dismissed(refusal) => {
                let why =
                    refusal.map_or_else(|| "of a kind not known here".to_owned(), |why| why.to_string());
                tracing::warn!(peer = %peer.short(), "a peer gives no photos for a reason: {why}");
                self.over = true;
            }
        }
    }

    fn refuse(&mut self, refusal: Refusal) {
        let (peer, number) = (self.peer.short(), refusal.number());
        tracing::warn!(%peer, number, "no photos are exchanged with a peer: {refusal}");
        self.over = true;
    }

    /// Groups in a row are written together.
    fn write(&mut self, photo: PhotoHash, group: usize, of: usize, bytes: Bytes) {
        if let Some(OnDisk::Write { photo: last, group: first, pieces, .. }) = self.on_disk.back_mut()
            && *last == photo
            && *first + pieces.len() == group
            && pieces.len() < GROUPS_AT_ONCE
        {
            pieces.push(bytes);
        } else {
            self.on_disk.push_back(OnDisk::Write { photo, group, of, pieces: vec![bytes] });
        }
    }

    fn start(&mut self, work: impl FnOnce() -> Done + Send + 'static) {
        self.jobs.spawn_blocking(work);
    }

    fn start_jobs(&mut self) {
        if !self.is_on_disk && !self.on_disk.is_empty() {
            self.is_on_disk = true;
            let (peer, holder, work) = (self.peer, Arc::clone(&self.holder), take(&mut self.on_disk));
            self.start(move || on_disk(&*holder, peer, work));
        }
        if let Some(keeps) = self.session.peer_keeps().filter(|keeps| self.noted_keeps != Some(*keeps)) {
            let (peer, holder) = (self.peer, Arc::clone(&self.holder));
            self.noted_keeps = Some(keeps);
            self.start(move || {
                holder.note_keeps(peer, keeps);
                Done::Noted
            });
        }
        if self.bell_rang && !self.is_looking_for_wanted {
            (self.bell_rang, self.is_looking_for_wanted) = (false, true);
            let (peer, holder, since) = (self.peer, Arc::clone(&self.holder), self.gained);
            self.start(move || {
                let (gained, since) = holder.gained(peer, since);
                Done::Wanted(holder.keeps(), holder.wanted(peer), gained, since)
            });
        }
    }

    fn handle_done(&mut self, done: Done) {
        match done {
            Done::Wanted(keeps, wanted, gained, since) => {
                self.jobs.spawn(async {
                    sleep(BETWEEN_LOOKS).await;
                    Done::Rested
                });
                self.gained = since;
                self.session.handle_keeps(keeps);
                self.session.handle_gained(&gained);
                self.session.handle_wanted(&wanted);
            }
            Done::Looked(portions) => self.session.handle_looked(&portions),
            Done::Claimed(photo, here) => {
                if here.is_some() {
                    self.claims.photos.insert(photo);
                }
                self.session.handle_claimed(photo, here);
            }
            Done::Outlined(photo, outlined) => {
                let outlined = outlined.map(|(outline, bytes)| (outline, Bytes::from(bytes)));
                self.session.handle_outlined(photo, outlined);
            }
            Done::Read(photo, bytes) => self.session.handle_read(photo, bytes.map(Bytes::from)),
            Done::ReadSmall(photo, bytes) => self.session.handle_read_small(photo, bytes.as_deref()),
            Done::Written(written, to_finish) => {
                self.is_on_disk = false;
                for (photo, bytes, could_be) in written {
                    self.session.handle_written(bytes);
                    if !could_be {
                        self.give_up(photo);
                    }
                }
                for (photo, outline) in to_finish {
                    self.finishing += 1;
                    let holder = Arc::clone(&self.holder);
                    self.start(move || {
                        let finished = holder.finish(photo, &outline).inspect_err(|fault| warn(photo, fault));
                        Done::Finished(photo, finished.is_ok())
                    });
                }
            }
            Done::Finished(photo, could_be) => {
                self.finishing = self.finishing.saturating_sub(1);
                if could_be {
                    self.claims.photos.remove(&photo);
                } else {
                    self.give_up(photo);
                }
            }
            Done::Rested => self.is_looking_for_wanted = false,
            Done::Noted => {}
        }
    }

    fn give_up(&mut self, photo: PhotoHash) {
        self.session.handle_unwritten(photo);
        self.claims.photos.remove(&photo);
        self.holder.release(photo);
    }

    /// Writes what came before the end.
    async fn finish_on_disk(&mut self) {
        self.bell_rang = false;
        self.start_jobs();
        // All jobs, because a claim that is being made must not outlive the session.
        while let Some(done) = self.jobs.join_next().await {
            let Ok(done) = done else { return };
            self.handle_done(done);
            self.start_jobs();
        }
    }
}

/// Does what waits for the disk. Of a photo that can't be written once, nothing more is tried.
fn on_disk(holder: &dyn PhotoHolder, peer: DeviceKey, work: VecDeque<OnDisk>) -> Done {
    let (mut written, mut to_finish, mut failed) = (Vec::new(), Vec::new(), BTreeSet::new());
    for piece in work {
        let (photo, length, done) = match piece {
            OnDisk::Trim(photo, groups) => (photo, 0, holder.trim(photo, groups)),
            OnDisk::Write { photo, group, of, pieces } => {
                let length = pieces.iter().map(Bytes::len).sum();
                let is_lost = failed.contains(&photo);
                (photo, length, if is_lost { Ok(()) } else { holder.write(photo, group, of, &pieces) })
            }
            OnDisk::KeepSmall(photo, bytes) => (photo, 0, holder.keep_small(peer, photo, &bytes)),
            OnDisk::Finish(photo, outline) => {
                to_finish.push((photo, outline));
                continue;
            }
        };
        if let Err(fault) = &done {
            warn(photo, fault);
            failed.insert(photo);
        }
        written.push((photo, length, done.is_ok()));
    }
    to_finish.retain(|(photo, _)| !failed.contains(photo));
    Done::Written(written, to_finish)
}

fn warn(photo: PhotoHash, fault: &Fault) {
    tracing::warn!(photo = %photo.short(), "a photo is not kept: {fault}");
}
