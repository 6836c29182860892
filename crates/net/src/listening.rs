//! Answering: who calls is let in to prove a key, and is then served by what it came for.

use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};

use ledger::{DeviceKey, Refusal};
use quinn::{Connection, Incoming};
use tokio::sync::Semaphore;
use tokio::time::timeout;

use crate::config::{PAIRING_PROTOCOL, RETURNING_PROTOCOL, SYNC_PROTOCOL};
use crate::endpoint::{Endpoint, PATIENCE, is_of_crew, peer_key};
use crate::error::{PeerError, close_done, close_for, close_left};
use crate::gate::{Gate, Knock};
use crate::holder::{Holder, Host};

/// Most devices of the crew that are answered at once. A crew has two to six people.
const CREW: usize = 64;
/// Most others: who joins, who comes back, and strangers until they are told so.
const OTHERS: usize = 8;

/// The places for those who proved a key.
#[derive(Debug)]
struct Places {
    crew: Semaphore,
    others: Semaphore,
}

/// A handshake under way. It ends when this is dropped.
struct Handshake {
    gate: Arc<Mutex<Gate>>,
    address: IpAddr,
}

impl Drop for Handshake {
    fn drop(&mut self) {
        self.gate.lock().unwrap_or_else(PoisonError::into_inner).leave(self.address);
    }
}

impl Endpoint {
    /// Answers peers until the endpoint is closed.
    pub async fn listen<N: Holder + Host>(&self, node: Arc<N>) {
        let places = Arc::new(Places { crew: Semaphore::new(CREW), others: Semaphore::new(OTHERS) });
        let gate = Arc::new(Mutex::new(Gate::default()));
        while let Some(incoming) = self.quinn.accept().await {
            let remote = incoming.remote_address();
            let (address, is_real) = (remote.ip(), incoming.remote_address_validated());
            let knock = gate.lock().unwrap_or_else(PoisonError::into_inner).knock(address, is_real);
            match knock {
                Knock::Enter => {}
                Knock::ShowAddress => {
                    // Only an address that was shown to be real can't be asked again, and that one is not.
                    let _ = incoming.retry();
                    continue;
                }
                Knock::TurnAway => {
                    tracing::debug!(%remote, "too many knock at once");
                    incoming.refuse();
                    continue;
                }
            }
            let handshake = Handshake { gate: Arc::clone(&gate), address };
            let (endpoint, node, places) = (self.clone(), Arc::clone(&node), Arc::clone(&places));
            tokio::spawn(async move {
                if let Err(error) = endpoint.answer(incoming, handshake, node, &places).await {
                    tracing::info!(%remote, "a peer that called was not served: {error}");
                }
            });
        }
    }

    async fn answer<N: Holder + Host>(
        &self,
        incoming: Incoming,
        handshake: Handshake,
        node: Arc<N>,
        places: &Places,
    ) -> Result<(), PeerError> {
        let connecting = incoming.accept()?;
        let connection = timeout(PATIENCE, connecting).await.map_err(|_| PeerError::NoAnswer)??;
        drop(handshake);
        let peer = peer_key(&connection)?;
        let protocol = protocol(&connection);
        let of_crew = protocol.as_deref() == Some(SYNC_PROTOCOL) && is_of_crew(&*node, &peer);
        let place = if of_crew { &places.crew } else { &places.others };
        let Ok(_place) = place.try_acquire() else {
            tracing::warn!(remote = %connection.remote_address(), "no place for another connection");
            close_left(&connection);
            return Ok(());
        };
        match protocol.as_deref() {
            Some(SYNC_PROTOCOL) => self.answer_peer(&connection, peer, node, of_crew).await,
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

    /// Answers who says to be of the crew. Whoever is not is told so by the session.
    async fn answer_peer<H: Holder>(
        &self,
        connection: &Connection,
        peer: DeviceKey,
        holder: Arc<H>,
        of_crew: bool,
    ) -> Result<(), PeerError> {
        let streams = timeout(PATIENCE, connection.accept_bi()).await;
        let Ok(streams) = streams else {
            close_done(connection);
            return Err(PeerError::NoAnswer);
        };
        let streams = match streams {
            Ok(streams) => streams,
            // Whoever dialled twice, or to see who is here, says nothing.
            Err(error) => {
                tracing::debug!(peer = %peer.short(), "a peer called and said nothing: {error}");
                return Ok(());
            }
        };
        let mut met = match of_crew.then(|| self.contacts.begin(peer, connection, false)) {
            Some(Err(error)) => {
                tracing::debug!(peer = %peer.short(), "{error}");
                return Ok(());
            }
            Some(Ok(met)) => {
                self.contacts.learn(peer, connection.remote_address(), false);
                Some(met)
            }
            None => None,
        };
        let ended = self.sync_over(connection, streams, peer, holder, self.power.stay()).await;
        if let Some(met) = &mut met {
            met.settled = ended.is_ok();
        }
        ended
    }
}

fn protocol(connection: &Connection) -> Option<Vec<u8>> {
    let data = connection.handshake_data()?.downcast::<quinn::crypto::rustls::HandshakeData>().ok()?;
    data.protocol
}
