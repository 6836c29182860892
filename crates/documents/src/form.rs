//! The forms in which a paper can be had, and what makes each of them.

use std::io;
use std::str::FromStr;

use ledger::office::Document;
use projections::billing::printed_number;
use serde::{Deserialize, Serialize};

use crate::kind::PaperKind;
use crate::pdf::Attachment;
use crate::sheet::Sheet;
use crate::{einvoice, invoice, pdf, plain, table};

/// The forms of an invoice or credit note.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Form {
    /// PDF/A-3, with the CII e-invoice inside it.
    Pdf,
    /// The EN 16931 e-invoice in UBL 2.1.
    Ubl,
    /// The EN 16931 e-invoice in UN/CEFACT CII.
    Cii,
    /// A row a line and a row a sum, for a spreadsheet.
    Csv,
    /// Plain text.
    Text,
}

impl Form {
    /// All forms.
    pub const ALL: [Self; 5] = [Self::Pdf, Self::Ubl, Self::Cii, Self::Csv, Self::Text];

    /// The word for it on a command line: `pdf`, `ubl`, `cii`, `csv`, `text`.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Pdf => "pdf",
            Self::Ubl => "ubl",
            Self::Cii => "cii",
            Self::Csv => "csv",
            Self::Text => "text",
        }
    }

    /// What it is, for a browser.
    #[must_use]
    pub const fn media_type(self) -> &'static str {
        match self {
            Self::Pdf => "application/pdf",
            Self::Ubl | Self::Cii => "application/xml",
            Self::Csv => "text/csv; charset=utf-8",
            Self::Text => "text/plain; charset=utf-8",
        }
    }

    /// How the name of its file ends. The two e-invoices end differently, so that both fit in one folder.
    #[must_use]
    pub const fn ending(self) -> &'static str {
        match self {
            Self::Pdf => "pdf",
            Self::Ubl => "ubl.xml",
            Self::Cii => "cii.xml",
            Self::Csv => "csv",
            Self::Text => "txt",
        }
    }
}

/// A word that is no form of a paper.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{0:?} is no form of a paper; there are pdf, ubl, cii, csv and text")]
pub struct NoSuchForm(String);

impl FromStr for Form {
    type Err = NoSuchForm;

    fn from_str(word: &str) -> Result<Self, NoSuchForm> {
        let found = Self::ALL.into_iter().find(|form| form.word() == word);
        found.ok_or_else(|| NoSuchForm(word.to_owned()))
    }
}

/// Why a paper could not be made.
#[derive(Debug, thiserror::Error)]
pub enum PaperError {
    /// XML or a table could not be written.
    #[error("the paper could not be written: {0}")]
    Writing(#[from] io::Error),
    /// A form of invoices, for a paper that is none.
    #[error("only invoices and credit notes can be had as {0}; this paper can be had as pdf and text")]
    OnlyInvoices(&'static str),
    /// The PDF would not keep to the rules of PDF/A.
    #[error("the PDF could not be made: {0}")]
    Pdf(String),
}

/// The name of a paper's file: `invoice-41.pdf`, `credit-note-42.ubl.xml`.
#[must_use]
pub fn file_name(document: &Document, form: Form) -> String {
    let title = PaperKind::of(document).title().to_lowercase().replace(' ', "-");
    format!("{title}-{}.{}", printed_number(document), form.ending())
}

/// An invoice or credit note in one of its forms.
///
/// # Errors
/// [`PaperError`] when the bytes can't be made; for any document that was issued they can.
pub fn paper(document: &Document, form: Form) -> Result<Vec<u8>, PaperError> {
    match form {
        Form::Pdf => {
            let einvoice = Attachment {
                name: "factur-x.xml",
                media_type: "application/xml",
                description: "The same invoice for a machine, by EN 16931",
                data: einvoice::cii(document)?,
            };
            pdf::set(&invoice::sheet(document), Some(einvoice))
        }
        Form::Ubl => Ok(einvoice::ubl(document)?),
        Form::Cii => Ok(einvoice::cii(document)?),
        Form::Csv => Ok(table::csv(document)?),
        Form::Text => Ok(plain::text(&invoice::sheet(document)).into_bytes()),
    }
}

/// Any other paper, as PDF or as text.
///
/// # Errors
/// [`PaperError::OnlyInvoices`] for a form that only invoices have, and [`PaperError::Pdf`].
pub fn sheet_in(sheet: &Sheet, form: Form) -> Result<Vec<u8>, PaperError> {
    match form {
        Form::Pdf => pdf::set(sheet, None),
        Form::Text => Ok(plain::text(sheet).into_bytes()),
        Form::Ubl | Form::Cii | Form::Csv => Err(PaperError::OnlyInvoices(form.word())),
    }
}
