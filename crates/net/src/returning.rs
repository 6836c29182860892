//! Coming back by the recovery words: how a device that the crew does not know proves to hold them.
//!
//! The words' own key never leaves the caller: it signs what TLS made for this connection and no other, so
//! that who is called can't use the signature elsewhere. What the caller may write, the ledger decides.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use ledger::chain::verify_signature;
use ledger::{CrewId, DeviceKey, DeviceSecret, Refusal};
use quinn::Connection;
use sync::{CommonGround, Session};
use tokio::time::timeout;

use crate::config::RETURNING_PROTOCOL;
use crate::driver::{Stay, drive};
use crate::endpoint::{Endpoint, peer_key};
use crate::error::{PeerError, close_for};
use crate::holder::{Fault, Holder};
use crate::join::{read_error, why_it_ended};
use crate::pairing::export_context;

/// The label of the keying material that is signed: RFC 8446, section 7.5.
const LABEL: &[u8] = b"EXPORTER-fivebar-return-1";
/// Bytes of what the caller says: the recovery key and its signature.
const OPENING: usize = 32 + 64;
/// How long each side may take.
const PATIENCE: Duration = Duration::from_secs(5);

/// A connection to a device of the crew that takes this one for who it says it is.
#[derive(Debug)]
pub struct Returned {
    connection: Connection,
    /// The device that answered.
    pub peer: DeviceKey,
    /// The crew whose words they are.
    pub crew: CrewId,
}

/// What the recovery key signs on a connection.
fn signed_bytes(connection: &Connection, answerer: &DeviceKey, caller: &DeviceKey) -> Result<Vec<u8>, Fault> {
    let mut exported = [0; 32];
    let context = export_context(answerer, caller);
    let done = connection.export_keying_material(&mut exported, LABEL, &context);
    done.map_err(|_| Fault("TLS gave no keying material".to_owned()))?;
    Ok([&b"fivebar return 1"[..], &exported].concat())
}

impl Endpoint {
    /// Calls whichever device is at the address, and proves to it that this one holds the recovery words.
    ///
    /// # Errors
    /// [`PeerError::Dismissed`] with [`Refusal::WrongWords`], or another [`PeerError`].
    pub async fn come_back(&self, address: SocketAddr, words: &DeviceSecret) -> Result<Returned, PeerError> {
        let connection = self.dial(address, None, RETURNING_PROTOCOL).await?;
        let answered = self.prove(&connection, words).await;
        match answered {
            Ok((peer, crew)) => Ok(Returned { connection, peer, crew }),
            Err(error) => {
                close_for(&connection, &error);
                Err(error)
            }
        }
    }

    async fn prove(
        &self,
        connection: &Connection,
        words: &DeviceSecret,
    ) -> Result<(DeviceKey, CrewId), PeerError> {
        let peer = peer_key(connection)?;
        let signature = words.sign(&signed_bytes(connection, &peer, &self.own)?);
        let (mut send, mut receive) = connection.open_bi().await?;
        let opening = [&words.public().0[..], &signature].concat();
        // A peer that refuses may have closed before all was written; why is asked below.
        let _ = send.write_all(&opening).await;
        let _ = send.finish();
        let answer = timeout(PATIENCE, receive.read_to_end(32)).await;
        let answer = answer.map_err(|_| PeerError::NoAnswer)?.map_err(read_error)?;
        match <[u8; 32]>::try_from(answer) {
            Ok(crew) => Ok((peer, CrewId(crew))),
            Err(_) => Err(why_it_ended(connection).await),
        }
    }

    /// Answers a device that says to hold the recovery words, and serves it if it does.
    pub(crate) async fn answer_returning<H: Holder>(
        &self,
        connection: &Connection,
        peer: DeviceKey,
        holder: Arc<H>,
    ) -> Result<(), PeerError> {
        let proved = self.check_words(connection, peer, &*holder).await;
        let streams = match proved {
            Ok(()) => timeout(PATIENCE, connection.accept_bi()).await.map_err(|_| PeerError::NoAnswer),
            Err(error) => Err(error),
        };
        match streams {
            Ok(streams) => {
                let session = holder.with_ledger(|ledger| Session::returning(peer, ledger));
                drive(connection, streams?, session, holder, Stay::Connected).await
            }
            Err(error) => {
                close_for(connection, &error);
                Err(error)
            }
        }
    }

    async fn check_words<H: Holder>(
        &self,
        connection: &Connection,
        peer: DeviceKey,
        holder: &H,
    ) -> Result<(), PeerError> {
        let opened = timeout(PATIENCE, async {
            let (send, mut receive) = connection.accept_bi().await?;
            let opening = receive.read_to_end(OPENING).await.map_err(read_error)?;
            Ok::<_, PeerError>((send, opening))
        });
        let (mut send, opening) = opened.await.map_err(|_| PeerError::NoAnswer)??;
        let (key, signature) = opening.split_first_chunk::<32>().ok_or(Refusal::Truncated)?;
        let signature: &[u8; 64] = signature.try_into().map_err(|_| Refusal::Truncated)?;
        let (crew, expected) = holder.with_ledger(|ledger| {
            (ledger.crew(), ledger.roster().founding().map(|founding| founding.recovery_key))
        });
        let signed = signed_bytes(connection, &self.own, &peer)?;
        if expected != Some(DeviceKey(*key))
            || verify_signature(&DeviceKey(*key), &signed, signature).is_err()
        {
            tracing::warn!(peer = %peer.short(), "a device said to hold the recovery words and does not");
            return Err(Refusal::WrongWords.into());
        }
        tracing::warn!(peer = %peer.short(), "a device comes back by the recovery words");
        let _ = send.write_all(&crew.0).await;
        let _ = send.finish();
        Ok(())
    }
}

impl Returned {
    /// Syncs until both sides hold the same, with a ledger of the crew that answered.
    ///
    /// # Errors
    /// [`PeerError`].
    pub async fn sync<H: Holder>(self, holder: Arc<H>) -> Result<(), PeerError> {
        let streams = self.connection.open_bi().await?;
        let session = holder.with_ledger(|ledger| {
            if ledger.roster().founding().is_none() {
                Session::joining(self.peer, ledger)
            } else {
                Session::new(self.peer, CommonGround::default(), ledger)
            }
        });
        drive(&self.connection, streams, session, holder, Stay::UntilSettled).await
    }
}
