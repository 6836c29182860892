//! HTTPS in the house: the crew's own authority.

use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::sync::Arc;

use daemon::Role;
use rustls::pki_types::{CertificateDer, ServerName};
use rustls::{ClientConfig, ClientConnection, RootCertStore, StreamOwned};
use sha2::{Digest as _, Sha256};

use crate::world::{Answer, World, read_answer};

fn in_the_house() -> (World, u16) {
    // The port is taken from one that was free a moment ago.
    let free = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap();
    let world = World::with(|wishes| web::Wishes { lan: Some(free), ..wishes });
    (world, free.port())
}

fn authority_of(world: &World) -> CertificateDer<'static> {
    let kept = std::fs::read(world.folder.path().join("data/page-authority.json")).unwrap();
    let kept: serde_json::Value = serde_json::from_slice(&kept).unwrap();
    let hex = kept["certificate_hex"].as_str().unwrap().as_bytes();
    let byte = |pair: &[u8]| u8::from_str_radix(std::str::from_utf8(pair).unwrap(), 16).unwrap();
    CertificateDer::from(hex.chunks(2).map(byte).collect::<Vec<u8>>())
}

fn ask(authority: CertificateDer<'static>, port: u16, name: &str, request: &str) -> Result<Answer, String> {
    let mut roots = RootCertStore::empty();
    roots.add(authority).unwrap();
    let ring = Arc::new(rustls::crypto::ring::default_provider());
    let config = ClientConfig::builder_with_provider(ring).with_safe_default_protocol_versions().unwrap();
    let config = Arc::new(config.with_root_certificates(roots).with_no_client_auth());
    let name = ServerName::try_from(name.to_owned()).unwrap();
    let connection = ClientConnection::new(config, name).unwrap();
    let mut stream = StreamOwned::new(connection, TcpStream::connect(("127.0.0.1", port)).unwrap());
    stream.write_all(request.as_bytes()).map_err(|error| error.to_string())?;
    let mut bytes = Vec::new();
    let _ = stream.read_to_end(&mut bytes);
    Ok(read_answer(&bytes))
}

#[test]
fn a_phone_that_trusts_the_crew_s_authority_joins_without_a_warning() {
    let (world, port) = in_the_house();
    let authority = authority_of(&world);
    let host = format!("127.0.0.1:{port}");
    let link = world.link("Tobi Larch", Role::Hand);
    let request = format!(
        "POST /join/{link} HTTP/1.1\r\nhost: {host}\r\norigin: https://{host}\r\ncontent-length: 0\r\n\
         content-type: application/x-www-form-urlencoded\r\nconnection: close\r\n\r\n"
    );
    let joined = ask(authority.clone(), port, "127.0.0.1", &request).unwrap();
    assert_eq!(joined.status, 303, "{}", joined.text());
    let cookie = &joined.headers["set-cookie"];
    assert!(cookie.starts_with(&format!("__Host-fivebar-{port}=")) && cookie.contains("Secure"), "{cookie}");
    // By the local name as well, and by no other.
    let look = format!("GET /join HTTP/1.1\r\nhost: fivebar.home.arpa:{port}\r\nconnection: close\r\n\r\n");
    assert_eq!(ask(authority.clone(), port, "fivebar.home.arpa", &look).unwrap().status, 200);
    let other = ask(authority, port, "jobs.example", &look).unwrap_err();
    assert!(other.contains("certificate"), "{other}");
}

#[test]
fn the_terminal_and_the_page_show_the_fingerprint_of_what_is_given_out() {
    let (world, port) = in_the_house();
    let authority = authority_of(&world);
    let digest = Sha256::digest(&authority);
    let pairs: Vec<String> = digest.iter().map(|byte| format!("{byte:02X}")).collect();
    let fingerprint = pairs.join(":");
    assert!(world.said.join("\n").contains(&fingerprint), "{:?}", world.said);
    let get = |path: &str| {
        let request = format!("GET {path} HTTP/1.1\r\nhost: 127.0.0.1:{port}\r\nconnection: close\r\n\r\n");
        ask(authority.clone(), port, "127.0.0.1", &request).unwrap()
    };
    assert!(get("/trust").text().contains(&fingerprint));
    let given = get("/trust/authority.crt");
    assert_eq!(
        (given.headers["content-type"].as_str(), &given.body[..]),
        ("application/x-x509-ca-cert", &authority[..])
    );
    // Over plain HTTP to this machine there is nothing to trust.
    assert_eq!(world.stranger().get("/trust").status, 404);
}
