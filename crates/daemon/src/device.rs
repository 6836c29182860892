//! The device's own small file: its secret key, whose it is, and which chains it writes.
//!
//! It stands beside the journal, is written whole (beside, synced, renamed), and only its owner may
//! read it. It never holds anything that other devices need.

use std::fs;
use std::io::Write;
use std::net::SocketAddr;
use std::path::{Path, PathBuf};

use ledger::{ChainId, CrewId, DeviceKey, DeviceSecret, PersonId};
use serde::{Deserialize, Serialize};

use crate::error::NodeError;
use crate::invites::KeptInvite;

const FILE: &str = "device.json";

/// A device of the crew that was met, and where.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct KnownPeer {
    /// The device.
    pub device: DeviceKey,
    /// Where it was reached, the newest first.
    pub addresses: Vec<SocketAddr>,
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
    /// A new device.
    #[must_use]
    pub fn new(secret: &DeviceSecret, crew: CrewId, name: String, person: PersonId) -> Self {
        let seed = secret.seed().iter().map(|byte| format!("{byte:02x}")).collect();
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
    /// [`NodeError::Folder`] if it can't be read or is not what this program writes.
    pub fn read(folder: &Path) -> Result<Option<Self>, NodeError> {
        let path = folder.join(FILE);
        let text = match fs::read_to_string(&path) {
            Ok(text) => text,
            Err(error) if error.kind() == std::io::ErrorKind::NotFound => return Ok(None),
            Err(error) => return Err(NodeError::folder(&path, &error)),
        };
        serde_json::from_str(&text).map(Some).map_err(|error| NodeError::folder(&path, &error))
    }

    /// Writes the file so that either the old or the new one is there, whatever happens.
    ///
    /// # Errors
    /// [`NodeError::Folder`].
    pub fn write(&self, folder: &Path) -> Result<(), NodeError> {
        let text = serde_json::to_string_pretty(self).map_err(|error| NodeError::folder(folder, &error))?;
        write_private(&folder.join(FILE), text.as_bytes())
    }

    /// The secret key.
    ///
    /// # Errors
    /// [`NodeError::Folder`] if the file's seed is not 64 hex digits.
    pub fn secret(&self) -> Result<DeviceSecret, NodeError> {
        // A device key has the width of a seed, and its hex is read strictly.
        let seed: DeviceKey =
            self.seed.parse().map_err(|error| NodeError::folder(&PathBuf::from(FILE), &error))?;
        Ok(DeviceSecret::from_seed(&seed.0))
    }

    /// Remembers where a device was reached; the newest address comes first, eight are kept.
    pub fn remember(&mut self, device: DeviceKey, address: SocketAddr) {
        let place = self.peers.iter().position(|peer| peer.device == device).unwrap_or_else(|| {
            self.peers.push(KnownPeer { device, addresses: Vec::new() });
            self.peers.len() - 1
        });
        let addresses = &mut self.peers[place].addresses;
        addresses.retain(|known| *known != address);
        addresses.insert(0, address);
        addresses.truncate(8);
    }
}

/// Writes a file that only its owner reads: beside, synced, renamed, the folder synced.
pub(crate) fn write_private(path: &Path, bytes: &[u8]) -> Result<(), NodeError> {
    let beside = path.with_extension("new");
    let written = (|| {
        let mut options = fs::OpenOptions::new();
        options.write(true).create(true).truncate(true);
        #[cfg(unix)]
        std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
        let mut file = options.open(&beside)?;
        file.write_all(bytes)?;
        file.sync_all()?;
        fs::rename(&beside, path)?;
        #[cfg(unix)]
        if let Some(folder) = path.parent() {
            fs::File::open(folder)?.sync_all()?;
        }
        Ok(())
    })();
    written.map_err(|error: std::io::Error| NodeError::folder(path, &error))
}
