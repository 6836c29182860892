//! Papers: what a customer, a bookkeeper and a machine read, made from what was frozen when it was issued.
//!
//! A document is given in and bytes come out; the same document gives the same bytes. Nothing here reckons a
//! sum of an invoice, decides on tax, numbers a paper, reads a clock or writes a file. What is printed is what was frozen.
//!
//! [`paper`] makes an invoice or credit note in any [`Form`]. [`Sheet`] is what any other paper is written
//! as, to be set as PDF or as plain text. [`handing_over`] makes the files of a job's handover, and checks them.

mod accounts;
mod application;
mod books;
mod daywork;
mod einvoice;
mod figures;
mod form;
pub mod handing_over;
mod headed;
mod invoice;
mod kind;
mod pdf;
mod plain;
mod quote;
mod sheet;
mod table;
mod units;
mod xml;

pub use accounts::{pay_list_sheet, statement_sheet};
pub use application::application_sheet;
pub use books::{books_csv, books_sheet};
pub use daywork::daywork_sheet;
pub use form::{Form, NoSuchForm, PaperError, file_name, paper, sheet_in};
pub use quote::quote_sheet;
pub use sheet::{Align, Block, Column, Fact, Part, Row, Sheet, Sum, Table};
