//! Runs: consecutive events of one chain with a signed head, as they stand on disk and wire.
//!
//! Chain, sequence number and the hash before are left out of each event, because each has only
//! one possible value. A run is kept as its bytes; events are looked at in place.

use std::sync::Arc;

use bytes::Bytes;

use crate::chain::{ChainStart, DeviceSecret, Tip, head_bytes, verify_signature};
use crate::codec::MAX_PAYLOAD;
use crate::event::{Event, EventHasher, seal_payload};
use crate::hashed::HashedRun;
use crate::ids::{ChainId, CrewId, EventHash};
use crate::kinds::Kind;
use crate::refusal::Refusal;
use crate::sealing::{NONCE, OfficeKey};

/// Most bytes of a run: a relay keeps a head every 1 MiB, and the event that passes the mark may be whole.
pub const MAX_RUN: usize = 1024 * 1024 + 64 * 1024;
/// Most bytes of runs that are joined.
pub const MAX_JOINED: usize = 1024 * 1024;
/// Bytes before the first event: chain id, first sequence number, number of events.
const RUN_HEADER: usize = 28;
/// Bytes before each payload: time of making, kind, kind version, length.
const EVENT_HEADER: usize = 16;
/// Bytes of the head's signature, at the end.
const SIGNATURE: usize = 64;

/// An event within a run: everything but its place in the chain.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct EventView<'a> {
    /// Wall time of the device in milliseconds since 1970.
    pub made_at: i64,
    /// The number of its kind.
    pub kind: u16,
    /// The version of its kind.
    pub kind_version: u16,
    /// The payload's bytes.
    pub payload: &'a [u8],
}

/// An event of a run with its place in the chain.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct PlacedEvent<'a> {
    /// The sequence number.
    pub seq: u64,
    /// The event's hash.
    pub hash: EventHash,
    /// The rest.
    pub view: EventView<'a>,
}

impl EventView<'_> {
    /// What stands before its payload in a run.
    pub(crate) fn header(&self) -> [u8; EVENT_HEADER] {
        let mut header = [0; EVENT_HEADER];
        header[..8].copy_from_slice(&self.made_at.to_le_bytes());
        header[8..10].copy_from_slice(&self.kind.to_le_bytes());
        header[10..12].copy_from_slice(&self.kind_version.to_le_bytes());
        header[12..].copy_from_slice(&u32::try_from(self.payload.len()).unwrap_or(u32::MAX).to_le_bytes());
        header
    }
}

impl PlacedEvent<'_> {
    /// The event, whole, given its chain and the hash before it.
    #[must_use]
    pub fn whole(&self, chain: ChainId, prev: EventHash) -> Event {
        let EventView { made_at, kind, kind_version, payload } = self.view;
        Event { chain, seq: self.seq, prev, made_at, kind, kind_version, payload: payload.to_vec() }
    }
}

/// What reading a run's events once tells. Long runs are read once: each time fetches all of it from memory again.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Summary {
    /// The hash of each.
    pub(crate) hashes: Arc<[EventHash]>,
    /// When the first and the last of them were made.
    made_at: Option<(i64, i64)>,
    /// Whether one was made before the one before it.
    time_runs_back: bool,
    /// Whether one of them makes the roster.
    pub(crate) makes_roster: bool,
}

impl Summary {
    fn note(&mut self, event: &EventView<'_>) {
        let (first, last) = self.made_at.unwrap_or((event.made_at, event.made_at));
        self.time_runs_back |= event.made_at < last;
        self.made_at = Some((first, event.made_at));
        self.makes_roster |= Kind::from_number(event.kind).is_some_and(Kind::is_roster);
    }
}

/// Consecutive events of one chain, ending in a signed head. Well-formed, not yet verified.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Run {
    bytes: Bytes,
}

fn array<const N: usize>(bytes: &[u8], at: usize) -> Option<[u8; N]> {
    bytes.get(at..at.checked_add(N)?)?.try_into().ok()
}

/// Reads the event at the front, and gives its bytes and those behind it.
fn split_event(bytes: &[u8]) -> Option<(EventView<'_>, &[u8], &[u8])> {
    let made_at = i64::from_le_bytes(array(bytes, 0)?);
    let kind = u16::from_le_bytes(array(bytes, 8)?);
    let kind_version = u16::from_le_bytes(array(bytes, 10)?);
    let length = usize::try_from(u32::from_le_bytes(array(bytes, 12)?)).ok()?;
    let end = EVENT_HEADER.checked_add(length).filter(|_| length <= MAX_PAYLOAD)?;
    let (own, behind) = bytes.split_at_checked(end)?;
    let payload = own.get(EVENT_HEADER..)?;
    Some((EventView { made_at, kind, kind_version, payload }, own, behind))
}

impl Run {
    /// Takes the bytes of a run after checking its shape.
    ///
    /// # Errors
    /// [`Refusal::TooLarge`], [`Refusal::EmptyRun`] or [`Refusal::MalformedEnvelope`].
    pub fn decode(bytes: impl Into<Bytes>) -> Result<Self, Refusal> {
        let bytes = bytes.into();
        if bytes.len() > MAX_RUN {
            return Err(Refusal::TooLarge);
        }
        let count = array(&bytes, 24).map(u32::from_le_bytes).ok_or(Refusal::MalformedEnvelope)?;
        if count == 0 {
            return Err(Refusal::EmptyRun);
        }
        let run = Self { bytes };
        let last_seq = run.first_seq().checked_add(u64::from(count));
        last_seq.ok_or(Refusal::MalformedEnvelope)?;
        let mut rest = run.event_bytes().ok_or(Refusal::MalformedEnvelope)?;
        for _ in 0..count {
            (.., rest) = split_event(rest).ok_or(Refusal::MalformedEnvelope)?;
        }
        if rest.is_empty() { Ok(run) } else { Err(Refusal::MalformedEnvelope) }
    }

    /// The bytes on disk and wire.
    #[must_use]
    pub const fn bytes(&self) -> &Bytes {
        &self.bytes
    }

    /// The chain.
    #[must_use]
    pub fn chain(&self) -> ChainId {
        ChainId(array(&self.bytes, 0).unwrap_or_default())
    }

    /// The sequence number of the first event.
    #[must_use]
    pub fn first_seq(&self) -> u64 {
        u64::from_le_bytes(array(&self.bytes, 16).unwrap_or_default())
    }

    /// How many events there are: at least one.
    #[must_use]
    pub fn count(&self) -> u32 {
        u32::from_le_bytes(array(&self.bytes, 24).unwrap_or_default())
    }

    /// The sequence number after the last event.
    #[must_use]
    pub fn next_seq(&self) -> u64 {
        self.first_seq() + u64::from(self.count())
    }

    /// The events in order.
    pub fn events(&self) -> impl Iterator<Item = EventView<'_>> {
        self.events_with_bytes().map(|(event, _)| event)
    }

    /// Each with its bytes.
    fn events_with_bytes(&self) -> impl Iterator<Item = (EventView<'_>, &[u8])> {
        let mut rest = self.event_bytes().unwrap_or_default();
        std::iter::from_fn(move || {
            let (event, own, behind) = split_event(rest)?;
            rest = behind;
            Some((event, own))
        })
    }

    /// The events with sequence numbers and hashes, given the hash before the first.
    pub fn placed_events(&self, before: EventHash) -> impl Iterator<Item = PlacedEvent<'_>> {
        let (chain, mut seq, mut prev) = (self.chain(), self.first_seq(), before);
        let mut hasher = EventHasher::new();
        self.events_with_bytes().map(move |(view, own)| {
            let placed = PlacedEvent { seq, hash: hasher.hash((chain, seq, prev), own), view };
            seq += 1;
            prev = placed.hash;
            placed
        })
    }

    /// The hashes of the events, given the hash before the first, and what else one pass over them tells.
    pub(crate) fn read(&self, before: EventHash) -> Summary {
        let (mut summary, mut hashes) = (Summary::default(), Vec::with_capacity(self.count() as usize));
        for event in self.placed_events(before) {
            summary.note(&event.view);
            hashes.push(event.hash);
        }
        Summary { hashes: hashes.into(), ..summary }
    }

    /// The same, where the hashes are known.
    pub(crate) fn read_known(&self, hashes: Arc<[EventHash]>) -> Summary {
        let mut summary = Summary { hashes, ..Summary::default() };
        self.events().for_each(|event| summary.note(&event));
        summary
    }

    /// The events, whole, given the hash before the first.
    #[must_use]
    pub fn whole_events(&self, before: EventHash) -> Vec<Event> {
        let (chain, mut prev) = (self.chain(), before);
        self.placed_events(before)
            .map(|event| event.whole(chain, std::mem::replace(&mut prev, event.hash)))
            .collect()
    }

    /// Checks that the run continues the chain at `tip` and that its head is signed by the device.
    /// Gives the tip after it.
    ///
    /// # Errors
    /// [`Refusal::OutOfOrder`] unless it begins right at the tip, [`Refusal::TimeRunsBack`], or
    /// [`Refusal::BadSignature`]; a run of another chain's past has a signature that does not fit.
    pub fn verify(&self, crew: &CrewId, start: &ChainStart, tip: &Tip) -> Result<Tip, Refusal> {
        let reached = self.follow(start, tip, &self.read(tip.hash))?;
        self.check_head(crew, start, &reached)?;
        Ok(reached)
    }

    /// The tip after the run, which must continue the chain at `tip`, given its summary. The head is not
    /// looked at.
    ///
    /// # Errors
    /// [`Refusal::OutOfOrder`], [`Refusal::TimeRunsBack`], or [`Refusal::MalformedEnvelope`] unless there
    /// is one hash for each event.
    pub(crate) fn follow(&self, start: &ChainStart, tip: &Tip, summary: &Summary) -> Result<Tip, Refusal> {
        if self.chain() != start.chain || self.first_seq() != tip.next_seq {
            return Err(Refusal::OutOfOrder);
        }
        let hash = *summary.hashes.last().ok_or(Refusal::EmptyRun)?;
        if u32::try_from(summary.hashes.len()) != Ok(self.count()) {
            return Err(Refusal::MalformedEnvelope);
        }
        let made_at = match summary.made_at {
            Some((first, last)) if !summary.time_runs_back && first >= tip.made_at => last,
            Some(_) | None => return Err(Refusal::TimeRunsBack),
        };
        Ok(Tip { next_seq: self.next_seq(), hash, made_at })
    }

    /// Checks that the head is signed by the chain's device, where the run ends at `reached`.
    ///
    /// # Errors
    /// [`Refusal::BadSignature`].
    pub(crate) fn check_head(&self, crew: &CrewId, start: &ChainStart, reached: &Tip) -> Result<(), Refusal> {
        let last_seq = reached.next_seq.checked_sub(1).ok_or(Refusal::EmptyRun)?;
        let head = head_bytes(crew, &start.chain, last_seq, &reached.hash);
        verify_signature(&start.device, &head, &self.signature())
    }

    /// The same run without its first events, up to but not including `seq`. None if nothing is left.
    #[must_use]
    pub fn starting_at(self, seq: u64) -> Option<Self> {
        let skip = seq.saturating_sub(self.first_seq());
        if skip == 0 {
            return Some(self);
        }
        let left = u64::from(self.count()).checked_sub(skip).filter(|left| *left > 0)?;
        let mut rest = self.event_bytes()?;
        for _ in 0..skip {
            (.., rest) = split_event(rest)?;
        }
        let mut bytes = Vec::with_capacity(RUN_HEADER + rest.len() + SIGNATURE);
        bytes.extend_from_slice(&self.bytes[..16]);
        bytes.extend_from_slice(&seq.to_le_bytes());
        bytes.extend_from_slice(&u32::try_from(left).ok()?.to_le_bytes());
        bytes.extend_from_slice(rest);
        bytes.extend_from_slice(&self.signature());
        Some(Self { bytes: bytes.into() })
    }

    /// Makes one run of this one and those that follow it, without the heads in between: of as many as are together
    /// not over 1 MiB, and up to the first that does not follow.
    #[must_use]
    pub fn joined(self, behind: &[Self]) -> Self {
        let (mut next_seq, mut count, mut length) = (self.next_seq(), self.count(), self.bytes.len());
        let (mut events, mut signature) = (vec![self.event_bytes().unwrap_or_default()], self.signature());
        for next in behind {
            let own = next.event_bytes().unwrap_or_default();
            length += own.len();
            let follows = self.chain() == next.chain() && next_seq == next.first_seq();
            let together = count.checked_add(next.count()).filter(|_| follows && length <= MAX_JOINED);
            let Some(together) = together else { break };
            events.push(own);
            (next_seq, count, signature) = (next.next_seq(), together, next.signature());
        }
        if events.len() == 1 {
            return self;
        }
        let header = self.bytes.get(..24).unwrap_or_default();
        let count = count.to_le_bytes();
        let pieces = [header, &count].into_iter().chain(events).chain([&signature[..]]);
        let bytes = pieces.collect::<Vec<_>>().concat();
        Self { bytes: bytes.into() }
    }

    fn event_bytes(&self) -> Option<&[u8]> {
        self.bytes.get(RUN_HEADER..self.bytes.len().checked_sub(SIGNATURE)?)
    }

    /// The signature of the head.
    pub(crate) fn signature(&self) -> [u8; SIGNATURE] {
        self.bytes
            .len()
            .checked_sub(SIGNATURE)
            .and_then(|at| array(&self.bytes, at))
            .unwrap_or([0; SIGNATURE])
    }
}

/// Builds a run event by event on a device's own chain.
#[derive(Debug)]
pub struct RunBuilder {
    start: ChainStart,
    tip: Tip,
    /// What it continues.
    before: Tip,
    bytes: Vec<u8>,
    hashes: Vec<EventHash>,
    hasher: EventHasher,
}

impl RunBuilder {
    /// Begins a run behind `tip`.
    #[must_use]
    pub fn new(start: ChainStart, tip: Tip) -> Self {
        let mut bytes = Vec::with_capacity(512);
        bytes.extend_from_slice(&start.chain.0);
        bytes.extend_from_slice(&tip.next_seq.to_le_bytes());
        bytes.extend_from_slice(&[0; 4]);
        Self { start, tip, before: tip, bytes, hashes: Vec::new(), hasher: EventHasher::new() }
    }

    /// Adds an event and gives its hash. A clock that was turned back does not turn the chain back.
    ///
    /// # Errors
    /// [`Refusal::TooLarge`] when the payload passes 256 KiB or the run 1 MiB: finish it, begin another.
    pub fn push(
        &mut self,
        now_ms: i64,
        kind: u16,
        kind_version: u16,
        payload: &[u8],
    ) -> Result<EventHash, Refusal> {
        let length = self.bytes.len() + EVENT_HEADER + payload.len() + SIGNATURE;
        if payload.len() > MAX_PAYLOAD || length > 1024 * 1024 {
            return Err(Refusal::TooLarge);
        }
        let (made_at, begin) = (now_ms.max(self.tip.made_at), self.bytes.len());
        self.bytes.extend_from_slice(&EventView { made_at, kind, kind_version, payload }.header());
        self.bytes.extend_from_slice(payload);
        let place = (self.start.chain, self.tip.next_seq, self.tip.hash);
        let hash = self.hasher.hash(place, self.bytes.get(begin..).unwrap_or_default());
        self.hashes.push(hash);
        self.tip = Tip { next_seq: self.tip.next_seq + 1, hash, made_at };
        Ok(hash)
    }

    /// Adds an event whose payload is sealed with a key of the office. The nonce must be a new one.
    ///
    /// # Errors
    /// As [`RunBuilder::push`].
    pub fn push_sealed(
        &mut self,
        now_ms: i64,
        (kind, version): (u16, u16),
        payload: &[u8],
        key: (&OfficeKey, &[u8; NONCE]),
    ) -> Result<EventHash, Refusal> {
        let made_at = now_ms.max(self.tip.made_at);
        let place = (self.start.chain, self.tip.next_seq);
        let sealed = seal_payload(place, made_at, (kind, version), payload, key);
        self.push(made_at, kind, version, &sealed.ok_or(Refusal::MalformedEnvelope)?)
    }

    /// Signs the head and gives the run and the tip after it. None if nothing was added.
    #[must_use]
    pub fn finish(self, crew: &CrewId, secret: &DeviceSecret) -> Option<(Run, Tip)> {
        self.finish_hashed(crew, secret).map(|(hashed, tip)| (hashed.run, tip))
    }

    /// As [`RunBuilder::finish`], with the hashes that were made out on the way.
    #[must_use]
    pub fn finish_hashed(mut self, crew: &CrewId, secret: &DeviceSecret) -> Option<(HashedRun, Tip)> {
        let count = u32::try_from(self.hashes.len()).ok().filter(|count| *count > 0)?;
        self.bytes[24..28].copy_from_slice(&count.to_le_bytes());
        let head = head_bytes(crew, &self.start.chain, self.tip.next_seq - 1, &self.tip.hash);
        self.bytes.extend_from_slice(&secret.sign(&head));
        let run = Run { bytes: self.bytes.into() };
        let summary = run.read_known(self.hashes.into());
        Some((HashedRun { run, before: self.before.hash, summary }, self.tip))
    }
}
