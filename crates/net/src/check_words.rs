//! Check words: three words that both screens show while two devices pair.
//!
//! They come from the secret of this very connection, so they are the same on both screens exactly
//! when nobody stands in between. People compare them; the program never does.

use std::fmt;

/// Short, unlike each other when called across a site, and known to everybody there.
const WORDS: [&str; 64] = [
    "adze", "anvil", "batten", "beam", "bolt", "brick", "broom", "bucket", "canvas", "cement", "chalk",
    "chisel", "clamp", "copper", "dado", "door", "dowel", "drill", "elbow", "fence", "flange", "float",
    "gable", "girder", "glass", "gravel", "gutter", "hammer", "hinge", "hopper", "jack", "joist", "kerb",
    "ladder", "latch", "lintel", "mallet", "mitre", "mortar", "nail", "oak", "paint", "pipe", "plinth",
    "pulley", "putty", "rafter", "ridge", "rope", "sand", "shovel", "slate", "socket", "spirit", "tenon",
    "tile", "timber", "trestle", "trowel", "valve", "vice", "washer", "wedge", "window",
];

/// Three of 64 words: one in 262,144 falls together by chance.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct CheckWords([&'static str; 3]);

impl CheckWords {
    /// The words for three bytes of keying material, of which the low six bits of each are used.
    #[must_use]
    pub fn from_bytes(bytes: [u8; 3]) -> Self {
        Self(bytes.map(|byte| WORDS.get(usize::from(byte & 63)).copied().unwrap_or_default()))
    }
}

impl fmt::Display for CheckWords {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0.join(" "))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_words_are_distinct_and_every_byte_has_one() {
        let mut sorted = WORDS.to_vec();
        sorted.sort_unstable();
        sorted.dedup();
        assert_eq!(sorted.len(), WORDS.len());
        assert_eq!(CheckWords::from_bytes([0, 63, 64]).to_string(), "adze window adze");
    }
}
