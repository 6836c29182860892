//! Frames: how a stream of bytes is cut into messages. Never holds more than one frame.

use bytes::Bytes;
use ledger::Refusal;
use unsigned_varint::{decode, encode};

/// Most bytes of a frame, without its length.
pub const MAX_FRAME: usize = 65_536;
/// Most bytes of a length.
const MAX_LENGTH: usize = 3;

/// A frame to be sent. What it carries of a run or a photo is not copied.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Frame {
    head: Bytes,
    body: Bytes,
}

impl Frame {
    /// A frame that begins with its kind and what else there is to say, and carries these bytes.
    pub(crate) fn carrying(head: &[u8], body: Bytes) -> Self {
        Self { head: Bytes::copy_from_slice(head), body }
    }

    /// The number of its kind; nought of an empty one, which is none.
    #[must_use]
    pub fn kind(&self) -> u8 {
        self.head.first().copied().unwrap_or_default()
    }

    /// How long it is, without its length.
    #[must_use]
    pub const fn len(&self) -> usize {
        self.head.len() + self.body.len()
    }

    /// Whether nothing is in it.
    #[must_use]
    pub const fn is_empty(&self) -> bool {
        self.len() == 0
    }

    /// What goes on the stream, one behind the other: its length as a variable-length number, and itself.
    #[must_use]
    pub fn on_stream(self) -> [Bytes; 3] {
        let mut buffer = encode::usize_buffer();
        let length = encode::usize(self.len(), &mut buffer);
        [Bytes::copy_from_slice(length), self.head, self.body]
    }

    /// Its content, as it is read at the other end.
    #[must_use]
    pub fn content(&self) -> Vec<u8> {
        [&self.head[..], &self.body].concat()
    }
}

impl From<Vec<u8>> for Frame {
    fn from(bytes: Vec<u8>) -> Self {
        Self { head: bytes.into(), body: Bytes::new() }
    }
}

/// Cuts a stream into frames. Holds at most one frame, whatever the peer sends.
#[derive(Debug, Default)]
pub struct FrameReader {
    /// The bytes so far of a length that is not whole yet.
    length: Vec<u8>,
    /// How long the frame is that has begun.
    expected: Option<usize>,
    frame: Vec<u8>,
}

impl FrameReader {
    /// Takes bytes off the front of `input` until a frame is whole, and gives the frame. None when
    /// all of `input` was taken and more is needed. Call it again while `input` is not empty.
    ///
    /// # Errors
    /// [`Refusal::FrameTooLarge`], before any of the frame is read, or [`Refusal::UnexpectedFrame`] for a length
    /// that has more bytes than it needs.
    pub fn take_in(&mut self, input: &mut &[u8]) -> Result<Option<Vec<u8>>, Refusal> {
        let Some(length) =
            self.expected.map_or_else(|| self.take_length(input), |length| Ok(Some(length)))?
        else {
            return Ok(None);
        };
        take(&mut self.frame, length, input);
        if self.frame.len() < length {
            return Ok(None);
        }
        self.expected = None;
        Ok(Some(std::mem::take(&mut self.frame)))
    }

    fn take_length(&mut self, input: &mut &[u8]) -> Result<Option<usize>, Refusal> {
        while let Some((byte, rest)) = input.split_first() {
            self.length.push(*byte);
            *input = rest;
            match decode::usize(&self.length) {
                Ok((length, _)) if length <= MAX_FRAME => {
                    self.length.clear();
                    self.expected = Some(length);
                    self.frame.reserve_exact(length);
                    return Ok(Some(length));
                }
                Err(decode::Error::NotMinimal) => return Err(Refusal::UnexpectedFrame),
                Err(decode::Error::Insufficient) if self.length.len() < MAX_LENGTH => {}
                Ok(_) | Err(_) => return Err(Refusal::FrameTooLarge),
            }
        }
        Ok(None)
    }

    /// Says that the stream has ended.
    ///
    /// # Errors
    /// [`Refusal::Truncated`] inside a frame.
    pub fn finish(&self) -> Result<(), Refusal> {
        if self.length.is_empty() && self.expected.is_none() { Ok(()) } else { Err(Refusal::Truncated) }
    }
}

/// Moves bytes off the front of `input` until `into` has `wanted`.
fn take(into: &mut Vec<u8>, wanted: usize, input: &mut &[u8]) {
    let missing = wanted.saturating_sub(into.len()).min(input.len());
    let (taken, rest) = input.split_at(missing);
    into.extend_from_slice(taken);
    *input = rest;
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_stream_cut_anywhere_gives_the_same_frames() {
        let frames: [&[u8]; 5] = [b"plaster", b"", &[7; 127], &[7; 128], &[7; MAX_FRAME]];
        let stream: Vec<u8> =
            frames.iter().flat_map(|frame| Frame::from(frame.to_vec()).on_stream().concat()).collect();
        for step in [1, 3, 1000, stream.len()] {
            let (mut reader, mut read) = (FrameReader::default(), Vec::new());
            for mut piece in stream.chunks(step) {
                while !piece.is_empty() {
                    read.extend(reader.take_in(&mut piece).expect("frames of allowed size"));
                }
            }
            assert_eq!(read, frames);
            assert_eq!(reader.finish(), Ok(()));
        }
    }

    #[test]
    fn a_frame_too_large_is_refused_before_it_is_read() {
        for mut input in [&[0x81, 0x80, 0x04][..], &[0xff, 0xff, 0x7f], &[0xff, 0xff, 0xff]] {
            assert_eq!(FrameReader::default().take_in(&mut input), Err(Refusal::FrameTooLarge));
        }
    }

    #[test]
    fn a_length_has_no_more_bytes_than_it_needs() {
        for mut input in [&[0x80, 0x00][..], &[0x85, 0x80, 0x00]] {
            assert_eq!(FrameReader::default().take_in(&mut input), Err(Refusal::UnexpectedFrame));
        }
    }

    #[test]
    fn a_stream_that_ends_inside_a_frame_is_truncated() {
        for mut input in [&[0x80][..], &[5][..], &[5, 1, 2][..]] {
            let mut reader = FrameReader::default();
            assert_eq!(reader.take_in(&mut input), Ok(None));
            assert_eq!(reader.finish(), Err(Refusal::Truncated));
        }
    }
}
