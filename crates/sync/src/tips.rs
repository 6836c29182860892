//! How far chains are held, as two devices tell each other.

use std::collections::BTreeMap;

use ledger::{ChainId, EventHash, Frontier, Refusal};
use unsigned_varint::{decode, encode};

/// Bytes of a hash that are told: enough that nobody but the chain's own author, with much work, finds another
/// event whose hash begins alike; and then the next event shows it. The digests in the hellos are over whole hashes.
const TOLD: usize = 12;

/// How far a chain is held.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Tip {
    /// How many events; nought only where it says that nothing is held of a chain of which something was.
    pub(crate) next_seq: u64,
    /// The beginning of the hash of the last; zeros where there is none.
    last: [u8; TOLD],
}

impl Tip {
    const NOTHING: Self = Self { next_seq: 0, last: [0; TOLD] };
}

impl From<(u64, EventHash)> for Tip {
    fn from((next_seq, hash): (u64, EventHash)) -> Self {
        Self { next_seq, last: hash.0.first_chunk().copied().unwrap_or_default() }
    }
}

/// How far each of some chains is held.
pub(crate) type Tips = BTreeMap<ChainId, Tip>;

pub(crate) fn tips_of(frontier: &Frontier) -> Tips {
    frontier.tips.iter().map(|(chain, tip)| (*chain, Tip::from(*tip))).collect()
}

pub(crate) fn push_tip(bytes: &mut Vec<u8>, chain: &ChainId, tip: &Tip) {
    bytes.extend_from_slice(&chain.0);
    bytes.extend_from_slice(encode::u64(tip.next_seq, &mut encode::u64_buffer()));
    if *tip != Tip::NOTHING {
        bytes.extend_from_slice(&tip.last);
    }
}

/// Reads tips up to the end. They ascend, so that they have one form only.
///
/// # Errors
/// [`Refusal::UnexpectedFrame`].
pub(crate) fn decode_tips(mut bytes: &[u8]) -> Result<Tips, Refusal> {
    let mut tips = Tips::new();
    while !bytes.is_empty() {
        let (chain, rest) = bytes.split_first_chunk::<16>().ok_or(Refusal::UnexpectedFrame)?;
        let (next_seq, rest) = decode::u64(rest).map_err(|_| Refusal::UnexpectedFrame)?;
        let (tip, rest) = if next_seq == 0 {
            (Tip::NOTHING, rest)
        } else {
            let (last, rest) = rest.split_first_chunk::<TOLD>().ok_or(Refusal::UnexpectedFrame)?;
            (Tip { next_seq, last: *last }, rest)
        };
        let chain = ChainId(*chain);
        if tips.last_key_value().is_some_and(|(before, _)| *before >= chain) {
            return Err(Refusal::UnexpectedFrame);
        }
        tips.insert(chain, tip);
        bytes = rest;
    }
    Ok(tips)
}

/// What two devices last knew both to hold, as each of them remembers it. When they meet again and remember the
/// same, they tell each other only what has changed since. Of a device that was never met, it is nothing.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct CommonGround {
    tips: Tips,
}

impl CommonGround {
    /// This frontier.
    #[must_use]
    pub fn of(frontier: &Frontier) -> Self {
        Self { tips: tips_of(frontier) }
    }

    /// 16 bytes that are the same exactly when two devices remember the same.
    pub(crate) fn digest(&self) -> [u8; 16] {
        let digest = blake3::derive_key("fivebar common ground 1", &self.encode());
        digest.first_chunk().copied().unwrap_or_default()
    }

    /// Its bytes, to be kept until the other is met again.
    #[must_use]
    pub fn encode(&self) -> Vec<u8> {
        let mut bytes = Vec::new();
        self.tips.iter().for_each(|(chain, tip)| push_tip(&mut bytes, chain, tip));
        bytes
    }

    /// Reads what [`CommonGround::encode`] gave.
    ///
    /// # Errors
    /// [`Refusal::UnexpectedFrame`] for other bytes. To remember nothing is always safe.
    pub fn decode(bytes: &[u8]) -> Result<Self, Refusal> {
        decode_tips(bytes).map(|tips| Self { tips })
    }

    /// What is otherwise now.
    pub(crate) fn changes(&self, now: &Tips) -> Tips {
        let gone = self.tips.keys().filter(|chain| !now.contains_key(chain));
        let changed = now.iter().filter(|(chain, tip)| self.tips.get(chain) != Some(tip));
        let changed = changed.map(|(chain, tip)| (*chain, *tip));
        changed.chain(gone.map(|chain| (*chain, Tip::NOTHING))).collect()
    }

    /// What is held now, given the changes.
    pub(crate) fn changed(mut self, changes: Tips) -> Tips {
        self.tips.extend(changes);
        self.tips.retain(|_, tip| *tip != Tip::NOTHING);
        self.tips
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn frontier(tips: &[(u8, u64)]) -> Frontier {
        let tip = |(byte, next_seq): &(u8, u64)| (ChainId([*byte; 16]), (*next_seq, EventHash([*byte; 32])));
        Frontier { tips: tips.iter().map(tip).collect() }
    }

    #[test]
    fn what_has_changed_leads_from_the_common_ground_to_what_is_held() {
        let before = CommonGround::of(&frontier(&[(1, 5), (2, 300), (3, 7)]));
        let now = tips_of(&frontier(&[(1, 5), (2, 301), (4, 1)]));
        let changes = before.changes(&now);
        assert_eq!(changes.keys().map(|chain| chain.0[0]).collect::<Vec<_>>(), [2, 3, 4]);
        assert_eq!(before.changed(changes), now);
        assert_eq!(CommonGround::default().changes(&now), now, "to a stranger, all is new");
    }

    #[test]
    fn it_is_kept_as_bytes_and_its_digest_tells_any_other_apart() {
        let ground = CommonGround::of(&frontier(&[(1, 5), (2, 300)]));
        let bytes = ground.encode();
        let expected = [&[1; 16][..], &[5], &[1; 12], &[2; 16], &[0xac, 0x02], &[2; 12]].concat();
        assert_eq!(bytes, expected);
        assert_eq!(CommonGround::decode(&bytes), Ok(ground.clone()));
        for other in [frontier(&[]), frontier(&[(1, 5)]), frontier(&[(1, 5), (2, 301)])] {
            assert_ne!(CommonGround::of(&other).digest(), ground.digest());
        }
        for end in [1, 16, 20, 40, bytes.len() - 1] {
            assert_eq!(CommonGround::decode(&bytes[..end]), Err(Refusal::UnexpectedFrame), "{end}");
        }
        let not_shortest = [&[1; 16][..], &[0x85, 0x00], &[1; 12]].concat();
        assert_eq!(CommonGround::decode(&not_shortest), Err(Refusal::UnexpectedFrame));
        let descending = [&bytes[29..], &bytes[..29]].concat();
        assert_eq!(CommonGround::decode(&descending), Err(Refusal::UnexpectedFrame));
    }
}
