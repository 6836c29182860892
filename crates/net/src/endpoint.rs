//! A device's place on the network: one UDP port for all peers, dialled and answered.

use std::net::SocketAddr;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use ledger::{DeviceKey, DeviceSecret, Refusal};
use quinn::{Connection, Incoming};
use rustls::pki_types::CertificateDer;
use sync::Session;
use tokio::sync::Semaphore;
use tokio::time::timeout;

use crate::back_off::BackOff;
use crate::certificate::{DeviceCertificate, device_key};
use crate::config::{
    ConfigError, PAIRING_PROTOCOL, RETURNING_PROTOCOL, SYNC_PROTOCOL, client_config, server_config,
};
use crate::driver::{Stay, drive};
use crate::error::{PeerError, close_done, close_for};
use crate::holder::{Holder, Host};
use crate::pairing::Tries;

/// Most connections that are answered at once. A crew has two to six people.
pub const MAX_CONNECTIONS: usize = 64;
/// How long a peer may take to prove its key, and then to say its first word.
const PATIENCE: Duration = Duration::from_secs(5);
/// A session that lasted this long shows that the network is well.
const LASTING: Duration = Duration::from_secs(30);

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
    certificate: Arc<DeviceCertificate>,
    pub(crate) tries: Arc<Mutex<Tries>>,
    pub(crate) opened: Instant,
}

impl Endpoint {
    /// Opens the port. Must be called within a tokio runtime. Port 0 takes any that is free.
    ///
    /// # Errors
    /// [`BindError`].
    pub fn bind(secret: &DeviceSecret, address: SocketAddr) -> Result<Self, BindError> {
        let certificate = DeviceCertificate::of(secret).map_err(ConfigError::from)?;
        let quinn = quinn::Endpoint::server(server_config(&certificate)?, address)
            .map_err(|cause| BindError::Port { address, cause })?;
        Ok(Self {
            quinn,
            own: secret.public(),
            certificate: Arc::new(certificate),
            tries: Arc::default(),
            opened: Instant::now(),
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

    /// Answers peers until the endpoint is closed.
    pub async fn listen<N: Holder + Host>(&self, node: Arc<N>) {
        let places = Arc::new(Semaphore::new(MAX_CONNECTIONS));
        while let Some(incoming) = self.quinn.accept().await {
            let Ok(place) = Arc::clone(&places).try_acquire_owned() else {
                tracing::warn!(remote = %incoming.remote_address(), "no place for another connection");
                incoming.refuse();
                continue;
            };
            let (endpoint, node) = (self.clone(), Arc::clone(&node));
            tokio::spawn(async move {
                let remote = incoming.remote_address();
                if let Err(error) = endpoint.answer(incoming, node).await {
                    tracing::info!(%remote, "a peer that called was not served: {error}");
                }
                drop(place);
            });
        }
    }

    async fn answer<N: Holder + Host>(&self, incoming: Incoming, node: Arc<N>) -> Result<(), PeerError> {
        let connecting = incoming.accept()?;
        let connection = timeout(PATIENCE, connecting).await.map_err(|_| PeerError::NoAnswer)??;
        let peer = peer_key(&connection)?;
        match protocol(&connection).as_deref() {
            Some(SYNC_PROTOCOL) => {
                let session = self.session(peer, &*node);
                let streams = timeout(PATIENCE, connection.accept_bi()).await;
                let Ok(streams) = streams else {
                    close_done(&connection);
                    return Err(PeerError::NoAnswer);
                };
                drive(&connection, streams?, session, node, Stay::Connected).await
            }
            Some(PAIRING_PROTOCOL) => {
                let answered = self.answer_joiner(&connection, peer, &node).await;
                if let Err(error) = &answered {
                    close_for(&connection, error);
                }
                answered
            }
            Some(RETURNING_PROTOCOL) => self.answer_returning(&connection, peer, node).await,
            Some(_) | None => {
                let error = PeerError::Refused(Refusal::OtherFormat);
                close_for(&connection, &error);
                Err(error)
            }
        }
    }

    /// Connects to a device, and to no other that may be at the address now; to whichever is there if it is
    /// not known which that is.
    pub(crate) async fn dial(
        &self,
        address: SocketAddr,
        peer: Option<DeviceKey>,
        protocol: &[u8],
    ) -> Result<Connection, PeerError> {
        let config = client_config(&self.certificate, peer, protocol)?;
        let connecting =
            self.quinn.connect_with(config, address, "fivebar").map_err(|error| match error {
                quinn::ConnectError::EndpointStopping => PeerError::Stopped,
                other => PeerError::Dial(other),
            })?;
        Ok(timeout(PATIENCE, connecting).await.map_err(|_| PeerError::NoAnswer)??)
    }

    /// Connects to the first of the addresses that answers. The error is that of the last.
    pub(crate) async fn dial_any(
        &self,
        addresses: &[SocketAddr],
        peer: DeviceKey,
        protocol: &[u8],
    ) -> Result<Connection, PeerError> {
        let mut failure = PeerError::NoAddress;
        for address in addresses {
            match self.dial(*address, Some(peer), protocol).await {
                Ok(connection) => return Ok(connection),
                Err(error) => {
                    tracing::debug!(%address, peer = %peer.short(), "not reached: {error}");
                    failure = error;
                }
            }
        }
        Err(failure)
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
        let connection = self.dial_any(addresses, peer, SYNC_PROTOCOL).await?;
        let streams = connection.open_bi().await?;
        let session = self.session(peer, &*holder);
        drive(&connection, streams, session, holder, stay).await
    }

    fn session<H: Holder>(&self, peer: DeviceKey, holder: &H) -> Session {
        let is_inviter = holder.inviter() == Some(peer);
        holder.with_ledger(|ledger| {
            if is_inviter && ledger.roster().device(&self.own).is_none() {
                Session::joining(peer, ledger)
            } else {
                Session::new(peer, ledger)
            }
        })
    }

    /// Syncs with a peer whenever it can be reached, until the endpoint is closed. A peer that
    /// refuses is tried rarely: it may learn of this device meanwhile.
    pub async fn keep_in_touch<H: Holder>(
        &self,
        peer: DeviceKey,
        addresses: Vec<SocketAddr>,
        holder: Arc<H>,
    ) {
        let mut back_off = BackOff::default();
        loop {
            let began = Instant::now();
            let ended = self.sync_with(peer, &addresses, Arc::clone(&holder), Stay::Connected).await;
            if began.elapsed() >= LASTING {
                back_off.reset();
            }
            match ended {
                Err(PeerError::Stopped) => return,
                Err(PeerError::Refused(_) | PeerError::Dismissed(_) | PeerError::DismissedUnknown) => {
                    back_off.exhaust();
                }
                Ok(()) | Err(_) => {}
            }
            tokio::time::sleep(back_off.next_wait(random())).await;
        }
    }

    /// Closes every connection, and returns once the peers know or can't be told.
    pub async fn close(&self) {
        self.quinn.close(quinn::VarInt::from_u32(0), b"");
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

fn protocol(connection: &Connection) -> Option<Vec<u8>> {
    let data = connection.handshake_data()?.downcast::<quinn::crypto::rustls::HandshakeData>().ok()?;
    data.protocol
}

/// Without randomness the wait is the longest of its kind, and no worse.
fn random() -> u32 {
    getrandom::u32().unwrap_or(u32::MAX)
}
