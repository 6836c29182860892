//! The messages of a session and their bytes. Numbers are in little-endian order, and the kinds of
//! frame are a numbered, append-only list.

use bytes::Bytes;
use ledger::{ChainId, ChainStart, CrewId, Refusal};

use crate::frame::{Frame, MAX_FRAME};
use crate::tips::{Tips, decode_tips, push_tip};

/// The major version of the format. Another one may differ in every byte behind it.
pub const FORMAT_MAJOR: u16 = 1;

/// Tips that fit a frame with room to spare.
const TIPS_A_FRAME: usize = 1024;
/// Bytes of a run that go into one frame, behind the kind and the last mark.
const PART: usize = MAX_FRAME - 2;

const HELLO: u8 = 1;
const FRONTIER: u8 = 2;
const CHAIN_START: u8 = 3;
const RUN_PART: u8 = 4;
const HELD: u8 = 5;
const GOODBYE: u8 = 6;
const ALL_SENT: u8 = 7;
const RUN_ASKED: u8 = 8;
const RUN_SHOWN: u8 = 9;
const FORK_PART: u8 = 10;

/// A frame's content.
#[derive(Debug, PartialEq, Eq)]
pub(crate) enum Message<'a> {
    /// The first frame each way.
    Hello { crew: CrewId, digest: [u8; 32], common: [u8; 16] },
    /// A part of what has changed in the frontier since the common ground, ascending over all its parts.
    Frontier { last: bool, tips: Tips },
    /// A chain of which the peer holds nothing.
    ChainStart(ChainStart),
    /// A part of a run.
    RunPart { last: bool, bytes: &'a [u8] },
    /// How far the sender now holds chains of which it was sent runs.
    Held(Tips),
    /// The number of the refusal for which the sender ends the session.
    Goodbye(u16),
    /// All that the receiver lacked when the exchange began is in the frames before.
    AllSent,
    /// The sender wants to see a run, to find out where two lines of a chain part.
    RunAsked { chain: ChainId, from_seq: u64 },
    /// A part of the run that was asked for; the only part is empty where there is none.
    RunShown { last: bool, bytes: &'a [u8] },
    /// A part of the proof of a fork.
    ForkPart { last: bool, bytes: &'a [u8] },
}

/// The first frame.
pub(crate) fn hello(crew: &CrewId, digest: &[u8; 32], common: &[u8; 16]) -> Vec<u8> {
    [&[HELLO][..], &FORMAT_MAJOR.to_le_bytes(), &crew.0, digest, common].concat()
}

/// The frames of a frontier: at least one, since it must be told, too, that nothing has changed.
pub(crate) fn frontier(changes: &Tips) -> Vec<Vec<u8>> {
    let all: Vec<_> = changes.iter().collect();
    let mut frames: Vec<Vec<u8>> = all
        .chunks(TIPS_A_FRAME)
        .map(|part| {
            let mut frame = vec![FRONTIER, 0];
            part.iter().for_each(|(chain, tip)| push_tip(&mut frame, chain, tip));
            frame
        })
        .collect();
    if frames.is_empty() {
        frames.push(vec![FRONTIER, 0]);
    }
    if let Some(mark) = frames.last_mut().and_then(|frame| frame.get_mut(1)) {
        *mark = 1;
    }
    frames
}

/// The frame that announces a chain.
pub(crate) fn chain_start(start: &ChainStart) -> Vec<u8> {
    [&[CHAIN_START][..], &start.encode()].concat()
}

/// The frames of a run.
pub(crate) fn run_parts(run: &Bytes) -> impl Iterator<Item = Frame> {
    parts(RUN_PART, run)
}

/// The frames of a run that the peer asked to see; of nothing, one empty frame.
pub(crate) fn shown_parts(run: &Bytes) -> impl Iterator<Item = Frame> {
    let nothing = run.is_empty().then(|| Frame::from(vec![RUN_SHOWN, 1]));
    parts(RUN_SHOWN, run).chain(nothing)
}

/// The frames of a fork's proof.
pub(crate) fn fork_parts(proof: &Bytes) -> impl Iterator<Item = Frame> {
    parts(FORK_PART, proof)
}

/// The frame that asks to see a run.
pub(crate) fn run_asked(chain: &ChainId, from_seq: u64) -> Vec<u8> {
    [&[RUN_ASKED][..], &chain.0, &from_seq.to_le_bytes()].concat()
}

fn parts(kind: u8, whole: &Bytes) -> impl Iterator<Item = Frame> {
    let mut rest = whole.clone();
    std::iter::from_fn(move || {
        let part = rest.split_to(rest.len().min(PART));
        (!part.is_empty()).then(|| Frame::carrying(&[kind, u8::from(rest.is_empty())], part))
    })
}

/// The frame that acknowledges. Takes out of `tips` what fits.
pub(crate) fn held(tips: &mut Tips) -> Vec<u8> {
    let mut frame = vec![HELD];
    for _ in 0..TIPS_A_FRAME {
        let Some((chain, tip)) = tips.pop_first() else { break };
        push_tip(&mut frame, &chain, &tip);
    }
    frame
}

/// The last frame.
pub(crate) fn goodbye(refusal: Refusal) -> Vec<u8> {
    [&[GOODBYE][..], &refusal.number().to_le_bytes()].concat()
}

/// The frame that ends the catching up.
pub(crate) fn all_sent() -> Vec<u8> {
    vec![ALL_SENT]
}

impl<'a> Message<'a> {
    /// Reads a frame.
    ///
    /// # Errors
    /// [`Refusal::OtherFormat`], [`Refusal::FrameTooLarge`], or [`Refusal::UnexpectedFrame`] for bytes that no frame has.
    pub(crate) fn decode(frame: &'a [u8]) -> Result<Self, Refusal> {
        if frame.len() > MAX_FRAME {
            return Err(Refusal::FrameTooLarge);
        }
        let (kind, content) = frame.split_first().ok_or(Refusal::UnexpectedFrame)?;
        match *kind {
            HELLO => decode_hello(content),
            FRONTIER => {
                let (last, tips) = split_mark(content)?;
                Ok(Self::Frontier { last, tips: few_tips(tips)? })
            }
            CHAIN_START => {
                let start = ChainStart::decode(content).map_err(|_| Refusal::UnexpectedFrame)?;
                Ok(Self::ChainStart(start))
            }
            RUN_PART => {
                let (last, bytes) = split_mark(content)?;
                // An empty part would cost the receiver work and carry nothing.
                if bytes.is_empty() {
                    Err(Refusal::UnexpectedFrame)
                } else {
                    Ok(Self::RunPart { last, bytes })
                }
            }
            HELD => match few_tips(content)? {
                tips if tips.values().any(|tip| tip.next_seq == 0) => Err(Refusal::UnexpectedFrame),
                tips => Ok(Self::Held(tips)),
            },
            GOODBYE => {
                let number = content.try_into().map_err(|_| Refusal::UnexpectedFrame)?;
                Ok(Self::Goodbye(u16::from_le_bytes(number)))
            }
            ALL_SENT if content.is_empty() => Ok(Self::AllSent),
            RUN_ASKED => {
                let (chain, from_seq) = content.split_first_chunk::<16>().ok_or(Refusal::UnexpectedFrame)?;
                let from_seq = from_seq.try_into().map_err(|_| Refusal::UnexpectedFrame)?;
                Ok(Self::RunAsked { chain: ChainId(*chain), from_seq: u64::from_le_bytes(from_seq) })
            }
            RUN_SHOWN => match split_mark(content)? {
                (false, []) => Err(Refusal::UnexpectedFrame),
                (last, bytes) => Ok(Self::RunShown { last, bytes }),
            },
            FORK_PART => match split_mark(content)? {
                (_, []) => Err(Refusal::UnexpectedFrame),
                (last, bytes) => Ok(Self::ForkPart { last, bytes }),
            },
            _ => Err(Refusal::UnexpectedFrame),
        }
    }
}

fn decode_hello(content: &[u8]) -> Result<Message<'_>, Refusal> {
    let (major, rest) = content.split_first_chunk::<2>().ok_or(Refusal::UnexpectedFrame)?;
    if u16::from_le_bytes(*major) != FORMAT_MAJOR {
        return Err(Refusal::OtherFormat);
    }
    let (crew, rest) = rest.split_first_chunk::<32>().ok_or(Refusal::UnexpectedFrame)?;
    let (digest, common) = rest.split_first_chunk::<32>().ok_or(Refusal::UnexpectedFrame)?;
    let common = common.try_into().map_err(|_| Refusal::UnexpectedFrame)?;
    Ok(Message::Hello { crew: CrewId(*crew), digest: *digest, common })
}

fn split_mark(content: &[u8]) -> Result<(bool, &[u8]), Refusal> {
    match content.split_first() {
        Some((0, rest)) => Ok((false, rest)),
        Some((1, rest)) => Ok((true, rest)),
        Some(_) | None => Err(Refusal::UnexpectedFrame),
    }
}

/// As many tips as a frame may have.
fn few_tips(bytes: &[u8]) -> Result<Tips, Refusal> {
    let tips = decode_tips(bytes)?;
    if tips.len() > TIPS_A_FRAME { Err(Refusal::TooMuchClaimed) } else { Ok(tips) }
}

#[cfg(test)]
mod tests {
    use ledger::EventHash;

    use super::*;
    use crate::tips::Tip;

    #[test]
    fn every_frame_is_these_bytes_and_reads_back() {
        let tip = |byte| (ChainId([byte; 16]), Tip::from((0x0102, EventHash([byte; 32]))));
        let tip_bytes = |byte: u8| [&[byte; 16][..], &[0x82, 2], &[byte; 12]].concat();
        let tips = Tips::from([tip(5), tip(6)]);

        let frame = hello(&CrewId([3; 32]), &[4; 32], &[5; 16]);
        assert_eq!(frame, [&[1, 1, 0][..], &[3; 32], &[4; 32], &[5; 16]].concat());
        let message = Message::Hello { crew: CrewId([3; 32]), digest: [4; 32], common: [5; 16] };
        assert_eq!(Message::decode(&frame), Ok(message));

        let frames = frontier(&tips);
        assert_eq!(frames, [[vec![2, 1], tip_bytes(5), tip_bytes(6)].concat()]);
        assert_eq!(Message::decode(&frames[0]), Ok(Message::Frontier { last: true, tips: tips.clone() }));
        assert_eq!(frontier(&Tips::new()), [[2, 1]]);
        // Of a chain that was held, nothing counts any more: a frontier tells it, and no acknowledgement does.
        let nothing = [&[5; 16][..], &[0]].concat();
        let frame = [&[2, 1][..], &nothing].concat();
        assert!(matches!(Message::decode(&frame), Ok(Message::Frontier { tips, .. }) if tips.len() == 1));
        assert_eq!(Message::decode(&[&[5][..], &nothing].concat()), Err(Refusal::UnexpectedFrame));

        let mut to_tell = tips.clone();
        let frame = held(&mut to_tell);
        assert_eq!(frame, [vec![5], tip_bytes(5), tip_bytes(6)].concat());
        assert_eq!(Message::decode(&frame), Ok(Message::Held(tips)));
        assert!(to_tell.is_empty());

        assert_eq!(goodbye(Refusal::Retired), [6, 21, 0]);
        assert_eq!(Message::decode(&[6, 21, 0]), Ok(Message::Goodbye(21)));
        assert_eq!(all_sent(), [7]);
        assert_eq!(Message::decode(&[7]), Ok(Message::AllSent));

        let frame = run_asked(&ChainId([5; 16]), 0x0102);
        assert_eq!(frame, [&[8][..], &[5; 16], &[2, 1, 0, 0, 0, 0, 0, 0]].concat());
        let asked = Message::RunAsked { chain: ChainId([5; 16]), from_seq: 0x0102 };
        assert_eq!(Message::decode(&frame), Ok(asked));
        let content = |frames: Vec<Frame>| frames.iter().map(Frame::content).collect::<Vec<_>>();
        let whole = Bytes::from_static(&[6, 7]);
        assert_eq!(content(shown_parts(&Bytes::new()).collect()), [[9, 1]]);
        assert_eq!(Message::decode(&[9, 1]), Ok(Message::RunShown { last: true, bytes: &[] }));
        assert_eq!(content(shown_parts(&whole).collect()), [[9, 1, 6, 7]]);
        assert_eq!(content(fork_parts(&whole).collect()), [[10, 1, 6, 7]]);
        assert_eq!(Message::decode(&[10, 1, 6, 7]), Ok(Message::ForkPart { last: true, bytes: &[6, 7] }));
    }

    #[test]
    fn long_frontiers_and_runs_are_cut_into_frames_of_allowed_size() {
        let tips: Tips = (0..3_000_u16)
            .map(|number| {
                let mut chain = [0; 16];
                chain[..2].copy_from_slice(&number.to_be_bytes());
                (ChainId(chain), Tip::from((1, EventHash([1; 32]))))
            })
            .collect();
        let frames = frontier(&tips);
        assert_eq!(frames.iter().map(|frame| frame[1]).collect::<Vec<_>>(), [0, 0, 1]);
        let mut read = Tips::new();
        for frame in &frames {
            let Ok(Message::Frontier { tips, .. }) = Message::decode(frame) else { panic!("a frontier") };
            read.extend(tips);
        }
        assert_eq!(read, tips);

        for length in [1, PART - 1, PART, PART + 1, 3 * PART] {
            let run: Vec<u8> = (0_u8..=250).cycle().take(length).collect();
            let frames: Vec<_> = run_parts(&run.clone().into()).map(|frame| frame.content()).collect();
            assert!(frames.iter().all(|frame| frame.len() <= MAX_FRAME));
            let marks = frames.iter().filter(|frame| frame[1] == 1).count();
            assert_eq!((marks, frames.last().map(|frame| frame[1])), (1, Some(1)));
            assert_eq!(frames.iter().flat_map(|frame| &frame[2..]).copied().collect::<Vec<_>>(), run);
        }
    }
}
