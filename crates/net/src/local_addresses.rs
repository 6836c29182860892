//! Under which addresses this machine is reached, and when that changes.

use std::collections::BTreeSet;
use std::net::{IpAddr, SocketAddr, UdpSocket};

/// Most addresses that are told to others; a code with them is still typed by hand.
const TOLD: usize = 4;

/// The addresses of this machine's networks, without loopback and without those that hold on one cable only. None
/// if the system does not say.
pub(crate) fn local_addresses() -> Option<BTreeSet<IpAddr>> {
    let interfaces = if_addrs::get_if_addrs()
        .inspect_err(|error| tracing::debug!(%error, "this machine's addresses are not known"));
    let interfaces = interfaces.ok()?.into_iter();
    let wide = interfaces.filter(|interface| !interface.is_loopback() && !interface.is_link_local());
    Some(wide.map(|interface| interface.ip()).collect())
}

/// Where a device that listens there is reached by others, the likeliest first: by every network it is on, if it
/// listens on all.
#[must_use]
pub fn reachable_at(listening: SocketAddr) -> Vec<SocketAddr> {
    if !listening.ip().is_unspecified() {
        return vec![listening];
    }
    let outward = outward();
    let mut addresses: Vec<IpAddr> = outward.into_iter().collect();
    let others = local_addresses().unwrap_or_default();
    addresses.extend(
        others
            .into_iter()
            .filter(|address| Some(*address) != outward && (address.is_ipv4() || listening.is_ipv6())),
    );
    addresses.truncate(TOLD);
    addresses.into_iter().map(|address| SocketAddr::new(address, listening.port())).collect()
}

/// The address that this machine has towards the rest of the world.
fn outward() -> Option<IpAddr> {
    // Connecting a UDP socket sends nothing; it only asks the system which way a packet would go.
    // The address is kept for documentation (RFC 5737), so that no real one is named.
    let socket = UdpSocket::bind("0.0.0.0:0").ok()?;
    socket.connect("192.0.2.1:9").ok()?;
    socket.local_addr().ok().map(|own| own.ip())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn who_listens_in_one_place_is_reached_there_alone() {
        let listening: SocketAddr = "127.0.0.1:5105".parse().unwrap();
        assert_eq!(reachable_at(listening), [listening]);
        let everywhere = reachable_at("[::]:5105".parse().unwrap());
        assert!(everywhere.len() <= TOLD);
        assert!(everywhere.iter().all(|address| address.port() == 5105 && !address.ip().is_loopback()));
        assert!(reachable_at("0.0.0.0:5105".parse().unwrap()).iter().all(SocketAddr::is_ipv4));
    }
}
