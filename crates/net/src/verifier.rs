//! What is asked of the other side's certificate: that the peer holds the key in it.
//!
//! The verifier proves possession and never more. Names and dates in the certificate are ignored,
//! and whether the key belongs to the crew is asked after the handshake, of the ledger. A caller
//! that knows whom it dials pins that key, so that nothing is said to anybody else.

use std::sync::Arc;

use ledger::DeviceKey;
use ledger::chain::verify_signature;
use rustls::SignatureScheme;
use rustls::client::danger::{HandshakeSignatureValid, ServerCertVerified, ServerCertVerifier};
use rustls::pki_types::{CertificateDer, ServerName, UnixTime};
use rustls::server::danger::{ClientCertVerified, ClientCertVerifier};
use rustls::{
    CertificateError, DigitallySignedStruct, DistinguishedName, Error, OtherError, PeerIncompatible,
};

use crate::certificate::device_key;

/// The peer that answered is not the one that was dialled.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("another device answers there: {found}, not {expected}")]
pub struct WrongKey {
    /// The key that was wanted.
    pub expected: DeviceKey,
    /// The key that the peer proves.
    pub found: DeviceKey,
}

/// Checks that a peer holds an Ed25519 key and, if one is pinned, that it is this one.
#[derive(Debug, Clone, Copy)]
pub struct PossessionVerifier {
    expected: Option<DeviceKey>,
}

impl PossessionVerifier {
    /// Takes any device's key.
    #[must_use]
    pub const fn of_any() -> Self {
        Self { expected: None }
    }

    /// Takes this device's key only.
    #[must_use]
    pub const fn of(expected: DeviceKey) -> Self {
        Self { expected: Some(expected) }
    }

    fn check_certificate(&self, certificate: &CertificateDer<'_>) -> Result<(), Error> {
        let found = device_key(certificate).ok_or(CertificateError::BadEncoding)?;
        match self.expected {
            Some(expected) if expected != found => {
                let wrong = OtherError(Arc::new(WrongKey { expected, found }));
                Err(CertificateError::Other(wrong).into())
            }
            Some(_) | None => Ok(()),
        }
    }
}

/// The message is made by TLS from the whole handshake, so a signature over it proves the key
/// here and now. It is checked as strictly as the heads of chains are.
fn check_signature(
    message: &[u8],
    certificate: &CertificateDer<'_>,
    signed: &DigitallySignedStruct,
) -> Result<HandshakeSignatureValid, Error> {
    let key = device_key(certificate).ok_or(CertificateError::BadEncoding)?;
    let signature = <&[u8; 64]>::try_from(signed.signature()).ok();
    let signature = signature.filter(|_| signed.scheme == SignatureScheme::ED25519);
    let proven = signature.is_some_and(|signature| verify_signature(&key, message, signature).is_ok());
    if proven { Ok(HandshakeSignatureValid::assertion()) } else { Err(CertificateError::BadSignature.into()) }
}

const ONLY_TLS_13: Error = Error::PeerIncompatible(PeerIncompatible::Tls13RequiredForQuic);

impl ServerCertVerifier for PossessionVerifier {
    fn verify_server_cert(
        &self,
        certificate: &CertificateDer<'_>,
        _intermediates: &[CertificateDer<'_>],
        _name: &ServerName<'_>,
        _ocsp: &[u8],
        _now: UnixTime,
    ) -> Result<ServerCertVerified, Error> {
        self.check_certificate(certificate).map(|()| ServerCertVerified::assertion())
    }

    fn verify_tls12_signature(
        &self,
        _message: &[u8],
        _certificate: &CertificateDer<'_>,
        _signed: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        Err(ONLY_TLS_13)
    }

    fn verify_tls13_signature(
        &self,
        message: &[u8],
        certificate: &CertificateDer<'_>,
        signed: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        check_signature(message, certificate, signed)
    }

    fn supported_verify_schemes(&self) -> Vec<SignatureScheme> {
        vec![SignatureScheme::ED25519]
    }
}

impl ClientCertVerifier for PossessionVerifier {
    fn root_hint_subjects(&self) -> &[DistinguishedName] {
        &[]
    }

    fn verify_client_cert(
        &self,
        certificate: &CertificateDer<'_>,
        _intermediates: &[CertificateDer<'_>],
        _now: UnixTime,
    ) -> Result<ClientCertVerified, Error> {
        self.check_certificate(certificate).map(|()| ClientCertVerified::assertion())
    }

    fn verify_tls12_signature(
        &self,
        _message: &[u8],
        _certificate: &CertificateDer<'_>,
        _signed: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        Err(ONLY_TLS_13)
    }

    fn verify_tls13_signature(
        &self,
        message: &[u8],
        certificate: &CertificateDer<'_>,
        signed: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        check_signature(message, certificate, signed)
    }

    fn supported_verify_schemes(&self) -> Vec<SignatureScheme> {
        vec![SignatureScheme::ED25519]
    }
}
