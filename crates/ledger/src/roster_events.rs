//! Events that say who belongs to the crew, with which device, and with what rights.
//!
//! These kinds are closed within a major version of the format: what a roster event means must be
//! the same on every device, or devices would disagree about which events count.

use serde::{Deserialize, Serialize};

use crate::ids::{ChainId, DeviceKey, EventHash, OfficeKeyId, PersonId, SessionId};

/// What a person may do. Ordered: each may do all that the one before may.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Role {
    /// Logs own hours, and materials, tests, photos, notes, extras asked for.
    Hand,
    /// Also logs for others, signs off stages, and corrects anyone's entries.
    Lead,
    /// All; alone admits devices, sets rates, agrees quotes and issues invoices.
    Owner,
}

/// The first event of the crew's first chain. Its hash is the crew id.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct CrewFounded {
    /// What the crew calls itself.
    pub crew: String,
    /// The founder, who is an owner. The founder's person id follows from the crew id and this name.
    pub founder: String,
    /// What the founding device is called.
    pub device: String,
    /// 32 random bytes, so that no two crews are the same.
    pub seed: [u8; 32],
    /// The Ed25519 public key that the recovery words derive.
    pub recovery_key: DeviceKey,
}

/// A person joins the crew's list, or is listed under another name.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct PersonListed {
    /// The person.
    pub person: PersonId,
    /// The name that everybody uses.
    pub name: String,
    /// The role the person starts with. Later roles come from [`RoleChanged`].
    pub role: Role,
}

/// A place in a chain: everything before it stands as it was.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Position {
    /// The chain.
    pub chain: ChainId,
    /// The sequence number of the last event that still counts as before.
    pub seq: u64,
    /// The hash of that event.
    pub hash: EventHash,
}

/// A person's role changes from a position on in each chain of that person's devices. Chains of
/// theirs that are not named change from their first event.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RoleChanged {
    /// The person.
    pub person: PersonId,
    /// The role from there on.
    pub role: Role,
    /// The last event of each chain under the role before: ascending, no chain twice.
    pub positions: Vec<Position>,
}

/// A device may write for a person from now on.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct DeviceAdmitted {
    /// The device.
    pub device: DeviceKey,
    /// What the device is called.
    pub name: String,
    /// The person whose device it is.
    pub person: PersonId,
    /// Vouches for the people whose page session it opened, not for its own person alone.
    pub shared: bool,
    /// Holds the office's keys and reads the office's chains.
    pub office: bool,
}

/// A device writes no more. Of each chain only the events up to the position count; chains of the
/// device that are not named don't count at all.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct DeviceRetired {
    /// The device.
    pub device: DeviceKey,
    /// The last event of each chain that counts: ascending, no chain twice.
    pub cuts: Vec<Position>,
    /// Why: lost, sold, left the crew.
    pub reason: String,
}

/// A device opened its page to a person, and vouches for them until the session is closed. One that is not
/// shared opens it to its own person alone.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SessionOpened {
    /// The session.
    pub session: SessionId,
    /// The person.
    pub person: PersonId,
    /// What the browser is called.
    pub name: String,
}

/// A device closed its page to a person.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SessionClosed {
    /// The session.
    pub session: SessionId,
}

/// What the recovery words sign: a device is an owner's, and others are retired. It is the first event of a
/// chain of the device that it names.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Recovered {
    /// The owner's device that says it.
    pub device: DeviceKey,
    /// What the device is called.
    pub name: String,
    /// The owner whose device it is.
    pub person: PersonId,
    /// The devices that the words retire.
    pub retires: Vec<DeviceRetired>,
    /// The recovery key's Ed25519 signature, in two halves, over "fivebar recovery 1", the crew id,
    /// the chain id, the fields above and the events that the act replaces.
    pub signature: [[u8; 32]; 2],
}

/// Keys of the office are given to devices, and to the recovery key. Whoever can open one has it; the event
/// gives no right.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct OfficeKeysGiven {
    /// Each key for each device.
    pub keys: Vec<GivenKey>,
}

/// A key of the office, sealed for one device.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct GivenKey {
    /// The key's id.
    pub key: OfficeKeyId,
    /// The device that can open it.
    pub to: DeviceKey,
    /// The Ed25519 public key that was made for this one use.
    pub once: DeviceKey,
    /// The 32 bytes of the key, sealed.
    pub sealed: [u8; 32],
    /// The tag of the sealing.
    pub tag: [u8; 16],
}
