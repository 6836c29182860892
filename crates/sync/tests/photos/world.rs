//! Two devices with photos in memory, and the frames between them.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use bytes::Bytes;
use ledger::{PhotoHash, Refusal};
use sync::photos::{GROUP, GroupHash, Outline, Outliner, PhotoOutput, PhotoSession, Portion};

/// A photo of so many bytes, no two alike.
pub(crate) fn photo(number: u8, length: usize) -> Vec<u8> {
    (0..length).map(|at| u8::try_from((at / 7 + at * usize::from(number)) % 253).unwrap()).collect()
}

pub(crate) fn hash(bytes: &[u8]) -> PhotoHash {
    PhotoHash(*blake3::hash(bytes).as_bytes())
}

fn groups_of(bytes: &[u8], group: usize, groups: usize) -> Bytes {
    let from = bytes.len().min(group * GROUP);
    Bytes::copy_from_slice(&bytes[from..bytes.len().min((group + groups) * GROUP)])
}

fn outliner(bytes: &[u8]) -> Outliner {
    let mut outliner = Outliner::default();
    bytes.chunks(GROUP).for_each(|group| outliner.push(group));
    outliner
}

pub(crate) fn outline(bytes: &[u8]) -> Outline {
    outliner(bytes).finish().expect("an outline")
}

/// What a device holds of photos, and what becomes of what its session says.
#[derive(Debug, Default)]
pub(crate) struct Device {
    pub(crate) keeps: Option<Portion>,
    pub(crate) whole: BTreeMap<PhotoHash, Vec<u8>>,
    pub(crate) small: BTreeMap<PhotoHash, Vec<u8>>,
    pub(crate) parts: BTreeMap<PhotoHash, Vec<u8>>,
    /// The photos that the ledger names.
    pub(crate) named: BTreeSet<PhotoHash>,
    /// Those that the peer may not have.
    pub(crate) kept_back: BTreeSet<PhotoHash>,
    /// The disk is full.
    pub(crate) is_full: bool,
    /// How many groups were written.
    pub(crate) written: usize,
    pub(crate) claimed: BTreeSet<PhotoHash>,
    pub(crate) ended: Option<Option<Refusal>>,
}

impl Device {
    pub(crate) fn keeping(keeps: Portion) -> Self {
        Self { keeps: Some(keeps), ..Self::default() }
    }

    pub(crate) fn have(&mut self, bytes: Vec<u8>) -> PhotoHash {
        let photo = hash(&bytes);
        self.whole.insert(photo, bytes);
        photo
    }

    pub(crate) fn here(&self, photo: &PhotoHash) -> Portion {
        if self.whole.contains_key(photo) {
            Portion::Whole
        } else if self.small.contains_key(photo) {
            Portion::Small
        } else {
            Portion::Nothing
        }
    }

    pub(crate) fn wanted(&self) -> Vec<(PhotoHash, Portion)> {
        let keeps = self.keeps.unwrap_or(Portion::Whole);
        let with_here = self.named.iter().map(|photo| (*photo, self.here(photo)));
        with_here.filter(|(photo, here)| *here < keeps && !self.claimed.contains(photo)).collect()
    }

    pub(crate) fn open(&mut self) -> PhotoSession {
        (self.ended, self.claimed) = (None, BTreeSet::new());
        let mut session = PhotoSession::new(self.keeps.unwrap_or(Portion::Whole));
        session.handle_wanted(&self.wanted());
        session
    }

    fn here_of(&self, photo: &PhotoHash) -> Vec<GroupHash> {
        let part = self.parts.get(photo).map_or(&[][..], Vec::as_slice);
        outliner(&part[..part.len() / GROUP * GROUP]).groups().to_vec()
    }

    /// Does what the session wants, and gives the frames that it sends.
    pub(crate) fn pump(&mut self, session: &mut PhotoSession) -> Vec<Vec<u8>> {
        let mut frames = Vec::new();
        while let Some(output) = session.poll_output() {
            match output {
                PhotoOutput::Send(frame) => frames.push(frame.content()),
                output => self.act(session, output),
            }
        }
        frames
    }

    fn act(&mut self, session: &mut PhotoSession, output: PhotoOutput) {
        match output {
            PhotoOutput::Send(_) => {}
            PhotoOutput::Look(photos) => {
                let may_have = |photo: &PhotoHash| {
                    if self.kept_back.contains(photo) { Portion::Nothing } else { self.here(photo) }
                };
                session.handle_looked(&photos.iter().map(may_have).collect::<Vec<_>>());
            }
            PhotoOutput::PeerHolds(_) => {}
            PhotoOutput::Claim { photo, .. } => {
                assert!(self.claimed.insert(photo), "claimed twice");
                session.handle_claimed(photo, Some(self.here_of(&photo)));
            }
            PhotoOutput::Release { photo } => assert!(self.claimed.remove(&photo)),
            PhotoOutput::Trim { photo, groups } => {
                self.parts.get_mut(&photo).expect("a part to cut").truncate(groups * GROUP);
            }
            PhotoOutput::Write { photo, bytes, .. } if self.is_full => {
                session.handle_written(bytes.len());
                session.handle_unwritten(photo);
                self.claimed.remove(&photo);
            }
            PhotoOutput::Write { photo, group, of, bytes } => {
                let part = self.parts.entry(photo).or_default();
                part.truncate(part.len() / GROUP * GROUP);
                assert_eq!(part.len(), group * GROUP, "groups come in a row");
                assert!(group < of);
                part.extend_from_slice(&bytes);
                self.written += 1;
                session.handle_written(bytes.len());
            }
            PhotoOutput::Finish { photo, outline } => {
                let bytes = self.parts.remove(&photo).expect("what was written");
                assert_eq!(bytes.len() as u64, outline.length());
                // The one thing that everything here is for.
                assert_eq!(hash(&bytes), photo);
                self.whole.insert(photo, bytes);
                self.claimed.remove(&photo);
                session.handle_gained(&[photo]);
                session.handle_wanted(&self.wanted());
            }
            PhotoOutput::KeepSmall { photo, bytes } => {
                self.small.insert(photo, bytes.into());
                self.claimed.remove(&photo);
                session.handle_wanted(&self.wanted());
            }
            PhotoOutput::Outline { photo, group, groups } => {
                let bytes = self.whole.get(&photo).filter(|_| !self.kept_back.contains(&photo));
                let outlined = bytes.map(|bytes| (outline(bytes), groups_of(bytes, group, groups)));
                session.handle_outlined(photo, outlined);
            }
            PhotoOutput::Read { photo, group, groups } => {
                session.handle_read(photo, Some(groups_of(&self.whole[&photo], group, groups)));
            }
            PhotoOutput::ReadSmall { photo } => {
                let has = self.whole.contains_key(&photo) && !self.kept_back.contains(&photo);
                session.handle_read_small(photo, has.then_some(&photo.0[..8]));
            }
            PhotoOutput::Close(refusal) => self.ended = Some(Some(refusal)),
            PhotoOutput::Dismissed(refusal) => self.ended = Some(refusal),
        }
    }
}

/// Two devices and a stream of photos.
pub(crate) struct Link<'a> {
    devices: [&'a mut Device; 2],
    sessions: [PhotoSession; 2],
    /// Frames under way to each.
    pub(crate) under_way: [VecDeque<Vec<u8>>; 2],
    /// Frames delivered so far.
    pub(crate) delivered: usize,
}

impl<'a> Link<'a> {
    pub(crate) fn open(one: &'a mut Device, other: &'a mut Device) -> Self {
        let sessions = [one.open(), other.open()];
        Self { devices: [one, other], sessions, under_way: Default::default(), delivered: 0 }
    }

    pub(crate) fn session(&mut self, side: usize) -> &mut PhotoSession {
        &mut self.sessions[side]
    }

    pub(crate) fn device(&mut self, side: usize) -> &mut Device {
        self.devices[side]
    }

    /// Puts all that the sides have to say under way.
    pub(crate) fn pump(&mut self) {
        for side in 0..2 {
            let frames = self.devices[side].pump(&mut self.sessions[side]);
            assert!(frames.iter().all(|frame| frame.len() <= sync::MAX_FRAME));
            self.under_way[1 - side].extend(frames);
        }
    }

    /// Delivers one frame; `change` may spoil it. Gives whether there was one.
    pub(crate) fn deliver(&mut self, change: impl FnOnce(usize, &mut Vec<u8>)) -> bool {
        self.pump();
        let side = if self.under_way[self.delivered % 2].is_empty() {
            1 - self.delivered % 2
        } else {
            self.delivered % 2
        };
        let Some(mut frame) = self.under_way[side].pop_front() else { return false };
        change(self.delivered, &mut frame);
        self.delivered += 1;
        self.sessions[side].handle_frame(frame);
        self.pump();
        true
    }

    /// Delivers until there is nothing more to say, or so many frames.
    pub(crate) fn run(&mut self, most: usize) {
        while self.delivered < most && self.deliver(|_, _| {}) {}
    }

    pub(crate) fn is_idle(&self) -> bool {
        self.sessions.iter().all(PhotoSession::is_idle)
    }
}
