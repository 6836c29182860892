//! Both sides prove the key they are known by, and nothing is said to anybody else.

use std::sync::Arc;

use net::certificate::{DeviceCertificate, device_key};
use net::config::SYNC_PROTOCOL;
use net::endpoint::peer_key;
use net::verifier::PossessionVerifier;
use net::{Endpoint, PeerError, Stay};
use quinn::crypto::rustls::QuicClientConfig;
use rustls::client::ResolvesClientCert;
use rustls::sign::CertifiedKey;
use rustls::{ClientConfig, SignatureScheme};

use crate::node::{LOOPBACK, Node, connect, key, secret, soon};

#[tokio::test]
async fn each_side_learns_the_key_that_the_other_holds() {
    let laptop = Arc::new(Node::founding());
    let (_endpoint, address) = laptop.serve();
    let connection = connect(2, (address, key(1)), SYNC_PROTOCOL).await;
    // That the server learns the caller's key is seen where it admits it: in the pairing tests.
    assert_eq!(peer_key(&connection), Ok(key(1)));
}

#[tokio::test]
async fn another_device_than_the_one_dialled_is_told_nothing() {
    let laptop = Arc::new(Node::founding());
    let (_endpoint, address) = laptop.serve();
    let phone = Arc::new(Node::empty(2, laptop.crew()));
    let endpoint = Endpoint::bind(&phone.secret, LOOPBACK).expect("a free port");
    let ended = soon(endpoint.sync_with(key(3), &[address], phone, Stay::UntilSettled)).await;
    assert!(matches!(ended, Err(PeerError::AnotherDevice)), "{ended:?}");
}

/// Shows one certificate and signs with another key.
#[derive(Debug)]
struct Impostor(Arc<CertifiedKey>);

impl ResolvesClientCert for Impostor {
    fn resolve(&self, _hints: &[&[u8]], _schemes: &[SignatureScheme]) -> Option<Arc<CertifiedKey>> {
        Some(Arc::clone(&self.0))
    }

    fn has_certs(&self) -> bool {
        true
    }
}

/// Tries to be served with this way of showing a certificate; gives why it was not.
async fn call_with(resolver: Option<Impostor>) -> quinn::ConnectionError {
    let laptop = Arc::new(Node::founding());
    laptop.admit_device(key(2), "phone", laptop.maren());
    let (_endpoint, address) = laptop.serve();
    let provider = Arc::new(rustls::crypto::ring::default_provider());
    let builder = ClientConfig::builder_with_provider(provider)
        .with_protocol_versions(&[&rustls::version::TLS13])
        .expect("TLS 1.3")
        .dangerous()
        .with_custom_certificate_verifier(Arc::new(PossessionVerifier::of(key(1))));
    let mut tls = match resolver {
        Some(resolver) => builder.with_client_cert_resolver(Arc::new(resolver)),
        None => builder.with_no_client_auth(),
    };
    tls.alpn_protocols = vec![SYNC_PROTOCOL.to_vec()];
    let config = QuicClientConfig::try_from(tls).expect("a configuration");
    let config = quinn::ClientConfig::new(Arc::new(config));
    let endpoint = quinn::Endpoint::client(LOOPBACK).expect("a free port");
    match soon(endpoint.connect_with(config, address, "fivebar").expect("an address")).await {
        Ok(connection) => soon(connection.closed()).await,
        Err(error) => error,
    }
}

fn is_refused_by_tls(error: &quinn::ConnectionError) -> bool {
    matches!(error, quinn::ConnectionError::ConnectionClosed(close) if close.to_string().contains("crypt"))
}

#[tokio::test]
async fn who_shows_no_certificate_is_not_served() {
    let error = call_with(None).await;
    assert!(is_refused_by_tls(&error), "{error:?}");
}

#[tokio::test]
async fn who_shows_a_certificate_without_its_key_is_not_served() {
    let shown = DeviceCertificate::of(&secret(2)).expect("a certificate");
    let held = DeviceCertificate::of(&secret(3)).expect("a certificate");
    assert_eq!(device_key(&shown.certificate), Some(key(2)));
    let signer = rustls::crypto::ring::sign::any_supported_type(&held.key).expect("an Ed25519 key");
    let error = call_with(Some(Impostor(Arc::new(CertifiedKey::new(vec![shown.certificate], signer))))).await;
    assert!(is_refused_by_tls(&error), "{error:?}");
}

#[tokio::test]
async fn a_port_that_is_taken_is_named() {
    let first = Endpoint::bind(&secret(1), LOOPBACK).expect("a free port");
    let address = first.local_address().expect("an address");
    let second = Endpoint::bind(&secret(2), address).expect_err("the port is taken");
    assert!(second.to_string().contains(&address.to_string()), "{second}");
}
