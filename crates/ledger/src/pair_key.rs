//! What two devices know together and nobody else does, without a word between them.
//!
//! It tells the two from strangers where they hear of each other before they meet. It seals nothing and proves
//! nothing: who a device is, its key alone proves.

use zeroize::Zeroizing;

use crate::chain::{DeviceSecret, agree};
use crate::ids::DeviceKey;

/// A key that follows from two devices' keys. Wiped from memory when dropped; never printed.
pub struct PairKey(Zeroizing<[u8; 32]>);

impl PairKey {
    /// The key of two devices, the same from either side. None for a device key that is weak or no point of the
    /// curve: nobody can hold its secret half.
    #[must_use]
    pub fn between(own: &DeviceSecret, other: &DeviceKey) -> Option<Self> {
        let shared = agree(own, other)?;
        let public = own.public();
        let (first, second) = if public < *other { (&public, other) } else { (other, &public) };
        let material = Zeroizing::new([&shared[..], &first.0, &second.0].concat());
        Some(Self(Zeroizing::new(blake3::derive_key("fivebar pair key 1", &material))))
    }

    /// The key itself, for hashing.
    #[must_use]
    pub fn bytes(&self) -> &[u8; 32] {
        &self.0
    }
}

impl std::fmt::Debug for PairKey {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("PairKey")
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn two_devices_come_to_the_same_key_and_a_third_to_another() {
        let device = |number| DeviceSecret::from_seed(&[number; 32]);
        let between = |own: u8, other: u8| {
            let key = PairKey::between(&device(own), &device(other).public());
            *key.expect("a device's key is a point").bytes()
        };
        assert_eq!(between(1, 2), between(2, 1));
        assert_ne!(between(1, 2), between(1, 3));
        assert_ne!(between(1, 2), between(3, 2));
        assert!(PairKey::between(&device(1), &DeviceKey([0; 32])).is_none(), "a weak key");
    }
}
