//! How long to wait before a peer is tried again.

use std::time::Duration;

const SHORTEST_MS: u64 = 1_000;
const LONGEST_MS: u64 = 60_000;

/// Waits that double from one second to a minute. A random part, so that phones that lost the same
/// network don't all come back in the same moment.
#[derive(Debug, Clone, Copy, Default)]
pub struct BackOff {
    failures: u32,
}

impl BackOff {
    /// Begins again from the shortest wait.
    pub fn reset(&mut self) {
        self.failures = 0;
    }

    /// Goes to the longest wait at once.
    pub fn exhaust(&mut self) {
        self.failures = 32;
    }

    /// The next wait: between half of the full one and all of it, as `random` has it.
    pub fn next_wait(&mut self, random: u32) -> Duration {
        let full = SHORTEST_MS.saturating_mul(1_u64 << self.failures.min(32)).min(LONGEST_MS);
        self.failures = self.failures.saturating_add(1);
        let half = full / 2;
        Duration::from_millis(half + half * u64::from(random) / u64::from(u32::MAX))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_double_to_a_minute_and_the_random_part_is_at_most_half() {
        let waits = |random| {
            let mut back_off = BackOff::default();
            [(); 8].map(|()| back_off.next_wait(random).as_millis())
        };
        assert_eq!(waits(u32::MAX), [1_000, 2_000, 4_000, 8_000, 16_000, 32_000, 60_000, 60_000]);
        assert_eq!(waits(0), [500, 1_000, 2_000, 4_000, 8_000, 16_000, 30_000, 30_000]);
        let mut back_off = BackOff::default();
        back_off.exhaust();
        assert_eq!(back_off.next_wait(u32::MAX).as_millis(), 60_000);
        back_off.reset();
        assert_eq!(back_off.next_wait(u32::MAX).as_millis(), 1_000);
    }
}
