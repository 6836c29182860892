//! What a paper is made of, for whoever has it read out: headings, paragraphs, tables with their headings.
//!
//! Drawn things are leaves by number; they get their identifiers when the pages are written.

use std::num::NonZeroU16;

use krilla::tagging::{Identifier, Node, TableHeaderScope, Tag, TagGroup, TagKind, TagTree};

/// What a part of the paper is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Role {
    /// A heading of a level, with its words.
    Heading(NonZeroU16, String),
    Paragraph,
    Table,
    Row,
    /// The heading of a column.
    ColumnHeading,
    /// The cell that says what its row is.
    RowHeading,
    Cell,
    /// A picture, with what it shows.
    Figure(String),
}

/// A part, by its number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct PartId(usize);

/// Something drawn, by its number.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct LeafId(usize);

#[derive(Debug, Clone, Copy)]
enum Child {
    Part(PartId),
    Leaf(LeafId),
}

/// The tree in the making. Parts are in the order in which they are read.
#[derive(Debug, Default)]
pub(super) struct Tree {
    roots: Vec<PartId>,
    parts: Vec<(Role, Vec<Child>)>,
    leaves: Vec<Option<Identifier>>,
}

impl Tree {
    pub(super) fn add(&mut self, role: Role) -> PartId {
        let part = self.new_part(role);
        self.roots.push(part);
        part
    }

    pub(super) fn add_below(&mut self, above: PartId, role: Role) -> PartId {
        let part = self.new_part(role);
        self.push(above, Child::Part(part));
        part
    }

    /// A place for something that will be drawn.
    pub(super) fn leaf(&mut self, part: PartId) -> LeafId {
        let leaf = LeafId(self.leaves.len());
        self.leaves.push(None);
        self.push(part, Child::Leaf(leaf));
        leaf
    }

    /// It was drawn.
    pub(super) fn drawn(&mut self, leaf: LeafId, identifier: Identifier) {
        if let Some(place) = self.leaves.get_mut(leaf.0) {
            *place = Some(identifier);
        }
    }

    pub(super) fn finish(self) -> TagTree {
        let mut tree = TagTree::new().with_lang(Some("en-GB".to_owned()));
        self.roots.iter().filter_map(|part| self.group(*part)).for_each(|group| tree.push(group));
        tree
    }

    fn new_part(&mut self, role: Role) -> PartId {
        self.parts.push((role, Vec::new()));
        PartId(self.parts.len() - 1)
    }

    fn push(&mut self, part: PartId, child: Child) {
        if let Some((_, children)) = self.parts.get_mut(part.0) {
            children.push(child);
        }
    }

    fn group(&self, part: PartId) -> Option<TagGroup> {
        let (role, children) = self.parts.get(part.0)?;
        let children = children.iter().filter_map(|child| match child {
            Child::Part(part) => self.group(*part).map(Node::from),
            Child::Leaf(leaf) => self.leaves.get(leaf.0).copied().flatten().map(Node::from),
        });
        Some(TagGroup::with_children(role.tag(), children.collect()))
    }
}

impl Role {
    fn tag(&self) -> TagKind {
        match self {
            Self::Heading(level, words) => Tag::Hn(*level, Some(words.clone())).into(),
            Self::Paragraph => Tag::P.into(),
            Self::Table => Tag::Table.into(),
            Self::Row => Tag::TR.into(),
            Self::ColumnHeading => Tag::TH(TableHeaderScope::Column).into(),
            Self::RowHeading => Tag::TH(TableHeaderScope::Row).into(),
            Self::Cell => Tag::TD.into(),
            Self::Figure(says) => Tag::Figure(Some(says.clone())).into(),
        }
    }
}
