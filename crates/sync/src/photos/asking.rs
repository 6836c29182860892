//! What comes in: which photos the peer has of those that are wanted, and the bytes of those that were asked for.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use bytes::Bytes;
use ledger::{PhotoHash, Refusal};

use super::frames::{self, MAX_ASKED_ABOUT, Portion};
use super::outline::{GroupHash, MAX_GROUPS, Outline};
use super::session::{MAX_WANTED, PhotoOutput};

/// Most photos that are asked for and have not come: while one is sent, the peer makes the next ready.
pub(super) const MAX_ASKS: usize = 4;
/// While so many bytes wait to be written, no more frames are wanted.
const MAX_UNWRITTEN: usize = 4 * 1024 * 1024;

/// A photo that was asked for.
#[derive(Debug)]
struct Ask {
    photo: PhotoHash,
    portion: Portion,
    /// The groups that are here from an earlier time, which the outline must still prove.
    here: Vec<GroupHash>,
    outline: Option<Outline>,
    /// The group that comes next.
    next: usize,
    fate: Fate,
}

/// What becomes of the groups that come.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Fate {
    /// They are written.
    Written,
    /// They come too late in the photo, because so many of those that were here are none of it. It is asked for
    /// again from this group on.
    AskedAgain(usize),
    /// They can't be written here.
    Dropped,
}

/// The asking side of a session.
#[derive(Debug)]
pub(super) struct Asking {
    keeps: Portion,
    /// The photos of which more is wanted than is here, with what is here of them.
    wanted: BTreeMap<PhotoHash, Portion>,
    /// Those of them that the peer has more of, in the order in which they are wanted.
    ready: VecDeque<PhotoHash>,
    /// Those that the peer is still to be asked about.
    unasked: VecDeque<PhotoHash>,
    asked_about: BTreeSet<PhotoHash>,
    question: Option<Vec<PhotoHash>>,
    /// What the peer has of those that are wanted.
    holds: BTreeMap<PhotoHash, Portion>,
    /// What could not be had from this peer, or not written. It is left for another session, and remembered to the
    /// end: two sessions that forget would try in turn for ever. Each cost the peer an answer.
    failed: BTreeSet<PhotoHash>,
    claiming: Option<(PhotoHash, Portion)>,
    asks: VecDeque<Ask>,
    unwritten: usize,
}

impl Asking {
    pub(super) const fn new(keeps: Portion) -> Self {
        Self {
            keeps,
            wanted: BTreeMap::new(),
            ready: VecDeque::new(),
            unasked: VecDeque::new(),
            asked_about: BTreeSet::new(),
            question: None,
            holds: BTreeMap::new(),
            failed: BTreeSet::new(),
            claiming: None,
            asks: VecDeque::new(),
            unwritten: 0,
        }
    }

    /// Keeps another measure from now on. Gives whether it is another one.
    pub(super) fn keep(&mut self, keeps: Portion) -> bool {
        std::mem::replace(&mut self.keeps, keeps) != keeps
    }

    pub(super) const fn wants_frames(&self) -> bool {
        self.unwritten < MAX_UNWRITTEN
    }

    pub(super) fn is_idle(&self) -> bool {
        self.asks.is_empty()
            && self.question.is_none()
            && self.claiming.is_none()
            && self.ready.is_empty()
            && self.unasked.is_empty()
            && self.unwritten == 0
    }

    /// Takes what is wanted from now on, the most wanted first.
    pub(super) fn want(&mut self, wanted: &[(PhotoHash, Portion)]) {
        let wanted = wanted.get(..MAX_WANTED).unwrap_or(wanted);
        self.wanted = wanted.iter().copied().collect();
        // Of what nobody wants any more nothing has to be remembered, so none of these grows.
        self.holds.retain(|photo, _| self.wanted.contains_key(photo));
        self.asked_about.retain(|photo| self.wanted.contains_key(photo));
        let order = || wanted.iter().map(|(photo, _)| *photo);
        self.unasked = order().filter(|photo| !self.asked_about.contains(photo)).collect();
        self.ready = order().filter(|photo| self.offer(photo).is_some()).collect();
    }

    /// How much of a photo is to be asked for, if the peer has more of it than is here.
    fn offer(&self, photo: &PhotoHash) -> Option<Portion> {
        let here = self.wanted.get(photo)?;
        let offered = self.holds.get(photo).copied().unwrap_or(Portion::Nothing).min(self.keeps);
        let is_under_way = self.asks.iter().any(|ask| ask.photo == *photo)
            || self.claiming.is_some_and(|(claiming, _)| claiming == *photo);
        (offered > *here && !is_under_way && !self.failed.contains(photo)).then_some(offered)
    }

    /// The next question, if the one before was answered.
    pub(super) fn next_question(&mut self) -> Option<Vec<u8>> {
        if self.question.is_some() || self.unasked.is_empty() {
            return None;
        }
        let count = self.unasked.len().min(MAX_ASKED_ABOUT);
        let photos: Vec<PhotoHash> = self.unasked.drain(..count).collect();
        self.asked_about.extend(&photos);
        let frame = frames::question(&photos);
        self.question = Some(photos);
        Some(frame)
    }

    /// The next photo that is to be asked for, if the shell lets this session have it.
    pub(super) fn next_claim(&mut self) -> Option<PhotoOutput> {
        if self.claiming.is_some() || self.asks.len() >= MAX_ASKS {
            return None;
        }
        while let Some(photo) = self.ready.pop_front() {
            if let Some(portion) = self.offer(&photo) {
                self.claiming = Some((photo, portion));
                return Some(PhotoOutput::Claim { photo, portion });
            }
        }
        None
    }

    /// Takes the answer to a claim, and gives the frame that asks for the photo.
    pub(super) fn claimed(&mut self, photo: PhotoHash, here: Option<Vec<GroupHash>>) -> Option<Vec<u8>> {
        let (_, portion) = self.claiming.take_if(|(claiming, _)| *claiming == photo)?;
        let mut here = here?;
        // There is always a group to ask for.
        here.truncate(MAX_GROUPS - 1);
        Some(self.ask(photo, portion, here))
    }

    fn ask(&mut self, photo: PhotoHash, portion: Portion, here: Vec<GroupHash>) -> Vec<u8> {
        let from = if portion == Portion::Whole { here.len() } else { 0 };
        self.asks.push_back(Ask { photo, portion, here, outline: None, next: from, fate: Fate::Written });
        frames::ask(photo, portion, from)
    }

    pub(super) fn answer(&mut self, portions: Vec<Portion>) -> Result<PhotoOutput, Refusal> {
        let asked = self.question.take().filter(|asked| asked.len() == portions.len());
        let answered: Vec<_> = asked.ok_or(Refusal::UnexpectedFrame)?.into_iter().zip(portions).collect();
        answered.iter().for_each(|(photo, portion)| self.note(*photo, *portion));
        Ok(PhotoOutput::PeerHolds(answered))
    }

    pub(super) fn gained(&mut self, photos: Vec<PhotoHash>) -> PhotoOutput {
        let gained: Vec<_> = photos.into_iter().map(|photo| (photo, Portion::Whole)).collect();
        gained.iter().for_each(|(photo, portion)| self.note(*photo, *portion));
        PhotoOutput::PeerHolds(gained)
    }

    fn note(&mut self, photo: PhotoHash, portion: Portion) {
        if self.wanted.contains_key(&photo) {
            self.holds.insert(photo, portion);
            if self.offer(&photo).is_some() && !self.ready.contains(&photo) {
                self.ready.push_back(photo);
            }
        }
    }

    pub(super) fn outline(&mut self, outline: Outline) -> Result<Progress, Refusal> {
        let ask = self.asks.front_mut().filter(|ask| ask.portion == Portion::Whole && ask.outline.is_none());
        let ask = ask.ok_or(Refusal::UnexpectedFrame)?;
        if outline.photo() != ask.photo {
            return Err(Refusal::WrongPhoto);
        }
        let good =
            ask.here.iter().zip(outline.groups()).take_while(|(here, of_photo)| here == of_photo).count();
        let mut progress = Progress::default();
        if good < ask.here.len() {
            progress.work.push(PhotoOutput::Trim { photo: ask.photo, groups: good });
            ask.here.truncate(good);
            ask.fate = Fate::AskedAgain(good);
        }
        ask.outline = Some(outline);
        self.end_if_whole(&mut progress);
        Ok(progress)
    }

    pub(super) fn group(&mut self, bytes: Bytes) -> Result<Progress, Refusal> {
        let ask = self.asks.front_mut().ok_or(Refusal::UnexpectedFrame)?;
        let outline = ask.outline.as_ref().ok_or(Refusal::UnexpectedFrame)?;
        if !outline.proves(ask.next, &bytes) {
            return Err(Refusal::WrongPhoto);
        }
        let mut progress = Progress::default();
        if ask.fate == Fate::Written {
            let (photo, group, of) = (ask.photo, ask.next, outline.groups().len());
            self.unwritten += bytes.len();
            progress.work.push(PhotoOutput::Write { photo, group, of, bytes });
        }
        ask.next += 1;
        self.end_if_whole(&mut progress);
        Ok(progress)
    }

    /// Takes the oldest ask away if its last group has come.
    fn end_if_whole(&mut self, progress: &mut Progress) {
        let is_whole =
            |ask: &mut Ask| ask.outline.as_ref().is_some_and(|outline| ask.next >= outline.groups().len());
        let Some(Ask { photo, portion, here, outline: Some(outline), fate, .. }) =
            self.asks.pop_front_if(is_whole)
        else {
            return;
        };
        match fate {
            Fate::Written => progress.work.push(PhotoOutput::Finish { photo, outline }),
            Fate::AskedAgain(_) => progress.frames.push(self.ask(photo, portion, here)),
            Fate::Dropped => {}
        }
    }

    pub(super) fn small(&mut self, bytes: Bytes) -> Result<PhotoOutput, Refusal> {
        let ask =
            self.asks.pop_front_if(|ask| ask.portion == Portion::Small).ok_or(Refusal::UnexpectedFrame)?;
        Ok(PhotoOutput::KeepSmall { photo: ask.photo, bytes })
    }

    pub(super) fn missing(&mut self) -> Result<PhotoOutput, Refusal> {
        let ask = self.asks.pop_front().ok_or(Refusal::UnexpectedFrame)?;
        self.failed.insert(ask.photo);
        Ok(PhotoOutput::Release { photo: ask.photo })
    }

    pub(super) const fn written(&mut self, bytes: usize) {
        self.unwritten = self.unwritten.saturating_sub(bytes);
    }

    pub(super) fn unwritten(&mut self, photo: PhotoHash) {
        self.failed.insert(photo);
        for ask in self.asks.iter_mut().filter(|ask| ask.photo == photo) {
            ask.fate = Fate::Dropped;
        }
    }
}

/// What follows from a frame.
#[derive(Debug, Default)]
pub(super) struct Progress {
    pub(super) work: Vec<PhotoOutput>,
    pub(super) frames: Vec<Vec<u8>>,
}
