//! What other devices are known to hold, for telling people how safe an entry is.

use std::collections::BTreeMap;

use ledger::{ChainId, DeviceKey};

use crate::device::{KnownPeer, Met};
use crate::node::Node;

impl Node {
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
