//! HTTPS within the house: the crew's own certificate authority, and the certificate that it gives this page.
//!
//! No public authority certifies an address like 192.168.1.20, and browsers give a page a service worker
//! and a camera over HTTPS only. So the crew has an authority of its own, which each phone is told to trust
//! once. It is held to the private address ranges and one local name by a critical constraint: whoever
//! steals its key can't pose as any site on the internet. The page's own certificate is made at each start
//! and again every month, and its key is never written down.
//!
//! The authority's key must outlive a restart. It is sealed with XChaCha20-Poly1305 under a key derived
//! from the device's secret: the file alone, in a backup or a picture of it, is of no use. Who can read the
//! whole data folder has the device's secret as well, and with it more than this key.

use std::net::IpAddr;
use std::path::Path;
use std::sync::{Arc, PoisonError, RwLock};

use chacha20poly1305::aead::{Aead as _, KeyInit as _, Payload};
use chacha20poly1305::{XChaCha20Poly1305, XNonce};
use daemon::NodeError;
use daemon::device::write_private;
use rcgen::{
    BasicConstraints, CertificateParams, CidrSubnet, DistinguishedName, DnType, ExtendedKeyUsagePurpose,
    GeneralSubtree, IsCa, Issuer, KeyPair, KeyUsagePurpose, NameConstraints, PKCS_ECDSA_P256_SHA256,
};
use rustls::pki_types::{CertificateDer, PrivatePkcs8KeyDer};
use rustls::server::{ClientHello, ResolvesServerCert};
use rustls::sign::CertifiedKey;
use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use trade::{Day, Moment};

/// The authority's file in the data folder.
const FILE: &str = "page-authority.json";
/// How long the authority is good for. Telling every phone anew to trust is work, so it is long.
const AUTHORITY_DAYS: i32 = 3650;
/// How long the page's own certificate is good for; browsers take at most 398 days from public ones.
const PAGE_DAYS: i32 = 90;
/// Clocks of phones differ, so a certificate is good from the day before.
const SLACK_DAYS: i32 = 1;

/// The ranges that are nobody's on the internet: RFC 1918, RFC 3927, loopback; RFC 4193, RFC 4291.
const PRIVATE_RANGES: [(&str, u8); 8] = [
    ("10.0.0.0", 8),
    ("172.16.0.0", 12),
    ("192.168.0.0", 16),
    ("169.254.0.0", 16),
    ("127.0.0.0", 8),
    ("fc00::", 7),
    ("fe80::", 10),
    ("::1", 128),
];

/// Whether an address is in one of the ranges that the authority is held to.
pub(crate) fn is_private(address: IpAddr) -> bool {
    match address {
        IpAddr::V4(v4) => v4.is_private() || v4.is_link_local() || v4.is_loopback(),
        IpAddr::V6(v6) => v6.is_unique_local() || v6.is_unicast_link_local() || v6.is_loopback(),
    }
}

/// The authority's file.
#[derive(Serialize, Deserialize)]
struct Kept {
    /// What it is called on the phone's list.
    name: String,
    /// The one local name that it may certify.
    local_name: String,
    certificate_hex: String,
    nonce_hex: String,
    sealed_key_hex: String,
}

/// The crew's authority.
pub(crate) struct Authority {
    name: String,
    local_name: String,
    certificate: CertificateDer<'static>,
    key: KeyPair,
}

fn fault(error: &dyn std::fmt::Display) -> NodeError {
    NodeError::Network(format!("no certificate for the page: {error}"))
}

impl Authority {
    /// Opens the authority of a data folder, or founds it for a local name. One that was founded for another
    /// name is put in the place of a new one; phones must then be told anew.
    ///
    /// # Errors
    /// The disk, or a file that is not of this device.
    pub(crate) fn open(
        folder: &Path,
        seed: &[u8; 32],
        crew: &str,
        local_name: &str,
    ) -> Result<Self, NodeError> {
        let path = folder.join(FILE);
        match std::fs::read(&path) {
            Ok(text) => {
                let kept: Kept = serde_json::from_slice(&text).map_err(|error| fault(&error))?;
                if kept.local_name == local_name {
                    return Self::unseal(kept, seed);
                }
            }
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => {}
            Err(error) => return Err(fault(&error)),
        }
        Self::found(&path, seed, crew, local_name)
    }

    fn found(path: &Path, seed: &[u8; 32], crew: &str, local_name: &str) -> Result<Self, NodeError> {
        let name = format!("{crew}, their own page (fivebar)");
        let key = KeyPair::generate_for(&PKCS_ECDSA_P256_SHA256).map_err(|error| fault(&error))?;
        let made = authority_params(&name, local_name, today()?).self_signed(&key);
        let certificate = made.map_err(|error| fault(&error))?.der().clone();
        let mut nonce = [0; 24];
        getrandom::fill(&mut nonce).map_err(|error| fault(&error))?;
        let secret = Payload { msg: key.serialized_der(), aad: &certificate };
        let sealed = sealer(seed).encrypt(&XNonce::from(nonce), secret).map_err(|error| fault(&error))?;
        let kept = Kept {
            name: name.clone(),
            local_name: local_name.to_owned(),
            certificate_hex: hex::encode(&certificate),
            nonce_hex: hex::encode(nonce),
            sealed_key_hex: hex::encode(&sealed),
        };
        write_private(path, &serde_json::to_vec_pretty(&kept).map_err(|error| fault(&error))?)?;
        Ok(Self { name, local_name: local_name.to_owned(), certificate, key })
    }

    fn unseal(kept: Kept, seed: &[u8; 32]) -> Result<Self, NodeError> {
        let opened = (|| {
            let certificate = CertificateDer::from(hex::decode(&kept.certificate_hex).ok()?);
            let nonce: [u8; 24] = hex::decode(&kept.nonce_hex).ok()?.try_into().ok()?;
            let sealed = hex::decode(&kept.sealed_key_hex).ok()?;
            let sealed = Payload { msg: &sealed, aad: &certificate };
            let key = sealer(seed).decrypt(&XNonce::from(nonce), sealed).ok()?;
            let key = PrivatePkcs8KeyDer::from(key);
            let key = KeyPair::from_pkcs8_der_and_sign_algo(&key, &PKCS_ECDSA_P256_SHA256).ok()?;
            Some((certificate, key))
        })();
        let (certificate, key) = opened.ok_or_else(|| {
            fault(&format!("{FILE} was made by another device or is damaged; take it away and start anew"))
        })?;
        Ok(Self { name: kept.name, local_name: kept.local_name, certificate, key })
    }

    /// The certificate that phones are told to trust, as DER.
    pub(crate) fn certificate(&self) -> &[u8] {
        &self.certificate
    }

    /// What it is called on a phone's list.
    pub(crate) fn name(&self) -> &str {
        &self.name
    }

    /// The one local name that it may certify.
    pub(crate) fn local_name(&self) -> &str {
        &self.local_name
    }

    /// SHA-256 of the certificate, in the pairs that phones show.
    pub(crate) fn fingerprint(&self) -> String {
        let digest = Sha256::digest(&self.certificate);
        digest.iter().map(|byte| format!("{byte:02X}")).collect::<Vec<_>>().join(":")
    }

    /// A certificate for the page, and the key that was made for it.
    fn certify(&self, addresses: &[IpAddr], today: Day) -> Result<CertifiedKey, NodeError> {
        let mut names: Vec<String> = addresses.iter().map(ToString::to_string).collect();
        names.push(self.local_name.clone());
        let key = KeyPair::generate_for(&PKCS_ECDSA_P256_SHA256).map_err(|error| fault(&error))?;
        let mut params = CertificateParams::new(names).map_err(|error| fault(&error))?;
        params.distinguished_name = named(&self.local_name);
        set_days(&mut params, today, PAGE_DAYS);
        params.key_usages = vec![KeyUsagePurpose::DigitalSignature];
        params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
        params.use_authority_key_identifier_extension = true;
        let issuer = Issuer::new(authority_params(&self.name, &self.local_name, today), &self.key);
        let made = params.signed_by(&key, &issuer).map_err(|error| fault(&error))?;
        let chain = vec![made.der().clone(), self.certificate.clone()];
        let secret = PrivatePkcs8KeyDer::from(key.serialize_der());
        let signer = rustls::crypto::ring::sign::any_ecdsa_type(&secret.into());
        Ok(CertifiedKey::new(chain, signer.map_err(|error| fault(&error))?))
    }
}

fn sealer(seed: &[u8; 32]) -> XChaCha20Poly1305 {
    XChaCha20Poly1305::new(&blake3::derive_key("fivebar page authority 1", seed).into())
}

fn named(name: &str) -> DistinguishedName {
    let mut distinguished = DistinguishedName::new();
    distinguished.push(DnType::CommonName, name);
    distinguished
}

fn authority_params(name: &str, local_name: &str, today: Day) -> CertificateParams {
    let ranges = PRIVATE_RANGES.iter().filter_map(|(address, prefix)| {
        address
            .parse()
            .ok()
            .map(|address| GeneralSubtree::IpAddress(CidrSubnet::from_addr_prefix(address, *prefix)))
    });
    let mut permitted_subtrees = vec![GeneralSubtree::DnsName(local_name.to_owned())];
    permitted_subtrees.extend(ranges);
    let mut params = CertificateParams::default();
    params.distinguished_name = named(name);
    params.is_ca = IsCa::Ca(BasicConstraints::Constrained(0));
    params.key_usages = vec![KeyUsagePurpose::KeyCertSign, KeyUsagePurpose::CrlSign];
    params.extended_key_usages = vec![ExtendedKeyUsagePurpose::ServerAuth];
    params.name_constraints = Some(NameConstraints { permitted_subtrees, excluded_subtrees: Vec::new() });
    set_days(&mut params, today, AUTHORITY_DAYS);
    params
}

/// Today by this machine's clock.
fn today() -> Result<Day, NodeError> {
    let since = std::time::SystemTime::now().duration_since(std::time::UNIX_EPOCH);
    let now_ms = since.ok().and_then(|since| i64::try_from(since.as_millis()).ok()).unwrap_or(0);
    Moment::in_zone(now_ms, "UTC").map(Moment::day).map_err(|error| fault(&error))
}

/// Sets from when to when a certificate is good.
fn set_days(params: &mut CertificateParams, today: Day, days: i32) {
    let midnight = |day: Day| {
        let date = day.date();
        let (month, day) = (u8::try_from(date.month()), u8::try_from(date.day()));
        rcgen::date_time_ymd(date.year().into(), month.unwrap_or(1), day.unwrap_or(1))
    };
    params.not_before = midnight(today.plus_days(-SLACK_DAYS));
    params.not_after = midnight(today.plus_days(days));
}

/// The certificate in use; it is replaced while connections go on.
#[derive(Debug)]
pub(crate) struct PageCertificate {
    current: RwLock<Arc<CertifiedKey>>,
}

impl PageCertificate {
    /// Makes the first one.
    pub(crate) fn new(authority: &Authority, addresses: &[IpAddr]) -> Result<Self, NodeError> {
        let first = authority.certify(addresses, today()?)?;
        Ok(Self { current: RwLock::new(Arc::new(first)) })
    }

    /// Replaces it, long before it ends.
    pub(crate) fn renew(&self, authority: &Authority, addresses: &[IpAddr]) -> Result<(), NodeError> {
        let next = Arc::new(authority.certify(addresses, today()?)?);
        *self.current.write().unwrap_or_else(PoisonError::into_inner) = next;
        Ok(())
    }
}

impl ResolvesServerCert for PageCertificate {
    fn resolve(&self, _: ClientHello<'_>) -> Option<Arc<CertifiedKey>> {
        Some(Arc::clone(&self.current.read().unwrap_or_else(PoisonError::into_inner)))
    }
}

/// What speaks TLS for the page.
pub(crate) fn acceptor(certificate: Arc<PageCertificate>) -> Result<tokio_rustls::TlsAcceptor, NodeError> {
    let ring = Arc::new(rustls::crypto::ring::default_provider());
    let builder = rustls::ServerConfig::builder_with_provider(ring)
        .with_safe_default_protocol_versions()
        .map_err(|error| fault(&error))?;
    let mut config = builder.with_no_client_auth().with_cert_resolver(certificate);
    config.alpn_protocols = vec![b"http/1.1".to_vec()];
    Ok(tokio_rustls::TlsAcceptor::from(Arc::new(config)))
}

#[cfg(test)]
mod tests {
    use rustls::RootCertStore;
    use rustls::client::WebPkiServerVerifier;
    use rustls::client::danger::ServerCertVerifier as _;
    use rustls::pki_types::{ServerName, UnixTime};

    use super::*;

    const NAME: &str = "fivebar.home.arpa";

    fn founded(folder: &Path) -> Authority {
        Authority::open(folder, &[7; 32], "Oake Rooms", NAME).expect("an authority")
    }

    /// Whether who trusts the authority's certificate takes what it certified for a name or an address.
    fn is_taken(authority: &Authority, addresses: &[IpAddr], name: &str) -> bool {
        let certified = authority.certify(addresses, today().expect("a clock")).expect("a certificate");
        let mut roots = RootCertStore::empty();
        roots.add(CertificateDer::from(authority.certificate().to_vec())).expect("a root");
        let ring = Arc::new(rustls::crypto::ring::default_provider());
        let verifier = WebPkiServerVerifier::builder_with_provider(roots.into(), ring).build();
        let name = ServerName::try_from(name.to_owned()).expect("a name");
        let verified = verifier.expect("a root").verify_server_cert(
            &certified.cert[0],
            &[],
            &name,
            &[],
            UnixTime::now(),
        );
        verified.is_ok()
    }

    #[test]
    fn the_authority_is_good_within_the_house_and_nowhere_else() {
        let folder = tempfile::tempdir().expect("a folder");
        let authority = founded(folder.path());
        let [inside, outside]: [IpAddr; 2] = [[192, 168, 1, 20].into(), [203, 0, 113, 5].into()];
        assert!(is_taken(&authority, &[inside], "192.168.1.20"));
        assert!(is_taken(&authority, &["fd00::5".parse().expect("an address")], "fd00::5"));
        assert!(is_taken(&authority, &[inside], NAME));
        assert!(!is_taken(&authority, &[inside], "192.168.1.21"));
        // Even with its key, nobody makes a certificate for another place that is taken.
        assert!(!is_taken(&authority, &[outside], "203.0.113.5"));
        let stolen = Authority { local_name: "bank.example".to_owned(), ..authority };
        assert!(!is_taken(&stolen, &[inside], "bank.example"));
    }

    #[test]
    fn the_authority_outlives_a_new_start_and_opens_for_its_device_only() {
        let folder = tempfile::tempdir().expect("a folder");
        let first = founded(folder.path());
        let again = founded(folder.path());
        assert_eq!(first.fingerprint(), again.fingerprint());
        assert!(is_taken(&again, &[[10, 0, 0, 1].into()], "10.0.0.1"));
        let text = std::fs::read_to_string(folder.path().join(FILE)).expect("the file");
        assert!(!text.contains(&hex::encode(first.key.serialized_der())));
        assert!(Authority::open(folder.path(), &[8; 32], "Oake Rooms", NAME).is_err());
        // Under another name it is another authority.
        let other =
            Authority::open(folder.path(), &[7; 32], "Oake Rooms", "jobs.home.arpa").expect("another");
        assert_ne!(other.fingerprint(), first.fingerprint());
    }
}
