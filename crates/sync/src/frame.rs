//! Frames: how a stream of bytes is cut into messages. Never holds more than one frame.

use ledger::Refusal;

/// Most bytes of a frame, without its length.
pub const MAX_FRAME: usize = 65_536;

/// The four bytes that go before a frame on the stream: its length, least byte first.
#[must_use]
pub fn frame_length(frame: &[u8]) -> [u8; 4] {
    u32::try_from(frame.len()).unwrap_or(u32::MAX).to_le_bytes()
}

/// Cuts a stream into frames. Holds at most one frame, whatever the peer sends.
#[derive(Debug, Default)]
pub struct FrameReader {
    length: Vec<u8>,
    frame: Vec<u8>,
}

impl FrameReader {
    /// Takes bytes off the front of `input` until a frame is whole, and gives the frame. None when
    /// all of `input` was taken and more is needed. Call it again while `input` is not empty.
    ///
    /// # Errors
    /// [`Refusal::FrameTooLarge`], before any of the frame is read.
    pub fn take_in(&mut self, input: &mut &[u8]) -> Result<Option<Vec<u8>>, Refusal> {
        take(&mut self.length, 4, input);
        let Ok(length) = <[u8; 4]>::try_from(self.length.as_slice()) else { return Ok(None) };
        let length = usize::try_from(u32::from_le_bytes(length)).unwrap_or(usize::MAX);
        if length > MAX_FRAME {
            return Err(Refusal::FrameTooLarge);
        }
        take(&mut self.frame, length, input);
        if self.frame.len() < length {
            return Ok(None);
        }
        self.length.clear();
        Ok(Some(std::mem::take(&mut self.frame)))
    }

    /// Says that the stream has ended.
    ///
    /// # Errors
    /// [`Refusal::Truncated`] inside a frame.
    pub fn finish(&self) -> Result<(), Refusal> {
        if self.length.is_empty() { Ok(()) } else { Err(Refusal::Truncated) }
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
        let frames: [&[u8]; 3] = [b"plaster", b"", &[7; MAX_FRAME]];
        let stream: Vec<u8> =
            frames.iter().flat_map(|frame| [&frame_length(frame)[..], frame].concat()).collect();
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
        let mut input: &[u8] = &65_537_u32.to_le_bytes();
        assert_eq!(FrameReader::default().take_in(&mut input), Err(Refusal::FrameTooLarge));
    }

    #[test]
    fn a_stream_that_ends_inside_a_frame_is_truncated() {
        for mut input in [&[1, 0][..], &[5, 0, 0, 0][..], &[5, 0, 0, 0, 1, 2][..]] {
            let mut reader = FrameReader::default();
            assert_eq!(reader.take_in(&mut input), Ok(None));
            assert_eq!(reader.finish(), Err(Refusal::Truncated));
        }
    }
}
