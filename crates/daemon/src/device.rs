//! The device's own small file: its secret key, whose it is, and which chains it writes.
//!
//! It stands beside the journal, is written whole (beside, synced, renamed), and only its owner may
//! read it. Its last line is the hash of all before it: a disk that gives back another byte must not make this device
//! somebody else, or have it write a chain that it left. It never holds anything that other devices need.

use std::collections::BTreeMap;
use std::fs;
use std::io::{self, Write};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};

use ledger::{ChainId, CrewId, DeviceKey, DeviceSecret, PersonId};
use serde::{Deserialize, Serialize};
use sync::CommonGround;

use crate::copying::sync_name;
use crate::error::NodeError;
use crate::hashed;
use crate::invites::KeptInvite;
use crate::machine::{Machine, ThisMachine};

/// A device of the crew that was met, and where.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct KnownPeer {
    /// The device.
    pub device: DeviceKey,
    /// Where it was reached, the newest first.
    pub addresses: Vec<SocketAddr>,
    /// When it was met last, milliseconds since 1970.
    #[serde(default)]
    pub met_ms: Option<i64>,
    /// How many events of each chain it is known to hold durably.
    #[serde(default)]
    pub holds: BTreeMap<ChainId, u64>,
    /// What it and this device last knew both to hold: its bytes.
    #[serde(default, with = "hex")]
    pub(crate) common: Vec<u8>,
}

/// What a meeting with another device told.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Met {
    pub(crate) at_ms: i64,
    pub(crate) holds: BTreeMap<ChainId, u64>,
    /// What both hold, if that was found to be the same.
    pub(crate) common: Option<CommonGround>,
    /// Where it was reached, if this device called it.
    pub(crate) reached: Option<SocketAddr>,
}

/// What a device knows of itself.
#[derive(Debug, Clone, Serialize, Deserialize)]
pub struct DeviceFile {
    /// The seed of the secret key, in hex.
    seed: String,
    /// The crew.
    pub crew: CrewId,
    /// What the device is called.
    pub name: String,
    /// Whose device it is.
    pub person: PersonId,
    /// The chain it writes for the crew.
    pub crew_chain: Option<ChainId>,
    /// The chain it writes for the office.
    pub office_chain: Option<ChainId>,
    /// The device that let it in; none for the founding device.
    pub inviter: Option<DeviceKey>,
    /// Devices that it meets.
    pub peers: Vec<KnownPeer>,
    /// Where it listens, or listened last.
    pub listening: Option<SocketAddr>,
    /// The invites it gave out.
    pub(crate) invites: Vec<KeptInvite>,
}

impl DeviceFile {
    /// What the file is called.
    pub(crate) const NAME: &str = "device.json";

    /// A new device.
    #[must_use]
    pub fn new(secret: &DeviceSecret, crew: CrewId, name: String, person: PersonId) -> Self {
        let seed = hex::encode(secret.seed());
        Self {
            seed,
            crew,
            name,
            person,
            crew_chain: None,
            office_chain: None,
            inviter: None,
            peers: Vec::new(),
            listening: None,
            invites: Vec::new(),
        }
    }

    /// Reads the file of a data folder; none if there is none.
    ///
    /// # Errors
    /// [`NodeError::Folder`] if it can't be read or is not what this program writes, [`NodeError::DeviceDamaged`] if
    /// it is not as it was written.
    pub fn read(folder: &Path) -> Result<Option<Self>, NodeError> {
        Self::read_on(&ThisMachine::new(folder))
    }

    /// Reads the file of a machine's data folder; none if there is none.
    ///
    /// # Errors
    /// As [`DeviceFile::read`].
    pub(crate) fn read_on(machine: &dyn Machine) -> Result<Option<Self>, NodeError> {
        let Some(bytes) = machine.read(Self::NAME)? else { return Ok(None) };
        let path = machine.folder().join(Self::NAME);
        let text =
            hashed::text_of(&bytes).ok_or_else(|| NodeError::DeviceDamaged(path.display().to_string()))?;
        serde_json::from_slice(text).map(Some).map_err(|error| NodeError::folder(&path, &error))
    }

    /// Writes the file so that either the old or the new one is there, whatever happens.
    ///
    /// # Errors
    /// [`NodeError::Folder`].
    pub(crate) fn write_on(&self, machine: &dyn Machine) -> Result<(), NodeError> {
        let text =
            serde_json::to_vec_pretty(self).map_err(|error| NodeError::folder(machine.folder(), &error))?;
        machine.write(Self::NAME, &hashed::with_hash(text))
    }

    /// The chains it writes.
    pub(crate) fn written_chains(&self) -> impl Iterator<Item = ChainId> + use<> {
        self.crew_chain.into_iter().chain(self.office_chain)
    }

    /// The secret key.
    ///
    /// # Errors
    /// [`NodeError::Folder`] if the file's seed is not 64 hex digits.
    pub fn secret(&self) -> Result<DeviceSecret, NodeError> {
        // A device key has the width of a seed, and its hex is read strictly.
        let seed: DeviceKey =
            self.seed.parse().map_err(|error| NodeError::folder(&PathBuf::from(Self::NAME), &error))?;
        Ok(DeviceSecret::from_seed(&seed.0))
    }

    /// Remembers where a device was reached; the newest address comes first, and few are kept.
    pub fn remember(&mut self, device: DeviceKey, address: SocketAddr) {
        let addresses = &mut self.peer(device).addresses;
        addresses.retain(|known| *known != address);
        addresses.insert(0, address);
        addresses.truncate(net::MAX_ADDRESSES);
    }

    /// Notes that a device was met. What it once held it holds still, so nothing here shrinks.
    pub(crate) fn note_met(&mut self, device: DeviceKey, met: Met) {
        met.reached.into_iter().for_each(|address| self.remember(device, address));
        let peer = self.peer(device);
        peer.met_ms = peer.met_ms.max(Some(met.at_ms));
        for (chain, events) in met.holds {
            let held = peer.holds.entry(chain).or_default();
            *held = events.max(*held);
        }
        if let Some(common) = met.common {
            peer.common = common.encode();
        }
    }

    /// What each device that was met and this one last knew both to hold. One that can't be read is none: more is
    /// told at the next meeting.
    pub(crate) fn common_grounds(&self) -> BTreeMap<DeviceKey, CommonGround> {
        let ground = |peer: &KnownPeer| Some((peer.device, CommonGround::decode(&peer.common).ok()?));
        self.peers.iter().filter_map(ground).collect()
    }

    fn peer(&mut self, device: DeviceKey) -> &mut KnownPeer {
        let place = self.peers.iter().position(|peer| peer.device == device).unwrap_or_else(|| {
            let (addresses, holds, common) = (Vec::new(), BTreeMap::new(), Vec::new());
            self.peers.push(KnownPeer { device, addresses, met_ms: None, holds, common });
            self.peers.len() - 1
        });
        &mut self.peers[place]
    }
}

/// Writes a file that only its owner reads: beside, synced, renamed, the folder synced.
///
/// # Errors
/// [`NodeError::Folder`]; the file is then as it was.
pub fn write_private(path: &Path, bytes: &[u8]) -> Result<(), NodeError> {
    replace_private(path, bytes).map_err(|error| NodeError::folder(path, &error))
}

/// As [`write_private`], with the system's own error.
pub(crate) fn replace_private(path: &Path, bytes: &[u8]) -> io::Result<()> {
    let beside = path.with_extension("new");
    let mut options = fs::OpenOptions::new();
    options.write(true).create(true).truncate(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let mut file = options.open(&beside)?;
    file.write_all(bytes)?;
    file.sync_all()?;
    fs::rename(&beside, path)?;
    sync_name(path)
}

#[cfg(test)]
mod tests {
    use ledger::{EventHash, Frontier};

    use super::*;

    #[test]
    fn what_a_peer_once_held_it_holds_still() {
        let secret = DeviceSecret::from_seed(&[1; 32]);
        let mut file = DeviceFile::new(&secret, CrewId([2; 32]), "laptop".to_owned(), PersonId([3; 16]));
        let (peer, chain) = (DeviceSecret::from_seed(&[4; 32]).public(), ChainId([5; 16]));
        let tips = BTreeMap::from([(chain, (7, EventHash([6; 32])))]);
        let common = CommonGround::of(&Frontier { tips });
        let holds = BTreeMap::from([(chain, 7)]);
        file.note_met(peer, Met { at_ms: 20, holds, reached: None, common: Some(common.clone()) });
        let reached = Some("192.0.2.7:5105".parse().unwrap());
        let holds = BTreeMap::from([(chain, 3)]);
        file.note_met(peer, Met { at_ms: 10, holds, reached, common: None });
        let known = &file.peers[0];
        assert_eq!((known.met_ms, known.holds[&chain]), (Some(20), 7));
        assert_eq!(file.common_grounds(), BTreeMap::from([(peer, common)]));
        assert_eq!(known.addresses, reached.into_iter().collect::<Vec<_>>());

        // What is written is read back, and what an earlier version knew of a peer is read.
        let folder = tempfile::tempdir().unwrap();
        file.write_on(&ThisMachine::new(folder.path())).unwrap();
        let read = DeviceFile::read(folder.path()).unwrap().unwrap();
        assert_eq!(read.peers, file.peers);
        let older: KnownPeer = serde_json::from_value(serde_json::json!({
            "device": peer, "addresses": [] }))
        .unwrap();
        assert_eq!((older.met_ms, older.holds.len()), (None, 0));
    }

    #[test]
    fn a_file_with_any_other_byte_is_never_used() {
        let folder = tempfile::tempdir().unwrap();
        let secret = DeviceSecret::from_seed(&[1; 32]);
        let file = DeviceFile::new(&secret, CrewId([2; 32]), "laptop".to_owned(), PersonId([3; 16]));
        file.write_on(&ThisMachine::new(folder.path())).unwrap();
        let path = folder.path().join(DeviceFile::NAME);
        let whole = fs::read(&path).unwrap();
        for place in 0..whole.len() {
            let mut flipped = whole.clone();
            flipped[place] ^= 1 << (place % 8);
            fs::write(&path, flipped).unwrap();
            let read = DeviceFile::read(folder.path());
            assert!(matches!(read, Err(NodeError::DeviceDamaged(_))), "byte {place}: {read:?}");
        }
        fs::write(&path, &whole).unwrap();
        assert_eq!(DeviceFile::read(folder.path()).unwrap().unwrap().name, "laptop");
    }
}
