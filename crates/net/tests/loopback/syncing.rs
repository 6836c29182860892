//! Sync over QUIC: two ledgers become one, and who has no business here is told its number.

use std::sync::Arc;
use std::time::Duration;

use ledger::Refusal;
use net::config::SYNC_PROTOCOL;
use net::{Endpoint, PeerError, Stay};

use crate::node::{LOOPBACK, Node, closed_with, connect, key, secret, soon};

/// A laptop and a phone of one crew that both hold the roster.
fn laptop_and_phone() -> (Arc<Node>, Arc<Node>) {
    let laptop = Node::founding();
    laptop.admit_device(key(2), "phone", laptop.maren());
    let phone = Node::copy_of(2, &laptop);
    (Arc::new(laptop), Arc::new(phone))
}

#[tokio::test]
async fn two_devices_that_logged_apart_come_to_hold_the_same() {
    let (laptop, phone) = laptop_and_phone();
    laptop.log(20_000);
    phone.log(15_000);
    let (_endpoint, address) = laptop.serve();
    let endpoint = Endpoint::bind(&phone.secret, LOOPBACK).expect("a free port");
    soon(endpoint.sync_with(key(1), &[address], Arc::clone(&phone), Stay::UntilSettled))
        .await
        .expect("to settle");
    assert_eq!(phone.digest(), laptop.digest());
    // Once more, with nothing to send.
    soon(endpoint.sync_with(key(1), &[address], Arc::clone(&phone), Stay::UntilSettled))
        .await
        .expect("to settle");
}

#[tokio::test]
async fn what_is_logged_while_connected_arrives_at_once() {
    let (laptop, phone) = laptop_and_phone();
    let (_endpoint, address) = laptop.serve();
    let endpoint = Endpoint::bind(&phone.secret, LOOPBACK).expect("a free port");
    let (dialling, holder) = (endpoint.clone(), Arc::clone(&phone));
    let touch = tokio::spawn(async move { dialling.keep_in_touch(key(1), vec![address], holder).await });
    for round in 1..=3 {
        laptop.log(round);
        phone.until(|phone| phone.digest() == laptop.digest()).await;
        phone.log(round);
        laptop.until(|laptop| laptop.digest() == phone.digest()).await;
    }
    // Both ways at once.
    laptop.log(10);
    phone.log(10);
    laptop.until(|laptop| laptop.digest() == phone.digest()).await;
    endpoint.close().await;
    soon(touch).await.expect("to stop with its endpoint");
}

#[tokio::test]
async fn a_peer_that_was_away_is_found_again() {
    let (laptop, phone) = laptop_and_phone();
    let (first, address) = laptop.serve();
    let endpoint = Endpoint::bind(&phone.secret, LOOPBACK).expect("a free port");
    let (dialling, holder) = (endpoint.clone(), Arc::clone(&phone));
    let touch = tokio::spawn(async move { dialling.keep_in_touch(key(1), vec![address], holder).await });
    laptop.log(1);
    phone.until(|phone| phone.digest() == laptop.digest()).await;
    first.close().await;
    drop(first);
    laptop.log(1);
    let again = loop {
        // The port is free once the last of the former endpoint is gone.
        match Endpoint::bind(&secret(1), address) {
            Ok(endpoint) => break endpoint,
            Err(_) => tokio::time::sleep(Duration::from_millis(20)).await,
        }
    };
    let (listening, node) = (again.clone(), Arc::clone(&laptop));
    tokio::spawn(async move { listening.listen(node).await });
    phone.until(|phone| phone.digest() == laptop.digest()).await;
    endpoint.close().await;
    soon(touch).await.expect("to stop with its endpoint");
}

#[tokio::test]
async fn a_stranger_is_told_so_and_gets_nothing() {
    let (laptop, _) = laptop_and_phone();
    let (_endpoint, address) = laptop.serve();
    let before = laptop.digest();
    let stranger = Arc::new(Node { inviter: Some(key(1)), ..Node::empty(3, laptop.crew()) });
    let endpoint = Endpoint::bind(&stranger.secret, LOOPBACK).expect("a free port");
    let ended = soon(endpoint.sync_with(key(1), &[address], Arc::clone(&stranger), Stay::Connected)).await;
    assert!(matches!(ended, Err(PeerError::Dismissed(Refusal::Stranger))), "{ended:?}");
    assert_eq!(laptop.digest(), before);
    assert_eq!(stranger.digest(), Node::empty(3, laptop.crew()).digest());

    let connection = connect(3, (address, key(1)), SYNC_PROTOCOL).await;
    let (mut send, _receive) = connection.open_bi().await.expect("a stream");
    send.write_all(&[1, 0]).await.expect("to write");
    assert_eq!(closed_with(&connection).await, u64::from(Refusal::Stranger.number()));
}

#[tokio::test]
async fn a_retired_device_is_told_so_and_gets_nothing() {
    let (laptop, phone) = laptop_and_phone();
    laptop.retire_device(key(2));
    phone.log(5);
    let (_endpoint, address) = laptop.serve();
    let (laptop_before, phone_before) = (laptop.digest(), phone.digest());
    let endpoint = Endpoint::bind(&phone.secret, LOOPBACK).expect("a free port");
    let ended = soon(endpoint.sync_with(key(1), &[address], Arc::clone(&phone), Stay::Connected)).await;
    assert!(matches!(ended, Err(PeerError::Dismissed(Refusal::Retired))), "{ended:?}");
    assert_eq!((laptop.digest(), phone.digest()), (laptop_before, phone_before));
}

/// Says this as the phone; gives the number that the laptop closes with.
async fn say(bytes: &[u8], ends: bool) -> u64 {
    let (laptop, _) = laptop_and_phone();
    let before = laptop.digest();
    let (_endpoint, address) = laptop.serve();
    let connection = connect(2, (address, key(1)), SYNC_PROTOCOL).await;
    let (mut send, _receive) = connection.open_bi().await.expect("a stream");
    send.write_all(bytes).await.expect("to write");
    if ends {
        send.finish().expect("to end the stream");
    }
    let number = closed_with(&connection).await;
    assert_eq!(laptop.digest(), before);
    number
}

#[tokio::test]
async fn a_frame_too_large_closes_the_connection_before_it_is_read() {
    assert_eq!(say(&[0x81, 0x80, 0x04], false).await, u64::from(Refusal::FrameTooLarge.number()));
}

#[tokio::test]
async fn a_stream_that_ends_inside_a_frame_closes_the_connection() {
    assert_eq!(say(&[100, 1], true).await, u64::from(Refusal::Truncated.number()));
}

#[tokio::test]
async fn a_frame_of_nonsense_closes_the_connection_with_a_reason() {
    let number = say(&[1, 255], false).await;
    let refusal = u16::try_from(number).ok().and_then(Refusal::from_number);
    assert!(refusal.is_some(), "{number}");
}

#[tokio::test]
async fn who_answers_no_address_is_an_error_with_what_to_do() {
    let (_, phone) = laptop_and_phone();
    let endpoint = Endpoint::bind(&phone.secret, LOOPBACK).expect("a free port");
    let ended = endpoint.sync_with(key(1), &[], Arc::clone(&phone), Stay::Connected).await;
    assert!(matches!(ended, Err(PeerError::NoAddress)), "{ended:?}");
}
