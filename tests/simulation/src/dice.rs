//! Dice: all that is left to chance, from a seed. Equal seeds throw equally, on every machine and in every build.

/// SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number generators", 2014).
#[derive(Debug, Clone)]
pub struct Dice {
    state: u64,
}

impl Dice {
    /// Dice that are thrown by a seed.
    #[must_use]
    pub const fn new(seed: u64) -> Self {
        Self { state: seed }
    }

    /// Dice for one thing of several: what is thrown for one does not shift what is thrown for another.
    #[must_use]
    pub fn for_part(seed: u64, part: u64) -> Self {
        let mut both = Self::new(seed ^ part.wrapping_mul(0xD6E8_FEB8_6659_FD93));
        Self::new(both.throw())
    }

    /// The next 64 bits.
    pub fn throw(&mut self) -> u64 {
        self.state = self.state.wrapping_add(0x9E37_79B9_7F4A_7C15);
        let mut mixed = self.state;
        mixed = (mixed ^ (mixed >> 30)).wrapping_mul(0xBF58_476D_1CE4_E5B9);
        mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94D0_49BB_1331_11EB);
        mixed ^ (mixed >> 31)
    }

    /// A number below `end`; 0 where that is 0.
    pub fn below(&mut self, end: u64) -> u64 {
        self.throw().checked_rem(end).unwrap_or_default()
    }

    /// A place in a list of this length.
    pub fn place(&mut self, length: usize) -> usize {
        usize::try_from(self.below(length as u64)).unwrap_or_default()
    }

    /// Whether the one of so many cases came.
    pub fn one_in(&mut self, cases: u64) -> bool {
        self.below(cases) == 0
    }

    /// One of a list; none of an empty one.
    pub fn pick<'a, T>(&mut self, of: &'a [T]) -> Option<&'a T> {
        of.get(self.place(of.len()))
    }

    /// Fills all of `bytes`.
    pub fn fill(&mut self, bytes: &mut [u8]) {
        for eight in bytes.chunks_mut(8) {
            let thrown = self.throw().to_le_bytes();
            eight.copy_from_slice(&thrown[..eight.len()]);
        }
    }
}
