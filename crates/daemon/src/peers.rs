//! What other devices are known to hold, for telling people how safe an entry is.

use std::collections::BTreeMap;

use ledger::{ChainId, DeviceKey};
use serde::Serialize;

use crate::device::{KnownPeer, Met};
use crate::node::Node;

/// How far another device is known to have the ledger.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Reach {
    /// When it was met last, milliseconds since 1970; none if never from here.
    pub met_ms: Option<i64>,
    /// Events that are here and that it is not known to hold.
    pub missing: u64,
}

impl Node {
    /// How far another device is known to have the ledger.
    #[must_use]
    pub fn reach_of(&self, device: DeviceKey) -> Reach {
        let peer = self.device().peers.iter().find(|peer| peer.device == device);
        let chains = self.ledger().chains().map(|chain| (chain.start.chain, chain.tip.next_seq));
        let there = |chain| peer.and_then(|peer| peer.holds.get(&chain)).copied().unwrap_or(0);
        Reach {
            met_ms: peer.and_then(|peer| peer.met_ms),
            missing: chains.map(|(chain, here)| here.saturating_sub(there(chain))).sum(),
        }
    }

    /// Notes what other devices hold. The file only saves them from being asked again after a new
    /// start, so that one that can't be written is no fault of whoever uses the node now.
    pub(crate) fn note_met(&mut self, met: BTreeMap<DeviceKey, Met>) {
        if met.is_empty() {
            return;
        }
        let noted = self.change_device(|device| {
            met.into_iter().for_each(|(peer, met)| device.note_met(peer, met));
        });
        if let Err(error) = noted {
            tracing::warn!(%error, "what other devices hold is not noted");
        }
        self.leave_chains_that_others_know_better();
    }

    /// The devices of the crew that are known to hold these events, this one first.
    #[must_use]
    pub fn holders(&self, events: &[(ChainId, u64)]) -> Vec<DeviceKey> {
        let roster = self.ledger().roster();
        let holds_all = |peer: &&KnownPeer| {
            events.iter().all(|(chain, seq)| peer.holds.get(chain).is_some_and(|held| held > seq))
        };
        let in_crew = |key: &DeviceKey| roster.device(key).is_some_and(|device| !device.retired);
        let peers = self.device().peers.iter().filter(holds_all).map(|peer| peer.device);
        let peers = peers.filter(|key| *key != self.key() && in_crew(key));
        std::iter::once(self.key()).chain(peers).collect()
    }
}
