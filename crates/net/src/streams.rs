//! Frames on their way over a stream, neither copied more often than once nor waited for.

use std::collections::VecDeque;

use bytes::{Buf as _, Bytes};
use ledger::Refusal;
use quinn::{ReadError, RecvStream, SendStream, WriteError};
use sync::{Frame, FrameReader};

/// While this many bytes wait to be sent, a session is not asked for more.
const ENOUGH_TO_SEND: usize = 256 * 1024;
/// Pieces that are read from a stream at a time. Each is what one packet brought.
const PIECES_AT_ONCE: usize = 256;

/// What is to be sent on a stream.
#[derive(Debug, Default)]
pub(crate) struct Outgoing {
    pieces: VecDeque<Bytes>,
    bytes: usize,
}

impl Outgoing {
    pub(crate) fn push(&mut self, frame: Frame) {
        for piece in frame.on_stream().into_iter().filter(|piece| !piece.is_empty()) {
            self.bytes += piece.len();
            self.pieces.push_back(piece);
        }
    }

    pub(crate) const fn is_empty(&self) -> bool {
        self.bytes == 0
    }

    pub(crate) const fn is_enough(&self) -> bool {
        self.bytes >= ENOUGH_TO_SEND
    }

    /// Writes as much as the stream takes now; waits until it takes something. Nothing is lost if it is not awaited to
    /// the end.
    ///
    /// # Errors
    /// [`WriteError`].
    pub(crate) async fn write_some(&mut self, stream: &mut SendStream) -> Result<(), WriteError> {
        let written = stream.write_chunks(self.pieces.make_contiguous()).await?;
        self.pieces.drain(..written.chunks);
        self.bytes -= written.bytes;
        Ok(())
    }

    /// Writes all.
    ///
    /// # Errors
    /// [`WriteError`].
    pub(crate) async fn write_all(&mut self, stream: &mut SendStream) -> Result<(), WriteError> {
        while !self.is_empty() {
            self.write_some(stream).await?;
        }
        Ok(())
    }
}

/// What was read from a stream.
#[derive(Debug, Default)]
pub(crate) struct Incoming {
    frames: FrameReader,
    pieces: VecDeque<Bytes>,
    buffer: Vec<Bytes>,
}

impl Incoming {
    /// Reads what is there; waits until something is. False at the end of the stream. Nothing is lost if it is not
    /// awaited to the end.
    ///
    /// # Errors
    /// [`ReadError`].
    pub(crate) async fn read_some(&mut self, stream: &mut RecvStream) -> Result<bool, ReadError> {
        self.buffer.resize(PIECES_AT_ONCE, Bytes::new());
        let Some(count) = stream.read_chunks(&mut self.buffer).await? else { return Ok(false) };
        self.pieces.extend(self.buffer.drain(..count));
        Ok(true)
    }

    /// Whether all that was read was taken.
    pub(crate) fn is_empty(&self) -> bool {
        self.pieces.is_empty()
    }

    /// The next frame that came whole.
    ///
    /// # Errors
    /// Those of [`FrameReader::take_in`].
    pub(crate) fn next_frame(&mut self) -> Result<Option<Vec<u8>>, Refusal> {
        while let Some(piece) = self.pieces.front_mut() {
            let mut rest = &piece[..];
            let frame = self.frames.take_in(&mut rest)?;
            piece.advance(piece.len() - rest.len());
            if piece.is_empty() {
                self.pieces.pop_front();
            }
            if frame.is_some() {
                return Ok(frame);
            }
        }
        Ok(None)
    }

    /// Says that the stream has ended.
    ///
    /// # Errors
    /// As [`FrameReader::finish`].
    pub(crate) fn finish(&self) -> Result<(), Refusal> {
        self.frames.finish()
    }
}
