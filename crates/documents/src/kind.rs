//! What kind of paper a document is. It follows from what was frozen, so it can't be said wrongly.

use ledger::office::{Document, InvoiceLineKind};
use trade::Pence;

/// The kinds of paper that a document can be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum PaperKind {
    Invoice,
    /// An invoice for a payment before the work.
    Deposit,
    CreditNote,
}

impl PaperKind {
    pub(crate) fn of(document: &Document) -> Self {
        let is_deposit = |line: &ledger::office::InvoiceLine| {
            line.kind == InvoiceLineKind::Deposit && line.amount > Pence::ZERO
        };
        if document.reduces.is_some() {
            Self::CreditNote
        } else if !document.lines.is_empty() && document.lines.iter().all(is_deposit) {
            Self::Deposit
        } else {
            Self::Invoice
        }
    }

    /// What stands at the head of the paper.
    pub(crate) const fn title(self) -> &'static str {
        match self {
            Self::Invoice => "Invoice",
            Self::Deposit => "Deposit invoice",
            Self::CreditNote => "Credit note",
        }
    }

    /// The code of UNTDID 1001.
    pub(crate) const fn type_code(self) -> &'static str {
        match self {
            Self::Invoice => "380",
            Self::Deposit => "386",
            Self::CreditNote => "381",
        }
    }
}
