//! Writing on this device's own chains. What is written is checked as any other device will check it, and is
//! durable before it is acknowledged.

use ledger::event::{KIND_VERSION, NotWritable};
use ledger::roster::Standing;
use ledger::roster_events::DeviceRetired;
use ledger::{
    Audience, Body, ChainId, ChainStart, EventHash, Payload, PersonId, RecoverySecret, Refusal, RunBuilder,
};

use super::{Node, Write};
use crate::error::NodeError;
use crate::group::Group;

impl Node {
    /// Writes events on this device's own chains, in as few runs as they fit into.
    ///
    /// # Errors
    /// [`NodeError::NotAllowed`], or why a run was not appended; the runs before it stand.
    pub fn append(&mut self, writes: &[Write]) -> Result<Vec<EventHash>, NodeError> {
        let mut hashes = Vec::with_capacity(writes.len());
        let mut rest = writes;
        while let Some(first) = rest.first() {
            let start = self.own_chain(first.audience)?;
            let alike = rest.iter().take_while(|write| write.audience == first.audience).count();
            let (alike, _) = rest.split_at(alike);
            let written = self.append_run(start, alike)?;
            (_, rest) = rest.split_at(written.len());
            hashes.extend(written);
        }
        if writes.iter().any(|write| write.payload.body.kind().is_roster()) {
            self.hand_over_keys();
        }
        Ok(hashes)
    }

    /// Writes events on one of this device's chains, as many as one run can hold, and gives their hashes.
    pub(super) fn append_run(
        &mut self,
        start: ChainStart,
        writes: &[Write],
    ) -> Result<Vec<EventHash>, NodeError> {
        let key = match start.audience {
            Audience::Crew => None,
            Audience::Office => Some(self.sealing_key()?),
        };
        let tip = self.ledger.chain(&start.chain).map_or_else(|| start.tip(&self.crew()), |chain| chain.tip);
        let mut builder = RunBuilder::new(start, tip);
        let mut hashes = Vec::with_capacity(writes.len());
        for write in writes {
            let now = self.now_ms();
            let kind = write.payload.body.kind().number();
            let payload = write.payload.encode()?;
            let pushed = match &key {
                None => builder.push(now, kind, KIND_VERSION, &payload),
                Some(key) => {
                    let nonce = self.machine.random()?;
                    builder.push_sealed(now, (kind, KIND_VERSION), &payload, (key, &nonce))
                }
            };
            match pushed {
                Ok(hash) => hashes.push(hash),
                Err(Refusal::TooLarge) if !hashes.is_empty() => break,
                Err(refusal) => return Err(refusal.into()),
            }
        }
        let (run, _) = builder.finish_hashed(&self.crew(), &self.secret).ok_or(Refusal::EmptyRun)?;
        let mut group = Group::new(&self.ledger);
        group.add(|_| Some(start), run)?;
        for ((seq, hash), write) in (tip.next_seq..).zip(&hashes).zip(writes) {
            if let Standing::Without(lacking) =
                group.ledger.roster().standing(&start, (seq, *hash), &write.payload)
            {
                return Err(NodeError::NotAllowed { kind: write.payload.body.kind(), lacking });
            }
        }
        self.commit(group)?;
        Ok(hashes)
    }

    /// Writes what the recovery words sign: this device is this person's, and the others are retired. It begins
    /// a chain, as a certificate must: the device's own, if it has written nothing yet, and otherwise one that
    /// holds nothing else.
    ///
    /// # Errors
    /// Why nothing was appended.
    pub(crate) fn certify(
        &mut self,
        words: &RecoverySecret,
        person: PersonId,
        retires: Vec<DeviceRetired>,
    ) -> Result<(), NodeError> {
        let own = self.own_chain(Audience::Crew)?;
        let begun = self.ledger.chain(&own.chain).is_some_and(|chain| chain.tip.next_seq > 0);
        let start = if begun { ChainStart { chain: ChainId(self.machine.random()?), ..own } } else { own };
        let act = self.act(person)?;
        let named = (self.device.name.clone(), person);
        let recovered = words.certify(&self.crew(), &start, &act.replaces, named, retires);
        let body = Body::Recovered(recovered.map_err(|_| NotWritable::TooLarge)?);
        let payload = Payload { act, body };
        self.append_run(start, &[Write { audience: Audience::Crew, payload }])?;
        Ok(())
    }
}
