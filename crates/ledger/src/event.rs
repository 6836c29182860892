//! An event: its place in a chain and what it says there, and the hash over both.

use std::sync::LazyLock;

use blake3::Hasher;

use crate::act::{Act, ActFault};
use crate::codec::{CodecError, MAX_PAYLOAD, decode_front, encode_into};
use crate::ids::{ChainId, EventHash};
use crate::kinds::{Body, Kind};
use crate::older;
use crate::run::EventView;
use crate::sealing::{NONCE, OfficeKey, OfficeKeys};

/// The version that this program writes of every kind.
pub const KIND_VERSION: u16 = 1;

/// First byte of a payload that stands as it is.
const PLAIN: u8 = 0;
/// First byte of a payload that is sealed with a key of the office.
const SEALED: u8 = 1;

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
    /// Its hash: over its place in the chain, the event before it, and the hash of what it says.
    #[must_use]
    pub fn hash(&self) -> EventHash {
        let mut hasher = EventHasher::new();
        let content = hasher.hash_content(&self.view());
        hasher.hash_placed((self.chain, self.seq, self.prev), &content)
    }

    /// The event as it stands in a run.
    #[must_use]
    pub fn view(&self) -> EventView<'_> {
        let Self { made_at, kind, kind_version, .. } = *self;
        EventView { made_at, kind, kind_version, payload: &self.payload }
    }
}

/// The hash of what an event says, apart from its place. Whoever shows a chain to somebody who may not read all of
/// it gives this in the place of an event, and the chain can still be checked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ContentHash(pub [u8; 32]);

/// Makes out the hashes of events, one after the other. What is the same for all of them is made ready once, which
/// for short events is a good part of the work.
#[derive(Debug, Clone)]
pub(crate) struct EventHasher {
    content: Hasher,
    placed: Hasher,
}

impl EventHasher {
    pub(crate) fn new() -> Self {
        /// Deriving the keys costs a block each.
        static KEYED: LazyLock<EventHasher> = LazyLock::new(|| EventHasher {
            content: Hasher::new_derive_key("fivebar content 1"),
            placed: Hasher::new_derive_key("fivebar event 1"),
        });
        KEYED.clone()
    }

    /// Of an event as it stands in a run, header and payload.
    pub(crate) fn hash(&mut self, place: (ChainId, u64, EventHash), in_run: &[u8]) -> EventHash {
        let content = ContentHash(hash_anew(&mut self.content, in_run));
        self.hash_placed(place, &content)
    }

    /// BLAKE3, in derive-key mode for "fivebar event 1", over an event's place and the hash of what it says.
    pub(crate) fn hash_placed(
        &mut self,
        (chain, seq, prev): (ChainId, u64, EventHash),
        content: &ContentHash,
    ) -> EventHash {
        let mut placed = [0; 88];
        placed[..16].copy_from_slice(&chain.0);
        placed[16..24].copy_from_slice(&seq.to_le_bytes());
        placed[24..56].copy_from_slice(&prev.0);
        placed[56..].copy_from_slice(&content.0);
        EventHash(hash_anew(&mut self.placed, &placed))
    }

    /// BLAKE3, in derive-key mode for "fivebar content 1", over an event as it stands in a run.
    pub(crate) fn hash_content(&mut self, event: &EventView<'_>) -> ContentHash {
        ContentHash(hash_anew(&mut self.content, &[&event.header()[..], event.payload].concat()))
    }
}

fn hash_anew(hasher: &mut Hasher, bytes: &[u8]) -> [u8; 32] {
    *hasher.reset().update(bytes).finalize().as_bytes()
}

/// What a sealed payload is bound to: the fields of its header, without those that follow from the chain.
fn seal_context((chain, seq): (ChainId, u64), made_at: i64, (kind, kind_version): (u16, u16)) -> [u8; 36] {
    let mut context = [0; 36];
    context[..16].copy_from_slice(&chain.0);
    context[16..24].copy_from_slice(&seq.to_le_bytes());
    context[24..32].copy_from_slice(&made_at.to_le_bytes());
    context[32..34].copy_from_slice(&kind.to_le_bytes());
    context[34..].copy_from_slice(&kind_version.to_le_bytes());
    context
}

/// Seals the bytes that [`Payload::encode`] gave, for one place. None if they are not that.
pub(crate) fn seal_payload(
    place: (ChainId, u64),
    made_at: i64,
    kind: (u16, u16),
    plain: &[u8],
    (key, nonce): (&OfficeKey, &[u8; NONCE]),
) -> Option<Vec<u8>> {
    let (wrapping, rest) = plain.split_first()?;
    let sealed = key.seal(&seal_context(place, made_at, kind), nonce, rest)?;
    (*wrapping == PLAIN).then(|| [&[SEALED][..], &sealed].concat())
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
        let kind = known_kind(kind, kind_version)?;
        let (wrapping, rest) = bytes.split_first().ok_or(Unreadable::Malformed)?;
        match *wrapping {
            PLAIN => Self::decode_plain(kind, rest),
            SEALED => Err(Unreadable::Sealed),
            _ => Err(Unreadable::Malformed),
        }
    }

    /// Reads a payload that may be sealed, with the keys that are here.
    ///
    /// # Errors
    /// [`Unreadable`]: as [`Payload::decode`], and [`Unreadable::Malformed`] if it was not sealed for this place.
    pub fn open(
        chain: ChainId,
        seq: u64,
        view: &EventView<'_>,
        keys: &OfficeKeys,
    ) -> Result<Self, Unreadable> {
        match view.payload.split_first() {
            Some((&SEALED, sealed)) => {
                let kind = known_kind(view.kind, view.kind_version)?;
                let context = seal_context((chain, seq), view.made_at, (view.kind, view.kind_version));
                Self::decode_plain(kind, &keys.open(&context, sealed)?)
            }
            Some(_) | None => Self::decode(view.kind, view.kind_version, view.payload),
        }
    }

    fn decode_plain(kind: Kind, rest: &[u8]) -> Result<Self, Unreadable> {
        if rest.len() >= MAX_PAYLOAD {
            return Err(Unreadable::Malformed);
        }
        let (act, used) = decode_front::<Act>(rest).map_err(|_| Unreadable::Malformed)?;
        act.check().map_err(|_| Unreadable::Malformed)?;
        let body = kind.decode_body(rest.get(used..).unwrap_or_default());
        Ok(Self { act, body: body.map_err(|_| Unreadable::Malformed)? })
    }
}

fn known_kind(kind: u16, kind_version: u16) -> Result<Kind, Unreadable> {
    let kind = Kind::from_number(kind).filter(|kind| kind_version == KIND_VERSION && !older::lacks(*kind));
    kind.ok_or(Unreadable::UnknownKind)
}
