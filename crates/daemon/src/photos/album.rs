//! What of the photos is here, on its way, and known to be elsewhere. Shared by whoever fetches, gives or shows photos.
//!
//! A photo is whole when its file stands under its name; what has come of one that is not stands beside it, named
//! `.part`, and is believed only as far as an outline proves it again. So nothing here has to be durable before a
//! photo is whole, and a power cut costs what was not.
//!
//! What a peer said to have is kept in one file for each, hashes one after the other. It saves being told again.

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::io::{self, ErrorKind, Read as _, Seek as _, SeekFrom, Write as _};
use std::ops::Range;
use std::path::{Path, PathBuf};
use std::sync::{Mutex, MutexGuard, PoisonError};

use bytes::Bytes;
use ledger::{DeviceKey, PhotoHash};
use sync::photos::{GROUP, GroupHash, Outline, Outliner, Portion};
use tokio::sync::watch;

use super::files::{Names, ON_PEER, outline_of, private, read_peers};
use super::{FOLDER, path_of, pictures};
use crate::device::replace_private;

/// Bytes of the disk that photos leave free: an event must find room, whatever photos come.
const KEPT_FREE: u64 = 128 * 1024 * 1024;
/// What the name of a photo's beginning ends in.
const PART: &str = "part";

/// The photos of a device.
#[derive(Debug)]
pub struct Album {
    data: PathBuf,
    /// How many bytes are free on the disk of a folder.
    room: fn(&Path) -> io::Result<u64>,
    state: Mutex<State>,
    names: Names,
    bell: watch::Sender<u64>,
}

#[derive(Debug)]
struct State {
    keeps: Portion,
    /// The photos that were seen to be here whole.
    whole: BTreeSet<PhotoHash>,
    /// What was found to be here of the others when they were first looked for. Whoever fetches one looks again.
    less: BTreeMap<PhotoHash, Portion>,
    coming: BTreeMap<PhotoHash, Coming>,
    peers: BTreeMap<DeviceKey, Peer>,
    /// What became whole in this process, in order.
    gained: Vec<PhotoHash>,
    trouble: Option<String>,
}

/// A photo that is on its way.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Coming {
    /// From whom.
    pub from: DeviceKey,
    /// How many of its groups are here.
    pub groups: usize,
    /// Of how many; nought before that is known.
    pub of: usize,
}

/// What is known of a peer's photos.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
struct Peer {
    keeps: Option<Portion>,
    whole: BTreeSet<PhotoHash>,
}

impl Album {
    /// The album of a data folder. Nothing is written before there is something to keep.
    #[must_use]
    pub fn open(data: &Path, keeps: Portion) -> Self {
        let state = State {
            keeps,
            whole: BTreeSet::new(),
            less: BTreeMap::new(),
            coming: BTreeMap::new(),
            peers: read_peers(&data.join(FOLDER))
                .map(|(peer, whole)| (peer, Peer { keeps: None, whole }))
                .collect(),
            gained: Vec::new(),
            trouble: None,
        };
        let room = |folder: &Path| fs4::available_space(folder);
        let (names, bell) = (Names::default(), watch::Sender::new(0));
        Self { data: data.to_owned(), room, state: Mutex::new(state), names, bell }
    }

    // What a task that panicked had changed was changed whole.
    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// The bell that rings when a session should look again.
    pub(super) fn bell(&self) -> watch::Receiver<u64> {
        self.bell.subscribe()
    }

    /// Says that a session should look again.
    pub(crate) fn ring(&self) {
        self.bell.send_modify(|count| *count = count.wrapping_add(1));
    }

    /// How much of photos this device keeps.
    #[must_use]
    pub fn keeps(&self) -> Portion {
        self.state().keeps
    }

    /// Keeps another measure from now on. What is here whole stays; what had only begun to come gives its room back.
    pub(crate) fn set_keeps(&self, keeps: Portion) {
        self.state().keeps = keeps;
        if keeps != Portion::Whole {
            self.forget_parts();
        }
        self.ring();
    }

    /// How much of a photo is here.
    #[must_use]
    pub fn here(&self, photo: PhotoHash) -> Portion {
        if self.state().whole.contains(&photo) {
            return Portion::Whole;
        }
        if path_of(&self.data, photo).is_file() {
            self.state().whole.insert(photo);
            return Portion::Whole;
        }
        if pictures::small_path(&self.data, photo).is_file() { Portion::Small } else { Portion::Nothing }
    }

    /// How much of a photo was here when that was last looked at: thousands are asked about whenever one has come.
    fn last_seen(&self, photo: PhotoHash) -> Portion {
        let state = self.state();
        if state.whole.contains(&photo) {
            return Portion::Whole;
        }
        let known = state.less.get(&photo).copied();
        drop(state);
        known.unwrap_or_else(|| {
            let here = self.here(photo);
            if here < Portion::Whole {
                self.state().less.insert(photo, here);
            }
            here
        })
    }

    /// Of these photos some that are here whole and that a peer keeps and is not known to have.
    pub(super) fn unknown_on(
        &self,
        peer: DeviceKey,
        photos: impl Iterator<Item = PhotoHash>,
        most: usize,
    ) -> Vec<PhotoHash> {
        let state = self.state();
        match state.peers.get(&peer) {
            Some(known) if known.keeps == Some(Portion::Whole) => {
                let is_unknown =
                    |photo: &PhotoHash| state.whole.contains(photo) && !known.whole.contains(photo);
                photos.filter(is_unknown).take(most).collect()
            }
            Some(_) | None => Vec::new(),
        }
    }

    /// Of these, most wanted first, those of which more is kept than is here and that are not on their way; at most so
    /// many.
    pub(super) fn wanted(
        &self,
        named: impl Iterator<Item = PhotoHash>,
        most: usize,
    ) -> Vec<(PhotoHash, Portion)> {
        let keeps = self.keeps();
        if keeps == Portion::Nothing || self.trouble().is_some() {
            return Vec::new();
        }
        let is_coming = |photo: &PhotoHash| self.state().coming.contains_key(photo);
        let with_here = named.map(|photo| (photo, self.last_seen(photo)));
        with_here.filter(|(photo, here)| *here < keeps && !is_coming(photo)).take(most).collect()
    }

    /// Of how many of these photos more is kept than is here.
    pub(crate) fn to_come(&self, named: impl Iterator<Item = PhotoHash>) -> u64 {
        let keeps = self.keeps();
        let lacking = named.filter(|photo| self.last_seen(*photo) < keeps);
        u64::try_from(lacking.count()).unwrap_or(u64::MAX)
    }

    /// Lets a session fetch a photo.
    pub(super) fn claim(
        &self,
        from: DeviceKey,
        photo: PhotoHash,
        portion: Portion,
    ) -> Option<Vec<GroupHash>> {
        let here = self.here(photo);
        if here >= portion.min(self.keeps()) || self.trouble().is_some() {
            if here < Portion::Whole {
                self.state().less.insert(photo, here);
            }
            return None;
        }
        {
            let mut state = self.state();
            if state.coming.contains_key(&photo) {
                return None;
            }
            state.coming.insert(photo, Coming { from, groups: 0, of: 0 });
        }
        // Reading takes a while, and nobody else touches the file of a photo that is claimed.
        let here = if portion == Portion::Whole { self.groups_of_part(photo) } else { Vec::new() };
        if let Some(coming) = self.state().coming.get_mut(&photo) {
            coming.groups = here.len();
        }
        tracing::debug!(%photo, from = %from.short(), groups = here.len(), "a photo is fetched behind what is here");
        Some(here)
    }

    /// The hashes of the whole groups that came at an earlier time.
    fn groups_of_part(&self, photo: PhotoHash) -> Vec<GroupHash> {
        let Ok(mut file) = fs::File::open(self.part_of(photo)) else { return Vec::new() };
        let (mut outliner, mut group) = (Outliner::default(), vec![0; GROUP]);
        while file.read_exact(&mut group).is_ok() {
            outliner.push(&group);
        }
        outliner.groups().to_vec()
    }

    fn part_of(&self, photo: PhotoHash) -> PathBuf {
        path_of(&self.data, photo).with_extension(PART)
    }

    fn forget_parts(&self) {
        let Ok(files) = fs::read_dir(self.data.join(FOLDER)) else { return };
        let coming: BTreeSet<PathBuf> =
            self.state().coming.keys().map(|photo| self.part_of(*photo)).collect();
        let paths = files.flatten().map(|file| file.path());
        let is_left =
            |path: &PathBuf| path.extension().is_some_and(|end| end == PART) && !coming.contains(path);
        for path in paths.filter(is_left) {
            if let Err(error) = fs::remove_file(&path) {
                tracing::warn!(%error, "the beginning of a photo could not be removed");
            }
        }
    }

    /// A session fetches this photo no longer.
    pub(super) fn release(&self, photo: PhotoHash) {
        if self.state().coming.remove(&photo).is_some() {
            self.ring();
        }
    }

    /// Writes groups of a photo, each a piece, behind those that are here.
    ///
    /// # Errors
    /// What the disk says, or that they are not the next.
    pub(super) fn write(
        &self,
        photo: PhotoHash,
        group: usize,
        of: usize,
        pieces: &[Bytes],
    ) -> Result<(), String> {
        let is_next = self.state().coming.get(&photo).is_some_and(|coming| coming.groups == group);
        if !is_next {
            return Err("these are not the groups that come next".to_owned());
        }
        self.on_disk(photo, |part| {
            let mut file = private(part)?;
            file.seek(SeekFrom::Start(group as u64 * GROUP as u64))?;
            pieces.iter().try_for_each(|piece| file.write_all(piece))
        })?;
        if let Some(coming) = self.state().coming.get_mut(&photo) {
            (coming.groups, coming.of) = (group + pieces.len(), of);
        }
        Ok(())
    }

    /// Cuts what came of a photo off behind so many groups.
    ///
    /// # Errors
    /// What the disk says.
    pub(super) fn trim(&self, photo: PhotoHash, groups: usize) -> Result<(), String> {
        self.on_disk(photo, |part| private(part)?.set_len(groups as u64 * GROUP as u64))?;
        if let Some(coming) = self.state().coming.get_mut(&photo) {
            coming.groups = groups;
        }
        Ok(())
    }

    /// Makes a photo durable of which all was written.
    ///
    /// # Errors
    /// What the disk says, or that not all was written.
    pub(super) fn finish(&self, photo: PhotoHash, outline: &Outline) -> Result<(), String> {
        let is_whole =
            self.state().coming.get(&photo).is_some_and(|coming| coming.groups == outline.groups().len());
        if !is_whole {
            return Err("not all of the photo was written".to_owned());
        }
        let path = path_of(&self.data, photo);
        self.on_disk(photo, |part| {
            let file = private(part)?;
            file.set_len(outline.length())?;
            file.sync_all()?;
            fs::rename(part, &path)?;
            self.names.sync(&path)
        })?;
        self.note_whole(photo);
        Ok(())
    }

    /// Keeps a whole photo that did not come piece by piece.
    ///
    /// # Errors
    /// What the disk says.
    pub(crate) fn keep_whole(&self, photo: PhotoHash, bytes: &[u8]) -> Result<(), String> {
        self.on_disk(photo, |_| replace_private(&path_of(&self.data, photo), bytes))?;
        self.note_whole(photo);
        Ok(())
    }

    /// Notes that a photo is here whole by now.
    fn note_whole(&self, photo: PhotoHash) {
        // A small picture that a peer made is no longer of use: this device makes its own.
        let _ = fs::remove_file(pictures::small_path(&self.data, photo));
        let mut state = self.state();
        state.coming.remove(&photo);
        state.whole.insert(photo);
        state.less.remove(&photo);
        state.gained.push(photo);
        drop(state);
        self.ring();
    }

    /// Keeps a small picture that a peer made.
    ///
    /// # Errors
    /// What the disk says, or that it is no JPEG.
    pub(super) fn keep_small(&self, photo: PhotoHash, bytes: &[u8]) -> Result<(), String> {
        if !bytes.starts_with(&[0xff, 0xd8, 0xff]) {
            return Err("a small picture must be a JPEG".to_owned());
        }
        let path = pictures::small_path(&self.data, photo);
        self.on_disk(photo, |_| pictures::write(&path, bytes))?;
        self.state().less.insert(photo, Portion::Small);
        self.release(photo);
        Ok(())
    }

    /// Does something on the disk, if that leaves room enough. What it says is kept for people to see.
    fn on_disk(&self, photo: PhotoHash, work: impl FnOnce(&Path) -> io::Result<()>) -> Result<(), String> {
        let part = self.part_of(photo);
        let done = self.check_room().and_then(|()| work(&part));
        done.map_err(|error| {
            let why = if error.kind() == ErrorKind::StorageFull {
                "the disk is too full for photos; entries are still saved. Make room, and the photos come"
                    .to_owned()
            } else {
                format!("photos can't be kept in {}: {error}", self.data.join(FOLDER).display())
            };
            self.state().trouble = Some(why.clone());
            why
        })
    }

    fn check_room(&self) -> io::Result<()> {
        let folder = self.data.join(FOLDER);
        match fs::create_dir(&folder) {
            Err(error) if error.kind() != ErrorKind::AlreadyExists => return Err(error),
            Ok(()) | Err(_) => {}
        }
        if (self.room)(&folder)? < KEPT_FREE { Err(ErrorKind::StorageFull.into()) } else { Ok(()) }
    }

    /// Why photos are not kept at present, if so.
    #[must_use]
    pub fn trouble(&self) -> Option<String> {
        self.state().trouble.clone()
    }

    /// Tries anew after trouble.
    pub(crate) fn try_again(&self) {
        if self.state().trouble.take().is_some() {
            self.ring();
        }
    }

    /// The outline of a photo that is here, and some of its groups. A file that is not that photo any more is put aside,
    /// and the photo is wanted again.
    pub(super) fn outline(&self, photo: PhotoHash, groups: Range<usize>) -> Option<(Outline, Vec<u8>)> {
        let path = path_of(&self.data, photo);
        let outlined = fs::File::open(&path).and_then(|file| outline_of(file, groups)).ok().flatten();
        if outlined.as_ref().is_some_and(|(outline, _)| outline.photo() == photo) {
            return outlined;
        }
        self.state().whole.remove(&photo);
        if path.is_file() {
            tracing::warn!(photo = %photo.short(), "the file of a photo was damaged; it is put aside and fetched again");
            let _ = fs::rename(&path, path.with_extension("damaged"));
        }
        self.ring();
        None
    }

    /// Some groups of a photo that is here.
    pub(super) fn read(&self, photo: PhotoHash, group: usize, groups: usize) -> Option<Vec<u8>> {
        let mut file = fs::File::open(path_of(&self.data, photo)).ok()?;
        file.seek(SeekFrom::Start(group as u64 * GROUP as u64)).ok()?;
        let mut bytes = Vec::with_capacity(groups * GROUP);
        file.take((groups * GROUP) as u64).read_to_end(&mut bytes).ok()?;
        Some(bytes)
    }

    /// The small picture of a photo, made if need be.
    pub(super) fn read_small(&self, photo: PhotoHash) -> Option<Vec<u8>> {
        pictures::find(&self.data, photo, true).map(|(_, bytes)| bytes)
    }

    /// Notes what a peer has of photos, each of which the ledger names.
    pub(super) fn note(&self, peer: DeviceKey, portions: &[(PhotoHash, Portion)]) {
        let mut state = self.state();
        let known = &mut state.peers.entry(peer).or_default().whole;
        let mut news = Vec::new();
        for (photo, portion) in portions {
            match portion {
                Portion::Whole => {
                    if known.insert(*photo) {
                        news.extend_from_slice(&photo.0);
                    }
                }
                Portion::Nothing | Portion::Small => {
                    known.remove(photo);
                }
            }
        }
        drop(state);
        if !news.is_empty() {
            let path = self.data.join(FOLDER).join(format!("{ON_PEER}{peer}"));
            let noted = self.check_room().and_then(|()| {
                let mut file = fs::OpenOptions::new().create(true).append(true).open(&path)?;
                file.write_all(&news)
            });
            if let Err(error) = noted {
                tracing::debug!(%error, "which photos a peer has is not noted");
            }
        }
    }

    pub(super) fn note_keeps(&self, peer: DeviceKey, keeps: Portion) {
        self.state().peers.entry(peer).or_default().keeps = Some(keeps);
        self.ring();
    }

    /// What became whole since, and from where on to ask the next time.
    pub(super) fn gained(&self, since: u64) -> (Vec<PhotoHash>, u64) {
        let state = self.state();
        let from = usize::try_from(since).unwrap_or(usize::MAX);
        (state.gained.get(from..).unwrap_or_default().to_vec(), state.gained.len() as u64)
    }

    /// The devices that said that they have a photo whole.
    #[must_use]
    pub fn said_to_have(&self, photo: PhotoHash) -> Vec<DeviceKey> {
        let state = self.state();
        let has = |(peer, known): (&DeviceKey, &Peer)| known.whole.contains(&photo).then_some(*peer);
        state.peers.iter().filter_map(has).collect()
    }

    /// How much of photos a device said to keep, and how many it is known to have whole.
    #[must_use]
    pub fn peer(&self, device: &DeviceKey) -> (Option<Portion>, usize) {
        self.state().peers.get(device).map_or((None, 0), |peer| (peer.keeps, peer.whole.len()))
    }

    /// What is on its way.
    #[must_use]
    pub fn coming(&self) -> BTreeMap<PhotoHash, Coming> {
        self.state().coming.clone()
    }
}

#[cfg(test)]
mod tests;
