//! The UDP socket behind an endpoint: one port, and both families of addresses where the system has both.

use std::io;
use std::net::{Ipv4Addr, SocketAddr, UdpSocket};

use socket2::{Domain, Protocol, Socket, Type};

/// Opens a port. The IPv6 address of "anywhere" takes IPv4 too, on every system; where there is no IPv6, it is IPv4
/// alone.
pub(crate) fn open(address: SocketAddr) -> io::Result<UdpSocket> {
    if !(address.is_ipv6() && address.ip().is_unspecified()) {
        return UdpSocket::bind(address);
    }
    let both = || -> io::Result<UdpSocket> {
        let socket = Socket::new(Domain::IPV6, Type::DGRAM, Some(Protocol::UDP))?;
        // What a system does by itself differs: Linux takes both, Windows does not.
        socket.set_only_v6(false)?;
        socket.bind(&address.into())?;
        Ok(UdpSocket::from(socket))
    };
    match both() {
        Err(error) if error.kind() == io::ErrorKind::AddrInUse => Err(error),
        Err(error) => {
            tracing::info!("without IPv6: {error}");
            UdpSocket::bind((Ipv4Addr::UNSPECIFIED, address.port()))
        }
        Ok(socket) => Ok(socket),
    }
}

/// An address as people write it: an IPv4 address that came over a socket for both families is one of IPv4.
pub(crate) fn plain(address: SocketAddr) -> SocketAddr {
    SocketAddr::new(address.ip().to_canonical(), address.port())
}
