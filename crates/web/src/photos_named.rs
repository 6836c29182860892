//! The photos that a form names. An entry names each by its hash, and its file must be here before.

use daemon::{Node, NodeError, photos};
use ledger::{PhotoHash, SessionId};

use crate::uploads;

/// Most photos of one form.
const MOST_PHOTOS: usize = 20;

/// The photos that a form names, by hash or by the id under which its session sent them.
///
/// # Errors
/// Which one is not here.
pub(crate) fn find(node: &Node, session: SessionId, named: &[String]) -> Result<Vec<PhotoHash>, NodeError> {
    if named.len() > MOST_PHOTOS {
        return Err(NodeError::BadInput(vec![format!("a form has at most {MOST_PHOTOS} photos")]));
    }
    let one = |name: &String| {
        let photo = name.parse().ok().or_else(|| uploads::finished(node.folder(), session, name));
        photo.filter(|photo| photos::path_of(node.folder(), *photo).is_file()).ok_or_else(|| {
            NodeError::BadInput(vec![format!("the photo {name} has not arrived here; send it first")])
        })
    };
    named.iter().map(one).collect()
}
