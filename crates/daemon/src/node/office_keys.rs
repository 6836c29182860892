//! The office's keys: which one to seal with, and giving them to whoever may read.
//!
//! A device of the office that lacks a key is given it by any that holds both the key and the news. A key that a
//! device may hold which no longer reads is kept for opening and never sealed with again.

use std::collections::BTreeSet;

use ledger::roster_events::{GivenKey, OfficeKeysGiven};
use ledger::sealing::KeyHolders;
use ledger::{
    Audience, Body, DeviceKey, DeviceSecret, OfficeKey, OfficeKeys, Payload, PersonId, RecoverySecret,
};

use super::{Node, Write};
use crate::error::NodeError;

impl Node {
    /// The devices that read what the office writes, and the recovery key.
    fn office_readers(&self) -> BTreeSet<DeviceKey> {
        let roster = self.ledger.roster();
        let office = roster.devices().filter(|device| device.office && !device.retired);
        let recovery = roster.founding().map(|founding| founding.recovery_key);
        office.map(|device| device.key).chain(recovery).collect()
    }

    /// The key to seal with: one that all readers hold and this device, and nobody else. It is made and given
    /// out if there is none.
    pub(super) fn sealing_key(&mut self) -> Result<OfficeKey, NodeError> {
        let mut readers = self.office_readers();
        // Whoever noted a price on a hand's phone may look at what they noted.
        readers.insert(self.key());
        let holders = KeyHolders::of(self.ledger.given_keys());
        if let Some(key) = self.keys.iter().find(|key| holders.is_for(&key.id(), &readers)) {
            return Ok(key.clone());
        }
        let key = OfficeKey::from_random(self.machine.random()?);
        let given =
            readers.into_iter().map(|reader| self.give(&key, reader)).collect::<Result<Vec<_>, _>>()?;
        self.give_keys(given.into_iter().flatten().collect())?;
        Ok(key)
    }

    /// Gives every reader of the office each key that is held here and that they have not received. What was
    /// written or taken in before is durable whatever comes of this; another time does it as well.
    pub(crate) fn hand_over_keys(&mut self) {
        let own = self.ledger.roster().device(&self.key());
        if self.fetching || !own.is_some_and(|own| own.office && !own.retired) {
            return;
        }
        if let Err(error) = self.give_lacking(&self.keys.clone()) {
            tracing::warn!(%error, "the office's keys could not be handed over; it is tried again later");
        }
    }

    /// Takes over the office's keys by the recovery words, which were given each of them.
    pub(crate) fn take_over_keys(&mut self, words: &RecoverySecret) -> Result<(), NodeError> {
        let keys = OfficeKeys::received(self.ledger.given_keys(), &words.key_pair());
        self.give_lacking(&keys)
    }

    fn give_lacking(&mut self, keys: &OfficeKeys) -> Result<(), NodeError> {
        let (readers, holders) = (self.office_readers(), KeyHolders::of(self.ledger.given_keys()));
        let mut given = Vec::new();
        for key in keys.iter() {
            for reader in holders.lacking(&key.id(), &readers) {
                given.extend(self.give(key, reader)?);
            }
        }
        if given.is_empty() { Ok(()) } else { self.give_keys(given) }
    }

    fn give_keys(&mut self, keys: Vec<GivenKey>) -> Result<(), NodeError> {
        /// Given keys in one event; each has 144 bytes.
        const AT_ONCE: usize = 500;
        let start = self.own_chain(Audience::Crew)?;
        let person: PersonId = self.device.person;
        for keys in keys.chunks(AT_ONCE) {
            let body = Body::OfficeKeysGiven(OfficeKeysGiven { keys: keys.to_vec() });
            let payload = Payload { act: self.act(person)?, body };
            self.append_run(start, &[Write { audience: Audience::Crew, payload }])?;
        }
        Ok(())
    }

    /// Gives a key to a device, by a key pair for this once. None to a device whose key nobody can hold.
    fn give(&self, key: &OfficeKey, to: DeviceKey) -> Result<Option<GivenKey>, NodeError> {
        Ok(key.give(to, &DeviceSecret::from_seed(&self.machine.random()?)))
    }
}
