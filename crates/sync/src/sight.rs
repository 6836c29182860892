//! Which chains a session is about, how far they count, and in which order they are sent.

use ledger::frontier::Chain;
use ledger::roster::Roster;
use ledger::{Audience, ChainStart, DeviceKey, EventHash, Frontier, Ledger};

/// The two devices of a session.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Pair {
    pub(crate) own: DeviceKey,
    pub(crate) peer: DeviceKey,
}

impl Pair {
    /// Whether both sides may hold the chain: a chain that the office reads is for devices of the
    /// office and for the device that wrote it. With equal rosters both sides come to the same answer.
    pub(crate) fn sees(&self, start: &ChainStart, roster: &Roster) -> bool {
        let may_hold = |device: &DeviceKey| match start.audience {
            Audience::Crew => true,
            Audience::Office => {
                start.device == *device || roster.device(device).is_some_and(|device| device.office)
            }
        };
        may_hold(&self.own) && may_hold(&self.peer)
    }

    /// The frontier over the chains that both may hold.
    pub(crate) fn frontier(&self, ledger: &Ledger) -> Frontier {
        let mut frontier = ledger.frontier(None);
        frontier.tips.retain(|chain, _| {
            ledger.chain(chain).is_some_and(|chain| self.sees(&chain.start, ledger.roster()))
        });
        frontier
    }
}

/// How far a chain counts: not beyond the cut of a retired device.
pub(crate) fn counted_tip(ledger: &Ledger, chain: &Chain) -> (u64, EventHash) {
    match ledger.roster().cut(&chain.start) {
        Some(cut) if chain.tip.next_seq > cut.count => (cut.count, cut.hash),
        Some(_) | None => (chain.tip.next_seq, chain.tip.hash),
    }
}

/// Sorts chains so that whatever admits a device is sent before its chains: the founding chain first, then by
/// depth in the tree of admissions, and all that the office reads last.
///
/// A device whose admission does not count has no place in the tree and comes behind all others.
pub(crate) fn sort_parents_first(chains: &mut [ChainStart], ledger: &Ledger) {
    chains.sort_by_cached_key(|start| {
        (start.audience, !ledger.is_founding(start), depth(&start.device, ledger.roster()), *start)
    });
}

fn depth(device: &DeviceKey, roster: &Roster) -> usize {
    let most = roster.devices().count();
    let mut above = roster.device(device);
    for depth in 0..=most {
        let Some(device) = above else { break };
        match &device.admitted_by {
            None => return depth,
            Some(admitter) => above = roster.device(admitter),
        }
    }
    usize::MAX
}
