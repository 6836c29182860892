//! The stream of photos between two devices, as a state machine.

use std::collections::VecDeque;

use bytes::Bytes;
use ledger::{PhotoHash, Refusal};

use super::asking::{Asking, Progress};
use super::frames::{self, Frame, Portion};
use super::outline::{GroupHash, Outline};
use super::serving::Serving;
use crate::frame::Frame as Sent;

/// Most photos that are wanted at a time. When some have come, the shell names the next.
pub const MAX_WANTED: usize = 8192;

/// What the shell is asked to do, in the order in which it comes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PhotoOutput {
    /// Send this frame. While the stream does not take it, call [`PhotoSession::poll_work`] instead.
    Send(Sent),
    /// Say how much of these the peer may be given (nothing of what it may not have), in this order, by
    /// [`PhotoSession::handle_looked`].
    Look(Vec<PhotoHash>),
    /// The peer has this much of these.
    PeerHolds(Vec<(PhotoHash, Portion)>),
    /// May this session fetch this photo, and what is here of its beginning? Answer by
    /// [`PhotoSession::handle_claimed`]. It is this session's until it is finished, kept small or released.
    Claim {
        /// The photo.
        photo: PhotoHash,
        /// How much of it.
        portion: Portion,
    },
    /// The photo can't be had from this peer; another session may try.
    Release {
        /// The photo.
        photo: PhotoHash,
    },
    /// What is here of the photo is wrong behind so many groups: cut it off. Before anything that comes later.
    Trim {
        /// The photo.
        photo: PhotoHash,
        /// How many groups are right.
        groups: usize,
    },
    /// Write a group that is proved, and call [`PhotoSession::handle_written`] or
    /// [`PhotoSession::handle_unwritten`]. Nothing has to be durable yet.
    Write {
        /// The photo.
        photo: PhotoHash,
        /// Which of its groups: it begins at so many times [`super::GROUP`].
        group: usize,
        /// How many there are.
        of: usize,
        /// Its bytes.
        bytes: Bytes,
    },
    /// All of the photo was written: make it durable and call [`PhotoSession::handle_gained`]. If that can't be done,
    /// [`PhotoSession::handle_unwritten`].
    Finish {
        /// The photo.
        photo: PhotoHash,
        /// What it is whole by.
        outline: Outline,
    },
    /// Keep this small picture.
    KeepSmall {
        /// The photo that the peer says it is of.
        photo: PhotoHash,
        /// A JPEG, if the peer is honest.
        bytes: Bytes,
    },
    /// Make the outline of a photo, if the peer may have it and the file is that photo, keep some of the groups that are
    /// read for that, and call [`PhotoSession::handle_outlined`].
    Outline {
        /// The photo.
        photo: PhotoHash,
        /// The first of the groups.
        group: usize,
        /// How many.
        groups: usize,
    },
    /// Read some groups, and call [`PhotoSession::handle_read`].
    Read {
        /// The photo.
        photo: PhotoHash,
        /// The first of the groups.
        group: usize,
        /// How many.
        groups: usize,
    },
    /// Read or make the small picture of a photo, if the peer may have it, and call
    /// [`PhotoSession::handle_read_small`].
    ReadSmall {
        /// The photo.
        photo: PhotoHash,
    },
    /// This side refuses the peer. The goodbye was the `Send` before it; end the stream once it is sent. The events
    /// go on.
    Close(Refusal),
    /// The peer refused this side, for a reason that this version may not know. End the stream.
    Dismissed(Option<Refusal>),
}

/// What a frame that waits costs besides its bytes.
const A_FRAME: usize = 64;
/// Most bytes that wait to be sent while a peer asks on: far more than ever wait for one that reads what it asked for.
const MAX_UNSENT: usize = 4 * 1024 * 1024;

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Stage {
    /// The peer's opening is awaited.
    Opening,
    Open,
    Closed,
}

/// One stream of photos with a device of the crew. Both sides run the same.
///
/// After every `handle_…` call, poll until [`PhotoSession::poll_output`] gives nothing.
#[derive(Debug)]
pub struct PhotoSession {
    stage: Stage,
    peer_keeps: Option<Portion>,
    /// No events are on their way, so that photos may be.
    is_quiet: bool,
    asking: Asking,
    serving: Serving,
    /// The first frame is out.
    has_opened: bool,
    /// It was said at least once what is wanted.
    knows_wanted: bool,
    /// The peer was told that nothing more is wanted of it.
    told_satisfied: bool,
    /// The peer has said that it wants nothing more, and not been told of anything new since.
    peer_is_satisfied: bool,
    work: VecDeque<PhotoOutput>,
    frames: VecDeque<Sent>,
    frame_bytes: usize,
    /// To be given out once the goodbye is.
    closing: Option<Refusal>,
}

impl PhotoSession {
    /// A session of a device that keeps this much of photos.
    #[must_use]
    pub fn new(keeps: Portion) -> Self {
        let mut session = Self {
            stage: Stage::Opening,
            peer_keeps: None,
            is_quiet: true,
            asking: Asking::new(keeps),
            serving: Serving::default(),
            has_opened: false,
            knows_wanted: false,
            told_satisfied: false,
            peer_is_satisfied: false,
            work: VecDeque::new(),
            frames: VecDeque::new(),
            frame_bytes: 0,
            closing: None,
        };
        session.push(frames::opening(keeps));
        session
    }

    /// Says that this device keeps another measure of photos from now on.
    pub fn handle_keeps(&mut self, keeps: Portion) {
        if self.stage != Stage::Closed && self.asking.keep(keeps) {
            self.push(frames::opening(keeps));
        }
    }

    /// How much the peer keeps of photos; none before it has said so.
    #[must_use]
    pub const fn peer_keeps(&self) -> Option<Portion> {
        self.peer_keeps
    }

    /// Says whether events are on their way. Photos then wait: nothing of them is read, asked for or sent.
    pub const fn handle_quiet(&mut self, is_quiet: bool) {
        self.is_quiet = is_quiet;
    }

    /// Says of which photos more is wanted than is here, the most wanted first, and how much is here of each. Say it
    /// anew whenever it has changed, and when another session has released one. Only the first [`MAX_WANTED`] are
    /// looked at.
    pub fn handle_wanted(&mut self, wanted: &[(PhotoHash, Portion)]) {
        if self.stage != Stage::Closed {
            self.knows_wanted = true;
            self.asking.want(wanted);
        }
    }

    /// Takes in a frame, without its length.
    pub fn handle_frame(&mut self, frame: impl Into<Bytes>) {
        if self.stage == Stage::Closed {
            return;
        }
        let handled = Frame::decode(&frame.into()).and_then(|frame| self.handle(frame));
        if let Err(refusal) = handled {
            self.close(refusal);
        }
    }

    /// Answers [`PhotoOutput::Look`].
    pub fn handle_looked(&mut self, portions: &[Portion]) {
        if self.serving.end_answer() && self.stage == Stage::Open {
            self.push(frames::answer(portions));
        }
    }

    /// Answers [`PhotoOutput::Claim`]: the hashes of the groups that are here from the beginning on, or none if the
    /// photo is another session's or not wanted any more.
    pub fn handle_claimed(&mut self, photo: PhotoHash, here: Option<Vec<GroupHash>>) {
        if self.stage == Stage::Open
            && let Some(ask) = self.asking.claimed(photo, here)
        {
            self.push(ask);
        }
    }

    /// Says that a group of so many bytes was written.
    pub const fn handle_written(&mut self, bytes: usize) {
        self.asking.written(bytes);
    }

    /// Says that the photo can't be written here. What still comes of it is dropped.
    pub fn handle_unwritten(&mut self, photo: PhotoHash) {
        self.asking.unwritten(photo);
    }

    /// Says that these have become whole here, wherever they came from. Only of those that the peer may have.
    pub fn handle_gained(&mut self, photos: &[PhotoHash]) {
        if self.stage != Stage::Closed && !photos.is_empty() {
            self.peer_is_satisfied = false;
            photos.chunks(frames::MAX_ASKED_ABOUT).for_each(|photos| self.push(frames::gained(photos)));
        }
    }

    /// Answers [`PhotoOutput::Outline`]: the outline, and of the groups those that there are.
    pub fn handle_outlined(&mut self, photo: PhotoHash, outlined: Option<(Outline, Bytes)>) {
        let frames = self.serving.outlined(photo, outlined);
        frames.into_iter().for_each(|frame| self.push(frame));
    }

    /// Answers [`PhotoOutput::Read`]: exactly the groups, or none if they can't be read.
    pub fn handle_read(&mut self, photo: PhotoHash, bytes: Option<Bytes>) {
        let frames = self.serving.groups(photo, bytes);
        frames.into_iter().for_each(|frame| self.push(frame));
    }

    /// Answers [`PhotoOutput::ReadSmall`].
    pub fn handle_read_small(&mut self, photo: PhotoHash, bytes: Option<&[u8]>) {
        let frame = self.serving.small(photo, bytes);
        frame.into_iter().for_each(|frame| self.push(frame));
    }

    /// Whether the shell should go on reading frames. False while much waits to be written.
    #[must_use]
    pub const fn wants_frames(&self) -> bool {
        self.asking.wants_frames()
    }

    /// What the shell is to do next.
    pub fn poll_output(&mut self) -> Option<PhotoOutput> {
        if let Some(work) = self.poll_work() {
            return Some(work);
        }
        // The opening is a few bytes, and by it the peer knows that there is somebody.
        let may_send = self.is_quiet || self.stage == Stage::Closed || !self.has_opened;
        if may_send && let Some(frame) = self.frames.pop_front() {
            self.has_opened = true;
            self.frame_bytes = self.frame_bytes.saturating_sub(frame.len() + A_FRAME);
            return Some(PhotoOutput::Send(frame));
        }
        self.closing.take().map(PhotoOutput::Close)
    }

    /// What the shell is to do next besides sending: for while the stream takes no more.
    pub fn poll_work(&mut self) -> Option<PhotoOutput> {
        if let Some(work) = self.work.pop_front() {
            return Some(work);
        }
        if self.stage != Stage::Open || !self.is_quiet {
            return None;
        }
        if let Some(question) = self.asking.next_question() {
            self.told_satisfied = false;
            self.push(question);
        }
        if let Some(claim) = self.asking.next_claim() {
            self.told_satisfied = false;
            return Some(claim);
        }
        if self.knows_wanted && self.asking.is_idle() && !self.told_satisfied {
            self.told_satisfied = true;
            self.push(frames::satisfied());
        }
        self.serving.next_read(self.frame_bytes)
    }

    /// Whether the peer has opened its side.
    #[must_use]
    pub fn is_open(&self) -> bool {
        self.stage == Stage::Open
    }

    /// Whether both sides have said that they want nothing more of each other, and nothing is under way.
    #[must_use]
    pub fn is_idle(&self) -> bool {
        self.stage == Stage::Open
            && self.told_satisfied
            && self.peer_is_satisfied
            && self.asking.is_idle()
            && self.serving.is_idle()
            && self.work.is_empty()
            && self.frames.is_empty()
    }

    fn handle(&mut self, frame: Frame) -> Result<(), Refusal> {
        if let Frame::Goodbye(number) = frame {
            self.stop();
            self.work.push_back(PhotoOutput::Dismissed(Refusal::from_number(number)));
            return Ok(());
        }
        if self.stage == Stage::Opening && !matches!(frame, Frame::Opening(_)) {
            return Err(Refusal::UnexpectedFrame);
        }
        match frame {
            Frame::Opening(keeps) => {
                self.peer_keeps = Some(keeps);
                self.stage = Stage::Open;
            }
            Frame::Question(_) if self.frame_bytes > MAX_UNSENT => return Err(Refusal::TooMuchClaimed),
            Frame::Question(photos) => {
                self.peer_is_satisfied = false;
                self.serving.begin_answer()?;
                self.work.push_back(PhotoOutput::Look(photos));
            }
            Frame::Answer(portions) => {
                let news = self.asking.answer(portions)?;
                self.work.push_back(news);
            }
            Frame::Ask { photo, portion, from } => {
                self.peer_is_satisfied = false;
                self.serving.add(photo, portion, from)?;
            }
            Frame::Outline(outline) => {
                let progress = self.asking.outline(outline)?;
                self.go_on(progress);
            }
            Frame::Group(bytes) => {
                let progress = self.asking.group(bytes)?;
                self.go_on(progress);
            }
            Frame::Small(bytes) => {
                let kept = self.asking.small(bytes)?;
                self.work.push_back(kept);
            }
            Frame::Missing => {
                let released = self.asking.missing()?;
                self.work.push_back(released);
            }
            Frame::Satisfied => self.peer_is_satisfied = true,
            Frame::Gained(photos) => {
                self.told_satisfied = false;
                let news = self.asking.gained(photos);
                self.work.push_back(news);
            }
            Frame::Goodbye(_) => {} // Taken above.
        }
        Ok(())
    }

    fn go_on(&mut self, progress: Progress) {
        self.work.extend(progress.work);
        progress.frames.into_iter().for_each(|frame| self.push(frame));
    }

    fn push(&mut self, frame: impl Into<Sent>) {
        let frame = frame.into();
        if self.stage != Stage::Closed {
            self.frame_bytes += frame.len() + A_FRAME;
            self.frames.push_back(frame);
        }
    }

    /// Ends the session with a goodbye.
    fn close(&mut self, refusal: Refusal) {
        self.stop();
        self.frames.push_back(frames::goodbye(refusal).into());
        self.closing = Some(refusal);
    }

    fn stop(&mut self) {
        self.stage = Stage::Closed;
        // What was proved and given out is written; what is left of the peer's wishes is of no use.
        self.work.retain(|work| {
            matches!(work, PhotoOutput::Write { .. } | PhotoOutput::Finish { .. } | PhotoOutput::Trim { .. })
        });
        self.frames.clear();
        self.frame_bytes = 0;
    }
}
