//! How a device that was killed and is up again tells its peers: by answering the first packet that one of them
//! sends it on the old connection (a stateless reset, RFC 9000 section 10.3). Without it they would wait half a minute
//! for a connection that nobody has.
//!
//! What that takes follows from the device's secret, so that it is the same after a new start, and nobody else can
//! end a connection by it.

use std::sync::Arc;
use std::time::Duration;

use hmac::{Hmac, KeyInit as _, Mac as _};
use ledger::DeviceSecret;
use quinn::crypto::{CryptoError, HmacKey};
use quinn::{ConnectionId, ConnectionIdGenerator, EndpointConfig};
use sha2::Sha256;

/// What all connections of a device's endpoint have in common.
pub(crate) fn endpoint_config(secret: &DeviceSecret) -> EndpointConfig {
    let mut own = [0; 32];
    ResetKey(*secret.seed()).sign(b"fivebar reset key 1", &mut own);
    let mut config = EndpointConfig::new(Arc::new(ResetKey(own)));
    config.cid_generator(|| Box::new(RandomIds { count: 0 }));
    config
}

/// HMAC-SHA256 under this key.
struct ResetKey([u8; 32]);

impl ResetKey {
    fn mac(&self, data: &[u8]) -> Option<Hmac<Sha256>> {
        // HMAC takes a key of any length (RFC 2104), so there is always one.
        let mut mac = Hmac::<Sha256>::new_from_slice(&self.0).ok()?;
        mac.update(data);
        Some(mac)
    }
}

impl HmacKey for ResetKey {
    fn sign(&self, data: &[u8], signature_out: &mut [u8]) {
        if let Some(mac) = self.mac(data) {
            let signature = mac.finalize().into_bytes();
            signature_out.iter_mut().zip(signature).for_each(|(out, byte)| *out = byte);
        }
    }

    fn signature_len(&self) -> usize {
        32
    }

    fn verify(&self, data: &[u8], signature: &[u8]) -> Result<(), CryptoError> {
        self.mac(data).and_then(|mac| mac.verify_slice(signature).ok()).ok_or(CryptoError)
    }
}

/// Ids of eight random bytes. The usual ones carry a mark of the endpoint that made them, by which one that was
/// started anew would overlook its own.
struct RandomIds {
    count: u64,
}

impl ConnectionIdGenerator for RandomIds {
    fn generate_cid(&mut self) -> ConnectionId {
        self.count = self.count.wrapping_add(1);
        // Where the system has no randomness left the count still tells one from the other.
        let id = getrandom::u64().unwrap_or_default().wrapping_add(self.count);
        ConnectionId::new(&id.to_le_bytes())
    }

    fn cid_len(&self) -> usize {
        8
    }

    fn cid_lifetime(&self) -> Option<Duration> {
        None
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_signature_holds_for_its_bytes_and_its_device() {
        let key = ResetKey([1; 32]);
        let mut signature = [0; 32];
        key.sign(b"a connection", &mut signature);
        assert!(key.verify(b"a connection", &signature).is_ok());
        assert!(key.verify(b"another connection", &signature).is_err());
        assert!(ResetKey([2; 32]).verify(b"a connection", &signature).is_err());
        let mut ids = RandomIds { count: 0 };
        assert_ne!(ids.generate_cid(), ids.generate_cid());
    }
}
