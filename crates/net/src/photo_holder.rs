//! What this crate asks of the keeper of the photos.

use std::ops::Range;

use bytes::Bytes;
use ledger::{DeviceKey, PhotoHash};
use sync::photos::{GroupHash, Outline, Portion};
use tokio::sync::watch;

use crate::holder::Fault;

/// The keeper of the photos of a device. All but [`PhotoHolder::bell`] may wait for a disk, and are called where that
/// is allowed.
pub trait PhotoHolder: Send + Sync + 'static {
    /// How much of photos this device keeps.
    fn keeps(&self) -> Portion;

    /// Rings whenever something may be wanted that was not, or has become whole.
    fn bell(&self) -> watch::Receiver<u64>;

    /// The photos of which this device keeps more than is here and that no session is fetching, the most wanted first,
    /// each with how much is here. Behind them may be some that are whole here: the peer is only asked about those.
    fn wanted(&self, peer: DeviceKey) -> Vec<(PhotoHash, Portion)>;

    /// How much of each of these the peer may be given.
    fn look(&self, peer: DeviceKey, photos: &[PhotoHash]) -> Vec<Portion>;

    /// Lets the session with a peer have a photo to fetch, and gives the hashes of the groups that are here of it. None
    /// if another session fetches it, or no more of it is wanted.
    fn claim(&self, peer: DeviceKey, photo: PhotoHash, portion: Portion) -> Option<Vec<GroupHash>>;

    /// The session fetches this photo no longer.
    fn release(&self, photo: PhotoHash);

    /// The outline of a photo that is here, if the peer may have it, and those of these groups that there are: they are
    /// read for it anyway. A file that is not that photo any more is put away, so that the photo is fetched again.
    fn outline(&self, peer: DeviceKey, photo: PhotoHash, groups: Range<usize>) -> Option<(Outline, Vec<u8>)>;

    /// Some groups of a photo.
    fn read(&self, photo: PhotoHash, group: usize, groups: usize) -> Option<Vec<u8>>;

    /// The small picture of a photo, if the peer may have it.
    fn read_small(&self, peer: DeviceKey, photo: PhotoHash) -> Option<Vec<u8>>;

    /// Writes groups in a row, each a piece, to the beginning of a photo of so many groups, which is not whole yet.
    ///
    /// # Errors
    /// Why not.
    fn write(&self, photo: PhotoHash, group: usize, of: usize, pieces: &[Bytes]) -> Result<(), Fault>;

    /// Cuts the beginning of a photo off behind so many groups.
    ///
    /// # Errors
    /// Why not.
    fn trim(&self, photo: PhotoHash, groups: usize) -> Result<(), Fault>;

    /// Makes a photo durable of which all was written, and releases it.
    ///
    /// # Errors
    /// Why not.
    fn finish(&self, photo: PhotoHash, outline: &Outline) -> Result<(), Fault>;

    /// Keeps a small picture, and releases the photo.
    ///
    /// # Errors
    /// Why not, or that it is no picture.
    fn keep_small(&self, peer: DeviceKey, photo: PhotoHash, bytes: &[u8]) -> Result<(), Fault>;

    /// Notes how much a peer has said to have of some photos.
    fn note(&self, peer: DeviceKey, portions: &[(PhotoHash, Portion)]);

    /// Notes how much a peer keeps of all photos.
    fn note_keeps(&self, peer: DeviceKey, keeps: Portion);

    /// What has become whole here since `since`, of what the peer may have, and what to ask with the next time. The
    /// first time ask with [`u64::MAX`], which gives nothing.
    fn gained(&self, peer: DeviceKey, since: u64) -> (Vec<PhotoHash>, u64);
}
