//! Forks: a device that signed two events for one place of a chain.
//!
//! It happens to honest people: a restored snapshot of a whole disk goes on from where it was, while the crew holds
//! what was written after it. Nobody can say which branch is the right one, so a forked chain counts up to the last
//! event before the lowest known fork, and what is behind is set aside until people decide. A proof is small and
//! shows itself: it needs nothing but the chain's start.

use std::sync::Arc;

use crate::chain::{ChainStart, Tip};
use crate::ids::{ChainId, CrewId, EventHash};
use crate::refusal::Refusal;
use crate::roster::Cut;
use crate::run::{MAX_RUN, PlacedEvent, Run, Summary};

/// Most bytes of a branch, so that it fits a record of the journal with what stands around it.
pub const MAX_BRANCH: usize = MAX_RUN - 64;
/// Bytes before the branches: the hash of the last event that they share, and the length of the first.
const PROOF_HEADER: usize = 36;

/// Two runs from the last event that they share, each to a head that the chain's device signed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ForkProof {
    before: EventHash,
    branches: [Run; 2],
}

/// What came of comparing a run with what is held of its chain.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Comparison {
    /// The run does not continue the event before it that is held here: the fork is further down, or it is
    /// no run of this chain at all.
    Elsewhere,
    /// As far as both reach, they are the same.
    Same,
    /// They part.
    Forked(ForkProof),
}

impl ForkProof {
    /// A proof of these branches, which begin at the same place behind an event of this hash. None if they are
    /// no two branches.
    #[must_use]
    pub fn new(before: EventHash, one: Run, other: Run) -> Option<Self> {
        let first = |run: &Run| run.placed_events(before).next().map(|event| event.hash);
        let fits = one.chain() == other.chain()
            && one.first_seq() == other.first_seq()
            && one.bytes().len().max(other.bytes().len()) <= MAX_BRANCH;
        // The lower one goes first, so that both sides of a fork make the same proof.
        let branches = match first(&one)?.cmp(&first(&other)?) {
            std::cmp::Ordering::Less => [one, other],
            std::cmp::Ordering::Greater => [other, one],
            std::cmp::Ordering::Equal => return None,
        };
        fits.then_some(Self { before, branches })
    }

    /// Compares a peer's run with the run that is held from the same place on, given the hash of the event before.
    #[must_use]
    pub fn compare(
        crew: &CrewId,
        start: &ChainStart,
        before: EventHash,
        held: &Run,
        shown: &Run,
    ) -> Comparison {
        let (own, other) = (held.read(before), shown.read(before));
        if held.first_seq() != shown.first_seq() || check_branch(crew, start, shown, &other).is_err() {
            return Comparison::Elsewhere;
        }
        let (own, other) = (own.hashes, other.hashes);
        let shared = own.iter().zip(other.iter()).take_while(|(own, other)| own == other).count();
        if shared == own.len() || shared == other.len() {
            return Comparison::Same;
        }
        let from = held.first_seq() + shared as u64;
        let before = shared.checked_sub(1).and_then(|last| own.get(last)).copied().unwrap_or(before);
        let branches = held.clone().starting_at(from).zip(shown.clone().starting_at(from));
        let proof = branches.and_then(|(held, shown)| Self::new(before, held, shown));
        proof.map_or(Comparison::Elsewhere, Comparison::Forked)
    }

    /// The chain.
    #[must_use]
    pub fn chain(&self) -> ChainId {
        self.branches[0].chain()
    }

    /// How far the chain counts: up to the event before the branches.
    #[must_use]
    pub fn base(&self) -> Cut {
        Cut { count: self.branches[0].first_seq(), hash: self.before }
    }

    /// The branches, the one whose first event has the lower hash first.
    #[must_use]
    pub const fn branches(&self) -> &[Run; 2] {
        &self.branches
    }

    /// The events of both branches, one branch after the other.
    pub fn events(&self) -> impl Iterator<Item = PlacedEvent<'_>> {
        self.branches.iter().flat_map(|run| run.placed_events(self.before))
    }

    /// Checks that the chain's device signed both branches. Gives the hashes of their events.
    ///
    /// # Errors
    /// [`Refusal::BadSignature`], [`Refusal::TimeRunsBack`].
    pub fn verify(&self, crew: &CrewId, start: &ChainStart) -> Result<[Arc<[EventHash]>; 2], Refusal> {
        let read = |run: &Run| {
            let summary = run.read(self.before);
            check_branch(crew, start, run, &summary).map(|()| summary.hashes)
        };
        let [one, other] = &self.branches;
        Ok([read(one)?, read(other)?])
    }

    /// The bytes on the wire: the hash before, the length of the first branch, and both branches.
    #[must_use]
    pub fn encode(&self) -> Vec<u8> {
        let [one, other] = &self.branches;
        let length = u32::try_from(one.bytes().len()).unwrap_or(u32::MAX);
        [&self.before.0[..], &length.to_le_bytes(), one.bytes(), other.bytes()].concat()
    }

    /// Reads what [`ForkProof::encode`] writes.
    ///
    /// # Errors
    /// [`Refusal::MalformedEnvelope`], and those of [`Run::decode`].
    pub fn decode(bytes: &[u8]) -> Result<Self, Refusal> {
        let (header, rest) = bytes.split_first_chunk::<PROOF_HEADER>().ok_or(Refusal::MalformedEnvelope)?;
        let (before, length) = header.split_first_chunk::<32>().ok_or(Refusal::MalformedEnvelope)?;
        let length = length.try_into().map(u32::from_le_bytes).map_err(|_| Refusal::MalformedEnvelope)?;
        let length = usize::try_from(length).map_err(|_| Refusal::MalformedEnvelope)?;
        let (one, other) = rest.split_at_checked(length).ok_or(Refusal::MalformedEnvelope)?;
        let (one, other) = (Run::decode(one.to_vec())?, Run::decode(other.to_vec())?);
        let proof = Self::new(EventHash(*before), one, other).ok_or(Refusal::MalformedEnvelope)?;
        // One proof has one form only.
        if proof.branches[0].bytes().len() == length && proof.encode() == bytes {
            Ok(proof)
        } else {
            Err(Refusal::MalformedEnvelope)
        }
    }
}

fn check_branch(crew: &CrewId, start: &ChainStart, run: &Run, summary: &Summary) -> Result<(), Refusal> {
    let last = *summary.hashes.last().ok_or(Refusal::EmptyRun)?;
    let before = Tip { next_seq: run.first_seq(), hash: last, made_at: i64::MIN };
    let reached = run.follow(start, &before, summary)?;
    run.check_head(crew, start, &reached)
}

/// A fork that is known of a chain.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fork {
    proof: ForkProof,
    hashes: [Arc<[EventHash]>; 2],
    /// The branch that is held, as far as it goes: where other devices' runs went on.
    held: Option<usize>,
}

impl Fork {
    /// A fork by its proof, which is checked.
    ///
    /// # Errors
    /// Those of [`ForkProof::verify`].
    pub(crate) fn new(proof: ForkProof, crew: &CrewId, start: &ChainStart) -> Result<Self, Refusal> {
        let hashes = proof.verify(crew, start)?;
        Ok(Self { proof, hashes, held: None })
    }

    /// The same, where this event is held behind the last that the branches share.
    pub(crate) fn with_held(self, behind: Option<EventHash>) -> Self {
        let held =
            self.hashes.iter().position(|branch| behind.is_some() && branch.first().copied() == behind);
        Self { held, ..self }
    }

    /// Whether the event may be of the line that is held here: it is of no other branch.
    pub(crate) fn may_be_held(&self, hash: &EventHash) -> bool {
        let others = self.hashes.iter().enumerate().filter(|(branch, _)| Some(*branch) != self.held);
        !others.map(|(_, hashes)| hashes).any(|hashes| hashes.contains(hash))
    }

    /// What proves it.
    #[must_use]
    pub fn proof(&self) -> &ForkProof {
        &self.proof
    }

    /// The branch in which a chain of so many events ends with this one.
    pub(crate) fn branch_to(&self, cut: &Cut) -> Option<&[EventHash]> {
        let at = cut.count.checked_sub(self.proof.base().count)?.checked_sub(1)?;
        let at = usize::try_from(at).ok()?;
        self.hashes.iter().find(|branch| branch.get(at) == Some(&cut.hash)).map(|branch| &**branch)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::chain::{Audience, DeviceSecret};
    use crate::run::RunBuilder;

    const CREW: CrewId = CrewId([1; 32]);

    fn secret() -> DeviceSecret {
        DeviceSecret::from_seed(&[2; 32])
    }

    fn start() -> ChainStart {
        ChainStart { chain: ChainId([3; 16]), device: secret().public(), audience: Audience::Crew }
    }

    fn run(from: Tip, words: &[&[u8]], signer: &DeviceSecret) -> (Run, Tip) {
        let mut builder = RunBuilder::new(start(), from);
        for word in words {
            builder.push(5, 60_000, 1, word).unwrap();
        }
        builder.finish(&CREW, signer).unwrap()
    }

    #[test]
    fn a_proof_is_the_same_from_either_side_and_reads_back() {
        let (shared, tip) = run(start().tip(&CREW), &[b"shared"], &secret());
        let before = shared.placed_events(start().anchor(&CREW)).last().unwrap().hash;
        let (one, _) = run(tip, &[b"one", b"more"], &secret());
        let (other, _) = run(tip, &[b"other"], &secret());
        let proof = ForkProof::new(before, one.clone(), other.clone()).unwrap();
        assert_eq!(ForkProof::new(before, other.clone(), one.clone()), Some(proof.clone()));
        assert_eq!(ForkProof::new(before, one.clone(), one.clone()), None);
        assert_eq!(proof.base(), Cut { count: 1, hash: before });
        let bytes = proof.encode();
        assert_eq!(ForkProof::decode(&bytes), Ok(proof.clone()));
        assert!((0..bytes.len()).all(|length| ForkProof::decode(&bytes[..length]).is_err()));
        // The branches the other way round are no second form of it.
        let [low, high] = proof.branches();
        let length = u32::try_from(high.bytes().len()).unwrap().to_le_bytes();
        let turned = [&before.0[..], &length, high.bytes(), low.bytes()].concat();
        assert_eq!(ForkProof::decode(&turned), Err(Refusal::MalformedEnvelope));
        assert_eq!(
            proof.verify(&CREW, &start()).map(|hashes| hashes.map(|branch| branch.len()).iter().sum()),
            Ok(3_usize)
        );
        // Found by comparing longer runs.
        let (longer, _) = run(start().tip(&CREW), &[b"shared", b"one", b"more"], &secret());
        let (held, _) = run(start().tip(&CREW), &[b"shared", b"other"], &secret());
        let anchor = start().anchor(&CREW);
        let Comparison::Forked(found) = ForkProof::compare(&CREW, &start(), anchor, &held, &longer) else {
            panic!("they part behind the first event")
        };
        assert_eq!(found.base(), proof.base());
        let same = ForkProof::compare(&CREW, &start(), anchor, &held, &shared);
        assert_eq!(same, Comparison::Same);
    }

    #[test]
    fn only_what_the_device_signed_is_a_proof() {
        let stranger = DeviceSecret::from_seed(&[9; 32]);
        let tip = start().tip(&CREW);
        let (one, _) = run(tip, &[b"one"], &secret());
        let (forged, _) = run(tip, &[b"other"], &stranger);
        let proof = ForkProof::new(tip.hash, one.clone(), forged.clone()).unwrap();
        assert_eq!(proof.verify(&CREW, &start()), Err(Refusal::BadSignature));
        assert_eq!(ForkProof::compare(&CREW, &start(), tip.hash, &one, &forged), Comparison::Elsewhere);
        // Of another past it proves nothing here: its heads sign other hashes.
        let (other, _) = run(tip, &[b"other"], &secret());
        let proof = ForkProof::new(EventHash([7; 32]), one, other).unwrap();
        assert_eq!(proof.verify(&CREW, &start()), Err(Refusal::BadSignature));
    }
}
