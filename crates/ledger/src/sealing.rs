//! Sealing: what only the office reads is carried by every device and opened by few.
//!
//! A payload is sealed with XChaCha20-Poly1305 under an office key; its place, time and kind are the associated
//! data, so that it opens as that event alone. An office key is given to a device sealed for that device's own
//! key. Kind, size and time stay in the clear. There is no randomness here: keys and nonces are arguments.
//!
//! A key is given by agreement between two Ed25519 keys, a fresh one and the device's, on the curve that both
//! have in common with X25519 (RFC 7748). That one key pair may both sign and agree is shown by Thormarker,
//! "On using the same key pair for Ed25519 and an X25519 based KEM" (IACR ePrint 2021/509).

use std::collections::{BTreeMap, BTreeSet};

use chacha20poly1305::aead::{Aead as _, KeyInit as _, Payload as Opened};
use chacha20poly1305::{XChaCha20Poly1305, XNonce};
use zeroize::Zeroizing;

use crate::chain::{DeviceSecret, agree};
use crate::event::Unreadable;
use crate::ids::{DeviceKey, OfficeKeyId};
use crate::roster_events::{GivenKey, OfficeKeysGiven};

/// Bytes of a nonce.
pub const NONCE: usize = 24;

/// A key of the office. Wiped from memory when dropped; never printed.
#[derive(Clone)]
pub struct OfficeKey(Zeroizing<[u8; 32]>);

impl OfficeKey {
    /// The key of 32 random bytes.
    #[must_use]
    pub fn from_random(bytes: [u8; 32]) -> Self {
        Self(Zeroizing::new(bytes))
    }

    /// Its id, which follows from it: no other key can be passed off under it.
    #[must_use]
    pub fn id(&self) -> OfficeKeyId {
        let mut id = [0; 16];
        let hash = blake3::derive_key("fivebar office key id 1", &*self.0);
        id.copy_from_slice(hash.first_chunk::<16>().unwrap_or(&[0; 16]));
        OfficeKeyId(id)
    }

    /// The key sealed for a device, by a key pair that is made for this one use. None for a device key that
    /// is no point of the curve, or a weak one: nobody can hold its secret half.
    #[must_use]
    pub fn give(&self, to: DeviceKey, once: &DeviceSecret) -> Option<GivenKey> {
        let key = agreed_key(once, &to, &once.public(), &to)?;
        let bytes = seal(&key, &[0; NONCE], &[], &*self.0)?;
        let (sealed, tag) = bytes.split_first_chunk::<32>()?;
        let tag = tag.try_into().ok()?;
        Some(GivenKey { key: self.id(), to, once: once.public(), sealed: *sealed, tag })
    }

    /// Opens a key that was given to the holder of this secret. None if it was not, or is another key than it
    /// says.
    #[must_use]
    pub fn receive(given: &GivenKey, secret: &DeviceSecret) -> Option<Self> {
        if given.to != secret.public() {
            return None;
        }
        let key = agreed_key(secret, &given.once, &given.once, &given.to)?;
        let bytes = Zeroizing::new(open(&key, &[0; NONCE], &[], &[&given.sealed[..], &given.tag].concat())?);
        let received = Self::from_random(bytes.as_slice().try_into().ok()?);
        (received.id() == given.key).then_some(received)
    }

    /// Seals the bytes of a payload: the key's id, the nonce, and what they became. A nonce is used once.
    pub(crate) fn seal(&self, header: &[u8], nonce: &[u8; NONCE], plain: &[u8]) -> Option<Vec<u8>> {
        let sealed = seal(&self.0, nonce, header, plain)?;
        Some([&self.id().0[..], nonce, &sealed].concat())
    }
}

impl std::fmt::Debug for OfficeKey {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "OfficeKey of {:?}", self.id())
    }
}

/// The office keys that somebody holds.
#[derive(Debug, Clone, Default)]
pub struct OfficeKeys(BTreeMap<OfficeKeyId, OfficeKey>);

impl OfficeKeys {
    /// All keys that were given to the holder of a secret.
    #[must_use]
    pub fn received<'a>(
        given: impl IntoIterator<Item = (&'a DeviceKey, &'a OfficeKeysGiven)>,
        secret: &DeviceSecret,
    ) -> Self {
        let own = secret.public();
        let mut keys = BTreeMap::new();
        for given in given.into_iter().flat_map(|(_, given)| &given.keys).filter(|given| given.to == own) {
            if !keys.contains_key(&given.key)
                && let Some(key) = OfficeKey::receive(given, secret)
            {
                keys.insert(given.key, key);
            }
        }
        Self(keys)
    }

    /// One key.
    #[must_use]
    pub fn get(&self, id: &OfficeKeyId) -> Option<&OfficeKey> {
        self.0.get(id)
    }

    /// All of them, in the order of their ids.
    pub fn iter(&self) -> impl Iterator<Item = &OfficeKey> {
        self.0.values()
    }

    /// How many there are.
    #[must_use]
    pub fn len(&self) -> usize {
        self.0.len()
    }

    /// Whether there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// Opens what [`OfficeKey::seal`] gave.
    ///
    /// # Errors
    /// [`Unreadable::Sealed`] if the key is not here, and [`Unreadable::Malformed`] if it was not sealed so.
    pub(crate) fn open(&self, header: &[u8], bytes: &[u8]) -> Result<Vec<u8>, Unreadable> {
        let (id, rest) = bytes.split_first_chunk().ok_or(Unreadable::Malformed)?;
        let (nonce, sealed) = rest.split_first_chunk().ok_or(Unreadable::Malformed)?;
        let key = self.get(&OfficeKeyId(*id)).ok_or(Unreadable::Sealed)?;
        open(&key.0, nonce, header, sealed).ok_or(Unreadable::Malformed)
    }
}

/// Who may hold each key: whoever gave it and whomever it was given to, as far as that is known.
#[derive(Debug, Default)]
pub struct KeyHolders {
    holders: BTreeMap<OfficeKeyId, BTreeSet<DeviceKey>>,
    receivers: BTreeMap<OfficeKeyId, BTreeSet<DeviceKey>>,
}

impl KeyHolders {
    /// Reads them off what was given, by whom.
    #[must_use]
    pub fn of<'a>(given: impl IntoIterator<Item = (&'a DeviceKey, &'a OfficeKeysGiven)>) -> Self {
        let mut all = Self::default();
        for (giver, given) in given {
            for key in &given.keys {
                all.holders.entry(key.key).or_default().extend([*giver, key.to]);
                all.receivers.entry(key.key).or_default().insert(key.to);
            }
        }
        all
    }

    /// Whether the key may be sealed with: each of the readers has received it, and nobody else may hold it.
    #[must_use]
    pub fn is_for(&self, key: &OfficeKeyId, readers: &BTreeSet<DeviceKey>) -> bool {
        self.holders.get(key).is_some_and(|holders| holders.is_subset(readers))
            && self.receivers.get(key).is_some_and(|receivers| readers.is_subset(receivers))
    }

    /// Which of the readers have not received the key.
    pub fn lacking<'a>(
        &'a self,
        key: &OfficeKeyId,
        readers: &'a BTreeSet<DeviceKey>,
    ) -> impl Iterator<Item = DeviceKey> + 'a {
        let receivers = self.receivers.get(key);
        readers.iter().copied().filter(move |reader| receivers.is_none_or(|held| !held.contains(reader)))
    }
}

/// The key that two key pairs agree on, for one office key to one device.
fn agreed_key(
    secret: &DeviceSecret,
    other: &DeviceKey,
    once: &DeviceKey,
    to: &DeviceKey,
) -> Option<Zeroizing<[u8; 32]>> {
    let shared = agree(secret, other)?;
    let material = Zeroizing::new([&shared[..], &once.0, &to.0].concat());
    Some(Zeroizing::new(blake3::derive_key("fivebar office key to a device 1", &material)))
}

fn seal(key: &[u8; 32], nonce: &[u8; NONCE], header: &[u8], plain: &[u8]) -> Option<Vec<u8>> {
    let cipher = XChaCha20Poly1305::new(key.into());
    cipher.encrypt(&XNonce::from(*nonce), Opened { msg: plain, aad: header }).ok()
}

fn open(key: &[u8; 32], nonce: &[u8; NONCE], header: &[u8], sealed: &[u8]) -> Option<Vec<u8>> {
    let cipher = XChaCha20Poly1305::new(key.into());
    cipher.decrypt(&XNonce::from(*nonce), Opened { msg: sealed, aad: header }).ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn hex(text: &str) -> Vec<u8> {
        let pairs = text.as_bytes().chunks(2);
        pairs.map(|pair| u8::from_str_radix(std::str::from_utf8(pair).unwrap(), 16).unwrap()).collect()
    }

    /// draft-irtf-cfrg-xchacha-03, appendix A.3.1.
    #[test]
    fn sealing_gives_the_published_bytes() {
        let plain = b"Ladies and Gentlemen of the class of '99: If I could offer you only one tip for the \
                      future, sunscreen would be it.";
        let header = hex("50515253c0c1c2c3c4c5c6c7");
        let key: [u8; 32] = std::array::from_fn(|place| 0x80 + u8::try_from(place).unwrap());
        let nonce: [u8; NONCE] = std::array::from_fn(|place| 0x40 + u8::try_from(place).unwrap());
        let sealed = seal(&key, &nonce, &header, plain).unwrap();
        assert_eq!(sealed[..16], hex("bd6d179d3e83d43b9576579493c0e939")[..]);
        assert_eq!(sealed[sealed.len() - 16..], hex("c0875924c1c7987947deafd8780acf49")[..]);
        assert_eq!(open(&key, &nonce, &header, &sealed).unwrap(), plain);
        assert_eq!(open(&key, &nonce, &header[1..], &sealed), None);
    }

    #[test]
    fn a_key_is_received_by_whom_it_was_given_to_and_nobody_else() {
        let device = |number| DeviceSecret::from_seed(&[number; 32]);
        let key = OfficeKey::from_random([5; 32]);
        let given = key.give(device(2).public(), &device(9)).unwrap();
        assert_eq!(OfficeKey::receive(&given, &device(2)).unwrap().id(), key.id());
        assert!(OfficeKey::receive(&given, &device(3)).is_none());
        let passed_off = GivenKey { to: device(3).public(), ..given };
        assert!(OfficeKey::receive(&passed_off, &device(3)).is_none());
        let other_id = GivenKey { key: OfficeKey::from_random([6; 32]).id(), ..given };
        assert!(OfficeKey::receive(&other_id, &device(2)).is_none());
        // A key of small order, for which everybody would agree on the same.
        let mut weak = [0; 32];
        weak[0] = 1;
        assert!(key.give(DeviceKey(weak), &device(9)).is_none());
    }

    #[test]
    fn a_key_that_a_retired_device_may_hold_is_not_sealed_with() {
        let device = |number| DeviceSecret::from_seed(&[number; 32]).public();
        let key = OfficeKey::from_random([5; 32]);
        let once = DeviceSecret::from_seed(&[9; 32]);
        let to = |number| key.give(device(number), &once).unwrap();
        let maker = device(1);
        let given = OfficeKeysGiven { keys: vec![to(1), to(2)] };
        let holders = KeyHolders::of([(&maker, &given)]);
        let readers = |numbers: &[u8]| numbers.iter().map(|number| device(*number)).collect::<BTreeSet<_>>();
        assert!(holders.is_for(&key.id(), &readers(&[1, 2])));
        assert!(!holders.is_for(&key.id(), &readers(&[1])), "2 is retired and holds it");
        assert!(!holders.is_for(&key.id(), &readers(&[1, 2, 3])), "3 has not received it");
        assert_eq!(holders.lacking(&key.id(), &readers(&[1, 2, 3])).collect::<Vec<_>>(), [device(3)]);
        assert!(!holders.is_for(&OfficeKey::from_random([6; 32]).id(), &readers(&[1, 2])));
    }
}
