//! Who meets whom, how often, and by how many connections; and what strangers cost.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use ledger::DeviceKey;
use net::certificate::DeviceCertificate;
use net::config::{SYNC_PROTOCOL, client_config};
use net::{Endpoint, PeerError, Power, Stay};
use tokio::time::{sleep, timeout};

use crate::node::{LOOPBACK, Node, key, secret, soon};

/// Three devices of one crew that all hold the roster, each with an endpoint that listens.
struct Crew {
    nodes: [Arc<Node>; 3],
    endpoints: [Endpoint; 3],
}

impl Crew {
    fn gather(powers: [Power; 3]) -> Self {
        let laptop = Node::founding();
        laptop.admit_device(key(2), "tobi-phone", laptop.maren());
        laptop.admit_device(key(3), "ines-phone", laptop.maren());
        let (tobi, ines) = (Node::copy_of(2, &laptop), Node::copy_of(3, &laptop));
        let nodes = [laptop, tobi, ines].map(Arc::new);
        let mut powers = powers.into_iter();
        let endpoints = nodes.each_ref().map(|node| {
            let endpoint = Endpoint::bind_on(&node.secret, LOOPBACK, powers.next().expect("three"));
            let endpoint = endpoint.expect("a free port");
            let (listening, held) = (endpoint.clone(), Arc::clone(node));
            tokio::spawn(async move { listening.listen(held).await });
            endpoint
        });
        Self { nodes, endpoints }
    }

    fn address(&self, place: usize) -> SocketAddr {
        self.endpoints[place].local_address().expect("an address")
    }

    fn peer(&self, place: usize) -> DeviceKey {
        self.endpoints[place].own_key()
    }

    /// Starts meeting, at these places beside those that are remembered.
    fn meet(&self, place: usize, places: &[SocketAddr]) {
        let (endpoint, node) = (self.endpoints[place].clone(), Arc::clone(&self.nodes[place]));
        let places = places.iter().map(ToString::to_string).collect();
        tokio::spawn(async move { endpoint.meet_crew(node, places).await });
    }

    async fn agree(&self) {
        soon(async {
            while self.nodes.iter().any(|node| node.digest() != self.nodes[0].digest()) {
                sleep(Duration::from_millis(20)).await;
            }
        })
        .await;
    }

    async fn until_connected(&self, place: usize, count: usize) {
        soon(async {
            while self.endpoints[place].connected().len() != count {
                sleep(Duration::from_millis(20)).await;
            }
        })
        .await;
    }
}

#[tokio::test]
async fn all_call_all_and_two_devices_keep_one_connection() {
    let crew = Crew::gather([Power::Mains; 3]);
    for caller in 0..3 {
        for other in (0..3).filter(|other| *other != caller) {
            crew.endpoints[caller].remember(crew.peer(other), crew.address(other));
        }
        // Each is named as a place, too, so that it is called twice over.
        let others: Vec<SocketAddr> =
            (0..3).filter(|other| *other != caller).map(|it| crew.address(it)).collect();
        crew.meet(caller, &others);
    }
    for place in 0..3 {
        crew.until_connected(place, 2).await;
    }
    // What was dialled beside them is closed, and nobody calls again.
    sleep(Duration::from_secs(6)).await;
    for place in 0..3 {
        assert_eq!(crew.endpoints[place].connected().len(), 2);
        assert_eq!(crew.endpoints[place].connections(), 2, "device {place}");
    }
    for (round, node) in crew.nodes.iter().enumerate() {
        node.log(round + 1);
        crew.agree().await;
    }
}

#[tokio::test]
async fn on_battery_they_settle_and_hang_up_and_news_brings_them_together() {
    let crew = Crew::gather([Power::Mains, Power::Battery, Power::Battery]);
    crew.nodes[1].log(3);
    crew.meet(1, &[crew.address(0)]);
    crew.nodes[0].until(|laptop| laptop.digest() == crew.nodes[1].digest()).await;
    crew.until_connected(0, 0).await;
    crew.until_connected(1, 0).await;
    // Nothing is said while there is nothing to say.
    let quiet = timeout(Duration::from_secs(3), crew.until_connected(0, 1)).await;
    assert!(quiet.is_err(), "a device on battery called without news");
    crew.nodes[1].log(1);
    crew.nodes[0].until(|laptop| laptop.digest() == crew.nodes[1].digest()).await;
    crew.until_connected(1, 0).await;
    // What was closed is kept for a moment, for what is still under way.
    soon(async {
        while crew.endpoints[1].connections() > 0 {
            sleep(Duration::from_millis(20)).await;
        }
    })
    .await;
}

#[tokio::test]
async fn a_device_that_is_let_in_while_others_run_is_met_by_them() {
    let crew = Crew::gather([Power::Mains; 3]);
    crew.meet(0, &[]);
    let fourth = {
        crew.nodes[0].admit_device(key(4), "site-tablet", crew.nodes[0].maren());
        Arc::new(Node::copy_of(4, &crew.nodes[0]))
    };
    let (_endpoint, address) = fourth.serve();
    crew.endpoints[0].remember(key(4), address);
    fourth.log(2);
    crew.nodes[0].until(|laptop| laptop.digest() == fourth.digest()).await;
    // And left alone once it is taken off.
    crew.nodes[0].retire_device(key(4));
    crew.until_connected(0, 0).await;
}

#[tokio::test]
async fn a_device_that_was_killed_is_missed_at_once_when_it_is_back() {
    let laptop = Node::founding();
    laptop.admit_device(key(2), "phone", laptop.maren());
    let phone = Arc::new(Node::copy_of(2, &laptop));
    let laptop = Arc::new(laptop);
    // The phone has a runtime of its own, which ends as a process that is killed does: nobody says goodbye.
    let other = tokio::runtime::Builder::new_multi_thread().worker_threads(1).enable_all().build();
    let other = other.expect("a runtime");
    let (serving, node) = (other.handle().clone(), Arc::clone(&phone));
    let (first, address) = serving.spawn(async move { node.serve() }).await.expect("an endpoint");
    let endpoint = Endpoint::bind(&laptop.secret, LOOPBACK).expect("a free port");
    let (dialling, holder) = (endpoint.clone(), Arc::clone(&laptop));
    tokio::spawn(async move { dialling.keep_in_touch(key(2), vec![address], holder).await });
    laptop.log(1);
    phone.until(|phone| phone.digest() == laptop.digest()).await;
    other.shutdown_background();
    drop(first);
    let again = loop {
        // The port is free once the last of the former endpoint is gone.
        match Endpoint::bind(&secret(2), address) {
            Ok(endpoint) => break endpoint,
            Err(_) => sleep(Duration::from_millis(20)).await,
        }
    };
    let (listening, held) = (again.clone(), Arc::clone(&phone));
    tokio::spawn(async move { listening.listen(held).await });
    // The laptop still believes in its connection, for half a minute if nobody tells it otherwise.
    assert_eq!(endpoint.connected(), [key(2)]);
    laptop.log(1);
    let told = timeout(Duration::from_secs(15), phone.until(|phone| phone.digest() == laptop.digest()));
    told.await.expect("to be told at the first packet, and to call again");
}

#[tokio::test]
async fn strangers_by_the_hundred_leave_room_for_the_crew() {
    let crew = Crew::gather([Power::Mains; 3]);
    let address = crew.address(0);
    let endpoint = quinn::Endpoint::client(LOOPBACK).expect("a free port");
    let mut strangers = Vec::new();
    for number in 100..=250 {
        let certificate = DeviceCertificate::of(&secret(number)).expect("a certificate");
        let config =
            client_config(&certificate, Some(key(1)), SYNC_PROTOCOL, Power::Mains).expect("a configuration");
        strangers.push(endpoint.connect_with(config, address, "fivebar").expect("an address"));
    }
    // They all hold on to what they get and say nothing more.
    let held = tokio::spawn(async move {
        let mut held = Vec::new();
        for stranger in strangers {
            if let Ok(Ok(connection)) = timeout(Duration::from_secs(10), stranger).await {
                held.push(connection);
            }
        }
        held
    });
    crew.nodes[1].log(5);
    let phone = Arc::clone(&crew.nodes[1]);
    let (mut met, places) = (Err(PeerError::NoAddress), [address]);
    for _ in 0..5 {
        let meeting = crew.endpoints[1].sync_with(key(1), &places, Arc::clone(&phone), Stay::UntilSettled);
        met = soon(meeting).await;
        if met.is_ok() {
            break;
        }
        sleep(Duration::from_secs(1)).await;
    }
    met.expect("to be let in among strangers");
    assert_eq!(crew.nodes[0].digest(), phone.digest());
    let held = soon(held).await.expect("the strangers' task");
    let open = crew.endpoints[0].connections();
    assert!(open <= 41, "{open} connections are open: 32 handshakes, 8 strangers and the phone at most");
    // Silence is not waited for: soon none of them is left.
    soon(async {
        for connection in &held {
            connection.closed().await;
        }
    })
    .await;
}
