//! The recovery words: what brings a boss back when every one of their devices is lost.
//!
//! Twelve words, written on paper when the crew is founded, hold 128 random bits and four that check them
//! (BIP-39's English list). They derive an Ed25519 key, whose public half stands in the founding event.
//! That key signs certificates: each lets one device in and retires others. The certificates are a set,
//! not a log, and none asks a clock. The words themselves are never kept: not here, not on any device.

use bip39::{Language, Mnemonic};
use zeroize::{Zeroize, Zeroizing};

use crate::chain::{Audience, ChainStart, DeviceSecret, verify_signature};
use crate::codec::{CodecError, encode_into};
use crate::event::Payload;
use crate::ids::{ChainId, CrewId, DeviceKey, EventHash, PersonId};
use crate::kinds::Body;
use crate::roster_events::{DeviceRetired, Recovered};

/// How many words there are.
pub const WORDS: usize = 12;
/// Random bytes behind the words.
pub const ENTROPY: usize = 16;
/// Most words that are offered for one that is not on the list.
const OFFERED: usize = 3;

/// Why words are not recovery words. Places count from one, as on the paper.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum WordFault {
    /// There are more or fewer than twelve.
    #[error("the recovery words are {WORDS}, and these are {0}")]
    Count(usize),
    /// One is not on the list.
    #[error("word {place}, {word:?}, is not a recovery word{}", offer(.like))]
    Unknown {
        /// Which.
        place: usize,
        /// As it was typed.
        word: String,
        /// Words of the list that are like it.
        like: Vec<&'static str>,
    },
    /// Each is on the list, and together they don't fit.
    #[error(
        "each of these is a recovery word, but they don't fit together: one is another word of the list, \
         or two have changed places. Compare each with the paper"
    )]
    Together,
    /// They are the words of another crew, or one was misread.
    #[error("these are not this crew's recovery words{}", place.map(misread).unwrap_or_default())]
    AnotherCrew {
        /// The one word that differs from the crew's, if it is one.
        place: Option<usize>,
    },
}

fn offer(like: &[&str]) -> String {
    if like.is_empty() { String::new() } else { format!("; did you mean {}?", like.join(" or ")) }
}

fn misread(place: usize) -> String {
    format!(": word {place} is another one on the paper")
}

/// The recovery words and the key that they derive. Wiped from memory when dropped; never printed by accident.
pub struct RecoverySecret(Zeroizing<[u8; ENTROPY]>);

impl RecoverySecret {
    /// The secret from 16 random bytes.
    #[must_use]
    pub fn from_entropy(entropy: [u8; ENTROPY]) -> Self {
        Self(Zeroizing::new(entropy))
    }

    /// The words, in their order.
    #[must_use]
    pub fn words(&self) -> Vec<&'static str> {
        // 16 bytes are one of the lengths that the list is for.
        Mnemonic::from_entropy_in(Language::English, &*self.0)
            .map(|words| words.words().collect())
            .unwrap_or_default()
    }

    /// Reads words as somebody types them: in any case, with numbers and commas between them. The first four
    /// letters of a word are enough, since no two words of the list share them.
    ///
    /// # Errors
    /// A [`WordFault`] that names the first wrong word.
    pub fn from_words(text: &str) -> Result<Self, WordFault> {
        Self::from_places(&places(text)?).ok_or(WordFault::Together)
    }

    /// Reads the words of a crew whose key is known.
    ///
    /// # Errors
    /// A [`WordFault`]; where one word alone is wrong, it says which.
    pub fn of_crew(text: &str, key: &DeviceKey) -> Result<Self, WordFault> {
        let places = places(text)?;
        match Self::from_places(&places).filter(|secret| secret.public() == *key) {
            Some(secret) => Ok(secret),
            None => Err(WordFault::AnotherCrew { place: wrong_place(&places, key) }),
        }
    }

    fn from_places(places: &[usize; WORDS]) -> Option<Self> {
        let list = Language::English.word_list();
        let words: Vec<&str> = places.iter().filter_map(|place| list.get(*place).copied()).collect();
        let text = Zeroizing::new(words.join(" "));
        let (mut bytes, length) =
            Mnemonic::parse_in_normalized(Language::English, &text).ok()?.to_entropy_array();
        let entropy = bytes.get(..length)?.try_into().ok().map(Self::from_entropy);
        bytes.zeroize();
        entropy
    }

    /// The key pair. Its seed is BLAKE3 in derive-key mode over the 16 bytes: 128 random bits can't be
    /// guessed, so that they need no slow derivation.
    #[must_use]
    pub fn key_pair(&self) -> DeviceSecret {
        let seed = Zeroizing::new(blake3::derive_key("fivebar recovery words 1", &*self.0));
        DeviceSecret::from_seed(&seed)
    }

    /// The public half, as it stands in the founding event.
    #[must_use]
    pub fn public(&self) -> DeviceKey {
        self.key_pair().public()
    }

    /// Signs a certificate: the content of a [`Recovered`] event that begins a crew chain and names `replaces`.
    ///
    /// # Errors
    /// [`CodecError::TooLarge`] for more than an event can hold.
    pub fn certify(
        &self,
        crew: &CrewId,
        start: &ChainStart,
        replaces: &[EventHash],
        (name, person): (String, PersonId),
        retires: Vec<DeviceRetired>,
    ) -> Result<Recovered, CodecError> {
        let device = start.device;
        let mut recovered = Recovered { device, name, person, retires, signature: [[0; 32]; 2] };
        let signed = self.key_pair().sign(&signed_bytes(crew, &start.chain, &recovered, replaces)?);
        let (first, second) = signed.split_at(32);
        recovered.signature[0].copy_from_slice(first);
        recovered.signature[1].copy_from_slice(second);
        Ok(recovered)
    }
}

impl std::fmt::Debug for RecoverySecret {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "RecoverySecret of {:?}", self.public())
    }
}

/// Whether the first event of a chain is a certificate of this crew's recovery key. It is made for the chain and
/// its device, and counts nowhere else: a device that was stolen since can't say it again further on.
#[must_use]
pub fn is_certificate(crew: &CrewId, key: &DeviceKey, start: &ChainStart, first: &Payload) -> bool {
    let Body::Recovered(recovered) = &first.body else { return false };
    let mut signature = [0; 64];
    signature[..32].copy_from_slice(&recovered.signature[0]);
    signature[32..].copy_from_slice(&recovered.signature[1]);
    recovered.device == start.device
        && start.audience == Audience::Crew
        && signed_bytes(crew, &start.chain, recovered, &first.act.replaces)
            .is_ok_and(|bytes| verify_signature(key, &bytes, &signature).is_ok())
}

/// What the recovery key signs. What a certificate replaces is signed too, so that nobody but who has the
/// words moves a cut that they made.
fn signed_bytes(
    crew: &CrewId,
    chain: &ChainId,
    recovered: &Recovered,
    replaces: &[EventHash],
) -> Result<Vec<u8>, CodecError> {
    let mut bytes = b"fivebar recovery 1".to_vec();
    bytes.extend_from_slice(&crew.0);
    bytes.extend_from_slice(&chain.0);
    encode_into(&(recovered.device, &recovered.name, recovered.person), &mut bytes)?;
    encode_into(&recovered.retires, &mut bytes)?;
    encode_into(&replaces, &mut bytes)?;
    Ok(bytes)
}

/// The words' places in the list.
fn places(text: &str) -> Result<[usize; WORDS], WordFault> {
    let is_number = |word: &&str| word.bytes().all(|byte| byte.is_ascii_digit());
    let typed: Vec<&str> = text
        .split(|letter: char| !letter.is_alphanumeric())
        .filter(|word| !word.is_empty() && !is_number(word))
        .collect();
    let mut places = [0; WORDS];
    // A wrong word is worth more to whoever types than a wrong count.
    for (at, word) in typed.iter().enumerate() {
        let place = place_of(&word.to_lowercase());
        let place = place.ok_or_else(|| unknown(at + 1, word))?;
        if let Some(slot) = places.get_mut(at) {
            *slot = place;
        }
    }
    if typed.len() == WORDS { Ok(places) } else { Err(WordFault::Count(typed.len())) }
}

fn place_of(word: &str) -> Option<usize> {
    let list = Language::English.word_list();
    let exact = list.iter().position(|listed| *listed == word);
    exact.or_else(|| {
        let is_beginning = word.chars().count() == 4;
        list.iter().position(|listed| is_beginning && listed.starts_with(word))
    })
}

fn unknown(place: usize, word: &str) -> WordFault {
    let lower = word.to_lowercase();
    let mut like: Vec<(usize, &'static str)> =
        Language::English.word_list().iter().map(|listed| (distance(&lower, listed), *listed)).collect();
    like.sort_unstable();
    let near = like.into_iter().filter(|(distance, _)| *distance <= 2).take(OFFERED);
    WordFault::Unknown { place, word: word.to_owned(), like: near.map(|(_, listed)| listed).collect() }
}

/// How many letters must be put in, left out or changed to make one word of the other (Levenshtein).
fn distance(one: &str, other: &str) -> usize {
    let other: Vec<char> = other.chars().collect();
    let mut row: Vec<usize> = (0..=other.len()).collect();
    for (at, letter) in one.chars().enumerate() {
        let mut before = at;
        let mut last = at + 1;
        for (place, against) in row.iter_mut().skip(1).zip(&other) {
            let changed = before + usize::from(letter != *against);
            before = *place;
            last = changed.min(*place + 1).min(last + 1);
            *place = last;
        }
        if let Some(first) = row.first_mut() {
            *first = at + 1;
        }
    }
    row.last().copied().unwrap_or_default()
}

/// The place of the one word by which these differ from the words of a key. Trying every word at every place
/// takes a moment, and tells nothing that whoever holds eleven of the words could not find out.
fn wrong_place(places: &[usize; WORDS], key: &DeviceKey) -> Option<usize> {
    (0..WORDS).find_map(|at| {
        let mut tried = *places;
        let fits = (0..Language::English.word_list().len()).any(|word| {
            if let Some(slot) = tried.get_mut(at) {
                *slot = word;
            }
            RecoverySecret::from_places(&tried).is_some_and(|secret| secret.public() == *key)
        });
        fits.then_some(at + 1)
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// From the vectors that BIP-39 refers to (github.com/trezor/python-mnemonic, `vectors.json`, English):
    /// entropy and words.
    const PUBLISHED: [([u8; 16], &str); 4] = [
        (
            [0; 16],
            "abandon abandon abandon abandon abandon abandon abandon abandon abandon abandon abandon about",
        ),
        ([0x7f; 16], "legal winner thank year wave sausage worth useful legal winner thank yellow"),
        ([0x80; 16], "letter advice cage absurd amount doctor acoustic avoid letter advice cage above"),
        ([0xff; 16], "zoo zoo zoo zoo zoo zoo zoo zoo zoo zoo zoo wrong"),
    ];

    #[test]
    fn the_words_are_those_of_the_published_vectors() {
        for (entropy, words) in PUBLISHED {
            let secret = RecoverySecret::from_entropy(entropy);
            assert_eq!(secret.words().join(" "), words);
            assert_eq!(RecoverySecret::from_words(words).unwrap().public(), secret.public());
        }
    }

    #[test]
    fn words_are_taken_as_people_type_them() {
        let typed = " 1. Legal 2. WINNER, 3. thank; year wave saus wort usef\nlegal winn than yell ";
        let read = RecoverySecret::from_words(typed).unwrap();
        assert_eq!(read.public(), RecoverySecret::from_entropy([0x7f; 16]).public());
    }

    #[test]
    fn a_wrong_word_is_named() {
        let fault = |text: &str| RecoverySecret::from_words(text).unwrap_err().to_string();
        let words = PUBLISHED[1].1;
        let typo = fault(&words.replacen("sausage", "sossage", 1));
        assert!(typo.contains("word 6, \"sossage\"") && typo.contains("sausage"), "{typo}");
        let strange = fault(&words.replacen("sausage", "plasterboard", 1));
        assert!(strange.ends_with("is not a recovery word"), "{strange}");
        assert_eq!(fault("legal winner"), "the recovery words are 12, and these are 2");
        assert!(fault(&words.replacen("yellow", "zoo", 1)).contains("don't fit together"));
    }

    #[test]
    fn of_a_known_crew_the_one_wrong_word_is_found_even_if_it_is_on_the_list() {
        let key = RecoverySecret::from_entropy([0x7f; 16]).public();
        let words = PUBLISHED[1].1;
        assert!(RecoverySecret::of_crew(words, &key).is_ok());
        let misread = RecoverySecret::of_crew(&words.replacen("sausage", "above", 1), &key).unwrap_err();
        assert_eq!(misread, WordFault::AnotherCrew { place: Some(6) });
        let another = RecoverySecret::of_crew(PUBLISHED[3].1, &key).unwrap_err();
        assert_eq!(another, WordFault::AnotherCrew { place: None });
    }

    #[test]
    fn distance_counts_letters() {
        let table = [("skim", "skim", 0), ("skin", "skim", 1), ("", "stud", 4), ("lath", "laths", 1)];
        for (one, other, letters) in table {
            assert_eq!((distance(one, other), distance(other, one)), (letters, letters), "{one} {other}");
        }
    }
}
