//! The handover of a job as files, and the check of such files by somebody who has no ledger.
//!
//! The files are the paper, the same as open data, the signed events that both follow from, the photos, and a list
//! of all of them that the device which made it has signed. They stand in a folder, or in one zip with a seal over
//! every byte of it. `proto/FORMAT-handover.md` describes them. Nothing here reads a clock or a disk.

mod archive;
mod check;
mod list;
mod pictures;
mod sheet;
mod tables;

use std::collections::BTreeMap;

use ledger::excerpt::{ExcerptFault, Proved};
use ledger::{CrewId, Excerpt};
use projections::handover::{Added, Handover, NoSuchJob, handover};
use serde::{Deserialize, Serialize};

use crate::{Form, PaperError};

pub use archive::{ZipFault, write_zip};
pub use check::{Checked, Fault, Files, Signed, check_files, check_zip};
pub use list::{hash_of, signed_list};
pub use pictures::{Pictures, picture_of, wanted_pictures};

/// The name of the signed list among the files.
pub const LIST: &str = "signed.txt";
/// The name of the signed events.
const EVENTS: &str = "events.bin";
/// The name of the open data.
const DATA: &str = "handover.json";
/// What the open data says of its shape.
const FORMAT: &str = "fivebar handover 1";
/// The program's version: the same version makes the same bytes of the same events.
const VERSION: &str = env!("CARGO_PKG_VERSION");

/// Why the files of a handover could not be made.
#[derive(Debug, thiserror::Error)]
pub enum HandoverError {
    /// The events don't prove what they should.
    #[error(transparent)]
    Excerpt(#[from] ExcerptFault),
    /// The job is not among them.
    #[error(transparent)]
    Job(#[from] NoSuchJob),
    /// The paper could not be set.
    #[error(transparent)]
    Paper(#[from] PaperError),
    /// The open data could not be written.
    #[error("the open data could not be written: {0}")]
    Data(#[from] serde_json::Error),
    /// A table could not be written.
    #[error("a table could not be written: {0}")]
    Table(#[from] std::io::Error),
}

/// The open data as it is written.
#[derive(Serialize)]
struct Written<'h> {
    format: &'static str,
    made_with: &'static str,
    added: &'h Added,
    handover: &'h Handover,
}

/// The open data as it is read: what can't be worked out again from the events.
#[derive(Deserialize)]
struct ReadAgain {
    format: String,
    made_with: String,
    added: Added,
}

/// The files of a handover by their names, without photos and without the signed list. The pictures of the photos
/// are among them.
///
/// # Errors
/// [`HandoverError`].
pub fn handover_files(
    excerpt: &Excerpt,
    added: &Added,
    pictures: &Pictures,
) -> Result<BTreeMap<String, Vec<u8>>, HandoverError> {
    let mut files = follow(excerpt.crew(), &excerpt.prove()?, added, pictures)?;
    files.insert(EVENTS.to_owned(), excerpt.encode());
    files.extend(pictures.iter().map(|(photo, bytes)| (pictures::name_of(*photo), bytes.clone())));
    Ok(files)
}

/// The files that follow from what was proved and what was added, and from the pictures.
fn follow(
    crew: CrewId,
    proved: &Proved,
    added: &Added,
    pictures: &Pictures,
) -> Result<BTreeMap<String, Vec<u8>>, HandoverError> {
    let handover = handover(crew, proved, added)?;
    let sheet = sheet::sheet(&handover, added, pictures);
    let written = Written { format: FORMAT, made_with: VERSION, added, handover: &handover };
    let mut data = serde_json::to_vec_pretty(&written)?;
    data.push(b'\n');
    let mut files = BTreeMap::from([
        ("handover.pdf".to_owned(), crate::sheet_in(&sheet, Form::Pdf)?),
        ("handover.txt".to_owned(), crate::sheet_in(&sheet, Form::Text)?),
        (DATA.to_owned(), data),
    ]);
    files.extend(tables::tables(&handover)?);
    Ok(files)
}

/// A crew's id in as few signs as somebody compares by eye and nobody can make to order: its first 80 bits, as five
/// groups of four.
#[must_use]
pub fn crew_code(crew: &CrewId) -> String {
    let hex = crew.to_string();
    let groups: Vec<&str> = (0..5).filter_map(|group| hex.get(group * 4..group * 4 + 4)).collect();
    groups.join(" ")
}
