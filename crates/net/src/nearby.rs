//! How devices of a crew recognise each other on a network where others listen too.
//!
//! A device announces a random number that it made today and sixteen tags. A tag follows from that number and from
//! what two devices know together, so that each mate finds its own among them; to anybody else, also to one who has
//! the crew's handovers and knows every device's key, they are sixteen random numbers, and other ones tomorrow. Tags
//! that nobody needs are random, so that their number tells nothing.
//!
//! Whoever was near can repeat what was announced. So a tag says where to look, never who is there.
//! `proto/FORMAT-nearby.md` describes the bytes.

use std::collections::BTreeMap;

use hmac::{Hmac, KeyInit as _, Mac as _};
use ledger::{DeviceKey, DeviceSecret, PairKey};
use sha2::Sha256;

/// Tags in an announcement. A crew has two to six people; of more devices than these, the first are announced to.
pub(crate) const TAGS: usize = 16;
/// Bytes of a tag.
pub(crate) const TAG: usize = 6;
/// Bytes of the random number.
pub(crate) const NONCE: usize = 16;

type Tag = [u8; TAG];

/// What recognises the crew's devices, and lets them recognise this one.
#[derive(Debug)]
pub(crate) struct Recognition {
    own: DeviceKey,
    pairs: BTreeMap<DeviceKey, PairKey>,
}

impl Recognition {
    /// Of a device among these.
    pub(crate) fn new(secret: &DeviceSecret, peers: &[DeviceKey]) -> Self {
        let pair = |peer: &DeviceKey| Some((*peer, PairKey::between(secret, peer)?));
        Self { own: secret.public(), pairs: peers.iter().filter_map(pair).collect() }
    }

    /// The tags that the others recognise this device by, in hex. `filler` is random.
    pub(crate) fn tags(&self, nonce: &[u8; NONCE], filler: [Tag; TAGS]) -> String {
        let mut tags = filler;
        let own = self.pairs.values().filter_map(|pair| tag(pair, &self.own, nonce));
        tags.iter_mut().zip(own).for_each(|(place, tag)| *place = tag);
        // In the order of their values, which tells nothing of whose they are.
        tags.sort_unstable();
        hex::encode(tags.as_flattened())
    }

    /// The device that announced these, if it is one of the crew's.
    pub(crate) fn recognise(&self, nonce: &[u8; NONCE], tags: &str) -> Option<DeviceKey> {
        let bytes: [u8; TAG * TAGS] = unhex(tags)?;
        let (tags, _) = bytes.as_chunks::<TAG>();
        let is_theirs = |(peer, pair): &(&DeviceKey, &PairKey)| {
            tag(pair, peer, nonce).is_some_and(|theirs| tags.contains(&theirs))
        };
        self.pairs.iter().find(is_theirs).map(|(peer, _)| *peer)
    }
}

fn tag(pair: &PairKey, announcer: &DeviceKey, nonce: &[u8; NONCE]) -> Option<Tag> {
    // HMAC takes a key of any length (RFC 2104), so there is always one.
    let mut mac = Hmac::<Sha256>::new_from_slice(pair.bytes()).ok()?;
    mac.update(b"fivebar nearby 1");
    mac.update(&announcer.0);
    mac.update(nonce);
    mac.finalize().into_bytes().first_chunk().copied()
}

/// Bytes from hex of just that length.
pub(crate) fn unhex<const N: usize>(text: &str) -> Option<[u8; N]> {
    let mut bytes = [0; N];
    hex::decode_to_slice(text, &mut bytes).ok()?;
    Some(bytes)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn secret(number: u8) -> DeviceSecret {
        DeviceSecret::from_seed(&[number; 32])
    }

    fn of(number: u8, peers: &[u8]) -> Recognition {
        let peers: Vec<DeviceKey> = peers.iter().map(|peer| secret(*peer).public()).collect();
        Recognition::new(&secret(number), &peers)
    }

    #[test]
    fn mates_recognise_each_other_and_nobody_else_does() {
        let (nonce, filler) = ([7; NONCE], [[0xee; TAG]; TAGS]);
        let tags = of(1, &[2, 3]).tags(&nonce, filler);
        assert_eq!(tags.len(), TAGS * TAG * 2);
        for mate in [2, 3] {
            assert_eq!(of(mate, &[1, 5]).recognise(&nonce, &tags), Some(secret(1).public()));
        }
        // A stranger, and one who was taken off: it knows the others' keys, and they leave it out.
        assert_eq!(of(4, &[1, 2, 3]).recognise(&nonce, &tags), None);
        // Who repeats the tags under another number, or is the announcer, is not recognised.
        assert_eq!(of(2, &[1]).recognise(&[8; NONCE], &tags), None);
        assert_eq!(of(1, &[2, 3]).recognise(&nonce, &tags), None);
        for torn in ["", &tags[1..], &tags[2..], &format!("{}zz", &tags[2..]), &"é".repeat(96)] {
            assert_eq!(of(2, &[1]).recognise(&nonce, torn), None, "{torn}");
        }
    }

    /// The example of `proto/FORMAT-nearby.md`, made by another program.
    #[test]
    fn a_tag_is_the_published_one() {
        let pair = PairKey::between(&secret(1), &secret(2).public()).unwrap();
        let tag = tag(&pair, &secret(1).public(), &[7; NONCE]).unwrap();
        assert_eq!(hex::encode(tag), "1cc40716f34c");
    }

    #[test]
    fn other_days_have_other_tags_and_the_number_of_mates_shows_in_none() {
        let filler: [Tag; TAGS] = std::array::from_fn(|place| [u8::try_from(place).unwrap(); TAG]);
        let today = of(1, &[2, 3]).tags(&[7; NONCE], filler);
        let tomorrow = of(1, &[2, 3]).tags(&[8; NONCE], filler);
        let tags = |text: &str| -> Vec<String> {
            text.as_bytes().chunks(TAG * 2).map(|tag| String::from_utf8(tag.to_vec()).unwrap()).collect()
        };
        let repeated = tags(&today).iter().filter(|tag| tags(&tomorrow).contains(tag)).count();
        assert_eq!(repeated, TAGS - 2, "all but the filler of this test are new");
        assert_eq!(tags(&of(1, &[]).tags(&[7; NONCE], filler)).len(), TAGS);
        let crowd: Vec<u8> = (2..40).collect();
        assert_eq!(tags(&of(1, &crowd).tags(&[7; NONCE], filler)).len(), TAGS);
    }
}
