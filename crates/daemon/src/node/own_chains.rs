//! Which chains this device writes, and when it leaves one for a new one.
//!
//! A chain goes on in one line only while its device remembers all of it. Where that is in doubt (the folder is a
//! copy or came from a backup, the journal was damaged, a peer holds more) the device does not guess: it leaves the
//! chain, never writes it again, and works on in a new one under the same key, also without a network. What was
//! written last in the old chain and is lost here comes back from a peer that has it, and extends it.

use ledger::roster_events::SessionOpened;
use ledger::sabotage::Fault;
use ledger::{Audience, Body, ChainId, ChainStart, Payload};
use store::{Damage, Healed, Store};

use super::{Node, OF_THE_FOLDER, Write};
use crate::error::NodeError;

/// Why a device leaves its chains.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
enum Doubt {
    #[error(
        "Take note: this folder is a copy of the one that this device wrote last, or came back from a backup. It goes on in new \
         chains, and nothing is lost. Phones join its page anew. If the other folder is still in use, let one of the \
         two into the crew as a device of its own (fivebar invite)"
    )]
    Copied,
    #[error(
        "Take note: part of the journal was damaged, so this device goes on in new chains. What was lost comes back from the \
         devices that have it"
    )]
    Damaged,
    #[error(
        "Take note: this device wrote twice from the same place, as after a restored copy of its whole disk. What it wrote since \
         then counts only up to there; what is set aside can be entered again (fivebar set-aside). It goes on in new chains"
    )]
    Forked,
    #[error(
        "Take note: another device holds entries of this one that are not here, as after a restored backup. This device goes on \
         in new chains, and fetches what it lacks"
    )]
    Behind,
}

impl Node {
    /// Leaves the chains that this device may not go on writing, by what was found when the folder was opened.
    pub(super) fn settle_own_chains(&mut self, damage: &[Damage]) -> Result<(), NodeError> {
        let damaged = !damage.is_empty() || !self.store.opening().cut.is_empty();
        if self.machine.is_copied()? && !Fault::WriteOnAfterRestore.is_set() {
            self.leave_chains(Doubt::Copied);
            // Two folders must not vouch by the same sessions.
            self.forget_page_sessions()?;
            self.machine.mark()?;
        } else if damaged {
            self.leave_chains(Doubt::Damaged);
        }
        self.put_right(damage);
        self.leave_chains_that_others_know_better();
        self.leave_chains_that_forked();
        Ok(())
    }

    /// Leaves this device's chains if a peer is known to hold more of them.
    pub(crate) fn leave_chains_that_others_know_better(&mut self) {
        let is_behind = |chain: &ChainId| {
            let held = self.ledger.chain(chain).map_or(0, |chain| chain.tip.next_seq);
            self.device.peers.iter().any(|peer| peer.holds.get(chain).is_some_and(|holds| *holds > held))
        };
        if self.device.written_chains().any(|chain| is_behind(&chain)) {
            self.leave_chains(Doubt::Behind);
        }
    }

    /// Leaves this device's chains if another journal holds more of them.
    pub(super) fn leave_chains_that_go_on_in(&mut self, other: &mut Store) {
        let tip = |chain: &ChainId| self.ledger.chain(chain).map_or(0, |held| held.tip.next_seq);
        // Also where what goes on there is damaged.
        let goes_on = |chain: ChainId| other.runs(chain, tip(&chain)).next().is_some();
        if self.device.written_chains().any(goes_on) {
            self.leave_chains(Doubt::Behind);
        }
    }

    /// Leaves this device's chains if it has written one of them twice.
    pub(super) fn leave_chains_that_forked(&mut self) {
        let has_forked = |chain: &ChainId| self.ledger.chain(chain).is_some_and(|held| held.fork.is_some());
        if self.device.written_chains().any(|chain| has_forked(&chain)) {
            self.leave_chains(Doubt::Forked);
        }
    }

    /// Moves what is damaged out of the journal, once this device writes its chains no more: with the damage would go
    /// the sign that it does not remember all of them.
    pub(super) fn put_right(&mut self, damage: &[Damage]) -> Vec<Healed> {
        if damage.is_empty() {
            return Vec::new();
        }
        self.leave_chains(Doubt::Damaged);
        let healed = self.change_device(|_| ()).and_then(|()| Ok(self.store.heal(damage)?));
        match healed {
            Ok(healed) => {
                for Healed { damage, cut } in &healed {
                    let cut = cut.as_ref().map(|cut| cut.file.as_str());
                    tracing::warn!(%damage, cut, "damage in the journal was put right");
                }
                healed
            }
            Err(error) => {
                tracing::warn!(%error, "damage in the journal could not be put right; it is tried again at the next start");
                Vec::new()
            }
        }
    }

    fn leave_chains(&mut self, doubt: Doubt) {
        if self.device.written_chains().next().is_none() {
            return;
        }
        tracing::warn!(target: OF_THE_FOLDER, "{doubt}");
        // Left in memory first: whatever the disk says, this process does not write them any more.
        (self.device.crew_chain, self.device.office_chain) = (None, None);
        if let Err(error) = self.change_device(|_| ()) {
            tracing::warn!(%error, "that it goes on in new chains could not be written down");
        }
    }

    /// The chain that this device writes for the office, begun if there is none.
    ///
    /// # Errors
    /// Why it could not be begun.
    pub(crate) fn office_chain(&mut self) -> Result<ChainId, NodeError> {
        Ok(self.own_chain(Audience::Office)?.chain)
    }

    /// The chain that this device writes for an audience, begun if there is none.
    pub(super) fn own_chain(&mut self, audience: Audience) -> Result<ChainStart, NodeError> {
        let known = match audience {
            Audience::Crew => self.device.crew_chain,
            Audience::Office => self.device.office_chain,
        };
        let chain = match known {
            Some(chain) => chain,
            None => ChainId(self.machine.random()?),
        };
        let start = ChainStart { chain, device: self.key(), audience };
        if known.is_none() {
            self.change_device(|device| match audience {
                Audience::Crew => device.crew_chain = Some(chain),
                Audience::Office => device.office_chain = Some(chain),
            })?;
        }
        self.open_sessions_again(start)?;
        Ok(start)
    }

    /// A session speaks for what stands behind it in its own chain, so a new chain begins with those that are open.
    fn open_sessions_again(&mut self, start: ChainStart) -> Result<(), NodeError> {
        let begun = self.ledger.chain(&start.chain).is_some_and(|chain| chain.tip.next_seq > 0);
        if start.audience != Audience::Crew || begun {
            return Ok(());
        }
        let open: Vec<_> = self
            .page_sessions()
            .map(|kept| SessionOpened { session: kept.session, person: kept.person, name: kept.name.clone() })
            .collect();
        if open.is_empty() {
            return Ok(());
        }
        let writes: Result<Vec<Write>, NodeError> = open
            .into_iter()
            .map(|opened| {
                let payload =
                    Payload { act: self.act(self.device.person)?, body: Body::SessionOpened(opened) };
                Ok(Write { audience: Audience::Crew, payload })
            })
            .collect();
        self.append_run(start, &writes?).map(drop)
    }
}
