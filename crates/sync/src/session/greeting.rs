//! The beginning of a session: each side says which crew it is of and how far it holds its chains.

use ledger::{CrewId, Ledger, Refusal};

use crate::message;
use crate::receiving::MAX_CHAINS;
use crate::tips::{CommonGround, Tips, tips_of};

use super::{Session, Stage};

/// What a hello says in place of a digest if its sender hears the other first.
const NOT_TOLD: [u8; 32] = [0; 32];

impl Session {
    /// Says the hello, once.
    pub(super) fn speak(&mut self, ledger: &Ledger) {
        if self.stage == Stage::Closed || std::mem::replace(&mut self.spoke, true) {
            return;
        }
        let (digest, common) = if self.hears_first {
            (NOT_TOLD, [0; 16])
        } else {
            (self.greeted_with.digest(), self.common.digest())
        };
        self.sending.push(message::hello(&ledger.crew(), &digest, &common));
    }

    pub(super) fn handle_hello(
        &mut self,
        crew: CrewId,
        (digest, common): ([u8; 32], [u8; 16]),
        ledger: &Ledger,
    ) -> Result<(), Refusal> {
        if crew != ledger.crew() {
            return Err(Refusal::WrongCrew);
        }
        if self.hears_first {
            return self.hear(digest, ledger);
        }
        let greeted_with = std::mem::take(&mut self.greeted_with);
        if digest == greeted_with.digest() {
            // Both know it, so neither has to say it.
            (self.all_received, self.all_sent) = (true, true);
            self.begin_exchange(tips_of(&greeted_with));
        } else {
            self.stage = Stage::Comparing;
            if common != self.common.digest() {
                self.common = CommonGround::default();
            }
            let frames = message::frontier(&self.common.changes(&tips_of(&ledger.frontier(None))));
            frames.into_iter().for_each(|frame| self.sending.push(frame));
        }
        Ok(())
    }

    /// Answers the hello of a peer that is heard first, as if nothing were held here.
    fn hear(&mut self, digest: [u8; 32], ledger: &Ledger) -> Result<(), Refusal> {
        if digest == NOT_TOLD {
            return Err(Refusal::Stranger); // It would hear first, too.
        }
        self.speak(ledger);
        self.stage = Stage::Comparing;
        self.common = CommonGround::default();
        message::frontier(&Tips::new()).into_iter().for_each(|frame| self.sending.push(frame));
        Ok(())
    }

    pub(super) fn handle_frontier(&mut self, last: bool, tips: Tips) -> Result<(), Refusal> {
        if self.claims.len() + tips.len() > MAX_CHAINS {
            return Err(Refusal::TooMuchClaimed);
        }
        let ascends = match (self.claims.last_key_value(), tips.first_key_value()) {
            (Some((before, _)), Some((next, _))) => before < next,
            // An empty part before others would be a way to keep this side waiting at no cost.
            (_, None) => last && self.claims.is_empty(),
            (None, Some(_)) => true,
        };
        if !ascends {
            return Err(Refusal::UnexpectedFrame);
        }
        self.claims.extend(tips);
        if last {
            let changes = std::mem::take(&mut self.claims);
            let held = std::mem::take(&mut self.common).changed(changes);
            self.begin_exchange(held);
        }
        Ok(())
    }

    fn begin_exchange(&mut self, held: Tips) {
        for (chain, tip) in &held {
            self.sending.note_held(*chain, tip.next_seq);
        }
        self.forks.note(held);
        self.stage = Stage::Exchanging;
    }
}
