//! What a device lives on, and what that asks of the network.

use std::time::Duration;

use crate::driver::Stay;

/// What the device lives on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Power {
    /// It stays connected, so that what is logged anywhere is everywhere at once.
    #[default]
    Mains,
    /// It meets the others, hangs up once both hold the same, and looks in again later: a radio that may sleep
    /// in between lasts the day.
    Battery,
}

impl Power {
    /// How often a quiet connection is kept from counting as gone.
    pub(crate) const fn keep_alive(self) -> Option<Duration> {
        match self {
            Self::Mains => Some(Duration::from_secs(10)),
            Self::Battery => None,
        }
    }

    /// When a session of this side ends.
    pub(crate) const fn stay(self) -> Stay {
        match self {
            Self::Mains => Stay::Connected,
            Self::Battery => Stay::UntilSettled,
        }
    }

    /// The longest wait before a peer that was not reached is tried again.
    pub(crate) const fn longest_wait(self) -> Duration {
        match self {
            Self::Mains => Duration::from_secs(60),
            Self::Battery => LOOK_IN,
        }
    }

    /// How often this device's own addresses are looked at.
    pub(crate) const fn address_interval(self) -> Duration {
        match self {
            Self::Mains => Duration::from_secs(3),
            Self::Battery => Duration::from_secs(15),
        }
    }
}

/// How long two devices leave each other alone that met and settled, unless one of them has news.
pub(crate) const LOOK_IN: Duration = Duration::from_secs(300);
