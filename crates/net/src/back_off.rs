//! How long to wait before a peer is tried again.

use std::time::Duration;

const SHORTEST: Duration = Duration::from_secs(1);

/// Waits that double from one second to the longest. A random part, so that phones that lost the same
/// network don't all come back in the same moment.
#[derive(Debug, Clone, Copy)]
pub struct BackOff {
    failures: u32,
    longest: Duration,
}

impl BackOff {
    /// Waits that grow to this one.
    #[must_use]
    pub const fn up_to(longest: Duration) -> Self {
        Self { failures: 0, longest }
    }

    /// Begins again from the shortest wait.
    pub fn reset(&mut self) {
        self.failures = 0;
    }

    /// Goes to the longest wait at once.
    pub fn exhaust(&mut self) {
        self.failures = 16;
    }

    /// The next wait: between half of the full one and all of it, as `random` has it.
    pub fn next_wait(&mut self, random: u32) -> Duration {
        let full = SHORTEST.saturating_mul(1 << self.failures.min(16)).min(self.longest);
        self.failures = self.failures.saturating_add(1);
        spread(full, random)
    }
}

/// Between half of a time and all of it, as `random` has it.
#[must_use]
pub fn spread(full: Duration, random: u32) -> Duration {
    let half_ms = u64::try_from(full.as_millis() / 2).unwrap_or(u64::MAX / 2);
    let part = u128::from(half_ms) * u128::from(random) / u128::from(u32::MAX);
    Duration::from_millis(half_ms + u64::try_from(part).unwrap_or(half_ms))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn waits_double_to_the_longest_and_the_random_part_is_at_most_half() {
        let minute = BackOff::up_to(Duration::from_secs(60));
        let waits = |random| {
            let mut back_off = minute;
            [(); 8].map(|()| back_off.next_wait(random).as_millis())
        };
        assert_eq!(waits(u32::MAX), [1_000, 2_000, 4_000, 8_000, 16_000, 32_000, 60_000, 60_000]);
        assert_eq!(waits(0), [500, 1_000, 2_000, 4_000, 8_000, 16_000, 30_000, 30_000]);
        let mut back_off = minute;
        back_off.exhaust();
        assert_eq!(back_off.next_wait(u32::MAX).as_millis(), 60_000);
        back_off.reset();
        assert_eq!(back_off.next_wait(u32::MAX).as_millis(), 1_000);
        back_off.failures = u32::MAX;
        assert_eq!(back_off.next_wait(u32::MAX).as_millis(), 60_000);
    }
}
