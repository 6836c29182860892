//! A device's certificate: a wrapper around its Ed25519 key, because TLS asks for one.
//!
//! Nothing in it but the public key is ever looked at. It is made anew at each start, is never
//! written to disk, and says nothing about who the device belongs to.

use ledger::{DeviceKey, DeviceSecret};
use rustls::pki_types::{CertificateDer, PrivateKeyDer, PrivatePkcs8KeyDer};
use x509_parser::prelude::{FromDer, X509Certificate};

/// What stands before the 32 bytes of an Ed25519 key in PKCS #8: RFC 8410, section 7.
const PKCS8_BEFORE_SEED: [u8; 16] =
    [0x30, 0x2e, 0x02, 0x01, 0x00, 0x30, 0x05, 0x06, 0x03, 0x2b, 0x65, 0x70, 0x04, 0x22, 0x04, 0x20];

/// The object identifier of Ed25519: RFC 8410, section 3.
const ED25519: &str = "1.3.101.112";

/// A certificate could not be made from the device's key.
#[derive(Debug, thiserror::Error)]
#[error("no certificate could be made from the device's key: {0}")]
pub struct CertificateError(#[from] rcgen::Error);

/// A self-signed certificate of a device, and the key behind it.
#[derive(Debug)]
pub struct DeviceCertificate {
    /// The certificate.
    pub certificate: CertificateDer<'static>,
    /// The device's secret key in PKCS #8.
    pub key: PrivateKeyDer<'static>,
}

impl DeviceCertificate {
    /// Makes the certificate of a device.
    ///
    /// # Errors
    /// [`CertificateError`] if the library refuses the key, which no Ed25519 key gives it reason to.
    pub fn of(secret: &DeviceSecret) -> Result<Self, CertificateError> {
        let mut pkcs8 = PKCS8_BEFORE_SEED.to_vec();
        pkcs8.extend_from_slice(secret.seed().as_ref());
        let pkcs8 = PrivatePkcs8KeyDer::from(pkcs8);
        let key = rcgen::KeyPair::from_pkcs8_der_and_sign_algo(&pkcs8, &rcgen::PKCS_ED25519)?;
        let certificate = rcgen::CertificateParams::new(vec!["fivebar".to_owned()])?.self_signed(&key)?;
        Ok(Self { certificate: certificate.der().clone(), key: PrivateKeyDer::from(pkcs8) })
    }
}

/// The device key within a certificate. None if it is no certificate, or of no Ed25519 key.
#[must_use]
pub fn device_key(certificate: &CertificateDer<'_>) -> Option<DeviceKey> {
    let (rest, certificate) = X509Certificate::from_der(certificate).ok()?;
    let public_key = certificate.public_key();
    let is_ed25519 = public_key.algorithm.algorithm.to_id_string() == ED25519;
    let bytes = <[u8; 32]>::try_from(public_key.subject_public_key.data.as_ref()).ok()?;
    (rest.is_empty() && is_ed25519).then_some(DeviceKey(bytes))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_certificate_carries_the_device_key() {
        let secret = DeviceSecret::from_seed(&[7; 32]);
        let made = DeviceCertificate::of(&secret).expect("a certificate");
        assert_eq!(device_key(&made.certificate), Some(secret.public()));
    }

    #[test]
    fn what_is_no_ed25519_certificate_has_no_device_key() {
        let other = rcgen::generate_simple_self_signed(vec!["fivebar".to_owned()]).expect("a P-256 key");
        assert_eq!(device_key(other.cert.der()), None);
        assert_eq!(device_key(&CertificateDer::from(b"not a certificate".to_vec())), None);
        let made = DeviceCertificate::of(&DeviceSecret::from_seed(&[7; 32])).expect("a certificate");
        let mut longer = made.certificate.to_vec();
        longer.push(0);
        assert_eq!(device_key(&CertificateDer::from(longer)), None);
    }
}
