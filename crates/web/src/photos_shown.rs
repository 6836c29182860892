//! Whose eyes a photo is for: whoever may see an entry that names it. A ticket shows prices, so it is for the
//! boss, the foreman and whoever took it; so is a photo that nobody sorted yet, for it may be of a ticket.

use ledger::{Body, PhotoHash};
use projections::{Book, Entry, Logged};

use crate::viewer::Viewer;

/// The photos that an entry names.
pub(crate) fn photos_of(body: &Body) -> &[PhotoHash] {
    match body {
        Body::Photo(photo) => std::slice::from_ref(&photo.photo),
        Body::Test(test) => &test.photos,
        Body::Note(note) => &note.photos,
        Body::LeftOff(left) => &left.photos,
        Body::Surveyed(surveyed) => &surveyed.photos,
        Body::Bought(bought) => &bought.photos,
        Body::Expense(expense) => &expense.photos,
        _ => &[],
    }
}

/// Whether only who leads and who took it may see an entry's photos.
const fn is_private(body: &Body) -> bool {
    match body {
        Body::Bought(_) | Body::Expense(_) => true,
        Body::Photo(photo) => photo.site.is_none(),
        _ => false,
    }
}

fn may_see_those_of(viewer: &Viewer, logged: &Logged, body: &Body) -> bool {
    let is_own = [logged.act.person, logged.act.author].contains(&viewer.person);
    is_own || viewer.leads() || !is_private(body)
}

/// The photos of an entry that the viewer may see.
pub(crate) fn seen_of(viewer: &Viewer, entry: &Entry<'_>) -> Vec<String> {
    let photos =
        photos_of(&entry.body).iter().filter(|_| may_see_those_of(viewer, entry.logged, &entry.body));
    photos.map(ToString::to_string).collect()
}

/// Whether the viewer may see an entry that names this photo.
pub(crate) fn may_see(viewer: &Viewer, book: &Book, photo: PhotoHash) -> bool {
    let names = |body: &Body| photos_of(body).contains(&photo);
    book.entries().any(|entry| names(&entry.body) && may_see_those_of(viewer, entry.logged, &entry.body))
        || book.proposed().any(|one| names(&one.body) && may_see_those_of(viewer, one, &one.body))
        || book.lists().surveys.values().any(|surveyed| surveyed.photos.contains(&photo))
}
