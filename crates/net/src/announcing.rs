//! Being found on the same network, by multicast DNS (RFC 6762, RFC 6763): a hint, and no more.
//!
//! What is announced names nobody (see `nearby`). What is heard is an address to try; who is there proves its key like
//! anywhere else. Without a network, or where multicast is not let through, nothing else is the worse for it.

use std::collections::BTreeMap;
use std::net::{IpAddr, SocketAddr};
use std::sync::Arc;
use std::time::Duration;

use ledger::DeviceSecret;
use mdns_sd::{IfKind, Receiver, ResolvedService, ServiceDaemon, ServiceEvent, ServiceInfo};
use tokio::sync::watch;
use tokio::time::{Instant, sleep, sleep_until};

use crate::endpoint::Endpoint;
use crate::holder::Holder;
use crate::nearby::{NONCE, Recognition, TAG, TAGS, unhex};

/// What the crews' devices are looked for by.
const SERVICE: &str = "_fivebar._udp.local.";
/// The name of the tags within an announcement.
const TAGS_KEY: &str = "t";
/// How long a random number is used.
const RENEWAL: Duration = Duration::from_secs(3_600);
/// How long nothing is tried after it went wrong.
const AFTER_FAILURE: Duration = Duration::from_secs(120);
/// How often the roster is looked at while much comes in.
const ROSTER_PAUSE: Duration = Duration::from_secs(2);

/// Why nothing is announced.
#[derive(Debug, thiserror::Error)]
enum Silent {
    #[error(transparent)]
    Multicast(#[from] mdns_sd::Error),
    #[error("the system gives no random bytes: {0}")]
    Random(#[from] getrandom::Error),
    #[error("this device's own address is not known: {0}")]
    Address(#[from] std::io::Error),
    #[error("the thread that announces ended")]
    Ended,
}

/// The thread that announces and listens. It says goodbye when this is dropped.
struct Announcer(ServiceDaemon);

impl Drop for Announcer {
    fn drop(&mut self) {
        // It may have ended by itself already.
        let _ = self.0.shutdown();
    }
}

impl Endpoint {
    /// Lets the crew's devices on the same networks find this one, and looks for them, until the endpoint is closed.
    /// A device that listens on loopback alone has nobody near.
    pub async fn be_found<H: Holder>(&self, secret: &DeviceSecret, holder: Arc<H>) {
        let mut was_said = false;
        while !self.local_address().is_ok_and(|listening| listening.ip().is_loopback()) {
            let ended = tokio::select! {
                () = self.stopped() => return,
                ended = self.announce_for_a_while(secret, &*holder) => ended,
            };
            if let Err(silent) = ended {
                if !std::mem::replace(&mut was_said, true) {
                    tracing::warn!("the crew's devices are not looked for on this network: {silent}");
                }
                tokio::select! {
                    () = self.stopped() => return,
                    () = sleep(AFTER_FAILURE) => {}
                }
            }
        }
    }

    /// Announces and listens until the random number is old or the crew is another.
    async fn announce_for_a_while<H: Holder>(&self, secret: &DeviceSecret, holder: &H) -> Result<(), Silent> {
        let crew = self.crew(holder);
        let recognition = Recognition::new(secret, &crew);
        let announcer = Announcer(ServiceDaemon::new()?);
        announcer.0.register(announcement(self.local_address()?, &recognition)?)?;
        let heard = announcer.0.browse(SERVICE)?;
        tokio::select! {
            () = sleep_until(Instant::now() + RENEWAL) => Ok(()),
            () = async {
                let mut changes: watch::Receiver<u64> = holder.changes();
                while self.crew(holder) == crew && changes.changed().await.is_ok() {
                    sleep(ROSTER_PAUSE).await;
                }
            } => Ok(()),
            silent = self.hear(&heard, &recognition) => Err(silent),
        }
    }

    async fn hear(&self, heard: &Receiver<ServiceEvent>, recognition: &Recognition) -> Silent {
        while let Ok(event) = heard.recv_async().await {
            let ServiceEvent::ServiceResolved(found) = event else { continue };
            let Some(nonce) = nonce_of(&found) else { continue };
            let tags = found.get_property_val_str(TAGS_KEY).unwrap_or_default();
            if let Some(peer) = recognition.recognise(&nonce, tags) {
                tracing::debug!(peer = %peer.short(), "a device of the crew says to be near");
                self.contacts.hint(peer, addresses_of(&found), std::time::Instant::now());
            }
        }
        Silent::Ended
    }
}

/// What this device announces: where it listens, and what the crew recognises it by.
fn announcement(listening: SocketAddr, recognition: &Recognition) -> Result<ServiceInfo, Silent> {
    let (mut nonce, mut filler) = ([0; NONCE], [[0; TAG]; TAGS]);
    getrandom::fill(&mut nonce)?;
    getrandom::fill(filler.as_flattened_mut())?;
    let name = hex::encode(nonce);
    let tags = BTreeMap::from([(TAGS_KEY, recognition.tags(&nonce, filler))]);
    let tags: Vec<(&str, &str)> = tags.iter().map(|(key, tags)| (*key, tags.as_str())).collect();
    let only: Vec<IpAddr> = Some(listening.ip()).filter(|ip| !ip.is_unspecified()).into_iter().collect();
    // The host is called like the announcement: its own name would name people.
    let info =
        ServiceInfo::new(SERVICE, &name, &format!("{name}.local."), &only[..], listening.port(), &tags[..])?;
    let mut info = if only.is_empty() { info.enable_addr_auto() } else { info };
    // Nobody else has a name of 128 random bits.
    info.set_requires_probe(false);
    if listening.is_ipv4() {
        info.set_interfaces(vec![IfKind::IPv4]);
    }
    Ok(info)
}

fn nonce_of(found: &ResolvedService) -> Option<[u8; NONCE]> {
    unhex(found.get_fullname().strip_suffix(SERVICE)?.strip_suffix('.')?)
}

/// Where it may be. An address that holds on one cable only would need that cable's name too.
fn addresses_of(found: &ResolvedService) -> Vec<SocketAddr> {
    let is_of_use = |address: &IpAddr| match address {
        IpAddr::V4(address) => {
            !(address.is_loopback()
                || address.is_unspecified()
                || address.is_multicast()
                || address.is_broadcast())
        }
        IpAddr::V6(address) => {
            !(address.is_loopback()
                || address.is_unspecified()
                || address.is_multicast()
                || address.is_unicast_link_local())
        }
    };
    let mut addresses: Vec<IpAddr> =
        found.get_addresses().iter().map(mdns_sd::ScopedIp::to_ip_addr).filter(is_of_use).collect();
    // They come as a set without an order.
    addresses.sort_unstable();
    addresses.into_iter().map(|address| SocketAddr::new(address, found.get_port())).collect()
}

#[cfg(test)]
mod tests {
    use ledger::DeviceKey;

    use super::*;

    #[test]
    fn an_announcement_names_nobody_and_is_understood_by_mates() {
        let secret = |number| DeviceSecret::from_seed(&[number; 32]);
        let peers: Vec<DeviceKey> = vec![secret(2).public()];
        let listening: SocketAddr = "192.0.2.1:5105".parse().unwrap();
        let info = announcement(listening, &Recognition::new(&secret(1), &peers)).unwrap();
        assert_eq!(info.get_hostname(), format!("{}.local.", info.get_fullname().split('.').next().unwrap()));
        let found = info.as_resolved_service();
        assert_eq!(found.get_properties().len(), 1);
        assert_eq!(addresses_of(&found), [listening]);
        let tags = found.get_property_val_str(TAGS_KEY).unwrap();
        let mate = Recognition::new(&secret(2), &[secret(1).public()]);
        let nonce = nonce_of(&found).unwrap();
        assert_eq!(mate.recognise(&nonce, tags), Some(secret(1).public()));
        let again = announcement(listening, &Recognition::new(&secret(1), &peers)).unwrap();
        assert_ne!(again.get_fullname(), found.get_fullname(), "another number each time");
    }
}
