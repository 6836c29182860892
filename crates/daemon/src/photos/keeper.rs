//! The photos of a node as the network asks for them: the album, and the ledger that says which photos there are and
//! who may have which.

use std::ops::Range;
use std::sync::{Arc, Weak};

use bytes::Bytes;
use ledger::roster_events::Role;
use ledger::{DeviceKey, PhotoHash};
use net::{Fault, PhotoHolder};
use projections::Eyes;
use sync::photos::{GroupHash, MAX_WANTED, Outline, Portion};
use tokio::sync::watch;

use super::album::Album;
use crate::holding::Holding;
use crate::node::Node;

/// Photos that are whole here and that a peer is asked about, so that people see where else they are.
const MOST_UNKNOWN: usize = 256;

/// The album of a node that is shared.
pub(crate) struct Keeper {
    /// Weak, because the one who holds the node holds this too.
    holding: Weak<Holding>,
    album: Arc<Album>,
}

impl Keeper {
    pub(crate) const fn new(holding: Weak<Holding>, album: Arc<Album>) -> Self {
        Self { holding, album }
    }

    fn with<R: Default>(&self, work: impl FnOnce(&Node) -> R) -> R {
        self.holding.upgrade().map(|holding| holding.with(|node| work(node))).unwrap_or_default()
    }

    /// Of these photos those that a peer may have.
    fn for_peer(&self, peer: DeviceKey, photos: &[PhotoHash]) -> Vec<bool> {
        self.with(|node| {
            let eyes = node.eyes_of(peer);
            let may_have = |photo| eyes.is_some_and(|eyes| node.book().carries_photo(photo, eyes));
            photos.iter().map(may_have).collect()
        })
    }

    fn may_have(&self, peer: DeviceKey, photo: PhotoHash) -> bool {
        self.for_peer(peer, &[photo]).contains(&true)
    }
}

impl Node {
    /// With whose eyes a device of the crew looks at photos: those of the person that it was admitted for. None for
    /// one that is not in the crew.
    pub(crate) fn eyes_of(&self, device: DeviceKey) -> Option<Eyes> {
        let roster = self.ledger().roster();
        let person = roster.device(&device).filter(|device| !device.retired)?.person;
        let leads = roster.person(&person).is_some_and(|person| person.role >= Role::Lead);
        Some(Eyes { person, leads })
    }

    /// The photos that this device carries, the newest first.
    pub(crate) fn carried_photos(&self) -> Vec<PhotoHash> {
        let Some(eyes) = self.eyes_of(self.key()) else { return Vec::new() };
        let photos = self.book().photos().filter(|(photo, _)| self.book().carries_photo(photo, eyes));
        let dated = photos.map(|(photo, namings)| (namings.last().map(|naming| naming.made_at), photo));
        let mut dated: Vec<_> = dated.collect();
        dated.sort_unstable_by(|one, other| other.cmp(one));
        dated.into_iter().map(|(_, photo)| photo).collect()
    }
}

impl PhotoHolder for Keeper {
    fn keeps(&self) -> Portion {
        self.album.keeps()
    }

    fn bell(&self) -> watch::Receiver<u64> {
        self.album.bell()
    }

    fn wanted(&self, peer: DeviceKey) -> Vec<(PhotoHash, Portion)> {
        let named = self.with(Node::carried_photos);
        let mut wanted = self.album.wanted(named.iter().copied(), MAX_WANTED - MOST_UNKNOWN);
        let unknown = self.album.unknown_on(peer, named.into_iter(), MOST_UNKNOWN);
        let may_have = self.for_peer(peer, &unknown);
        let asked = unknown.into_iter().zip(may_have).filter(|(_, may_have)| *may_have);
        wanted.extend(asked.map(|(photo, _)| (photo, Portion::Whole)));
        wanted
    }

    fn look(&self, peer: DeviceKey, photos: &[PhotoHash]) -> Vec<Portion> {
        let may_have = self.for_peer(peer, photos);
        let may_have = may_have.into_iter().chain(std::iter::repeat(false));
        let portion = |(photo, may_have): (&PhotoHash, bool)| {
            if may_have { self.album.here(*photo) } else { Portion::Nothing }
        };
        photos.iter().zip(may_have).map(portion).collect()
    }

    fn claim(&self, peer: DeviceKey, photo: PhotoHash, portion: Portion) -> Option<Vec<GroupHash>> {
        self.album.claim(peer, photo, portion)
    }

    fn release(&self, photo: PhotoHash) {
        self.album.release(photo);
    }

    fn outline(&self, peer: DeviceKey, photo: PhotoHash, groups: Range<usize>) -> Option<(Outline, Vec<u8>)> {
        self.may_have(peer, photo).then(|| self.album.outline(photo, groups)).flatten()
    }

    fn read(&self, photo: PhotoHash, group: usize, groups: usize) -> Option<Vec<u8>> {
        self.album.read(photo, group, groups)
    }

    fn read_small(&self, peer: DeviceKey, photo: PhotoHash) -> Option<Vec<u8>> {
        self.may_have(peer, photo).then(|| self.album.read_small(photo)).flatten()
    }

    fn write(&self, photo: PhotoHash, group: usize, of: usize, pieces: &[Bytes]) -> Result<(), Fault> {
        self.album.write(photo, group, of, pieces).map_err(Fault)
    }

    fn trim(&self, photo: PhotoHash, groups: usize) -> Result<(), Fault> {
        self.album.trim(photo, groups).map_err(Fault)
    }

    fn finish(&self, photo: PhotoHash, outline: &Outline) -> Result<(), Fault> {
        self.album.finish(photo, outline).map_err(Fault)
    }

    fn keep_small(&self, _peer: DeviceKey, photo: PhotoHash, bytes: &[u8]) -> Result<(), Fault> {
        self.album.keep_small(photo, bytes).map_err(Fault)
    }

    fn note(&self, peer: DeviceKey, portions: &[(PhotoHash, Portion)]) {
        let is_named = |node: &Node| -> Vec<_> {
            let of_crew = portions.iter().filter(|_| node.eyes_of(peer).is_some());
            of_crew.filter(|(photo, _)| node.book().namings(photo).is_some()).copied().collect()
        };
        self.album.note(peer, &self.with(is_named));
    }

    fn note_keeps(&self, peer: DeviceKey, keeps: Portion) {
        if self.with(|node| node.eyes_of(peer).is_some()) {
            self.album.note_keeps(peer, keeps);
        }
    }

    fn gained(&self, peer: DeviceKey, since: u64) -> (Vec<PhotoHash>, u64) {
        let (photos, until) = self.album.gained(since);
        let may_have = self.for_peer(peer, &photos);
        (photos.into_iter().zip(may_have).filter_map(|(photo, may)| may.then_some(photo)).collect(), until)
    }
}
