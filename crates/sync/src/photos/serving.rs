//! What goes out: the photos that the peer asked for, one after the other, read a few groups at a time.

use std::collections::{BTreeMap, VecDeque};

use bytes::Bytes;
use ledger::{PhotoHash, Refusal};

use super::asking::MAX_ASKS;
use super::frames::{self, MAX_SMALL, Portion};
use super::outline::{GROUP, Outline};
use super::session::PhotoOutput;
use crate::frame::Frame;

/// Groups that are read at a time.
const READ_AT_ONCE: usize = 32;
/// More is read when fewer bytes than this are left to send. So at most this and one reading are in memory.
const READ_AHEAD: usize = 1024 * 1024;
/// How often a photo is sent in one session. An honest peer has no use for a third time.
const MOST_TIMES: u8 = 8;

/// A photo that the peer asked for.
#[derive(Debug)]
struct Served {
    photo: PhotoHash,
    portion: Portion,
    /// The group that is sent next.
    next: usize,
    /// How long the photo is and of how many groups, once its outline was sent.
    length: Option<(u64, usize)>,
}

/// The serving side of a session.
#[derive(Debug, Default)]
pub(super) struct Serving {
    queue: VecDeque<Served>,
    is_reading: bool,
    times: BTreeMap<PhotoHash, u8>,
    answering: bool,
}

impl Serving {
    pub(super) fn is_idle(&self) -> bool {
        self.queue.is_empty() && !self.answering
    }

    /// Notes that a question was asked.
    pub(super) const fn begin_answer(&mut self) -> Result<(), Refusal> {
        if self.answering {
            return Err(Refusal::UnexpectedFrame);
        }
        self.answering = true;
        Ok(())
    }

    pub(super) const fn end_answer(&mut self) -> bool {
        std::mem::replace(&mut self.answering, false)
    }

    pub(super) fn add(&mut self, photo: PhotoHash, portion: Portion, from: usize) -> Result<(), Refusal> {
        let is_asked_too_often = self.times.get(&photo).is_some_and(|times| *times >= MOST_TIMES);
        if self.queue.len() >= MAX_ASKS || is_asked_too_often {
            return Err(Refusal::TooMuchClaimed);
        }
        self.queue.push_back(Served { photo, portion, next: from, length: None });
        Ok(())
    }

    /// What is to be read next, while no more than so many bytes wait to be sent.
    pub(super) fn next_read(&mut self, waiting: usize) -> Option<PhotoOutput> {
        if self.is_reading || waiting >= READ_AHEAD {
            return None;
        }
        let served = self.queue.front()?;
        self.is_reading = true;
        let photo = served.photo;
        Some(match (served.portion, served.length) {
            (Portion::Nothing | Portion::Small, _) => PhotoOutput::ReadSmall { photo },
            (Portion::Whole, None) => {
                PhotoOutput::Outline { photo, group: served.next, groups: READ_AT_ONCE }
            }
            (Portion::Whole, Some((_, of))) => {
                let groups = of.saturating_sub(served.next).min(READ_AT_ONCE);
                PhotoOutput::Read { photo, group: served.next, groups }
            }
        })
    }

    /// The frames of an outline, and of the groups that were read with it.
    pub(super) fn outlined(&mut self, photo: PhotoHash, outlined: Option<(Outline, Bytes)>) -> Vec<Frame> {
        let Some(served) = self.read(photo) else { return Vec::new() };
        let Some((outline, bytes)) = outlined else { return vec![self.give_up()] };
        served.length = Some((outline.length(), outline.groups().len()));
        *self.times.entry(photo).or_default() += 1;
        let outline = Frame::from(frames::outline(&outline));
        std::iter::once(outline).chain(self.send(Some(bytes))).collect()
    }

    pub(super) fn small(&mut self, photo: PhotoHash, bytes: Option<&[u8]>) -> Option<Frame> {
        self.read(photo)?;
        match bytes.filter(|bytes| (1..=MAX_SMALL).contains(&bytes.len())) {
            Some(bytes) => {
                *self.times.entry(photo).or_default() += 1;
                self.queue.pop_front();
                Some(frames::small(bytes).into())
            }
            None => Some(self.give_up()),
        }
    }

    /// The frames of what was read.
    pub(super) fn groups(&mut self, photo: PhotoHash, bytes: Option<Bytes>) -> Vec<Frame> {
        if self.read(photo).is_some() { self.send(bytes) } else { Vec::new() }
    }

    /// The frames of the groups that are sent next, if these are they.
    fn send(&mut self, bytes: Option<Bytes>) -> Vec<Frame> {
        let wanted = self.queue.front().and_then(|served| {
            let (length, _) = served.length?;
            let left = length.saturating_sub(served.next as u64 * GROUP as u64);
            Some(usize::try_from(left).unwrap_or(usize::MAX).min(READ_AT_ONCE * GROUP))
        });
        let Some(bytes) = bytes.filter(|bytes| Some(bytes.len()) == wanted) else {
            return vec![self.give_up()];
        };
        let group = |at: usize| frames::group(bytes.slice(at..bytes.len().min(at + GROUP)));
        let frames: Vec<_> = (0..bytes.len()).step_by(GROUP).map(group).collect();
        if let Some(served) = self.queue.front_mut() {
            served.next += frames.len();
        }
        self.end_if_sent();
        frames
    }

    /// Notes that what was asked of the shell came. Gives what it is for, if it still is of use.
    fn read(&mut self, photo: PhotoHash) -> Option<&mut Served> {
        self.is_reading = false;
        self.queue.front_mut().filter(|served| served.photo == photo)
    }

    fn give_up(&mut self) -> Frame {
        self.queue.pop_front();
        frames::missing().into()
    }

    fn end_if_sent(&mut self) {
        self.queue.pop_front_if(|served| served.length.is_some_and(|(_, of)| served.next >= of));
    }
}
