//! Names for things: hashes, keys and ids. Fixed width, printed as lower-case hex.

use std::fmt;
use std::str::FromStr;

use serde::{Deserialize, Deserializer, Serialize, Serializer, de::Error as _};

/// A text is not the hex of an id of the wanted width.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("not an id; {0} hex digits are wanted")]
pub struct NotAnId(usize);

fn parse_hex<const N: usize>(text: &str) -> Result<[u8; N], NotAnId> {
    let digit = |byte: u8| char::from(byte).to_digit(16).and_then(|value| u8::try_from(value).ok());
    let text = text.as_bytes();
    if text.len() != N * 2 || text.iter().any(u8::is_ascii_uppercase) {
        return Err(NotAnId(N * 2));
    }
    let mut bytes = [0; N];
    for (byte, pair) in bytes.iter_mut().zip(text.chunks_exact(2)) {
        let (high, low) = digit(pair[0]).zip(digit(pair[1])).ok_or(NotAnId(N * 2))?;
        *byte = high << 4 | low;
    }
    Ok(bytes)
}

/// An id as numbers of 16 bytes each. A format reads one number at once and an array byte by byte, to the
/// same bytes; ids are most of what an event says, so that sets the pace at which a ledger is read.
fn to_numbers<const WIDTH: usize, const COUNT: usize>(bytes: &[u8; WIDTH]) -> [u128; COUNT] {
    let mut numbers = [0; COUNT];
    for (number, bytes) in numbers.iter_mut().zip(bytes.as_chunks().0) {
        *number = u128::from_le_bytes(*bytes);
    }
    numbers
}

/// Reads what [`to_numbers`] gives.
fn from_numbers<const WIDTH: usize, const COUNT: usize>(numbers: [u128; COUNT]) -> [u8; WIDTH] {
    let mut bytes = [0; WIDTH];
    for (bytes, number) in bytes.as_chunks_mut().0.iter_mut().zip(numbers) {
        *bytes = number.to_le_bytes();
    }
    bytes
}

macro_rules! id {
    ($(#[$doc:meta])* $name:ident, $width:literal) => {
        $(#[$doc])*
        #[derive(Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
        pub struct $name(pub [u8; $width]);

        impl $name {
            /// The first eight hex digits: enough to tell things apart on a screen, never to identify.
            #[must_use]
            pub fn short(&self) -> String {
                self.0.iter().take(4).map(|byte| format!("{byte:02x}")).collect()
            }
        }

        impl fmt::Display for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
            }
        }

        impl fmt::Debug for $name {
            fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                write!(f, "{}({})", stringify!($name), self.short())
            }
        }

        impl FromStr for $name {
            type Err = NotAnId;
            fn from_str(text: &str) -> Result<Self, NotAnId> {
                parse_hex(text).map(Self)
            }
        }

        impl Serialize for $name {
            fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
                if serializer.is_human_readable() {
                    serializer.collect_str(self)
                } else {
                    to_numbers::<$width, { $width / 16 }>(&self.0).serialize(serializer)
                }
            }
        }

        impl<'de> Deserialize<'de> for $name {
            fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
                if deserializer.is_human_readable() {
                    String::deserialize(deserializer)?.parse().map_err(D::Error::custom)
                } else {
                    <[u128; $width / 16]>::deserialize(deserializer).map(|numbers| Self(from_numbers(numbers)))
                }
            }
        }
    };
}

id! {
    /// A crew: the hash of its founding event.
    CrewId, 32
}
id! {
    /// An event: BLAKE3 over its place and the hash of what it says.
    EventHash, 32
}
id! {
    /// A device: its Ed25519 public key.
    DeviceKey, 32
}
id! {
    /// A photo: BLAKE3 over the bytes of its file.
    PhotoHash, 32
}
id! {
    /// One chain of one device.
    ChainId, 16
}
id! {
    /// A person of the crew.
    PersonId, 16
}
id! {
    /// An entry, as numbered by whoever logged it. Unique together with the person: [`EntryRef`].
    EntryId, 16
}
id! {
    /// A job.
    JobId, 16
}
id! {
    /// A stage of a job.
    StageId, 16
}
id! {
    /// An item of the price book.
    ItemId, 16
}
id! {
    /// A line of a job's costing.
    LineId, 16
}
id! {
    /// A version of a quote.
    QuoteId, 16
}
id! {
    /// A payment point of a quote.
    PointId, 16
}
id! {
    /// An invoice or a credit note.
    InvoiceId, 16
}
id! {
    /// A key that the office's events are sealed with.
    OfficeKeyId, 16
}
id! {
    /// A person's page session on a shared device.
    SessionId, 16
}

/// Which entry is meant: the person who acted, and the id that was made when it was logged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct EntryRef {
    /// Who acted.
    pub person: PersonId,
    /// The entry's id.
    pub entry: EntryId,
}

/// Derives an id from a crew and words, so that devices which import the same row, apart from each
/// other, give it the same id. Each word is preceded by its length, so no two lists collide.
#[must_use]
pub fn derive_id(crew: &CrewId, what: &str, words: &[&str]) -> [u8; 16] {
    let mut hasher = blake3::Hasher::new_derive_key("fivebar id 1");
    hasher.update(&crew.0);
    for word in std::iter::once(&what).chain(words) {
        hasher.update(&u64::try_from(word.len()).unwrap_or(u64::MAX).to_le_bytes());
        hasher.update(word.as_bytes());
    }
    let mut id = [0; 16];
    id.copy_from_slice(&hasher.finalize().as_bytes()[..16]);
    id
}

impl PersonId {
    /// The person of this name.
    #[must_use]
    pub fn named(crew: &CrewId, name: &str) -> Self {
        Self(derive_id(crew, "person", &[name]))
    }
}

impl JobId {
    /// The job with this code.
    #[must_use]
    pub fn named(crew: &CrewId, code: &str) -> Self {
        Self(derive_id(crew, "job", &[code]))
    }
}

impl StageId {
    /// The stage of this name in the job with this code.
    #[must_use]
    pub fn named(crew: &CrewId, job_code: &str, name: &str) -> Self {
        Self(derive_id(crew, "stage", &[job_code, name]))
    }
}

impl ItemId {
    /// The price-book item of this name.
    #[must_use]
    pub fn named(crew: &CrewId, name: &str) -> Self {
        Self(derive_id(crew, "item", &[name]))
    }
}

impl LineId {
    /// The costing line for this thing in this stage; `kind` is `labour` or `material`.
    #[must_use]
    pub fn named(crew: &CrewId, job_code: &str, stage: &str, kind: &str, what: &str) -> Self {
        Self(derive_id(crew, "costing line", &[job_code, stage, kind, what]))
    }
}

impl EntryId {
    /// The entry for a row of an imported file: `table` says which, `key` is the row's own key.
    #[must_use]
    pub fn of_row(crew: &CrewId, table: &str, key: &str) -> Self {
        Self(derive_id(crew, "row", &[table, key]))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ids_survive_text_and_nothing_else_is_taken() {
        let id = JobId([0xa7; 16]);
        assert_eq!(id.to_string().parse(), Ok(id));
        assert_eq!(id.short(), "a7a7a7a7");
        for text in ["", "a7", &"A7".repeat(16), &"g7".repeat(16), &"a7".repeat(17)] {
            assert_eq!(text.parse::<JobId>(), Err(NotAnId(32)), "{text:?}");
        }
    }

    #[test]
    fn the_ledger_s_bytes_of_an_id_are_its_own() {
        let id: [u8; 32] = std::array::from_fn(|place| u8::try_from(place).unwrap());
        let mut bytes = Vec::new();
        crate::codec::encode_into(&EventHash(id), &mut bytes).unwrap();
        assert_eq!(bytes, id);
        assert_eq!(crate::codec::decode_all(&bytes), Ok(EventHash(id)));
        assert!(crate::codec::decode_all::<EventHash>(&bytes[1..]).is_err());
    }

    #[test]
    fn derived_ids_depend_on_crew_kind_and_where_words_part() {
        let crew = CrewId([1; 32]);
        assert_eq!(StageId::named(&crew, "MILL", "skim"), StageId::named(&crew, "MILL", "skim"));
        assert_ne!(StageId::named(&crew, "MILL", "skim").0, StageId::named(&crew, "MILLs", "kim").0);
        assert_ne!(JobId::named(&crew, "MILL").0, ItemId::named(&crew, "MILL").0);
        assert_ne!(JobId::named(&crew, "MILL"), JobId::named(&CrewId([2; 32]), "MILL"));
    }
}
