//! A plain fuzzer: it bends what honest programs write, from a seed, and feeds it to a target. It knows nothing of the
//! program's branches, and needs nothing but this workspace.

use std::panic::{AssertUnwindSafe, catch_unwind};

use crate::corpus;
use crate::targets::Target;

/// Numbers at which lengths and counts break.
const EDGES: [u64; 10] = [0, 1, 0x7F, 0x80, 0xFF, 0xFFFF, 0x1_0000, 0x7FFF_FFFF, 0xFFFF_FFFF, u64::MAX];
/// Longest input in bytes.
const LONGEST: usize = 256 * 1024;

/// SplitMix64 (Steele, Lea and Flood, 2014).
#[derive(Debug)]
pub struct Dice(pub u64);

impl Dice {
    fn below(&mut self, end: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.0;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        usize::try_from((mixed ^ (mixed >> 31)) % (end.max(1) as u64)).unwrap_or_default()
    }
}

/// Bends bytes in one to six places.
#[must_use]
pub fn bend(bytes: &[u8], others: &[Vec<u8>], dice: &mut Dice) -> Vec<u8> {
    let mut bent = bytes.to_vec();
    for _ in 0..=dice.below(6) {
        let at = dice.below(bent.len());
        let end = (at + 1 + dice.below(64)).min(bent.len());
        match dice.below(8) {
            0 => bent.truncate(at),
            1 => drop(bent.drain(at..end)),
            2 => {
                let piece = bent.get(at..end).unwrap_or_default().to_vec();
                bent.splice(at..at, piece);
            }
            3 => {
                // A count or a length becomes one at which things break.
                let edge = EDGES[dice.below(EDGES.len())].to_le_bytes();
                let width = [1, 2, 4, 8][dice.below(4)].min(bent.len().saturating_sub(at));
                bent.splice(at..at + width, edge[..width].iter().copied());
            }
            4 => {
                let other = others.get(dice.below(others.len())).map_or(&[][..], Vec::as_slice);
                let from = dice.below(other.len());
                let piece = other.get(from..(from + 256).min(other.len())).unwrap_or_default();
                bent.splice(at..at, piece.iter().copied());
            }
            5 => {
                if let Some(byte) = bent.get_mut(at) {
                    *byte = u8::try_from(dice.below(256)).unwrap_or_default();
                }
            }
            _ => {
                if let Some(byte) = bent.get_mut(at) {
                    *byte ^= 1 << dice.below(8);
                }
            }
        }
    }
    bent.truncate(LONGEST);
    bent
}

/// Feeds a target with so many bent inputs. Gives the first one on which it panics.
#[must_use]
pub fn feed(name: &str, target: Target, seed: u64, inputs: u64) -> Option<Vec<u8>> {
    let mut kept = corpus::of(name);
    let mut dice = Dice(seed);
    let begun: Vec<Vec<u8>> = kept.clone();
    for honest in begun {
        if catch_unwind(AssertUnwindSafe(|| target(&honest))).is_err() {
            return Some(honest);
        }
    }
    for _ in 0..inputs {
        let bent = bend(&kept[dice.below(kept.len())], &kept, &mut dice);
        if catch_unwind(AssertUnwindSafe(|| target(&bent))).is_err() {
            return Some(bent);
        }
        // Now and then one that was bent is bent further.
        if dice.below(64) == 0 && kept.len() < 4096 {
            kept.push(bent);
        }
    }
    None
}
