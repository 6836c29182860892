//! The frames of the stream of photos and their bytes. Numbers are in little-endian order, and the kinds of frame are
//! a numbered, append-only list of their own.

use bytes::Bytes;
use ledger::{PhotoHash, Refusal};

use super::outline::{GROUP, MAX_GROUPS, Outline};
use crate::frame::{Frame as Sent, MAX_FRAME};

/// Most photos in one question, and in one piece of news.
pub const MAX_ASKED_ABOUT: usize = 1024;
/// Most bytes of a small picture.
pub const MAX_SMALL: usize = 48 * 1024;

const HASH: usize = 32;

const OPENING: u8 = 1;
const QUESTION: u8 = 2;
const ANSWER: u8 = 3;
const ASK: u8 = 4;
const OUTLINE: u8 = 5;
const GROUP_OF: u8 = 6;
const SMALL: u8 = 7;
const MISSING: u8 = 8;
const GAINED: u8 = 9;
const GOODBYE: u8 = 10;
const SATISFIED: u8 = 11;

/// How much of a photo: of one that is held, or that is asked for, or of all as a device keeps them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Portion {
    /// Nothing of it.
    Nothing,
    /// A small picture of it, made by whoever has the whole. Nothing proves that it is of the same wall.
    Small,
    /// All its bytes.
    Whole,
}

impl Portion {
    const fn number(self) -> u8 {
        match self {
            Self::Nothing => 0,
            Self::Small => 1,
            Self::Whole => 2,
        }
    }

    const fn from_number(number: u8) -> Option<Self> {
        match number {
            0 => Some(Self::Nothing),
            1 => Some(Self::Small),
            2 => Some(Self::Whole),
            _ => None,
        }
    }
}

/// A frame's content.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Frame {
    /// How much of the photos the sender keeps: the first frame each way, and again whenever that changes.
    Opening(Portion),
    /// How much do you have of these?
    Question(Vec<PhotoHash>),
    /// The same photos in the same order.
    Answer(Vec<Portion>),
    /// Send this photo from this group on, or its small picture.
    Ask { photo: PhotoHash, portion: Portion, from: usize },
    /// What proves the groups that come next.
    Outline(Outline),
    /// The next group.
    Group(Bytes),
    /// A small picture.
    Small(Bytes),
    /// What was asked for longest ago, or what is being sent, can't be had here.
    Missing,
    /// The sender has these whole from now on.
    Gained(Vec<PhotoHash>),
    /// The number of the refusal for which the sender ends the stream.
    Goodbye(u16),
    /// The sender wants nothing more of what it knows the receiver to have.
    Satisfied,
}

pub(crate) fn opening(keeps: Portion) -> Vec<u8> {
    vec![OPENING, keeps.number()]
}

pub(crate) fn question(photos: &[PhotoHash]) -> Vec<u8> {
    with_photos(QUESTION, photos)
}

pub(crate) fn answer(portions: &[Portion]) -> Vec<u8> {
    std::iter::once(ANSWER).chain(portions.iter().map(|portion| portion.number())).collect()
}

pub(crate) fn ask(photo: PhotoHash, portion: Portion, from: usize) -> Vec<u8> {
    let from = u16::try_from(from).unwrap_or(u16::MAX).to_le_bytes();
    [&[ASK, portion.number()][..], &from, &photo.0].concat()
}

pub(crate) fn outline(outline: &Outline) -> Vec<u8> {
    [&[OUTLINE][..], &outline.encode()].concat()
}

pub(crate) fn group(bytes: Bytes) -> Sent {
    Sent::carrying(&[GROUP_OF], bytes)
}

pub(crate) fn small(bytes: &[u8]) -> Vec<u8> {
    [&[SMALL][..], bytes].concat()
}

pub(crate) fn missing() -> Vec<u8> {
    vec![MISSING]
}

pub(crate) fn gained(photos: &[PhotoHash]) -> Vec<u8> {
    with_photos(GAINED, photos)
}

pub(crate) fn goodbye(refusal: Refusal) -> Vec<u8> {
    [&[GOODBYE][..], &refusal.number().to_le_bytes()].concat()
}

pub(crate) fn satisfied() -> Vec<u8> {
    vec![SATISFIED]
}

fn with_photos(kind: u8, photos: &[PhotoHash]) -> Vec<u8> {
    std::iter::once(kind).chain(photos.iter().flat_map(|photo| photo.0)).collect()
}

impl Frame {
    /// Reads a frame. The bytes of photos are not copied.
    ///
    /// # Errors
    /// [`Refusal::FrameTooLarge`], [`Refusal::TooMuchClaimed`], or [`Refusal::UnexpectedFrame`] for bytes that no
    /// frame has.
    pub(crate) fn decode(frame: &Bytes) -> Result<Self, Refusal> {
        if frame.len() > MAX_FRAME {
            return Err(Refusal::FrameTooLarge);
        }
        let (kind, content) = frame.split_first().ok_or(Refusal::UnexpectedFrame)?;
        let fits = |most: usize| (1..=most).contains(&content.len());
        let read = match *kind {
            OPENING => one(content).and_then(Portion::from_number).map(Self::Opening),
            QUESTION => Some(Self::Question(photos(content)?)),
            ANSWER if content.len() > MAX_ASKED_ABOUT => return Err(Refusal::TooMuchClaimed),
            ANSWER if content.is_empty() => None,
            ANSWER => content
                .iter()
                .map(|number| Portion::from_number(*number))
                .collect::<Option<_>>()
                .map(Self::Answer),
            ASK => decode_ask(content),
            OUTLINE => Outline::decode(content).map(Self::Outline),
            GROUP_OF if fits(GROUP) => Some(Self::Group(frame.slice_ref(content))),
            SMALL if fits(MAX_SMALL) => Some(Self::Small(frame.slice_ref(content))),
            MISSING if content.is_empty() => Some(Self::Missing),
            GAINED => Some(Self::Gained(photos(content)?)),
            GOODBYE => content.try_into().ok().map(|number| Self::Goodbye(u16::from_le_bytes(number))),
            SATISFIED if content.is_empty() => Some(Self::Satisfied),
            _ => None,
        };
        read.ok_or(Refusal::UnexpectedFrame)
    }
}

fn one(content: &[u8]) -> Option<u8> {
    match content {
        [number] => Some(*number),
        _ => None,
    }
}

fn decode_ask(content: &[u8]) -> Option<Frame> {
    let (portion, rest) = content.split_first()?;
    let (from, photo) = rest.split_first_chunk::<2>()?;
    let (from, photo) = (usize::from(u16::from_le_bytes(*from)), PhotoHash(photo.try_into().ok()?));
    match Portion::from_number(*portion)? {
        Portion::Small if from == 0 => Some(Frame::Ask { photo, portion: Portion::Small, from }),
        Portion::Whole if from < MAX_GROUPS => Some(Frame::Ask { photo, portion: Portion::Whole, from }),
        Portion::Nothing | Portion::Small | Portion::Whole => None,
    }
}

/// At least one and at most [`MAX_ASKED_ABOUT`].
fn photos(content: &[u8]) -> Result<Vec<PhotoHash>, Refusal> {
    let (hashes, rest) = content.as_chunks::<HASH>();
    if hashes.len() > MAX_ASKED_ABOUT {
        Err(Refusal::TooMuchClaimed)
    } else if hashes.is_empty() || !rest.is_empty() {
        Err(Refusal::UnexpectedFrame)
    } else {
        Ok(hashes.iter().map(|hash| PhotoHash(*hash)).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::super::outline::Outliner;
    use super::*;

    fn decode(bytes: &[u8]) -> Result<Frame, Refusal> {
        Frame::decode(&Bytes::copy_from_slice(bytes))
    }

    #[test]
    fn every_frame_is_these_bytes_and_reads_back() {
        let (one, two) = (PhotoHash([1; 32]), PhotoHash([2; 32]));
        let both = [[1; 32], [2; 32]].concat();
        let mut outliner = Outliner::default();
        outliner.push(b"\xff\xd8\xff wall");
        let wall = outliner.finish().expect("an outline");
        let hash = blake3::hash(b"\xff\xd8\xff wall");
        let cases = [
            (opening(Portion::Small), vec![1, 1], Frame::Opening(Portion::Small)),
            (question(&[one, two]), [&[2][..], &both].concat(), Frame::Question(vec![one, two])),
            (
                answer(&[Portion::Whole, Portion::Nothing, Portion::Small]),
                vec![3, 2, 0, 1],
                Frame::Answer(vec![Portion::Whole, Portion::Nothing, Portion::Small]),
            ),
            (
                ask(one, Portion::Whole, 0x0102),
                [&[4, 2, 2, 1][..], &[1; 32]].concat(),
                Frame::Ask { photo: one, portion: Portion::Whole, from: 0x0102 },
            ),
            (outline(&wall), [&[5, 8, 0, 0, 0][..], hash.as_bytes()].concat(), Frame::Outline(wall.clone())),
            (
                group(Bytes::from_static(b"wall")).content(),
                b"\x06wall".to_vec(),
                Frame::Group(Bytes::from_static(b"wall")),
            ),
            (small(b"wall"), b"\x07wall".to_vec(), Frame::Small(Bytes::from_static(b"wall"))),
            (missing(), vec![8], Frame::Missing),
            (gained(&[two]), [&[9][..], &[2; 32]].concat(), Frame::Gained(vec![two])),
            (goodbye(Refusal::Retired), vec![10, 21, 0], Frame::Goodbye(21)),
            (satisfied(), vec![11], Frame::Satisfied),
        ];
        for (frame, bytes, read) in cases {
            assert_eq!(frame, bytes);
            assert_eq!(decode(&bytes), Ok(read));
        }
    }

    #[test]
    fn what_no_frame_is_or_what_is_too_long_is_refused() {
        let unexpected: [&[u8]; 17] = [
            &[],
            &[0],
            &[12],
            &[11, 0],
            &[1],
            &[1, 3],
            &[1, 0, 0],
            &[2],
            &[2, 7],
            &[3],
            &[3, 3],
            &[4, 2, 0, 0],
            &[&[4, 1, 1, 0][..], &[1; 32]].concat(), // A small picture has no groups.
            &[&[4, 2, 0x80, 2][..], &[1; 32]].concat(), // Group 640 is one more than there can be.
            &[6],
            &[8, 0],
            &[10, 1],
        ];
        for frame in unexpected {
            assert_eq!(decode(frame), Err(Refusal::UnexpectedFrame), "{frame:?}");
        }
        let long = |kind: u8, length: usize| [&[kind][..], &vec![0; length]].concat();
        assert_eq!(decode(&long(6, GROUP + 1)), Err(Refusal::UnexpectedFrame));
        assert_eq!(decode(&long(7, MAX_SMALL + 1)), Err(Refusal::UnexpectedFrame));
        assert_eq!(decode(&long(2, 1025 * HASH)), Err(Refusal::TooMuchClaimed));
        assert_eq!(decode(&long(9, 1025 * HASH)), Err(Refusal::TooMuchClaimed));
        assert_eq!(decode(&long(3, 1025)), Err(Refusal::TooMuchClaimed));
        assert_eq!(decode(&long(6, MAX_FRAME)), Err(Refusal::FrameTooLarge));
        assert!(decode(&long(2, 1024 * HASH)).is_ok());
        assert!(decode(&long(6, GROUP)).is_ok());
    }
}
