//! The invites that this device gave out. They stand in the device's own file, so that a code is used
//! once also if the daemon is started anew in between.

use std::net::SocketAddr;

use ledger::roster_events::{PersonListed, Role};
use ledger::{Audience, Body, EntryId, Payload, PersonId, Refusal};
use net::{Fault, HoldError, Invite, InviteId, Offer};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};

use crate::device::DeviceFile;
use crate::error::NodeError;
use crate::node::{Node, Write};

/// An invite as the device's file keeps it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct KeptInvite {
    code: String,
    /// The press of the button that made it.
    #[serde(default)]
    press: Option<EntryId>,
    person: PersonId,
    shared: bool,
    office: bool,
    used: bool,
}

/// What an owner wants of an invite.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct InviteWish {
    /// Whose device it will be; listed now if nobody of that name is.
    pub person: String,
    /// The role of a person who is listed now.
    pub role: Role,
    /// It vouches for the people whose page session it opens.
    pub shared: bool,
    /// It reads the office's chains.
    pub office: bool,
    /// Where this device can be reached.
    pub addresses: Vec<SocketAddr>,
    /// How long the code is good for.
    pub minutes: u32,
}

impl DeviceFile {
    /// The invite with this id, used or not.
    pub(crate) fn offer(&self, id: &InviteId) -> Option<Offer> {
        self.invites.iter().find_map(|kept| {
            let invite = Invite::from_code(&kept.code).ok().filter(|invite| invite.id == *id)?;
            let KeptInvite { person, shared, office, used, .. } = *kept;
            Some(Offer { invite, person, shared, office, used })
        })
    }
}

impl Node {
    /// Gives out an invite. A button that is pressed twice gives the same code twice.
    ///
    /// # Errors
    /// [`NodeError`]: not an owner's device, no address, or the disk.
    pub(crate) fn invite(&mut self, wish: &InviteWish) -> Result<Value, NodeError> {
        if wish.person.trim().is_empty() {
            return Err(NodeError::bad_input("an invite needs the name of the person"));
        }
        let press = self.press.get().map(|press| press.entry);
        let made = |kept: &&KeptInvite| press.is_some() && kept.press == press;
        if let Some(kept) = self.device().invites.iter().find(made) {
            return Ok(json!({ "code": kept.code, "minutes": wish.minutes, "person": wish.person }));
        }
        let addresses = if wish.addresses.is_empty() { self.own_addresses() } else { wish.addresses.clone() };
        if addresses.is_empty() {
            return Err(NodeError::bad_input(
                "this device's address on the network is not known; give it with --at, like --at 192.168.1.20:5105",
            ));
        }
        let own = self.device().person;
        if self.ledger().roster().person(&own).is_none_or(|person| person.role != Role::Owner) {
            return Err(NodeError::bad_input(
                "only the boss brings phones into the crew; do it on a boss's device",
            ));
        }
        let listed = self.ledger().roster().people().find(|person| person.name == wish.person);
        let person = match listed {
            Some(listed) => listed.person,
            None => {
                let person = PersonId::named(&self.crew(), &wish.person);
                let body =
                    Body::PersonListed(PersonListed { person, name: wish.person.clone(), role: wish.role });
                let payload = Payload { act: self.act(own)?, body };
                self.append(&[Write { audience: Audience::Crew, payload }])?;
                person
            }
        };
        let now = self.now_ms();
        let expires_ms = now.saturating_add(i64::from(wish.minutes) * 60_000);
        let invite = Invite::make(self.crew(), self.key(), addresses, expires_ms)
            .map_err(|error| NodeError::NoRandomness(error.to_string()))?;
        let code = invite.code();
        let InviteWish { shared, office, .. } = *wish;
        let kept = KeptInvite { code: code.clone(), press, person, shared, office, used: false };
        self.change_device(|device| {
            let open =
                |kept: &KeptInvite| Invite::from_code(&kept.code).is_ok_and(|invite| invite.expires_ms > now);
            device.invites.retain(open);
            device.invites.push(kept);
        })?;
        Ok(json!({ "code": code, "minutes": wish.minutes, "person": wish.person }))
    }

    /// Uses an invite up, durably.
    pub(crate) fn use_up_invite(&mut self, id: &InviteId) -> Result<(), HoldError> {
        let offer = self.device().offer(id).ok_or(Refusal::WrongInvite)?;
        if offer.used {
            return Err(Refusal::UsedInvite.into());
        }
        let code = offer.invite.code();
        let used = self.change_device(|device| {
            device.invites.iter_mut().filter(|kept| kept.code == code).for_each(|kept| kept.used = true);
        });
        used.map_err(|error| HoldError::Fault(Fault(error.to_string())))
    }

    /// Where this device listens, as other devices see it.
    fn own_addresses(&self) -> Vec<SocketAddr> {
        self.device().listening.map(net::reachable_at).unwrap_or_default()
    }
}
