//! Chains, their anchors and their signed heads.
//!
//! Heads are signed, not events: one signature proves the whole chain below it.

use ed25519_dalek::{Signer, SigningKey, VerifyingKey};
use serde::{Deserialize, Serialize};
use zeroize::Zeroizing;

use crate::ids::{ChainId, CrewId, DeviceKey, EventHash};
use crate::refusal::Refusal;

/// Who a chain is written for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Audience {
    /// The whole crew.
    Crew,
    /// The office.
    Office,
}

impl Audience {
    const fn byte(self) -> u8 {
        match self {
            Self::Crew => 0,
            Self::Office => 1,
        }
    }
}

/// What must be known of a chain before its first event can be checked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ChainStart {
    /// The chain.
    pub chain: ChainId,
    /// The device that writes it.
    pub device: DeviceKey,
    /// Who it is written for.
    pub audience: Audience,
}

impl ChainStart {
    /// Bytes on disk and wire.
    pub const WIDTH: usize = 49;

    /// Chain id, device key, audience.
    #[must_use]
    pub fn encode(&self) -> [u8; Self::WIDTH] {
        let mut bytes = [0; Self::WIDTH];
        bytes[..16].copy_from_slice(&self.chain.0);
        bytes[16..48].copy_from_slice(&self.device.0);
        bytes[48] = self.audience.byte();
        bytes
    }

    /// Reads what [`ChainStart::encode`] writes.
    ///
    /// # Errors
    /// [`Refusal::MalformedEnvelope`].
    pub fn decode(bytes: &[u8]) -> Result<Self, Refusal> {
        let bytes: &[u8; Self::WIDTH] = bytes.try_into().map_err(|_| Refusal::MalformedEnvelope)?;
        let (mut chain, mut device) = ([0; 16], [0; 32]);
        chain.copy_from_slice(&bytes[..16]);
        device.copy_from_slice(&bytes[16..48]);
        let audience = match bytes[48] {
            0 => Audience::Crew,
            1 => Audience::Office,
            _ => return Err(Refusal::MalformedEnvelope),
        };
        Ok(Self { chain: ChainId(chain), device: DeviceKey(device), audience })
    }

    /// What the first event names as the one before it. The founding chain has no crew id yet, and
    /// uses noughts.
    #[must_use]
    pub fn anchor(&self, crew: &CrewId) -> EventHash {
        let mut hasher = blake3::Hasher::new_derive_key("fivebar chain 1");
        hasher.update(&crew.0);
        hasher.update(&self.device.0);
        hasher.update(&self.chain.0);
        hasher.update(&[self.audience.byte()]);
        EventHash(*hasher.finalize().as_bytes())
    }

    /// The tip of the chain before its first event.
    #[must_use]
    pub fn tip(&self, crew: &CrewId) -> Tip {
        Tip { next_seq: 0, hash: self.anchor(crew), made_at: i64::MIN }
    }
}

/// How far a chain reaches.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Tip {
    /// The sequence number that the next event will have: how many events there are.
    pub next_seq: u64,
    /// The hash of the last event, or the anchor.
    pub hash: EventHash,
    /// When the last event was made, in milliseconds since 1970.
    pub made_at: i64,
}

/// What the signature under a head covers: the chain up to and including one event.
#[must_use]
pub fn head_bytes(crew: &CrewId, chain: &ChainId, seq: u64, hash: &EventHash) -> Vec<u8> {
    let mut bytes = b"fivebar head 1".to_vec();
    bytes.extend_from_slice(&crew.0);
    bytes.extend_from_slice(&chain.0);
    bytes.extend_from_slice(&seq.to_le_bytes());
    bytes.extend_from_slice(&hash.0);
    bytes
}

/// Checks an Ed25519 signature strictly: no weak keys, no second form of the same signature.
///
/// # Errors
/// [`Refusal::BadSignature`].
pub fn verify_signature(device: &DeviceKey, bytes: &[u8], signature: &[u8; 64]) -> Result<(), Refusal> {
    let key = VerifyingKey::from_bytes(&device.0).map_err(|_| Refusal::BadSignature)?;
    let signature = ed25519_dalek::Signature::from_bytes(signature);
    key.verify_strict(bytes, &signature).map_err(|_| Refusal::BadSignature)
}

/// What two key pairs agree on: X25519 (RFC 7748) between the points that belong to their Ed25519 keys. Each side
/// comes to the same from its secret and the other's public half. None for a key that is weak or no point.
pub(crate) fn agree(secret: &DeviceSecret, other: &DeviceKey) -> Option<Zeroizing<[u8; 32]>> {
    let other = VerifyingKey::from_bytes(&other.0).ok().filter(|key| !key.is_weak())?;
    let scalar = Zeroizing::new(secret.0.to_scalar_bytes());
    Some(Zeroizing::new(other.to_montgomery().mul_clamped(*scalar).to_bytes()))
}

/// A device's secret key. Wiped from memory when dropped; never printed.
pub struct DeviceSecret(SigningKey);

impl DeviceSecret {
    /// The key from 32 random bytes.
    #[must_use]
    pub fn from_seed(seed: &[u8; 32]) -> Self {
        Self(SigningKey::from_bytes(seed))
    }

    /// The 32 bytes it was made from, to be kept in the device's own folder.
    #[must_use]
    pub fn seed(&self) -> Zeroizing<[u8; 32]> {
        Zeroizing::new(self.0.to_bytes())
    }

    /// The public half.
    #[must_use]
    pub fn public(&self) -> DeviceKey {
        DeviceKey(self.0.verifying_key().to_bytes())
    }

    /// Signs bytes.
    #[must_use]
    pub fn sign(&self, bytes: &[u8]) -> [u8; 64] {
        self.0.sign(bytes).to_bytes()
    }
}

impl std::fmt::Debug for DeviceSecret {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "DeviceSecret of {:?}", self.public())
    }
}
