//! The entry that says a photo was taken: where, when, and whether it shows what will be closed up. It
//! names the photo by its hash; the file must be here before.

use std::collections::BTreeMap;

use daemon::node::Write;
use daemon::{Node, NodeError};
use ledger::site::{Photo, Place, Site};
use ledger::{Audience, Body, EntryId, EntryRef, Payload, PersonId, PhotoHash, SessionId};
use trade::Moment;

use crate::pictures::{self, KeptPicture};
use crate::uploads;

/// Most photos of one form.
const MOST_PHOTOS: usize = 20;

/// The photos that a form names, by hash or by the id under which its session sent them.
///
/// # Errors
/// Which one is not here.
pub(crate) fn find(node: &Node, session: SessionId, named: &[String]) -> Result<Vec<KeptPicture>, NodeError> {
    if named.len() > MOST_PHOTOS {
        return Err(NodeError::BadInput(vec![format!("a form has at most {MOST_PHOTOS} photos")]));
    }
    let missing = |name: &String| {
        NodeError::BadInput(vec![format!("the photo {name} has not arrived here; send it first")])
    };
    let of_hash = |photo: PhotoHash| {
        let file = pictures::folder(node.folder()).join(photo.to_string());
        std::fs::metadata(file).ok().map(|file| KeptPicture { photo, size: file.len() })
    };
    named
        .iter()
        .map(|name| match name.parse() {
            Ok(photo) => of_hash(photo).ok_or_else(|| missing(name)),
            Err(_) => uploads::finished(node.folder(), session, name).ok_or_else(|| missing(name)),
        })
        .collect()
}

/// Logs that photos were taken, by the columns of an entry; those that are logged already are left. Gives
/// whether anything is new.
///
/// # Errors
/// A job, stage or person that is not listed, or why nothing was saved.
pub(crate) fn log(
    node: &mut Node,
    author: PersonId,
    row: &BTreeMap<String, String>,
    photos: &[KeptPicture],
) -> Result<bool, NodeError> {
    if photos.is_empty() {
        return Ok(false);
    }
    let cell = |column: &str| row.get(column).map_or("", |value| value.trim());
    let site = find_site(node, cell("job"), cell("stage"), cell("where"))?;
    let person = find_person(node, author, cell("person"))?;
    let is_alone = cell("kind") == "photo";
    let mut writes = Vec::new();
    for (place, kept) in photos.iter().enumerate() {
        let mut act = node.act(author)?;
        act.person = person;
        if let Ok(at) = Moment::parse(cell("at"), "UTC") {
            (act.logged_at, act.done_on) = (at, at.day());
        }
        if !cell("done_on").is_empty() {
            let wrong = |error| NodeError::BadInput(vec![format!("done_on {}: {error}", cell("done_on"))]);
            act.done_on = cell("done_on").parse().map_err(wrong)?;
        }
        act.note = cell("note").to_owned();
        if !cell("entry").is_empty() {
            let key = cell("entry");
            // The photo is the entry, or one of those that go with it.
            act.row_key =
                if is_alone && place == 0 { key.to_owned() } else { format!("{key}-photo-{place}") };
            act.entry = EntryId::of_row(&node.crew(), "entries", &act.row_key);
        }
        if !node.book().history(&EntryRef { person, entry: act.entry }).is_empty() {
            continue;
        }
        let behind = matches!(cell("behind"), "yes" | "on" | "true");
        let body = Body::Photo(Photo { site: site.clone(), photo: kept.photo, size: kept.size, behind });
        writes.push(Write { audience: Audience::Crew, payload: Payload { act, body } });
    }
    node.append(&writes)?;
    Ok(!writes.is_empty())
}

fn find_site(node: &Node, job: &str, stage: &str, place: &str) -> Result<Option<Site>, NodeError> {
    if job.is_empty() {
        return Ok(None); // It is sorted later.
    }
    let unknown = |what: &str, name: &str| NodeError::BadInput(vec![format!("there is no {what} {name:?}")]);
    let lists = node.book().lists();
    let listed = lists.jobs.values().find(|listed| listed.code == job);
    let job = listed.ok_or_else(|| unknown("job", job))?.job;
    let stage = if stage.is_empty() {
        None
    } else {
        let found = lists.stages.values().find(|listed| listed.job == job && listed.name == stage);
        Some(found.ok_or_else(|| unknown("stage", stage))?.stage)
    };
    Ok(Some(Site { job, stage, place: Place { words: place.to_owned(), ..Place::default() } }))
}

fn find_person(node: &Node, author: PersonId, name: &str) -> Result<PersonId, NodeError> {
    if name.is_empty() {
        return Ok(author);
    }
    let mut people = node.ledger().roster().people();
    let found = people.find(|person| person.name == name).map(|person| person.person);
    found.ok_or_else(|| NodeError::BadInput(vec![format!("there is nobody called {name:?}")]))
}
