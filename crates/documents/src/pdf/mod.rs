//! Sets a paper on pages of A4 as PDF/A-3: tagged, searchable, its fonts inside, and with an e-invoice in it
//! where there is one.
//!
//! The look is that of a board: pencil, ruled lines, one snapped chalk line below the head. Lengths are points
//! from the upper left corner. No figure is reckoned here.

#![allow(clippy::float_arithmetic, reason = "places on a page; no sum of money is reckoned here")]

mod face;
mod head;
mod layout;
mod page;
mod parts;
mod pictures;
mod tree;
mod xmp;

use krilla::configure::{Archival, ConfigurationBuilder};
use krilla::embed::{AssociationKind, EmbeddedFile, MimeType};
use krilla::metadata::{DateTime, Metadata};
use krilla::{Document, SerializeSettings};
use trade::Day;

use crate::PaperError;
use crate::sheet::Sheet;
use face::Faces;
use layout::Layout;

/// A file that goes with a paper, inside its PDF.
pub(crate) struct Attachment {
    pub(crate) name: &'static str,
    pub(crate) media_type: &'static str,
    pub(crate) description: &'static str,
    pub(crate) data: Vec<u8>,
}

/// The paper as PDF.
pub(crate) fn set(sheet: &Sheet, einvoice: Option<Attachment>) -> Result<Vec<u8>, PaperError> {
    let faces = Faces::load().ok_or_else(|| PaperError::Pdf("its fonts can't be read".to_owned()))?;
    let layout = Layout::of(sheet, &faces);
    let configuration = ConfigurationBuilder::new()
        .with_archival_validator(Archival::A3_A)
        .finish()
        .map_err(|error| PaperError::Pdf(format!("{error:?}")))?;
    let mut document =
        Document::new_with(SerializeSettings { configuration, ..SerializeSettings::default() });
    document.set_metadata(metadata(sheet));
    let is_hybrid = einvoice.is_some();
    if let Some(file) = einvoice {
        document.embed_file(EmbeddedFile {
            path: file.name.to_owned(),
            mime_type: MimeType::new(file.media_type),
            description: Some(file.description.to_owned()),
            // Both say the same, and either may be read without the other.
            association_kind: AssociationKind::Alternative,
            data: file.data.into(),
            modification_date: Some(midnight(sheet.made_on)),
            compress: None,
            location: None,
        });
    }
    let tree = page::write(&mut document, layout, &faces, sheet);
    document.set_tag_tree(tree);
    let written = document.finish().map_err(|error| PaperError::Pdf(format!("{error:?}")))?;
    if is_hybrid { xmp::declare_hybrid(written) } else { Ok(written) }
}

fn metadata(sheet: &Sheet) -> Metadata {
    Metadata::new()
        .title(sheet.title.clone())
        .authors(vec![sheet.from.name.clone()])
        .creator("fivebar".to_owned())
        .language("en-GB".to_owned())
        .creation_date(midnight(sheet.made_on))
}

/// The day's first moment, so that the same paper always has the same bytes.
fn midnight(day: Day) -> DateTime {
    let date = day.date();
    DateTime::new(date.year().unsigned_abs())
        .month(date.month().unsigned_abs())
        .day(date.day().unsigned_abs())
        .hour(0)
        .minute(0)
        .second(0)
        .utc_offset_hour(0)
}
