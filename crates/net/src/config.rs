//! How connections are set up: TLS 1.3 with both sides' keys, and bounded windows.
//!
//! Session tickets, resumption and 0-RTT are off: a resumed session skips the verifier, so a
//! retired device could return by it.

use std::sync::Arc;

use ledger::DeviceKey;
use quinn::crypto::rustls::{NoInitialCipherSuite, QuicClientConfig, QuicServerConfig};
use quinn::{IdleTimeout, TransportConfig, VarInt};
use rustls::client::Resumption;
use rustls::crypto::CryptoProvider;
use rustls::server::NoServerSessionStorage;

use crate::certificate::{CertificateError, DeviceCertificate};
use crate::power::Power;
use crate::verifier::PossessionVerifier;

/// The protocol of devices that are of one crew.
pub const SYNC_PROTOCOL: &[u8] = b"fivebar/1";
/// The protocol of a device that asks to join. Nothing else is served under it.
pub const PAIRING_PROTOCOL: &[u8] = b"fivebar-pair/1";
/// The protocol of a device that proves to hold the crew's recovery words, and is then served as one of the crew.
pub const RETURNING_PROTOCOL: &[u8] = b"fivebar-return/1";

/// Most bytes that a peer may have under way to us on all streams.
const CONNECTION_WINDOW: u32 = 16 * 1024 * 1024;
/// Most bytes that a peer may have under way to us on one stream.
const STREAM_WINDOW: u32 = 8 * 1024 * 1024;
/// Silence after which a peer counts as gone, in milliseconds.
const IDLE_MS: u32 = 30_000;
/// Most knocks that wait to be looked at; the gate lets in fewer.
const KNOCKS: usize = 64;
/// Most bytes that are kept of one that waits, and of all: no more than a handshake begins with, as there is no
/// 0-RTT.
const KNOCK_BYTES: u64 = 16 * 1024;
const KNOCKS_BYTES: u64 = 256 * 1024;

/// Connections could not be set up.
#[derive(Debug, thiserror::Error)]
pub enum ConfigError {
    /// No certificate.
    #[error(transparent)]
    Certificate(#[from] CertificateError),
    /// The TLS library refuses the settings.
    #[error("TLS could not be set up: {0}")]
    Tls(#[from] rustls::Error),
    /// The TLS library lacks a cipher that QUIC can't do without.
    #[error("TLS could not be set up for QUIC: {0}")]
    Cipher(#[from] NoInitialCipherSuite),
}

fn provider() -> Arc<CryptoProvider> {
    Arc::new(rustls::crypto::ring::default_provider())
}

/// Takes any device's key, under any of the protocols.
///
/// # Errors
/// [`ConfigError`] if the TLS library refuses the settings.
pub fn server_config(
    certificate: &DeviceCertificate,
    power: Power,
) -> Result<quinn::ServerConfig, ConfigError> {
    let mut tls = rustls::ServerConfig::builder_with_provider(provider())
        .with_protocol_versions(&[&rustls::version::TLS13])?
        .with_client_cert_verifier(Arc::new(PossessionVerifier::of_any()))
        .with_single_cert(vec![certificate.certificate.clone()], certificate.key.clone_key())?;
    tls.alpn_protocols = vec![SYNC_PROTOCOL.to_vec(), PAIRING_PROTOCOL.to_vec(), RETURNING_PROTOCOL.to_vec()];
    tls.send_tls13_tickets = 0;
    tls.session_storage = Arc::new(NoServerSessionStorage {});
    tls.max_early_data_size = 0;
    let mut config = quinn::ServerConfig::with_crypto(Arc::new(QuicServerConfig::try_from(tls)?));
    config
        .transport_config(Arc::new(transport_config(power)))
        .max_incoming(KNOCKS)
        .incoming_buffer_size(KNOCK_BYTES)
        .incoming_buffer_size_total(KNOCKS_BYTES);
    Ok(config)
}

/// Takes the key of one device, or of any where none is known, under one protocol.
///
/// # Errors
/// [`ConfigError`] if the TLS library refuses the settings.
pub fn client_config(
    certificate: &DeviceCertificate,
    peer: Option<DeviceKey>,
    protocol: &[u8],
    power: Power,
) -> Result<quinn::ClientConfig, ConfigError> {
    let mut tls = rustls::ClientConfig::builder_with_provider(provider())
        .with_protocol_versions(&[&rustls::version::TLS13])?
        .dangerous()
        .with_custom_certificate_verifier(Arc::new(
            peer.map_or_else(PossessionVerifier::of_any, PossessionVerifier::of),
        ))
        .with_client_auth_cert(vec![certificate.certificate.clone()], certificate.key.clone_key())?;
    tls.alpn_protocols = vec![protocol.to_vec()];
    tls.resumption = Resumption::disabled();
    tls.enable_early_data = false;
    // The name would be the same everywhere and tells an eavesdropper only what runs here.
    tls.enable_sni = false;
    let mut config = quinn::ClientConfig::new(Arc::new(QuicClientConfig::try_from(tls)?));
    config.transport_config(Arc::new(transport_config(power)));
    Ok(config)
}

fn transport_config(power: Power) -> TransportConfig {
    let mut transport = TransportConfig::default();
    transport
        .max_idle_timeout(Some(IdleTimeout::from(VarInt::from_u32(IDLE_MS))))
        .keep_alive_interval(power.keep_alive())
        .receive_window(VarInt::from_u32(CONNECTION_WINDOW))
        .stream_receive_window(VarInt::from_u32(STREAM_WINDOW))
        .send_window(u64::from(CONNECTION_WINDOW))
        .max_concurrent_bidi_streams(VarInt::from_u32(4))
        .max_concurrent_uni_streams(VarInt::from_u32(0))
        .datagram_receive_buffer_size(None)
        // Some Android kernels take the call and lose the packets.
        .enable_segmentation_offload(!cfg!(target_os = "android"));
    transport
}
