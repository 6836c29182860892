//! The photos that a form names. An entry names each by its hash, and its file must be here before.

use daemon::{Node, NodeError, photos};
use ledger::PhotoHash;

use crate::photos_shown::may_see;
use crate::uploads;
use crate::viewer::Viewer;

/// Most photos of one form.
const MOST_PHOTOS: usize = 20;

/// The photos that a form names: by the id under which its session sent them, or by the hash of one that the
/// viewer may see. A name must not open what is for others' eyes.
///
/// # Errors
/// Which one is not here.
pub(crate) fn find(node: &Node, viewer: &Viewer, named: &[String]) -> Result<Vec<PhotoHash>, NodeError> {
    if named.len() > MOST_PHOTOS {
        return Err(NodeError::BadInput(vec![format!("a form has at most {MOST_PHOTOS} photos")]));
    }
    let one = |name: &String| {
        let seen = name.parse().ok().filter(|photo| may_see(viewer, node.book(), *photo));
        let photo = seen.or_else(|| uploads::finished(node.folder(), viewer.session, name));
        photo.filter(|photo| photos::path_of(node.folder(), *photo).is_file()).ok_or_else(|| {
            NodeError::BadInput(vec![format!("the photo {name} has not arrived here; send it first")])
        })
    };
    named.iter().map(one).collect()
}
