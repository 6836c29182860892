//! A device's place on the network: one UDP port for all peers, dialled and answered.

use std::collections::BTreeSet;
use std::net::{IpAddr, SocketAddr, UdpSocket};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use ledger::{DeviceKey, DeviceSecret, Refusal};
use quinn::{Connection, RecvStream, SendStream};
use rustls::pki_types::CertificateDer;
use sync::Session;
use tokio::sync::watch;
use tokio::task::JoinSet;
use tokio::time::{sleep, timeout};

use crate::certificate::{DeviceCertificate, device_key};
use crate::config::{ConfigError, SYNC_PROTOCOL, client_config, server_config};
use crate::contacts::Contacts;
use crate::driver::{Stay, drive};
use crate::error::{PeerError, stopping};
use crate::holder::Holder;
use crate::pairing::Tries;
use crate::power::Power;
use crate::resets::endpoint_config;
use crate::socket::{self, plain};

/// How long a peer may take to prove its key, and then to say its first word.
pub(crate) const PATIENCE: Duration = Duration::from_secs(5);
/// Of several addresses the next is tried beside the ones before after this time (RFC 8305 proposes 250 ms).
const STAGGER: Duration = Duration::from_millis(250);

/// The endpoint could not be opened.
#[derive(Debug, thiserror::Error)]
pub enum BindError {
    /// The port can't be had.
    #[error("the network address {address} can't be used: {cause}; is fivebar running already?")]
    Port {
        /// The address that was wanted.
        address: SocketAddr,
        /// What the system says.
        cause: std::io::Error,
    },
    /// Connections can't be set up.
    #[error(transparent)]
    Config(#[from] ConfigError),
}

/// A device's UDP port, ready to dial and to answer. Clones share the port.
#[derive(Debug, Clone)]
pub struct Endpoint {
    pub(crate) quinn: quinn::Endpoint,
    pub(crate) own: DeviceKey,
    pub(crate) power: Power,
    pub(crate) contacts: Arc<Contacts>,
    certificate: Arc<DeviceCertificate>,
    pub(crate) tries: Arc<Mutex<Tries>>,
    pub(crate) opened: Instant,
    /// The same port once more, to hand it over to the connections when the networks under it change.
    socket: Arc<UdpSocket>,
    stopping: watch::Sender<bool>,
    /// Moves on when this machine is on other networks.
    moved: watch::Sender<()>,
}

impl Endpoint {
    /// Opens the port, for a device on mains. Must be called within a tokio runtime. Port 0 takes any that is free.
    ///
    /// # Errors
    /// [`BindError`].
    pub fn bind(secret: &DeviceSecret, address: SocketAddr) -> Result<Self, BindError> {
        Self::bind_on(secret, address, Power::Mains)
    }

    /// As [`Endpoint::bind`], for what the device lives on.
    ///
    /// # Errors
    /// [`BindError`].
    pub fn bind_on(secret: &DeviceSecret, address: SocketAddr, power: Power) -> Result<Self, BindError> {
        let certificate = DeviceCertificate::of(secret).map_err(ConfigError::from)?;
        let config = server_config(&certificate, power)?;
        let opened = socket::open(address).and_then(|socket| {
            let again = socket.try_clone()?;
            let runtime = Arc::new(quinn::TokioRuntime);
            let quinn = quinn::Endpoint::new(endpoint_config(secret), Some(config), socket, runtime)?;
            Ok((quinn, again))
        });
        let (quinn, socket) = opened.map_err(|cause| BindError::Port { address, cause })?;
        Ok(Self {
            quinn,
            own: secret.public(),
            power,
            contacts: Arc::new(Contacts::new(secret.public())),
            certificate: Arc::new(certificate),
            tries: Arc::default(),
            opened: Instant::now(),
            socket: Arc::new(socket),
            stopping: watch::Sender::new(false),
            moved: watch::Sender::new(()),
        })
    }

    /// The address that was opened.
    ///
    /// # Errors
    /// What the system says.
    pub fn local_address(&self) -> std::io::Result<SocketAddr> {
        self.quinn.local_addr()
    }

    /// This device's key.
    #[must_use]
    pub const fn own_key(&self) -> DeviceKey {
        self.own
    }

    /// Notes where a device was reached on an earlier day.
    pub fn remember(&self, peer: DeviceKey, address: SocketAddr) {
        self.contacts.learn(peer, address, false);
    }

    /// The devices that are connected now.
    #[must_use]
    pub fn connected(&self) -> Vec<DeviceKey> {
        self.contacts.met()
    }

    /// How many connections there are, with those of strangers and those that are about to end.
    #[must_use]
    pub fn connections(&self) -> usize {
        self.quinn.open_connections()
    }

    /// Goes on under other addresses of this machine: connections that this side dialled are moved (RFC 9000
    /// section 9), those that can't be are given up, and everybody who is not connected is tried again.
    pub(crate) fn move_to(&self, addresses: &BTreeSet<IpAddr>) {
        let moved = self.socket.try_clone().and_then(|socket| self.quinn.rebind(socket));
        if let Err(error) = moved {
            tracing::warn!(%error, "the connections could not be moved to the other network");
        }
        self.contacts.networks_changed(addresses);
        self.moved.send_replace(());
    }

    /// Waits until this machine is on other networks, and the others had a moment to notice.
    pub(crate) async fn places_woken(&self) {
        let mut moved = self.moved.subscribe();
        // The sender is our own, so this can't fail while it is awaited.
        let _ = moved.changed().await;
    }

    /// Waits until the endpoint is closed.
    pub(crate) async fn stopped(&self) {
        let mut stopping = self.stopping.subscribe();
        // The sender is our own, so this can't fail while it is awaited.
        let _ = stopping.wait_for(|stopping| *stopping).await;
    }

    /// Connects to a device, and to no other that may be at the address now; to whichever is there if it is
    /// not known which that is.
    pub(crate) async fn dial(
        &self,
        address: SocketAddr,
        peer: Option<DeviceKey>,
        protocol: &[u8],
    ) -> Result<Connection, PeerError> {
        let config = client_config(&self.certificate, peer, protocol, self.power)?;
        let connecting =
            self.quinn.connect_with(config, address, "fivebar").map_err(|error| match error {
                quinn::ConnectError::EndpointStopping => PeerError::Stopped,
                other => PeerError::Dial(other),
            })?;
        Ok(timeout(PATIENCE, connecting).await.map_err(|_| PeerError::NoAnswer)??)
    }

    /// Connects to the first of the addresses that answers. They are tried beside each other, each a moment after the
    /// one before it. The error is that of the last.
    pub(crate) async fn dial_any(
        &self,
        addresses: &[SocketAddr],
        peer: Option<DeviceKey>,
        protocol: &'static [u8],
    ) -> Result<Connection, PeerError> {
        let mut failure = PeerError::NoAddress;
        let mut dials = JoinSet::new();
        let mut rest = addresses.iter().copied();
        loop {
            if let Some(address) = rest.next() {
                let endpoint = self.clone();
                dials.spawn(async move { (address, endpoint.dial(address, peer, protocol).await) });
            } else if dials.is_empty() {
                return Err(failure);
            }
            let ended = tokio::select! {
                ended = dials.join_next() => ended,
                () = sleep(STAGGER), if rest.len() > 0 => None,
            };
            match ended {
                Some(Ok((_, Ok(connection)))) => return Ok(connection),
                Some(Ok((address, Err(error)))) => {
                    tracing::debug!(%address, "not reached: {error}");
                    failure = error;
                }
                Some(Err(_)) | None => {}
            }
        }
    }

    /// Dials a peer and syncs with it.
    ///
    /// # Errors
    /// [`PeerError`].
    pub async fn sync_with<H: Holder>(
        &self,
        peer: DeviceKey,
        addresses: &[SocketAddr],
        holder: Arc<H>,
        stay: Stay,
    ) -> Result<(), PeerError> {
        let connection = self.dial_any(addresses, Some(peer), SYNC_PROTOCOL).await?;
        self.meet(connection, peer, holder, stay).await
    }

    /// Syncs over a connection that this side dialled.
    pub(crate) async fn meet<H: Holder>(
        &self,
        connection: Connection,
        peer: DeviceKey,
        holder: Arc<H>,
        stay: Stay,
    ) -> Result<(), PeerError> {
        // Before a stream is opened: the peer takes no notice of a connection before that.
        let mut met = self.contacts.begin(peer, &connection, true)?;
        let address = plain(connection.remote_address());
        self.contacts.learn(peer, address, true);
        holder.note_reached(peer, address);
        let streams = connection.open_bi().await?;
        let ended = self.sync_over(&connection, streams, peer, holder, stay).await;
        met.settled = ended.is_ok();
        ended
    }

    pub(crate) async fn sync_over<H: Holder>(
        &self,
        connection: &Connection,
        streams: (SendStream, RecvStream),
        peer: DeviceKey,
        holder: Arc<H>,
        stay: Stay,
    ) -> Result<(), PeerError> {
        let (is_vouched, common) = (holder.vouched().contains(&peer), holder.common_ground(peer));
        let session = holder.with_ledger(|ledger| {
            if is_vouched && ledger.roster().device(&peer).is_none() {
                Session::joining(peer, ledger)
            } else {
                Session::new(peer, common, ledger)
            }
        });
        drive(connection, streams, session, holder, stay).await
    }

    /// Closes every connection, and returns once the peers know or can't be told.
    pub async fn close(&self) {
        self.stopping.send_replace(true);
        self.quinn.close(stopping(), b"");
        let _ = timeout(PATIENCE, self.quinn.wait_idle()).await;
    }

    pub(crate) fn with_tries<R>(&self, act: impl FnOnce(&mut Tries) -> R) -> R {
        act(&mut self.tries.lock().unwrap_or_else(PoisonError::into_inner))
    }
}

/// The key that the peer of a connection proved to hold.
///
/// # Errors
/// [`Refusal::Stranger`] if there is none; the verifier lets no such connection come about.
pub fn peer_key(connection: &Connection) -> Result<DeviceKey, Refusal> {
    let identity = connection.peer_identity().and_then(|any| any.downcast::<Vec<CertificateDer>>().ok());
    identity.and_then(|chain| chain.first().and_then(device_key)).ok_or(Refusal::Stranger)
}

/// Whether a device is taken for one of the crew.
pub(crate) fn is_of_crew<H: Holder>(holder: &H, device: &DeviceKey) -> bool {
    let listed = holder.with_ledger(|ledger| ledger.roster().device(device).map(|device| device.retired));
    listed.map_or_else(|| holder.vouched().contains(device), |retired| !retired)
}
