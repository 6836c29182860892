//! Invites: what a new device must be told before it can ask to join, and its text code.
//!
//! The code goes from screen to screen, as a picture or as one line of text, and never over the
//! network. Whoever has it can pair once, until it expires, so it is shown and not stored by others.

use std::fmt;
use std::net::{IpAddr, SocketAddr};

use ledger::{CrewId, DeviceKey};
use sha2::{Digest, Sha256};

/// What every code begins with.
pub const CODE_PREFIX: &str = "fivebar:";
/// Most addresses in an invite.
pub const MAX_ADDRESSES: usize = 8;

/// The version of the code's layout.
const VERSION: u8 = 1;
/// Bytes of the checksum at the end of a code.
const CHECKSUM: usize = 4;
/// Digits and letters without i, l, o and u, which are easily misread. 5 bits each.
const ALPHABET: &[u8; 32] = b"0123456789abcdefghjkmnpqrstvwxyz";
/// Letters between two dashes.
const GROUP: usize = 8;
/// A code of eight IPv6 addresses has 424 letters; this leaves room for spaces and dashes.
const MAX_CODE: usize = 1024;

/// Names an invite.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct InviteId(pub [u8; 16]);

impl fmt::Display for InviteId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

/// The secret of an invite: 128 random bits. Never printed but within the code.
#[derive(Clone, PartialEq, Eq)]
pub struct InviteSecret(pub [u8; 16]);

impl fmt::Debug for InviteSecret {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("InviteSecret")
    }
}

/// What the new device is told.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Invite {
    /// The crew to join.
    pub crew: CrewId,
    /// The device that invites, and that alone can admit by this invite.
    pub inviter: DeviceKey,
    /// Where it can be reached: at most [`MAX_ADDRESSES`], the likeliest first.
    pub addresses: Vec<SocketAddr>,
    /// Which invite it is.
    pub id: InviteId,
    /// What proves that the code was seen.
    pub secret: InviteSecret,
    /// When it ends, in milliseconds since 1970, by the inviter's clock.
    pub expires_ms: i64,
}

/// Why a text is not an invite's code.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum CodeError {
    /// It does not begin with [`CODE_PREFIX`].
    #[error("an invite's code begins with \"fivebar:\"; copy the whole line")]
    Prefix,
    /// A letter that no code has.
    #[error(
        "letter {place} after \"fivebar:\" is {letter:?}, which no code has; compare it with the other screen"
    )]
    Letter {
        /// Which letter, counted from one, dashes and spaces included.
        place: usize,
        /// The letter.
        letter: char,
    },
    /// It is longer than any code.
    #[error("the text is longer than any invite's code; copy one line only")]
    TooLong,
    /// Letters are wrong, missing or too many.
    #[error("the code has a wrong or missing letter; compare it with the other screen, or make a new invite")]
    Checksum,
    /// A later version of the code.
    #[error("the code has layout {0} and this version of fivebar reads layout 1; update this device first")]
    Version(u8),
    /// The checksum fits, and the content does not.
    #[error("the code is whole but not an invite; make a new one")]
    Content,
}

impl Invite {
    /// Makes an invite with a random id and secret. Addresses beyond [`MAX_ADDRESSES`] are left out.
    ///
    /// # Errors
    /// If the system gives no random bytes.
    pub fn make(
        crew: CrewId,
        inviter: DeviceKey,
        mut addresses: Vec<SocketAddr>,
        expires_ms: i64,
    ) -> Result<Self, getrandom::Error> {
        let (mut id, mut secret) = ([0; 16], [0; 16]);
        getrandom::fill(&mut id)?;
        getrandom::fill(&mut secret)?;
        addresses.truncate(MAX_ADDRESSES);
        Ok(Self { crew, inviter, addresses, id: InviteId(id), secret: InviteSecret(secret), expires_ms })
    }

    /// The text code: one line.
    #[must_use]
    pub fn code(&self) -> String {
        let mut bytes = vec![VERSION];
        bytes.extend_from_slice(&self.crew.0);
        bytes.extend_from_slice(&self.inviter.0);
        bytes.extend_from_slice(&self.id.0);
        bytes.extend_from_slice(&self.secret.0);
        bytes.extend_from_slice(&self.expires_ms.to_le_bytes());
        for address in self.addresses.iter().take(MAX_ADDRESSES) {
            match address.ip() {
                IpAddr::V4(ip) => {
                    bytes.push(4);
                    bytes.extend_from_slice(&ip.octets());
                }
                IpAddr::V6(ip) => {
                    bytes.push(6);
                    bytes.extend_from_slice(&ip.octets());
                }
            }
            bytes.extend_from_slice(&address.port().to_le_bytes());
        }
        let checksum = checksum(&bytes);
        bytes.extend_from_slice(&checksum);
        let mut code = CODE_PREFIX.to_owned();
        for (place, letter) in to_letters(&bytes).into_iter().enumerate() {
            if place > 0 && place % GROUP == 0 {
                code.push('-');
            }
            code.push(char::from(letter));
        }
        code
    }

    /// Reads a code. Capitals, dashes and spaces make no difference; o is read as 0, i and l as 1.
    ///
    /// # Errors
    /// [`CodeError`], which says what to do.
    pub fn from_code(text: &str) -> Result<Self, CodeError> {
        let text = text.trim();
        let prefix = text.get(..CODE_PREFIX.len()).ok_or(CodeError::Prefix)?;
        let letters = text.get(CODE_PREFIX.len()..).ok_or(CodeError::Prefix)?;
        if !prefix.eq_ignore_ascii_case(CODE_PREFIX) {
            return Err(CodeError::Prefix);
        }
        if letters.len() > MAX_CODE {
            return Err(CodeError::TooLong);
        }
        let bytes = from_letters(letters)?;
        let at = bytes.len().checked_sub(CHECKSUM).ok_or(CodeError::Checksum)?;
        let (content, found) = bytes.split_at(at);
        if checksum(content) != *found {
            return Err(CodeError::Checksum);
        }
        match content.split_first() {
            Some((&VERSION, content)) => Self::from_content(content).ok_or(CodeError::Content),
            Some((version, _)) => Err(CodeError::Version(*version)),
            None => Err(CodeError::Content),
        }
    }

    fn from_content(mut bytes: &[u8]) -> Option<Self> {
        let crew = CrewId(take(&mut bytes)?);
        let inviter = DeviceKey(take(&mut bytes)?);
        let id = InviteId(take(&mut bytes)?);
        let secret = InviteSecret(take(&mut bytes)?);
        let expires_ms = i64::from_le_bytes(take(&mut bytes)?);
        let mut addresses = Vec::new();
        while !bytes.is_empty() {
            let [family] = take(&mut bytes)?;
            let ip = match family {
                4 => IpAddr::from(take::<4>(&mut bytes)?),
                6 => IpAddr::from(take::<16>(&mut bytes)?),
                _ => return None,
            };
            addresses.push(SocketAddr::new(ip, u16::from_le_bytes(take(&mut bytes)?)));
        }
        (addresses.len() <= MAX_ADDRESSES).then_some(Self {
            crew,
            inviter,
            addresses,
            id,
            secret,
            expires_ms,
        })
    }
}

fn take<const N: usize>(bytes: &mut &[u8]) -> Option<[u8; N]> {
    let (taken, rest) = bytes.split_first_chunk::<N>()?;
    *bytes = rest;
    Some(*taken)
}

fn checksum(bytes: &[u8]) -> [u8; CHECKSUM] {
    let hash = Sha256::digest(bytes);
    let mut sum = [0; CHECKSUM];
    sum.iter_mut().zip(hash).for_each(|(byte, hashed)| *byte = hashed);
    sum
}

/// Five bits a letter, the highest first; the last letter is filled up with noughts.
fn to_letters(bytes: &[u8]) -> Vec<u8> {
    let bit = |place: usize| bytes.get(place / 8).is_some_and(|byte| byte >> (7 - place % 8) & 1 == 1);
    (0..(bytes.len() * 8).div_ceil(5))
        .map(|letter| (0..5).fold(0, |value, place| value << 1 | usize::from(bit(letter * 5 + place))))
        .filter_map(|value| ALPHABET.get(value).copied())
        .collect()
}

fn from_letters(text: &str) -> Result<Vec<u8>, CodeError> {
    let (mut bytes, mut bits, mut count) = (Vec::new(), 0_u32, 0);
    for (place, letter) in text.chars().enumerate() {
        if letter == '-' || letter.is_whitespace() {
            continue;
        }
        let meant = match letter.to_ascii_lowercase() {
            'o' => '0',
            'i' | 'l' => '1',
            other => other,
        };
        let value = ALPHABET.iter().position(|known| char::from(*known) == meant);
        let value = value.and_then(|value| u32::try_from(value).ok());
        bits = bits << 5 | value.ok_or(CodeError::Letter { place: place + 1, letter })?;
        count += 5;
        if count >= 8 {
            count -= 8;
            bytes.push((bits >> count & 0xff) as u8);
            bits &= (1 << count) - 1;
        }
    }
    // A letter too many, or bits that the fill-up never sets.
    if count >= 5 || bits != 0 { Err(CodeError::Checksum) } else { Ok(bytes) }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn invite() -> Invite {
        Invite {
            crew: CrewId([1; 32]),
            inviter: DeviceKey([2; 32]),
            addresses: vec![
                "192.168.1.20:4711".parse().expect("an address"),
                "[fe80::1]:4711".parse().expect("an address"),
            ],
            id: InviteId([3; 16]),
            secret: InviteSecret([4; 16]),
            expires_ms: 1_793_000_000_000,
        }
    }

    #[test]
    fn codes_lead_back_to_their_invite_however_they_were_typed() {
        let code = invite().code();
        assert!(code.starts_with("fivebar:") && code.lines().count() == 1, "{code}");
        assert_eq!(Invite::from_code(&code), Ok(invite()));
        assert_eq!(Invite::from_code(&code.to_uppercase()), Ok(invite()));
        assert_eq!(Invite::from_code(&format!("  {}\n", code.replace('-', " "))), Ok(invite()));
        let misread = code.replacen("fivebar:", "", 1).replace('0', "o").replace('1', "l");
        assert_eq!(Invite::from_code(&format!("fivebar:{misread}")), Ok(invite()));
        let without = Invite { addresses: Vec::new(), ..invite() };
        assert_eq!(Invite::from_code(&without.code()), Ok(without));
    }

    #[test]
    fn every_single_wrong_letter_is_noticed() {
        let code = invite().code();
        for place in CODE_PREFIX.len()..code.len() {
            let mut letters: Vec<u8> = code.bytes().collect();
            if letters[place] == b'-' {
                continue;
            }
            letters[place] = if letters[place] == b'z' { b'y' } else { b'z' };
            let typed = String::from_utf8(letters).expect("letters");
            assert_eq!(Invite::from_code(&typed), Err(CodeError::Checksum), "letter {place}");
        }
        for end in CODE_PREFIX.len()..code.len() {
            assert!(Invite::from_code(&code[..end]).is_err(), "cut at {end}");
        }
    }

    #[test]
    fn what_is_no_code_is_refused_with_what_to_do() {
        assert_eq!(Invite::from_code(""), Err(CodeError::Prefix));
        assert_eq!(Invite::from_code("plaster"), Err(CodeError::Prefix));
        assert_eq!(Invite::from_code("fivebär:00"), Err(CodeError::Prefix));
        assert_eq!(Invite::from_code("fivebar:"), Err(CodeError::Checksum));
        assert_eq!(Invite::from_code("fivebar:00u"), Err(CodeError::Letter { place: 3, letter: 'u' }));
        assert_eq!(Invite::from_code(&format!("fivebar:{}", "0".repeat(2000))), Err(CodeError::TooLong));
        let coded = |content: &[u8]| {
            let bytes = [content, &checksum(content)].concat();
            format!("fivebar:{}", String::from_utf8(to_letters(&bytes)).expect("letters"))
        };
        assert_eq!(Invite::from_code(&coded(&[2, 0])), Err(CodeError::Version(2)));
        assert_eq!(Invite::from_code(&coded(&[1, 0])), Err(CodeError::Content));
    }

    #[test]
    fn the_secret_is_not_printed() {
        assert!(!format!("{:?}", invite()).contains("4, 4"));
    }
}
