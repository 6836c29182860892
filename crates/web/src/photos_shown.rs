//! Which photos a viewer may see. The rule is the ledger's own: [`projections::photos`].

use ledger::PhotoHash;
use projections::{Book, Entry, Eyes, photos_of};

use crate::viewer::Viewer;

/// The viewer's eyes.
fn eyes(viewer: &Viewer) -> Eyes {
    Eyes { person: viewer.person, leads: viewer.leads() }
}

/// The photos of an entry that the viewer may see.
pub(crate) fn seen_of(viewer: &Viewer, entry: &Entry<'_>) -> Vec<String> {
    let photos = photos_of(&entry.body).iter().filter(|_| eyes(viewer).see(entry));
    photos.map(ToString::to_string).collect()
}

/// Whether the viewer may see an entry that names this photo.
pub(crate) fn may_see(viewer: &Viewer, book: &Book, photo: PhotoHash) -> bool {
    book.shows_photo(&photo, eyes(viewer))
}
