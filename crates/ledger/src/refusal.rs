//! The numbered, append-only list of reasons to refuse bytes or a peer.
//!
//! A refusal is worded as the rule that was broken. Facts are never refused because they are
//! awkward: an event that is well-formed is kept, whatever it says.

use serde::{Deserialize, Serialize};

macro_rules! refusals {
    ($($number:literal $name:ident $words:literal;)*) => {
        /// Why something was not taken in.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, thiserror::Error)]
        #[serde(rename_all = "snake_case")]
        pub enum Refusal {
            $(#[doc = $words] #[error($words)] $name,)*
        }

        impl Refusal {
            /// Every reason, in the order of the numbers.
            pub const ALL: &'static [Self] = &[$(Self::$name,)*];

            /// Its number on the wire and in logs.
            #[must_use]
            pub const fn number(self) -> u16 {
                match self { $(Self::$name => $number,)* }
            }

            /// The reason with this number, if this version knows it.
            #[must_use]
            pub const fn from_number(number: u16) -> Option<Self> {
                match number { $($number => Some(Self::$name),)* _ => None }
            }
        }
    };
}

refusals! {
    // Bytes.
    1 MalformedEnvelope "a run must be made of whole events that end in a head";
    2 TooLarge "an event may have at most 262,144 bytes and a run 1,114,112";
    3 EmptyRun "a run must have at least one event";
    4 TimeRunsBack "the time of making must not fall along a chain";
    5 BadSignature "a head must be signed by the chain's device";
    6 OutOfOrder "a run must begin at or before the end of what is held of its chain";
    7 Forked "a run must continue what is held of its chain";
    8 UnknownChain "a chain must be announced before its events";
    9 ChainChanged "a chain must keep its device and its audience";
    10 NotAdmitted "a chain's device must have been admitted to the crew";
    11 WrongCrew "a ledger takes events of one crew only";
    12 BeyondCut "a chain is not taken further than where its device was retired";
    // Peers.
    20 Stranger "a peer must be a device of this crew";
    21 Retired "a peer must not be a retired device";
    22 OtherFormat "both sides must speak the same major version of the format";
    23 FrameTooLarge "a frame may have at most 65,536 bytes";
    24 Truncated "a stream must end where a frame ends";
    25 UnexpectedFrame "a frame must be one that is expected at this point";
    26 TooMuchClaimed "a peer must not announce more than the limits allow";
    // Pairing.
    40 WrongInvite "an invite must be one that this device gave out";
    41 ExpiredInvite "an invite must be used before it expires";
    42 UsedInvite "an invite can be used once";
    43 WrongProof "the proof must be made from the invite's secret";
    44 TooManyTries "after a wrong proof the next try must wait";
    45 Declined "the owner must accept the new device";
    46 WrongWords "the recovery words must be those of this crew";
    // Photos.
    60 WrongPhoto "what is sent of a photo must be what its hash stands for";
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_ascend_and_lead_back_to_their_reason() {
        assert!(Refusal::ALL.windows(2).all(|pair| pair[0].number() < pair[1].number()));
        assert!(Refusal::ALL.iter().all(|reason| Refusal::from_number(reason.number()) == Some(*reason)));
    }
}
