//! A paper as a person reads it, before it is set on pages or written as plain text: blocks, tables, sums.
//!
//! All of it is words; figures are written already. It knows nothing of pages or widths.

use trade::Day;

/// A whole paper.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sheet {
    /// What it is, with its number: `Invoice 41`.
    pub title: String,
    /// Who gives it.
    pub from: Block,
    /// Whom it is for.
    pub to: Option<Block>,
    /// What is to know at a glance, beside the blocks.
    pub facts: Vec<Fact>,
    /// The day it was made.
    pub made_on: Day,
    /// What stands on it, in order.
    pub parts: Vec<Part>,
    /// What stands at the foot of each page.
    pub foot: String,
}

/// A name and what is below it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Block {
    /// What the block is: `To`. Empty for the sender.
    pub label: String,
    /// The name, set large.
    pub name: String,
    /// The lines below it.
    pub lines: Vec<String>,
}

/// A label and what it says: `Date`, `6 Nov 2026`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fact {
    /// The label.
    pub label: String,
    /// What it says.
    pub says: String,
}

impl Fact {
    /// A label and what it says.
    #[must_use]
    pub fn new(label: &str, says: impl Into<String>) -> Self {
        Self { label: label.to_owned(), says: says.into() }
    }
}

/// A part of a paper.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Part {
    /// A heading.
    Heading(String),
    /// A paragraph.
    Text(String),
    /// Rows and columns.
    Table(Table),
    /// Sums, right under each other.
    Sums(Vec<Sum>),
    /// What comes next begins a page.
    NewPage,
    /// Lines to sign on, each with what is to be written there.
    Sign(Vec<String>),
    /// Pictures under a heading, two beside each other. Plain text has none: what they show is said elsewhere.
    Pictures {
        /// What they belong to.
        heading: String,
        /// The pictures.
        pictures: Vec<Picture>,
    },
}

/// A picture.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Picture {
    /// Its bytes.
    pub jpeg: Vec<u8>,
    /// What it shows, below it and for whoever has the paper read out.
    pub says: String,
}

/// On which side the words of a column stand.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Align {
    /// Words.
    Left,
    /// Figures.
    Right,
}

/// A column of a table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Column {
    /// Its heading.
    pub heading: String,
    /// On which side its words stand.
    pub align: Align,
    /// Its share of the width, beside those of the other columns.
    pub share: u16,
}

impl Column {
    /// A column of words.
    #[must_use]
    pub fn words(heading: &str, share: u16) -> Self {
        Self { heading: heading.to_owned(), align: Align::Left, share }
    }

    /// A column of figures.
    #[must_use]
    pub fn figures(heading: &str, share: u16) -> Self {
        Self { heading: heading.to_owned(), align: Align::Right, share }
    }
}

/// Rows and columns. Its headings stand again on each page that it goes over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// The columns; the first says what a row is.
    pub columns: Vec<Column>,
    /// The rows.
    pub rows: Vec<Row>,
}

/// A row of a table.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Row {
    /// A line over all columns that says what the rows below belong to.
    Group(String),
    /// A cell for each column.
    Cells {
        /// The cells.
        cells: Vec<String>,
        /// What stands small below the first cell, or nothing.
        below: String,
    },
}

impl Row {
    /// A row with a cell for each column.
    #[must_use]
    pub fn cells<const N: usize>(cells: [String; N]) -> Self {
        Self::Cells { cells: cells.into(), below: String::new() }
    }
}

/// A sum and what it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Sum {
    /// What it is.
    pub label: String,
    /// The sum.
    pub amount: String,
    /// It is what all the others come to, and has the double rule.
    pub is_last: bool,
}

impl Sum {
    /// A sum among others.
    #[must_use]
    pub fn new(label: impl Into<String>, amount: impl Into<String>) -> Self {
        Self { label: label.into(), amount: amount.into(), is_last: false }
    }

    /// What all the others come to.
    #[must_use]
    pub fn last(label: impl Into<String>, amount: impl Into<String>) -> Self {
        Self { is_last: true, ..Self::new(label, amount) }
    }
}
