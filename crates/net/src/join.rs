//! Pairing over a connection: how a new device asks, and how the inviter answers.

use std::sync::Arc;
use std::time::{Duration, SystemTime, UNIX_EPOCH};

use ledger::{DeviceKey, Refusal};
use quinn::{Connection, ReadExactError, ReadToEndError};
use tokio::time::timeout;

use crate::check_words::CheckWords;
use crate::config::PAIRING_PROTOCOL;
use crate::endpoint::Endpoint;
use crate::error::{PeerError, close_done, close_for};
use crate::holder::{Fault, HoldError, Host, Joiner};
use crate::invite::Invite;
use crate::pairing::{
    Admission, CHECK_LABEL, MAX_OPENING, Opening, PROOF, PROOF_LABEL, Side, export_context, is_device_name,
    is_proof, proof,
};

/// How long each side may take over what needs no person.
const PATIENCE: Duration = Duration::from_secs(5);
/// How long the owner may take to look at the words and accept.
const OWNER_PATIENCE: Duration = Duration::from_secs(600);

/// What belongs to one connection between two devices, and can't be had from any other.
struct Binding {
    exported: [u8; 32],
    words: CheckWords,
}

impl Binding {
    fn of(connection: &Connection, inviter: &DeviceKey, joiner: &DeviceKey) -> Result<Self, PeerError> {
        let context = export_context(inviter, joiner);
        let (mut exported, mut check) = ([0; 32], [0; 3]);
        let done = connection
            .export_keying_material(&mut exported, PROOF_LABEL, &context)
            .and_then(|()| connection.export_keying_material(&mut check, CHECK_LABEL, &context));
        done.map_err(|_| Fault("TLS gave no keying material".to_owned()))?;
        Ok(Self { exported, words: CheckWords::from_bytes(check) })
    }
}

impl Endpoint {
    /// Asks the inviter to be let in under this name. `show` is given the check words once the
    /// inviter has proved itself; then the owner may take minutes to accept. When this returns, the
    /// device is admitted and can sync with the inviter.
    ///
    /// # Errors
    /// [`PeerError::Dismissed`] with the inviter's reason, or another [`PeerError`]. If the connection
    /// broke after the words were shown, the device may be admitted all the same: try to sync.
    pub async fn join(
        &self,
        invite: &Invite,
        name: &str,
        show: impl FnOnce(CheckWords),
    ) -> Result<Admission, PeerError> {
        if !is_device_name(name) {
            return Err(Fault("a device's name must have 1 to 100 bytes and be one line".to_owned()).into());
        }
        let connection = self.dial_any(&invite.addresses, Some(invite.inviter), PAIRING_PROTOCOL).await?;
        let joined = self.ask(&connection, invite, name, show).await;
        match &joined {
            Ok(_) => close_done(&connection),
            Err(error) => close_for(&connection, error),
        }
        joined
    }

    async fn ask(
        &self,
        connection: &Connection,
        invite: &Invite,
        name: &str,
        show: impl FnOnce(CheckWords),
    ) -> Result<Admission, PeerError> {
        let binding = Binding::of(connection, &invite.inviter, &self.own)?;
        let own_proof = proof(Side::Joiner, &invite.secret, &invite.id, &binding.exported);
        let opening = Opening { id: invite.id, proof: own_proof, name: name.to_owned() }.encode()?;
        let (mut send, mut receive) = connection.open_bi().await?;
        // A write fails only if the connection does, and then the reason is found by reading.
        let _ = send.write_all(&opening).await;
        let _ = send.finish();

        let mut answer = [0; PROOF];
        let answered = timeout(PATIENCE, receive.read_exact(&mut answer)).await;
        match answered.map_err(|_| PeerError::NoAnswer)? {
            Ok(()) => {}
            Err(ReadExactError::ReadError(quinn::ReadError::ConnectionLost(error))) => {
                return Err(error.into());
            }
            Err(_) => return Err(why_it_ended(connection).await),
        }
        if !is_proof(&answer, Side::Inviter, &invite.secret, &invite.id, &binding.exported) {
            return Err(Refusal::WrongProof.into());
        }
        show(binding.words);

        let admitted = timeout(OWNER_PATIENCE, receive.read_to_end(Admission::WIDTH)).await;
        let bytes = admitted.map_err(|_| PeerError::NoAnswer)?.map_err(read_error)?;
        if bytes.is_empty() {
            return Err(why_it_ended(connection).await);
        }
        let admission = Admission::decode(&bytes)?;
        if admission.crew == invite.crew { Ok(admission) } else { Err(Refusal::WrongCrew.into()) }
    }

    /// Answers a device that asks to join.
    pub(crate) async fn answer_joiner<N: Host>(
        &self,
        connection: &Connection,
        peer: DeviceKey,
        host: &Arc<N>,
    ) -> Result<(), PeerError> {
        let binding = Binding::of(connection, &self.own, &peer)?;
        let opened = timeout(PATIENCE, async {
            let (send, mut receive) = connection.accept_bi().await?;
            let opening = receive.read_to_end(MAX_OPENING).await.map_err(read_error)?;
            Ok::<_, PeerError>((send, opening))
        });
        let (mut send, opening) = opened.await.map_err(|_| PeerError::NoAnswer)??;
        let opening = Opening::decode(&opening)?;
        let offer = host.offer(&opening.id);
        let (now_ms, elapsed) = (now_ms(), self.opened.elapsed());
        let judged = self.with_tries(|tries| {
            let judged = tries.judge(offer.as_ref(), &opening, &binding.exported, now_ms, elapsed);
            judged.map_err(|refusal| (refusal, tries.wrong_in_a_row(&opening.id)))
        });
        if let Err((refusal, wrong_in_a_row)) = judged {
            let (number, invite) = (refusal.number(), opening.id);
            tracing::warn!(number, %invite, peer = %peer.short(), wrong_in_a_row, "did not pair: {refusal}");
            return Err(refusal.into());
        }
        let offer = offer.ok_or(Refusal::WrongInvite)?;

        let (keeper, id) = (Arc::clone(host), opening.id);
        let used = tokio::task::spawn_blocking(move || keeper.use_up(&id)).await;
        used.map_err(|error| Fault(format!("using up an invite ended early: {error}")))??;
        let own_proof = proof(Side::Inviter, &offer.invite.secret, &opening.id, &binding.exported);
        // If the joiner is gone it is still the owner's to say whether it is admitted.
        let _ = send.write_all(&own_proof).await;

        let Invite { id, .. } = offer.invite;
        let (person, shared, office) = (offer.person, offer.shared, offer.office);
        let joiner = Joiner { device: peer, name: opening.name, words: binding.words, offer };
        let crew = host.admit(joiner).await.map_err(|error: HoldError| PeerError::from(error))?;
        tracing::info!(invite = %id, peer = %peer.short(), "paired");
        let _ = send.write_all(&Admission { crew, person, shared, office }.encode()).await;
        let _ = send.finish();
        // The joiner closes once it has read to the end.
        let _ = timeout(PATIENCE, connection.closed()).await;
        close_done(connection);
        Ok(())
    }
}

/// Why a peer ended its stream without an answer: the end of the stream may overtake the number with
/// which the connection is closed, so that is waited for.
pub(crate) async fn why_it_ended(connection: &Connection) -> PeerError {
    match timeout(PATIENCE, connection.closed()).await {
        Ok(error) => error.into(),
        Err(_) => Refusal::Truncated.into(),
    }
}

pub(crate) fn read_error(error: ReadToEndError) -> PeerError {
    match error {
        ReadToEndError::TooLong => Refusal::FrameTooLarge.into(),
        ReadToEndError::Read(quinn::ReadError::ConnectionLost(error)) => error.into(),
        ReadToEndError::Read(_) => Refusal::Truncated.into(),
    }
}

/// Wall time in milliseconds since 1970. A clock before that counts as at the start.
fn now_ms() -> i64 {
    let since = SystemTime::now().duration_since(UNIX_EPOCH).unwrap_or_default();
    i64::try_from(since.as_millis()).unwrap_or(i64::MAX)
}
