//! Who is let in to prove a key, when many knock at once.
//!
//! A handshake costs this side a signature and some memory, and whoever asks for one is nobody yet. So few are
//! under way at a time, fewer still from one place; and as soon as more than a crew's own devices could want knock
//! together, an address must first show that it receives what is sent there (QUIC's Retry, RFC 9000 section 8.1.2),
//! which costs nothing to remember.

use std::collections::BTreeMap;
use std::net::IpAddr;

/// Most handshakes under way at once.
const HANDSHAKES: usize = 32;
/// Most of them from one place.
const FROM_ONE_PLACE: usize = 8;
/// From so many on, addresses must be shown to be real.
const BUSY: usize = 4;

/// What becomes of a knock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Knock {
    /// Its handshake begins, and is counted until [`Gate::leave`].
    Enter,
    /// It is to show that its address is real, and to knock again.
    ShowAddress,
    /// There is no place for it.
    TurnAway,
}

/// The handshakes under way.
#[derive(Debug, Default)]
pub(crate) struct Gate {
    from: BTreeMap<IpAddr, usize>,
}

impl Gate {
    /// Decides about a knock. `is_real` says whether the address was shown to receive what is sent there.
    pub(crate) fn knock(&mut self, address: IpAddr, is_real: bool) -> Knock {
        let place = place_of(address);
        let (all, here) =
            (self.from.values().sum::<usize>(), self.from.get(&place).copied().unwrap_or_default());
        if !is_real && all >= BUSY {
            return Knock::ShowAddress;
        }
        if all >= HANDSHAKES || here >= FROM_ONE_PLACE {
            return Knock::TurnAway;
        }
        self.from.insert(place, here + 1);
        Knock::Enter
    }

    /// A handshake ended, well or not.
    pub(crate) fn leave(&mut self, address: IpAddr) {
        let place = place_of(address);
        if let Some(here) = self.from.get_mut(&place) {
            *here = here.saturating_sub(1);
            if *here == 0 {
                self.from.remove(&place);
            }
        }
    }
}

/// What one household can have many addresses of: of IPv6, the first 64 bits are one place (RFC 6177).
fn place_of(address: IpAddr) -> IpAddr {
    match address.to_canonical() {
        IpAddr::V6(address) => {
            let network = u128::from(address) >> 64 << 64;
            IpAddr::V6(network.into())
        }
        address @ IpAddr::V4(_) => address,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn address(number: u8) -> IpAddr {
        IpAddr::from([192, 0, 2, number])
    }

    #[test]
    fn a_crew_comes_in_at_once_and_a_crowd_shows_its_addresses_first() {
        let mut gate = Gate::default();
        for number in 0..4 {
            assert_eq!(gate.knock(address(number), false), Knock::Enter);
        }
        assert_eq!(gate.knock(address(4), false), Knock::ShowAddress);
        assert_eq!(gate.knock(address(4), true), Knock::Enter);
        (0..4).for_each(|number| gate.leave(address(number)));
        assert_eq!(gate.knock(address(5), false), Knock::Enter);
    }

    #[test]
    fn one_place_takes_few_of_the_handshakes_and_all_places_together_no_more_than_all() {
        let mut gate = Gate::default();
        for _ in 0..8 {
            assert_eq!(gate.knock(address(1), true), Knock::Enter);
        }
        assert_eq!(gate.knock(address(1), true), Knock::TurnAway);
        assert_eq!(gate.knock("::ffff:192.0.2.1".parse().unwrap(), true), Knock::TurnAway);
        for place in 0..24_u16 {
            let address = IpAddr::from([0x2001, 0xdb8, 0, place / 8, 1, 2, 3, place]);
            assert_eq!(gate.knock(address, true), Knock::Enter);
        }
        assert_eq!(gate.knock(IpAddr::from([0x2001, 0xdb8, 0, 0, 9, 9, 9, 9]), true), Knock::TurnAway);
        assert_eq!(gate.knock(address(9), true), Knock::TurnAway);
        gate.leave(address(1));
        assert_eq!(gate.knock(address(9), true), Knock::Enter);
        (0..7).for_each(|_| gate.leave(address(1)));
        gate.leave(address(1));
        assert!(!gate.from.contains_key(&address(1)), "what left takes no memory");
    }
}
