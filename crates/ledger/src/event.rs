//! An event: a fixed-width header and a payload, and the hash over both.

use crate::act::{Act, ActFault};
use crate::codec::{CodecError, MAX_PAYLOAD, decode_front, encode_into};
use crate::ids::{ChainId, EventHash};
use crate::kinds::{Body, Kind};

/// The version that this program writes of every kind.
pub const KIND_VERSION: u16 = 1;

/// First byte of a payload that stands as it is. 1 is kept for payloads sealed with an office key.
const PLAIN: u8 = 0;

/// An event as it stands in a chain.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Event {
    /// The chain.
    pub chain: ChainId,
    /// Its place in the chain, from nought.
    pub seq: u64,
    /// The hash of the event before it, or the chain's anchor.
    pub prev: EventHash,
    /// Wall time of the device in milliseconds since 1970. Never falls along a chain.
    pub made_at: i64,
    /// The number of its kind, known or not.
    pub kind: u16,
    /// The version of its kind.
    pub kind_version: u16,
    /// The payload's bytes.
    pub payload: Vec<u8>,
}

impl Event {
    /// BLAKE3, in derive-key mode for "fivebar event 1", over the header and the payload.
    #[must_use]
    pub fn hash(&self) -> EventHash {
        let place = (self.chain, self.seq, self.prev);
        hash_event(place, self.made_at, (self.kind, self.kind_version), &self.payload)
    }
}

/// Hashes an event from its parts, so that a run can be checked without copying it.
pub(crate) fn hash_event(
    (chain, seq, prev): (ChainId, u64, EventHash),
    made_at: i64,
    (kind, kind_version): (u16, u16),
    payload: &[u8],
) -> EventHash {
    let mut header = [0; 72];
    header[..16].copy_from_slice(&chain.0);
    header[16..24].copy_from_slice(&seq.to_le_bytes());
    header[24..56].copy_from_slice(&prev.0);
    header[56..64].copy_from_slice(&made_at.to_le_bytes());
    header[64..66].copy_from_slice(&kind.to_le_bytes());
    header[66..68].copy_from_slice(&kind_version.to_le_bytes());
    header[68..].copy_from_slice(&u32::try_from(payload.len()).unwrap_or(u32::MAX).to_le_bytes());
    let mut hasher = event_hasher();
    hasher.update(&header);
    hasher.update(payload);
    EventHash(*hasher.finalize().as_bytes())
}

/// A hasher keyed for events. Deriving the key costs one extra block, so it is done once.
fn event_hasher() -> blake3::Hasher {
    static KEYED: std::sync::LazyLock<blake3::Hasher> =
        std::sync::LazyLock::new(|| blake3::Hasher::new_derive_key("fivebar event 1"));
    KEYED.clone()
}

/// What a payload says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Payload {
    /// Who, which entry, when.
    pub act: Act,
    /// What.
    pub body: Body,
}

/// Why a payload counts for nothing. It is stored and passed on all the same.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum Unreadable {
    /// The kind, or its version, is newer than this program.
    #[error("this program does not know this kind of event; update it")]
    UnknownKind,
    /// The payload is sealed with a key that this device does not hold.
    #[error("this event is sealed for the office")]
    Sealed,
    /// The bytes are not what any version writes.
    #[error("this event's bytes do not decode")]
    Malformed,
}

/// Why a payload may not be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum NotWritable {
    /// The act breaks a rule.
    #[error(transparent)]
    Act(#[from] ActFault),
    /// It does not fit.
    #[error("an entry may have at most 262,144 bytes")]
    TooLarge,
}

impl Payload {
    /// The bytes, after checking that readers will take them.
    ///
    /// # Errors
    /// [`NotWritable`] with the rule that is broken.
    pub fn encode(&self) -> Result<Vec<u8>, NotWritable> {
        self.act.check()?;
        let mut bytes = vec![PLAIN];
        encode_into(&self.act, &mut bytes)
            .and_then(|()| self.body.encode_into(&mut bytes))
            .map_err(|_: CodecError| NotWritable::TooLarge)?;
        Ok(bytes)
    }

    /// Reads a payload. Whatever this takes, [`Payload::encode`] gives back byte for byte.
    ///
    /// # Errors
    /// [`Unreadable`]: the event counts for nothing here, and raises a question.
    pub fn decode(kind: u16, kind_version: u16, bytes: &[u8]) -> Result<Self, Unreadable> {
        let kind = Kind::from_number(kind).filter(|_| kind_version == KIND_VERSION);
        let kind = kind.ok_or(Unreadable::UnknownKind)?;
        let (wrapping, rest) = bytes.split_first().ok_or(Unreadable::Malformed)?;
        match *wrapping {
            PLAIN => {}
            1 => return Err(Unreadable::Sealed),
            _ => return Err(Unreadable::Malformed),
        }
        if rest.len() >= MAX_PAYLOAD {
            return Err(Unreadable::Malformed);
        }
        let (act, used) = decode_front::<Act>(rest).map_err(|_| Unreadable::Malformed)?;
        act.check().map_err(|_| Unreadable::Malformed)?;
        let body = kind.decode_body(rest.get(used..).unwrap_or_default());
        Ok(Self { act, body: body.map_err(|_| Unreadable::Malformed)? })
    }
}
