//! The signed list: which files belong to a handover, each with the hash of its bytes, under the signature of the
//! device that made it.
//!
//! It is text, and there is one way to write it, so that each of its own bytes counts.

use std::collections::BTreeMap;

use ledger::chain::verify_signature;
use ledger::{CrewId, DeviceKey, DeviceSecret};

/// What the first line says, and what the signature is over first.
const MARK: &str = "fivebar handover 1";

/// A file of the list.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Listed {
    pub(super) bytes: u64,
    pub(super) hash: [u8; 32],
}

/// A list that was read.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct SignedList {
    pub(super) crew: CrewId,
    pub(super) device: DeviceKey,
    pub(super) files: BTreeMap<String, Listed>,
    /// Whether the signature is the device's, over this very list.
    pub(super) is_signed: bool,
}

/// The hash of a file: BLAKE3, as the hash of a photo is.
#[must_use]
pub fn hash_of(bytes: &[u8]) -> [u8; 32] {
    *blake3::hash(bytes).as_bytes()
}

/// The list of these files, each by its name, length and hash, signed.
#[must_use]
pub fn signed_list(
    crew: &CrewId,
    device: &DeviceSecret,
    files: impl IntoIterator<Item = (String, u64, [u8; 32])>,
) -> String {
    let listed = files.into_iter().map(|(name, bytes, hash)| (name, Listed { bytes, hash }));
    let mut text = unsigned(crew, &device.public(), &listed.collect());
    let signature = hex::encode(device.sign(text.as_bytes()));
    text.push_str(&format!("signature {signature}\n"));
    text
}

fn unsigned(crew: &CrewId, device: &DeviceKey, files: &BTreeMap<String, Listed>) -> String {
    let mut text = format!("{MARK}\ncrew {crew}\ndevice {device}\n");
    for (name, Listed { bytes, hash }) in files {
        text.push_str(&format!("{} {bytes} {name}\n", hex::encode(hash)));
    }
    text
}

/// Reads lower-case hex and nothing else.
pub(super) fn unhex<const N: usize>(text: &str) -> Option<[u8; N]> {
    let mut bytes = [0; N];
    hex::decode_to_slice(text, &mut bytes).ok()?;
    (hex::encode(bytes) == text).then_some(bytes)
}

/// Reads a list. None for what is not written as lists are.
pub(super) fn read_list(bytes: &[u8]) -> Option<SignedList> {
    let text = std::str::from_utf8(bytes).ok()?;
    let mut lines = text.lines();
    if lines.next() != Some(MARK) {
        return None;
    }
    let crew: CrewId = lines.next()?.strip_prefix("crew ")?.parse().ok()?;
    let device: DeviceKey = lines.next()?.strip_prefix("device ")?.parse().ok()?;
    let mut files = BTreeMap::new();
    let signature = loop {
        let line = lines.next()?;
        if let Some(signature) = line.strip_prefix("signature ") {
            break unhex::<64>(signature)?;
        }
        let mut parts = line.splitn(3, ' ');
        let (hash, bytes, name) = (parts.next()?, parts.next()?, parts.next()?);
        files.insert(name.to_owned(), Listed { bytes: bytes.parse().ok()?, hash: unhex(hash)? });
    };
    let unsigned = unsigned(&crew, &device, &files);
    // What was read says the same as the text only if it is written the same.
    if format!("{unsigned}signature {}\n", hex::encode(signature)) != text {
        return None;
    }
    let is_signed = verify_signature(&device, unsigned.as_bytes(), &signature).is_ok();
    Some(SignedList { crew, device, files, is_signed })
}
