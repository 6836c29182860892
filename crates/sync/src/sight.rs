//! In which order chains are sent.

use ledger::roster::Roster;
use ledger::{ChainStart, DeviceKey, Ledger};

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
