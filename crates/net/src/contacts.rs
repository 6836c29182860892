//! The crew's other devices as this endpoint knows them: where each was reached, and who is connected now.
//!
//! Two devices have one connection. Where both dialled at once, both keep the same one of the two without a word:
//! that of the device with the lower key. Only devices that the caller takes for the crew's get in here, so what is
//! kept is bounded by the roster.

use std::collections::{BTreeMap, BTreeSet};
use std::net::{IpAddr, SocketAddr};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use ledger::DeviceKey;
use quinn::Connection;
use tokio::sync::{Notify, watch};

use crate::error::{PeerError, close_left, close_met};
use crate::socket::plain;

/// Most addresses that are kept of a device.
pub const MAX_ADDRESSES: usize = 8;
/// Most hints that are kept of a device.
const MAX_HINTS: usize = 4;
/// A hint that comes sooner after the one before it wakes nobody.
const HINT_PAUSE: Duration = Duration::from_secs(5);
/// What is alive says something within this time after it was asked.
const SIGN_OF_LIFE: Duration = Duration::from_secs(4);

#[derive(Debug, Default)]
struct Contact {
    /// Where it was reached, the likeliest first.
    addresses: Vec<SocketAddr>,
    /// Where it may be, as somebody said who may not tell the truth: they push out no address where it was.
    hints: Vec<SocketAddr>,
    meeting: Option<Meeting>,
    wake: Arc<Notify>,
    hinted: Option<Instant>,
    /// When the two settled last, whoever called.
    settled: Option<Instant>,
}

#[derive(Debug)]
struct Meeting {
    number: u64,
    /// Whether this side dialled.
    dialled: bool,
    connection: Connection,
}

#[derive(Debug, Default)]
struct Known {
    peers: BTreeMap<DeviceKey, Contact>,
    meetings: u64,
}

/// Where the others are, and who is connected.
#[derive(Debug)]
pub(crate) struct Contacts {
    own: DeviceKey,
    known: Mutex<Known>,
    changed: watch::Sender<()>,
}

/// A meeting that goes on. It ends when this is dropped.
#[derive(Debug)]
pub(crate) struct Met {
    contacts: Arc<Contacts>,
    peer: DeviceKey,
    number: u64,
    /// Both sides had what they came for, so nobody needs to be called again at once.
    pub(crate) settled: bool,
}

impl Contacts {
    pub(crate) fn new(own: DeviceKey) -> Self {
        Self { own, known: Mutex::default(), changed: watch::Sender::new(()) }
    }

    fn known(&self) -> MutexGuard<'_, Known> {
        self.known.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Notes where a device was reached: at a place that was dialled, or at one that it called from, which may be
    /// good for that one call only and so comes last.
    pub(crate) fn learn(&self, peer: DeviceKey, address: SocketAddr, dialled: bool) {
        let address = plain(address);
        let mut known = self.known();
        let contact = known.peers.entry(peer).or_default();
        let addresses = &mut contact.addresses;
        if dialled {
            addresses.retain(|other| *other != address);
            addresses.insert(0, address);
            addresses.truncate(MAX_ADDRESSES);
            contact.hints.retain(|other| *other != address);
        } else if !addresses.contains(&address) {
            addresses.truncate(MAX_ADDRESSES - 1);
            addresses.push(address);
        }
    }

    /// Takes a hint where a device may be, and has it tried soon. A hint costs a few packets at most, whoever
    /// gave it: the device's key is asked for at that address like at any other.
    pub(crate) fn hint(&self, peer: DeviceKey, hints: impl IntoIterator<Item = SocketAddr>, now: Instant) {
        let mut known = self.known();
        let contact = known.peers.entry(peer).or_default();
        for hint in hints.into_iter().map(plain).filter(|hint| !contact.addresses.contains(hint)) {
            contact.hints.retain(|other| *other != hint);
            contact.hints.insert(0, hint);
        }
        contact.hints.truncate(MAX_HINTS);
        let recently = contact.hinted.is_some_and(|hinted| now.duration_since(hinted) < HINT_PAUSE);
        if !recently && contact.meeting.is_none() {
            contact.hinted = Some(now);
            contact.wake.notify_one();
        }
    }

    /// Where a device may be reached, the likeliest first.
    pub(crate) fn addresses(&self, peer: &DeviceKey) -> Vec<SocketAddr> {
        let known = self.known();
        let Some(contact) = known.peers.get(peer) else { return Vec::new() };
        // A hint is of today.
        contact.hints.iter().chain(&contact.addresses).copied().collect()
    }

    /// Begins a meeting, or says that the two are connected already. A connection that is given up for this one is
    /// closed.
    pub(crate) fn begin(
        self: &Arc<Self>,
        peer: DeviceKey,
        connection: &Connection,
        dialled: bool,
    ) -> Result<Met, PeerError> {
        let mut known = self.known();
        known.meetings += 1;
        let number = known.meetings;
        let contact = known.peers.entry(peer).or_default();
        // The one that both sides keep: of the two directions, that of the lower key.
        let is_kept = |dialled: bool| dialled == (self.own < peer);
        if let Some(other) =
            contact.meeting.as_ref().filter(|other| other.connection.close_reason().is_none())
        {
            // A device that was started anew calls while its former connection still seems to live; of what this
            // side dialled twice, the first is as good.
            let replaces = if other.dialled == dialled { !dialled } else { is_kept(dialled) };
            if !replaces {
                drop(known);
                close_met(connection);
                return Err(PeerError::MetAlready);
            }
            close_met(&other.connection);
        }
        contact.meeting = Some(Meeting { number, dialled, connection: connection.clone() });
        drop(known);
        tracing::debug!(peer = %peer.short(), dialled, "met a device of the crew");
        self.changed.send_replace(());
        Ok(Met { contacts: Arc::clone(self), peer, number, settled: false })
    }

    /// Who is connected.
    pub(crate) fn met(&self) -> Vec<DeviceKey> {
        let known = self.known();
        let met = known.peers.iter().filter(|(_, contact)| contact.meeting.is_some());
        met.map(|(peer, _)| *peer).collect()
    }

    /// Whether the two settled within this time.
    pub(crate) fn settled_within(&self, peer: &DeviceKey, time: Duration) -> bool {
        let settled = self.known().peers.get(peer).and_then(|contact| contact.settled);
        settled.is_some_and(|settled| settled.elapsed() < time)
    }

    /// Waits until there is no connection with a device.
    pub(crate) async fn parted(&self, peer: &DeviceKey) {
        let mut changed = self.changed.subscribe();
        let is_met = || self.known().peers.get(peer).is_some_and(|contact| contact.meeting.is_some());
        while is_met() {
            // The sender is our own, so this can't fail while it is awaited.
            let _ = changed.changed().await;
        }
    }

    /// Waits until there is a reason to try a device now.
    pub(crate) async fn woken(&self, peer: &DeviceKey) {
        let wake = Arc::clone(&self.known().peers.entry(*peer).or_default().wake);
        wake.notified().await;
    }

    /// This machine is on other networks than before: what can't go on there ends, and everybody is tried anew.
    pub(crate) fn networks_changed(self: &Arc<Self>, now: &BTreeSet<IpAddr>) {
        let known = self.known();
        for meeting in known.peers.values().filter_map(|contact| contact.meeting.as_ref()) {
            let connection = meeting.connection.clone();
            if !meeting.dialled {
                // Who dialled sends to the address that it dialled, and to no other (RFC 9000 section 9).
                let own = connection.local_ip().map(|own| own.to_canonical());
                if own.is_some_and(|own| !own.is_loopback() && !now.contains(&own)) {
                    close_left(&connection);
                }
                continue;
            }
            // The path was asked just now. Where nothing comes back, it is gone.
            let heard = connection.stats().udp_rx.datagrams;
            tokio::spawn(async move {
                tokio::time::sleep(SIGN_OF_LIFE).await;
                if connection.stats().udp_rx.datagrams == heard {
                    close_left(&connection);
                }
            });
        }
        for contact in known.peers.values() {
            contact.wake.notify_one();
        }
    }
}

impl Drop for Met {
    fn drop(&mut self) {
        let mut known = self.contacts.known();
        let contact = known.peers.entry(self.peer).or_default();
        // Another connection may have taken its place.
        if contact.meeting.as_ref().is_some_and(|meeting| meeting.number == self.number) {
            contact.meeting = None;
            if self.settled {
                contact.settled = Some(Instant::now());
            } else {
                contact.wake.notify_one();
            }
        }
        drop(known);
        self.contacts.changed.send_replace(());
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn key(number: u8) -> DeviceKey {
        ledger::DeviceSecret::from_seed(&[number; 32]).public()
    }

    fn at(number: u16) -> SocketAddr {
        SocketAddr::from(([192, 0, 2, 1], number))
    }

    #[test]
    fn addresses_that_were_dialled_come_first_and_no_more_than_eight_are_kept() {
        let contacts = Contacts::new(key(1));
        contacts.learn(key(2), at(1), false);
        contacts.learn(key(2), at(2), true);
        contacts.learn(key(2), "[::ffff:192.0.2.1]:3".parse().unwrap(), false);
        assert_eq!(contacts.addresses(&key(2)), [at(2), at(1), at(3)]);
        contacts.learn(key(2), at(3), true);
        assert_eq!(contacts.addresses(&key(2)), [at(3), at(2), at(1)]);
        (10..30).for_each(|port| contacts.learn(key(2), at(port), false));
        let kept = contacts.addresses(&key(2));
        assert_eq!((kept.len(), kept[0], kept[7]), (MAX_ADDRESSES, at(3), at(29)));
        assert_eq!(contacts.addresses(&key(3)), []);
    }

    #[tokio::test]
    async fn a_hint_wakes_once_and_a_flood_of_them_does_no_more() {
        let contacts = Contacts::new(key(1));
        let (began, moment) = (Instant::now(), Duration::from_millis(50));
        let is_woken = async || tokio::time::timeout(moment, contacts.woken(&key(2))).await.is_ok();
        contacts.learn(key(2), at(1), true);
        contacts.hint(key(2), (10..30).map(at).chain([at(1)]), began);
        assert_eq!(contacts.addresses(&key(2)), [at(29), at(28), at(27), at(26), at(1)]);
        assert!(is_woken().await);
        contacts.hint(key(2), [at(40)], began + HINT_PAUSE / 2);
        assert!(!is_woken().await, "too soon");
        contacts.hint(key(2), [at(41)], began + HINT_PAUSE);
        assert!(is_woken().await);
        assert_eq!(contacts.addresses(&key(2)), [at(41), at(40), at(29), at(28), at(1)]);
        contacts.learn(key(2), at(40), true);
        assert_eq!(contacts.addresses(&key(2)), [at(41), at(29), at(28), at(40), at(1)]);
    }
}
