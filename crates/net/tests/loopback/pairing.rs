//! Pairing: one invite, one device, and a number for everything else.

use std::sync::Arc;

use ledger::Refusal;
use net::certificate::DeviceCertificate;
use net::config::{PAIRING_PROTOCOL, server_config};
use net::pairing::{Admission, Opening, PROOF_LABEL, Side, export_context, proof};
use net::{Endpoint, Invite, InviteId, InviteSecret, PeerError, Stay};
use quinn::Connection;

use crate::node::{LOOPBACK, Node, closed_with, connect, key, now_ms, secret, soon};

const HOUR_MS: i64 = 3_600_000;

async fn join(number: u8, invite: &Invite) -> Result<(Admission, String), PeerError> {
    let endpoint = Endpoint::bind(&secret(number), LOOPBACK).expect("a free port");
    let mut shown = String::new();
    let admission = soon(endpoint.join(invite, "Maren's phone", |words| shown = words.to_string())).await?;
    Ok((admission, shown))
}

fn dismissal<T: std::fmt::Debug>(joined: Result<T, PeerError>) -> Refusal {
    match joined {
        Err(PeerError::Dismissed(refusal)) => refusal,
        other => panic!("not refused by the inviter: {other:?}"),
    }
}

#[tokio::test]
async fn a_phone_pairs_and_then_receives_the_ledger() {
    let laptop = Arc::new(Node::founding());
    laptop.log(10);
    let (_endpoint, address) = laptop.serve();
    let invite = laptop.invite(address, now_ms() + HOUR_MS);
    let invite = Invite::from_code(&invite.code()).expect("the code that was shown");

    let (admission, words) = join(2, &invite).await.expect("to be admitted");
    assert_eq!((admission.crew, admission.person), (laptop.crew(), laptop.maren()));
    let joiner = laptop.joiners.lock().expect("the joiners").first().cloned().expect("a joiner");
    assert_eq!((joiner.device, joiner.name.as_str()), (key(2), "Maren's phone"));
    assert_eq!(joiner.words.to_string(), words);
    assert!(laptop.has_device(key(2)));

    let phone = Node { inviter: Some(key(1)), ..Node::empty(2, admission.crew) };
    let phone = Arc::new(phone);
    let endpoint = Endpoint::bind(&phone.secret, LOOPBACK).expect("a free port");
    let synced = endpoint.sync_with(key(1), &invite.addresses, Arc::clone(&phone), Stay::UntilSettled);
    soon(synced).await.expect("to settle");
    assert_eq!(phone.digest(), laptop.digest());
    assert!(phone.has_device(key(2)));
}

#[tokio::test]
async fn an_invite_is_used_once() {
    let laptop = Arc::new(Node::founding());
    let (_endpoint, address) = laptop.serve();
    let invite = laptop.invite(address, now_ms() + HOUR_MS);
    join(2, &invite).await.expect("to be admitted");
    assert_eq!(dismissal(join(3, &invite).await), Refusal::UsedInvite);
    assert!(laptop.has_device(key(2)) && !laptop.has_device(key(3)));
}

#[tokio::test]
async fn an_invite_expires_by_the_inviters_clock() {
    let laptop = Arc::new(Node::founding());
    let (_endpoint, address) = laptop.serve();
    let invite = laptop.invite(address, now_ms() - 1);
    // What the joiner believes of the expiry does not matter.
    let believed = Invite { expires_ms: i64::MAX, ..invite };
    assert_eq!(dismissal(join(2, &believed).await), Refusal::ExpiredInvite);
    assert!(!laptop.has_device(key(2)));
}

#[tokio::test]
async fn an_invite_of_nobody_is_refused() {
    let laptop = Arc::new(Node::founding());
    let (_endpoint, address) = laptop.serve();
    let invite = Invite { id: InviteId([8; 16]), ..laptop.invite(address, now_ms() + HOUR_MS) };
    assert_eq!(dismissal(join(2, &invite).await), Refusal::WrongInvite);
}

#[tokio::test]
async fn a_wrong_secret_is_refused_and_the_next_try_must_wait() {
    let laptop = Arc::new(Node::founding());
    let (_endpoint, address) = laptop.serve();
    let right = laptop.invite(address, now_ms() + HOUR_MS);
    let wrong = Invite { secret: InviteSecret([0; 16]), ..right.clone() };
    // Three in a row, each after its wait, so that the last wait outlasts the rest of this test.
    assert_eq!(dismissal(join(2, &wrong).await), Refusal::WrongProof);
    tokio::time::sleep(std::time::Duration::from_millis(1_050)).await;
    assert_eq!(dismissal(join(2, &wrong).await), Refusal::WrongProof);
    tokio::time::sleep(std::time::Duration::from_millis(2_050)).await;
    assert_eq!(dismissal(join(2, &wrong).await), Refusal::WrongProof);
    assert_eq!(dismissal(join(2, &right).await), Refusal::TooManyTries);
    assert!(!laptop.has_device(key(2)));
}

#[tokio::test]
async fn the_owner_can_decline_and_the_invite_is_gone() {
    let laptop = Arc::new(Node { declines: true, ..Node::founding() });
    let (_endpoint, address) = laptop.serve();
    let invite = laptop.invite(address, now_ms() + HOUR_MS);
    assert_eq!(dismissal(join(2, &invite).await), Refusal::Declined);
    assert_eq!(dismissal(join(2, &invite).await), Refusal::UsedInvite);
    assert!(!laptop.has_device(key(2)));
}

#[tokio::test]
async fn another_device_at_the_inviters_address_is_told_nothing() {
    let laptop = Arc::new(Node::founding());
    let (_endpoint, address) = laptop.serve();
    let invite = Invite { inviter: key(3), ..laptop.invite(address, now_ms() + HOUR_MS) };
    assert!(matches!(join(2, &invite).await, Err(PeerError::AnotherDevice)));
    assert!(!laptop.has_device(key(2)));
}

#[tokio::test]
async fn an_inviter_that_can_not_prove_the_secret_is_not_believed() {
    let certificate = DeviceCertificate::of(&secret(1)).expect("a certificate");
    let config = server_config(&certificate, net::Power::Mains).expect("a configuration");
    let server = quinn::Endpoint::server(config, LOOPBACK).expect("a free port");
    let address = server.local_addr().expect("an address");
    tokio::spawn(async move {
        let connection = server.accept().await.expect("a call").await.expect("a connection");
        let (mut send, _receive) = connection.accept_bi().await.expect("a stream");
        send.write_all(&[0; 32]).await.expect("to write");
        connection.closed().await
    });
    let invite = Node::founding().invite(address, now_ms() + HOUR_MS);
    let endpoint = Endpoint::bind(&secret(2), LOOPBACK).expect("a free port");
    let joined = soon(endpoint.join(&invite, "phone", |words| panic!("{words} were shown"))).await;
    assert!(matches!(joined, Err(PeerError::Refused(Refusal::WrongProof))), "{joined:?}");
}

fn opening_on(connection: &Connection, joiner: u8, invite: &Invite) -> Vec<u8> {
    let mut exported = [0; 32];
    let context = export_context(&invite.inviter, &key(joiner));
    connection.export_keying_material(&mut exported, PROOF_LABEL, &context).expect("keying material");
    let proof = proof(Side::Joiner, &invite.secret, &invite.id, &exported);
    Opening { id: invite.id, proof, name: "phone".to_owned() }.encode().expect("a name that fits")
}

/// Says this and ends the stream; gives the number that the inviter closes with.
async fn say(connection: &Connection, bytes: &[u8]) -> u64 {
    let (mut send, _receive) = connection.open_bi().await.expect("a stream");
    send.write_all(bytes).await.expect("to write");
    send.finish().expect("to end the stream");
    closed_with(connection).await
}

#[tokio::test]
async fn what_was_said_on_one_connection_proves_nothing_on_another() {
    let laptop = Arc::new(Node::founding());
    let (_endpoint, address) = laptop.serve();
    let invite = laptop.invite(address, now_ms() + HOUR_MS);
    let first = connect(2, (address, key(1)), PAIRING_PROTOCOL).await;
    let second = connect(2, (address, key(1)), PAIRING_PROTOCOL).await;
    let overheard = opening_on(&first, 2, &invite);
    assert_eq!(say(&second, &overheard).await, u64::from(Refusal::WrongProof.number()));
    assert!(!laptop.has_device(key(2)));
}

#[tokio::test]
async fn openings_of_the_wrong_length_are_refused_by_number() {
    let laptop = Arc::new(Node::founding());
    let (_endpoint, address) = laptop.serve();
    let invite = laptop.invite(address, now_ms() + HOUR_MS);
    let connection = connect(2, (address, key(1)), PAIRING_PROTOCOL).await;
    let opening = opening_on(&connection, 2, &invite);
    let cut = opening.get(..opening.len() - 1).expect("a shorter opening");
    assert_eq!(say(&connection, cut).await, u64::from(Refusal::Truncated.number()));
    let connection = connect(2, (address, key(1)), PAIRING_PROTOCOL).await;
    assert_eq!(say(&connection, &[0; 1_000]).await, u64::from(Refusal::FrameTooLarge.number()));
    assert!(!laptop.has_device(key(2)));
}
