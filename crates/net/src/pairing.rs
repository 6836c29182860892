//! Pairing, the pure part: what is said, what proves it, and when an inviter says no.
//!
//! No sockets, clock or randomness. Pairing serves nothing but the answer to one question: may this
//! key join? The ledger's events are never sent here. `proto/FORMAT-pairing.md` describes the bytes.

use std::collections::BTreeMap;
use std::time::Duration;

use hmac::{Hmac, KeyInit, Mac};
use ledger::{CrewId, DeviceKey, PersonId, Refusal};
use sha2::Sha256;

use crate::invite::{Invite, InviteId, InviteSecret};

/// Most bytes of a device's name.
pub const MAX_NAME: usize = 100;
/// Most bytes of what a joiner says.
pub const MAX_OPENING: usize = 16 + PROOF + 1 + MAX_NAME;
/// Bytes of a proof.
pub const PROOF: usize = 32;
/// The label of the keying material that proofs cover: RFC 8446, section 7.5.
pub const PROOF_LABEL: &[u8] = b"EXPORTER-fivebar-pair-1";
/// The label of the keying material that check words come from.
pub const CHECK_LABEL: &[u8] = b"EXPORTER-fivebar-check-1";
/// The longest wait after a wrong proof.
const LONGEST_WAIT: Duration = Duration::from_secs(300);

/// An invite that this device gave out, and what it promises.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Offer {
    /// The invite.
    pub invite: Invite,
    /// Whose device is to join.
    pub person: PersonId,
    /// The device will vouch for the people whose page session it opens.
    pub shared: bool,
    /// The device will read the office's chains.
    pub office: bool,
    /// A right proof was given.
    pub used: bool,
}

/// Which side made a proof. Each side has its own, so neither can send the other's back.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Side {
    /// The new device.
    Joiner,
    /// The device that invited.
    Inviter,
}

impl Side {
    const fn word(self) -> &'static [u8] {
        match self {
            Self::Joiner => b"fivebar pair 1 joiner",
            Self::Inviter => b"fivebar pair 1 inviter",
        }
    }
}

fn proof_mac(side: Side, secret: &InviteSecret, id: &InviteId, exported: &[u8; 32]) -> Option<Hmac<Sha256>> {
    // HMAC takes keys of any length, so there is always one.
    let mut mac = Hmac::<Sha256>::new_from_slice(&secret.0).ok()?;
    mac.update(side.word());
    mac.update(&id.0);
    mac.update(exported);
    Some(mac)
}

/// What proves that a side knows the secret, on this connection and no other.
#[must_use]
pub fn proof(side: Side, secret: &InviteSecret, id: &InviteId, exported: &[u8; 32]) -> [u8; PROOF] {
    proof_mac(side, secret, id, exported).map(|mac| mac.finalize().into_bytes().into()).unwrap_or_default()
}

/// Whether a proof is right, found in constant time.
#[must_use]
pub fn is_proof(
    proof: &[u8; PROOF],
    side: Side,
    secret: &InviteSecret,
    id: &InviteId,
    exported: &[u8; 32],
) -> bool {
    proof_mac(side, secret, id, exported).is_some_and(|mac| mac.verify_slice(proof).is_ok())
}

/// The context of the keying material: both keys, so that it belongs to these two devices.
#[must_use]
pub fn export_context(inviter: &DeviceKey, joiner: &DeviceKey) -> [u8; 64] {
    let mut context = [0; 64];
    context[..32].copy_from_slice(&inviter.0);
    context[32..].copy_from_slice(&joiner.0);
    context
}

/// What a joiner says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Opening {
    /// Which invite it has.
    pub id: InviteId,
    /// That it has it.
    pub proof: [u8; PROOF],
    /// What the device is called: 1 to [`MAX_NAME`] bytes, without control characters.
    pub name: String,
}

/// Whether a device can be called so.
#[must_use]
pub fn is_device_name(name: &str) -> bool {
    !name.trim().is_empty() && name.len() <= MAX_NAME && !name.chars().any(char::is_control)
}

impl Opening {
    /// Invite id, proof, length of the name, name.
    ///
    /// # Errors
    /// [`Refusal::UnexpectedFrame`] for a name that no device can have.
    pub fn encode(&self) -> Result<Vec<u8>, Refusal> {
        let length = u8::try_from(self.name.len()).map_err(|_| Refusal::UnexpectedFrame)?;
        if !is_device_name(&self.name) {
            return Err(Refusal::UnexpectedFrame);
        }
        let mut bytes = Vec::with_capacity(MAX_OPENING);
        bytes.extend_from_slice(&self.id.0);
        bytes.extend_from_slice(&self.proof);
        bytes.push(length);
        bytes.extend_from_slice(self.name.as_bytes());
        Ok(bytes)
    }

    /// Reads what [`Opening::encode`] writes.
    ///
    /// # Errors
    /// [`Refusal::Truncated`], or [`Refusal::UnexpectedFrame`] for a name that no device can have
    /// or for bytes behind it.
    pub fn decode(bytes: &[u8]) -> Result<Self, Refusal> {
        let (id, rest) = bytes.split_first_chunk().ok_or(Refusal::Truncated)?;
        let (proof, rest) = rest.split_first_chunk().ok_or(Refusal::Truncated)?;
        let (length, name) = rest.split_first().ok_or(Refusal::Truncated)?;
        match name.len().cmp(&usize::from(*length)) {
            std::cmp::Ordering::Less => return Err(Refusal::Truncated),
            std::cmp::Ordering::Greater => return Err(Refusal::UnexpectedFrame),
            std::cmp::Ordering::Equal => {}
        }
        let name = std::str::from_utf8(name).map_err(|_| Refusal::UnexpectedFrame)?;
        if !is_device_name(name) {
            return Err(Refusal::UnexpectedFrame);
        }
        Ok(Self { id: InviteId(*id), proof: *proof, name: name.to_owned() })
    }
}

/// What an inviter says once the device is admitted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Admission {
    /// The crew.
    pub crew: CrewId,
    /// Whose device it is now.
    pub person: PersonId,
    /// The device vouches for the people whose page session it opens.
    pub shared: bool,
    /// The device reads the office's chains.
    pub office: bool,
}

impl Admission {
    /// Bytes on the wire.
    pub const WIDTH: usize = 49;

    /// Crew, person, and a byte of flags: 1 shared, 2 office.
    #[must_use]
    pub fn encode(&self) -> [u8; Self::WIDTH] {
        let mut bytes = [0; Self::WIDTH];
        bytes[..32].copy_from_slice(&self.crew.0);
        bytes[32..48].copy_from_slice(&self.person.0);
        bytes[48] = u8::from(self.shared) | u8::from(self.office) << 1;
        bytes
    }

    /// Reads what [`Admission::encode`] writes.
    ///
    /// # Errors
    /// [`Refusal::Truncated`] or [`Refusal::UnexpectedFrame`].
    pub fn decode(bytes: &[u8]) -> Result<Self, Refusal> {
        let (crew, rest) = bytes.split_first_chunk().ok_or(Refusal::Truncated)?;
        let (person, rest) = rest.split_first_chunk().ok_or(Refusal::Truncated)?;
        match rest {
            [] => Err(Refusal::Truncated),
            [flags @ 0..=3] => Ok(Self {
                crew: CrewId(*crew),
                person: PersonId(*person),
                shared: flags & 1 != 0,
                office: flags & 2 != 0,
            }),
            _ => Err(Refusal::UnexpectedFrame),
        }
    }
}

/// Wrong proofs, counted for each invite that this device gave out.
///
/// The count goes with the invite and not with the peer, who could have a new key for each try. Only
/// who has seen the code knows an invite's id, so strangers can't make the right joiner wait.
#[derive(Debug, Default)]
pub struct Tries {
    wrong: BTreeMap<InviteId, (u32, Duration)>,
}

impl Tries {
    /// Judges an opening. `now_ms` is wall time in milliseconds since 1970, for the expiry;
    /// `elapsed` only ever grows, for the waits. Whether the invite was used or has expired is told
    /// only to who proves to know its secret.
    ///
    /// # Errors
    /// [`Refusal::WrongInvite`], [`Refusal::TooManyTries`], [`Refusal::WrongProof`],
    /// [`Refusal::UsedInvite`] or [`Refusal::ExpiredInvite`].
    pub fn judge(
        &mut self,
        offer: Option<&Offer>,
        opening: &Opening,
        exported: &[u8; 32],
        now_ms: i64,
        elapsed: Duration,
    ) -> Result<(), Refusal> {
        let Some(offer) = offer.filter(|offer| offer.invite.id == opening.id) else {
            return Err(Refusal::WrongInvite);
        };
        let invite = &offer.invite;
        if self.wrong.get(&invite.id).is_some_and(|(_, until)| elapsed < *until) {
            return Err(Refusal::TooManyTries);
        }
        if !is_proof(&opening.proof, Side::Joiner, &invite.secret, &invite.id, exported) {
            let (count, until) = self.wrong.entry(invite.id).or_default();
            let wait = Duration::from_secs(1_u64.checked_shl(*count).unwrap_or(u64::MAX)).min(LONGEST_WAIT);
            *count = count.saturating_add(1);
            *until = elapsed.saturating_add(wait);
            return Err(Refusal::WrongProof);
        }
        self.wrong.remove(&invite.id);
        if offer.used {
            return Err(Refusal::UsedInvite);
        }
        if now_ms >= invite.expires_ms { Err(Refusal::ExpiredInvite) } else { Ok(()) }
    }

    /// How many wrong proofs in a row an invite has seen.
    #[must_use]
    pub fn wrong_in_a_row(&self, id: &InviteId) -> u32 {
        self.wrong.get(id).map_or(0, |(count, _)| *count)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const EXPORTED: [u8; 32] = [9; 32];

    fn offer() -> Offer {
        let invite = Invite {
            crew: CrewId([1; 32]),
            inviter: DeviceKey([2; 32]),
            addresses: Vec::new(),
            id: InviteId([3; 16]),
            secret: InviteSecret([4; 16]),
            expires_ms: 1_000,
        };
        Offer { invite, person: PersonId([5; 16]), shared: false, office: false, used: false }
    }

    fn opening(exported: &[u8; 32]) -> Opening {
        let Invite { id, secret, .. } = offer().invite;
        Opening { id, proof: proof(Side::Joiner, &secret, &id, exported), name: "Tobi's phone".to_owned() }
    }

    #[test]
    fn hmac_is_the_published_one() {
        // RFC 4231, section 4.3, test case 2.
        let mut mac = Hmac::<Sha256>::new_from_slice(b"Jefe").expect("any length");
        mac.update(b"what do ya want for nothing?");
        let hex: String = mac.finalize().into_bytes().iter().map(|byte| format!("{byte:02x}")).collect();
        assert_eq!(hex, "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843");
    }

    #[test]
    fn a_proof_fits_one_side_one_secret_one_invite_and_one_connection() {
        let (id, secret) = (InviteId([3; 16]), InviteSecret([4; 16]));
        let made = proof(Side::Joiner, &secret, &id, &EXPORTED);
        assert!(is_proof(&made, Side::Joiner, &secret, &id, &EXPORTED));
        assert!(!is_proof(&made, Side::Inviter, &secret, &id, &EXPORTED));
        assert!(!is_proof(&made, Side::Joiner, &InviteSecret([5; 16]), &id, &EXPORTED));
        assert!(!is_proof(&made, Side::Joiner, &secret, &InviteId([4; 16]), &EXPORTED));
        assert!(!is_proof(&made, Side::Joiner, &secret, &id, &[8; 32]));
    }

    #[test]
    fn messages_survive_their_bytes_and_nothing_else_is_taken() {
        let opening = opening(&EXPORTED);
        let bytes = opening.encode().expect("a name that fits");
        assert_eq!(Opening::decode(&bytes), Ok(opening.clone()));
        for end in 0..bytes.len() {
            assert_eq!(Opening::decode(&bytes[..end]), Err(Refusal::Truncated), "cut at {end}");
        }
        assert_eq!(Opening::decode(&[&bytes[..], b"!"].concat()), Err(Refusal::UnexpectedFrame));
        for name in ["", " ", "line\nbreak", &"x".repeat(MAX_NAME + 1), &"x".repeat(300)] {
            let opening = Opening { name: name.to_owned(), ..opening.clone() };
            assert_eq!(opening.encode(), Err(Refusal::UnexpectedFrame), "{name:?}");
        }
        let (crew, person) = (CrewId([1; 32]), PersonId([2; 16]));
        for (shared, office) in [(false, false), (true, false), (false, true), (true, true)] {
            let admission = Admission { crew, person, shared, office };
            assert_eq!(Admission::decode(&admission.encode()), Ok(admission));
        }
        assert_eq!(Admission::decode(&[0; 48]), Err(Refusal::Truncated));
        assert_eq!(Admission::decode(&[4; 49]), Err(Refusal::UnexpectedFrame));
        assert_eq!(Admission::decode(&[0; 50]), Err(Refusal::UnexpectedFrame));
    }

    #[test]
    fn an_opening_is_judged_by_proof_then_use_then_time() {
        let mut tries = Tries::default();
        let mut judge = |offer: Option<&Offer>, opening: &Opening, now_ms: i64| {
            tries.judge(offer, opening, &EXPORTED, now_ms, Duration::ZERO)
        };
        let (offer, right) = (offer(), opening(&EXPORTED));
        assert_eq!(judge(None, &right, 0), Err(Refusal::WrongInvite));
        assert_eq!(judge(Some(&offer), &right, 999), Ok(()));
        assert_eq!(judge(Some(&offer), &right, 1_000), Err(Refusal::ExpiredInvite));
        let used = Offer { used: true, ..offer.clone() };
        assert_eq!(judge(Some(&used), &right, 0), Err(Refusal::UsedInvite));
        // What was overheard on another connection says nothing here, not even that it is used.
        assert_eq!(judge(Some(&used), &opening(&[8; 32]), 2_000), Err(Refusal::WrongProof));
    }

    #[test]
    fn wrong_proofs_wait_twice_as_long_each_time_up_to_five_minutes() {
        let (offer, wrong, right) = (offer(), opening(&[8; 32]), opening(&EXPORTED));
        let mut tries = Tries::default();
        let mut elapsed = Duration::ZERO;
        for wait in [1, 2, 4, 8, 16, 32, 64, 128, 256, 300, 300] {
            let mut judge = |opening, elapsed| tries.judge(Some(&offer), opening, &EXPORTED, 0, elapsed);
            assert_eq!(judge(&wrong, elapsed), Err(Refusal::WrongProof));
            elapsed += Duration::from_secs(wait);
            assert_eq!(judge(&right, elapsed - Duration::from_millis(1)), Err(Refusal::TooManyTries));
        }
        assert_eq!(tries.wrong_in_a_row(&offer.invite.id), 11);
        assert_eq!(tries.judge(Some(&offer), &right, &EXPORTED, 0, elapsed), Ok(()));
        assert_eq!(tries.wrong_in_a_row(&offer.invite.id), 0);
    }
}
