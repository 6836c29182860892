//! An excerpt: some events of a crew, each provable by its device's signature, without the rest being readable.
//!
//! It has the front of each chain that anything is shown of, from its first event to a head at or behind the last
//! shown one. What is not shown stands there as the hash of what it says, so that every hash and the head's
//! signature can be made out again by anybody, offline. An excerpt proves that devices wrote what is shown, at
//! these places. It does not prove what the rest says, that nothing came later, or who the crew is: that is for
//! whoever compares crew ids.

use std::collections::{BTreeMap, BTreeSet};

use crate::chain::{Audience, ChainStart, head_bytes, verify_signature};
use crate::codec::MAX_PAYLOAD;
use crate::event::{ContentHash, EventHasher, Payload, Unreadable};
use crate::ids::{ChainId, CrewId, DeviceKey, EventHash};
use crate::kinds::{Body, Kind};
use crate::roster::{Roster, RosterEvent};
use crate::run::{EventView, Run};

/// What an excerpt begins with.
const MARK: &[u8; 18] = b"fivebar excerpt 1\n";
/// In the place of an event: it is shown.
const SHOWN: u8 = 0;
/// In the place of an event: only the hash of what it says is given.
const WITHHELD: u8 = 1;

/// A place of a chain.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Slot {
    Shown { made_at: i64, kind: u16, kind_version: u16, payload: Vec<u8> },
    Withheld(ContentHash),
}

/// The front of a chain, ending in a signed head.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Front {
    start: ChainStart,
    slots: Vec<Slot>,
    signature: [u8; 64],
}

/// Some events of a crew. Well-formed, not yet proved.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Excerpt {
    crew: CrewId,
    fronts: Vec<Front>,
}

/// Why an excerpt proves nothing.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ExcerptFault {
    /// It is cut off, has bytes too many, or is something else.
    #[error("its bytes are not those of an excerpt")]
    Malformed,
    /// Hashes or signature don't fit: something in the chain is not what the device signed.
    #[error("the events of chain {} are not what the device {} signed", .chain.short(), .device.short())]
    NotSigned {
        /// The chain.
        chain: ChainId,
        /// The device that writes it.
        device: DeviceKey,
    },
    /// The event that the crew is named after is not shown.
    #[error("the event by which the crew was founded is not in it, or belongs to another crew")]
    NoFounding,
}

/// An event that a device signed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ProvedEvent {
    /// Its hash.
    pub hash: EventHash,
    /// The chain it stands in.
    pub start: ChainStart,
    /// Its place in the chain.
    pub seq: u64,
    /// Wall time of the device, milliseconds since 1970.
    pub made_at: i64,
    /// What it says.
    pub payload: Result<Payload, Unreadable>,
}

/// What an excerpt proves.
#[derive(Debug, Clone)]
pub struct Proved {
    /// The events that are shown, by chain and place.
    pub events: Vec<ProvedEvent>,
    /// The roster, as far as the shown events make it out.
    pub roster: Roster,
    /// How many events stand as hashes alone.
    pub withheld: u64,
}

/// Takes the front of a chain out of its runs.
#[derive(Debug)]
pub struct FrontBuilder<'s> {
    shown: &'s BTreeSet<u64>,
    front: Front,
}

impl<'s> FrontBuilder<'s> {
    /// Begins a chain. `shown` are the places of the events to show.
    #[must_use]
    pub const fn new(start: ChainStart, shown: &'s BTreeSet<u64>) -> Self {
        Self { shown, front: Front { start, slots: Vec::new(), signature: [0; 64] } }
    }

    /// The place at which the next run is wanted; none once all that is to be shown is there.
    #[must_use]
    pub fn next_seq(&self) -> Option<u64> {
        let next = self.front.slots.len() as u64;
        self.shown.last().is_some_and(|last| *last >= next).then_some(next)
    }

    /// Takes in the run that begins at [`FrontBuilder::next_seq`].
    pub fn add(&mut self, run: &Run) {
        for (seq, view) in (run.first_seq()..).zip(run.events()) {
            let slot = if self.shown.contains(&seq) { Slot::shown(&view) } else { Slot::withheld(&view) };
            self.front.slots.push(slot);
        }
        self.front.signature = run.signature();
    }

    /// The front; none where nothing of the chain is shown.
    #[must_use]
    pub fn finish(self) -> Option<Front> {
        (!self.front.slots.is_empty()).then_some(self.front)
    }
}

impl Slot {
    fn shown(view: &EventView<'_>) -> Self {
        let EventView { made_at, kind, kind_version, payload } = *view;
        Self::Shown { made_at, kind, kind_version, payload: payload.to_vec() }
    }

    fn withheld(view: &EventView<'_>) -> Self {
        Self::Withheld(EventHasher::new().hash_content(view))
    }

    fn content(&self, hasher: &mut EventHasher) -> ContentHash {
        match self {
            Self::Shown { made_at, kind, kind_version, payload } => {
                let (made_at, kind, kind_version) = (*made_at, *kind, *kind_version);
                hasher.hash_content(&EventView { made_at, kind, kind_version, payload })
            }
            Self::Withheld(content) => *content,
        }
    }
}

impl Front {
    /// Makes out every hash and checks the head. Gives the hashes of the events.
    fn prove(&self, crew: &CrewId) -> Option<Vec<EventHash>> {
        let chain = self.start.chain;
        let mut hasher = EventHasher::new();
        let first = self.slots.first()?.content(&mut hasher);
        // The chain that the crew was founded in is anchored without a crew id, which there was not yet.
        let unnamed = self.start.anchor(&CrewId([0; 32]));
        let is_founding = hasher.hash_placed((chain, 0, unnamed), &first).0 == crew.0;
        let mut hash = if is_founding { unnamed } else { self.start.anchor(crew) };
        let mut hashes = Vec::with_capacity(self.slots.len());
        let mut made_at = i64::MIN;
        for (seq, slot) in (0..).zip(&self.slots) {
            let content = slot.content(&mut hasher);
            hash = hasher.hash_placed((chain, seq, hash), &content);
            hashes.push(hash);
            if let Slot::Shown { made_at: now, .. } = slot {
                if *now < made_at {
                    return None;
                }
                made_at = *now;
            }
        }
        let last_seq = u64::try_from(hashes.len()).ok()?.checked_sub(1)?;
        let head = head_bytes(crew, &chain, last_seq, &hash);
        verify_signature(&self.start.device, &head, &self.signature).ok()?;
        Some(hashes)
    }
}

impl Excerpt {
    /// An excerpt of these chains.
    #[must_use]
    pub fn new(crew: CrewId, fronts: impl IntoIterator<Item = Front>) -> Self {
        let fronts: BTreeMap<ChainId, Front> =
            fronts.into_iter().map(|front| (front.start.chain, front)).collect();
        Self { crew, fronts: fronts.into_values().collect() }
    }

    /// The crew that it says it is of.
    #[must_use]
    pub const fn crew(&self) -> CrewId {
        self.crew
    }

    /// The bytes, as `proto/FORMAT-handover.md` describes them.
    #[must_use]
    pub fn encode(&self) -> Vec<u8> {
        let mut bytes = MARK.to_vec();
        bytes.extend_from_slice(&self.crew.0);
        for front in &self.fronts {
            bytes.extend_from_slice(&front.start.encode());
            bytes.extend_from_slice(&(front.slots.len() as u64).to_le_bytes());
            for slot in &front.slots {
                match slot {
                    Slot::Shown { made_at, kind, kind_version, payload } => {
                        bytes.push(SHOWN);
                        bytes.extend_from_slice(&made_at.to_le_bytes());
                        bytes.extend_from_slice(&kind.to_le_bytes());
                        bytes.extend_from_slice(&kind_version.to_le_bytes());
                        // A payload is at most 256 KiB, so its length is never shortened.
                        bytes.extend_from_slice(&(payload.len() as u32).to_le_bytes());
                        bytes.extend_from_slice(payload);
                    }
                    Slot::Withheld(content) => {
                        bytes.push(WITHHELD);
                        bytes.extend_from_slice(&content.0);
                    }
                }
            }
            bytes.extend_from_slice(&front.signature);
        }
        bytes
    }

    /// Reads what [`Excerpt::encode`] writes, and nothing else.
    ///
    /// # Errors
    /// [`ExcerptFault::Malformed`].
    pub fn decode(bytes: &[u8]) -> Result<Self, ExcerptFault> {
        let mut rest = Rest(bytes);
        if rest.take(MARK.len())? != MARK {
            return Err(ExcerptFault::Malformed);
        }
        let crew = CrewId(rest.array()?);
        let mut fronts: Vec<Front> = Vec::new();
        while !rest.0.is_empty() {
            let front = rest.front()?;
            if fronts.last().is_some_and(|last| last.start.chain >= front.start.chain) {
                return Err(ExcerptFault::Malformed);
            }
            fronts.push(front);
        }
        Ok(Self { crew, fronts })
    }

    /// Makes out every hash, checks every head, and folds the roster.
    ///
    /// # Errors
    /// [`ExcerptFault`] with the chain in which something is not as it was signed.
    pub fn prove(&self) -> Result<Proved, ExcerptFault> {
        let (mut events, mut withheld) = (Vec::new(), 0);
        for front in &self.fronts {
            let start = front.start;
            let hashes = front
                .prove(&self.crew)
                .ok_or(ExcerptFault::NotSigned { chain: start.chain, device: start.device })?;
            for ((seq, slot), hash) in (0..).zip(&front.slots).zip(hashes) {
                let Slot::Shown { made_at, kind, kind_version, payload } = slot else {
                    withheld += 1;
                    continue;
                };
                let payload = Payload::decode(*kind, *kind_version, payload);
                events.push(ProvedEvent { hash, start, seq, made_at: *made_at, payload });
            }
        }
        let founding = events.iter().find(|event| event.hash.0 == self.crew.0);
        let is_founding = |event: &ProvedEvent| {
            let is_kind = matches!(&event.payload, Ok(Payload { body: Body::CrewFounded(_), .. }));
            is_kind && event.seq == 0 && event.start.audience == Audience::Crew
        };
        if !founding.is_some_and(is_founding) {
            return Err(ExcerptFault::NoFounding);
        }
        let roster = roster_of(self.crew, &events);
        Ok(Proved { events, roster, withheld })
    }
}

fn roster_of(crew: CrewId, events: &[ProvedEvent]) -> Roster {
    let chains = events.iter().map(|event| (event.start.chain, event.start.into())).collect();
    let mut roster_events = BTreeMap::new();
    for event in events {
        let Ok(payload) = &event.payload else { continue };
        if is_shown_of_roster(payload.body.kind()) {
            let (hash, start, seq, payload) = (event.hash, event.start, event.seq, payload.clone());
            roster_events.insert(hash, RosterEvent { hash, start, seq, payload });
        }
    }
    Roster::fold(crew, &roster_events, &chains)
}

/// Whether an excerpt must show the events of a kind, so that the roster can be made out. The office's keys give
/// nobody a right.
#[must_use]
pub fn is_shown_of_roster(kind: Kind) -> bool {
    kind.is_roster() && kind != Kind::OfficeKeysGiven
}

/// What is still to read.
struct Rest<'b>(&'b [u8]);

impl<'b> Rest<'b> {
    fn take(&mut self, count: usize) -> Result<&'b [u8], ExcerptFault> {
        let (front, behind) = self.0.split_at_checked(count).ok_or(ExcerptFault::Malformed)?;
        self.0 = behind;
        Ok(front)
    }

    fn array<const N: usize>(&mut self) -> Result<[u8; N], ExcerptFault> {
        self.take(N)?.try_into().map_err(|_| ExcerptFault::Malformed)
    }

    fn front(&mut self) -> Result<Front, ExcerptFault> {
        let start = ChainStart::decode(self.take(ChainStart::WIDTH)?).map_err(|_| ExcerptFault::Malformed)?;
        let count = u64::from_le_bytes(self.array()?);
        if count == 0 {
            return Err(ExcerptFault::Malformed);
        }
        // Nothing is reserved for a claimed number: the bytes must be there.
        let mut slots = Vec::new();
        for _ in 0..count {
            slots.push(self.slot()?);
        }
        Ok(Front { start, slots, signature: self.array()? })
    }

    fn slot(&mut self) -> Result<Slot, ExcerptFault> {
        match self.array::<1>()? {
            [SHOWN] => {
                let made_at = i64::from_le_bytes(self.array()?);
                let kind = u16::from_le_bytes(self.array()?);
                let kind_version = u16::from_le_bytes(self.array()?);
                let length = usize::try_from(u32::from_le_bytes(self.array()?));
                let length = length.ok().filter(|length| *length <= MAX_PAYLOAD);
                let payload = self.take(length.ok_or(ExcerptFault::Malformed)?)?.to_vec();
                Ok(Slot::Shown { made_at, kind, kind_version, payload })
            }
            [WITHHELD] => Ok(Slot::Withheld(ContentHash(self.array()?))),
            [_] => Err(ExcerptFault::Malformed),
        }
    }
}

#[cfg(test)]
mod tests {
    use trade::{Day, Moment};

    use super::*;
    use crate::act::Act;
    use crate::chain::DeviceSecret;
    use crate::event::KIND_VERSION;
    use crate::frontier::Ledger;
    use crate::ids::{EntryId, JobId, PersonId};
    use crate::roster_events::CrewFounded;
    use crate::run::RunBuilder;
    use crate::site::{Note, Site};

    fn act(person: PersonId, note: &str) -> Act {
        let logged_at: Moment = Moment::parse("2026-11-02T16:35", "Europe/London").unwrap();
        let done_on: Day = logged_at.day();
        let (entry, note) = (EntryId([7; 16]), note.to_owned());
        let (row_key, said) = (String::new(), String::new());
        Act {
            person,
            author: person,
            entry,
            done_on,
            done_at: None,
            logged_at,
            row_key,
            said,
            note,
            replaces: vec![],
        }
    }

    /// A crew with three notes in one run behind its founding, of which the second is shown.
    fn excerpt() -> (Excerpt, Vec<u8>) {
        let secret = DeviceSecret::from_seed(&[1; 32]);
        let named = |name: &str| name.to_owned();
        let founded = CrewFounded {
            crew: named("Oake Rooms"),
            founder: named("Maren Oake"),
            device: named("laptop"),
            seed: [2; 32],
            recovery_key: DeviceSecret::from_seed(&[3; 32]).public(),
        };
        let founding = Payload { act: act(PersonId([0; 16]), ""), body: Body::CrewFounded(founded) };
        let bytes = founding.encode().unwrap();
        let (ledger, start, first) = Ledger::found(ChainId([4; 16]), &secret, 1, &bytes).unwrap();
        let crew = ledger.crew();
        let maren = PersonId::named(&crew, "Maren Oake");
        let mut builder = RunBuilder::new(start, ledger.chain(&start.chain).unwrap().tip);
        for note in ["of another job", "of this job", "of a third job"] {
            let site = Site { job: JobId([5; 16]), stage: None, place: crate::site::Place::default() };
            let body = Body::Note(Note { site, photos: vec![] });
            let payload = Payload { act: act(maren, note), body }.encode().unwrap();
            builder.push(2, Kind::Note.number(), KIND_VERSION, &payload).unwrap();
        }
        let (second, _) = builder.finish(&crew, &secret).unwrap();
        let shown = BTreeSet::from([0, 2]);
        let mut front = FrontBuilder::new(start, &shown);
        for run in [&first, &second] {
            assert_eq!(front.next_seq(), Some(run.first_seq()));
            front.add(run);
        }
        assert_eq!(front.next_seq(), None);
        let excerpt = Excerpt::new(crew, front.finish());
        let bytes = excerpt.encode();
        (excerpt, bytes)
    }

    #[test]
    fn what_is_shown_is_proved_and_what_is_withheld_is_not_in_it() {
        let (excerpt, bytes) = excerpt();
        assert_eq!(Excerpt::decode(&bytes), Ok(excerpt.clone()));
        let proved = excerpt.prove().unwrap();
        assert_eq!((proved.events.len(), proved.withheld), (2, 2));
        let notes: Vec<_> =
            proved.events.iter().map(|event| event.payload.as_ref().unwrap().act.note.as_str()).collect();
        assert_eq!(notes, ["", "of this job"]);
        assert_eq!(proved.roster.crew_name(), "Oake Rooms");
        let holds = |words: &[u8]| bytes.windows(words.len()).any(|window| window == words);
        assert!(holds(b"of this job"));
        assert!(!holds(b"another job") && !holds(b"third job"));
    }

    #[test]
    fn any_changed_byte_is_noticed_and_so_are_fewer_and_more() {
        let (_, bytes) = excerpt();
        let proves = |bytes: &[u8]| Excerpt::decode(bytes).and_then(|excerpt| excerpt.prove());
        assert!(proves(&bytes).is_ok());
        for at in 0..bytes.len() {
            for change in [0x01, 0x80, 0xff] {
                let mut changed = bytes.clone();
                changed[at] ^= change;
                assert!(proves(&changed).is_err(), "byte {at}");
            }
            assert!(proves(&bytes[..at]).is_err(), "cut at {at}");
        }
        assert!(proves(&[bytes.as_slice(), &[0]].concat()).is_err());
    }

    #[test]
    fn a_shown_event_can_be_withheld_and_still_fits_but_none_can_be_put_in_its_place() {
        let (mut excerpt, _) = excerpt();
        let slots = &mut excerpt.fronts[0].slots;
        slots[2] = Slot::Withheld(slots[2].content(&mut EventHasher::new()));
        assert_eq!(excerpt.prove().unwrap().withheld, 3);
        let slots = &mut excerpt.fronts[0].slots;
        slots.swap(1, 3);
        assert!(matches!(excerpt.prove(), Err(ExcerptFault::NotSigned { .. })));
        excerpt.fronts[0].slots.swap(1, 3);
        excerpt.fronts[0].slots[0] =
            Slot::Withheld(excerpt.fronts[0].slots[0].content(&mut EventHasher::new()));
        assert_eq!(excerpt.prove().unwrap_err(), ExcerptFault::NoFounding);
    }
}
