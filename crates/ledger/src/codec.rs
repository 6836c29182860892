//! The one place that knows bincode: fixed-width little-endian integers, a limit, no trailing bytes.
//!
//! Without the limit a 12-byte message that claims an enormous list aborts the process.

use bincode::config::{Configuration, Fixint, Limit, LittleEndian};
use serde::Serialize;
use serde::de::DeserializeOwned;

/// Most bytes that a payload may have: 256 KiB.
pub const MAX_PAYLOAD: usize = 256 * 1024;

const CONFIG: Configuration<LittleEndian, Fixint, Limit<MAX_PAYLOAD>> =
    bincode::config::standard().with_fixed_int_encoding().with_limit::<MAX_PAYLOAD>();

/// Why bytes could not be read or a value could not be written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum CodecError {
    /// The bytes are not what this version writes.
    #[error("the bytes do not decode")]
    Malformed,
    /// Bytes are left over behind the value.
    #[error("bytes are left over behind the value")]
    TrailingBytes,
    /// The value is larger than 256 KiB, or can't be represented.
    #[error("the value is too large to be kept")]
    TooLarge,
}

/// Appends the bytes of a value.
///
/// # Errors
/// [`CodecError::TooLarge`] when `out` passes [`MAX_PAYLOAD`].
pub fn encode_into<T: Serialize>(value: &T, out: &mut Vec<u8>) -> Result<(), CodecError> {
    let bytes = bincode::serde::encode_to_vec(value, CONFIG).map_err(|_| CodecError::TooLarge)?;
    if out.len() + bytes.len() > MAX_PAYLOAD {
        return Err(CodecError::TooLarge);
    }
    out.extend_from_slice(&bytes);
    Ok(())
}

/// Reads a value from the front, and says how many bytes it took.
///
/// # Errors
/// [`CodecError::Malformed`].
pub fn decode_front<T: DeserializeOwned>(bytes: &[u8]) -> Result<(T, usize), CodecError> {
    bincode::serde::decode_from_slice(bytes, CONFIG).map_err(|_| CodecError::Malformed)
}

/// Reads a value that takes all of the bytes.
///
/// # Errors
/// [`CodecError::Malformed`], or [`CodecError::TrailingBytes`].
pub fn decode_all<T: DeserializeOwned>(bytes: &[u8]) -> Result<T, CodecError> {
    let (value, used) = decode_front(bytes)?;
    if used == bytes.len() { Ok(value) } else { Err(CodecError::TrailingBytes) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_short_message_that_claims_a_huge_list_is_refused() {
        let mut bytes = u64::MAX.to_le_bytes().to_vec();
        bytes.extend([0; 4]);
        assert_eq!(decode_all::<Vec<u64>>(&bytes), Err(CodecError::Malformed));
        assert_eq!(decode_all::<String>(&bytes), Err(CodecError::Malformed));
    }

    #[test]
    fn bytes_left_over_are_refused() {
        assert_eq!(decode_all::<u8>(&[1, 2]), Err(CodecError::TrailingBytes));
        assert_eq!(decode_all::<bool>(&[2]), Err(CodecError::Malformed));
        assert_eq!(decode_all::<Option<u8>>(&[2, 0]), Err(CodecError::Malformed));
    }
}
