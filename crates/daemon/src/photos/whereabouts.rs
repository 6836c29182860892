//! What is where: the picture of a device's photos that people see, and how much this device keeps.

use ledger::{DeviceKey, PhotoHash};
use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use sync::photos::Portion;

use super::album::Coming;
use crate::error::NodeError;
use crate::machine::Machine;
use crate::node::Node;

/// The file with what this device keeps.
const FILE: &str = "photos.json";
/// Most photos that are listed by name.
const MOST_LISTED: usize = 20;

/// How much of the crew's photos a device keeps. It is the device's own setting and no event.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum KeepPhotos {
    /// Every photo, whole.
    #[default]
    All,
    /// A small picture of each.
    Small,
    /// Only those that were taken here.
    None,
}

impl KeepPhotos {
    const fn portion(self) -> Portion {
        match self {
            Self::All => Portion::Whole,
            Self::Small => Portion::Small,
            Self::None => Portion::Nothing,
        }
    }

    const fn of(portion: Portion) -> Self {
        match portion {
            Portion::Whole => Self::All,
            Portion::Small => Self::Small,
            Portion::Nothing => Self::None,
        }
    }
}

#[derive(Serialize, Deserialize)]
struct Setting {
    keep: KeepPhotos,
}

/// How much the device of this machine keeps; all before anybody said otherwise.
///
/// # Errors
/// [`NodeError::Folder`] if the file can't be read or is not what this program writes.
pub(crate) fn read_setting(machine: &dyn Machine) -> Result<Portion, NodeError> {
    let Some(text) = machine.read(FILE)? else { return Ok(KeepPhotos::default().portion()) };
    let setting: Setting = serde_json::from_slice(&text)
        .map_err(|error| NodeError::folder(&machine.folder().join(FILE), &error))?;
    Ok(setting.keep.portion())
}

/// Where a photo is that is not here whole, for people.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Elsewhere {
    /// A small picture of it is here.
    pub is_small_here: bool,
    /// The names of the devices that have it, or had it when they logged it. Empty if no one is known.
    pub on: Vec<String>,
}

impl Node {
    /// Where a photo is, if it is not here whole.
    #[must_use]
    pub fn photo_elsewhere(&self, photo: PhotoHash) -> Option<Elsewhere> {
        let here = self.album().here(photo);
        (here != Portion::Whole).then(|| Elsewhere {
            is_small_here: here == Portion::Small,
            on: self.devices_with(photo).iter().map(|device| self.device_name(device)).collect(),
        })
    }

    /// The other devices of the crew that have a photo: those that said so, and those that logged an entry with it.
    fn devices_with(&self, photo: PhotoHash) -> Vec<DeviceKey> {
        let chains = self.book().namings(&photo).into_iter().flatten().map(|naming| naming.chain);
        let writers = chains.filter_map(|chain| self.ledger().chain(&chain)).map(|chain| chain.start.device);
        let mut devices: Vec<DeviceKey> = writers.chain(self.album().said_to_have(photo)).collect();
        devices.sort_unstable();
        devices.dedup();
        devices.retain(|device| *device != self.key() && self.eyes_of(*device).is_some());
        devices
    }

    fn device_name(&self, device: &DeviceKey) -> String {
        self.ledger().roster().device(device).map_or_else(|| device.short(), |device| device.name.clone())
    }
}

/// Changes how much is kept, if that is wished, and shows what is where.
pub(crate) fn photos(node: &mut Node, keep: Option<KeepPhotos>) -> Result<Value, NodeError> {
    if let Some(keep) = keep {
        let text =
            serde_json::to_vec(&Setting { keep }).map_err(|error| NodeError::bad_input(error.to_string()))?;
        node.machine.write(FILE, &text)?;
        node.album().set_keeps(keep.portion());
    }
    Ok(shown(node))
}

fn shown(node: &Node) -> Value {
    let album = node.album();
    let (carried, coming) = (node.carried_photos(), album.coming());
    let (mut whole, mut small, mut missing, mut listed) = (0_u64, 0_u64, 0_u64, Vec::new());
    for photo in &carried {
        let here = album.here(*photo);
        match here {
            Portion::Whole => {
                whole += 1;
                continue;
            }
            Portion::Small => small += 1,
            Portion::Nothing => missing += 1,
        }
        if listed.len() < MOST_LISTED {
            let on: Vec<String> = node.devices_with(*photo).iter().map(|key| node.device_name(key)).collect();
            let percent = coming.get(photo).map(percent);
            listed.push(
                json!({ "photo": photo, "small": here == Portion::Small, "on": on, "percent": percent }),
            );
        }
    }
    let on_their_way: Vec<Value> = coming
        .iter()
        .map(|(photo, coming)| {
            json!({ "photo": photo, "from": node.device_name(&coming.from), "percent": percent(coming) })
        })
        .collect();
    let others =
        node.ledger().roster().devices().filter(|device| !device.retired && device.key != node.key());
    let devices: Vec<Value> = others
        .map(|device| {
            let (keeps, said) = album.peer(&device.key);
            let has = carried.iter().filter(|photo| node.devices_with(**photo).contains(&device.key)).count();
            json!({ "device": device.name, "keeps": keeps.map(KeepPhotos::of), "has": has, "said": said })
        })
        .collect();
    json!({ "keeps": KeepPhotos::of(album.keeps()), "named": carried.len(), "whole": whole, "small": small,
        "missing": missing, "on_their_way": on_their_way, "not_whole": listed, "devices": devices,
        "trouble": album.trouble() })
}

fn percent(coming: &Coming) -> u64 {
    (coming.groups as u64 * 100).checked_div(coming.of as u64).unwrap_or(0)
}
